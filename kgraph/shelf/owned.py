"""One's own units in questions: those of a set among the answers, and a unit where a set may stand."""

from __future__ import annotations

from typing import NamedTuple

from kgraph import words
from kgraph.collection import NOT_KNOWN_YET
from kgraph.fits.graph import Graph, Place
from kgraph.names import fold
from kgraph.problems import WrongUse, command
from kgraph.questions import Answer, Row
from kgraph.shelf.conditions import TAKEN
from kgraph.shelf.ledger import Held, Shelf, UnitNow, is_known, shelf_now

NOT_INSPECTED = "not inspected"


def own_shelf(graph: Graph) -> Shelf | None:
    """One's own units as they are now; None where there are none."""
    return shelf_now(graph) if any(graph.data.of_kind("unit", *words.EVENTS)) else None


def with_units(graph: Graph, answer: Answer, shelf: Shelf | None) -> Answer:
    """The same answer, each row with the units that are of its set, and their state at its place."""
    if shelf is None:
        return answer
    of_set: dict[str, list[UnitNow]] = {}
    for _, unit in sorted(shelf.units.items()):
        of_set.setdefault(f"s:{unit.set}", []).append(unit)
    return answer._replace(rows=tuple(_with(graph, of_set.get(r.set, []), r) for r in answer.rows))


def _with(graph: Graph, units: list[UnitNow], row: Row) -> Row:
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


class Meant(NamedTuple):
    """The words of a question with the set of a unit in the place of its name, and that unit."""

    words: tuple[str, ...]
    unit: UnitNow | None = None


def as_set(graph: Graph, given: tuple[str, ...]) -> Meant:
    """The words of a question that may begin with a unit; raises WrongUse for one whose set is not known."""
    data = graph.data
    for cut in range(1, len(given) + 1):
        name = fold(" ".join(given[:cut]))
        unit = data.key("unit", name)
        if not data.knows("unit", unit) or data.knows("set", data.key("set", name)):
            continue
        now = shelf_now(graph).units.get(unit)
        if now is None:
            break
        refuse_unknown_set(graph, now)
        return Meant((data.text("set", now.set), *given[cut:]), now)
    return Meant(given)


def refuse_unknown_set(graph: Graph, unit: UnitNow) -> None:
    """Raise WrongUse for a unit of which nobody knows what set it is, with what to do about it."""
    if not is_known(unit.set):
        name = graph.data.text("unit", unit.unit)
        todo = f"{command('identify', name)}, then {command('correct', name, 'set', 'NAME')}; or name a set"
        raise WrongUse(f"{name}: {NOT_KNOWN_YET}; {todo}")


def put_in(unit: UnitNow | None, position: str) -> Held | None:
    """What a unit has at a place that is not what its set has there; None where it is as in its set."""
    held = unit.places.get(position) if unit else None
    if unit is None or held is None:
        return None
    own = held.origin == Place(f"s:{unit.set}", position) and held.part is None
    return None if own and held.usable else held


def says_of(graph: Graph, unit: UnitNow | None, position: str) -> tuple[str, ...]:
    """What a unit has at a place, in words, where it is not just what its set has there."""
    data, held = graph.data, put_in(unit, position)
    if unit is None or held is None:
        return ()
    name, place = data.text("unit", unit.unit), data.text("position", position)
    if held.condition == TAKEN or not (held.part or held.usable):
        return (f"{name} has no good {place} now ({held.condition}); this is of its set.",)
    if held.part:
        what = data.text("part", held.part)
    else:
        what = f"that of {data.owner_text(held.origin.owner)}" if held.origin else "another"
    condition = f", {held.condition}" if held.condition else ""
    where = f" ({held.event.where})" if held.event else ""
    return (f"At {place} {name} has {what}{condition}{where}.",)
