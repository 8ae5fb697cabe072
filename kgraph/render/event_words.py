"""An event of the shelf, as JSON and in words."""

from __future__ import annotations

from typing import Any

from kgraph import records
from kgraph.collection import Collection
from kgraph.collection.fact_ids import written_id
from kgraph.events import Event
from kgraph.names import Name

# What is owed ---------------------------------------------------------------------------------


def event_json(data: Collection, event: Event) -> dict[str, Any]:
    """An event of the shelf as one object."""
    out: dict[str, Any] = {
        "event": event.kind,
        "id": event.own_id.strip() or written_id(event),
        "position": data.text("position", data.key("position", event.position.key)),
        "from": unit_text(data, event.unit.key) if isinstance(event, records.Taken) else None,
        "to": unit_text(data, to.key) if (to := receiver(event)) else None,
        "by": event.by,
        "date": event.date,
        "note": event.note,
        "file": event.where.file,
        "line": event.where.line,
    }
    if isinstance(event, records.Taken):
        at = event.at or event.position
        out |= {"at": data.text("position", data.key("position", at.key)), "owed": event.owed}
    elif isinstance(event, records.Inspected):
        out |= {"of": unit_text(data, event.unit.key), "state": event.state}
    else:
        out["part"] = data.text("part", data.key("part", event.part.key)) if event.part else None
    if event.cost:
        out["cost"] = str(event.cost)
    return out if event.hours is None else {**out, "hours": event.hours}


def receiver(event: Event) -> Name | None:
    """The unit that something was put in."""
    return None if isinstance(event, records.Inspected) else event.to


def event_says(data: Collection, event: Event) -> str:
    """An event as one sentence without its full stop; the date first, where there is one."""
    position = data.text("position", data.key("position", event.position.key))
    date = f"{event.date}: " if event.date else ""
    if isinstance(event, records.Inspected):
        return f"{date}{position} of {unit_text(data, event.unit.key)} inspected: {event.state}"
    if isinstance(event, records.Fitted):
        part = data.text("part", data.key("part", event.part.key))
        return f"{date}{part} fitted to {unit_text(data, event.to.key)} as {position}"
    if isinstance(event, records.Restored):
        part = f", {data.text('part', data.key('part', event.part.key))}" if event.part else ""
        return f"{date}{position}{part} put in {unit_text(data, event.to.key)}"
    to = f", put in {unit_text(data, event.to.key)}" if event.to else ", put in no unit"
    at = data.text("position", data.key("position", event.at.key)) if event.at else position
    owed = ", owed back" if event.owed else ""
    return (
        f"{date}{position} taken from {unit_text(data, event.unit.key)}{to}{_elsewhere(at, position)}{owed}"
    )


def _elsewhere(at: str, position: str) -> str:
    return "" if at == position else f" as {at}"


def unit_text(data: Collection, name: str) -> str:
    """The name of a unit as it is written where it is declared."""
    return data.text("unit", data.key("unit", name))


def when(event: Event) -> str:
    return ", ".join(v for v in (event.date, event.by, f"{event.where.file}:{event.where.line}") if v)
