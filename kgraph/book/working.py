"""Pages made by several processes at once, handed over in their order.

Each process is split from this one when all that pages share is ready, makes every so many-th batch and sends
the pages back; none of them writes.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator, Mapping
from multiprocessing import get_context
from multiprocessing.connection import Connection
from typing import Any

from kgraph.problems import CannotRun

Makers = Mapping[str, Callable[[], bytes]]

MOST_PROCESSES = 8
FEWEST = 2_000
"""Fewer pages are made by this process alone."""
IN_BATCH = 50


def processes() -> int:
    """How many processes can work at once; 1 where this system cannot split one."""
    if not hasattr(os, "sched_getaffinity") or not hasattr(os, "fork"):
        return 1
    return min(len(os.sched_getaffinity(0)), MOST_PROCESSES)


def made(makers: Makers, told: Callable[[], str], hear: Callable[[str], None]) -> Iterator[tuple[str, bytes]]:
    """(address, bytes) of every page, in order.

    What `told` gives in each process at its end is what `hear` is given here: a complaint, or "".
    """
    workers = processes() if len(makers) >= FEWEST else 1
    if workers > 1:
        yield from _by_many(list(makers.items()), workers, told, hear)
        return
    for path, make in makers.items():
        yield path, make()


def _by_many(
    makers: list[tuple[str, Callable[[], bytes]]],
    workers: int,
    told: Callable[[], str],
    hear: Callable[[str], None],
) -> Iterator[tuple[str, bytes]]:
    batches = [makers[start : start + IN_BATCH] for start in range(0, len(makers), IN_BATCH)]
    context = get_context("fork")
    ends = [context.Pipe(duplex=False) for _ in range(workers)]
    started = [
        context.Process(target=_work, args=(batches[number::workers], ends, number, told), daemon=True)
        for number in range(workers)
    ]
    # A Ctrl-C while a process splits would have Python itself complain: each takes it when it can.
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        for process in started:
            process.start()
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
    try:
        for _, theirs in ends:
            theirs.close()
        for number in range(len(batches)):
            yield from _received(ends[number % workers][0])
        for mine, _ in ends:
            hear(_received(mine))
    finally:
        for process in started:
            process.kill()
            process.join()
        for mine, _ in ends:
            mine.close()


def _received(connection: Connection[Any, Any]) -> Any:
    try:
        found = connection.recv()
    except EOFError:
        raise CannotRun("a process that made pages came to its end; try again") from None
    if isinstance(found, Exception):
        raise found
    return found


def _work(
    batches: list[list[tuple[str, Callable[[], bytes]]]],
    ends: list[tuple[Connection[Any, Any], Connection[Any, Any]]],
    number: int,
    told: Callable[[], str],
) -> None:
    """Make one's batches and send them; what goes wrong is sent in their place."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for other, (mine, theirs) in enumerate(ends):
        mine.close()
        if other != number:
            theirs.close()
    out = ends[number][1]
    try:
        for batch in batches:
            out.send([(path, make()) for path, make in batch])
        out.send(told())
    except BrokenPipeError:
        return
    except Exception as error:
        out.send(error)
