"""The lines of files, made by as many processes as there are cores, and put together in a table.

Each process reads its share of the files and sends sorted lines, compressed; lines of one letter are merged
when all are there. No share needs to know what another says.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import zlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

from kgraph.collection import FACT_TYPES
from kgraph.folder import reading, schema
from kgraph.folder.disk import read_path
from kgraph.folder.files import Stamp, path_in, shown
from kgraph.source import lines
from kgraph.source.table import Writer

SMALLEST = 1 << 20
"""Fewer bytes of facts are read before other processes have begun."""
MOST_IN_SHARE = 4 << 20
"""The most bytes of facts in one share."""
MOST_PROCESSES = 8

Step = Callable[[int, int], None]
"""Told after each file how many more are done, and how many facts came with them."""
Sorted = dict[str, bytes]
"""First letter -> the lines that begin with it, sorted and compressed."""


class File(NamedTuple):
    """A fact file: its number in the index, the folder it lies in (number and path), and how it stands."""

    number: int
    folder: int
    base: str
    stamp: Stamp

    @property
    def path(self) -> str:
        """Where it lies."""
        return path_in(self.base, self.stamp[0])


def in_order(folders: Sequence[str], stamps: Sequence[Sequence[Stamp]]) -> list[File]:
    """The files in the order of reading, numbered so."""
    found = [(i, stamp) for i, those in enumerate(stamps) for stamp in those]
    found.sort(key=lambda f: (f[0], f[1][0].split("/")))
    return [File(number, i, folders[i], stamp) for number, (i, stamp) in enumerate(found)]


def lines_of(files: Iterable[File], step: Step) -> dict[str, list[str]]:
    """First letter -> the lines of these files that begin with it, sorted. Raises OSError."""
    kept: list[str] = []
    found: list[str] = []
    spelt: set[lines.Spelt] = set()
    for file in files:
        facts = 0
        found.append(f"@{file.number:05x}\t{json.dumps([file.folder, *file.stamp])}")
        name = shown(file.path)
        read = reading.read_bytes(read_path(Path(file.path)), name)
        entries, problems = schema.check_file(read)
        for place, entry in enumerate(entries):
            ref = lines.ref_of(file.number, place)
            kept.append(lines.kept(entry, ref))
            found += [f"{key}\t{ref}" for key in lines.keys_of(entry)]
            spelt.update(lines.spelt_by(entry))
            facts += isinstance(entry, FACT_TYPES)
        for p in (*read.problems, *problems):
            if p.severity == "error" and p.where:
                said = [*p.where[1:], p.code, p.says, p.mend]
                found.append(f"%{file.number:05x}\t{json.dumps(said)}")
        step(1, facts)
    found += map(lines.spelt_line, spelt)
    found.sort()
    kept.sort()
    return {"!": kept, **_by_letter(found)}


def _by_letter(found: list[str]) -> dict[str, list[str]]:
    parted: dict[str, list[str]] = {}
    start = 0
    for at in range(1, len(found) + 1):
        if at == len(found) or found[at][0] != found[start][0]:
            parted[found[start][0]] = found[start:at]
            start = at
    return parted


def write(stream: BinaryIO, token: str, shares: Sequence[Sorted]) -> None:
    """A table of the lines of all shares, which are in the order of reading."""
    writer = Writer(stream, token)
    for letter in sorted({letter for share in shares for letter in share}):
        several = [share[letter] for share in shares if letter in share]
        if letter == "!":
            for one in several:
                writer.add(_opened(one))
            continue
        found = [line for one in several for line in _opened(one)]
        # Runs that are sorted already are merged.
        found.sort()
        writer.add(found if letter != "y" else [*dict.fromkeys(found)])
    writer.finish()


def packed(found: dict[str, list[str]]) -> Sorted:
    """Sorted lines as they are sent."""
    return {k: zlib.compress("\n".join(v).encode("utf-8", "surrogatepass"), 1) for k, v in found.items() if v}


def _opened(data: bytes) -> list[str]:
    return zlib.decompress(data).decode("utf-8", "surrogatepass").split("\n")


# Several processes -------------------------------------------------------------------------------


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
