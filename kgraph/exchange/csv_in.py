"""CSV as it comes: its divider told by the first line, every fault at its physical line and its column."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import islice

from kgraph.exchange.sheets import SheetRow, TableSheet, made
from kgraph.exchange.tables import MOST_CELL
from kgraph.folder.disk import MOST_BYTES
from kgraph.problems import CannotRun, Problem, Where, shown

DIVIDERS = {",": "commas", ";": "semicolons", "\t": "tabs"}
ENCODINGS = ("utf-8", "cp1252", "latin-1", "utf-16")
"""The codings that CSV may be in; UTF-8 unless another is asked for."""

_BOM = "\ufeff"
_BAD = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\ufffe\uffff]")
_DECIMAL_COMMA = re.compile(r"\s*-?\d+,\d+\s*\Z")


def read(file: str, name: str, data: bytes, encoding: str) -> TableSheet | None:
    """The table of a CSV file, None where it is empty; raises CannotRun where nothing can be read."""
    text = _text(file, data, encoding)
    divider = _divider(text)
    found: list[SheetRow] = []
    wrong: list[Problem] = []
    broken: list[SheetRow] = []
    for row in _records(file, text, divider, wrong):
        faults = [p for i, c in enumerate(row.cells, 1) for p in _bad_characters(file, row, i, c)]
        wrong += faults
        if not faults or not found:
            found.append(row)
        else:
            broken.append(row)
    notes = [] if divider == "," else [_warning(Where(file), f"cells are divided by {DIVIDERS[divider]}")]
    if divider == ";":
        notes += islice(_decimal_commas(file, found), 1)
    sheet = made(file, name, found, wrong, True, notes, broken)
    return sheet and replace(sheet, divider=divider)


def _warning(where: Where, says: str) -> Problem:
    return Problem(where, "csv", says, "", "warning")


def _text(file: str, data: bytes, encoding: str) -> str:
    if len(data) > MOST_BYTES:
        raise CannotRun(Problem(Where(file), "size", f"more than {MOST_BYTES >> 20} MiB", "make it several"))
    if encoding == "utf-8":
        if data.startswith((b"\xff\xfe", b"\xfe\xff")):
            mend = "save it as UTF-8, or say --encoding utf-16"
            raise CannotRun(Problem(Where(file), "utf-16", "the file is UTF-16", mend))
        _refuse_other_coding(file, data)
    try:
        return data.decode(encoding).removeprefix(_BOM)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        says = f"byte 0x{data[error.start]:02X} is not {encoding}"
        raise CannotRun(Problem(Where(file, line), "encoding", says, "name another --encoding")) from None


def _refuse_other_coding(file: str, data: bytes) -> None:
    """Raises CannotRun, in one line, with the first byte that is not UTF-8 and what it is in cp1252."""
    try:
        data.decode("utf-8")
    except UnicodeDecodeError as error:
        before = data[: error.start]
        text = before[before.rfind(b"\n") + 1 :].decode("utf-8", "replace")
        column = max(text.count(divider) for divider in DIVIDERS) + 1
        where = Where(file, before.count(b"\n") + 1, column)
        one = data[error.start : error.start + 1]
        meant = one.decode("cp1252", "replace")
        mend = "save it as UTF-8, or say --encoding"
        if meant.isprintable() and meant != "\ufffd":
            mend += f" cp1252, in which it is {meant}"
        raise CannotRun(Problem(where, "not-utf-8", f"byte 0x{one[0]:02X} is not UTF-8", mend)) from None


def _divider(text: str) -> str:
    """What divides the cells of the first line that has any: what it has most of, outside of quotes."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    bare = re.sub(r'"[^"]*"?', "", first)
    return max(DIVIDERS, key=bare.count)


def _records(file: str, text: str, divider: str, wrong: list[Problem]) -> Iterator[SheetRow]:
    """The rows; raises CannotRun, with the faults before, where one cannot be told from the next."""
    newline = "\n" if "\n" in text else "\r"
    lines = [line + newline for line in text.split(newline)]
    csv.field_size_limit(MOST_CELL)
    reader = csv.reader(lines, delimiter=divider, strict=True)
    while True:
        start = reader.line_num
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            # Where one row ends nobody knows any more, so that nothing behind it can be read.
            raise CannotRun(
                *wrong, _broken(file, divider, lines[start : reader.line_num], start, str(error))
            ) from None
        if cells:
            yield SheetRow(start + 1, tuple(c.replace("\r\n", "\n") for c in cells))


def _broken(file: str, divider: str, lines: Iterable[str], start: int, error: str) -> Problem:
    """The fault at which the reader breaks off, where its cell begins, or where text follows its quote."""
    place, column, opened, inside, fresh = Where(file, start + 1, 1), 1, False, False, True
    for number, char in ((n, c) for n, line in enumerate(lines, start + 1) for c in line):
        if fresh:
            place, opened, inside, fresh = Where(file, number, column), char == '"', char == '"', False
            if opened:
                continue
        if char == '"' and opened:
            inside = not inside
        elif not inside and char in (divider, "\n", "\r"):
            column, fresh = column + 1 if char == divider else 1, True
        elif opened and not inside:
            return _fault(Where(file, number, column), error)
    return _fault(place, error)


def _fault(where: Where, error: str) -> Problem:
    if "field limit" in error:
        says = f"a cell of more than {MOST_CELL} characters"
        return Problem(
            where, "long-cell", says, "close its quote, make it shorter, or write it in a fact file"
        )
    if "unexpected end" in error:
        return Problem(where, "open-quote", "a double quote is opened here and never closed", 'end it with "')
    if "new-line" in error:
        return Problem(where, "control-character", "control character \\x0d", "take it out")
    says = "text stands behind the closing quote of a cell"
    return Problem(where, "open-quote", says, 'a quote inside of a quoted cell is doubled: ""')


def _bad_characters(file: str, row: SheetRow, column: int, cell: str) -> Iterator[Problem]:
    for found in _BAD.finditer(cell):
        where = Where(file, row.line + cell.count("\n", 0, found.start()), column)
        yield Problem(where, "control-character", f"control character {shown(found[0])}", "take it out")


def _decimal_commas(file: str, rows: list[SheetRow]) -> Iterator[Problem]:
    """The numbers with a comma: none is turned into a point, which the user may expect."""
    for row in rows:
        for column, cell in enumerate(row.cells, 1):
            if _DECIMAL_COMMA.match(cell):
                says = f"{cell.strip()} is kept as it is written; no comma is made a point"
                yield _warning(Where(file, row.line, column), says)
