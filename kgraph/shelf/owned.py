"""Which of one's own units are of a set that is among the answers, and what is known of the place there."""

from __future__ import annotations

from kgraph.fits.graph import Facts
from kgraph.questions import Answer, Row
from kgraph.shelf.ledger import Shelf, UnitNow, shelf_now

NOT_INSPECTED = "not inspected"


def with_units(graph: Facts, answer: Answer) -> Answer:
    """The same answer, each row with the units that are of its set, and their state at its place."""
    if not graph.data.known("unit"):
        return answer
    shelf = shelf_now(graph)
    of_set: dict[str, list[UnitNow]] = {}
    for _, unit in sorted(shelf.units.items()):
        of_set.setdefault(f"s:{unit.set}", []).append(unit)
    return answer._replace(rows=tuple(_with(graph, of_set.get(r.set, []), r) for r in answer.rows))


def _with(graph: Facts, units: list[UnitNow], row: Row) -> Row:
    found = []
    for unit in units:
        held = unit.places.get(row.position)
        state = (held.condition if held else "") or NOT_INSPECTED
        found.append((graph.data.text("unit", unit.unit), state))
    return row._replace(units=tuple(found)) if found else row


def wants_of(shelf: Shelf, unit: str) -> tuple[str, tuple[str, ...]]:
    """The set of a unit, and the places at which it still wants something."""
    now = shelf.units[unit]
    return now.set, now.wants
