"""The folder as tables, one for each kind of entry: a row for each entry, a column for each key.

`export --to csv` writes them as CSV (RFC 4180, UTF-8); :mod:`kgraph.exchange.xlsx` as sheets of a workbook.
The last column tells the order of the entries, in which events count.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from kgraph import records, words
from kgraph.exchange.cells import ORDER, cell_of
from kgraph.exchange.formats import Export
from kgraph.folder.entry_keys import keys_of
from kgraph.problems import CannotRun, Problem, WrongUse, shown

MOST_CELL = 131_072
"""The most characters of a cell of CSV, as Python's own reader of CSV bounds it."""


@dataclass(frozen=True, slots=True)
class KindTable:
    """The entries of one kind, each with its number in the folder, and the keys that they have."""

    kind: str
    keys: tuple[str, ...]
    entries: Sequence[tuple[int, records.Entry]]


def tables(wanted: Export, empty_too: Iterable[str] = ()) -> list[KindTable]:
    """A table for each kind that has entries, or for the one kind asked for, in the order of the kinds.

    Kinds named in `empty_too` have one even without an entry.
    """
    found: dict[str, list[tuple[int, records.Entry]]] = {kind: [] for kind in words.KINDS}
    for number, entry in enumerate(wanted.graph.data.entries, 1):
        found[entry.kind].append((number, entry))
    asked = [wanted.kind] if wanted.kind else [k for k in words.KINDS if found[k] or k in set(empty_too)]
    return [KindTable(kind, _keys(kind, found[kind]), found[kind]) for kind in asked]


def _keys(kind: str, entries: Sequence[tuple[int, records.Entry]]) -> tuple[str, ...]:
    used = dict.fromkeys(key for _, entry in entries for key, _ in entry.pairs)
    known = [k for k in keys_of(kind) if k in used or not entries]
    return (*known, *(k for k in used if k not in known))


def rows(table: KindTable, csv: bool, most: int) -> Iterator[list[str]]:
    """The rows of a table as the texts of their cells, the names of its columns first.

    Raises CannotRun where a cell would have more than `most` characters.
    """
    yield [*(cell_of("", key, csv) for key in table.keys), ORDER]
    for number, entry in table.entries:
        said = dict(entry.pairs)
        yield [*(_cell(entry, key, said, csv, most) for key in table.keys), str(number)]


def _cell(entry: records.Entry, key: str, said: dict[str, records.Value], csv: bool, most: int) -> str:
    if key not in said:
        return ""
    text = cell_of(key, said[key], csv)
    if len(text) > most:
        says = f"{shown(key)} has {len(text)} characters, more than the {most} of a cell"
        raise CannotRun(Problem(entry.where, "long-cell", says, "export it as turtle, or as csv"))
    return text


def csv(wanted: Export) -> Iterator[bytes]:
    """The table of one kind as CSV. Raises WrongUse where no kind is asked for and there are several."""
    found = tables(wanted)
    if len(found) > 1:
        raise WrongUse("csv holds one kind of entry: say --kind KIND, or name a folder: --to csv -o DIR")
    for table in found:
        yield from csv_lines(table)


def csv_lines(table: KindTable) -> Iterator[bytes]:
    """A table as CSV, line by line."""
    yield from csv_of(rows(table, True, MOST_CELL))


def csv_of(rows: Iterable[Sequence[str]]) -> Iterator[bytes]:
    """Rows of cells as CSV, line by line."""
    yield from map(csv_line, rows)


def csv_line(cells: Sequence[str], divider: str = ",") -> bytes:
    """The cells of a row as a line of CSV (RFC 4180, but for another divider)."""
    return (divider.join(map(_field, cells)) + "\r\n").encode()


def cells_of(
    columns: Sequence[str], rows: Iterable[Sequence[records.Value]], csv: bool, most: int
) -> Iterator[list[str]]:
    """The cells of any rows of values below the names of their columns.

    Raises CannotRun where a cell would have more than `most` characters.
    """
    yield [cell_of("", column, csv) for column in columns]
    for row in rows:
        cells = [cell_of(c, v, csv) if v else "" for c, v in zip(columns, row, strict=True)]
        for column, cell in zip(columns, cells, strict=True):
            if len(cell) > most:
                says = f"{shown(column)} has {len(cell)} characters, more than the {most} of a cell"
                raise CannotRun(Problem(None, "long-cell", says, "leave it out by --columns"))
        yield cells


def _field(text: str) -> str:
    # The other dividers are quoted as well, for programs that expect one of them.
    if any(c in text for c in ',;\t"\n\r'):
        return '"' + text.replace('"', '""') + '"'
    return text
