"""The lines of many files, made by as many processes as there are cores.

Each process reads its shares of the files and sends their lines. No share needs to know what another says.
"""

from __future__ import annotations

import contextlib
import os
import signal
from collections.abc import Iterator, Sequence
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from typing import Any

from kgraph.source.compile import File, Sorted, Step, lines_of, packed

SMALLEST = 1 << 20
"""Fewer bytes of facts are read before other processes have begun."""
MOST_IN_SHARE = 4 << 20
"""The most bytes of facts in one share."""
MOST_PROCESSES = 8


def processes() -> int:
    """How many processes can work at once; 1 where this system cannot split one."""
    if not hasattr(os, "sched_getaffinity") or not hasattr(os, "fork"):
        return 1
    return min(len(os.sched_getaffinity(0)), MOST_PROCESSES)


def shares_of(files: Sequence[File], most: int) -> list[list[File]]:
    """The files in shares of about equal size, in their order: one for each process, or several."""
    whole = max(1, sum(f.stamp[1] for f in files))
    count = most * -(-whole // (MOST_IN_SHARE * most))
    shares: list[list[File]] = [[] for _ in range(count)]
    before = 0
    for file in files:
        shares[min(count - 1, (before + file.stamp[1] // 2) * count // whole)].append(file)
        before += file.stamp[1]
    return [share for share in shares if share]


def read(files: Sequence[File], step: Step) -> list[Sorted]:
    """The lines of all files, share by share. Raises OSError, and EOFError where a process ended."""
    most = processes()
    if most == 1 or sum(f.stamp[1] for f in files) < SMALLEST:
        return [packed(lines_of(files, step))]
    shares = shares_of(files, most)
    with _at_work(shares, most) as connections:
        found: dict[int, Sorted] = {}
        while len(found) < len(shares):
            for what in _sent(connections):
                if isinstance(what, OSError):
                    raise what
                if len(what) == 1:
                    step(1, what[0])
                else:
                    found[what[0]] = what[1]
    return [found[number] for number in range(len(shares))]


@contextlib.contextmanager
def _at_work(shares: Sequence[Sequence[File]], most: int) -> Iterator[list[Connection]]:
    """Processes at work on the shares until the end of the block."""
    context = get_context("fork")
    ends = [context.Pipe(duplex=False) for _ in range(min(most, len(shares)))]
    workers = [
        context.Process(target=_work, args=(ends, number, shares), daemon=True) for number in range(len(ends))
    ]
    # A Ctrl-C while a process splits would have Python itself complain: each takes it when it can.
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        for worker in workers:
            worker.start()
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
    for _, theirs in ends:
        theirs.close()
    try:
        yield [mine for mine, _ in ends]
    finally:
        for worker in workers:
            worker.kill()
        for worker in workers:
            worker.join()
        for mine, _ in ends:
            mine.close()


def _sent(connections: list[Connection]) -> Iterator[Any]:
    """What processes sent meanwhile; raises EOFError where all have ended."""
    if not connections:
        raise EOFError
    for connection in wait(connections):
        assert isinstance(connection, Connection)
        try:
            yield connection.recv()
        except EOFError:
            connections.remove(connection)


def _work(
    ends: Sequence[tuple[Connection, Connection]], number: int, shares: Sequence[Sequence[File]]
) -> None:
    """The whole life of a process: it reads every so many-th share, and sends its lines."""
    # Ctrl-C ends it in silence: what is half done is cleared away by the process that began it.
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
    for mine, _ in ends:
        mine.close()
    connection = ends[number][1]
    # Nobody may be there to hear of it.
    with contextlib.suppress(ConnectionError):
        try:
            for share in range(number, len(shares), len(ends)):
                found = lines_of(shares[share], lambda _, facts: connection.send((facts,)))
                connection.send((share, packed(found)))
        except ConnectionError:
            raise
        except OSError as error:
            connection.send(error)
