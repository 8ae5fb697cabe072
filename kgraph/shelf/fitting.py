"""What to know before a loose part is put in a unit: whether one is left, where it goes, and why.

Pure: it looks and decides nothing. A fitting that cannot be is told by `gone`; all else is a warning.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from kgraph import questions
from kgraph.fits.graph import Graph, Place
from kgraph.problems import WrongUse
from kgraph.questions import Row
from kgraph.shelf.ledger import Shelf
from kgraph.shelf.offers import OfferSource
from kgraph.shelf.taking import ALL, about_row


@dataclass(frozen=True, slots=True)
class Fitting:
    """A loose part that is thought of for a place of a unit, all keys; `left` are in stock beside it."""

    part: str
    unit: str
    position: str
    left: int = 0
    gone: str = ""
    row: Row | None = None
    warnings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


def look(graph: Graph, shelf: Shelf, part: str, unit: str, position: str = "") -> Fitting:
    """What speaks for and against putting a loose part in a unit; WrongUse where its place is not known.

    Where none is named it is the one place of the unit at which the part goes, of several the wanted one.
    """
    names = [part, *sorted(graph.alike_parts(part) - {part})]
    count = sum(shelf.stock.get(name, 0) for name in names)
    source = OfferSource(graph, shelf, ALL)
    position = position or _place_for(source, part, unit)
    if not count:
        says = f"no {graph.data.text('part', part)} is left in stock"
        return Fitting(part, unit, position, gone=says)
    row = source.of_part(part, Place(f"s:{shelf.units[unit].set}", position))
    named = [n.text for n in graph.data.position_rules(position)[1]]
    named += [*(row.cautions if row else ()), *questions.part_cautions(graph.data, part).values()]
    return Fitting(
        part,
        unit,
        position,
        count - 1,
        "",
        row,
        tuple(_warnings(graph, shelf, unit, position, row)),
        tuple(dict.fromkeys(named)),
    )


def _place_for(source: OfferSource, part: str, unit: str) -> str:
    data, now = source.graph.data, source.shelf.units[unit]
    owner = f"s:{now.set}"
    rows = {p: source.of_part(part, Place(owner, p)) for p in {*now.places, *now.wants}}
    goes = [p for p, row in sorted(rows.items()) if row and row.standing != "refused"]
    wanted = [p for p in goes if p in now.wants]
    if len(goes) == 1 or len(wanted) == 1:
        return wanted[0] if len(wanted) == 1 else goes[0]
    name, on = data.text("part", part), data.text("unit", unit)
    if not goes:
        raise WrongUse(f"no fact says where {name} goes on {on}; say it with --at POSITION")
    places = ", ".join(data.text("position", p) for p in goes)
    raise WrongUse(f"{name} goes at several places of {on}: {places}; say which with --at POSITION")


def _warnings(graph: Graph, shelf: Shelf, unit: str, position: str, row: Row | None) -> Iterable[str]:
    data, now = graph.data, shelf.units[unit]
    there = f"{data.text('unit', unit)}, at {data.text('position', position)}"
    if now.role == "keep":
        yield f"{data.text('unit', unit)} is kept: it was not to be opened"
    yield from about_row(row, there)
    old = now.places.get(position)
    if old and old.usable and (old.condition or old.event) and position not in now.wants:
        yield f"{there} has one already, which is then loose: add it to stock if it is kept"
