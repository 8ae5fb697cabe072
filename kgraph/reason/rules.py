"""The rules of what goes where, as steps between the states of a walk.

Every rule of section 2 of the contract is a path: from an item along equal part numbers, through
a `takes` or a `fits` to a place, and on to like places. A walk therefore moves between *states*:

======== ==================== =======================================================================
state    holds                meaning
======== ==================== =======================================================================
is       owner, position      the item asked about is original here, known by its place (rule `is`)
part     part, ""             a part that is original at such a place, or alike it (rule `origin`)
asked    part, ""             the part that was asked about
alike    part, ""             a part alike the one asked about (rule `alike`)
older    part, ""             a part that the item replaces (rule `newer`)
sized    part, ""             a part of equal size (rule `size`)
source   owner, position      a place where the part is original, from which it may have been fitted
goes     owner, position      the item goes here (rule `goes`)
======== ==================== =======================================================================

Each step carries the fact that allows it, or None where it needs none. `forward` gives the steps
out of a state, `backward` those into it; a test holds the two to be one relation.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import NamedTuple

from kgraph.facts import Fact
from kgraph.fits.graph import Facts, Place


class State(NamedTuple):
    """Where a walk stands (see the table of this module)."""

    phase: str
    owner: str
    position: str = ""


Step = tuple[State, Fact | None]
Walk = Callable[[Facts, State], Iterable[Step]]

_PLACES = frozenset({"is", "source", "goes"})
_PARTS = frozenset({"part", "asked", "alike", "older", "sized"})


def thing(state: State) -> State:
    """The place or part that a state of `forward` or `backward` is about, whatever it holds of it.

    A way that comes to one thing a second time, in another phase, has a shorter one among its facts:
    what is original at a place goes there; whatever leads on from `source` leads on from `is`, and
    a part reaches `source` and `goes` by one and the same fact; and whatever leads on from an
    `older` or `sized` part leads on from the part itself. Other states stand for themselves.
    """
    if state.phase in _PLACES:
        return State("place", state.owner, state.position)
    return State("part", state.owner) if state.phase in _PARTS else state


_PARTS_FITTED = ("part", "alike", "older", "sized")
_PARTS_ORIGINAL = ("part", "alike")


def forward(graph: Facts, state: State) -> list[Step]:
    """The steps out of a state."""
    return list(_FORWARD[state.phase](graph, state))


def backward(graph: Facts, state: State) -> list[Step]:
    """The steps into a state, each with the state that it comes from."""
    return list(_BACKWARD[state.phase](graph, state))


def _like(graph: Facts, state: State) -> Iterable[Step]:
    for other, fact in graph.like(state.owner, state.position):
        yield State(state.phase, other, state.position), fact


def _from_is(graph: Facts, state: State) -> Iterable[Step]:
    place = Place(state.owner, state.position)
    yield from _like(graph, state)
    yield State("goes", *place), None
    for part, role, fact in graph.taken_at.get(place, ()):
        if role == "original":
            yield State("part", part), fact
    for target, fact in graph.fits_from.get(place, ()):
        yield State("goes", *target), fact


def _from_part(graph: Facts, state: State) -> Iterable[Step]:
    for other, fact in graph.same.get(state.owner, ()):
        yield State(state.phase, other), fact
    for place, role, fact in graph.takes_of.get(state.owner, ()):
        yield State("goes", *place), fact
        if role == "original" and graph.fits_from:
            yield State("source", *place), fact
    for old, fact in graph.older.get(state.owner, ()):
        yield State("older", old), fact
    if state.phase == "part":
        yield from _to_sized(graph, state)


def _to_sized(graph: Facts, state: State) -> Iterable[Step]:
    for other, fact in graph.equal_size(state.owner):
        yield State("sized", other), fact


def _from_asked(graph: Facts, state: State) -> Iterable[Step]:
    yield State("alike", state.owner), None
    yield from _to_sized(graph, state)


def _from_older(graph: Facts, state: State) -> Iterable[Step]:
    for other, fact in graph.same.get(state.owner, ()):
        yield State("older", other), fact
    for old, fact in graph.older.get(state.owner, ()):
        yield State("older", old), fact
    yield from _from_sized(graph, state)


def _from_sized(graph: Facts, state: State) -> Iterable[Step]:
    for place, _, fact in graph.takes_of.get(state.owner, ()):
        yield State("goes", *place), fact


def _from_source(graph: Facts, state: State) -> Iterable[Step]:
    yield from _like(graph, state)
    for target, fact in graph.fits_from.get(Place(state.owner, state.position), ()):
        yield State("goes", *target), fact


_FORWARD: dict[str, Walk] = {
    "is": _from_is,
    "part": _from_part,
    "alike": _from_part,
    "asked": _from_asked,
    "older": _from_older,
    "sized": _from_sized,
    "source": _from_source,
    "goes": _like,
}


def _into_goes(graph: Facts, state: State) -> Iterable[Step]:
    place = Place(state.owner, state.position)
    yield from _like(graph, state)
    yield State("is", *place), None
    for part, _, fact in graph.taken_at.get(place, ()):
        for phase in _PARTS_FITTED:
            yield State(phase, part), fact
    for source, fact in graph.fits_to.get(place, ()):
        yield State("is", *source), fact
        yield State("source", *source), fact


def _into_source(graph: Facts, state: State) -> Iterable[Step]:
    yield from _like(graph, state)
    for part, role, fact in graph.taken_at.get(Place(state.owner, state.position), ()):
        if role == "original" and graph.fits_from:
            for phase in _PARTS_ORIGINAL:
                yield State(phase, part), fact


def _into_part(graph: Facts, state: State) -> Iterable[Step]:
    for other, fact in graph.same.get(state.owner, ()):
        yield State("part", other), fact
    for place, role, fact in graph.takes_of.get(state.owner, ()):
        if role == "original":
            yield State("is", *place), fact


def _into_alike(graph: Facts, state: State) -> Iterable[Step]:
    for other, fact in graph.same.get(state.owner, ()):
        yield State("alike", other), fact
    yield State("asked", state.owner), None


def _into_older(graph: Facts, state: State) -> Iterable[Step]:
    for other, fact in graph.same.get(state.owner, ()):
        yield State("older", other), fact
    for new, fact in graph.newer.get(state.owner, ()):
        for phase in ("part", "alike", "older"):
            yield State(phase, new), fact


def _into_sized(graph: Facts, state: State) -> Iterable[Step]:
    for other, fact in graph.equal_size_back(state.owner):
        yield State("part", other), fact
        yield State("asked", other), fact


_BACKWARD: dict[str, Walk] = {
    "is": _like,
    "part": _into_part,
    "alike": _into_alike,
    "asked": lambda graph, state: (),
    "older": _into_older,
    "sized": _into_sized,
    "source": _into_source,
    "goes": _into_goes,
}


IMPLIED = (("is", "source"), ("source", "goes"))
"""Of `forward`: what holds at a place in the first phase holds there in the second."""
IMPLIED_BACKWARD = (("goes", "source"), ("source", "is"))


# Rule `no`: what is refused where --------------------------------------------------------------


def against(graph: Facts, state: State) -> list[Step]:
    """The steps of rule `no`, from the place where something is refused back to the refused items.

    States: `no` (a place like it), `refused` (a part alike the refused one: an item), `refusedplace` (the
    refused place: an item), `fitted` (a place whose original the refused part is: an item), `holds` (a place
    like the refused one, on the way to its original), `content` (that original: an item).
    """
    return list(_AGAINST[state.phase](graph, state))


Said = Mapping[str | Place, list[tuple[Place, Fact]]]
"""For an item, the places where a fact says that it does not go."""


def refusing(graph: Facts, said: Said, state: State) -> list[Step]:
    """The same steps the other way: from an item (`item`: a part or place) to where it is refused (`no`)."""
    if state.phase not in ("refused", "refusedplace"):
        return list(_REFUSING[state.phase](graph, state))
    item = Place(state.owner, state.position) if state.position else state.owner
    here: list[Step] = [(State("no", *place), fact) for place, fact in said.get(item, ())]
    return here + (list(_same(graph, state)) if state.phase == "refused" else [])


def _refusals(graph: Facts, state: State) -> Iterable[Step]:
    yield from _like(graph, state)
    for item, fact in graph.refused_at.get(Place(state.owner, state.position), ()):
        if isinstance(item, Place):
            yield State("refusedplace", *item), fact
        else:
            yield State("refused", item), fact


def _same(graph: Facts, state: State) -> Iterable[Step]:
    for other, fact in graph.same.get(state.owner, ()):
        yield State(state.phase, other), fact


def _originals(graph: Facts, state: State, phase: str) -> Iterable[Step]:
    """From a place to the parts that are original there."""
    for part, role, fact in graph.taken_at.get(Place(state.owner, state.position), ()):
        if role == "original":
            yield State(phase, part), fact


def _original_at(graph: Facts, state: State, phase: str) -> Iterable[Step]:
    """From a part to the places where it is original."""
    for place, role, fact in graph.takes_of.get(state.owner, ()):
        if role == "original":
            yield State(phase, *place), fact


def _refused_part(graph: Facts, state: State) -> Iterable[Step]:
    yield from _same(graph, state)
    yield from _original_at(graph, state, "fitted")


def _holds(graph: Facts, state: State) -> Iterable[Step]:
    yield from _like(graph, state)
    yield from _originals(graph, state, "content")


_AGAINST: dict[str, Walk] = {
    "no": _refusals,
    "refused": _refused_part,
    "refusedplace": lambda graph, state: [(State("holds", state.owner, state.position), None)],
    "fitted": _like,
    "holds": _holds,
    "content": _same,
}


def _from_item(graph: Facts, state: State) -> Iterable[Step]:
    """What is refused with an item: a part by each way of `against`, a place by its own."""
    if state.position:
        yield State("refusedplace", state.owner, state.position), None
        yield State("fitted", state.owner, state.position), None
    else:
        yield State("refused", state.owner), None
        yield State("content", state.owner), None


def _from_fitted(graph: Facts, state: State) -> Iterable[Step]:
    yield from _like(graph, state)
    yield from _originals(graph, state, "refused")


def _from_holds(graph: Facts, state: State) -> Iterable[Step]:
    yield from _like(graph, state)
    yield State("refusedplace", state.owner, state.position), None


def _from_content(graph: Facts, state: State) -> Iterable[Step]:
    yield from _same(graph, state)
    yield from _original_at(graph, state, "holds")


_REFUSING: dict[str, Walk] = {
    "item": _from_item,
    "fitted": _from_fitted,
    "holds": _from_holds,
    "content": _from_content,
    "no": _like,
}


def refused_item(state: State) -> str | Place | None:
    """The item that a state of `against` refuses, or None where it is only on the way."""
    if state.phase in ("refused", "content"):
        return state.owner
    return Place(state.owner, state.position) if state.phase in ("refusedplace", "fitted") else None


def rebadged(graph: Facts, state: State) -> list[Step]:
    """The steps of `sisters`: along rebadge facts only, whatever they leave out."""
    return [
        (State(state.phase, link.other), link.fact)
        for link in graph.links.get(state.owner, ())
        if not link.to_assembly
    ]
