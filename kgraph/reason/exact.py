"""The exact chance that each member of a module is reached, by a binary decision diagram.

A diagram tells for every choice of which facts hold whether a member is reached (Bryant, "Graph-Based
Algorithms for Boolean Function Manipulation", 1986). The members' diagrams are worked out together: a member
is reached where one of the steps into it comes from a member that is reached, and its fact holds; this is
repeated until nothing changes. Facts that serve twice are one variable, and are counted once.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from kgraph.reason.modules import Module

MOST_FACTS = 300
"""More facts in one module are not tried: a diagram is walked as deep as it has facts."""


MOST_ORDERED = 150
"""Of more members the order in which they were met is taken: to look for a better one takes as long."""


class OutOfReach(Exception):
    """The work that may be done was used up before the end."""


class Diagram:
    """The diagrams of the members of one module, with shared nodes; 0 and 1 are the two ends."""

    def __init__(self, module: Module, chances: Sequence[float], most: int) -> None:
        """`chances`: the certainty of each fact that the module's steps name; raises OutOfReach.

        `most`: so many nodes are made at the most.
        """
        met = (module.into[m - 1] for m in _order(module))
        labels = list(dict.fromkeys(n for into in met for _, n in into if n >= 0))
        if len(labels) > MOST_FACTS:
            raise OutOfReach
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
        """The diagram of the entry and of each member."""
        roots = [1] + [0] * len(module.members)
        leads: list[set[int]] = [set() for _ in roots]
        for member, into in enumerate(module.into, 1):
            for source, _ in into:
                leads[source].add(member)
        waiting = set(range(1, len(roots)))
        while waiting:
            for member in sorted(waiting):
                waiting.discard(member)
                found = roots[member]
                for source, label in module.into[member - 1]:
                    here = roots[source]
                    if here:
                        found = self._unite(found, self._join(here, facts[label]) if label >= 0 else here)
                if found != roots[member]:
                    roots[member] = found
                    waiting |= leads[member]
        return roots

    def _make(self, level: int, low: int, high: int) -> int:
        if low == high:
            return low
        key = (level, low, high)
        found = self._node.get(key)
        if found is None:
            found = len(self._low)
            if found >= self._most:
                raise OutOfReach
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
        a, b = self._level[one], self._level[other]
        level = a if a < b else b
        low = combine(self._low[one] if a == level else one, self._low[other] if b == level else other)
        high = combine(self._high[one] if a == level else one, self._high[other] if b == level else other)
        return self._make(level, low, high)


def _order(module: Module) -> list[int]:
    """The members (1 + index), one after another so that few have neighbours still to come.

    A diagram is as wide as what is open: the next member is the one that opens the fewest (a greedy rule).
    """
    size = len(module.members)
    if size > MOST_ORDERED:
        return list(range(1, size + 1))
    near: list[set[int]] = [set() for _ in range(size + 1)]
    for member, into in enumerate(module.into, 1):
        for source, _ in into:
            near[member].add(source)
            near[source].add(member)
    done, open_to = {0}, set(near[0])
    order: list[int] = []
    while len(order) < size:
        found = min(open_to, key=lambda m: (len(near[m] - done - open_to), -len(near[m] & done), m))
        order.append(found)
        done.add(found)
        open_to |= near[found]
        open_to -= done
    return order
