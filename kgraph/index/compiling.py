"""Fact files turned into the rows of an index (see :mod:`kgraph.index.naming`), each file by itself.

====== =========== ================================================================================
row    of          holds
====== =========== ================================================================================
i|N    an entry    what :class:`kgraph.index.rows.RowCodec` makes of it
files  the folder  of every file, in the order of reading, its folder, path, first entry and how many
keys   the program which key sets which field, by kind of entry
ground the program the entries of the ground of the trade, and the names that it gives, by kind
====== =========== ================================================================================
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from kgraph import records, trade
from kgraph.collection.fact_ids import KEPT, written_id
from kgraph.folder.disk import read_path
from kgraph.folder.entry_keys import FACTS, THINGS, fields_of
from kgraph.folder.formats import LATER
from kgraph.folder.schema import entries_of
from kgraph.index.entries import FileRow
from kgraph.index.naming import Noted
from kgraph.index.rows import Keys, RowCodec

Row = tuple[str, Any]


LEAST_ENTRY = 4
"""The fewest bytes of an entry."""


class Faulty(Exception):
    """A file has faults, which only reading the folder can tell of."""


class File(NamedTuple):
    """A fact file: as entries name it, where it lies, its size in bytes, its folder and its path there."""

    name: str
    path: Path
    size: int
    folder: int
    inside: str


def keys() -> Keys:
    """Which key sets which field, for the codec of rows."""
    return {
        kind: (cls.__name__, {key: field for key, (field, _, _) in fields_of(kind).items()})
        for kind, (cls, _) in {**THINGS, **FACTS}.items()
    }


def read(file: File) -> list[records.Entry]:
    """The entries of a file; raises Faulty, OSError."""
    entries, problems = entries_of(read_path(file.path), file.name)
    if any(p.severity == "error" or p.code == LATER for p in problems) or len(entries) > most_entries(
        file.size
    ):
        raise Faulty
    return entries


def entry_rows(codec: RowCodec, entries: Iterable[records.Entry], start: int) -> Iterator[Row]:
    """The rows of the entries of a file, numbered from `start` on."""
    for number, entry in enumerate(entries, start):
        if isinstance(entry, records.Statement):
            # Kept with the entry, for what is noted of it has it too.
            vars(entry)[KEPT] = written_id(entry)
        yield f"i|{number}", codec.row(entry, vars(entry).get(KEPT, ""))


def whole(files: Sequence[File], counts: Sequence[int], noted: Noted) -> Iterator[Row]:
    """The rows that stand for the whole folder, but those of its entries."""
    firsts = first_numbers(files)
    yield (
        "files",
        [FileRow(f.folder, f.inside, firsts[f.name], n) for f, n in zip(files, counts, strict=True)],
    )
    yield from program()
    yield from noted.whole()


def first_numbers(files: Sequence[File]) -> dict[str, int]:
    """The number of the first entry of each file, by its name, before any file is read."""
    found, start = {}, 0
    for file in files:
        found[file.name] = start
        start += most_entries(file.size) + 1
    return found


def most_entries(size: int) -> int:
    """So many entries a file of a size in bytes can have at most: each begins with `- ` or `{`, and a key."""
    return size // LEAST_ENTRY


def program() -> Iterator[Row]:
    """The rows that are the same for every folder: how entries are kept, and the ground."""
    known = keys()
    codec, made = RowCodec(known), trade.ground()
    yield "keys", known
    yield (
        "ground",
        {
            kind: {
                "names": made.names[kind],
                "things": {key: [e.where.file, codec.row(e)] for key, e in made.things[kind].items()},
            }
            for kind in trade.KINDS
        },
    )
