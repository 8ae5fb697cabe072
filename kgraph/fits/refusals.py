"""The strongest `no` at a place (rule `no`), found once for all places that are alike.

A proof that something does not go has two ends: from the place to a like place where it was refused, by
rebadge and uses facts, and from what was refused there to the item asked about. Where the two ends can
share no fact, the strongest proof is the best of each; where they can, the whole walk of the rule decides.
"""

from __future__ import annotations

from collections.abc import Collection as Items
from typing import NamedTuple

from kgraph.facts import Fact
from kgraph.fits import proofs, rules
from kgraph.fits.graph import Facts, Place
from kgraph.fits.rules import State
from kgraph.fits.ways import Ways, ways

Item = str | Place
Proof = tuple[float, tuple[Fact, ...]]
"""A certainty, and the facts that it is the product of, in the order of the walk."""
NONE: Proof = (0.0, ())


def refusals_of(graph: Facts) -> Refusals:
    """What is refused in a graph; the questions asked of it share what is found."""
    found: Refusals = graph.remembered.setdefault("refusals", Refusals(graph))
    return found


class _Refusal(NamedTuple):
    """One `refuses` fact: the ways from its place to all like it, and the items that it speaks of."""

    fact: Fact
    ways: Ways
    items: dict[Item, Proof]
    apart: bool
    """Whether no fact can serve at both ends, whatever the item."""
    of_part: bool
    hits: dict[Items[Item], tuple[Proof, bool]]

    def hit(self, asked: frozenset[str] | frozenset[Place], parts: bool) -> tuple[Proof, bool]:
        """The strongest proof that it speaks of one of these items, and whether the two ends are apart."""
        if asked not in self.hits:
            few, many = sorted((asked, self.items), key=len)
            found = [self.items[i] for i in sorted((i for i in few if i in many), key=str)]
            # From a refused part to a part alike it lead `same` facts alone.
            apart = self.apart or (self.of_part and parts)
            self.hits[asked] = max(found, key=lambda p: p[0], default=NONE), apart
        return self.hits[asked]


class Refusals:
    """The refusals of a graph, looked up by the place where something is to go."""

    def __init__(self, graph: Facts) -> None:
        self.graph = graph
        self._near: dict[Place, tuple[_Refusal, ...]] = {}
        self._walked: dict[Place, dict[Item, Proof]] = {}

    def strongest(self, place: Place, parts: frozenset[str], places: frozenset[Place]) -> Proof:
        """The strongest proof that one of these items does not go at a place; certainty 0.0 without one."""
        best: tuple[float, _Refusal | None, Proof] = (0.0, None, NONE)
        bound = 0.0
        for refusal in self._refused_near(place):
            sure = refusal.ways.certainty[place.owner] * refusal.fact.certainty
            for end, apart in (refusal.hit(parts, True), refusal.hit(places, False)):
                if apart and sure * end[0] > best[0]:
                    best = (sure * end[0], refusal, end)
                elif not apart and end[0]:
                    bound = max(bound, min(sure, end[0]))
        if bound > best[0]:
            # Facts that serve at both ends are counted once: the product is at most that of either end.
            return self._by_walk(place, parts, places)
        found, strongest, end = best
        if strongest is None:
            return NONE
        return found, (*strongest.ways.facts(place.owner), strongest.fact, *end[1])

    def _refused_near(self, place: Place) -> tuple[_Refusal, ...]:
        if not self.graph.refused_at:
            return ()
        if place not in self._near:
            alike = self.graph.alike_places(place)
            said = [(p, item, fact) for p in sorted(alike) for item, fact in self.graph.refused_at.get(p, ())]
            links = {f.id for p in alike for _, f in self.graph.like(*p)} if said else set()
            refusals = tuple(self._refusal(*s, links) for s in said)
            self._near.update(dict.fromkeys(alike, refusals))
        return self._near[place]

    def _refusal(self, where: Place, item: Item, fact: Fact, links: set[str]) -> _Refusal:
        of_part = not isinstance(item, Place)
        start = State("refusedplace", *item) if isinstance(item, Place) else State("refused", item)
        walked = proofs.explore(start, lambda s: rules.against(self.graph, s))
        apart = links.isdisjoint(f.id for f in walked.facts)
        return _Refusal(fact, self._ways(where), _items(walked), apart, of_part, {})

    def _ways(self, where: Place) -> Ways:
        return ways(self.graph, {where.owner: 1.0}, where.position)

    def _by_walk(self, place: Place, parts: frozenset[str], places: frozenset[Place]) -> Proof:
        if place not in self._walked:
            walked = proofs.explore(State("no", *place), lambda s: rules.against(self.graph, s))
            self._walked[place] = _items(walked)
        found = self._walked[place]
        against = [found[i] for i in sorted([*parts, *places], key=str) if i in found]
        return max(against, key=lambda p: p[0], default=NONE)


def _items(walked: proofs.Walked) -> dict[Item, Proof]:
    """Each item that a walk of rule `no` comes to, with its strongest proof."""
    found: dict[Item, Proof] = {}
    for number, best in proofs.best_proofs(walked).items():
        item = rules.refused_item(walked.states[number])
        strength = proofs.product(walked, best.labels)
        if item is not None and strength > found.get(item, NONE)[0]:
            found[item] = (strength, walked.fact_list(best.labels))
    return found
