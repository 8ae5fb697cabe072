"""Two sets that were compared and found to be two designs: what it says against an answer."""

from __future__ import annotations

from collections.abc import Iterable

from kgraph.claims import RebadgeClaim
from kgraph.facts import Fact
from kgraph.fits.graph import Graph
from kgraph.reason.refusals import NOTHING, Against


def told_apart(graph: Graph, proof: Iterable[Fact]) -> Against:
    """The most certain `distinct` fact about two sets between which a proof leads by rebadge facts alone."""
    if not graph.distinct:
        return NOTHING
    neighbours: dict[str, list[str]] = {}
    for fact in proof:
        if isinstance(fact.claim, RebadgeClaim):
            one, other, _ = fact.claim
            neighbours.setdefault(one, []).append(other)
            neighbours.setdefault(other, []).append(one)
    best = NOTHING
    if not any(graph.distinct.get(owner) for owner in neighbours):
        return best
    for owner in neighbours:
        for other, fact in graph.distinct.get(owner, ()):
            if fact.certainty > best.certainty and other in neighbours and _joined(neighbours, owner, other):
                best = Against(fact.certainty, (fact,))
    return best


def _joined(neighbours: dict[str, list[str]], one: str, other: str) -> bool:
    seen, todo = {one}, [one]
    while todo:
        for near in neighbours[todo.pop()]:
            if near not in seen:
                seen.add(near)
                todo.append(near)
    return other in seen
