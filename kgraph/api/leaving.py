"""What is left out of a folder because it cannot be read: told in one line, in JSON, or refused."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from kgraph.api.loaded import Loaded
from kgraph.folder.formats import LATER
from kgraph.problems import CannotRun, Problem

MOST_PRINTED = 20
"""So many faults are printed where a folder is refused for them; `check` lists them all."""
MOST_FILES = 8
"""So many files are named in the line about what is left out."""


def refusal(errors: Sequence[Problem], after: str = "") -> CannotRun:
    """That nothing can be done with these faults: the first of them, and how many more there are."""
    more = len(errors) - MOST_PRINTED
    rest = (
        [f"{more} more {'fault' if more == 1 else 'faults'}; `kgraph check` lists them all"]
        if more > 0
        else []
    )
    return CannotRun(*errors[:MOST_PRINTED], *rest, *([after] if after else []))


def remark(loaded: Loaded) -> str:
    """How many entries are left out, and of which files; empty where the whole folder was read."""
    number = loaded.left_out
    if not number:
        return ""
    files = list(dict.fromkeys(p.where.file for p in _errors(loaded) if p.where))
    named = ", ".join(files[:MOST_FILES])
    if len(files) > MOST_FILES:
        named += f" and {len(files) - MOST_FILES} more files"
    if number == 1:
        return f"1 entry cannot be read and is left out, in {named}; `kgraph check` lists it"
    return f"{number} entries cannot be read and are left out, in {named}; `kgraph check` lists them"


def told(found: Mapping[str, Any], loaded: Loaded | None) -> dict[str, Any]:
    """The object of an answer, with what is left out in its notes and, fault by fault, under `left out`."""
    said = remark(loaded) if loaded else ""
    if loaded is None or not said:
        return dict(found)
    notes = [*found.get("notes", ()), said]
    return {**found, "notes": notes, "left out": [problem_json(p) for p in _errors(loaded)]}


def _errors(loaded: Loaded) -> list[Problem]:
    return [p for p in loaded.problems if p.severity == "error" or p.code == LATER]


def problem_json(problem: Problem) -> dict[str, Any]:
    """A problem as it stands in JSON: its place, its code, and what to do."""
    where = problem.where
    return {
        "file": where.file if where else None,
        "line": where.line if where else None,
        "column": where.column if where else None,
        "code": problem.code,
        "says": problem.says,
        "mend": problem.mend,
    }
