"""From the folders named on the command line to a collection and its graph."""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path

from kgraph import collection, records
from kgraph.collection import Collection
from kgraph.fits import graph as graphs
from kgraph.fits.graph import Graph
from kgraph.folder import reading, schema
from kgraph.problems import CannotRun, Problem, in_order


@dataclass(frozen=True)
class Settings:
    """What the options before the command said."""

    folders: tuple[Path, ...]
    skip_bad: bool = False
    suppose: tuple[records.Entry, ...] = ()


@dataclass(frozen=True)
class Loaded:
    """A folder read, with every problem met on the way."""

    data: Collection
    graph: Graph
    problems: tuple[Problem, ...]


def entries_of(settings: Settings) -> tuple[list[records.Entry], list[Problem]]:
    """All entries that can be read, and all problems of reading them."""
    entries: list[records.Entry] = []
    problems: list[Problem] = []
    for folder in settings.folders:
        files = reading.read_folder(folder)
        if not files:
            says = f"{reading.shown(str(folder), 200)} holds no *.yaml file"
            raise CannotRun(f"{says}; `kgraph init {reading.shown(str(folder), 200)}` starts a fact folder")
        for read in files:
            found, wrong = schema.check_file(read)
            entries += found
            problems += [*read.problems, *wrong]
    return entries, in_order(problems)


def load(settings: Settings) -> Loaded:
    """The collection and graph of the folders; raises CannotRun with every error, unless they are skipped."""
    entries, problems = entries_of(settings)
    errors = [p for p in problems if p.severity == "error"]
    if errors and not settings.skip_bad:
        raise CannotRun(*errors)
    if errors:
        files = len({p.where.file for p in errors if p.where})
        print(f"{len(errors)} errors in {files} files: what cannot be read is left out", file=sys.stderr)
    data = collection.build([*entries, *settings.suppose])
    return Loaded(data, graphs.build(data), tuple(problems))


def with_entries(settings: Settings, entries: list[records.Entry]) -> Settings:
    """The same settings with entries supposed beside those of the folders."""
    return replace(settings, suppose=(*settings.suppose, *entries))
