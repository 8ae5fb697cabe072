"""Checks of the shelf: units, their sets, their places, and what was taken from whom."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from kgraph import records
from kgraph.checks.ground import Check, CheckGround, error, warning
from kgraph.events import Event
from kgraph.names import Name
from kgraph.problems import Problem, Where, command, shown
from kgraph.shelf.conditions import SPOILT, TAKEN, sounds_spoilt


def events_name_known_units(ground: CheckGround) -> Iterator[Problem]:
    """What was taken or given back comes from, and goes to, units that are declared."""
    known = ground.data.things["unit"]
    for entry in ground.entries:
        for key, unit in _units_of(entry):
            if ground.data.key("unit", unit.key) not in known:
                says = f"{entry.kind}: {key}: {shown(unit.text)} is no unit of this folder"
                mend = shown(ground.did_you_mean(unit.text, "unit"), 200) or command("add", "unit", unit.text)
                yield error(entry.where, "unknown-unit", says, mend)


def _units_of(entry: records.Entry) -> list[tuple[str, Name]]:
    if isinstance(entry, records.Taken):
        return [("from", entry.unit), *([("to", entry.to)] if entry.to else [])]
    if isinstance(entry, records.Inspected):
        return [("of", entry.unit)]
    return [("to", entry.to)] if isinstance(entry, records.Restored | records.Fitted) else []


def units_are_of_known_sets(ground: CheckGround) -> Iterator[Problem]:
    """The set that a unit is one of is declared, or some fact speaks of it."""
    for unit in _units(ground):
        if unit.set is None:
            continue
        key = ground.data.key("set", unit.set.key)
        uses = ground.by_name.get(("set", key), [])
        if key not in ground.data.things["set"] and all(isinstance(u.entry, records.Unit) for u in uses):
            says = f"unit {shown(unit.name.text)} is a {shown(unit.set.text)}, of which nothing is known"
            mend = shown(ground.did_you_mean(unit.set.text, "set"), 200) or command(
                "add", "set", unit.set.text
            )
            yield warning(unit.where, "unknown-set", says, mend)


def units_have_known_places(ground: CheckGround) -> Iterator[Problem]:
    """A place that a unit's `state` or `wants` names is named by something beside units."""
    on_shelf = (records.Unit, records.Done)
    for unit in _units(ground):
        named = [("state", n) for n, _ in unit.state] + [("wants", n) for n in unit.wants]
        for key, name in named:
            position = ground.data.key("position", name.key)
            uses = ground.by_name.get(("position", position), [])
            known = position in ground.data.things["position"] or ground.data.ground("position", position)
            if known or not all(isinstance(u.entry, on_shelf) for u in uses):
                continue
            says = f"unit {shown(unit.name.text)}: {key}: nothing else names the place {shown(name.text)}"
            mend = shown(ground.did_you_mean(name.text, "position"), 200) or command(
                "add", "position", name.text
            )
            yield warning(unit.where, "unknown-place", says, mend)


def _units(ground: CheckGround) -> list[records.Unit]:
    return [e for e in ground.entries if isinstance(e, records.Unit)]


def events_can_have_happened(ground: CheckGround) -> Iterator[Problem]:
    """Replayed in the order of reading, every event takes what is there, and settles what is owed."""
    yield from ground.shelf.problems


def events_stand_in_order_of_date(ground: CheckGround) -> Iterator[Problem]:
    """Of one unit no event is dated before one that is read earlier: events count in the order of reading."""
    told: set[int] = set()
    for history in ground.shelf.histories.values():
        last = ""
        for event in history:
            if not isinstance(event, Event) or not _ISO_DAY.fullmatch(event.date):
                continue
            if event.date < last and id(event) not in told:
                told.add(id(event))
                says = (
                    f"{event.kind} {shown(event.position.text)} is dated {event.date}, before one of {last}"
                )
                yield warning(event.where, "order-of-events", f"{says} that is read earlier", _ORDER)
            last = max(last, event.date)


_ISO_DAY = re.compile(r"\d{4}(-\d\d(-\d\d)?)?")
_ORDER = "events count in the order in which they are read: is a date wrong, or does it stand too far down?"


def conditions_are_plain(ground: CheckGround) -> Iterator[Problem]:
    """A condition that means that nothing is to be had says so in just one of the words for it."""
    for where, unit, name, condition in _conditions(ground):
        if sounds_spoilt(condition):
            says = f"unit {shown(unit)}: {shown(name)}: {shown(condition)} counts as there and whole"
            word = next((w for w in SPOILT - {TAKEN} if w in condition.lower()), "...")
            say = command("inspect", unit, name, word)
            mend = f"say one of {', '.join(sorted(SPOILT - {TAKEN}))} alone: {say}"
            yield warning(where, "unclear-condition", says, mend)


def _conditions(ground: CheckGround) -> Iterator[tuple[Where, str, str, str]]:
    """Where it stands, the unit, the place and the condition of every one that is told."""
    for unit in _units(ground):
        yield from ((unit.where, unit.name.text, name.text, text) for name, text in unit.state)
    for e in ground.entries:
        if isinstance(e, records.Inspected):
            yield e.where, e.unit.text, e.position.text, e.state


CHECKS: Sequence[Check] = (
    events_name_known_units,
    units_are_of_known_sets,
    units_have_known_places,
    events_can_have_happened,
    events_stand_in_order_of_date,
    conditions_are_plain,
)
