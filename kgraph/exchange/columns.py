"""Which column of a table is which key of an entry: told by a mapping file, or guessed by the columns' names.

A mapping file is a YAML list: `kind: takes`, then an item for each column (`column: Place`, `key: position`;
without a key it is left out), and one for each value that every row has (`key: how`, `value: printed`).
`column: [Make, Model]` takes two together, `divide: /` parts a list, `sheet: NAME` begins what holds for one
sheet.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, field, replace

from kgraph import words
from kgraph.exchange import csv_in, mappings
from kgraph.exchange.cells import ORDER, NotAValue, header_key, read_cell
from kgraph.exchange.formats import Found, Incoming, Pairs
from kgraph.exchange.mappings import Column, Plan
from kgraph.exchange.sheets import Row, Sheet
from kgraph.exchange.vocabulary import NESTED_KEYS
from kgraph.folder.disk import bytes_of, display, reason
from kgraph.folder.schema import keys_of, required_of
from kgraph.folder.writing import Value
from kgraph.names import fold
from kgraph.problems import CannotRun, Problem, Where, shown

NEARLY = 0.8
"""How alike, from 0 to 1, a column's name is to the key that it may be a slip for."""
LAST = 1 << 62


def read_csv(incoming: Incoming) -> Found:
    """The entries of a CSV file; raises CannotRun with every fault but those of single rows."""
    sheet = csv_in.read(display(incoming.path), "", incoming.data, incoming.encoding)
    return _found(incoming, [sheet] if sheet else [])


def read_xlsx(incoming: Incoming) -> Found:
    """The entries of a workbook, from all of its sheets; raises as :func:`read_csv`."""
    from kgraph.exchange import xlsx

    return _found(incoming, xlsx.read(incoming))


def read_folder(incoming: Incoming) -> Found:
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


@dataclass
class _Gathered:
    """What has been made of the rows so far."""

    entries: list[tuple[int, Pairs, dict[str, Where]]] = field(default_factory=list)
    wrong: list[Problem] = field(default_factory=list)


def _found(incoming: Incoming, sheets: Sequence[Sheet]) -> Found:
    if incoming.mapping:
        path, data = incoming.mapping
        told = mappings.read(display(path), data, incoming.kind)
        plans = [(sheet, plan) for sheet in sheets if (plan := mappings.for_sheet(told, sheet))]
        notes = [f"sheet {s.name} is left out" for s in sheets if s.name and s not in [p[0] for p in plans]]
        faults = [p for sheet, plan in plans for p in _mapped_faults(sheet, plan)]
    else:
        plans = [(sheet, guess(sheet, incoming.kind)) for sheet in sheets]
        notes, faults = [], []
    faults += [p for sheet, plan in plans for p in _nameless(sheet)]
    if faults:
        raise CannotRun(*faults)
    gathered = _Gathered()
    for sheet, plan in plans:
        _read_rows(sheet, plan, gathered)
    ordered = sorted(gathered.entries, key=lambda e: e[0])
    guessed = [(sheet, plan) for sheet, plan in plans if not plan.sure]
    return Found(
        [pairs for _, pairs, _ in ordered],
        [places[""].line for _, _, places in ordered],
        notes,
        [places for _, _, places in ordered],
        mappings.text(plans) if guessed else "",
        [p for _, plan in plans for p in plan.doubts],
        [note for sheet in sheets for note in sheet.notes],
        gathered.wrong,
    )


def _nameless(sheet: Sheet) -> Iterator[Problem]:
    for number, cell in enumerate(sheet.header.cells, 1):
        if not cell.strip() and (row := next((r for r in sheet.rows if r.cells[number - 1].strip()), None)):
            says = (
                f"column {number} has no name, and holds {shown(row.cells[number - 1], 30)} in row {row.line}"
            )
            yield sheet.problem(sheet.header.line, number, "no-name", says, "name it in the first row")


def _read_rows(sheet: Sheet, plan: Plan, gathered: _Gathered) -> None:
    gathered.wrong += sheet.wrong
    at = {cell.strip(): i for i, cell in enumerate(sheet.header.cells)}
    for row in sheet.rows:
        places = {"": sheet.where(row.line)}
        try:
            pairs = _pairs(sheet, plan, row, at, places)
            order = _order(sheet, row, at)
        except _BadRow as bad:
            gathered.wrong.append(bad.problem)
            continue
        gathered.entries.append((order, pairs, places))


class _BadRow(Exception):
    def __init__(self, problem: Problem) -> None:
        self.problem = problem


def _order(sheet: Sheet, row: Row, at: Mapping[str, int]) -> int:
    text = row.cells[at[ORDER]].strip() if ORDER in at else ""
    if not text:
        return LAST
    if not (text.isascii() and text.isdigit() and len(text) < 16):
        says = f"{ORDER} is {shown(text, 30)}, not a whole number"
        raise _BadRow(sheet.problem(row.line, at[ORDER] + 1, "order", says, "leave it empty for a new row"))
    return int(text)


def _pairs(sheet: Sheet, plan: Plan, row: Row, at: Mapping[str, int], places: dict[str, Where]) -> Pairs:
    said: dict[str, Value] = {}
    for column in plan.columns:
        if not column.key:
            continue
        numbers = [at[name] for name in column.names]
        value = _value(sheet, column, row, numbers)
        if value is not None:
            said[column.key] = value
            places[column.key] = sheet.where(row.line, numbers[0] + 1)
    for key, value, _ in plan.constants:
        said.setdefault(key, value)
    if plan.kind not in said:
        number = next((at[c.names[0]] + 1 for c in plan.columns if c.key == plan.kind), 1)
        says = f"{plan.kind} has no {plan.kind}: in this row"
        raise _BadRow(sheet.problem(row.line, number, "missing-key", says, "fill in this cell"))
    return [(plan.kind, said.pop(plan.kind)), *said.items()]


def _value(sheet: Sheet, column: Column, row: Row, numbers: Sequence[int]) -> Value | None:
    values = []
    for number in numbers:
        try:
            values.append(read_cell(column.key, row.cells[number], sheet.csv, column.divide))
        except NotAValue:
            says = f"{shown(row.cells[number], 40)} begins like a list or mapping and is none"
            mend = "write [one, two] or {name: value}, or put the text in double quotes"
            raise _BadRow(sheet.problem(row.line, number + 1, "wrong-shape", says, mend)) from None
    found = [v for v in values if v is not None]
    if len(numbers) == 1 or not found:
        return found[0] if found else None
    if column.key in words.LISTS:
        return [item for v in found for item in (v if isinstance(v, list) else [v])]
    return " ".join(v if isinstance(v, str) else "" for v in found)


# What the mapping file says of a sheet --------------------------------------------------------


def _mapped_faults(sheet: Sheet, plan: Plan) -> Iterator[Problem]:
    """Every column of the table is named in the mapping, and every column of the mapping is there."""
    names = [cell.strip() for cell in sheet.header.cells if cell.strip()]
    told = {name for column in plan.columns for name in column.names}
    for number, cell in enumerate(sheet.header.cells, 1):
        if cell.strip() and cell.strip() not in told and cell.strip() != ORDER:
            says = f"the mapping says nothing of the column {shown(cell.strip())}"
            mend = "add an item for it, without a key to leave it out"
            yield sheet.problem(sheet.header.line, number, "unknown-column", says, mend)
    for column in plan.columns:
        for name in column.names:
            if name not in names:
                near = difflib.get_close_matches(name, names, 1)
                mend = f"did you mean {shown(near[0])}?" if near else f"it has {shown(', '.join(names), 200)}"
                says = f"{shown(sheet.name or sheet.file, 100)} has no column {shown(name)}"
                yield Problem(column.where, "unknown-column", says, mend)


# The guess ------------------------------------------------------------------------------------


def guess(sheet: Sheet, kind: str = "") -> Plan:
    """How the columns are most likely meant; raises CannotRun where nothing says what kind the rows are."""
    headers = [
        (n, c.strip(), header_key(c, sheet.csv)) for n, c in enumerate(sheet.header.cells, 1) if c.strip()
    ]
    kind = kind or (sheet.name if sheet.name in words.KINDS else "") or _kind(sheet, headers)
    ours = any(cell == ORDER for _, cell, _ in headers)
    plan = Plan(kind, sheet.name, sure=ours or all(key in keys_of(kind) for _, _, key in headers))
    keys: dict[str, int] = {}
    for number, cell, key in headers:
        if ours and cell != ORDER:
            # What this program wrote is meant as it is written.
            plan, keys[key] = plan.with_column(Column((cell,), key)), number
        elif cell != ORDER:
            plan = _with_column(sheet, plan, number, cell, key, keys)
    if kind == "set" and "set" not in keys and {"badge", "model"} <= keys.keys():
        names = tuple(c.names[0] for k in ("badge", "model") for c in plan.columns if c.key == k)
        plan = replace(plan, columns=(Column(names, "set"), *plan.columns))
    for key in required_of(kind):
        if key not in {c.key for c in plan.columns}:
            says = f"no column is the {key}: of a {kind} entry"
            plan = plan.doubting(
                sheet.problem(sheet.header.line, 1, "missing-key", says, "say by --map which it is")
            )
    return plan


def _with_column(sheet: Sheet, plan: Plan, number: int, cell: str, key: str, keys: dict[str, int]) -> Plan:
    meant, sure = _meant(plan.kind, key)
    line = sheet.header.line
    if meant in keys:
        says = f"the columns {shown(sheet.header.cells[keys[meant] - 1])} and {shown(cell)} both mean {meant}"
        doubt = sheet.problem(line, number, "column-twice", says, "say by --map which of them it is")
        return plan.with_column(Column((cell,), "")).doubting(doubt)
    plan = plan.with_column(Column((cell,), meant))
    if meant:
        keys[meant] = number
    if not sure:
        near = f"did you mean {meant}?" if meant else f"it may have {', '.join(keys_of(plan.kind))}"
        says = f"the column {shown(cell)} is no key of a {plan.kind} entry"
        return plan.doubting(sheet.problem(line, number, "unknown-column", says, near))
    return plan


def _meant(kind: str, text: str) -> tuple[str, bool]:
    """The key that the name of a column most likely means, "" for none, and whether that is safe to take."""
    known = [*keys_of(kind), *(NESTED_KEYS[:3] if kind == "part" else ())]
    if text in known:
        return text, True
    for key in known:
        if fold(key) == fold(text) and fold(text):
            return key, True
    if holds := _HOLDS.get(kind, {}).get(fold(text)):
        return holds, True
    if near := _near(text, known):
        return near, False
    # An attribute of the user's own: keys are written small, and so `Years` is the `years` of other sets.
    own = text[:1].lower() + text[1:] if text[1:].islower() else text
    return (own, True) if kind in words.THINGS else ("", False)


def _covered(kind: str, columns: Set[str]) -> set[str]:
    """The keys of a kind, folded, that columns stand for beyond doubt."""
    known = {fold(key) for key in keys_of(kind)}
    holds = {name: fold(key) for name, key in _HOLDS.get(kind, {}).items()}
    return (known & columns) | {key for name, key in holds.items() if name in columns}


_HOLDS = {
    "set": {"make": "badge", "maker": "badge", "brand": "badge"},
    "takes": {"part": "takes", "set": "in", "assembly": "in"},
    "uses": {"assembly": "uses", "set": "in"},
    "refuses": {"part": "refuses", "set": "in"},
    "stock": {"part": "stock"},
}
"""Kind of entry -> name of a column -> the key that holds such a thing, where only one can be meant."""


def _near(text: str, known: Sequence[str]) -> str:
    ratios = [(difflib.SequenceMatcher(None, fold(k), fold(text)).ratio(), k) for k in known]
    best, key = max(ratios, default=(0.0, ""))
    return key if best >= NEARLY else ""


def _kind(sheet: Sheet, headers: Sequence[tuple[int, str, str]]) -> str:
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
