"""A list as cells, as a table on the screen, as JSON, and as one page to be printed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from kgraph import words
from kgraph.collection import Collection
from kgraph.listing import KINDS, List, ListRow
from kgraph.listing.rows import column as column_named
from kgraph.names import compared
from kgraph.records import SAID_BESIDE, Value, plain
from kgraph.render.answers import percent
from kgraph.render.printed import page_of
from kgraph.render.sentences import says
from kgraph.render.terminal import table
from kgraph.render.values import value_text

MOST_COLUMNS = 6
"""So many columns are shown where none are named."""
_OF_FACTS = ("fact", "certainty", "grade", "source", "by", "file", "line", "says")
_SURE = "certainty by "
_ASIDE = SAID_BESIDE | {"badge", "model", "also", "via", "corrects"}
"""Keys that are shown where they are asked for."""


def all_columns(found: List) -> list[str]:
    """Every column that a list can have: its keys, and how certain it is that the rules are met."""
    asked = dict.fromkeys(key for row in found.rows for key in row.certain)
    return [*found.keys, *(f"{_SURE}{key}" for key in asked)]


def usual_columns(found: List) -> list[str]:
    """The columns where none are named: what most rows have, in the order of the keys."""
    if found.kind == "facts":
        return list(_OF_FACTS)
    sure = [c for c in all_columns(found) if c.startswith(_SURE)]
    asked = {one.key for one in found.conditions}
    had = {key: sum(bool(row.values.get(key)) for row in found.rows) for key in found.keys}
    others = [k for k in found.keys[1:] if k not in _ASIDE or compared(k) in asked]
    first = sorted(others, key=lambda k: (compared(k) not in asked, -had[k]))
    kept = {*first[: MOST_COLUMNS - 1 - len(sure)]}
    return [found.keys[0], *sure, *(k for k in found.keys if k in kept)]


def chosen_columns(found: List, given: Sequence[str], whole: bool) -> list[str]:
    """The columns that were asked for; where none were, every one of the whole list, else the usual ones."""
    every = all_columns(found)
    asked = [name.strip() for text in given for name in text.split(",") if name.strip()]
    if asked and asked != ["all"]:
        # Of what no row has a column is empty, and no mistake.
        return [column_named(name, every) for name in asked]
    return every if whole or asked else usual_columns(found)


def cell(data: Collection, row: ListRow, column: str) -> Value:
    """What a row says in a column; several values of a key as one list."""
    if column.startswith(_SURE):
        chance = row.certain.get(column.removeprefix(_SURE))
        return "" if chance is None else f"{chance!r}"
    if column == "says":
        return says(data, row.fact) if row.fact else ""
    values = row.values.get(column, ())
    if len(values) == 1 and (column not in words.LISTS or not isinstance(values[0], str)):
        return values[0]
    if any(isinstance(value, Mapping) for value in values):
        return {k: v for value in values if isinstance(value, Mapping) for k, v in value.items()}
    each = [v for value in values for v in (value if isinstance(value, tuple) else (value,))]
    return tuple(dict.fromkeys(each)) if values else ""


def shown(data: Collection, row: ListRow, column: str) -> str:
    """The same for a reader: certainties in per cent."""
    value = cell(data, row, column)
    if value and isinstance(value, str) and (column.startswith(_SURE) or column == "certainty"):
        return percent(float(value))
    return value_text(value)


def as_text(data: Collection, found: List, columns: Sequence[str], terminal: bool) -> str:
    """The table; what a fact says stands below its row."""
    beside = [c for c in columns if c != "says"]
    rows = [[shown(data, row, c) for c in beside] for row in found.rows]
    below = [[shown(data, row, "says")] for row in found.rows] if "says" in columns else []
    return table(beside, rows, terminal, below)


def as_json(data: Collection, found: List, columns: Sequence[str]) -> dict[str, Any]:
    """The list as one object; a key of which nothing is recorded is left out."""
    where = [f"{one.key}={one.value}" for one in found.conditions]
    return {
        "question": {"command": "list", "kind": found.kind, "where": where},
        "columns": list(columns),
        "answers": [_row_json(data, row, columns) for row in found.rows],
        "notes": [],
    }


def _row_json(data: Collection, row: ListRow, columns: Sequence[str]) -> dict[str, Any]:
    made: dict[str, Any] = {}
    for column in columns:
        value = cell(data, row, column)
        if column.startswith(_SURE) or column == "certainty":
            made |= {column: float(value)} if isinstance(value, str) and value else {}
        elif value:
            made[column] = plain(value)
    return made


def page(data: Collection, found: List, columns: Sequence[str]) -> str:
    """One page of HTML for print."""
    where = ", ".join(f"{one.key}={one.value}" for one in found.conditions)
    return page_of(
        "list.html",
        title=f"{found.kind.capitalize()}{': ' if where else ''}{where}",
        columns=columns,
        rows=[[shown(data, row, c) for c in columns] for row in found.rows],
        count=f"{len(found.rows)} {found.kind if len(found.rows) != 1 else KINDS[found.kind]}",
    )
