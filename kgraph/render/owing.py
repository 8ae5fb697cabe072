"""What donors are to get back, as JSON and as text."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from typing import Any

from kgraph.collection import Collection
from kgraph.render.event_words import event_json, when
from kgraph.render.plan import set_name
from kgraph.render.terminal import table
from kgraph.shelf.ledger import Owed, Shelf


def settle_by(data: Collection, owed: Owed) -> str:
    """The command that settles what is owed with another article."""
    place, unit = data.text("position", owed.position), data.text("unit", owed.unit)
    return f"kgraph add restored {shlex.quote(place)} --to {shlex.quote(unit)}"


def return_by(data: Collection, owed: Owed, now: str) -> str:
    """The command that settles it with the very article, now at a place of the unit that it went to."""
    place, unit, to = data.text("position", now), data.text("unit", owed.unit), data.text("unit", owed.to)
    at = f" --at {shlex.quote(data.text('position', owed.position))}" if now != owed.position else ""
    return f"kgraph take {shlex.quote(place)} --from {shlex.quote(to)} --to {shlex.quote(unit)}{at}"


def _now_in(data: Collection, shelf: Shelf, owed: Owed) -> str:
    """The place of the unit it went to where the very article still is, or ""; of a whole its own place."""
    unit = shelf.units.get(owed.to)
    put = data.key("position", owed.event.at.key) if owed.event.at else owed.position
    held = unit.places.get(put) if unit else None
    return put if held and held.event is owed.event and held.usable else ""


def owed_json(data: Collection, shelf: Shelf, found: Sequence[Owed], units: Sequence[str]) -> dict[str, Any]:
    """What is owed, as one object."""
    question: dict[str, Any] = {"command": "owed", **({"units": list(units)} if units else {})}
    return {"question": question, "answers": [one_owed_json(data, shelf, o) for o in found], "notes": []}


def one_owed_json(data: Collection, shelf: Shelf, owed: Owed) -> dict[str, Any]:
    now = _now_in(data, shelf, owed)
    return {
        "unit": data.text("unit", owed.unit),
        "set": set_name(data, shelf.units[owed.unit].set),
        "position": data.text("position", owed.position),
        "to": data.text("unit", owed.to) if owed.to else None,
        "still there at": data.text("position", now) if now else None,
        "by": owed.event.by,
        "date": owed.event.date,
        "note": owed.event.note,
        "file": owed.event.where.file,
        "line": owed.event.where.line,
        "settle": settle_by(data, owed) if owed.settled is None else None,
        "give back": return_by(data, owed, now) if now and owed.settled is None else None,
        "settled": event_json(data, owed.settled) if owed.settled else None,
    }


def owed_text(data: Collection, shelf: Shelf, found: Sequence[Owed], terminal: bool) -> str:
    """What is owed for a person, with the command that settles it."""
    rows = [
        [
            data.text("unit", o.unit),
            data.text("set", shelf.units[o.unit].set),
            data.text("position", o.position),
            data.text("unit", o.to) if o.to else "-",
            ", ".join(v for v in (o.event.date, o.event.by) if v) or "-",
        ]
        for o in found
    ]
    remarks = [_owed_remarks(data, shelf, o) for o in found]
    return table(("owed to", "set", "place", "went to", "taken"), rows, terminal, remarks)


def _owed_remarks(data: Collection, shelf: Shelf, owed: Owed) -> list[str]:
    note = [f"note: {owed.event.note}"] if owed.event.note else []
    if owed.settled:
        return [*note, f"given back: {when(owed.settled)}"]
    now = _now_in(data, shelf, owed)
    another = f"settle it with another: {settle_by(data, owed)}"
    if not now:
        return [*note, another]
    where = f"it is in {data.text('unit', owed.to)} still, at {data.text('position', now)}"
    return [*note, f"{where}; give it back: {return_by(data, owed, now)}", another]
