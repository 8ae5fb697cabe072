"""What is known of every set at one key: recorded on it, else on its sisters, assemblies and parts."""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Iterable, Iterator
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
NOT_TRAITS = frozenset({"features", "note", "badge", "model", "misread", "number", "numbers", "also"})
"""Attributes that say nothing of a design, or are read in a way of their own."""


class Known(NamedTuple):
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
    direct: dict[str, Known]
    at: dict[str, Known]
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


def trait(graph: Graph, key: str) -> Trait:
    """What is known at one key; nothing at all for a key that the folder does not have."""
    kept: dict[str, Trait] = graph.remembered.setdefault("recognition traits", {})
    if key not in kept:
        alone = recorded(graph, key)
        kept[key] = alone._replace(at=_spread(graph, key, alone.direct, alone.place))
    return kept[key]


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


def without(graph: Graph, found: Trait, owners: frozenset[str]) -> Trait:
    """The same as if nothing were recorded on these owners."""
    if owners.isdisjoint(found.direct):
        return found
    direct = {o: k for o, k in found.direct.items() if o not in owners and k.source not in owners}
    return found._replace(direct=direct, at=_spread(graph, found.key, direct, found.place))


def _written(graph: Graph, key: str, texts: dict[str, str]) -> dict[str, Known]:
    direct = {}
    alike: dict[tuple[str, ...], frozenset[str]] = {}
    for owner, written in attributes(graph)[0].get(key, {}).items():
        said = tuple(written)
        if said not in alike:
            values = {YES if compared(t) == "true" else compared(t): t for t in said}
            for value, text in values.items():
                texts.setdefault(value, text)
            alike[said] = frozenset(values)
        direct[owner] = Known(alike[said], 1.0, owner)
    return direct


def _built_on(graph: Graph, kind: str, texts: dict[str, str]) -> dict[str, Known]:
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
        direct[owner] = Known(values, best, owner, tuple(link.fact for link in links))
    return direct


def _taken(graph: Graph, position: str, texts: dict[str, str]) -> dict[str, Known]:
    direct = {}
    for place, taken in _by_position(graph).get(position, ()):
        values = frozenset(one_name(graph, part) for part, _, _ in taken)
        texts.update({v: graph.data.text("part", v) for v in values})
        best = min(fact.certainty for _, _, fact in taken)
        direct[place.owner] = Known(values, best, place.owner, tuple(f for _, _, f in taken))
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


def _add_exceptions(graph: Graph, key: str, direct: dict[str, Known]) -> None:
    """What a rebadge leaves out of a set that has it is not there on its sister that does not list it."""
    having = [owner for owner, known in direct.items() if known.values == {YES}]
    for owner in having:
        for link in graph.links.get(owner, ()):
            if not link.to_assembly and key in link.left_out and link.other not in direct:
                direct[link.other] = Known(frozenset({NO}), link.fact.certainty, owner, (link.fact,))


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


def _spread(graph: Graph, key: str, direct: dict[str, Known], place: bool) -> dict[str, Known]:
    """For every owner within reach the surest record, through sisters and what a set is built on."""
    found = dict(direct)
    queue: list[tuple[float, str, str, int, Link]] = []
    number = count()

    links = graph.links

    def reach(owner: str, certain: float) -> None:
        for link in links.get(owner, ()):
            if link.other not in found and _carries(graph, link, key, place):
                way = (-certain * link.fact.certainty, link.other, owner, next(number), link)
                heapq.heappush(queue, way)

    for owner, known in direct.items():
        reach(owner, known.certainty)
    while queue:
        cost, owner, before, _, link = heapq.heappop(queue)
        if owner not in found:
            here = found[before]
            found[owner] = Known(here.values, -cost, here.source, (*here.facts, link.fact))
            reach(owner, -cost)
    return found


def _carries(graph: Graph, link: Link, key: str, place: bool) -> bool:
    """Whether what holds at one end of a link holds at the other, as far as this key goes.

    What is recorded of an assembly holds of what is built on it, and not the reverse; a place does both ways.
    """
    if key in link.left_out:
        return False
    if place and link.to_assembly:
        return key in graph.declares.get(link.to_assembly, ())
    return link.other != link.to_assembly


def part_at(graph: Graph, owner: str, position: str) -> Iterable[tuple[str, Fact]]:
    """The parts that facts put at a place of an owner."""
    return ((part, fact) for part, _, fact in graph.taken_at.get(Place(owner, position), ()))
