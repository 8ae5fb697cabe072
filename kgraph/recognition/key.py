"""An identification key: at each step the question that is expected to leave the fewest questions.

A set of which nothing is known at a question stands under each of its answers, so that no way loses it.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from kgraph.fits.graph import Graph
from kgraph.recognition import spreading, traits
from kgraph.recognition.seen import NOT_TO_BE_SEEN
from kgraph.records import Unit

LEAST_CERTAIN = 0.5
"""What is less certain than this is not known, as far as a key goes: a choice of our own."""
MOST_ANSWERS = 12
INSIDE = 0.5
IN_PAPERS = 0.001
"""What a set must be opened for counts half, what papers alone say is asked last: choices of our own."""


@dataclass(frozen=True, slots=True)
class KeyStep:
    """One question with its answers, each leading to a further step or to sets; or sets alone."""

    key: str
    question: str
    answers: tuple[tuple[str, KeyStep], ...]
    sets: tuple[str, ...]


def key_for(graph: Graph, owners: Iterable[str]) -> KeyStep:
    """The key that tells these sets apart, as far as what is recorded goes."""
    chosen = sorted(set(owners))
    keys = sorted(traits.keys_of(graph).keys() - {traits.BADGE})
    known: dict[str, dict[str, frozenset[str]]] = {}
    for key in keys:
        at = spreading.trait(graph, key).at
        known[key] = {o: at[o].values for o in chosen if o in at and at[o].certainty >= LEAST_CERTAIN}
    seen = {key: (1.0 - _not_seen(graph, key)) * _ease(graph, key) for key in keys}
    return _step(graph, tuple(chosen), known, seen, frozenset())


def _ease(graph: Graph, key: str) -> float:
    if key in traits.IN_PAPERS:
        return IN_PAPERS
    return INSIDE if traits.lies_inside(graph, key) else 1.0


def _not_seen(graph: Graph, key: str) -> float:
    """How often what is at a place is missing or broken on the units whose state is written."""
    states = [
        str(state).casefold() in NOT_TO_BE_SEEN
        for things in graph.data.things["unit"].values()
        for unit in things
        if isinstance(unit, Unit)
        for name, state in unit.state
        if graph.data.key("position", name.key) == key
    ]
    return sum(states) / (len(states) + 1)


def _step(
    graph: Graph,
    sets: tuple[str, ...],
    known: dict[str, dict[str, frozenset[str]]],
    seen: dict[str, float],
    asked: frozenset[str],
) -> KeyStep:
    scores = {k: gain(sets, of) * seen[k] for k, of in known.items() if k not in asked}
    best = max(scores, key=lambda k: (scores[k], k), default="")
    if len(sets) < 2 or not best or scores[best] <= 1e-9:
        return KeyStep("", "", (), sets)
    trait = spreading.trait(graph, best)
    answers = []
    for values, under in sorted(parted(sets, known[best]).items(), key=lambda item: sorted(item[0])):
        said = ", ".join(sorted(trait.texts.get(v, v) for v in values))
        answers.append((said, _step(graph, under, known, seen, asked | {best})))
    return KeyStep(best, trait.name, tuple(answers), sets)


def parted(sets: Iterable[str], known: dict[str, frozenset[str]]) -> dict[frozenset[str], tuple[str, ...]]:
    """Answer -> the sets under it; those of which nothing is known are under each."""
    groups: dict[frozenset[str], list[str]] = defaultdict(list)
    unknown = [o for o in sets if o not in known]
    for owner in sets:
        if owner in known:
            groups[known[owner]].append(owner)
    return {values: tuple(sorted([*of, *unknown])) for values, of in groups.items()}


def gain(sets: Iterable[str], known: dict[str, frozenset[str]]) -> float:
    """How far the entropy over equally likely sets falls by the answer, in bits."""
    chosen = list(sets)
    counts = Counter(known[o] for o in chosen if o in known)
    if not 2 <= len(counts) <= MOST_ANSWERS:
        return 0.0
    whole = counts.total()
    return (whole / len(chosen)) * -math.fsum(n / whole * math.log2(n / whole) for n in counts.values())


def mean_questions(step: KeyStep) -> float:
    """The mean number of questions over the sets at the ends, each end a way of its own."""
    ends = list(_ends(step, 0))
    return math.fsum(depth * n for depth, n in ends) / max(sum(n for _, n in ends), 1)


def _ends(step: KeyStep, depth: int) -> Iterable[tuple[int, int]]:
    if not step.answers:
        yield depth, len(step.sets)
    for _, then in step.answers:
        yield from _ends(then, depth + 1)
