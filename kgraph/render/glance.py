"""The grid of a set's places and own units, as one page of HTML for print. Computes nothing."""

from __future__ import annotations

from typing import NamedTuple

from kgraph.collection import Collection
from kgraph.questions import SCALE_NOTE
from kgraph.render.answers import caution_texts, each_once, percent
from kgraph.render.plan import set_name
from kgraph.render.printed import page_of
from kgraph.shelf.glance import Given, Grid, PlaceLine
from kgraph.shelf.plan import SOUND_NOTE


class Cell(NamedTuple):
    """What stands in a cell: how sure, what is said of it, and whether it can be given."""

    sure: str = ""
    says: str = ""
    usable: bool = True


class GridRow(NamedTuple):
    """A place: its name, its cautions by name, a cell for each unit, and the best other set."""

    place: str
    cautions: str
    cells: tuple[Cell, ...]
    other: str


class GridTable(NamedTuple):
    """The grid in words."""

    units: tuple[tuple[str, str], ...]
    rows: tuple[GridRow, ...]


def table(data: Collection, grid: Grid, sets: dict[str, str]) -> GridTable:
    """The grid in words; `sets`: unit -> its set."""
    units = tuple((data.text("unit", u), set_name(data, sets[u]) or "") for u in grid.units)
    return GridTable(units, tuple(_row(data, line) for line in grid.lines))


def _row(data: Collection, line: PlaceLine) -> GridRow:
    other = f"{data.owner_text(line.other.set)} {percent(line.other.certainty)}" if line.other else ""
    cells = tuple(_cell(data, line, given) for given in line.cells)
    return GridRow(data.text("position", line.position), ", ".join(line.cautions), cells, other)


def _cell(data: Collection, line: PlaceLine, given: Given | None) -> Cell:
    if given is None:
        return Cell()
    elsewhere = given.article.place != line.position
    place = [f"its {data.text('position', given.article.place)}"] if elsewhere else []
    if not given.usable:
        return Cell("", ", ".join([given.condition, *place]), False)
    state = given.condition or ("new" if given.looked else "not inspected")
    return Cell(percent(given.row.certainty), ", ".join([state, *place]))


def page(data: Collection, grid: Grid, sets: dict[str, str]) -> str:
    """The whole page."""
    cautions = each_once(c for line in grid.lines for c in line.cautions)
    return page_of(
        "grid.html",
        title=f"What own units give to {data.text('set', grid.set)}",
        table=table(data, grid, sets),
        cautions=caution_texts(data, cautions),
        notes=[SOUND_NOTE, SCALE_NOTE],
    )
