"""Fact folders read, for the command line and for programs: in this one place it is decided how."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import NamedTuple

from kgraph import collection, lookup, records
from kgraph.api.leaving import refusal
from kgraph.api.loaded import Loaded
from kgraph.api.taking_back import taking_back
from kgraph.collection import sayings
from kgraph.fits import graph as graphs
from kgraph.folder import disk, formats, reading, schema
from kgraph.problems import CannotRun, Problem, Where, WrongUse, in_order, shown

Step = Callable[[int, int], None]
"""Told after so many files that held so many facts."""
Steps = Callable[[str, int], AbstractContextManager[Step]]
"""What shows how far a piece of work is, by what it does and how many files it has."""


class Entries(NamedTuple):
    """What was read of folders: the entries, every problem met on the way, how many entries are left out.

    `unread` are the problems of files of which nothing can be read.
    """

    entries: list[records.Entry]
    problems: list[Problem]
    left_out: int = 0
    unread: tuple[Problem, ...] = ()


class Supposed(NamedTuple):
    """What is asked about beside what stands in the files, and where that is said."""

    entries: Sequence[records.Entry] = ()
    without: Sequence[str] = ()
    """The ids of facts that are taken back."""
    where: Where = Where("supposed")


NOTHING = Supposed()


@contextmanager
def silent(what: str, total: int) -> Iterator[Step]:
    """Show nothing."""
    yield lambda done, facts: None


def entries_of(folders: Sequence[Path], steps: Steps = silent) -> Entries:
    """All entries that can be read, and all problems of reading them."""
    entries: list[records.Entry] = []
    problems: list[Problem] = []
    left_out = 0
    unread: list[Problem] = []
    seen: set[Path] = set()
    for folder in folders:
        paths = disk.fact_files(folder)
        if not paths:
            says = f"{shown(str(folder), 200)} holds no *.yaml file"
            raise CannotRun(f"{says}; `kgraph init {shown(str(folder), 200)}` starts a fact folder")
        if len(folders) > 1:
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
    speechless = sum(p.code == "says-nothing" for p in problems)
    speechless += any(map(formats.is_format, read.entries)) and not any(p.code == "format" for p in problems)
    return max(begun - len(found) - speechless, 1)


def _unseen(paths: Iterable[Path], seen: set[Path]) -> Iterable[Path]:
    for path in paths:
        real = path.resolve()
        if real not in seen:
            seen.add(real)
            yield path


def opened(
    folders: Sequence[Path], strict: bool = False, supposed: Supposed = NOTHING, steps: Steps = silent
) -> Loaded:
    """The collection and graph of the folders, without what cannot be read.

    Raises CannotRun for a file that cannot be read at all, and, where it is to be strict, for any fault.
    """
    read = entries_of(folders, steps)
    errors = [p for p in read.problems if p.severity == "error"]
    if read.unread or (errors and strict):
        raise refusal(errors if strict else read.unread)
    return loaded(read, supposed)


def loaded(read: Entries, supposed: Supposed = NOTHING) -> Loaded:
    """What was read with what is supposed; raises WrongUse for ids in `without` that name no fact."""
    entries = [*read.entries, *supposed.entries]
    data = collection.build(entries)
    taken_back = [
        _withdraw(target, supposed.where) for one in supposed.without for target in _targets(data, one)
    ]
    if taken_back:
        data = collection.build([*entries, *taken_back])
    unknown = [w.target for w in sayings.unknown_withdraws(data) if w in taken_back] if taken_back else []
    if unknown:
        mend = "`--proof` shows the ids"
        raise WrongUse(*(Problem(None, "unknown-id", f"no fact has the id {i!r}", mend) for i in unknown))
    return Loaded(data, graphs.build(data), tuple(read.problems), read.left_out)


def _targets(data: collection.Collection, one: str) -> Iterable[str]:
    """By which ids a fact is left out that is named by an id, or by the beginning of one."""
    return taking_back(data, lookup.whole_id(data, one)).targets


def _withdraw(target: str, where: Where) -> records.Withdraw:
    pairs = (("withdraw", target), ("why", "supposed"))
    return records.Withdraw(kind="withdraw", where=where, pairs=pairs, target=target, why="supposed")
