"""The exact chance that each member of a module is reached, by a binary decision diagram.

A diagram tells for every choice of which facts hold whether a member is reached (Bryant, "Graph-Based
Algorithms for Boolean Function Manipulation", 1986). A member is reached where one of the steps into it comes
from a member that is reached, and its fact holds: linear equations over Boolean functions, solved by Gaussian
elimination (Backhouse and Carré, "Regular Algebra Applied to Path-finding Problems", 1975). Facts that serve
twice are one variable, and are counted once.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterator, Sequence

from kgraph.reason.modules import Module

MOST_FACTS = 300
"""More facts in one module are not tried: a diagram is walked as deep as it has facts."""


MOST_OPEN = 12
"""With more members open at once no diagram is tried: of 10 it has some 8,000 nodes, of 14 some 250,000."""


class OutOfReach(Exception):
    """More work than may be done; so many `nodes` were made before that was known."""

    def __init__(self, nodes: int = 0) -> None:
        super().__init__(nodes)
        self.nodes = nodes


class Diagram:
    """The diagrams of the members of one module, with shared nodes; 0 and 1 are the two ends."""

    def __init__(self, module: Module, chances: Sequence[float], most: int) -> None:
        """`chances`: the certainty of each fact that the module's steps name; raises OutOfReach.

        `most`: so many nodes are made at the most.
        """
        labels = _order(module)
        self.facts = labels
        self._most = most
        self._level = [len(labels), len(labels)]
        self._low, self._high = [0, 1], [0, 1]
        self._node: dict[tuple[int, int, int], int] = {}
        self._and: dict[tuple[int, int], int] = {}
        self._or: dict[tuple[int, int], int] = {}
        self._given = [chances[n] for n in labels]
        self._chance: list[float] = []
        self.roots = self._solve(module, {n: self._make(i, 0, 1) for i, n in enumerate(labels)})
        # A diagram is remembered for later questions: what served to make it takes more room than itself.
        self._and, self._or = {}, {}

    @property
    def nodes(self) -> int:
        """How many nodes were made."""
        return len(self._low)

    def chance(self, member: int) -> float:
        """The chance that a member (1 + its index; 0: the entry) is reached, once the entry is."""
        return self._value(self.roots[member])

    def both(self, one: int, other: int) -> float:
        """The chance that two members are both reached."""
        return self._value(self._join(self.roots[one], self.roots[other]))

    def without_each(self, member: int) -> dict[int, float]:
        """For each fact that bears on a member, the chance that the member is reached without it."""
        root = self.roots[member]
        return self._without(root)

    def both_without_each(self, one: int, other: int) -> dict[int, float]:
        """The same for two members that are both reached."""
        return self._without(self._join(self.roots[one], self.roots[other]))

    def _without(self, root: int) -> dict[int, float]:
        whole = self._value(root)
        weight = {root: 1.0}
        lost: dict[int, float] = {}
        for level, nodes in sorted(self._by_level(root).items()):
            given = self._given[level]
            for node in nodes:
                here = weight[node]
                low, high = self._low[node], self._high[node]
                lost[level] = lost.get(level, 0.0) + here * given * (self._chance[high] - self._chance[low])
                weight[low] = weight.get(low, 0.0) + here * (1.0 - given)
                weight[high] = weight.get(high, 0.0) + here * given
        return {self.facts[level]: max(0.0, whole - less) for level, less in lost.items()}

    def _by_level(self, root: int) -> dict[int, list[int]]:
        found: dict[int, list[int]] = {}
        seen, todo = {root}, [root]
        while todo:
            node = todo.pop()
            if node < 2:
                continue
            found.setdefault(self._level[node], []).append(node)
            for after in (self._low[node], self._high[node]):
                if after not in seen:
                    seen.add(after)
                    todo.append(after)
        for nodes in found.values():
            nodes.sort()
        return found

    def _value(self, root: int) -> float:
        """The chance of a diagram; nodes are numbered after those below them."""
        for node in range(len(self._chance), len(self._low)):
            if node < 2:
                self._chance.append(float(node))
                continue
            given = self._given[self._level[node]]
            low, high = self._chance[self._low[node]], self._chance[self._high[node]]
            self._chance.append(given * high + (1.0 - given) * low)
        return self._chance[root]

    def _solve(self, module: Module, facts: dict[int, int]) -> list[int]:
        """The diagram of the entry and of each member: one after another is eliminated, then put back in."""
        into: list[dict[int, int]] = [{} for _ in range(len(module.members) + 1)]
        for member, steps in enumerate(module.into, 1):
            for source, label in steps:
                if source != member:
                    step = facts[label] if label >= 0 else 1
                    into[member][source] = self._unite(into[member].get(source, 0), step)
        order = list(self._eliminated(into))
        roots = [1] + [0] * len(module.members)
        for member in reversed(order):
            for source, step in into[member].items():
                roots[member] = self._unite(roots[member], self._join(roots[source], step))
        return roots

    def _eliminated(self, into: list[dict[int, int]]) -> Iterator[int]:
        """Each member as it is eliminated; steps `into` others from it then start where those into it do.

        That with the fewest pairs of a step into it and a step out of it comes first (Markowitz, "The
        Elimination Form of the Inverse and Its Application to Linear Programming", 1957).
        """
        out: list[set[int]] = [set() for _ in into]
        for member, steps in enumerate(into):
            for source in steps:
                out[source].add(member)
        pairs = [len(steps) * len(out[member]) for member, steps in enumerate(into)]
        queue = [(pairs[member], member) for member in range(1, len(into))]
        heapq.heapify(queue)
        left = self._most
        while queue:
            number, member = heapq.heappop(queue)
            if number != pairs[member]:
                continue
            pairs[member] = -1
            left -= number
            if left < 0:
                raise OutOfReach(len(self._low))
            for to in out[member]:
                self._pass_by(into, out, member, to)
            for source in into[member]:
                out[source].discard(member)
            for near in {*out[member], *into[member]} - {0}:
                pairs[near] = len(into[near]) * len(out[near])
                heapq.heappush(queue, (pairs[near], near))
            yield member

    def _pass_by(self, into: list[dict[int, int]], out: list[set[int]], member: int, to: int) -> None:
        step = into[to].pop(member)
        for source, first in into[member].items():
            if source != to:
                into[to][source] = self._unite(into[to].get(source, 0), self._join(first, step))
                out[source].add(to)

    def _make(self, level: int, low: int, high: int) -> int:
        if low == high:
            return low
        key = (level, low, high)
        found = self._node.get(key)
        if found is None:
            found = len(self._low)
            if found >= self._most:
                raise OutOfReach(found)
            self._node[key] = found
            self._level.append(level)
            self._low.append(low)
            self._high.append(high)
        return found

    def _join(self, one: int, other: int) -> int:
        """Both hold."""
        if one == other or other == 1:
            return one
        if one == 1:
            return other
        if not one or not other:
            return 0
        key = (one, other) if one < other else (other, one)
        found = self._and.get(key)
        if found is None:
            found = self._and[key] = self._branch(one, other, self._join)
        return found

    def _unite(self, one: int, other: int) -> int:
        """One of the two holds, or both."""
        if one == other or not other:
            return one
        if not one:
            return other
        if one == 1 or other == 1:
            return 1
        key = (one, other) if one < other else (other, one)
        found = self._or.get(key)
        if found is None:
            found = self._or[key] = self._branch(one, other, self._unite)
        return found

    def _branch(self, one: int, other: int, combine: Callable[[int, int], int]) -> int:
        lows, highs = self._low, self._high
        level, below = self._level[one], self._level[other]
        if level == below:
            low, high = combine(lows[one], lows[other]), combine(highs[one], highs[other])
        elif level < below:
            low, high = combine(lows[one], other), combine(highs[one], other)
        else:
            level, low, high = below, combine(one, lows[other]), combine(one, highs[other])
        return self._make(level, low, high) if low != high else low


def _order(module: Module) -> list[int]:
    """The facts of a module, one after another so that few members are open: met by some of their facts only.

    A diagram is as wide as what is open: the next fact is the one that opens the fewest (a greedy rule).
    Raises OutOfReach where too many are, or where there are too many facts.
    """
    ends: dict[int, set[int]] = {}
    at: dict[int, dict[int, None]] = {}
    for member, steps in enumerate(module.into, 1):
        for source, label in steps:
            if label >= 0:
                ends.setdefault(label, set()).update((source, member))
                for end in (source, member):
                    at.setdefault(end, {})[label] = None
    if len(ends) > MOST_FACTS:
        raise OutOfReach
    left = {member: len(labels) for member, labels in at.items()}
    met, order, now_open = {0}, list[int](), 0

    def opened(label: int) -> tuple[int, int, int]:
        known = [left[e] for e in ends[label] if e in met]
        new = sum(left[e] > 1 for e in ends[label] if e not in met)
        return new - known.count(1), -len(known), label

    todo, near = set(ends), set(at.get(0, ()))
    while todo:
        label = min(near or todo, key=opened)
        now_open += opened(label)[0]
        if now_open > MOST_OPEN:
            raise OutOfReach
        order.append(label)
        todo.discard(label)
        near.discard(label)
        for end in ends[label]:
            left[end] -= 1
            if end not in met:
                met.add(end)
                near.update(todo.intersection(at[end]))
    return order
