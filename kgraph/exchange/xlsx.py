"""The tables as the sheets of a workbook (Office Open XML), and a workbook back as tables.

Every cell that is written is a text, so that a spreadsheet neither computes nor rounds it. A workbook that
comes from elsewhere is unpacked and read in a process with limits; none of its XML may have a DOCTYPE.
"""

from __future__ import annotations

import io
import re
import sys
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, time, timedelta
from typing import Any, BinaryIO

from kgraph.exchange import process
from kgraph.exchange.formats import Export, Incoming
from kgraph.exchange.sheets import MOST_COLUMNS, SheetRow, TableSheet, made
from kgraph.exchange.tables import rows, tables
from kgraph.folder.disk import MOST_BYTES, display
from kgraph.problems import CannotRun, Problem, Where

MOST_CELL = 32_767
"""The most characters of a cell, as Excel states among its limits (from memory)."""
MOST_UNPACKED = 4 * MOST_BYTES
MOST_MEMBERS = 2000
MEMORY_MIB = 4096
LONG_AGO = (1980, 1, 1, 0, 0, 0)
"""The date of every file in the workbook, so that the same facts give the same bytes: ZIP's earliest."""

# Written as `_xHHHH_`: what XML cannot hold, and what would be read as such an escape (ECMA-376, ST_Xstring).
_ESCAPED = re.compile("[\x00-\x08\x0b-\x1f\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")
_ESCAPE = re.compile(r"_x([0-9A-Fa-f]{4})_")


# Out ------------------------------------------------------------------------------------------


def xlsx(wanted: Export) -> Iterator[bytes]:
    """A workbook with a sheet for each kind of entry. Raises CannotRun where a cell would be too long."""
    yield workbook((table.kind, rows(table, False, MOST_CELL)) for table in tables(wanted))


def workbook(sheets: Iterable[tuple[str, Iterable[Sequence[str]]]]) -> bytes:
    """A workbook with a sheet of each name and its rows, the names of the columns first."""
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    for name, cells in sheets:
        _write(book.create_sheet(name), cells)
    if not book.worksheets:
        book.create_sheet("set")
    unpacked = io.BytesIO()
    book.save(unpacked)
    return _with_dates_of(unpacked)


def _write(sheet: Any, texts: Iterable[Sequence[str]]) -> None:
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font

    sheet.freeze_panes = "B2"
    for number, row in enumerate(texts):
        cells = []
        for text in row:
            cell = WriteOnlyCell(sheet, _ESCAPED.sub(lambda m: f"_x{ord(m[0]):04X}_", text) or None)
            if text:
                # A text that begins with = would else be written as a formula.
                cell.data_type = "s"
                cell.number_format = "@"
            if not number:
                cell.font = Font(bold=True)
            cells.append(cell)
        sheet.append(cells)


_CHANGED = re.compile(rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*")


def _with_dates_of(packed: BinaryIO) -> bytes:
    """The same workbook with one date everywhere."""
    out = io.BytesIO()
    with zipfile.ZipFile(packed) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in sorted(old.namelist()):
            data = old.read(name)
            if name == "docProps/core.xml":
                data = _CHANGED.sub(rb"\g<1>1980-01-01T00:00:00Z", data)
            member = zipfile.ZipInfo(name, LONG_AGO)
            member.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(member, data)
    return out.getvalue()


# In, the caller -------------------------------------------------------------------------------


def read(incoming: Incoming) -> list[TableSheet]:
    """The sheets of a workbook that hold anything; raises CannotRun where it cannot be read."""
    file = display(incoming.path)
    if len(incoming.data) > MOST_BYTES:
        raise CannotRun(Problem(Where(file), "size", f"more than {MOST_BYTES >> 20} MiB", "make it several"))
    job = {"file": file, "seconds": incoming.seconds, "memory_mib": MEMORY_MIB}
    result = process.run("kgraph.exchange.xlsx", job, [incoming.data])
    sheets = []
    for name, found, lost, wrong in result["sheets"]:
        listed, broken = ([SheetRow(line, tuple(cells)) for line, cells in which] for which in (found, lost))
        frame = TableSheet(file, name, SheetRow(1, ()), (), (), False)
        faults = [frame.problem(line, column, *said) for line, column, *said in wrong]
        if sheet := made(file, name, listed, faults, False, (), broken):
            sheets.append(sheet)
    return sheets


# In, the process ------------------------------------------------------------------------------


def answer(job: dict[str, Any], data: BinaryIO) -> dict[str, Any]:
    """The sheets as lists of texts, and what is wrong with their cells."""
    packed = io.BytesIO(data.read())
    _refuse(job["file"], packed)
    import openpyxl

    try:
        book = openpyxl.load_workbook(packed, read_only=True, keep_links=False)
        return {"sheets": [_sheet(sheet) for sheet in book.worksheets]}
    except (MemoryError, CannotRun):
        raise
    except Exception as error:
        # The library has no exception of its own for a broken workbook: KeyError, ValueError, ParseError ...
        raise CannotRun(_broken(job["file"], str(error) or type(error).__name__)) from None


def _broken(file: str, why: str) -> Problem:
    return Problem(
        Where(file), "workbook", f"cannot be read as a workbook: {why}", "save it once more as .xlsx"
    )


def _refuse(file: str, packed: BinaryIO) -> None:
    """Refuse what unpacks to too much, is encrypted, or has a DOCTYPE."""
    try:
        with zipfile.ZipFile(packed) as archive:
            members = archive.infolist()
            if len(members) > MOST_MEMBERS or sum(m.file_size for m in members) > MOST_UNPACKED:
                says = f"unpacks to more than {MOST_UNPACKED >> 20} MiB or {MOST_MEMBERS} files"
                raise CannotRun(Problem(Where(file), "size", says, "make it several"))
            for member in members:
                if member.filename.endswith((".xml", ".rels", ".vml")) and _has_doctype(archive, member):
                    says = f"{member.filename} has a DOCTYPE, which is refused"
                    raise CannotRun(Problem(Where(file), "doctype", says, "save it once more as .xlsx"))
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError, EOFError) as error:
        raise CannotRun(_broken(file, str(error))) from None


def _has_doctype(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> bool:
    # A file cannot unpack to more than it says: ZipFile stops there. UTF-16 has a NUL between the letters.
    return b"<!DOCTYPE" in archive.read(member).replace(b"\0", b"").upper()


_Cells = list[tuple[int, list[str]]]
_Faults = list[tuple[int, int, str, str, str]]


def _sheet(sheet: Any) -> tuple[str, _Cells, _Cells, _Faults]:
    """Its name, the rows that can be read, those that cannot, and what is wrong with these."""
    found: _Cells = []
    broken: _Cells = []
    wrong: _Faults = []
    # What a sheet says of its own size is not believed: it may be huge, or too small.
    sheet.reset_dimensions()
    for line, row in enumerate(sheet.iter_rows(), 1):
        faults: _Faults = []
        cells = [_cell(line, column, cell, faults) for column, cell in enumerate(row[: MOST_COLUMNS + 1], 1)]
        wrong += faults
        if any(cells) and (not faults or not found):
            found.append((line, cells))
        elif faults:
            broken.append((line, cells))
    return sheet.title, found, broken, wrong


def _cell(line: int, column: int, cell: Any, faults: _Faults) -> str:
    """The text of a cell; a number as it is stored, a date as in a fact file."""
    if cell.value is None:
        return ""
    if cell.data_type == "f":
        says = "the cell holds a formula"
        faults.append((line, column, "formula", says, "put its value in the place of the formula"))
        return ""
    if cell.data_type == "e":
        faults.append((line, column, "cell-error", f"the cell holds the error {cell.value}", "mend it"))
        return ""
    return _text(cell.value)


def _text(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time() else value.isoformat(" ")
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, timedelta):
        return str(value)
    return _ESCAPE.sub(lambda m: chr(int(m[1], 16)), str(value))


if __name__ == "__main__":
    sys.exit(process.serve(answer))
