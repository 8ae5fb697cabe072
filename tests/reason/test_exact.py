"""A diagram that runs out of nodes says so each time it is asked, and is as good as before for all else."""

from __future__ import annotations

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
