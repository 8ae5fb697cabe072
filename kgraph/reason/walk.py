"""A question becomes a network: states, the steps between them, and the fact that allows each step.

The states are numbered once, in the order in which the most certain ways meet them. The network is then cut
to the states that lie on a way to an answer, and steps are left out that lead where the question is already.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field

from kgraph.facts import Fact
from kgraph.reason.budget import Budget
from kgraph.reason.rules import State, Step

Steps = list[list[tuple[int, int]]]
"""For each state the steps out of it: (state reached, number of the fact or -1 where none is needed)."""


LOOKS_AT_THE_CLOCK = 512
"""Once in so many states the clock is asked whether the longest time is up."""


@dataclass(slots=True)
class Network:
    """All states within reach of a start (state 0), and the cheapest way to each.

    What a step costs is -ln(certainty) of its fact; `cost` counts a fact each time that it is used.
    """

    states: list[State]
    number: dict[State, int]
    steps: Steps
    facts: list[Fact]
    costs: list[float]
    cost: list[float]
    came: list[tuple[int, int]]
    """For each state the one that its cheapest way comes from, and the fact of that step, or -1."""
    unexplored: set[int] = field(default_factory=set)
    """States whose steps were not looked at, for want of budget."""

    def fact_list(self, labels: Iterable[int]) -> tuple[Fact, ...]:
        """The facts that the numbers stand for."""
        return tuple(self.facts[i] for i in labels)

    def way(self, state: int) -> tuple[int, ...]:
        """The facts of the cheapest way to a state, each once, in the order of the way."""
        labels: list[int] = []
        while state:
            state, label = self.came[state]
            if label >= 0:
                labels.append(label)
        return tuple(dict.fromkeys(reversed(labels)))

    def product(self, labels: Iterable[int]) -> float:
        """The product of the certainties of distinct facts."""
        return math.prod(self.facts[i].certainty for i in sorted(set(labels)))


def explore(
    start: State,
    step: Callable[[State], list[Step]],
    budget: Budget | None = None,
    enough: Callable[[State], bool] | None = None,
) -> Network:
    """The states reachable from `start` by `step`, the most certain first, as far as the budget goes.

    `enough` is told each state as its cheapest way is known, and says whether the walk may end there.
    """
    budget = budget or Budget()
    made = Network([start], {start: 0}, [[]], [], [], [0.0], [(-1, -1)])
    numbers: dict[str, int] = {}
    length, settled = [0], [False]
    queue = [(0.0, 0, 0)]
    while queue:
        cost, far, here = heapq.heappop(queue)
        if settled[here]:
            continue
        settled[here] = True
        if enough is not None and enough(made.states[here]):
            made.unexplored.update(i for i, known in enumerate(settled) if not known)
            made.unexplored.add(here)
            break
        if here % LOOKS_AT_THE_CLOCK == LOOKS_AT_THE_CLOCK - 1 and budget.late:
            budget.steps = 0
        if budget.steps <= 0 or len(made.states) > budget.states:
            made.unexplored.add(here)
            continue
        out = made.steps[here]
        found = step(made.states[here])
        budget.steps -= len(found)
        for state, fact in found:
            label = -1 if fact is None else _number(made, numbers, fact)
            to = made.number.get(state, -1)
            reached = cost if label < 0 else cost + made.costs[label]
            if to < 0:
                to = made.number[state] = len(made.states)
                made.states.append(state)
                made.steps.append([])
                made.cost.append(reached)
                made.came.append((here, label))
                length.append(far + 1)
                settled.append(False)
                heapq.heappush(queue, (reached, far + 1, to))
            elif not settled[to] and (reached, far + 1) < (made.cost[to], length[to]):
                made.cost[to], made.came[to], length[to] = reached, (here, label), far + 1
                heapq.heappush(queue, (reached, far + 1, to))
            out.append((to, label))
    return come_to(made)


def come_to(network: Network) -> Network:
    """Tell those who watch what a walk came to, also one that is remembered from before."""
    for seen in _watching:
        seen.update(network.states)
    return network


_watching: list[set[State]] = []


@contextmanager
def watched() -> Iterator[set[State]]:
    """All states that the walks within the block come to: what their answers can hang on."""
    seen: set[State] = set()
    _watching.append(seen)
    try:
        yield seen
    finally:
        _watching.remove(seen)


def _number(made: Network, numbers: dict[str, int], fact: Fact) -> int:
    found = numbers.get(fact.id, -1)
    if found < 0:
        found = numbers[fact.id] = len(made.facts)
        made.facts.append(fact)
        made.costs.append(-math.log(fact.certainty))
    return found


def leading_to(steps: Sequence[Sequence[tuple[int, int]]], targets: Iterable[int]) -> set[int]:
    """The states from which a target can be reached, the targets among them."""
    into: list[list[int]] = [[] for _ in steps]
    for state, out in enumerate(steps):
        for to, _ in out:
            into[to].append(state)
    return spread(targets, into)


def spread(starts: Iterable[int], to: Sequence[Iterable[int]]) -> set[int]:
    """All that the lists of neighbours lead to, the starts among them."""
    seen = set(starts)
    todo = list(seen)
    while todo:
        for other in to[todo.pop()]:
            if other not in seen:
                seen.add(other)
                todo.append(other)
    return seen


def cut(network: Network, targets: Iterable[int], implied: Sequence[tuple[str, str]] = ()) -> Steps:
    """The steps on some way to a target, fewer where the same follows without them.

    `implied`: pairs of phases of which the first, at a place, always leads to the second there. All states
    keep their numbers; those that lead nowhere have no steps.
    """
    useful = leading_to(network.steps, targets)
    steps: Steps = [[] for _ in network.states]
    for state in useful:
        steps[state] = [s for s in network.steps[state] if s[0] in useful and s[0] not in (0, state)]
    for one, other in implied:
        _add_implied(network, steps, useful, one, other)
    return _without_parallels(_without_returns(steps))


def _add_implied(network: Network, steps: Steps, useful: set[int], one: str, other: str) -> None:
    for state in useful:
        phase, owner, position = network.states[state]
        if phase == one:
            to = network.number.get(State(other, owner, position))
            if to is not None and to in useful and to and (to, -1) not in steps[state]:
                steps[state].append((to, -1))


def entries_of(steps: Steps) -> list[list[tuple[int, int]]]:
    """For each state the steps into it: (state that it comes from, fact)."""
    into: list[list[tuple[int, int]]] = [[] for _ in steps]
    for state, out in enumerate(steps):
        for to, label in out:
            into[to].append((state, label))
    return into


def depth_first(steps: Steps) -> list[int]:
    """The states reached from the start, in reverse postorder."""
    seen, done = [False] * len(steps), []
    seen[0] = True
    todo = [(0, 0)]
    while todo:
        state, at = todo.pop()
        out = steps[state]
        while at < len(out) and seen[out[at][0]]:
            at += 1
        if at == len(out):
            done.append(state)
            continue
        todo.append((state, at + 1))
        seen[out[at][0]] = True
        todo.append((out[at][0], 0))
    return done[::-1]


def components(steps: Steps, into: Sequence[Sequence[tuple[int, int]]]) -> Iterator[list[int]]:
    """The strongly connected components of what is reached from the start, none before those that lead to it.

    By two walks (Sharir, 1981), the second one against the steps; `into`: those into each state.
    """
    left = [False] * len(steps)
    order = depth_first(steps)
    for state in order:
        left[state] = True
    for state in order:
        if left[state]:
            left[state] = False
            found = [state]
            for one in found:
                for source, _ in into[one]:
                    if left[source]:
                        left[source] = False
                        found.append(source)
            yield found


def _without_returns(steps: Steps) -> Steps:
    """The steps, less those that lead by one fact back to where a step without any fact leads as well.

    A part that is met at one place only, by one fact, leads back to that place by the same fact.
    """
    into = entries_of(steps)
    free = [{to for to, n in out if n < 0} for out in steps]
    kept: Steps = []
    for state, out in enumerate(steps):
        entry = into[state][0] if len(into[state]) == 1 and into[state][0][1] >= 0 else None
        if entry is None:
            kept.append(out)
            continue
        source, fact = entry
        kept.append([(to, n) for to, n in out if n != fact or to not in free[source]])
    return kept


def _without_parallels(steps: Steps) -> Steps:
    """The steps, less those that only repeat, from a state that others imply, what these lead to anyway.

    A state is implied by those with a step to it that needs no fact. As long as it holds for no other reason
    than theirs, a step out of it is spared where a step by the same fact leads from each of them to where
    this one leads, or to what implies that.
    """
    free = [{s for s, label in entries if label < 0} for entries in entries_of(steps)]
    if not any(free):
        return steps
    by_fact = {(s, label, to) for s, out in enumerate(steps) for to, label in out if label >= 0}
    # What the start leads to without any fact is reached anyway; so is what is implied by where a step leads.
    steps = [
        [
            (to, n)
            for to, n in out
            if n < 0 or (0 not in free[to] and not any((s, n, b) in by_fact for b in free[to]))
        ]
        for s, out in enumerate(steps)
    ]

    def spared(state: int, to: int, label: int) -> bool:
        return bool(free[state]) and all(
            (a, label, to) in by_fact or any((a, label, b) in by_fact for b in free[to]) for a in free[state]
        )

    plain = {(s, to, n) for s, out in enumerate(steps) for to, n in out if n >= 0 and spared(s, to, n)}
    own = {
        state
        for state, entries in enumerate(entries_of(steps))
        if any(n >= 0 and (s, state, n) not in plain for s, n in entries)
    }
    own = spread(own, [[to for to, n in out if n >= 0] for out in steps])
    return [[(to, n) for to, n in out if s in own or (s, to, n) not in plain] for s, out in enumerate(steps)]
