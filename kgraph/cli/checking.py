"""check: everything wrong or doubtful in the data."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from typing import Any

import click

from kgraph import calibration, collection
from kgraph.api.checked import problems_of
from kgraph.calibration import GradeHeld
from kgraph.cli.asking import print_json
from kgraph.cli.leaving import problem_json
from kgraph.cli.loading import entries_of
from kgraph.cli.settings import Settings
from kgraph.fits import graph as graphs
from kgraph.fits.graph import Graph
from kgraph.problems import Problem
from kgraph.records import Entry
from kgraph.render import calibration as render
from kgraph.render import checked
from kgraph.render.terminal import visible_lines


@click.command(short_help="everything wrong or doubtful in the data")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.option("--deep", is_flag=True, help="Also the index, the ids, and the reading itself.")
@click.option("--grades", is_flag=True, help="How often each grade held, where it was tried by hand.")
@click.option("--all", "every", is_flag=True, help="Every warning, however many there are.")
@click.pass_obj
def check(settings: Settings, as_json: bool, deep: bool, grades: bool, every: bool) -> int:
    """Everything wrong or doubtful in the data, each with file, line and column; the serious things first.

    At the end they are counted by sort. Exit status 1 if there are errors. With --deep every file is read by
    two readers, every fact is written anew and must keep its id, and the index must say what the files say;
    one that does not is taken away, and made anew by the next question. Example: kgraph check
    """
    entries, problems = entries_of(settings)[:2]
    graph = graphs.build(collection.build(entries))
    if grades:
        return _give_grades(calibration.of_folder(graph), as_json)
    below = _below(settings, entries, graph, bool(problems)) if deep else None
    found = problems_of(graph, [*problems, *(below.problems if below else ())], settings.folders)
    errors = [p for p in found if p.severity == "error"]
    warnings = [p for p in found if p.severity == "warning"]
    if as_json:
        lists = {"errors": [problem_json(p) for p in errors], "warnings": [problem_json(p) for p in warnings]}
        print_json({**lists, "deep": below.counts} if below else lists)
    else:
        for problem in errors:
            print(visible_lines(str(problem)), file=sys.stderr)
        sys.stdout.write(checked.warnings_text(warnings, every))
        sys.stdout.write(checked.counts_text(len(entries), errors, warnings))
        if below:
            print(_says(below.counts))
    return 1 if errors else 0


@dataclass(frozen=True, slots=True)
class _Below:
    """What lies below the facts: how much of it was found in order, and what was not."""

    counts: dict[str, Any]
    problems: tuple[Problem, ...]


def _below(settings: Settings, entries: list[Entry], graph: Graph, faulty: bool) -> _Below:
    from kgraph.checks.deep import ids_written_anew, read_twice
    from kgraph.cli.opening import against_files
    from kgraph.folder.disk import bytes_of, display, fact_files

    paths = [path for folder in settings.folders for path in fact_files(folder)]
    reading = [read_twice(bytes_of(path), display(path)) for path in paths]
    ids = [problem for _, problem in ids_written_anew(entries)]
    # Of a folder with faults there is no index that could stand.
    index = None if faulty else against_files(settings, graph)
    torn = [
        Problem(None, "deep-index", f"the index was wrong: {f}", "it is taken away")
        for f in (index or (0, []))[1]
    ]
    counts = {
        "files": len(reading) - sum(p is not None for p in reading),
        "ids": len(ids) - sum(p is not None for p in ids),
        "index rows": index[0] if index else None,
    }
    return _Below(counts, (*(p for p in (*reading, *ids) if p), *torn))


def _says(counts: dict[str, Any]) -> str:
    rows = counts["index rows"]
    index = "no index stands for it" if rows is None else f"{rows} rows of the index say what the files say"
    files, ids = checked.count(counts["files"], "file"), checked.count(counts["ids"], "fact")
    return f"deep: {files} read alike by two readers, {ids} with the same id written anew; {index}"


def _give_grades(found: tuple[GradeHeld, ...], as_json: bool) -> int:
    if as_json:
        print_json(render.as_json(found))
    elif found:
        sys.stdout.write(render.as_text(found, sys.stdout.isatty()))
        print(render.NOTE, file=sys.stderr)
    else:
        print("nothing that was tried by hand had been said before by weaker facts", file=sys.stderr)
    return 0 if found else 1
