"""Which items an answer is about, as sets of bits, and what speaks against it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import cache, cached_property
from typing import TYPE_CHECKING, Protocol

from kgraph.fits.graph import Place
from kgraph.reason import refusals, rules
from kgraph.reason.refusals import NOTHING, Against, Item
from kgraph.reason.rules import State
from kgraph.reason.walk import Network, components, entries_of

if TYPE_CHECKING:
    from kgraph.questions.asked import Asked

MOST_PARTS = 200
"""The most parts that are named in one answer; of more, those reached first."""


class Items:
    """The items of each answer as sets of bits: the parts, and the places, that lead to it."""

    def __init__(self, asked: Asked) -> None:
        self.asked = asked
        states = asked.network.states
        self._owners = [s.owner for s in states if s.phase == "part"]
        self._of_parts = _spread_bits(asked.network, lambda s: s.phase == "part")
        self._texts: dict[int, tuple[str, ...]] = {}

    def parts(self, target: int) -> tuple[str, ...]:
        """The parts that lead to an answer, by name; those met first where there are too many."""
        bits = self._of_parts[target]
        if bits not in self._texts:
            found = [self._owners[i] for i in _ones(bits, MOST_PARTS)]
            self._texts[bits] = tuple(sorted(set(found)))
        return self._texts[bits]

    def bearing(self, items: Iterable[Item]) -> Callable[[int], frozenset[Item]]:
        """For each answer those of these items that it is about."""
        wanted = frozenset(items)
        if self.asked.phase == "asked":
            return lambda target: frozenset({self.asked.targets[target].owner}) & wanted
        if self.asked.part:
            about = frozenset({self.asked.part}) & wanted
            return lambda target: about
        parts = sum(1 << i for i, owner in enumerate(self._owners) if owner in wanted)
        places = sum(1 << i for i, place in enumerate(self._places) if place in wanted)
        known: dict[tuple[int, int], frozenset[Item]] = {}

        def of(target: int) -> frozenset[Item]:
            here = self._of_parts[target] & parts, 0
            if places and self._without_parts[target]:
                here = here[0], self._of_places[target] & places
            if here not in known:
                by_place = [self._places[i] for i in _ones(here[1])]
                known[here] = frozenset([*(self._owners[i] for i in _ones(here[0])), *by_place])
            return known[here]

        return of

    @cached_property
    def _places(self) -> list[Place]:
        return [Place(*s[1:]) for s in self.asked.network.states if s.phase == "is"]

    @cached_property
    def _of_places(self) -> list[int]:
        return _spread_bits(self.asked.network, lambda s: s.phase == "is")

    @cached_property
    def _without_parts(self) -> list[bool]:
        """Whether each state is reached without any part on the way."""
        network = self.asked.network
        found = [False] * len(network.states)
        found[0] = True
        todo = [0]
        while todo:
            for to, _ in network.steps[todo.pop()]:
                if not found[to] and network.states[to].phase not in _PARTS:
                    found[to] = True
                    todo.append(to)
        return found


_PARTS = ("part", "older", "sized", "source", "alike")


def _spread_bits(network: Network, own: Callable[[State], bool]) -> list[int]:
    """For each state which of some states, numbered in their order, lead to it; a bit for each."""
    found, number = [0] * len(network.states), 0
    for i, one in enumerate(network.states):
        if own(one):
            found[i], number = 1 << number, number + 1
    if not number:
        return found
    into = entries_of(network.steps)
    for component in components(network.steps, into):
        bits = 0
        for state in component:
            bits |= found[state]
            for source, _ in into[state]:
                bits |= found[source]
        for state in component:
            found[state] = bits
    return found


def _ones(bits: int, most: int | None = None) -> Iterator[int]:
    """The numbers of the bits that are set, from the lowest on."""
    while bits and most != 0:
        low = bits & -bits
        yield low.bit_length() - 1
        bits ^= low
        most = None if most is None else most - 1


# What speaks against it -----------------------------------------------------------------------


class AgainstEach(Protocol):
    """What speaks against an answer, by its number."""

    def __call__(self, target: int, by_sisters: bool = True) -> Against | None: ...


def against_of(asked: Asked, items: Items) -> AgainstEach:
    """For each answer the strongest proof that it does not go; None where there was no time to look.

    With False after it: the strongest that passes no rebadge on its way from the place.
    """
    places = {Place(*s[1:]) for s in asked.network.states if s.phase == "goes"}
    if asked.nearest is not None:
        # A walk that ended early did not come to every place like these.
        places = {far for place in places for far in refusals.refused_near(asked.graph, place)}
    said = refusals.said_at(asked.graph, sorted(places))
    if not said:
        return lambda target, by_sisters=True: NOTHING
    if asked.of_donors and asked.host is not None:
        return _of_donors(asked, items, asked.host)
    return _of_takers(asked, items, said)


def _of_donors(asked: Asked, items: Items, host: Place) -> AgainstEach:
    @cache
    def refused(by_sisters: bool) -> list[tuple[Item, Against]]:
        found = refusals.refused_items(asked.graph, host, asked.budget, by_sisters)
        return sorted(found.items(), key=lambda i: (-i[1].certainty, str(i[0])))

    about = items.bearing(item for item, _ in refused(True))

    def against(target: int, by_sisters: bool = True) -> Against | None:
        mine = about(target)
        return next((no for item, no in refused(by_sisters) if item in mine), NOTHING)

    return against


def _of_takers(asked: Asked, items: Items, said: rules.Said) -> AgainstEach:
    about = items.bearing(refusals.bearing_on(asked.graph, said, asked.budget))
    walked: dict[tuple[frozenset[Item], bool], Mapping[Place, Against]] = {}

    def against(target: int, by_sisters: bool = True) -> Against | None:
        mine = about(target)
        if not mine:
            return NOTHING
        if (mine, by_sisters) not in walked:
            if len(walked) > refusals.MOST_WALKS or asked.budget.steps <= 0:
                return None
            found = refusals.refused_places(asked.graph, said, mine, asked.budget, by_sisters)
            walked[mine, by_sisters] = found
        here: Against = walked[mine, by_sisters].get(Place(*asked.targets[target][1:]), NOTHING)
        return here

    return against
