"""A mapping file: which column of a table is which key. Read with every fault at its place, and written.

Each `kind:` begins what the rows are besides: one row can be a set, what it is built on and its belt.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from kgraph import records, words
from kgraph.exchange.sheets import TableSheet
from kgraph.folder.entry_keys import keys_of
from kgraph.folder.nodes import Map, Node, Seq, Text
from kgraph.folder.reading import read_bytes
from kgraph.folder.values import plain
from kgraph.folder.writing import Value, entry_text
from kgraph.names import did_you_mean
from kgraph.problems import CannotRun, Problem, Where, shown

AS = {"belt": "a belt as sellers write it", "volts": "a bare number is in volts"}
"""How the text of a cell can be read, as `as:` has it."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column, or several together, and the key that they are; no key: it is left out.

    `divide`: the signs that part a cell into several; `reads`: how its text is read, one of AS.
    """

    names: tuple[str, ...]
    key: str
    divide: tuple[str, ...] = ()
    where: Where | None = None
    reads: str = ""


@dataclass(frozen=True, slots=True)
class RowPlan:
    """How the rows of a sheet are read as entries of one kind; the first plan of a sheet is what it lists.

    `sure`: nothing of it was guessed; `doubts`: what nobody should take unasked; `rest_unused`: columns that
    no plan of the sheet names are left out.
    """

    kind: str
    sheet: str = ""
    columns: tuple[Column, ...] = ()
    constants: tuple[tuple[str, Value, Where | None], ...] = ()
    """Of each value that every row has: its key, the value, and where the mapping says so."""
    sure: bool = True
    doubts: tuple[Problem, ...] = ()
    rest_unused: bool = False
    as_written: bool = False
    """Whether the sheet is one of this program's own, whose cells are read letter for letter."""

    def with_column(self, column: Column) -> RowPlan:
        """The same plan with one more column."""
        return replace(self, columns=(*self.columns, column))

    def doubting(self, problem: Problem) -> RowPlan:
        """The same plan with one more doubt."""
        return replace(self, doubts=(*self.doubts, problem), sure=False)


def text(plans: Sequence[tuple[TableSheet, Sequence[RowPlan]]]) -> str:
    """The plans of each sheet as a mapping file that says the same."""
    items: list[list[tuple[str, Value]]] = []
    for sheet, several in plans:
        if len(plans) > 1:
            items.append([("sheet", sheet.name)])
        for plan in several:
            items.append([("kind", plan.kind)])
            items += [_item(column) for column in plan.columns]
            items += [[("key", key), ("value", value)] for key, value, _ in plan.constants]
    return "".join(map(entry_text, items))


def _item(column: Column) -> list[tuple[str, Value]]:
    said: list[tuple[str, Value]] = [("column", _one_or_list(column.names))]
    if column.key:
        said.append(("key", column.key))
    if column.divide:
        said.append(("divide", _one_or_list(column.divide)))
    return [*said, ("as", column.reads)] if column.reads else said


def _one_or_list(texts: Sequence[str]) -> Value:
    return texts[0] if len(texts) == 1 else list(texts)


def for_sheet(plans: Sequence[RowPlan], sheet: TableSheet) -> list[RowPlan]:
    """The plans that hold for a sheet; none where the mapping names its sheets and not this one."""
    return [p for p in plans if not p.sheet or p.sheet == sheet.name]


class _MappingFaults:
    def __init__(self, file: str) -> None:
        self.file = file
        self.found: list[Problem] = []

    def add(self, node: Node, says: str, mend: str = "") -> None:
        self.found.append(Problem(Where(self.file, node.line, node.column), "mapping", says, mend))


_ITEMS = ("kind", "column", "key", "sheet", "rest")


def read(file: str, data: bytes, kind: str) -> list[RowPlan]:
    """The plans of a mapping file; raises CannotRun with every fault. `kind` is that of the command line."""
    found = read_bytes(data, file)
    faults = _MappingFaults(file)
    faults.found += [p for p in found.problems if p.severity == "error"]
    plans = [RowPlan(kind)]
    for item in found.entries:
        first = item.pairs[0][0]
        if first.value == "sheet":
            plans.append(RowPlan(kind, _one_text(item, "sheet", faults)))
        elif first.value == "kind":
            if plans[-1].columns:
                plans.append(RowPlan(kind, plans[-1].sheet))
            plans[-1] = replace(plans[-1], kind=_kind_of(item, kind, faults))
        elif first.value == "rest":
            if _one_text(item, "rest", faults) != "unused":
                faults.add(item, "rest: can only be unused", "write rest: unused")
            plans[-1] = replace(plans[-1], rest_unused=True)
        elif first.value in ("column", "key"):
            plans[-1] = _with_item(plans[-1], item, faults)
        else:
            mend = did_you_mean(first.value, _ITEMS) or f"begin with one of {', '.join(_ITEMS)}"
            faults.add(first, f"an item of a mapping does not begin with {shown(first.value)}", mend)
    plans = [p for p in plans if p.columns or p.sheet]
    faults.found += [p for plan in plans for p in _plan_faults(file, plan)]
    if not plans and not faults.found:
        faults.found.append(Problem(Where(file), "mapping", "it names no column", "write - column: NAME"))
    if faults.found:
        raise CannotRun(*faults.found)
    return plans


def _one_text(item: Map, key: str, faults: _MappingFaults) -> str:
    node = item.get(key)
    if isinstance(node, Text) and node.value.strip():
        return node.value.strip()
    faults.add(node or item, f"{key}: needs one text")
    return ""


def _kind_of(item: Map, asked: str, faults: _MappingFaults) -> str:
    kind = _one_text(item, "kind", faults)
    if kind and kind not in words.KINDS:
        mend = did_you_mean(kind, words.KINDS) or f"use one of {', '.join(words.KINDS)}"
        faults.add(item, f"{shown(kind)} is not a kind of entry", mend)
    elif kind and asked and kind != asked:
        faults.add(item, f"the rows are {kind} here and {asked} by --kind", "say it once")
    return kind


def _with_item(plan: RowPlan, item: Map, faults: _MappingFaults) -> RowPlan:
    kinds = {"column": ("column", "key", "divide", "as"), "key": ("key", "value")}[item.pairs[0][0].value]
    for key, _ in item.pairs:
        if key.value not in kinds:
            mend = did_you_mean(key.value, kinds) or f"it may have {', '.join(kinds)}"
            faults.add(key, f"{shown(key.value)} does not belong here", mend)
    if kinds[0] == "key":
        value = item.get("value")
        if value is None:
            faults.add(item, "a key without a column needs a value:", "add value: ...")
            return plan
        where = Where(faults.file, item.line, item.column)
        constant = (_one_text(item, "key", faults), records.plain(plain(value)), where)
        return replace(plan, constants=(*plan.constants, constant))
    key_text = _one_text(item, "key", faults) if item.get("key") else ""
    divide = _texts(item, "divide", faults) if item.get("divide") else ()
    reads = _one_text(item, "as", faults) if item.get("as") else ""
    if reads and reads not in AS:
        faults.add(item, f"no cell is read as {shown(reads)}", f"use one of {', '.join(AS)}")
    if reads == "belt" and key_text not in ("takes", "part"):
        faults.add(item, "a cell that is read as a belt is the key takes or part", "give it one of the two")
    where = Where(faults.file, item.line, item.column)
    return plan.with_column(Column(_texts(item, "column", faults), key_text, divide, where, reads))


def _texts(item: Map, key: str, faults: _MappingFaults) -> tuple[str, ...]:
    """The texts of a key that may have one or a list of them."""
    node = item.get(key)
    if (
        isinstance(node, Seq)
        and node.items
        and all(isinstance(n, Text) and n.value.strip() for n in node.items)
    ):
        return tuple(n.value.strip() for n in node.items if isinstance(n, Text))
    return (_one_text(item, key, faults),)


def _plan_faults(file: str, plan: RowPlan) -> list[Problem]:
    """The mapping says what kind the rows are, and gives each key once, and only keys that the kind has."""
    faults: list[Problem] = []
    if not plan.kind:
        return [Problem(Where(file), "mapping", "it does not say what the rows are", "add - kind: KIND")]
    if plan.kind not in words.KINDS:
        return []
    # A key may have a column and a value: the value is then for rows in which the cell is empty.
    seen = {key for key, *_ in plan.constants}
    twice: set[str] = set()
    given = [(c.key, c.where) for c in plan.columns] + [(k, w) for k, _, w in plan.constants]
    for number, (key, where) in enumerate(given):
        if number < len(plan.columns) and key in twice:
            says = f"the key {shown(key)} is given twice"
            faults.append(Problem(where, "mapping", says, "take two columns together: column: [one, two]"))
        if key and plan.kind not in words.THINGS and key not in keys_of(plan.kind):
            mend = did_you_mean(key, keys_of(plan.kind)) or f"it may have {', '.join(keys_of(plan.kind))}"
            faults.append(Problem(where, "unknown-key", f"{plan.kind} has no key {shown(key)}", mend))
        seen |= {key} - {""}
        twice |= {key} - {""}
    if plan.kind not in seen:
        says = f"no column is the {plan.kind}: of the entries"
        faults.append(Problem(Where(file), "mapping", says, f"give one the key {plan.kind}"))
    return faults
