"""Walks through the rules, the best proof of each state reached, and all minimal proofs.

A proof is a set of facts that suffice. What a proof costs is the sum of -ln(certainty) over its
*distinct* facts, so that a fact that serves twice is counted once.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import NamedTuple, TypeVar

from kgraph.facts import Fact
from kgraph.fits.rules import State, Step, thing

Labels = frozenset[int]
_Node = TypeVar("_Node", int, str)

PROOFS_KEPT = 64
"""The most minimal proofs that are listed for one answer; where there are more, it is said."""

WORK_LIMIT = 6_000
"""The most partial proofs that are looked at when all minimal proofs of a question are listed."""


class Walked(NamedTuple):
    """All states within reach of a start, with the steps between them as numbers."""

    states: list[State]
    number: dict[State, int]
    steps: list[list[tuple[int, int]]]
    """For each state: (state reached, fact number or -1)."""
    facts: list[Fact]
    costs: list[float]

    def fact_list(self, labels: Iterable[int]) -> tuple[Fact, ...]:
        """The facts that the numbers stand for."""
        return tuple(self.facts[i] for i in labels)


def explore(start: State, step: Callable[[State], list[Step]]) -> Walked:
    """Every state reachable from `start` by `step`."""
    walked = Walked([start], {start: 0}, [], [], [])
    fact_number: dict[str, int] = {}
    at = 0
    while at < len(walked.states):
        out: list[tuple[int, int]] = []
        for state, fact in step(walked.states[at]):
            to = walked.number.setdefault(state, len(walked.states))
            if to == len(walked.states):
                walked.states.append(state)
            out.append((to, _number(walked, fact_number, fact)))
        walked.steps.append(out)
        at += 1
    return walked


def _number(walked: Walked, fact_number: dict[str, int], fact: Fact | None) -> int:
    if fact is None:
        return -1
    found = fact_number.setdefault(fact.id, len(walked.facts))
    if found == len(walked.facts):
        walked.facts.append(fact)
        walked.costs.append(-math.log(fact.certainty))
    return found


def repeatable(walked: Walked) -> Labels:
    """The facts that one way may use twice and still be the best: they join more than one pair of things.

    Between the same two things a fact is never used twice, for a way that comes to one thing a second
    time has a shorter one among its facts (:func:`kgraph.fits.rules.thing`).
    """
    seen: dict[int, frozenset[State]] = {}
    twice: set[int] = set()
    things = [thing(state) for state in walked.states]
    for state, out in enumerate(walked.steps):
        for to, label in out:
            ends = frozenset((things[state], things[to]))
            if label >= 0 and seen.setdefault(label, ends) != ends:
                twice.add(label)
    return frozenset(twice)


class Best(NamedTuple):
    """The best proof of a state: its cost and its facts, in the order of the walk."""

    cost: float
    labels: tuple[int, ...]

    @property
    def certainty(self) -> float:
        """The product of the certainties of the proof's distinct facts."""
        return math.exp(-self.cost)


def product(walked: Walked, labels: Iterable[int]) -> float:
    """The product of the certainties of distinct facts."""
    return math.prod(walked.facts[i].certainty for i in sorted(set(labels)))


def best_proofs(walked: Walked, targets: Iterable[int] = ()) -> dict[int, Best]:
    """The best proof of every target (of every state that is an answer, if none is given), by distinct facts.

    A search by cost. Only the facts that can serve twice are remembered on the way: a way to a
    state is dropped when another is no dearer even after paying for all that it has in hand, and
    when it is dearer than the dearest target is with each fact paid for each time.
    """
    ways = Cheapest({0: 0.0}, walked.steps, walked.costs)
    wanted = set(targets) & ways.cost.keys() or ways.cost.keys()
    found = {state: _best(walked, ways.way(state)[1]) for state in wanted}
    shared = repeatable(walked)
    if not shared:
        return found
    return {**found, **_search(walked, shared, max(best.cost for best in found.values()))}


def _best(walked: Walked, labels: Iterable[int]) -> Best:
    once = tuple(dict.fromkeys(labels))
    return Best(sum(walked.costs[n] for n in once), once)


class Cheapest:
    """The cheapest way to each state from those it may begin at, each step paid for (Dijkstra's search)."""

    def __init__(
        self,
        starts: Mapping[int, float],
        steps: Mapping[int, Sequence[tuple[int, int]]] | Sequence[Sequence[tuple[int, int]]],
        costs: Sequence[float],
        until: int = -1,
    ) -> None:
        self.cost: dict[int, float] = {}
        self.came: dict[int, tuple[int, int]] = {}
        queue = [(cost, 0, state, (-1, -1)) for state, cost in starts.items()]
        heapq.heapify(queue)
        while queue and until not in self.cost:
            cost, length, state, came = heapq.heappop(queue)
            if state in self.cost:
                continue
            self.cost[state], self.came[state] = cost, came
            for to, label in steps[state]:
                if to in self.cost:
                    continue
                if label < 0:
                    heapq.heappush(queue, (cost, length, to, (state, label)))
                else:
                    heapq.heappush(queue, (cost + costs[label], length + 1, to, (state, label)))

    def way(self, state: int) -> tuple[int, list[int]]:
        """Where the way to a state begins, and its facts in order."""
        labels = []
        while (came := self.came[state])[0] >= 0:
            state = came[0]
            if came[1] >= 0:
                labels.append(came[1])
        return state, labels[::-1]


def _search(walked: Walked, shared: Labels, limit: float) -> dict[int, Best]:
    """The cheapest ways where the facts that may serve twice are paid for once."""
    costs = walked.costs
    found: dict[int, Best] = {}
    held: list[list[tuple[float, Labels]]] = [[] for _ in walked.states]
    queue: list[tuple[float, int, tuple[int, ...], int]] = [(0.0, 0, (), 0)]
    while queue:
        cost, _, path, state = heapq.heappop(queue)
        hand = shared.intersection(path)
        if _dominated(held[state], cost, hand, costs):
            continue
        held[state].append((cost, hand))
        found.setdefault(state, Best(cost, path))
        for to, label in walked.steps[state]:
            if label < 0 or label in path:
                heapq.heappush(queue, (cost, len(path), path, to))
            elif cost + costs[label] <= limit + 1e-12:
                heapq.heappush(queue, (cost + costs[label], len(path) + 1, (*path, label), to))
    return found


def _dominated(held: list[tuple[float, Labels]], cost: float, hand: Labels, costs: list[float]) -> bool:
    return any(c + sum(costs[i] for i in hand - h) <= cost + 1e-15 for c, h in held)


class Proofs(NamedTuple):
    """Minimal proofs of one state, cheapest first; `complete` is False where there may be more."""

    found: list[Labels]
    complete: bool


def minimal_proofs(
    walked: Walked, targets: Iterable[int], most: int = PROOFS_KEPT, work: int = WORK_LIMIT
) -> dict[int, Proofs]:
    """The minimal proofs of the targets, found in order of cost; at most `most` for each state.

    A way to a state is dropped when its facts include those of a proof of that state already
    found. Where a bound is met, every state beyond is marked as not complete.
    """
    wanted = set(targets)
    on_the_way = leading_to(walked, wanted)
    kept: dict[int, list[Labels]] = {}
    cut: set[int] = set()
    queue: list[tuple[float, int, tuple[int, ...], int, Labels]] = [(0.0, 0, (), 0, frozenset())]
    done = 0
    while queue:
        cost, _, _, state, labels = heapq.heappop(queue)
        known = kept.setdefault(state, [])
        if any(k <= labels for k in known):
            continue
        if len(known) >= most or done >= work:
            cut.add(state)
            continue
        known[:] = [k for k in known if not labels <= k]
        known.append(labels)
        done += 1
        for to, label in walked.steps[state]:
            if to not in on_the_way:
                continue
            new = labels if label < 0 else labels | {label}
            grown = cost if len(new) == len(labels) else cost + walked.costs[label]
            if not any(k <= new for k in kept.get(to, ())):
                heapq.heappush(queue, (grown, len(new), tuple(sorted(new)), to, new))
    open_ends = _reachable(walked, cut)
    return {t: Proofs(kept.get(t, []), t not in open_ends) for t in wanted if t in kept}


def different_proofs(walked: Walked, target: int, most: int) -> list[Labels]:
    """Up to `most` proofs of a target with few facts in common: each fact used makes its next use dearer."""
    costs = list(walked.costs)
    useful = leading_to(walked, {target})
    steps = {s: [step for step in walked.steps[s] if step[0] in useful] for s in useful}
    made: list[Labels] = []
    for _ in range(most if 0 in useful else 0):
        labels = Cheapest({0: 0.0}, steps, costs, target).way(target)[1]
        made.append(frozenset(labels))
        for label in labels:
            costs[label] += 1.0
    return list(dict.fromkeys(made))


def leading_to(walked: Walked, targets: set[int]) -> set[int]:
    into: list[list[int]] = [[] for _ in walked.states]
    for state, out in enumerate(walked.steps):
        for to, _ in out:
            into[to].append(state)
    return spread(targets, lambda s: into[s])


def _reachable(walked: Walked, starts: set[int]) -> set[int]:
    return spread(starts, lambda s: [to for to, _ in walked.steps[s]])


def spread(starts: set[_Node], step: Callable[[_Node], Iterable[_Node]]) -> set[_Node]:
    """All that the steps lead to, the starts among them."""
    seen = set(starts)
    todo = list(starts)
    while todo:
        for to in step(todo.pop()):
            if to not in seen:
                seen.add(to)
                todo.append(to)
    return seen


def verify(labels: Iterable[int], walked: Walked, target: int) -> bool:
    """Whether these facts alone lead from the start to the target: a proof replayed against the rules."""
    allowed = set(labels)
    reached = spread({0}, lambda s: [to for to, label in walked.steps[s] if label < 0 or label in allowed])
    return target in reached
