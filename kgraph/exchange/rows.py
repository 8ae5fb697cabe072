"""From the rows of a table to entries: one row may be several, each of the kind that its plan says."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import PurePath

from kgraph import words
from kgraph.belts.described import Described, described
from kgraph.exchange import as_kept
from kgraph.exchange.cells import ORDER, NotAValue, read_cell, whole_number
from kgraph.exchange.formats import Pairs, RowFault
from kgraph.exchange.mappings import Column, RowPlan
from kgraph.exchange.pieces import NotWhole, pieces
from kgraph.exchange.sheets import SheetRow, TableSheet
from kgraph.folder.writing import Value
from kgraph.problems import Problem, Where, shown
from kgraph.quantities import QuantityError
from kgraph.usual_keys import EVIDENCE, several

LAST = 1 << 62
LONGEST_NAME = 200
_BARE = re.compile(r"\d+(?:\.\d+)?\Z", re.ASCII)
_SCALES = frozenset({"source", "via", "grade", "caution", "withdraw"})
"""Kinds of entries that name no source, or are one."""
_EVIDENCE = frozenset(key.name for key in EVIDENCE)


@dataclass(frozen=True, slots=True)
class Made:
    """An entry that a row gave, where each of its keys stands, and the row: number of the sheet, and line."""

    order: int
    pairs: Pairs
    places: Mapping[str, Where]
    row: tuple[int, int]


@dataclass
class Gathered:
    """What has been made of the rows so far; `meant`: what was read with a meaning that is to be shown."""

    entries: list[Made] = field(default_factory=list)
    wrong: list[RowFault] = field(default_factory=list)
    asked: list[RowFault] = field(default_factory=list)
    meant: dict[str, Problem] = field(default_factory=dict)
    once: set[str] = field(default_factory=set)


class _BadRow(Exception):
    def __init__(self, problem: Problem) -> None:
        self.problem = problem


def read(number: int, sheet: TableSheet, plans: Sequence[RowPlan], gathered: Gathered) -> None:
    """Gather the entries of the rows of one sheet, and what is wrong with the others."""
    gathered.wrong += [RowFault(p, (number, p.where.line if p.where else 0)) for p in sheet.wrong]
    one = _Sheet(number, sheet, plans, gathered)
    for row in one.rows():
        try:
            made = list(one.entries(row))
        except _BadRow as bad:
            gathered.wrong.append(RowFault(bad.problem, (number, row.line)))
            continue
        gathered.entries += made


def is_name(kind: str, key: str) -> bool:
    """Whether a name stands under a key of a kind, so that a cell in pieces makes an entry of each."""
    if key in words.LISTS or key in words.MAPPINGS or key in several(kind):
        return False
    if kind in words.THINGS:
        return key in (kind, "badge", "model") or (kind == "unit" and key == "set")
    return key not in _EVIDENCE


class _Sheet:
    """One sheet while its rows are read."""

    def __init__(self, number: int, sheet: TableSheet, plans: Sequence[RowPlan], gathered: Gathered) -> None:
        self.number, self.sheet, self.plans, self.gathered = number, sheet, plans, gathered
        self.at = {cell.strip(): i for i, cell in enumerate(sheet.header.cells)}
        self.signs = {
            name: c.divide
            for plan in plans
            for c in plan.columns
            for name in c.names
            if c.divide and is_name(plan.kind, c.key)
        }

    def rows(self) -> Iterable[SheetRow]:
        """The rows that nobody need be asked about."""
        if self.plans[0].as_written:
            return self.sheet.rows
        used = [(p, c) for p in self.plans for c in p.columns if c.key]
        names = {n for p, c in used if c.key == p.kind or is_name(p.kind, c.key) for n in c.names}
        first = self.plans[0]
        heads = [n for c in first.columns if c.key in (first.kind, "in", "position") for n in c.names]
        notes = {n for _, c in used if c.key == "note" for n in c.names}
        notes |= {name for name in self.at if name not in {n for _, c in used for n in c.names}}
        made = as_kept.ready(self.sheet, names, list(dict.fromkeys(heads)), notes)
        self.gathered.asked += [
            RowFault(p, (self.number, p.where.line if p.where else 0)) for p in made.asked
        ]
        return made.rows

    def entries(self, row: SheetRow) -> Iterator[Made]:
        """The entries of one row, those of its first plan first; raises _BadRow."""
        order = self._order(row)
        whose = ""
        for number, plan in enumerate(self.plans):
            for cells in self._variants(plan, row):
                places = {"": self.sheet.where(row.line)}
                said = self._said(plan, row, cells, places)
                if number and (plan.kind not in said or (self._has(plan, "in") and "in" not in said)):
                    continue
                whose = whose or _text(said.get("in") or said.get(plan.kind))
                for pairs in self._pairs(plan, row, said, places, whose):
                    if len(self.plans) > 1 or pairs[0][0] != plan.kind:
                        key = repr(pairs)
                        if key in self.gathered.once:
                            continue
                        self.gathered.once.add(key)
                    yield Made(order, self._with_source(plan, row, pairs), places, (self.number, row.line))

    def _order(self, row: SheetRow) -> int:
        text = row.cells[self.at[ORDER]].strip() if ORDER in self.at else ""
        if not text:
            return LAST
        number = whole_number(text)
        if not (number.isascii() and number.isdigit() and len(number) < 16):
            says, column = f"{ORDER} is {shown(text, 30)}, not a whole number", self.at[ORDER] + 1
            raise _BadRow(self.sheet.problem(row.line, column, "order", says, "leave it empty for a new row"))
        return int(number)

    def _has(self, plan: RowPlan, key: str) -> bool:
        return any(c.key == key for c in plan.columns)

    def _variants(self, plan: RowPlan, row: SheetRow) -> Iterator[tuple[str, ...]]:
        """The cells of a row, once for each combination of the names that its divided cells hold."""
        used = {n for c in plan.columns if c.key for n in c.names}
        divided = [name for name in self.signs if name in used and row.cells[self.at[name]].strip()]
        if not divided:
            yield row.cells
            return
        found = [self._pieces(row, name) for name in divided]
        for chosen in itertools.product(*found):
            cells = list(row.cells)
            for name, piece in zip(divided, chosen, strict=True):
                cells[self.at[name]] = piece
            yield tuple(cells)

    def _pieces(self, row: SheetRow, name: str) -> list[str]:
        try:
            return pieces(row.cells[self.at[name]], self.signs[name])
        except NotWhole as short:
            says = (
                f"{shown(str(short))} in {shown(row.cells[self.at[name]], 40)} is short for nobody knows what"
            )
            raise self._bad(row, self.at[name], "piece", says, "write each name in full") from None

    def _bad(self, row: SheetRow, column: int, code: str, says: str, mend: str) -> _BadRow:
        return _BadRow(self.sheet.problem(row.line, column + 1, code, says, mend))

    def _said(
        self, plan: RowPlan, row: SheetRow, cells: tuple[str, ...], places: dict[str, Where]
    ) -> dict[str, Value]:
        said: dict[str, Value] = {}
        for column in plan.columns:
            if not column.key:
                continue
            numbers = [self.at[name] for name in column.names]
            value = self._value(plan, column, row, cells, numbers)
            if value is not None:
                said[column.key] = value
                places[column.key] = self.sheet.where(row.line, numbers[0] + 1)
        for key, value, _ in plan.constants:
            said.setdefault(key, value)
        return said

    def _value(
        self, plan: RowPlan, column: Column, row: SheetRow, cells: tuple[str, ...], numbers: Sequence[int]
    ) -> Value | None:
        values = []
        divide = () if is_name(plan.kind, column.key) else column.divide
        for number in numbers:
            try:
                values.append(read_cell(column.key, cells[number], self.sheet.csv, divide))
            except NotAValue:
                says = f"{shown(cells[number], 40)} begins like a list or mapping and is none"
                mend = "write [one, two] or {name: value}, or put the text in double quotes"
                raise self._bad(row, number, "wrong-shape", says, mend) from None
        found = [v for v in values if v is not None]
        if len(numbers) == 1 or not found:
            one = found[0] if found else None
            bare = column.reads == "volts" and isinstance(one, str) and _BARE.match(one)
            return f"{one} V" if bare else one
        if column.key in words.LISTS:
            return [item for v in found for item in (v if isinstance(v, list) else [v])]
        if words.is_mapping(plan.kind, column.key):
            return self._mapping(column, row, values, numbers)
        return " ".join(v if isinstance(v, str) else "" for v in found)

    def _mapping(
        self, column: Column, row: SheetRow, values: Sequence[Value | None], numbers: Sequence[int]
    ) -> Value | None:
        """Pairs of cells: in each the first is a name and the second what is said of it."""
        found: dict[str, Value] = {}
        for i, (name, value) in enumerate(zip(values[::2], values[1::2], strict=False)):
            if value is not None and not isinstance(name, str):
                says = f"{shown(_text(value), 40)} stands without the name that it is of"
                raise self._bad(row, numbers[2 * i], "pair", says, "fill in both cells, or neither")
            if isinstance(name, str) and value is not None:
                found[name] = value
        return found or None

    def _pairs(
        self, plan: RowPlan, row: SheetRow, said: dict[str, Value], places: dict[str, Where], whose: str
    ) -> Iterator[Pairs]:
        """The entry of a plan, the belt that it names before it where that is told by its sizes."""
        column = next((c for c in plan.columns if c.key == plan.kind), None)
        if plan.kind not in said:
            number = self.at[column.names[0]] if column else 0
            says = f"{plan.kind} has no {plan.kind}: in this row"
            raise self._bad(row, number, "missing-key", says, "fill in this cell")
        more: Pairs = []
        if column and column.reads == "belt" and isinstance(text := said[plan.kind], str):
            name, more = self._belt(
                plan, row, self.at[column.names[0]], text, _text(said.get("position")), whose
            )
            said[plan.kind] = name
        if more and plan.kind == "takes":
            yield [("part", said[plan.kind]), *more]
        elif more:
            said = {**dict(more), **said}
        yield [(plan.kind, said.pop(plan.kind)), *said.items()]

    def _belt(
        self, plan: RowPlan, row: SheetRow, column: int, text: str, position: str, whose: str
    ) -> tuple[str, Pairs]:
        """The name of a belt, and what is said of it; what is no whole size is nobody else's belt."""
        try:
            found = described(text)
        except QuantityError as error:
            raise self._bad(row, column, "belt", error.what, error.right) from None
        if found is None:
            return text, [("kind", "belt")]
        name = text if found.whole else self._own_name(found, position, whose, row)
        self._show(text, found, row, column)
        return name, [("kind", "belt"), *found.pairs]

    def _own_name(self, found: Described, position: str, whose: str, row: SheetRow) -> str:
        of = f" of {whose}" if whose else f" in row {row.line}"
        return f"{position or 'belt'}{of}, {found.size}"[:LONGEST_NAME]

    def _show(self, text: str, found: Described, row: SheetRow, column: int) -> None:
        says = f"{shown(text, 40)} is read as a belt with {found.says}"
        problem = self.sheet.problem(row.line, column + 1, "belt", says)
        self.gathered.meant.setdefault(text, problem._replace(severity="warning"))

    def _with_source(self, plan: RowPlan, row: SheetRow, pairs: Pairs) -> Pairs:
        """A fact or a thing with the table and the row that it stands in, unless it names a source."""
        if plan.as_written or pairs[0][0] in _SCALES or any(k == "source" for k, _ in pairs):
            return pairs
        sheet = f"sheet {self.sheet.name}, " if self.sheet.name and not self.sheet.csv else ""
        more: Pairs = [("source", source_of(self.sheet)), ("page", f"{sheet}row {row.line}")]
        return [*pairs, *(p for p in more if p[0] not in dict(pairs))]


def source_of(sheet: TableSheet) -> str:
    """The name of the source that a table is: that of its file."""
    return PurePath(sheet.file).name[:LONGEST_NAME]


def _text(value: Value | None) -> str:
    return value if isinstance(value, str) else ""
