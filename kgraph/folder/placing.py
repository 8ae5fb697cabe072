"""Files written whole beside their names and then put in place, so that no half of one is ever seen."""

from __future__ import annotations

import errno
import os
import re
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path
from typing import TypeVar

from kgraph import system
from kgraph.folder.disk import display, reason
from kgraph.problems import CannotRun

_Result = TypeVar("_Result")


LEFT_OVER_S = 86_400.0
"""Nobody takes a day to write a file, in seconds."""


def remove(path: Path) -> None:
    with suppress(OSError):
        uninterrupted(os.unlink, path)


def uninterrupted(call: Callable[..., _Result], *arguments: Path) -> _Result:
    """Do what network drives may break off for a signal; Python begins most calls again, but not these."""
    while True:
        with suppress(InterruptedError):
            return call(*arguments)


def temporary_name(folder: Path) -> Path:
    return folder / f".kgraph-{os.getpid()}-{os.urandom(6).hex()}.tmp"


def write_file(path: Path, data: bytes | Iterable[bytes], like: Path | None, lasting: bool = True) -> None:
    """Write a file that is not there yet and flush it; owner, mode and rights as of another."""
    # Such a file is not made through a link either: see O_EXCL of open(2).
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | system.AS_BYTES
    descriptor = os.open(path, flags, 0o666 if like is None else 0o600)
    try:
        if like is not None:
            system.copy_rights(like, path, descriptor)
        for piece in (data,) if isinstance(data, bytes) else data:
            rest = memoryview(piece)
            while rest:
                rest = rest[os.write(descriptor, rest) :]
        if lasting:
            os.fsync(descriptor)
    finally:
        _close(descriptor)


def _close(descriptor: int) -> None:
    """Close what was flushed; Linux has closed it even where a signal broke the call off."""
    with suppress(InterruptedError):
        os.close(descriptor)


_NO_LINKS = frozenset({errno.EPERM, errno.EACCES, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK})
"""How file systems say that they have no hard links: EPERM and EMLINK by link(2), the others from memory."""


def take_new_name(temporary: Path, path: Path) -> None:
    """Give a written file its name, if nothing has that name; raises FileExistsError otherwise."""
    try:
        uninterrupted(system.link_new, temporary, path)
    except OSError as error:
        if error.errno not in _NO_LINKS:
            raise
        # A file system without hard links: look, then rename.
        if os.path.lexists(path):
            raise FileExistsError(errno.EEXIST, "is there already", path) from None
        uninterrupted(os.rename, temporary, path)
        return
    # The text has its name: that the other one stays is no failure, and the next writer removes it.
    remove(temporary)


def sync_folder(folder: Path, path: Path) -> None:
    """Make a new name last through a power cut."""
    try:
        system.sync_folder(folder)
    except OSError as error:
        says = f"{display(path)}: written, but the disk did not confirm it: {reason(error)}"
        raise CannotRun(f"{says}; look whether the text is there before you add it again") from error


_LEFTOVER = re.compile(r"\.kgraph-(\d{1,10})-[0-9a-f]{12}\.tmp\Z")


def is_leftover(name: str) -> bool:
    """Whether a name is one that a writer gives to what is not finished."""
    return _LEFTOVER.match(name) is not None


def remove_leftovers(folder: Path) -> None:
    """Remove the temporary files of writers that died."""
    for name in uninterrupted(os.listdir, folder):
        match = _LEFTOVER.match(name)
        if match and (not system.is_alive(int(match[1])) or _is_old(folder / name)):
            remove(folder / name)


def _is_old(path: Path) -> bool:
    """Whether a temporary file is so old that its writer is gone, whoever has its number now."""
    try:
        return path.lstat().st_mtime < time.time() - LEFT_OVER_S
    except OSError:
        return False
