"""Shortest paths (Dijkstra, 1959), and the most certain ways among like places by them.

networkx has the same search, but takes longer to load than a question to answer.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Hashable, Iterable, Mapping
from typing import Generic, TypeVar

from kgraph.facts import Fact
from kgraph.fits.graph import Facts

Node = TypeVar("Node", bound=Hashable)
Label = TypeVar("Label")


class Shortest(Generic[Node, Label]):
    """The cheapest way to each node from those it may begin at, each step paid for.

    `steps` gives for a node (the next one, what the step is called, what it costs); costs are not negative.
    Of equally cheap ways the one with fewer steps is kept, then the one that was met first.
    """

    def __init__(
        self,
        starts: Mapping[Node, float],
        steps: Callable[[Node], Iterable[tuple[Node, Label, float]]],
        until: Callable[[Node], bool] | None = None,
    ) -> None:
        """`until`: the search ends at the first node, in order of cost, of which this is so."""
        self.cost: dict[Node, float] = {}
        self.came: dict[Node, tuple[Node, Label] | None] = {}
        self.met: Node | None = None
        queue: list[tuple[float, int, int, Node, tuple[Node, Label] | None]]
        queue = [(cost, 0, number, node, None) for number, (node, cost) in enumerate(starts.items())]
        heapq.heapify(queue)
        number = len(queue)
        while queue:
            cost, length, _, node, came = heapq.heappop(queue)
            if node in self.cost:
                continue
            self.cost[node], self.came[node] = cost, came
            if until is not None and until(node):
                self.met = node
                return
            for to, label, paid in steps(node):
                if to not in self.cost:
                    number += 1
                    heapq.heappush(queue, (cost + paid, length + 1, number, to, (node, label)))

    def way(self, node: Node) -> tuple[Node, list[Label]]:
        """Where the way to a node begins, and its steps in order."""
        labels = []
        while came := self.came[node]:
            node, label = came
            labels.append(label)
        return node, labels[::-1]


class LikeWays:
    """The most certain way to every place that is like a start, by one plain search.

    Each rebadge or uses fact ties two owners, so none can serve twice on one way.
    """

    def __init__(self, graph: Facts, starts: Mapping[str, float], position: str) -> None:
        """`starts`: owners with the certainty that each begins with."""
        costs = {owner: -math.log(starts[owner]) for owner in sorted(starts)}
        self._found: Shortest[str, Fact] = Shortest(
            costs, lambda o: ((to, f, -math.log(f.certainty)) for to, f in graph.like(o, position))
        )
        self.certainty: dict[str, float] = {}
        for owner, came in self._found.came.items():
            before = starts[owner] if came is None else self.certainty[came[0]]
            self.certainty[owner] = before if came is None else before * came[1].certainty

    def facts(self, owner: str) -> tuple[Fact, ...]:
        """The facts of the way to an owner, from its start on."""
        return tuple(self._found.way(owner)[1])

    def start(self, owner: str) -> str:
        """The start from which the owner was reached."""
        return self._found.way(owner)[0]
