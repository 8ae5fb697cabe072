"""A table as it was read, before anything is made of its columns: rows of texts, each with its place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kgraph.problems import CannotRun, Problem, Where, shown

MOST_COLUMNS = 1000


@dataclass(frozen=True, slots=True)
class SheetRow:
    """The cells of a row; `line` is its number, in CSV the physical line on which it begins."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TableSheet:
    """A table: its file, the name of the sheet where it has one, its first row, and the rows below.

    `wrong`: rows that cannot be read, each with every fault; they are not among `rows`. `broken`: those of
    them that are known at all, as they came.
    """

    file: str
    name: str
    header: SheetRow
    rows: Sequence[SheetRow]
    wrong: Sequence[Problem]
    csv: bool
    notes: Sequence[Problem] = ()
    broken: Sequence[SheetRow] = ()
    divider: str = ","
    """CSV: what stands between two cells."""
    beside: bool = False
    """Whether other sheets of its workbook are read too."""

    def where(self, line: int, column: int = 1) -> Where:
        """The place of a cell: row and column, from 1; of several sheets of a workbook with the sheet."""
        return Where(f"{self.file}, sheet {self.name}" if self.beside else self.file, line, column)

    def problem(self, line: int, column: int, code: str, says: str, mend: str = "") -> Problem:
        """A fault of a cell; of a workbook it names the sheet."""
        named = f"sheet {shown(self.name)}: " if self.name and not self.csv and not self.beside else ""
        return Problem(self.where(line, column), code, f"{named}{says}", mend)


def made(
    file: str,
    name: str,
    found: Sequence[SheetRow],
    wrong: Sequence[Problem],
    csv: bool,
    notes: Sequence[Problem] = (),
    broken: Sequence[SheetRow] = (),
) -> TableSheet | None:
    """The sheet of these rows, None where there is none; raises CannotRun for a header that is not one.

    Rows without any text are left out; rows of another length than the header are faults. `broken`: rows
    that have a fault among `wrong`.
    """
    filled = [row for row in found if any(c.strip() for c in row.cells)]
    if not filled:
        if wrong:
            raise CannotRun(*wrong)
        return None
    header, *rows = filled
    sheet = TableSheet(file, name, header, (), (), csv, notes)
    cells = header.cells if csv else _without_empty_end(header.cells)
    faults = [*(p for p in wrong if p.where and p.where.line <= header.line), *_header_faults(sheet, cells)]
    if faults:
        raise CannotRun(*faults)
    good, bad, lost = [], list(wrong), list(broken)
    for row in rows:
        fitted = row.cells if csv else (*row.cells, *[""] * (len(cells) - len(row.cells)))
        if len(fitted) > len(cells) and not csv and not any(c.strip() for c in fitted[len(cells) :]):
            fitted = fitted[: len(cells)]
        if len(fitted) == len(cells):
            good.append(SheetRow(row.line, tuple(fitted)))
        else:
            bad.append(_ragged(sheet, row, len(cells)))
            lost.append(row)
    return TableSheet(file, name, SheetRow(header.line, tuple(cells)), good, bad, csv, notes, lost)


def _without_empty_end(cells: Sequence[str]) -> tuple[str, ...]:
    most = max((i for i, c in enumerate(cells, 1) if c.strip()), default=0)
    return tuple(cells[:most])


def _ragged(sheet: TableSheet, row: SheetRow, wanted: int) -> Problem:
    has = len(row.cells)
    says = f"{has} {'cell' if has == 1 else 'cells'} where the first row has {wanted}"
    mend = "a text with the divider in it stands in double quotes" if has > wanted else "fill in the others"
    return sheet.problem(row.line, min(has, wanted) + (has > wanted), "ragged-row", says, mend)


def _header_faults(sheet: TableSheet, cells: Sequence[str]) -> list[Problem]:
    line = sheet.header.line
    if len(cells) > MOST_COLUMNS:
        return [sheet.problem(line, MOST_COLUMNS + 1, "columns", f"more than {MOST_COLUMNS} columns")]
    first: dict[str, int] = {}
    faults = []
    for number, cell in enumerate(cells, 1):
        name = cell.strip()
        if name and first.setdefault(name, number) != number:
            says = f"the column {shown(name)} is named twice, first as column {first[name]}"
            faults.append(sheet.problem(line, number, "column-twice", says, "rename one of the two"))
    return faults
