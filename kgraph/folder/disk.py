"""The fact files of a folder: which they are, their bytes, and how their paths are told."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator, Set
from contextlib import suppress
from pathlib import Path

from kgraph import system
from kgraph.folder.files import PICTURES
from kgraph.problems import CannotRun, shown

MOST_BYTES = 64 * 2**20
"""The most bytes that a fact file may have."""


def read_path(path: Path) -> bytes:
    """The bytes of a regular file, at most one more than :data:`MOST_BYTES`; never waits on a fifo."""
    descriptor = system.open_file(path, os.O_RDONLY)
    try:
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            raise OSError(0, "not a regular file")
        with open(descriptor, "rb", closefd=False) as stream:
            return stream.read(MOST_BYTES + 1)
    finally:
        # What was read is read, whatever becomes of the closing.
        with suppress(OSError):
            os.close(descriptor)


def bytes_of(path: Path) -> bytes:
    """The same; raises CannotRun that names the file and the reason."""
    try:
        return read_path(path)
    except OSError as error:
        raise CannotRun(f"{display(path)}: {reason(error)}") from None


def fact_files(folder: Path) -> list[Path]:
    """The fact files of a folder and its sub-folders, in order of their paths.

    Only regular `*.yaml` files inside of the folder: links out of it, hidden files and
    folders, linked folders and the folder of the pictures are left out. A folder that cannot be
    listed raises CannotRun.
    """
    try:
        root = folder.resolve()
        found = [path for path in _yaml_files(folder, {PICTURES}) if _is_inside(path, root)]
    except FileNotFoundError:
        name = shown(str(folder), 200)
        raise CannotRun(f"{name}: there is no such folder; `kgraph init {name}` makes one") from None
    except (OSError, RuntimeError) as error:
        raise CannotRun(f"{shown(str(folder), 200)}: {reason(error)}") from None
    by_target: dict[Path, Path] = {}
    for path in sorted(found, key=lambda p: (p.is_symlink(), p.parts)):
        # A link to a file that is read anyway would say everything twice.
        by_target.setdefault(path.resolve(), path)
    return sorted(by_target.values())


def reason(error: BaseException) -> str:
    """Why the system refused, in words."""
    return (error.strerror if isinstance(error, OSError) else None) or str(error) or type(error).__name__


def _yaml_files(folder: Path, but: Set[str] = frozenset()) -> Iterator[Path]:
    with os.scandir(folder) as listing:
        entries = [e for e in listing if not e.name.startswith(".") and e.name not in but]
    for entry in entries:
        if entry.is_dir(follow_symlinks=False):
            yield from _yaml_files(folder / entry.name)
        elif entry.name.endswith(".yaml"):
            yield folder / entry.name


def _is_inside(path: Path, root: Path) -> bool:
    try:
        return stat.S_ISREG(path.stat().st_mode) and path.resolve().is_relative_to(root)
    except OSError as error:
        # A link that leads nowhere is left out; a file that the disk refuses is not: reading it tells why.
        return not path.is_symlink() and not isinstance(error, FileNotFoundError)


def display(path: Path | str) -> str:
    """A path as text that can be encoded, whatever bytes its name has."""
    return os.fsencode(path).decode(errors="backslashreplace")
