"""From the folders named on the command line to a collection and its graph."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

from kgraph import collection, records
from kgraph.cli.leaving import refusal, remark
from kgraph.cli.progress import steps
from kgraph.cli.settings import Loaded, Settings
from kgraph.collection import sayings
from kgraph.fits import graph as graphs
from kgraph.folder import disk, formats, reading, schema
from kgraph.problems import CannotRun, Problem, Where, WrongUse, in_order, shown
from kgraph.render.terminal import visible


class Entries(NamedTuple):
    """What was read of folders: the entries, every problem met on the way, how many entries are left out.

    `unread` are the problems of files of which nothing can be read.
    """

    entries: list[records.Entry]
    problems: list[Problem]
    left_out: int = 0
    unread: tuple[Problem, ...] = ()


def entries_of(settings: Settings) -> Entries:
    """All entries that can be read, and all problems of reading them."""
    entries: list[records.Entry] = []
    problems: list[Problem] = []
    left_out = 0
    unread: list[Problem] = []
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
                if read.unread:
                    unread += read.problems
                else:
                    left_out += _left_out(read, path, found, [*read.problems, *wrong])
                step(1, sum(isinstance(entry, sayings.FACT_TYPES) for entry in found))
    return Entries(entries, in_order(problems), left_out, tuple(in_order(unread)))


def _left_out(read: reading.ReadFile, path: Path, found: list[records.Entry], problems: list[Problem]) -> int:
    """How many of the entries that begin in a file are not among those found, for what is wrong with them."""
    later = sum(p.code == formats.LATER for p in problems)
    if not any(p.severity == "error" for p in problems):
        return later
    begun = reading.entries_begun(path)
    silent = sum(p.code == "says-nothing" for p in problems)
    silent += any(map(formats.is_format, read.entries)) and not any(p.code == "format" for p in problems)
    return max(begun - len(found) - silent, 1)


def _unseen(paths: Iterable[Path], seen: set[Path]) -> Iterable[Path]:
    for path in paths:
        real = path.resolve()
        if real not in seen:
            seen.add(real)
            yield path


def load(settings: Settings) -> Loaded:
    """The collection and graph of the folders; what cannot be read is left out, and told in one line.

    Raises CannotRun for a file that cannot be read at all, and, where it is to be strict, for any fault.
    """
    read = entries_of(settings)
    errors = [p for p in read.problems if p.severity == "error"]
    if read.unread or (errors and settings.strict):
        raise refusal(errors if settings.strict else read.unread)
    loaded = _loaded(settings, read)
    if said := remark(loaded):
        print(visible(said), file=sys.stderr)
    return loaded


def _loaded(settings: Settings, read: Entries) -> Loaded:
    """The folder with what is supposed; ids in `without` that name no fact are wrong use."""
    entries = read.entries
    taken_back = [_withdraw(i) for i in settings.without]
    data = collection.build([*entries, *settings.suppose, *taken_back])
    unknown = [w.target for w in taken_back if w in data.unknown_withdraws]
    if unknown:
        mend = "`--proof` shows the ids"
        raise WrongUse(*(Problem(None, "unknown-id", f"no fact has the id {i!r}", mend) for i in unknown))
    return Loaded(data, graphs.build(data), tuple(read.problems), read.left_out)


def _withdraw(target: str) -> records.Withdraw:
    pairs = (("withdraw", target), ("why", "supposed"))
    return records.Withdraw(
        kind="withdraw", where=Where("--without"), pairs=pairs, target=target, why="supposed"
    )


def as_it_is(settings: Settings, loaded: Loaded) -> Loaded:
    """The same folder without what was supposed; nothing is read again."""
    beside = len(settings.suppose) + len(settings.without)
    entries = list(loaded.data.entries)
    kept = entries[: len(entries) - beside]
    read = Entries(kept, list(loaded.problems), loaded.left_out)
    return _loaded(settings._replace(suppose=(), without=()), read)


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
