"""A folder that somebody else wrote: its regular files only, and nothing outside of it."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path

from kgraph import records
from kgraph.folder import disk, reading, schema
from kgraph.problems import CannotRun, Problem, Where, in_order

_KINDS = (
    (stat.S_ISFIFO, "a fifo"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
    (stat.S_ISDIR, "a folder"),
)


def read(folder: Path) -> tuple[list[records.Entry], list[Problem]]:
    """The entries of a folder and every problem, odd files included; raises CannotRun where it holds none."""
    odd = [*_odd_files(folder)]
    files = reading.read_folder(folder)
    if not files and not odd:
        raise CannotRun(f"{disk.display(folder)}: holds no *.yaml file")
    entries: list[records.Entry] = []
    problems: list[Problem] = [*odd]
    for found in files:
        good, wrong = schema.check_file(found)
        entries += good
        problems += [*found.problems, *wrong]
    return entries, in_order(problems)


def _odd_files(folder: Path) -> Iterator[Problem]:
    """What stands there as a fact file and is none, or lies outside; nothing of it is opened."""
    root = folder.resolve()
    for path, folders, names in os.walk(folder):
        folders[:] = [name for name in folders if not name.startswith(".")]
        for name in sorted([*names, *folders]):
            here = Path(path, name)
            if name.startswith(".") or not (name.endswith(".yaml") or here.is_symlink()):
                continue
            if said := _odd(here, root):
                says = f"{said}, not a regular file of the folder"
                yield Problem(Where(disk.display(here)), "odd-file", says, "take it away")


def _odd(path: Path, root: Path) -> str:
    """What a path is, where it is neither a regular file nor a link to one inside of the folder."""
    try:
        state = path.stat()
        inside = path.resolve().is_relative_to(root)
    except (OSError, RuntimeError) as error:
        return f"a link that leads nowhere ({disk.reason(error)})"
    if not inside:
        return "a link out of the folder"
    if stat.S_ISREG(state.st_mode) or path.is_dir():
        return ""
    return next((name for is_kind, name in _KINDS if is_kind(state.st_mode)), "something else")
