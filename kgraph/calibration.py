"""How often each grade held, by what the user has since fitted or seen refused with their own hands.

A trial is a `fits` or `takes` that was fitted, or a `refuses`. It counts where the facts without
any trial had already said that the thing goes; it counts for the grade of the weakest fact of
their best proof. With k of n held and every share equally likely beforehand, the share that holds
is Beta(k + 1, n - k + 1).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from kgraph.beta import quantile
from kgraph.claims import FitsClaim, RefusesClaim, SameClaim, TakesClaim
from kgraph.collection import Collection
from kgraph.facts import Fact
from kgraph.fits import graph as graphs
from kgraph.fits.graph import Graph
from kgraph.names import fold
from kgraph.reason import rules
from kgraph.reason.rules import State
from kgraph.reason.walk import explore
from kgraph.reason.weigh import best_proofs

BY_HAND = "fitted"
"""The grade that makes a `fits` or a `takes` a trial."""
OWN_NUMBER, SIZE = "own number", "equal size"


@dataclass(frozen=True, slots=True)
class Trial:
    """Something tried by hand: what had been said of it, by which grade, and whether it held."""

    fact: Fact
    held: bool
    grade: str
    said: float


@dataclass(frozen=True, slots=True)
class GradeHeld:
    """One grade: trials, how many held, the mean certainty that had been said, and the posterior."""

    grade: str
    tried: int
    held: int
    said: float
    mean: float
    low: float
    high: float


def of_folder(graph: Graph) -> tuple[GradeHeld, ...]:
    """Every grade that was tried, by name."""
    by_grade: dict[str, list[Trial]] = {}
    for trial in trials(graph):
        by_grade.setdefault(trial.grade, []).append(trial)
    return tuple(_summed(grade, by_grade[grade]) for grade in sorted(by_grade))


def _summed(grade: str, found: list[Trial]) -> GradeHeld:
    tried, held = len(found), sum(t.held for t in found)
    a, b = held + 1, tried - held + 1
    said = math.fsum(t.said for t in found) / tried
    return GradeHeld(grade, tried, held, said, a / (a + b), quantile(0.025, a, b), quantile(0.975, a, b))


def trials(graph: Graph) -> list[Trial]:
    """What was tried by hand and had been said before by facts that are no trials."""
    before = graphs.with_facts(graph, _untried(graph))
    found = []
    for fact in graph.data.facts.values():
        asked = _question(graph.data, fact)
        if asked is None:
            continue
        network = explore(asked[0], _earlier(before, _tried_on(graph.data, fact)))
        target = network.number.get(asked[1])
        best = best_proofs(network, [target]).get(target) if target is not None else None
        if best is None or not best.labels:
            continue
        proof = network.fact_list(best.labels)
        weakest = min(proof, key=lambda f: (f.certainty, f.id))
        said = network.product(best.labels)
        found.append(Trial(fact, fact.kind != "refuses", grade_of(graph.data, weakest), said))
    return found


def _untried(graph: Graph) -> Iterator[Fact]:
    """The facts as they stand without what was tried by hand."""
    data = graph.data
    for fact in graph.data.facts.values():
        if fact.kind == "refuses":
            continue
        rest = tuple(e for e in fact.evidence if not _by_hand(data, fact, e.how))
        if rest:
            yield fact._replace(evidence=rest, certainty=max(e.certainty for e in rest))


def _tried_on(data: Collection, fact: Fact) -> str:
    """The date of a trial, or "" where none is recorded."""
    tried = (e for e in fact.evidence if fact.kind == "refuses" or _by_hand(data, fact, e.how))
    return min((e.date for e in tried if e.date), default="")


def _earlier(graph: Graph, date: str) -> Callable[[State], list[rules.Step]]:
    """Steps by what had been said by a date; sayings without a date count as earlier."""

    def steps(state: State) -> list[rules.Step]:
        found = ((to, _as_of(fact, date)) for to, fact in rules.forward(graph, state))
        return [(to, known) for to, known in found if known is not _UNSAID]

    return steps


_UNSAID = Fact("", "", SameClaim("", ""), 0.0)


def _as_of(fact: Fact | None, date: str) -> Fact | None:
    if fact is None or not date or all(e.date <= date for e in fact.evidence):
        return fact
    said = tuple(e for e in fact.evidence if e.date <= date)
    return fact._replace(evidence=said, certainty=max(e.certainty for e in said)) if said else _UNSAID


def _by_hand(data: Collection, fact: Fact, how: str) -> bool:
    return fact.kind in ("fits", "takes") and data.key("grade", fold(how)) == data.key("grade", BY_HAND)


def _question(data: Collection, fact: Fact) -> tuple[State, State] | None:
    """(start, goal) of the walk that says whether a tried thing goes; None for what is no trial."""
    if isinstance(fact.claim, RefusesClaim):
        part, owner, position, at, where = fact.claim
        start = State("asked", part) if part else State("is", owner, position)
        return start, State("goes", at, where)
    if not any(_by_hand(data, fact, e.how) for e in fact.evidence):
        return None
    if isinstance(fact.claim, TakesClaim):
        return State("asked", fact.claim.part), State("goes", fact.claim.owner, fact.claim.position)
    fits = fact.of(FitsClaim)
    return State("is", fits.owner, fits.position), State("goes", fits.to, fits.at)


def grade_of(data: Collection, fact: Fact) -> str:
    """The grade of the strongest saying of a fact."""
    if fact.kind == "size":
        return SIZE
    strongest = max(fact.evidence, key=lambda e: e.certainty)
    return data.text("grade", data.key("grade", fold(strongest.how))) if strongest.how else OWN_NUMBER
