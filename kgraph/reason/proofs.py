"""The best proof of each state reached, and all minimal proofs of a few.

A proof is a set of facts that suffice. What it costs is the sum of -ln(certainty) over its *distinct* facts:
a fact that serves twice is counted once. Where no fact can serve twice a shortest path is the best proof.
Where some can, the search has to remember which of them it has in hand, and may need more work than there is
time for: then the best proof found is given, and said not to be proven the best.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from kgraph.reason.budget import Budget
from kgraph.reason.modules import Module, Parts
from kgraph.reason.rules import State, thing
from kgraph.reason.shortest import Shortest
from kgraph.reason.walk import Network, Steps, leading_to, spread

Labels = frozenset[int]

PROOFS_KEPT = 64
"""The most minimal proofs that are listed for one answer; where there are more, it is said."""
WORK_LIMIT = 6_000
"""The most partial proofs that are looked at when the minimal proofs of a question are listed."""
PUSHED_LIMIT = 60_000


class Best(NamedTuple):
    """The best proof of a state, its facts in the order of the walk; `proven`: whether none is better."""

    labels: tuple[int, ...]
    proven: bool = True


class BestProofs:
    """The best proof of each state of a network that was taken apart, each worked out when asked for."""

    def __init__(self, network: Network, parts: Parts, budget: Budget, wanted: Iterable[int]) -> None:
        self._network, self._parts, self._budget = network, parts, budget
        self._known: dict[int, Best] = {0: Best(())}
        self._searched: set[int] = set()
        self._wanted: dict[int, list[int]] = {}
        for state in self._ancestors(wanted):
            self._wanted.setdefault(parts.module_of[state], []).append(state)

    def of(self, state: int) -> Best:
        """The best proof of a state that was wanted, or of one that a way to it must pass."""
        if state not in self._known:
            number = self._parts.module_of[state]
            module = self._parts.modules[number]
            self.of(module.entry)
            if number not in self._searched:
                self._searched.add(number)
                self._search_module(module, self._wanted.get(number, [state]))
        return self._known[state]

    def _ancestors(self, wanted: Iterable[int]) -> set[int]:
        found: set[int] = set()
        for state in wanted:
            while state and state not in found and self._parts.module_of[state] >= 0:
                found.add(state)
                state = self._parts.modules[self._parts.module_of[state]].entry
        return found

    def _search_module(self, module: Module, wanted: Sequence[int]) -> None:
        before = self._known[module.entry]
        if len(module.members) == 1:
            _, label = min(module.into[0], key=lambda s: self._network.costs[s[1]] if s[1] >= 0 else 0.0)
            own = (label,) if label >= 0 else ()
            self._known[module.members[0]] = Best((*before.labels, *own), before.proven)
            return
        place = {state: i for i, state in enumerate(module.members, 1)}
        targets = {place[state]: state for state in wanted}
        steps = _outward(module)
        twice = self._serving_twice(module)
        plain = by_numbers({0: 0.0}, steps, self._network.costs)
        found = {
            t: Best(tuple(dict.fromkeys(facts_of(plain.way(t)))), not twice)
            for t in targets
            if t in plain.cost
        }
        if twice:
            limit = max(sum(self._network.costs[n] for n in found[t].labels) for t in found)
            found |= self._with_facts_in_hand(steps, twice, set(targets), limit)
        for number, best in found.items():
            whole = (*before.labels, *best.labels)
            self._known[targets[number]] = Best(whole, before.proven and best.proven)

    def _serving_twice(self, module: Module) -> Labels:
        """The facts that one way may use twice and still be the best: they join more than one pair of things.

        Between the same two things none is used twice (:func:`kgraph.reason.rules.thing`).
        """
        things = [thing(self._network.states[s]) for s in (module.entry, *module.members)]
        seen: dict[int, frozenset[State]] = {}
        twice: set[int] = set()
        for member, into in enumerate(module.into, 1):
            for source, label in into:
                if label >= 0:
                    ends = frozenset((things[member], things[source]))
                    if seen.setdefault(label, ends) != ends:
                        twice.add(label)
        return frozenset(twice)

    def _with_facts_in_hand(
        self, steps: Steps, shared: Labels, wanted: set[int], limit: float
    ) -> dict[int, Best]:
        """The cheapest ways where facts that serve twice are paid for once; those found within the budget."""
        costs = self._network.costs
        found: dict[int, Best] = {}
        held: list[list[tuple[float, Labels]]] = [[] for _ in steps]
        queue: list[tuple[float, int, tuple[int, ...], int]] = [(0.0, 0, (), 0)]
        missing = set(wanted)
        while queue and missing and self._budget.tries > 0:
            cost, _, path, state = heapq.heappop(queue)
            hand = shared.intersection(path)
            self._budget.tries -= 1 + len(held[state])
            if _dominated(held[state], cost, hand, costs):
                continue
            held[state].append((cost, hand))
            if state in missing:
                missing.discard(state)
                found[state] = Best(path)
            for to, label in steps[state]:
                if label < 0 or label in path:
                    heapq.heappush(queue, (cost, len(path), path, to))
                elif cost + costs[label] <= limit + 1e-12:
                    heapq.heappush(queue, (cost + costs[label], len(path) + 1, (*path, label), to))
                self._budget.tries -= 1
        return found


def _outward(module: Module) -> Steps:
    steps: Steps = [[] for _ in range(len(module.members) + 1)]
    for member, into in enumerate(module.into, 1):
        for source, label in into:
            steps[source].append((member, label))
    return steps


def _dominated(held: list[tuple[float, Labels]], cost: float, hand: Labels, costs: Sequence[float]) -> bool:
    return any(c + sum(costs[i] for i in hand - h) <= cost + 1e-15 for c, h in held)


def by_numbers(
    starts: Mapping[int, float], steps: Sequence[Sequence[tuple[int, int]]], costs: Sequence[float]
) -> Shortest[int, int]:
    """The cheapest ways over numbered states; a step that needs no fact is called -1 and costs nothing."""
    return Shortest(starts, lambda s: ((to, n, costs[n] if n >= 0 else 0.0) for to, n in steps[s]))


def facts_of(way: tuple[int, list[int]]) -> list[int]:
    """The facts of a way over numbered states."""
    return [n for n in way[1] if n >= 0]


class Proofs(NamedTuple):
    """Minimal proofs of one state, cheapest first; `complete` is False where there may be more."""

    found: list[Labels]
    complete: bool


def minimal_proofs(network: Network, steps: Steps, targets: Iterable[int]) -> dict[int, Proofs]:
    """The minimal proofs of the targets, found in order of cost; at most `PROOFS_KEPT` for each state.

    A way to a state is dropped when its facts include those of a proof of that state already
    found. Where a bound is met, every state beyond is marked as not complete.
    """
    wanted = set(targets)
    on_the_way = leading_to(steps, wanted)
    kept: dict[int, list[Labels]] = {}
    stopped: set[int] = set()
    queue: list[tuple[float, int, tuple[int, ...], int, Labels]] = [(0.0, 0, (), 0, frozenset())]
    done = pushed = 0
    while queue:
        cost, _, _, state, labels = heapq.heappop(queue)
        known = kept.setdefault(state, [])
        if any(k <= labels for k in known):
            continue
        if len(known) >= PROOFS_KEPT or done >= WORK_LIMIT or pushed >= PUSHED_LIMIT:
            stopped.add(state)
            continue
        known[:] = [k for k in known if not labels <= k]
        known.append(labels)
        done += 1
        for to, label in steps[state]:
            if to not in on_the_way:
                continue
            new = labels if label < 0 else labels | {label}
            grown = cost if len(new) == len(labels) else cost + network.costs[label]
            if not any(k <= new for k in kept.get(to, ())):
                pushed += 1
                heapq.heappush(queue, (grown, len(new), tuple(sorted(new)), to, new))
    beyond = spread(stopped, [[to for to, _ in out] for out in steps])
    return {t: Proofs(kept[t], t not in beyond) for t in wanted if t in kept}


def verify(labels: Iterable[int], network: Network, target: int) -> bool:
    """Whether these facts alone lead from the start to the target: a proof replayed against the rules."""
    allowed = set(labels)
    onward = [[to for to, n in out if n < 0 or n in allowed] for out in network.steps]
    return target in spread({0}, onward)
