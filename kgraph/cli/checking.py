"""check: everything wrong or doubtful in the data."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import PurePath
from typing import Any

import click

from kgraph import calibration, collection
from kgraph.api.checked import problems_of
from kgraph.api.leaving import problem_json
from kgraph.calibration import GradeHeld
from kgraph.cli.asking import print_json
from kgraph.cli.loading import entries_of
from kgraph.cli.settings import Settings
from kgraph.fits import graph as graphs
from kgraph.fits.graph import Graph
from kgraph.folder import disk
from kgraph.names import did_you_mean
from kgraph.problems import Problem, WrongUse
from kgraph.records import Entry
from kgraph.render import calibration as render
from kgraph.render import checked
from kgraph.render.terminal import visible_lines


@click.command(short_help="everything wrong or doubtful in the data")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.option("--deep", is_flag=True, help="Also the index, the ids, and the reading itself.")
@click.option("--grades", is_flag=True, help="How often each grade held, where it was tried by hand.")
@click.option("--all", "every", is_flag=True, help="Every warning, however many there are.")
@click.option("--summary", is_flag=True, help="How many of each sort in each file, and the first ten.")
@click.option("--file", "files", multiple=True, metavar="FILE", help="Only what is in this file.")
@click.option("--sort", "sorts", multiple=True, metavar="SORT", help="Only this sort, such as near-name.")
@click.option("--since", metavar="REVISION", help="Only in entries that changed since a revision of git.")
@click.pass_obj
def check(
    settings: Settings,
    /,
    as_json: bool,
    deep: bool,
    grades: bool,
    every: bool,
    summary: bool,
    files: tuple[str, ...],
    sorts: tuple[str, ...],
    since: str | None,
) -> int:
    """Everything wrong or doubtful in the data, each with file, line and column; the serious things first.

    With --since what other entries become by a changed one is told only where it stands in a changed one.
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
    found = _chosen(settings, found, files, sorts, since)
    errors = [p for p in found if p.severity == "error"]
    warnings = [p for p in found if p.severity == "warning"]
    if as_json:
        lists: dict[str, Any] = {
            "errors": [problem_json(p) for p in errors],
            "warnings": [problem_json(p) for p in checked.most_serious_first(warnings)],
            **({"summary": checked.summary(found)} if summary else {}),
        }
        print_json({**lists, "deep": below.counts} if below else lists)
    else:
        if summary:
            sys.stdout.write(checked.summary_text(found, sys.stdout.isatty()))
        else:
            sys.stdout.write(checked.problems_text(errors, warnings, every))
        sys.stdout.write(checked.counts_text(len(entries), errors, warnings))
        if below:
            print(_says(below.counts))
    return 1 if errors else 0


def _chosen(
    settings: Settings,
    found: list[Problem],
    files: tuple[str, ...],
    sorts: tuple[str, ...],
    since: str | None,
) -> list[Problem]:
    """The problems that were asked for; raises WrongUse for a file or sort that nothing is of."""
    if since is not None:
        from kgraph.folder.history import ChangedEntries

        changed = ChangedEntries(settings.folders, since)
        found = [p for p in found if changed.holds(p.where)]
    if files:
        paths = [disk.display(path) for folder in settings.folders for path in disk.fact_files(folder)]
        wanted = {path for name in files for path in _named(name, paths)}
        found = [p for p in found if p.where and p.where.file in wanted]
    if sorts:
        known = {p.code for p in found}
        for sort in {*sorts} - known:
            near = did_you_mean(sort, known)
            print(visible_lines(f"nothing of the sort {sort}{f'; {near}' if near else ''}"), file=sys.stderr)
        found = [p for p in found if p.code in sorts]
    return found


def _named(name: str, paths: list[str]) -> list[str]:
    """The files that a name or the end of a path means."""
    asked = PurePath(name).parts
    found = [path for path in paths if asked and PurePath(path).parts[-len(asked) :] == asked]
    if not found:
        near = did_you_mean(name, (PurePath(path).name for path in paths))
        raise WrongUse(f"no fact file is called {name!r}; {near or 'see the folder'}")
    return found


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
    index = None if faulty else against_files(settings)
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
