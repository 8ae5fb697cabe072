"""What was found at the places of units when somebody looked."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, NamedTuple

from kgraph import records
from kgraph.events import events_of
from kgraph.words import settles

if TYPE_CHECKING:
    from kgraph.collection import Collection


class UnitLook(NamedTuple):
    """What somebody found at a place of a unit when looking."""

    unit: str
    position: str
    state: str


def looks(data: Collection) -> Iterable[UnitLook]:
    """What was found at the places of units, as they came in and by each inspection that holds.

    A condition that only asks (`worn?`) says nothing.
    """
    return (look for look in _told(data) if settles(look.state))


def _told(data: Collection) -> Iterable[UnitLook]:
    for key, things in data.things["unit"].items():
        for thing in things:
            if isinstance(thing, records.Unit):
                for position, state in thing.state:
                    yield UnitLook(key, data.key("position", position.key), state)
    for event in events_of(data):
        if isinstance(event, records.Inspected):
            at = data.key("position", event.position.key)
            yield UnitLook(data.key("unit", event.unit.key), at, event.state)


def owners_of_unit(data: Collection, unit: str) -> Iterable[str]:
    """The set of a unit, or the sets where its entries differ."""
    units = (t for t in data.things["unit"].get(unit, ()) if isinstance(t, records.Unit))
    return sorted({f"s:{data.key('set', u.set.key)}" for u in units if u.set})
