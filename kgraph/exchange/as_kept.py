"""A table as people keep it: ditto marks filled down, and rows that no program should take unasked."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, field, replace

from kgraph.exchange.sheets import SheetRow, TableSheet
from kgraph.problems import Problem, shown

_DITTO = re.compile(
    r"""(["\u201d\u201c\u201e\u3003\u2033]|''|,,|dto\.?|do\.|ditto|idem|[-\u2013]\s*(["\u201d\u201c\u2033]|'')\s*[-\u2013])\Z""",
    re.IGNORECASE,
)
_ELSEWHERE = re.compile(
    r"(?:s\.|see|siehe|cf\.)\s*(?:also\s+)?"
    r"(?:remarks?|notes?|comments?|text|above|below|left|right|page|footnotes?|bemerkung\w*|anm\w*\.?|oben|unten)\b",
    re.IGNORECASE,
)
"""A cell that sends its reader to another one."""
TWO_FILLED = 2


@dataclass
class Ready:
    """The rows of a sheet with nothing left out in them, and those that are asked about instead."""

    rows: list[SheetRow] = field(default_factory=list)
    asked: list[Problem] = field(default_factory=list)


def ready(sheet: TableSheet, names: Set[str], heads: Sequence[str], notes: Set[str]) -> Ready:
    """The rows of a sheet that is not this program's own.

    `names`: the columns in which a name stands; `heads`: of them those that name what the row is about, none
    of which may be blank alone; `notes`: columns whose text is nobody's name and may say anything.
    """
    at = {cell.strip(): i for i, cell in enumerate(sheet.header.cells)}
    made = Ready()
    above: SheetRow | None = None
    for row in sheet.rows:
        faults = list(_section(sheet, row, [at[h] for h in heads]))
        if not faults:
            row, faults = _filled(sheet, row, above)
            above = above if faults else row
        if not faults:
            faults = list(_doubtful(sheet, row, at, names, heads, notes))
        made.asked += faults
        if not faults:
            made.rows.append(_without_strokes(row, at, notes))
    return made


def _section(sheet: TableSheet, row: SheetRow, heads: Sequence[int]) -> Iterator[Problem]:
    """A row with one text alone, though it takes more to name anything: most likely a heading."""
    filled = [i for i, cell in enumerate(row.cells) if cell.strip()]
    needed = len(heads) >= TWO_FILLED and len(row.cells) >= TWO_FILLED
    if len(filled) == 1 and needed and filled[0] in (0, heads[0]):
        says = f"{shown(row.cells[filled[0]], 40)} stands alone in its row, like a heading"
        yield sheet.problem(
            row.line, filled[0] + 1, "section-row", says, "take it out, or fill in the others"
        )


def _filled(sheet: TableSheet, row: SheetRow, above: SheetRow | None) -> tuple[SheetRow, list[Problem]]:
    """A row with the text from above in the place of each ditto mark."""
    cells, faults = list(row.cells), []
    for i, cell in enumerate(cells):
        if _DITTO.match(cell.strip().removeprefix("'") if len(cell.strip()) > 2 else cell.strip()):
            if above is None:
                says = f"{shown(cell.strip())} repeats the row above, and there is none"
                faults.append(sheet.problem(row.line, i + 1, "ditto", says, "write out what is meant"))
            else:
                cells[i] = above.cells[i]
    return replace(row, cells=tuple(cells)), faults


def _doubtful(
    sheet: TableSheet,
    row: SheetRow,
    at: Mapping[str, int],
    names: Set[str],
    heads: Sequence[str],
    notes: Set[str],
) -> Iterator[Problem]:
    for name, i in at.items():
        cell = row.cells[i].strip()
        if name in notes or not cell:
            continue
        if _ELSEWHERE.match(cell):
            says = f"{shown(cell)} sends the reader elsewhere"
            yield sheet.problem(row.line, i + 1, "elsewhere", says, "write here what is meant")
        elif name in heads and name in names and not any(c.isalnum() for c in cell):
            says = f"{shown(cell)} has no letter and no digit, and a name belongs here"
            yield sheet.problem(row.line, i + 1, "no-name", says, "write the name, or take the row out")


def _without_strokes(row: SheetRow, at: Mapping[str, int], notes: Set[str]) -> SheetRow:
    """A row in which a cell without a letter or digit is blank: a stroke or a question mark says nothing."""
    kept = {at[name] for name in notes if name in at}
    cells = (c if i in kept or any(x.isalnum() for x in c) else "" for i, c in enumerate(row.cells))
    return replace(row, cells=tuple(cells))
