"""A diagram that runs out of nodes says so each time it is asked, and is as good as before for all else.

One that would be far too large is not begun. Held to networkx over all worlds of a small graph.
"""

from __future__ import annotations

from itertools import combinations

import networkx
import pytest

from kgraph.reason.exact import Diagram, OutOfReach
from kgraph.reason.modules import Module

# Two members, each reached where either of two facts holds; to have both takes nodes of their own.
INTO = (((0, 0), (0, 1)), ((0, 2), (0, 3)))
CHANCES = [0.5, 0.5, 0.4, 0.4]
ONE, OTHER = 1.0 - 0.5 * 0.5, 1.0 - 0.6 * 0.6


def of_at_most(nodes: int) -> Diagram:
    return Diagram(Module(0, (1, 2), INTO), CHANCES, nodes)


def test_a_diagram_that_ran_out_is_as_good_as_before() -> None:
    needed = of_at_most(1000).nodes
    tight = of_at_most(needed)
    for _ in range(3):
        with pytest.raises(OutOfReach):
            tight.both(1, 2)
    assert tight.nodes == needed
    assert tight.chance(1) == pytest.approx(ONE)
    assert tight.chance(2) == pytest.approx(OTHER)


def test_both_with_nodes_enough() -> None:
    assert of_at_most(1000).both(1, 2) == pytest.approx(ONE * OTHER)


def every_two(members: int) -> Module:
    """A module in which a fact leads to each member, and between every two of them one both ways."""
    labels = {frozenset(pair): n for n, pair in enumerate(combinations(range(members + 1), 2))}
    into = tuple(
        tuple((s, labels[frozenset((s, m))]) for s in range(members + 1) if s != m)
        for m in range(1, members + 1)
    )
    return Module(0, tuple(range(1, members + 1)), into)


def test_no_diagram_is_begun_where_too_many_members_are_open_at_once() -> None:
    few = every_two(4)
    assert Diagram(few, [0.5] * 10, 10_000).chance(1) == pytest.approx(connected_to_the_entry(5))
    with pytest.raises(OutOfReach) as found:
        Diagram(every_two(20), [0.5] * 210, 10_000_000)
    assert found.value.nodes == 0


def connected_to_the_entry(members: int) -> float:
    """The share of all graphs on so many labelled nodes in which the second is reached from the first."""
    edges = list(combinations(range(members), 2))
    reached = 0
    for world in range(1 << len(edges)):
        graph = networkx.Graph(e for i, e in enumerate(edges) if world >> i & 1)
        graph.add_nodes_from((0, 1))
        reached += networkx.has_path(graph, 0, 1)
    return reached / (1 << len(edges))
