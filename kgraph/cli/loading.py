"""From the folders named on the command line to a collection and its graph."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path

from kgraph import collection, records
from kgraph.cli.progress import steps
from kgraph.cli.settings import Settings, Whole
from kgraph.folder import disk, reading, schema
from kgraph.problems import CannotRun, Problem, Where, WrongUse, in_order, shown
from kgraph.source import memory


def entries_of(settings: Settings) -> tuple[list[records.Entry], list[Problem]]:
    """All entries that can be read, and all problems of reading them."""
    entries: list[records.Entry] = []
    problems: list[Problem] = []
    seen: set[Path] = set()
    for folder in settings.folders:
        paths = disk.fact_files(folder)
        if not paths:
            says = f"{shown(str(folder), 200)} holds no *.yaml file"
            raise CannotRun(f"{says}; `kgraph init {shown(str(folder), 200)}` starts a fact folder")
        if len(settings.folders) > 1:
            # A folder that is named twice, or lies in another, is read once: else loose parts would double.
            paths = list(_unseen(paths, seen))
        with steps("reading", len(paths)) as step:
            # Checked one by one: what was read of a file is not kept beside the records made of it.
            for path in paths:
                read = reading.read_file(path)
                found, wrong = schema.check_file(read)
                entries += found
                problems += [*read.problems, *wrong]
                step(1, sum(isinstance(entry, collection.FACT_TYPES) for entry in found))
    return entries, in_order(problems)


def _unseen(paths: Iterable[Path], seen: set[Path]) -> Iterable[Path]:
    for path in paths:
        real = path.resolve()
        if real not in seen:
            seen.add(real)
            yield path


def load(settings: Settings) -> Whole:
    """The collection and graph of the folders; raises CannotRun with every error, unless they are skipped."""
    entries, problems = entries_of(settings)
    refuse_or_tell(settings, problems)
    return _loaded(settings, entries, problems)


def refuse_or_tell(settings: Settings, problems: Iterable[Problem]) -> None:
    """Raise CannotRun with every error; where they are to be skipped, say that something is left out."""
    errors = in_order(p for p in problems if p.severity == "error")
    if errors and not settings.skip_bad:
        raise CannotRun(*errors)
    if errors:
        files = len({p.where.file for p in errors if p.where})
        print(f"{len(errors)} errors in {files} files: what cannot be read is left out", file=sys.stderr)


def _loaded(settings: Settings, entries: list[records.Entry], problems: list[Problem]) -> Whole:
    """The folder with what is supposed; ids in `without` that name no fact are wrong use."""
    taken_back = [_withdraw(i) for i in settings.without]
    graph = memory.held([*entries, *settings.suppose, *taken_back])
    unknown = [w.target for w in taken_back if w in graph.data.unknown_withdraws]
    if unknown:
        mend = "`--proof` shows the ids"
        raise WrongUse(*(Problem(None, "unknown-id", f"no fact has the id {i!r}", mend) for i in unknown))
    return Whole(graph, tuple(problems))


def _withdraw(target: str) -> records.Withdraw:
    pairs = (("withdraw", target), ("why", "supposed"))
    return records.Withdraw(
        kind="withdraw", where=Where("--without"), pairs=pairs, target=target, why="supposed"
    )


def as_it_is(settings: Settings, loaded: Whole) -> Whole:
    """The same folder without what was supposed; nothing is read again."""
    beside = len(settings.suppose) + len(settings.without)
    entries = list(loaded.data.entries)
    kept = entries[: len(entries) - beside]
    return _loaded(settings._replace(suppose=(), without=()), kept, list(loaded.problems))


def supposed(text: str) -> list[records.Entry]:
    """The entries of one YAML flow mapping given on the command line; raises WrongUse with every fault."""
    data = f"- {text.strip()}\n".encode("utf-8", "surrogateescape")
    entries, problems = schema.entries_of(data, "--suppose")
    errors = [p for p in problems if p.severity == "error"]
    if errors:
        raise WrongUse(*errors)
    if not entries:
        mend = "write it as '{rebadge: [A 1, B 2], how: compared}'"
        raise WrongUse(*problems, f"{shown(text)} is no entry; {mend}")
    return entries


def with_entries(settings: Settings, entries: list[records.Entry]) -> Settings:
    """The same settings with entries supposed beside those of the folders."""
    return settings._replace(suppose=(*settings.suppose, *entries))
