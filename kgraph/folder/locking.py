"""The lock of a fact folder, which one writer at a time holds."""

from __future__ import annotations

import os
import stat
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from kgraph import system
from kgraph.folder.disk import display
from kgraph.problems import CannotRun

LOCK_NAME = ".kgraph.lock"


LOCK_WAIT_S = 60.0
"""How long to wait for one and the same other writer, in seconds."""


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Hold the folder's lock. It is a file of its own: a fact file's inode changes at each write."""
    path = folder / LOCK_NAME
    descriptor = system.open_file(path, os.O_RDONLY | os.O_CREAT, through_links=False)
    lock = system.Lock(descriptor, path)
    try:
        _wait_for(lock)
        yield
    finally:
        # Nothing was written through it, and what was written stands: closing it can undo nothing.
        with suppress(OSError):
            lock.give_back()
        with suppress(OSError):
            os.close(descriptor)


def _wait_for(lock: system.Lock) -> None:
    """Take the lock of an open file. Its time of change tells those who wait that somebody has his turn.

    Raises CannotRun where one and the same writer keeps it for :data:`LOCK_WAIT_S`.
    """
    status = os.fstat(lock.descriptor)
    if not stat.S_ISREG(status.st_mode):
        raise CannotRun(f"{display(lock.path)}: not a regular file; take it away")
    turn, end = status.st_mtime_ns, time.monotonic() + LOCK_WAIT_S
    while not lock.take():
        if time.monotonic() > end:
            before, turn = turn, os.fstat(lock.descriptor).st_mtime_ns
            if turn == before:
                says = f"{display(lock.path)}: another program has been writing for {LOCK_WAIT_S:.0f} s"
                raise CannotRun(says)
            end = time.monotonic() + LOCK_WAIT_S
        time.sleep(0.005)
    # A lock that belongs to another user cannot be marked; then the whole wait is LOCK_WAIT_S long.
    with suppress(OSError):
        os.utime(lock.descriptor if os.utime in os.supports_fd else lock.path)
