"""The rows of a table that are wrong, as a table in the format that came in, with a column that says why."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from kgraph.exchange.cells import WHY, cell_of
from kgraph.exchange.formats import RowFault
from kgraph.exchange.sheets import TableSheet
from kgraph.exchange.tables import csv_line

_Rows = list[list[str]]


def as_tables(sheets: Sequence[TableSheet], faults: Iterable[RowFault]) -> list[tuple[TableSheet, _Rows]]:
    """Of each sheet with a wrong row its header and those rows, each with what is wrong with it at its end.

    Ditto marks and all else stand as they came; a row that cannot be read has its reasons alone.
    """
    why: dict[tuple[int, int], list[str]] = {}
    for fault in faults:
        says, mend = fault.problem.says, fault.problem.mend
        text = f"column {fault.problem.where.column}: {says}" if fault.problem.where else says
        why.setdefault(fault.row, []).append(f"{text}; {mend}" if mend else text)
    found = []
    for number, sheet in enumerate(sheets):
        lines = sorted(line for at, line in why if at == number)
        if lines:
            cells = {row.line: row.cells for row in (*sheet.rows, *sheet.broken)}
            made = [_row(sheet, cells.get(line, ()), "\n".join(why[number, line])) for line in lines]
            found.append((sheet, [[*sheet.header.cells, WHY], *made]))
    return found


def _row(sheet: TableSheet, cells: Sequence[str], why: str) -> list[str]:
    wide = len(sheet.header.cells)
    kept = [*cells[:wide], *[""] * (wide - len(cells))]
    rest = [c for c in cells[wide:] if c.strip()]
    more = f"\nfurther cells: {' | '.join(rest)}" if rest else ""
    return [*kept, cell_of("note", why + more, sheet.csv) if sheet.csv else why + more]


def files(
    path: Path, suffix: str, tables: Sequence[tuple[TableSheet, _Rows]]
) -> Iterator[tuple[Path, bytes]]:
    """The file, or of a folder of CSV the files, that hold the wrong rows; `suffix` is that of what came."""
    if suffix == ".xlsx":
        from kgraph.exchange import xlsx

        yield path, xlsx.workbook((sheet.name, rows) for sheet, rows in tables)
    elif suffix in (".csv", ".tsv"):
        for sheet, rows in tables:
            yield path, b"".join(csv_line(row, sheet.divider) for row in rows)
    else:
        for sheet, rows in tables:
            yield path / f"{sheet.name}.csv", b"".join(csv_line(row, sheet.divider) for row in rows)
