"""Fact folders opened for a program: in this one place it is decided how."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from kgraph import collection, records
from kgraph.fits import graph as graphs
from kgraph.fits.graph import Graph
from kgraph.folder import disk, reading, schema
from kgraph.problems import CannotRun, Problem, Where, WrongUse, in_order


class Opened(NamedTuple):
    """Folders as they were read, and what of them could not be."""

    graph: Graph
    problems: tuple[Problem, ...]
    left_out: int


def opened(
    folders: Sequence[Path],
    *,
    strict: bool = False,
    suppose: Sequence[records.Entry] = (),
    without: Sequence[str] = (),
) -> Opened:
    """The folders, with what is supposed. Raises CannotRun for a file of which nothing can be read."""
    entries: list[records.Entry] = []
    problems: list[Problem] = []
    left_out = 0
    for folder in folders:
        paths = disk.fact_files(folder)
        if not paths:
            raise CannotRun(f"{folder} holds no *.yaml file; `kgraph init` starts a fact folder")
        for path in paths:
            read = reading.read_file(path)
            found, wrong = schema.check_file(read)
            errors = [p for p in (*read.problems, *wrong) if p.severity == "error"]
            if read.unread or (errors and strict):
                raise CannotRun(*errors)
            left_out += max(reading.entries_begun(path) - len(found), 1) if errors else 0
            entries += found
            problems += [*read.problems, *wrong]
    taken_back = [_withdraw(target) for target in without]
    data = collection.build([*entries, *suppose, *taken_back])
    if unknown := [w.target for w in taken_back if w in data.unknown_withdraws]:
        raise WrongUse(*(f"no fact has the id {target!r}" for target in unknown))
    return Opened(graphs.build(data), tuple(in_order(problems)), left_out)


def _withdraw(target: str) -> records.Withdraw:

    pairs = (("withdraw", target), ("why", "supposed"))
    return records.Withdraw(
        kind="withdraw", where=Where("supposed"), pairs=pairs, target=target, why="supposed"
    )


def told(said: Mapping[str, Any], folder: Opened) -> dict[str, Any]:
    """The object of an answer, with what is left out of it, fault by fault, under `left out`."""
    errors = [p for p in folder.problems if p.severity == "error"]
    return {**said, "left out": [problem_json(p) for p in errors]} if errors else dict(said)


def problem_json(problem: Problem) -> dict[str, Any]:
    """A problem as it stands in JSON: its place, its code, and what to do."""
    where = problem.where
    place = {"file": where.file, "line": where.line, "column": where.column} if where else {}
    return {"file": None, "line": None, "column": None, **place, "code": problem.code} | {
        "says": problem.says,
        "mend": problem.mend,
    }
