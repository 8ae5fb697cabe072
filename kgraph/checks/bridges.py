"""A weak fact that alone joins much: one guess that holds two large groups of sets or parts together."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from kgraph.checks.ground import Check, CheckGround, warning
from kgraph.facts import Fact
from kgraph.problems import Problem

LEAST = 20
"""So many sets or parts on a side make a group: a choice of our own."""
WEAK = 0.7
"""A fact less certain than this is a doubt where much hangs on it: a choice of our own."""


def no_weak_fact_joins_much(ground: CheckGround) -> Iterator[Problem]:
    """Two groups of 20 or more sets, or parts, are not joined by one guess alone."""
    for kinds, what in ((("rebadge", "uses"), "sets"), (("same",), "parts")):
        facts = [fact for kind in kinds for fact in ground.of_kind(kind)]
        if len(facts) >= 2 * LEAST - 1:
            yield from _weak_bridges(facts, what)


def _weak_bridges(facts: Sequence[Fact], what: str) -> Iterator[Problem]:
    import networkx as nx

    joined: Any = nx.Graph()
    for fact in facts:
        one, other = fact.claim[:2]
        known = joined.get_edge_data(one, other)
        joined.add_edge(one, other, fact=None if known else fact)
    sides = _sides(joined)
    for one, other in sorted(nx.bridges(joined)):
        fact = joined.edges[one, other]["fact"]
        if fact is None or fact.certainty >= WEAK or fact.where is None:
            continue
        fewer, more = sorted(sides[one, other])
        if fewer >= LEAST:
            says = f"this one fact, {fact.certainty:.0%} certain, joins {fewer} {what} with {more}"
            yield warning(
                fact.where, "weak-bridge", says, "look at it first; `kgraph doubts` tells what to do"
            )


def _sides(joined: Any) -> dict[tuple[str, str], tuple[int, int]]:
    """For both ends of each edge of a spanning forest how much lies on either side, once it is cut.

    Every bridge is such an edge. Assemblies only tie sets together, and are not counted.
    """
    import networkx as nx

    sides: dict[tuple[str, str], tuple[int, int]] = {}
    for members in nx.connected_components(joined):
        edges = list(nx.bfs_edges(joined, next(iter(members))))
        below = {node: int(not node.startswith("a:")) for node in members}
        whole = sum(below.values())
        for above, node in reversed(edges):
            below[above] += below[node]
            sides[above, node] = sides[node, above] = below[node], whole - below[node]
    return sides


CHECKS: Sequence[Check] = (no_weak_fact_joins_much,)
