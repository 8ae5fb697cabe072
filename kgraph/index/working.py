"""The rows of the fact files of some folders, made by several processes where there is much to read."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Generator, Sequence
from typing import TYPE_CHECKING, Any

from kgraph import system
from kgraph.index.compiling import Faulty, File, entry_rows, first_numbers, keys, read, whole
from kgraph.index.naming import IN_BUCKET, Noted, buckets_of
from kgraph.index.rows import RowCodec
from kgraph.index.store import Writing, packed

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

SMALLEST = 1 << 20
"""Fewer bytes of facts are compiled before other processes have begun."""
MOST_PROCESSES = 8
IN_BATCH = 4

Step = Callable[[int, int], None]
"""Told how many more files are done, and how many entries came with them."""


def processes(files: Sequence[File]) -> int:
    """How many processes are to compile these files."""
    large = sum(file.size for file in files) >= SMALLEST
    return min(system.processes(MOST_PROCESSES), len(files)) if large else 1


def compile_files(files: Sequence[File], into: Writing, step: Step) -> None:
    """Write all rows of these files; raises Faulty, OSError, and EOFError where a process came to its end."""
    most = processes(files)
    noted, counts = Noted(), []
    found = _by_processes(files, most) if most > 1 else _by_one(files)
    with contextlib.closing(found) as batches:
        for rows, of_batch, numbers in batches:
            into.put(rows)
            into.note(of_batch.hashed())
            noted.join(of_batch)
            counts += numbers
            step(len(numbers), sum(numbers))
    buckets = max(1, sum(counts) // IN_BUCKET)
    of_names = buckets_of(into.noted(buckets), buckets)
    rest = whole(files, counts, noted)
    into.put((key, packed(key, value)) for key, value in (("buckets", buckets), *rest))
    into.put((key, packed(key, value)) for key, value in of_names)


_Batch = tuple[list[tuple[str, bytes]], Noted, list[int]]
"""The rows of the entries of some files, what is noted of them, and how many each file has."""


def _batch(files: Sequence[File], firsts: dict[str, int], codec: RowCodec) -> _Batch:
    rows: list[tuple[str, bytes]] = []
    noted, counts = Noted(), []
    for file in files:
        entries = read(file)
        rows += ((key, packed(key, value)) for key, value in entry_rows(codec, entries, firsts[file.name]))
        noted.add_file(entries, firsts[file.name])
        counts.append(len(entries))
    return rows, noted, counts


def _batches(files: Sequence[File]) -> list[Sequence[File]]:
    return [files[at : at + IN_BATCH] for at in range(0, len(files), IN_BATCH)]


def _by_one(files: Sequence[File]) -> Generator[_Batch]:
    firsts, codec = first_numbers(files), RowCodec(keys())
    yield from (_batch(some, firsts, codec) for some in _batches(files))


def _by_processes(files: Sequence[File], most: int) -> Generator[_Batch]:
    """The batches in the order of the files, each process doing every n-th of them."""
    batches = _batches(files)

    def work(number: int, out: Connection) -> None:
        firsts, codec = first_numbers(files), RowCodec(keys())
        try:
            for some in batches[number::most]:
                out.send(_batch(some, firsts, codec))
        except (EOFError, ConnectionError, MemoryError):
            # Nobody is there to hear of it; or memory is short, and one process is to read the folder alone.
            return
        except (Faulty, OSError) as error:
            with contextlib.suppress(OSError):
                out.send(error)

    with system.split(most, work) as received:
        for number in range(len(batches)):
            found: Any = received[number % most].recv()
            if isinstance(found, Exception):
                raise found
            yield found
