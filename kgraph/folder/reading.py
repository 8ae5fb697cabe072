"""Fact files as bytes -> entries with their places, by the quick reader or by a parser of all YAML.

The parser is loaded only for a file that the quick reader leaves alone.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

from kgraph.folder import plain
from kgraph.folder.disk import MOST_BYTES, display, fact_files, read_path, reason
from kgraph.folder.nodes import Map
from kgraph.problems import Problem, Where


class ReadFile(NamedTuple):
    """What stands in one file: the entries that could be read, and everything that is wrong.

    `unread`: the disk refuses it, or it is no text in which an entry can be read.
    """

    path: str
    entries: tuple[Map, ...]
    problems: tuple[Problem, ...]
    unread: bool = False


@contextmanager
def _no_collection() -> Iterator[None]:
    """Hold the garbage collector: reading makes many objects, and no cycles."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            # What was made goes to the oldest generation at once, without being looked through,
            # unless the program keeps frozen objects of its own, which must stay so.
            if not gc.get_freeze_count():
                gc.freeze()
                gc.unfreeze()
            gc.enable()


def read_bytes(data: bytes, file: str) -> ReadFile:
    """The entries of a fact file's bytes and all that is wrong with it; never raises for bad input.

    An empty value is a :class:`Text` of no characters; `null`, `~`, `no`, `012` stay text.
    """
    if len(data) > MOST_BYTES:
        says = f"more than {MOST_BYTES // 2**20} MiB"
        return ReadFile(file, (), (Problem(Where(file), "size", says, "make it several files"),), unread=True)
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        problem = Problem(Where(file), "utf-16", "the file is UTF-16", "save it as UTF-8")
        return ReadFile(file, (), (problem,), unread=True)
    with _no_collection():
        quick = plain.entries(data)
        if quick is not None:
            return ReadFile(file, quick, ())
        found = by_yaml(data, file)
        return found if found.entries else found._replace(unread=not _is_text(data))


def _is_text(data: bytes) -> bool:
    try:
        return "\0" not in data.decode()
    except UnicodeDecodeError:
        return False


def read_plain(data: bytes) -> tuple[Map, ...] | None:
    """The entries of bytes in the shape of :mod:`kgraph.folder.plain`, which have no fault; else None."""
    with _no_collection():
        return plain.entries(data)


def by_yaml(data: bytes, file: str) -> ReadFile:
    """The same of any bytes that are neither too many nor UTF-16, by a parser of all YAML."""
    from kgraph.folder import parsing

    return ReadFile(file, *parsing.entries(data, file))


def entries_begun(path: Path) -> int:
    """How many entries begin in a file, could each be read."""
    from kgraph.folder import parsing

    return parsing.begun(read_path(path), display(path))


def left_out(path: Path, found: int, problems: Sequence[Problem]) -> int:
    """How many of the entries that begin in a file are not among those found, for what is wrong with them."""
    if not any(p.severity == "error" for p in problems):
        return 0
    silent = sum(p.code == "says-nothing" for p in problems)
    return max(entries_begun(path) - found - silent, 1)


def read_folder(folder: Path) -> list[ReadFile]:
    """Every fact file of a folder; a file that cannot be opened is a problem of that file.

    Raises CannotRun for a folder that is missing, not a folder, or cannot be listed.
    """
    return [read_file(path) for path in fact_files(folder)]


def read_file(path: Path) -> ReadFile:
    """One fact file; that it cannot be opened is a problem of it."""
    name = display(path)
    try:
        data = read_path(path)
    except OSError as error:
        problem = Problem(Where(name), "unreadable", f"cannot be read: {reason(error)}")
        return ReadFile(name, (), (problem,), unread=True)
    return read_bytes(data, name)
