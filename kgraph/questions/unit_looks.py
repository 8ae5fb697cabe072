"""What was found at the places of units when somebody looked."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, NamedTuple

from kgraph import records
from kgraph.words import settles

if TYPE_CHECKING:
    from kgraph.collection import Collection


class UnitLook(NamedTuple):
    """What somebody found at a place of a unit when looking."""

    unit: str
    position: str
    state: str


def looks(data: Collection) -> Iterable[UnitLook]:
    """What was found at the places of units, as they came in and by each inspection; not what is asked."""
    return (look for look in _told(data) if settles(look.state))


def _told(data: Collection) -> Iterable[UnitLook]:
    for key, things in data.things["unit"].items():
        for thing in things:
            if isinstance(thing, records.Unit):
                for position, state in thing.state:
                    yield UnitLook(key, data.key("position", position.key), state)
    for entry in data.entries:
        if isinstance(entry, records.Inspected):
            at = data.key("position", entry.position.key)
            yield UnitLook(data.key("unit", entry.unit.key), at, entry.state)


def owners_of_unit(data: Collection, unit: str) -> Iterable[str]:
    """The set of a unit, or the sets where its entries differ."""
    units = (t for t in data.things["unit"].get(unit, ()) if isinstance(t, records.Unit))
    return sorted({f"s:{data.key('set', u.set.key)}" for u in units if u.set})
