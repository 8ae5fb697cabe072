"""Every place that takes a part, by its best proof alone, for questions that ask about many parts at once.

The rules are those of :mod:`kgraph.fits.rules`: they are walked up to the first place of each class of like
places, and the way on within the class, which all parts share, is searched once. The certainty over all
proofs is left to :mod:`kgraph.questions`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from kgraph.facts import Fact
from kgraph.fits import proofs, rules
from kgraph.fits.graph import Facts, Place
from kgraph.fits.refusals import refusals_of
from kgraph.fits.rules import State, Step
from kgraph.fits.ways import Ways, ways


@dataclass(frozen=True, slots=True)
class Taker:
    """A place that takes a part: the best proof's certainty, and the strongest `no` against it (0: none)."""

    place: Place
    best: float
    no: float
    sized: bool
    _entry: tuple[Fact, ...]
    _way: Ways | None

    @property
    def proof(self) -> tuple[Fact, ...]:
        """The facts of the best proof, in the order of the walk."""
        return (
            self._entry if self._way is None else (*self._entry, *reversed(self._way.facts(self.place.owner)))
        )

    @property
    def refused(self) -> bool:
        """Whether a `no` is at least as strong."""
        return self.no > 0 and self.no >= self.best - 1e-12


@dataclass
class Takers:
    """Answers for one graph; what several parts share is worked out once and kept."""

    graph: Facts
    _ways: dict[Place, Ways] = field(default_factory=dict)

    def of(self, part: str) -> list[Taker]:
        """Every place of a set that takes the part, each once, refused ones too."""
        best: dict[Place, Taker] = {}
        for taker in self._all(part):
            known = best.get(taker.place)
            if taker.place.owner[0] == "s" and (known is None or known.best < taker.best):
                best[taker.place] = taker
        return list(best.values())

    def _all(self, part: str) -> list[Taker]:
        """One taker for each place and entry of its class, or by the whole walk where a `fits` may serve."""
        walked = proofs.explore(State("asked", part), self._to_first_places)
        if any(self._may_be_fitted(Place(*s[1:])) for s in walked.states if s.phase == "source"):
            return self._by_walk(
                part, proofs.explore(walked.states[0], lambda s: rules.forward(self.graph, s))
            )
        found = []
        best = proofs.best_proofs(walked)
        for number, state in enumerate(walked.states):
            if state.phase != "goes":
                continue
            way = self.way(Place(*state[1:]))
            entry = walked.fact_list(best[number].labels)
            sure, sized = math.prod(f.certainty for f in entry), any(f.kind == "size" for f in entry)
            for owner, certainty in way.certainty.items():
                place = Place(owner, state.position)
                found.append(Taker(place, sure * certainty, self._no(place, part), sized, entry, way))
        return found

    def _to_first_places(self, state: State) -> list[Step]:
        return [] if state.phase in ("goes", "source") else rules.forward(self.graph, state)

    def _may_be_fitted(self, place: Place) -> bool:
        likes = self.way(place).certainty
        return any(Place(owner, place.position) in self.graph.fits_from for owner in likes)

    def _by_walk(self, part: str, walked: proofs.Walked) -> list[Taker]:
        found = []
        for number, best in proofs.best_proofs(walked).items():
            state = walked.states[number]
            if state.phase == "goes":
                place, proof = Place(*state[1:]), walked.fact_list(best.labels)
                sized = any(f.kind == "size" for f in proof)
                found.append(
                    Taker(
                        place, proofs.product(walked, best.labels), self._no(place, part), sized, proof, None
                    )
                )
        return found

    def way(self, place: Place) -> Ways:
        """The best ways from a place to all like it."""
        if place not in self._ways:
            self._ways[place] = ways(self.graph, {place.owner: 1.0}, place.position)
        return self._ways[place]

    def _no(self, place: Place, part: str) -> float:
        """The certainty of the strongest proof that the part does not go there (rule `no`)."""
        return refusals_of(self.graph).strongest(place, frozenset({part}), frozenset())[0]
