"""Everything wrong or doubtful in the data: one small function for each rule, gathered in tuples."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from kgraph import collection, records
from kgraph.checks import agreeing, bridges, disagreeing, disputing, facts, names, runs, shelf, sizes, slips
from kgraph.checks.ground import Check, CheckGround
from kgraph.collection import Collection, resolving
from kgraph.fits import graph as graphs
from kgraph.fits.graph import Graph
from kgraph.problems import Problem, in_order

__all__ = ["CHECKS", "check_all", "new_problems", "problems_of_new"]

CHECKS: tuple[Check, ...] = (
    *disagreeing.CHECKS,
    *names.CHECKS,
    *facts.CHECKS,
    *disputing.CHECKS,
    *agreeing.CHECKS,
    *sizes.CHECKS,
    *shelf.CHECKS,
    *runs.CHECKS,
    *bridges.CHECKS,
    *slips.CHECKS,
)


def check_all(data: Collection, graph: Graph) -> list[Problem]:
    """Every error and warning of a folder's entries, by file, line and column.

    The faults of reading and of single entries are not among them: those come with the records.
    """
    ground = CheckGround(data, graph)
    return in_order(problem for check in CHECKS for problem in check(ground))


_OF_NEIGHBOURS = {
    "two-originals",
    "fact-and-refuses",
    "told-otherwise",
    "two-spellings",
    "unclear-condition",
    "replaces-circle",
    "uses-circle",
}
"""Warnings that the entries which name the same things decide by themselves."""


_OF_WHOLE = {"unknown-withdraw"}
"""What only the whole folder can tell: whether any fact has an id."""


def problems_of_new(data: Collection, *entries: records.Entry) -> list[Problem]:
    """What would be wrong with new entries beside those of a folder that name the same things.

    The errors, and the doubts that need no look at the rest of the folder.
    """
    wanted = {name for entry in entries for name in _names_in(data, entry)}
    scales = (records.Grade, records.Source, records.Withdraw)
    near = [e for e in data.entries if isinstance(e, scales) or not wanted.isdisjoint(_names_in(data, e))]
    before = collection.build(near)
    found = new_problems(collection.build([*near, *entries]), (before, graphs.build(before)))
    return [
        p for p in found if p.code not in _OF_WHOLE and (p.severity == "error" or p.code in _OF_NEIGHBOURS)
    ]


def of_neighbours(found: Iterable[Problem]) -> list[Problem]:
    """Those warnings that the entries which name the same things decide by themselves."""
    return [p for p in found if p.severity == "warning" and p.code in _OF_NEIGHBOURS]


def _names_in(data: Collection, entry: records.Entry) -> Iterator[str]:
    """The keys of all that an entry names, as written and as meant, and the id that it gives itself."""
    if isinstance(entry, records.Thing):
        yield from (entry.name.key, *(n.key for n in entry.also))
    if isinstance(entry, records.Statement) and entry.own_id.strip():
        yield f"id: {entry.own_id.strip()}"
    for kind, used in resolving.names_used(data, entry):
        yield from (used.key, data.key(kind, used.key))


def new_problems(after: Collection, *before: tuple[Collection, Graph]) -> list[Problem]:
    """What is wrong with a folder and was said of none of those that it was made of."""
    known = {(p.code, p.says) for data, graph in before for p in check_all(data, graph)}
    return [p for p in check_all(after, graphs.build(after)) if (p.code, p.says) not in known]
