"""The best way to every like place at once, where only rebadge and uses facts lie on it.

Each of these facts ties two owners, so none can serve twice on one way, and a plain search by certainty
is exact: some hundred times quicker than the search of :mod:`kgraph.fits.proofs`, which all rules need.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping

from kgraph.facts import Fact
from kgraph.fits.graph import Facts


class Ways:
    """Owner -> certainty of the best way from a start, and the step by which it was reached."""

    def __init__(self) -> None:
        self.certainty: dict[str, float] = {}
        self.back: dict[str, tuple[str, Fact]] = {}

    def facts(self, owner: str) -> tuple[Fact, ...]:
        """The facts of the way, from the owner back to its start."""
        found = []
        while step := self.back.get(owner):
            owner, fact = step
            found.append(fact)
        return tuple(found)

    def start(self, owner: str) -> str:
        """The start from which the owner was reached."""
        while step := self.back.get(owner):
            owner = step[0]
        return owner


def ways(graph: Facts, starts: Mapping[str, float], position: str) -> Ways:
    """The best way to every owner that is like a start at this position; `starts` have certainties."""
    found = Ways()
    queue: list[tuple[float, int, str, tuple[str, Fact] | None]]
    number = 0
    queue = []
    for owner, certainty in sorted(starts.items()):
        queue.append((-certainty, number, owner, None))
        number += 1
    heapq.heapify(queue)
    while queue:
        negative, _, owner, step = heapq.heappop(queue)
        if owner in found.certainty:
            continue
        found.certainty[owner] = -negative
        if step is not None:
            found.back[owner] = step
        for other, fact in graph.like(owner, position):
            if other not in found.certainty:
                number += 1
                heapq.heappush(queue, (negative * fact.certainty, number, other, (owner, fact)))
    return found
