"""What is known of every set at one key: recorded on it, else on its sisters, assemblies and parts."""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Set
from itertools import count
from typing import TYPE_CHECKING, NamedTuple

from kgraph import quantities, records
from kgraph.facts import Fact
from kgraph.fits.graph import Graph, Link, Place
from kgraph.names import compared, fold

if TYPE_CHECKING:
    from kgraph.collection import Collection

YES, NO = "yes", "no"
MISREAD = 0.05
"""The chance that one look is misread where no `misread` says otherwise: common practice, no source."""
NOT_TRAITS = records.SAID_BESIDE | {"features", "note", "badge", "model", "misread"}
NOT_TRAITS |= {"number", "numbers", "also"}
"""Attributes that say nothing of a design, or are read in a way of their own."""


NOT_ON_THE_SET = frozenset({"years", "year", "market", "price"})
"""What papers say of a set, and nobody sees on it: weighed where it is given, never asked for."""


class KnownTrait(NamedTuple):
    """What one set has at a key: the values, how certain, where it is recorded, by which facts."""

    values: frozenset[str]
    certainty: float
    source: str
    facts: tuple[Fact, ...] = ()


class Trait(NamedTuple):
    """One key: how it is named, what is recorded of it, and what follows for each owner."""

    key: str
    name: str
    texts: dict[str, str]
    """Value -> as it was first written."""
    direct: dict[str, KnownTrait]
    at: dict[str, KnownTrait]
    misread: float
    place: bool


def sets_of(data: Collection) -> list[str]:
    """The owners of all sets that the folder names, in order."""
    return sorted(f"s:{k}" for k in data.known("set") if not k.startswith("?"))


def families(graph: Graph) -> dict[str, str]:
    """Set -> the first of its family by key: all that rebadges join."""
    if "recognition families" not in graph.remembered:
        found: dict[str, str] = {}
        for start in sets_of(graph.data):
            todo = [] if start in found else [start]
            found.setdefault(start, start)
            while todo:
                for link in graph.links.get(todo.pop(), ()):
                    if not link.to_assembly and link.other not in found:
                        found[link.other] = start
                        todo.append(link.other)
        graph.remembered["recognition families"] = found
    known: dict[str, str] = graph.remembered["recognition families"]
    return known


def texts_of(value: records.Value) -> Iterator[str]:
    """The texts of a recorded value; each item of a list is a value of its own."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple | list):
        for inner in value:
            yield from texts_of(inner)


Written = dict[str, dict[str, list[str]]]


def attributes(graph: Graph) -> tuple[Written, dict[str, str]]:
    """Key -> owner -> the values written of sets and assemblies; and how each key is first written.

    A feature that is listed is a key of its own with the value yes.
    """
    if "recognition attributes" not in graph.remembered:
        found: Written = defaultdict(lambda: defaultdict(list))
        names: dict[str, str] = {}
        for kind in ("set", "assembly"):
            for key, things in graph.data.things[kind].items():
                owner = f"{kind[0]}:{key}"
                for at, name, text in _pairs(things):
                    names.setdefault(at, name)
                    found[at][owner].append(text)
        graph.remembered["recognition attributes"] = (found, names)
    made: tuple[Written, dict[str, str]] = graph.remembered["recognition attributes"]
    return made


def _pairs(things: Iterable[records.Thing]) -> Iterator[tuple[str, str, str]]:
    """The key, how it is written, and the text, of all that is written of a thing."""
    for thing in things:
        for name, value in thing.attributes:
            key = compared(name)
            if key == "features":
                yield from ((compared(text), text, YES) for text in texts_of(value))
            elif key not in NOT_TRAITS:
                if isinstance(value, str):
                    yield key, name, value
                else:
                    yield from ((key, name, text) for text in texts_of(value))


def kinds_of_assembly(graph: Graph) -> dict[str, str]:
    """Key -> name of every kind of assembly that the folder has."""
    data = graph.data
    sorts = (data.assembly_kind(key) for key in data.things["assembly"])
    return {fold(s): s for s in sorts if s and fold(s)}


def places(graph: Graph) -> dict[str, str]:
    """Key -> name of every place at which a part is recorded."""
    if "recognition places" not in graph.remembered:
        keys = sorted(_by_position(graph))
        graph.remembered["recognition places"] = {k: graph.data.text("position", k) for k in keys}
    known: dict[str, str] = graph.remembered["recognition places"]
    return known


def keys_of(graph: Graph) -> dict[str, str]:
    """Key -> name of all that can be looked at: attributes, features, places, kinds of assembly."""
    if "recognition keys" not in graph.remembered:
        whole = {**kinds_of_assembly(graph), **places(graph), **attributes(graph)[1]}
        graph.remembered["recognition keys"] = whole
    known: dict[str, str] = graph.remembered["recognition keys"]
    return known


def lies_inside(graph: Graph, key: str) -> bool:
    """Whether a key is of an assembly, or of a place that an assembly has: a set is opened to look at it."""
    return key in kinds_of_assembly(graph) or any(key in of for of in graph.declares.values())


def trait(graph: Graph, key: str) -> Trait:
    """What is known at one key; nothing at all for a key that the folder does not have."""
    kept: dict[str, Trait] = graph.remembered.setdefault("recognition traits", {})
    if key not in kept:
        alone = recorded(graph, key)
        kept[key] = alone._replace(at=_spread(graph, key, alone.direct, alone.place))
    return kept[key]


def near(graph: Graph, key: str, region: Set[str]) -> Trait:
    """What is known at one key of the owners of a region, by what is recorded in the region."""
    kept: dict[str, Trait] = graph.remembered.setdefault("recognition traits", {})
    if key in kept:
        return kept[key]
    alone = recorded(graph, key)
    inside = {o: alone.direct[o] for o in region if o in alone.direct}
    return alone._replace(at=_Spreading(graph, key, inside, alone.place, region).ended())


def region_of(graph: Graph, owners: Iterable[str]) -> set[str]:
    """The sets of the families of these owners, and the assemblies that they are built on."""
    family = families(graph)
    wanted = {family[o] for o in owners}
    region = {o for o, of in family.items() if of in wanted}
    todo = list(region)
    while todo:
        for link in graph.links.get(todo.pop(), ()):
            if link.to_assembly == link.other and link.other not in region:
                region.add(link.other)
                todo.append(link.other)
    return region


def recorded(graph: Graph, key: str) -> Trait:
    """What is recorded at one key, without what follows from it for others."""
    kept: dict[str, Trait] = graph.remembered.setdefault("recognition recorded", {})
    if key not in kept:
        kept[key] = _recorded(graph, key)
    return kept[key]


def _recorded(graph: Graph, key: str) -> Trait:
    texts: dict[str, str] = {}
    place, direct = False, _written(graph, key, texts)
    if not direct and key in kinds_of_assembly(graph):
        direct = _built_on(graph, key, texts)
    elif not direct and key in places(graph):
        place, direct = True, _taken(graph, key, texts)
    _add_exceptions(graph, key, direct)
    name = keys_of(graph).get(key, key)
    return Trait(key, name, texts, direct, {}, misread(graph, key), place)


def merged(found: Trait, values: Set[str], one: str) -> Trait:
    """The same with several values as one."""

    def with_one(known: Mapping[str, KnownTrait]) -> dict[str, KnownTrait]:
        return {
            o: k._replace(values=frozenset(one if v in values else v for v in k.values))
            for o, k in known.items()
        }

    return found._replace(direct=with_one(found.direct), at=with_one(found.at))


def without(graph: Graph, found: Trait, owners: frozenset[str]) -> Trait:
    """The same as if nothing were recorded on these owners."""
    if owners.isdisjoint(found.direct):
        return found
    direct = {o: k for o, k in found.direct.items() if o not in owners and k.source not in owners}
    return found._replace(direct=direct, at=_spread(graph, found.key, direct, found.place))


def _written(graph: Graph, key: str, texts: dict[str, str]) -> dict[str, KnownTrait]:
    direct = {}
    alike: dict[tuple[str, ...], frozenset[str]] = {}
    for owner, written in attributes(graph)[0].get(key, {}).items():
        said = tuple(written)
        if said not in alike:
            values = {YES if compared(t) == "true" else compared(t): t for t in said}
            for value, text in values.items():
                texts.setdefault(value, text)
            alike[said] = frozenset(values)
        direct[owner] = KnownTrait(alike[said], 1.0, owner)
    return direct


def _built_on(graph: Graph, kind: str, texts: dict[str, str]) -> dict[str, KnownTrait]:
    found: dict[str, list[Link]] = defaultdict(list)
    for owner, links in graph.links.items():
        for link in links:
            if (
                link.to_assembly == link.other
                and fold(graph.data.assembly_kind(link.other[2:]) or "") == kind
            ):
                found[owner].append(link)
    direct = {}
    for owner, links in found.items():
        values = frozenset(link.other[2:] for link in links)
        texts.update({v: graph.data.text("assembly", v) for v in values})
        best = min(link.fact.certainty for link in links)
        direct[owner] = KnownTrait(values, best, owner, tuple(link.fact for link in links))
    return direct


def _taken(graph: Graph, position: str, texts: dict[str, str]) -> dict[str, KnownTrait]:
    direct = {}
    for place, taken in _by_position(graph).get(position, ()):
        values = frozenset(one_name(graph, part) for part, _, _ in taken)
        texts.update({v: graph.data.text("part", v) for v in values})
        best = min(fact.certainty for _, _, fact in taken)
        direct[place.owner] = KnownTrait(values, best, place.owner, tuple(f for _, _, f in taken))
    return direct


Taken = list[tuple[str, str, Fact]]


def _by_position(graph: Graph) -> dict[str, list[tuple[Place, Taken]]]:
    """Position -> the places of that name with the parts that they take."""
    if "recognition by position" not in graph.remembered:
        found: dict[str, list[tuple[Place, Taken]]] = defaultdict(list)
        for place, taken in graph.taken_at.items():
            found[place.position].append((place, taken))
        graph.remembered["recognition by position"] = found
    known: dict[str, list[tuple[Place, Taken]]] = graph.remembered["recognition by position"]
    return known


def one_name(graph: Graph, part: str) -> str:
    """The first by key of a part and all that `same` facts call it."""
    found, todo = {part}, [part]
    while todo:
        new = {other for other, _ in graph.same.get(todo.pop(), ())} - found
        found |= new
        todo += new
    return min(found)


def _add_exceptions(graph: Graph, key: str, direct: dict[str, KnownTrait]) -> None:
    """What a rebadge leaves out of a set that has it is not there on its sister that does not list it."""
    having = [owner for owner, known in direct.items() if known.values == {YES}]
    for owner in having:
        for link in graph.links.get(owner, ()):
            if not link.to_assembly and key in link.left_out and link.other not in direct:
                direct[link.other] = KnownTrait(frozenset({NO}), link.fact.certainty, owner, (link.fact,))


def misread(graph: Graph, key: str) -> float:
    """The chance that a look at this key is misread, by the `misread` of the place or kind of that name."""
    for kind in ("position", "kind"):
        for value in graph.data.attribute(kind, key, "misread"):
            if isinstance(value, str):
                try:
                    return min(max(quantities.number(value, 0.0, 1.0), 1e-6), 0.5)
                except quantities.QuantityError:
                    continue
    return MISREAD


def _spread(graph: Graph, key: str, direct: dict[str, KnownTrait], place: bool) -> dict[str, KnownTrait]:
    """For every owner within reach the surest record, through sisters and what a set is built on."""
    return _Spreading(graph, key, direct, place).ended()


class _Spreading:
    """The surest record first, from owner to owner, as long as any owner can still get one."""

    def __init__(
        self,
        graph: Graph,
        key: str,
        direct: dict[str, KnownTrait],
        place: bool,
        region: Set[str] | None = None,
    ) -> None:
        self.region = region
        self.found = dict(direct)
        self.links, self.key, self.place = graph.links, key, place
        self.declaring = {a for a, of in graph.declares.items() if key in of} if place else set()
        self.queue: list[tuple[float, str, str, int, Fact]] = []
        self.number = count()
        if region is not None or 2 * len(direct) < len(graph.links):
            for owner in direct:
                self._reach(owner)
        else:
            self._reach_from_the_end()

    def _carries(self, link: Link, to: str) -> bool:
        """Whether what holds at one end of a link holds at the other, as far as this key goes.

        What is recorded of an assembly holds of what is built on it, not the reverse; a place does both ways.
        """
        if self.key in link.left_out:
            return False
        if self.place and link.to_assembly:
            return link.to_assembly in self.declaring
        return to != link.to_assembly

    def _put(self, before: str, owner: str, fact: Fact) -> None:
        certain = self.found[before].certainty * fact.certainty
        heapq.heappush(self.queue, (-certain, owner, before, next(self.number), fact))

    def _reach(self, owner: str) -> None:
        for link in self.links.get(owner, ()):
            if link.other in self.found or (self.region is not None and link.other not in self.region):
                continue
            if self._carries(link, link.other):
                self._put(owner, link.other, link.fact)

    def _reach_from_the_end(self) -> None:
        """Where few lack a record: what can come to them is looked for from their end."""
        for owner in self.links.keys() - self.found.keys():
            for link in self.links[owner]:
                if link.other in self.found and self._carries(link, owner):
                    self._put(link.other, owner, link.fact)

    def ended(self) -> dict[str, KnownTrait]:
        """What every owner has in the end."""
        while self.queue:
            cost, owner, before, _, fact = heapq.heappop(self.queue)
            if owner not in self.found:
                here = self.found[before]
                self.found[owner] = KnownTrait(here.values, -cost, here.source, (*here.facts, fact))
                self._reach(owner)
        return self.found
