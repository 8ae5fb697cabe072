"""Everything wrong or doubtful in the data: one small function for each rule, gathered in tuples."""

from __future__ import annotations

from kgraph.checks import facts, names, runs, shelf, sizes
from kgraph.checks.ground import Check, Ground
from kgraph.collection import Collection
from kgraph.fits import graph as graphs
from kgraph.fits.graph import Graph
from kgraph.problems import Problem, in_order

__all__ = ["CHECKS", "check_all", "new_problems"]

CHECKS: tuple[Check, ...] = (*names.CHECKS, *facts.CHECKS, *sizes.CHECKS, *shelf.CHECKS, *runs.CHECKS)


def check_all(data: Collection, graph: Graph) -> list[Problem]:
    """Every error and warning of a folder's entries, by file, line and column.

    The faults of reading and of single entries are not among them: those come with the records.
    """
    ground = Ground(data, graph)
    return in_order(problem for check in CHECKS for problem in check(ground))


def new_problems(after: Collection, *before: tuple[Collection, Graph]) -> list[Problem]:
    """What is wrong with a folder and was said of none of those that it was made of."""
    known = {(p.code, p.says) for data, graph in before for p in check_all(data, graph)}
    return [p for p in check_all(after, graphs.build(after)) if (p.code, p.says) not in known]
