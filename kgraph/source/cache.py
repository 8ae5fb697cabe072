"""Where indexes lie, how their files are put there, and how the fact files stand that they are made of.

An index only saves time. It lies in the user's cache folder, never in the fact folder.
"""

from __future__ import annotations

import contextlib
import os
import sys
import time
import zlib
from collections.abc import Iterable, Iterator
from typing import BinaryIO

from kgraph.folder.files import Stamp, stamps

LEFT_OVER_S = 86_400
"""A file that is not finished after a day was left by a process that was killed, on whatever machine."""


def cache_folder() -> str | None:
    """Where indexes lie; None where $KGRAPH_CACHE is `off`."""
    given = os.environ.get("KGRAPH_CACHE")
    if given:
        return None if given == "off" else given
    if sys.platform == "linux":
        # What platformdirs answers here, without the time to load it.
        base = os.environ.get("XDG_CACHE_HOME", "")
        return os.path.join(base if os.path.isabs(base) else os.path.expanduser("~/.cache"), "kgraph")
    from platformdirs import user_cache_dir

    return user_cache_dir("kgraph", appauthor=False)


def index_path(folders: Iterable[str]) -> str | None:
    """The index file of these fact folders; None where indexes are switched off."""
    base = cache_folder()
    if base is None:
        return None
    named = "\0".join(os.path.realpath(f) for f in folders).encode("utf-8", "surrogateescape")
    return os.path.join(base, f"{zlib.crc32(named):08x}{zlib.adler32(named):08x}{len(named):x}.index")


def stamps_of(folders: Iterable[str]) -> list[list[Stamp]] | None:
    """The stamps of all fact files of several folders, or None where no index can stand for them."""
    found = []
    for folder in folders:
        try:
            mine = stamps(folder)
        except OSError:
            return None
        if mine is None:
            return None
        found.append(mine)
    return found


def _mine() -> str:
    """How the name of a file begins that a process of this machine has not finished."""
    return f".new-{zlib.crc32(os.fsencode(os.uname().nodename)):08x}-"


def _begun(folder: str) -> tuple[int, str]:
    """A new file for what is being written, its descriptor and path; nobody else may read it."""
    path = os.path.join(folder, f"{_mine()}{os.getpid()}-{os.urandom(6).hex()}")
    return os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600), path


def _sweep(folder: str) -> None:
    """Take away what processes that were killed while they wrote have left there."""
    from kgraph.folder.leftovers import is_alive

    now, mine = time.time(), _mine()
    with os.scandir(folder) as listing:
        for entry in listing:
            # Another process may have taken it away in the meantime.
            with contextlib.suppress(OSError):
                pid = entry.name.removeprefix(mine).partition("-")[0] if entry.name.startswith(mine) else ""
                dead = pid.isdecimal() and not is_alive(int(pid))
                old = entry.name.startswith(".new-") and entry.stat().st_mtime < now - LEFT_OVER_S
                if dead or old:
                    os.unlink(entry.path)


@contextlib.contextmanager
def writing(path: str) -> Iterator[BinaryIO]:
    """A file as it is written beside; put in place at once when the block ends without an error.

    A half-written one is never seen. Raises OSError where the cache cannot be written.
    """
    folder = os.path.dirname(path)
    os.makedirs(folder, mode=0o700, exist_ok=True)
    _sweep(folder)
    descriptor, beside = _begun(folder)
    try:
        with open(descriptor, "wb") as stream:
            yield stream
        os.replace(beside, path)
    except BaseException:
        os.unlink(beside)
        raise
