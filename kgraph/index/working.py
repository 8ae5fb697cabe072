"""An index made by several processes at once, each reading and compiling shares of the files.

A folder that is large goes in more shares than there are processes; each file is then read twice, and no
process ever holds more than one share.
"""

from __future__ import annotations

import contextlib
import signal
from collections import deque
from collections.abc import Iterator, Sequence
from itertools import chain, islice
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import Any, NamedTuple, Protocol

from kgraph import system
from kgraph.folder.disk import read_path
from kgraph.folder.formats import LATER
from kgraph.folder.schema import entries_of
from kgraph.index.shares import Apart, Numbers, Packed, Share, Told, World, join, stands, world
from kgraph.index.store import Writing, packed, squeezed
from kgraph.records import Entry

SMALLEST = 1 << 20
"""Fewer bytes of facts are compiled before other processes have begun."""
MOST_IN_SHARE = 8 << 20
"""The most bytes of facts in one share: some 350 MB of memory."""
MOST_PROCESSES = 8
IN_BATCH = 400


class StepTold(Protocol):
    """Told after each step how many more are done, and how many facts came with them."""

    def __call__(self, done: int, facts: int) -> None: ...


class File(NamedTuple):
    """A fact file: as facts name it, where it lies, its size in bytes, and how the index lists it."""

    name: str
    path: Path
    size: int
    listed: tuple[int, str]
    """Which folder it lies in, and its path there."""


Shares = Sequence[Sequence[File]]


def processes() -> int:
    """How many processes can work at once; 1 where this system cannot split one."""
    return system.processes(MOST_PROCESSES)


def shares_of(files: Sequence[File], most: int) -> list[list[File]]:
    """The files in shares of about equal size, in their order: one for each process, or several."""
    whole = max(1, sum(f.size for f in files))
    count = most * -(-whole // (MOST_IN_SHARE * most))
    shares: list[list[File]] = [[] for _ in range(count)]
    before = 0
    for file in files:
        shares[min(count - 1, (before + file.size // 2) * count // whole)].append(file)
        before += file.size
    return [share for share in shares if share]


class Work:
    """Processes at work on the shares of a folder, until the end of the block.

    :meth:`read`, then :meth:`compile`; they raise Apart where the folder must be compiled whole, EOFError
    where a process came to its end, and OSError.
    """

    def __init__(self, shares: Shares, most: int) -> None:
        self.shares = shares
        self.files = {file.name: file for share in shares for file in share}
        named = {name: file.listed for name, file in self.files.items()}
        context = get_context("fork")
        ends = [context.Pipe() for _ in range(min(most, len(shares)))]
        self.inbox = _Inbox([mine for mine, _ in ends])
        self.processes = [
            context.Process(target=_work, args=(ends, number, shares, named), daemon=True)
            for number in range(len(ends))
        ]
        # A Ctrl-C while a process splits would have Python itself complain: each takes it when it can.
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        try:
            for process in self.processes:
                process.start()
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)
        for _, theirs in ends:
            theirs.close()

    def __enter__(self) -> Work:
        return self

    def __exit__(self, *_: object) -> None:
        for process in self.processes:
            process.kill()
        for process in self.processes:
            process.join()
        for connection in self.inbox.connections:
            connection.close()

    def read(self, step: StepTold) -> int:
        """Read all files, and let each process know what the others found; how many facts there are."""
        told: dict[int, Told] = {}
        while len(told) < len(self.shares):
            found = self.inbox.next()
            if isinstance(found, int):
                step(1, found)
            else:
                told[found[0]] = found[1]
        in_order = [told[number] for number in sorted(told)]
        known = world(in_order, lambda name: _read(self.files[name]).entries)
        for connection in self.inbox.connections:
            connection.send(known)
        return sum(one.facts for one in in_order)

    def compile(self, into: Writing, step: StepTold) -> None:
        """Write the rows of all shares."""
        gone: dict[str, set[str]] = {}
        joined: set[str] = set()
        for number in range(len(self.shares)):
            for found in self.inbox.until_done(number % len(self.processes)):
                if isinstance(found, tuple):
                    for key, those in found[0].items():
                        gone.setdefault(key, set()).update(those)
                    joined |= found[1]
                else:
                    into.put(_joined(into, found) if number else found)
                    facts = sum(key[:2] == "f|" for key, _ in found)
                    step(facts, facts)
        for key, row in into.get(list(gone)).items():
            if stands(row, gone[key]):
                # Withdrawn in one share, and said in other words in another.
                raise Apart
        if not joined.isdisjoint(one for those in gone.values() for one in those):
            raise Apart


def _joined(into: Writing, batch: list[Packed]) -> list[Packed]:
    there = into.get([key for key, _ in batch])
    return [(key, join(key, there[key], row) if key in there else row) for key, row in batch]


class _Inbox:
    """What processes send, read from all of them whichever is asked, so that none has to wait."""

    def __init__(self, connections: list[Connection]) -> None:
        self.connections = connections
        self.open = list(connections)
        self.found: list[deque[Any]] = [deque() for _ in connections]

    def next(self) -> Any:
        """What any of them sent; raises EOFError where all have ended."""
        while not any(self.found):
            self._receive()
        return self._opened(next(found for found in self.found if found).popleft())

    def until_done(self, number: int) -> Iterator[Any]:
        """What one of them sends until it is done with a share."""
        while True:
            while not self.found[number]:
                self._receive()
            found = self._opened(self.found[number].popleft())
            if found is None:
                return
            yield found

    def _receive(self) -> None:
        if not self.open:
            raise EOFError
        for connection in wait(self.open):
            assert isinstance(connection, Connection)
            try:
                self.found[self.connections.index(connection)].append(connection.recv())
            except EOFError:
                self.open.remove(connection)

    def _opened(self, found: Any) -> Any:
        if isinstance(found, Exception):
            raise found
        return found


# What each process does --------------------------------------------------------------------------


def _work(
    ends: Sequence[tuple[Connection, Connection]],
    number: int,
    shares: Shares,
    named: Numbers,
) -> None:
    """The whole life of a process: it reads its shares, hears of the others, and sends rows."""
    # Ctrl-C ends it in silence: what is half done is cleared away by the process that began it.
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
    for mine, _ in ends:
        mine.close()
    connection = ends[number][1]
    try:
        _read_and_compile(connection, range(number, len(shares), len(ends)), shares, named)
    except (EOFError, ConnectionError, MemoryError):
        # Nobody is there to hear of it; or memory is short, and one process is to read the folder alone.
        return
    except (Apart, OSError) as error:
        with contextlib.suppress(OSError):
            connection.send(error)


def _read_and_compile(connection: Connection, mine: Sequence[int], shares: Shares, named: Numbers) -> None:
    """Raises Apart, OSError, EOFError."""
    only: list[_Read] = []
    for number in mine:
        told = Told()
        for file in shares[number]:
            read = _read(file)
            connection.send(told.add(read.entries))
            if len(mine) == 1:
                only.append(read)
        connection.send((number, told))
    known = connection.recv()
    for number in mine:
        _compile(connection, only or [_read(file) for file in shares[number]], known, named)


class _Read(NamedTuple):
    """What was read of a file: its name, its bytes as a row has them, its entries."""

    name: str
    text: str
    entries: list[Entry]


def _read(file: File) -> _Read:
    """Raises Apart for a file with errors, which only the whole folder can tell of as it must."""
    data = read_path(file.path)
    entries, problems = entries_of(data, file.name)
    if any(p.severity == "error" or p.code == LATER for p in problems):
        raise Apart
    return _Read(file.name, squeezed(data), entries)


def _compile(connection: Connection, found: Sequence[_Read], known: World, named: Numbers) -> None:
    numbers = {name: number for number, name in enumerate(named)}
    texts = [(f"t|{numbers[one.name]}", one.text) for one in found]
    share = Share([entry for one in found for entry in one.entries], known, named)
    connection.send((share.gone, share.joined))
    rows = chain(((key, packed(key, text)) for key, text in texts), share.rows())
    while batch := list(islice(rows, IN_BATCH)):
        connection.send(batch)
    connection.send(None)
