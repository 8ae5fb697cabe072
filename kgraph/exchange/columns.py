"""Which column of a table is which key of an entry: told by a mapping file, or guessed by the columns' names.

A mapping file is a YAML list: `kind: takes`, then an item for each column (`column: Place`, `key: position`;
without a key it is left out), and one for each value that every row has (`key: how`, `value: printed`).
`column: [Make, Model]` takes two together, `divide: /` parts a cell, `as: belt` reads what sellers write,
`kind:` again begins what a row says besides, `rest: unused` leaves out all other columns, and `sheet: NAME`
begins what holds for one sheet.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Sequence, Set
from dataclasses import replace

from kgraph import words
from kgraph.exchange import csv_in, mappings, rows, trade_columns
from kgraph.exchange.cells import ORDER, WHY, header_key
from kgraph.exchange.formats import FoundEntries, Incoming
from kgraph.exchange.mappings import Column, RowPlan
from kgraph.exchange.sheets import TableSheet
from kgraph.exchange.trade_columns import HOLDS
from kgraph.exchange.vocabulary import NESTED_KEYS
from kgraph.folder.disk import bytes_of, display, reason
from kgraph.folder.entry_keys import keys_of, required_of
from kgraph.names import did_you_mean, fold
from kgraph.problems import CannotRun, Problem, Where, shown

NEARLY = 0.8
"""How alike, from 0 to 1, a column's name is to the key that it may be a slip for."""


def read_csv(incoming: Incoming) -> FoundEntries:
    """The entries of a CSV file; raises CannotRun with every fault but those of single rows."""
    sheet = csv_in.read(display(incoming.path), "", incoming.data, incoming.encoding)
    return _found(incoming, [sheet] if sheet else [])


def read_xlsx(incoming: Incoming) -> FoundEntries:
    """The entries of a workbook, from all of its sheets; raises as :func:`read_csv`."""
    from kgraph.exchange import xlsx

    return _found(incoming, xlsx.read(incoming))


def read_folder(incoming: Incoming) -> FoundEntries:
    """The entries of all CSV files of a folder, in the order of the folder they were exported from."""
    try:
        paths = sorted(
            p for p in incoming.path.iterdir() if p.suffix.lower() == ".csv" and not p.is_symlink()
        )
    except OSError as error:
        raise CannotRun(f"{display(incoming.path)}: {reason(error)}") from None
    if not paths:
        raise CannotRun(f"{display(incoming.path)}: holds no .csv file")
    sheets = [csv_in.read(display(p), p.stem, bytes_of(p), incoming.encoding) for p in paths]
    return _found(incoming, [s for s in sheets if s])


# From sheets to entries -----------------------------------------------------------------------


def _found(incoming: Incoming, sheets: Sequence[TableSheet]) -> FoundEntries:
    sheets, notes = _chosen(incoming, sheets)
    if incoming.mapping:
        path, data = incoming.mapping
        told = mappings.read(display(path), data, incoming.kind)
        plans = [(sheet, plan) for sheet in sheets if (plan := mappings.for_sheet(told, sheet))]
        notes += [f"sheet {s.name} is left out" for s in sheets if s.name and s not in [p[0] for p in plans]]
        faults = [p for sheet, plan in plans for p in _mapped_faults(sheet, plan)]
    else:
        plans = [(sheet, guess(sheet, incoming.kind)) for sheet in sheets]
        faults = []
    faults += [p for sheet, plan in plans for p in _nameless(sheet, plan)]
    if faults:
        raise CannotRun(*faults)
    gathered = rows.Gathered()
    for number, (sheet, plan) in enumerate(plans):
        rows.read(number, sheet, plan, gathered)
    ordered = sorted(gathered.entries, key=lambda made: made.order)
    guessed = [(sheet, plan) for sheet, plan in plans if not all(p.sure for p in plan)]
    meant = [p for sheet, plan in plans for p in _undivided(sheet, plan)]
    return FoundEntries(
        [made.pairs for made in ordered],
        [made.places[""].line for made in ordered],
        notes,
        [made.places for made in ordered],
        mappings.text(plans) if guessed else "",
        [p for _, several in plans for plan in several for p in plan.doubts],
        [*(note for sheet in sheets for note in sheet.notes), *meant, *gathered.meant.values()],
        gathered.wrong,
        gathered.asked,
        [made.row for made in ordered],
        [sheet for sheet, _ in plans],
        frozenset(rows.source_of(sheet) for sheet, plan in plans if not plan[0].as_written),
    )


def _chosen(incoming: Incoming, sheets: Sequence[TableSheet]) -> tuple[list[TableSheet], list[str]]:
    """The sheets that were asked for by name; raises CannotRun for a name that no sheet has."""
    wanted = {fold(name) for name in incoming.sheets}
    names = [sheet.name for sheet in sheets if sheet.name]
    for name in incoming.sheets:
        if fold(name) not in map(fold, names):
            mend = did_you_mean(name, names) or f"it has {shown(', '.join(names) or 'one table alone', 200)}"
            raise CannotRun(
                Problem(Where(display(incoming.path)), "no-sheet", f"no sheet is named {shown(name)}", mend)
            )
    kept = [sheet for sheet in sheets if not wanted or fold(sheet.name) in wanted]
    if len(kept) > 1:
        kept = [sheet if sheet.csv else replace(sheet, beside=True) for sheet in kept]
    return kept, [f"sheet {s.name} is left out" for s in sheets if wanted and fold(s.name) not in wanted]


def _nameless(sheet: TableSheet, plans: Sequence[RowPlan]) -> Iterator[Problem]:
    if any(plan.rest_unused for plan in plans):
        return
    for number, cell in enumerate(sheet.header.cells, 1):
        if not cell.strip() and (row := next((r for r in sheet.rows if r.cells[number - 1].strip()), None)):
            says = (
                f"column {number} has no name, and holds {shown(row.cells[number - 1], 30)} in row {row.line}"
            )
            yield sheet.problem(sheet.header.line, number, "no-name", says, "name it in the first row")


_SEVERAL = re.compile(r"\d\s*/\s*\d|;")


def _undivided(sheet: TableSheet, plans: Sequence[RowPlan]) -> Iterator[Problem]:
    """The first cell of each column of names that looks like several and is taken for one."""
    if plans[0].as_written:
        return
    divided = {name for plan in plans for c in plan.columns if c.divide for name in c.names}
    used = {n for p in plans for c in p.columns if c.key and rows.is_name(p.kind, c.key) for n in c.names}
    for number, cell in enumerate(sheet.header.cells):
        if cell.strip() not in used - divided:
            continue
        row = next((r for r in sheet.rows if _SEVERAL.search(r.cells[number])), None)
        if row:
            says = (
                f"{shown(row.cells[number], 40)} is taken for one name; for several say divide: in a mapping"
            )
            yield sheet.problem(row.line, number + 1, "undivided", says)._replace(severity="warning")


# What the mapping file says of a sheet --------------------------------------------------------


def _mapped_faults(sheet: TableSheet, plans: Sequence[RowPlan]) -> Iterator[Problem]:
    """Every column of the table is named in the mapping, and every column of the mapping is there."""
    names = [cell.strip() for cell in sheet.header.cells if cell.strip()]
    columns = [column for plan in plans for column in plan.columns]
    told = {name for column in columns for name in column.names} | {ORDER, WHY}
    rest = any(plan.rest_unused for plan in plans)
    for number, cell in enumerate(sheet.header.cells, 1):
        if cell.strip() and cell.strip() not in told and not rest:
            says = f"the mapping says nothing of the column {shown(cell.strip())}"
            mend = "add an item for it, without a key to leave it out; or rest: unused"
            yield sheet.problem(sheet.header.line, number, "unknown-column", says, mend)
    for column in columns:
        for name in column.names:
            if name not in names:
                near = difflib.get_close_matches(name, names, 1)
                mend = f"did you mean {shown(near[0])}?" if near else f"it has {shown(', '.join(names), 200)}"
                says = f"{shown(sheet.name or sheet.file, 100)} has no column {shown(name)}"
                yield Problem(column.where, "unknown-column", says, mend)


# The guess ------------------------------------------------------------------------------------


def guess(sheet: TableSheet, kind: str = "") -> list[RowPlan]:
    """How the columns are most likely meant, the kind that the rows list first.

    Raises CannotRun where nothing says what kind the rows are.
    """
    headers = [
        (n, c.strip(), header_key(c, sheet.csv)) for n, c in enumerate(sheet.header.cells, 1) if c.strip()
    ]
    headers = [header for header in headers if header[1] != WHY]
    if any(cell == ORDER for _, cell, _ in headers):
        return [_own(sheet, kind, headers)]
    found = trade_columns.fields([cell for _, cell, _ in headers])
    lists = "set" if found.lists_sets else "part" if found.lists_parts else ""
    if lists and kind in ("", lists):
        return _of_trade(sheet, lists, found, [h for h in headers if h[1] not in found.taken])
    kind = kind or (sheet.name if sheet.name in words.KINDS else "") or _kind(sheet, headers)
    return [_with_name_of_set(sheet, _plan(sheet, kind, headers))]


_Header = tuple[int, str, str]
"""The number of a column, its name, and the key that this is as it stands."""


def _own(sheet: TableSheet, kind: str, headers: Sequence[_Header]) -> RowPlan:
    """The plan of a sheet that this program wrote, which is meant as it is written."""
    kind = kind or (sheet.name if sheet.name in words.KINDS else "") or _kind(sheet, headers)
    columns = tuple(Column((cell,), key) for _, cell, key in headers if cell != ORDER)
    return _whole(sheet, RowPlan(kind, sheet.name, columns, as_written=True))


def _plan(sheet: TableSheet, kind: str, headers: Sequence[_Header]) -> RowPlan:
    """Every column as the key of one kind that it most likely is."""
    plan = RowPlan(kind, sheet.name, sure=all(key in keys_of(kind) for _, _, key in headers))
    keys: dict[str, int] = {}
    for number, cell, key in headers:
        plan = _with_column(sheet, plan, number, cell, key, keys)
    return plan


def _with_name_of_set(sheet: TableSheet, plan: RowPlan) -> RowPlan:
    """A plan in which badge and model together are the name of the set; doubts where a key is missing."""
    keys = {column.key for column in plan.columns}
    if plan.kind == "set" and "set" not in keys and {"badge", "model"} <= keys:
        names = tuple(c.names[0] for k in ("badge", "model") for c in plan.columns if c.key == k)
        plan = replace(plan, columns=(Column(names, "set"), *plan.columns))
    return _whole(sheet, plan)


def _whole(sheet: TableSheet, plan: RowPlan) -> RowPlan:
    for key in required_of(plan.kind):
        if key not in {c.key for c in plan.columns} | {k for k, *_ in plan.constants}:
            says = f"no column is the {key}: of a {plan.kind} entry"
            plan = plan.doubting(
                sheet.problem(sheet.header.line, 1, "missing-key", says, "say by --map which it is")
            )
    return plan


def _of_trade(
    sheet: TableSheet, kind: str, found: trade_columns.Fields, headers: Sequence[_Header]
) -> list[RowPlan]:
    """The plans of a list of the trade: of its sets or parts, and of what a row says besides."""
    plan = _plan(sheet, kind, headers)
    if kind == "set" and not found.whole:
        plan = replace(plan, columns=(Column(found.set_names, "set"), *plan.columns))
        if not found.badge:
            plan = replace(plan, columns=tuple(c for c in plan.columns if c.key != "model"))
    if kind == "part":
        places = {*found.places.values(), found.described}
        heads = [(c, "belt") for c, _ in found.belts] + [(c, "") for c in found.parts.values()]
        columns = tuple(c for c in plan.columns if c.names[0] not in places)
        plan = replace(plan, columns=(Column((heads[0][0],), "part", reads=heads[0][1]), *columns))
    besides = [_whole(sheet, other) for other in trade_columns.besides(sheet, found)]
    return [replace(one, sure=False) for one in (_whole(sheet, plan), *besides)]


def _with_column(
    sheet: TableSheet, plan: RowPlan, number: int, cell: str, key: str, keys: dict[str, int]
) -> RowPlan:
    meant, sure = _meant(plan.kind, key)
    line = sheet.header.line
    if meant in keys:
        says = f"the columns {shown(sheet.header.cells[keys[meant] - 1])} and {shown(cell)} both mean {meant}"
        doubt = sheet.problem(line, number, "column-twice", says, "say by --map which of them it is")
        return plan.with_column(Column((cell,), "")).doubting(doubt)
    plan = plan.with_column(_column(sheet, plan.kind, cell, meant))
    if meant:
        keys[meant] = number
    if not sure:
        near = f"did you mean {meant}?" if meant else f"it may have {', '.join(keys_of(plan.kind))}"
        says = f"the column {shown(cell)} is no key of a {plan.kind} entry"
        return plan.doubting(sheet.problem(line, number, "unknown-column", says, near))
    return plan


def _column(sheet: TableSheet, kind: str, cell: str, key: str) -> Column:
    """A column as a key; the bands of a set are a list, and a bare voltage is in volts."""
    divide = trade_columns.signs(sheet, cell, trade_columns.SIGNS) if (kind, key) == ("set", "bands") else ()
    volts = key == "mains" and fold(cell) != "mains"
    return Column((cell,), key, divide, reads="volts" if volts else "")


def _meant(kind: str, text: str) -> tuple[str, bool]:
    """The key that the name of a column most likely means, "" for none, and whether that is safe to take."""
    known = [*keys_of(kind), *(NESTED_KEYS[:3] if kind == "part" else ())]
    if text in known:
        return text, True
    for key in known:
        if fold(key) == fold(text) and fold(text):
            return key, True
    if holds := HOLDS.get(kind, {}).get(fold(text)):
        return holds, True
    if near := _near(text, known):
        return near, False
    # An attribute of the user's own: keys are written small, and so `Years` is the `years` of other sets.
    own = text[:1].lower() + text[1:] if text[1:].islower() else text
    return (own, True) if kind in words.THINGS else ("", False)


def _covered(kind: str, columns: Set[str]) -> set[str]:
    """The keys of a kind, folded, that columns stand for beyond doubt."""
    known = {fold(key) for key in keys_of(kind)}
    holds = {name: fold(key) for name, key in HOLDS.get(kind, {}).items()}
    return (known & columns) | {key for name, key in holds.items() if name in columns}


def _near(text: str, known: Sequence[str]) -> str:
    ratios = [(difflib.SequenceMatcher(None, fold(k), fold(text)).ratio(), k) for k in known]
    best, key = max(ratios, default=(0.0, ""))
    return key if best >= NEARLY else ""


def _kind(sheet: TableSheet, headers: Sequence[tuple[int, str, str]]) -> str:
    """The kind whose keys most columns are, all that it must have among them; else the nearest named."""
    folded = {fold(key) for _, _, key in headers}
    covered = {kind: _covered(kind, folded) for kind in words.KINDS}
    whole = [kind for kind in words.KINDS if covered[kind] >= {fold(k) for k in required_of(kind)}]
    if whole:
        return max(whole, key=lambda kind: len(covered[kind]))
    if {"badge", "model"} <= covered["set"]:
        return "set"
    for _, _, key in headers:
        if near := next((k for k in words.KINDS if fold(k) == fold(key)), _near(key, list(words.KINDS))):
            return near
    names = shown(", ".join(key for _, _, key in headers), 100)
    says = f"no column says which kind of entry the rows are: {names}"
    mend = f"say --kind with one of {', '.join(words.KINDS)}"
    raise CannotRun(sheet.problem(sheet.header.line, 1, "no-kind", says, mend))
