"""What is recorded of every set at one key: on it, on its sisters, of its assemblies and parts.

All of it is worked out of the facts once, in forms that JSON holds (`Graph.kept`), so that an index can keep
it for later questions; what is answered is made of these forms, whether they were kept or just made.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

from kgraph import quantities, records
from kgraph.facts import Fact
from kgraph.fits.graph import Graph, Link, Place
from kgraph.names import compared, fold
from kgraph.recognition.known import Known, KnownTrait, Owners, from_form, from_mapping

if TYPE_CHECKING:
    from kgraph.collection import Collection

YES, NO = "yes", "no"
MISREAD = 0.05
"""The chance that one look is misread where no `misread` says otherwise: common practice, no source."""
NOT_TRAITS = records.SAID_BESIDE | {"features", "note", "badge", "model", "misread"}
NOT_TRAITS |= {"number", "numbers", "also"}
"""Attributes that say nothing of a design, or are read in a way of their own."""


IN_PAPERS = frozenset({"years", "year", "market", "price"})
"""What papers say of a set, and nobody sees on it."""
BADGE = "badge"
"""It tells which set of a family it is, and no sister has it: a rebadge is one design under two."""
BADGE_MISREAD = 0.01
"""A name on the front is more rarely read wrong, or not that of the set: a choice of our own."""
NOT_ASKED = IN_PAPERS | {BADGE}
"""What is weighed where it is given, and never asked for."""


class Trait(NamedTuple):
    """One key: how it is named, and what is recorded of it."""

    key: str
    name: str
    texts: dict[str, str]
    """Value -> as it was first written."""
    direct: Known
    excepted: dict[str, str]
    """Owner of which it is recorded that it is not there -> the sister that has it and leaves it out."""
    misread: float
    place: bool
    at: Known
    """What follows for each owner from what is recorded (see :mod:`spreading`)."""


T = TypeVar("T")


def worked_out(graph: Graph, name: str, form: Callable[[], Any], made: Callable[[Any], T]) -> T:
    """What is made of a form that JSON holds, made once; the form is worked out unless it was kept."""
    kept: dict[str, T] = graph.remembered.setdefault("recognition", {})
    if name not in kept:
        found = graph.kept.get(name)
        if found is None:
            graph.kept.put(name, found := form())
        kept[name] = made(found)
    return kept[name]


def sets_of(data: Collection) -> list[str]:
    """The owners of all sets that the folder names, in order."""
    return sorted(f"s:{k}" for k in data.known("set") if not k.startswith("?"))


def owners(graph: Graph) -> Owners:
    """Every set and assembly by number."""

    def made(form: Any) -> Owners:
        names: list[str] = form["owners"]
        family = {names[n]: names[first] for n, first in enumerate(form["first"])}
        return Owners(names, {name: n for n, name in enumerate(names)}, family)

    return worked_out(graph, "owners", lambda: _owners(graph), made)


def families(graph: Graph) -> dict[str, str]:
    """Set -> the first of its family by key: all that rebadges join."""
    return owners(graph).family


def _owners(graph: Graph) -> Any:
    sets = sets_of(graph.data)
    assemblies = {f"a:{key}" for key in graph.data.things["assembly"]}
    assemblies |= {o for o in (*graph.links, *(p.owner for p in graph.taken_at)) if o[0] == "a"}
    number = {name: n for n, name in enumerate(sets)}
    first: dict[str, int] = {}
    for start in sets:
        todo = [] if start in first else [start]
        first.setdefault(start, number[start])
        while todo:
            for link in graph.links.get(todo.pop(), ()):
                if not link.to_assembly and link.other not in first:
                    first[link.other] = number[start]
                    todo.append(link.other)
    return {"owners": [*sets, *sorted(assemblies)], "first": [first[name] for name in sets]}


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

    A feature that is listed is a key of its own with the value yes. The badge of a set that nobody declares
    is its name without the last word.
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
        for owner in families(graph):
            if owner[2:] not in graph.data.things["set"]:
                text = graph.data.owner_text(owner)
                names.setdefault(BADGE, BADGE)
                found[BADGE][owner].append(text.rpartition(" ")[0] or text)
        graph.remembered["recognition attributes"] = (found, names)
    made: tuple[Written, dict[str, str]] = graph.remembered["recognition attributes"]
    return made


def _pairs(things: Iterable[records.Thing]) -> Iterator[tuple[str, str, str]]:
    """The key, how it is written, and the text, of all that is written of a thing."""
    for thing in things:
        if isinstance(thing, records.SetModel):
            yield BADGE, BADGE, thing.badge
        for name, value in thing.attributes:
            key = compared(name)
            if key == "features":
                yield from ((compared(text), text, YES) for text in texts_of(value))
            elif key not in NOT_TRAITS:
                if isinstance(value, str):
                    yield key, name, value
                else:
                    yield from ((key, name, text) for text in texts_of(value))


class Keys(NamedTuple):
    """What can be looked at, key -> name: kinds of assembly, places of parts, what is written of things."""

    kinds: dict[str, str]
    places: dict[str, str]
    written: dict[str, str]
    whole: dict[str, str]


def keys(graph: Graph) -> Keys:
    """All that can be looked at, by where it is recorded."""

    def made(form: Any) -> Keys:
        kinds, places, written = form
        return Keys(kinds, places, written, {**kinds, **places, **written})

    return worked_out(graph, "keys", lambda: _keys(graph), made)


def _keys(graph: Graph) -> Any:
    data = graph.data
    sorts = (data.assembly_kind(key) for key in data.things["assembly"])
    kinds = {fold(s): s for s in sorts if s and fold(s)}
    places = {key: data.text("position", key) for key in sorted(_by_position(graph))}
    return [kinds, places, attributes(graph)[1]]


def kinds_of_assembly(graph: Graph) -> dict[str, str]:
    """Key -> name of every kind of assembly that the folder has."""
    return keys(graph).kinds


def places(graph: Graph) -> dict[str, str]:
    """Key -> name of every place at which a part is recorded."""
    return keys(graph).places


def keys_of(graph: Graph) -> dict[str, str]:
    """Key -> name of all that can be looked at: attributes, features, places, kinds of assembly."""
    return keys(graph).whole


def declares(graph: Graph) -> dict[str, frozenset[str]]:
    """Assembly -> the places that belong to it."""
    return worked_out(
        graph,
        "declares",
        lambda: {a: sorted(of) for a, of in graph.declares.items() if of},
        lambda form: {a: frozenset(of) for a, of in form.items()},
    )


def lies_inside(graph: Graph, key: str) -> bool:
    """Whether a key is of an assembly, or of a place that an assembly has: a set is opened to look at it."""
    return key in kinds_of_assembly(graph) or any(key in of for of in declares(graph).values())


def recorded(graph: Graph, key: str) -> Trait:
    """What is recorded at one key, without what follows from it for others."""

    def made(form: Any) -> Trait:
        name, texts, has, excepted, sure, place = form
        direct = from_form(owners(graph), has)
        return Trait(key, name, texts, direct, excepted, sure, place, direct)

    return worked_out(graph, f"recorded {key}", lambda: _recorded(graph, key), made)


def _recorded(graph: Graph, key: str) -> Any:
    texts: dict[str, str] = {}
    place, direct = False, _written(graph, key, texts)
    if not direct and key in kinds_of_assembly(graph):
        direct = _built_on(graph, key, texts)
    elif not direct and key in places(graph):
        place, direct = True, _taken(graph, key, texts)
    excepted = _add_exceptions(graph, key, direct)
    name = keys_of(graph).get(key, key)
    return [name, texts, from_mapping(owners(graph), direct).form(), excepted, misread(graph, key), place]


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
        direct[owner] = KnownTrait(alike[said], 1.0)
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
        direct[owner] = KnownTrait(values, best)
    return direct


def _taken(graph: Graph, position: str, texts: dict[str, str]) -> dict[str, KnownTrait]:
    direct = {}
    for place, taken in _by_position(graph).get(position, ()):
        values = frozenset(one_name(graph, part) for part, _, _ in taken)
        texts.update({v: graph.data.text("part", v) for v in values})
        best = min(fact.certainty for _, _, fact in taken)
        direct[place.owner] = KnownTrait(values, best)
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
    return min(graph.alike_parts(part))


def _add_exceptions(graph: Graph, key: str, direct: dict[str, KnownTrait]) -> dict[str, str]:
    """What a rebadge leaves out of a set that has it is not there on its sister that does not list it."""
    excepted: dict[str, str] = {}
    for owner in [owner for owner, known in direct.items() if known.values == {YES}]:
        for link in graph.links.get(owner, ()):
            if not link.to_assembly and key in link.left_out and link.other not in direct:
                direct[link.other] = KnownTrait(frozenset({NO}), link.fact.certainty)
                excepted[link.other] = owner
    return excepted


def facts_of(graph: Graph, found: Trait, owner: str) -> tuple[Fact, ...]:
    """The facts by which something is recorded of an owner itself; none for what is written of it."""
    if sister := found.excepted.get(owner):
        links = (k for k in graph.links.get(owner, ()) if k.other == sister and found.key in k.left_out)
        return tuple(link.fact for link in links)[:1]
    if found.place:
        return tuple(fact for _, _, fact in graph.taken_at.get(Place(owner, found.key), ()))
    return tuple(
        link.fact
        for link in graph.links.get(owner, ())
        if link.to_assembly == link.other and link.other[2:] in found.direct[owner].values
    )


def misread(graph: Graph, key: str) -> float:
    """The chance that a look at this key is misread, by the `misread` of the place or kind of that name."""
    for kind in ("position", "kind"):
        for value in graph.data.attribute(kind, key, "misread"):
            if isinstance(value, str):
                try:
                    return min(max(quantities.number(value, 0.0, 1.0), 1e-6), 0.5)
                except quantities.QuantityError:
                    continue
    return BADGE_MISREAD if key == BADGE else MISREAD
