"""check: everything wrong or doubtful in the data."""

from __future__ import annotations

import sys
from dataclasses import replace
from typing import Any

import click

from kgraph import collection
from kgraph.cli.asking import print_json
from kgraph.cli.loading import Settings, entries_of
from kgraph.fits import graph as graphs
from kgraph.problems import Problem, in_order
from kgraph.render.terminal import visible


@click.command(short_help="everything wrong or doubtful in the data")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_obj
def check(settings: Settings, as_json: bool) -> int:
    """Everything wrong or doubtful in the data, each with file, line and column.

    Exit status 1 if there are errors. Example: kgraph check
    """
    from kgraph.checks import check_all

    entries, problems = entries_of(replace(settings, skip_bad=True))
    data = collection.build(entries)
    found = in_order([*problems, *check_all(data, graphs.build(data))])
    errors = [p for p in found if p.severity == "error"]
    warnings = [p for p in found if p.severity == "warning"]
    if as_json:
        print_json({"errors": [_json(p) for p in errors], "warnings": [_json(p) for p in warnings]})
    else:
        for problem in errors:
            print(visible(str(problem)), file=sys.stderr)
        for problem in warnings:
            print(visible(_as_warning(problem)))
        print(f"{len(entries)} entries: {len(errors)} errors, {len(warnings)} warnings")
    return 1 if errors else 0


def _as_warning(problem: Problem) -> str:
    text = f"{problem.says}; {problem.mend}" if problem.mend else problem.says
    return f"{problem.where}: warning: {text}" if problem.where else f"warning: {text}"


def _json(problem: Problem) -> dict[str, Any]:
    where = problem.where
    return {
        "file": where.file if where else None,
        "line": where.line if where else None,
        "column": where.column if where else None,
        "code": problem.code,
        "says": problem.says,
        "mend": problem.mend,
    }
