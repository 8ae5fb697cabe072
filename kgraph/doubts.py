"""Which single fact, once looked at, is expected to settle most of the answers of a question.

H is the sum over the answers of the binary entropy of their certainty, in bits; the fall for a
fact of certainty c is H - [c H(fact holds) + (1 - c) H(fact does not hold)] (section 6 of the
contract). Only the answers that a fact bears on can change with it. Each question tells what would be
left of each answer without each of its facts, worked out along with its certainty; none is asked twice.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from kgraph import questions
from kgraph.facts import Fact
from kgraph.fits.graph import Graph, Place
from kgraph.questions import Row, Wanted
from kgraph.questions.answer import Answer
from kgraph.questions.asked import budget_of
from kgraph.questions.takers import rows_of_part
from kgraph.reason.budget import Budget
from kgraph.shelf.ledger import shelf_now

SECONDS = 5.0
"""The time meant for weighing where no set or unit is named."""
WEIGHED = Wanted(failures=True)
"""How answers are asked for that are to be weighed."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """One fact, the expected fall in bits if it were looked at, and the answers that hang on it."""

    fact: Fact
    fall_bits: float
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Doubts:
    """All doubts, the one that settles most first; the entropy of the answers; how many are inexact."""

    found: tuple[Doubt, ...]
    entropy_bits: float
    answers: int
    inexact: int = 0
    not_looked_at: int = 0
    """Parts whose takers were not asked for, for want of time."""
    late: tuple[str, ...] = ()
    """What else there was no time for, in words."""


@dataclass(slots=True)
class _Weight:
    fall: float = 0.0
    rows: list[Row] = field(default_factory=list)


def entropy(chance: float) -> float:
    """Binary entropy of a probability, in bits; 0 at both ends."""
    if chance <= 0.0 or chance >= 1.0:
        return 0.0
    return -(chance * math.log2(chance) + (1.0 - chance) * math.log2(1.0 - chance))


def weigh(rows: Iterable[Row]) -> Doubts:
    """The doubts over the answers of one or more questions, asked with `WEIGHED`."""
    facts: dict[str, Fact] = {}
    weights: dict[str, _Weight] = {}
    total, count, inexact = 0.0, 0, 0
    for row in rows:
        bits, falls, exact = _falls(row, facts)
        total, count, inexact = total + bits, count + 1, inexact + (not exact)
        for fact, fall in falls.items():
            weight = weights.setdefault(fact, _Weight())
            weight.fall += fall
            weight.rows.append(row)
    found = [Doubt(facts[i], w.fall, tuple(w.rows)) for i, w in weights.items() if w.fall > 1e-15]
    found.sort(key=lambda d: (-d.fall_bits, -len(d.rows), d.fact.id))
    return Doubts(tuple(found), total, count, inexact)


def _falls(row: Row, facts: dict[str, Fact]) -> tuple[float, dict[str, float], bool]:
    """Entropy of one answer, the fall for each of its facts, and whether both are exact."""
    facts.update((f.id, f) for f, _ in row.failures)
    bits = entropy(row.certainty)
    falls = {f.id: _fall(bits, row.certainty, f.certainty, c) for f, c in row.failures}
    return bits, falls, row.failures_exact


def _fall(bits: float, chance: float, given: float, failed: float) -> float:
    """The fall in bits for a fact of certainty `given`, without which `failed` is left of `chance`."""
    if given >= 1.0:
        return 0.0
    holds = min(1.0, (chance - (1.0 - given) * failed) / given)
    return bits - _left(given, holds, failed)


def _left(chance: float, holds: float, fails: float) -> float:
    """Entropy that is left, in bits, once it is known whether a fact of this certainty holds."""
    return chance * entropy(holds) + (1.0 - chance) * entropy(fails)


def of_set(graph: Graph, set_key: str, budget: Budget | None = None) -> Doubts:
    """Doubts over the donors of a set at every position known; a budget may be shared."""
    places = questions.places_of(graph, set_key)
    return _of_answer(questions.donors(graph, set_key, places, WEIGHED, budget=budget))


def of_unit(graph: Graph, unit: str) -> Doubts:
    """Doubts over the donors of a unit's set at what the unit still wants."""
    now = shelf_now(graph).units.get(unit)
    return _of_answer(questions.donors(graph, now.set, now.wants, WEIGHED)) if now else weigh(())


def _of_answer(answer: Answer) -> Doubts:
    return replace(weigh(answer.rows), late=answer.late)


def of_folder(graph: Graph, seconds: float = SECONDS) -> Doubts:
    """Doubts over the takers of every part, as many as there is time for.

    The donors of every set would repeat them, place by place. Where the time is up, the parts that were not
    looked at are counted.
    """
    budget = budget_of(WEIGHED._replace(seconds=seconds))
    # Only the order of the doubts is wanted: few worlds tell it, and many parts are looked at instead.
    budget.draws = 0
    parts = _in_order(graph)
    rows: list[Row] = []
    looked = 0
    for part in parts:
        if budget.steps <= 0 or budget.late:
            break
        rows += (r for r in rows_of_part(graph, part, WEIGHED, budget) if r.standing != "refused")
        looked += 1
    return replace(weigh(rows), not_looked_at=len(parts) - looked)


def _in_order(graph: Graph) -> list[str]:
    """All parts: of each class of like places one first, then a second, the largest classes before others.

    Answers about parts of one class hang on the same facts.
    """
    classes: dict[frozenset[Place], list[tuple[int, str]]] = {frozenset(): []}
    for part, taken in graph.takes_of.items():
        places = dict.fromkeys(graph.alike_places(place) for place, _, _ in taken)
        size = sum(map(len, places))
        classes.setdefault(max(places, key=len), []).append((-size, part))
    taken_nowhere = graph.data.known("part").keys() - graph.takes_of.keys()
    classes[frozenset()] += ((0, part) for part in taken_nowhere)
    ranked = ((nth, *one) for parts in classes.values() for nth, one in enumerate(sorted(parts)))
    return [part for _, _, part in sorted(ranked)]
