"""Pages made by several processes at once, handed over in their order.

Each process is split from this one when all that pages share is ready, makes every so many-th batch and sends
the pages back; none of them writes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

from kgraph import system
from kgraph.problems import CannotRun

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

Made = TypeVar("Made")

MOST_PROCESSES = 8
FEWEST = 2_000
"""Fewer pages are made by this process alone."""
IN_BATCH = 50


def processes() -> int:
    """How many processes can work at once; 1 where this system cannot split one."""
    return system.processes(MOST_PROCESSES)


def made(
    makers: Mapping[str, Callable[[], Made]], told: Callable[[], str], hear: Callable[[str], None]
) -> Iterator[tuple[str, Made]]:
    """(address, page) of every page, in order.

    What `told` gives in each process at its end is what `hear` is given here: a complaint, or "".
    """
    workers = processes() if len(makers) >= FEWEST else 1
    if workers > 1:
        yield from _by_many(list(makers.items()), workers, told, hear)
        return
    for path, make in makers.items():
        yield path, make()


def _by_many(
    makers: list[tuple[str, Callable[[], Made]]],
    workers: int,
    told: Callable[[], str],
    hear: Callable[[str], None],
) -> Iterator[tuple[str, Made]]:
    batches = [makers[start : start + IN_BATCH] for start in range(0, len(makers), IN_BATCH)]

    def work(number: int, out: Connection) -> None:
        """Make one's batches and send them; what goes wrong is sent in their place."""
        try:
            for batch in batches[number::workers]:
                out.send([(path, make()) for path, make in batch])
            out.send(told())
        except BrokenPipeError:
            return
        except Exception as error:
            out.send(error)

    with system.split(workers, work) as received:
        for number in range(len(batches)):
            yield from _received(received[number % workers])
        for end in received:
            hear(_received(end))


def _received(connection: Connection) -> Any:
    try:
        found = connection.recv()
    except EOFError:
        raise CannotRun("a process that made pages came to its end; try again") from None
    if isinstance(found, Exception):
        raise found
    return found
