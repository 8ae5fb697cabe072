"""The shelf, a removal and what is owed, as text and as JSON. Computes nothing."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Sequence
from typing import Any

from kgraph import records
from kgraph.collection import NOT_KNOWN_YET, written_id
from kgraph.names import fold
from kgraph.render.answers import caution_texts, certainty_text, fact_json, fact_line, percent
from kgraph.render.plan import lies_in, set_name
from kgraph.render.terminal import table, visible, wrapped
from kgraph.shelf.ledger import TAKEN, Event, Held, Owed, Shelf, is_known
from kgraph.shelf.overview import Loose, Overview, Seen
from kgraph.shelf.solve import Want
from kgraph.shelf.taking import OPENING, Taking
from kgraph.source.facts import Names

NAMES_SHOWN = 8
"""So many places are named on a line of the shelf; the rest are counted."""


def _sentence(text: str, terminal: bool) -> str:
    return wrapped(visible(text)) if terminal else visible(text) + "\n"


def cautions_text(data: Names, names: Iterable[str], terminal: bool) -> str:
    """Every caution in full, each after an empty line."""
    texts = caution_texts(data, names)
    return "".join("\n" + _sentence(f"Caution, {n}: {t}", terminal) for n, t in texts.items())


def with_opening(names: Iterable[str]) -> list[str]:
    """The cautions of opening a set, then these, each once."""
    once: dict[str, str] = {}
    for name in (*OPENING, *names):
        once.setdefault(fold(name), name)
    return list(once.values())


# A removal ------------------------------------------------------------------------------------


def taking_json(data: Names, found: Taking, owed: bool, written: Sequence[str]) -> dict[str, Any]:
    """A removal, written or refused, as one object."""
    asked = {
        "position": data.text("position", found.position),
        "from": data.text("unit", found.giver),
        "to": data.text("unit", found.getter) if found.getter else None,
        "at": data.text("position", found.at),
        "owed": owed,
    }
    out: dict[str, Any] = {"question": {"command": "take", **asked}, "answers": [], "refused": 1}
    if found.gone:
        return {**out, "written": [], "notes": [gone_text(data, found)]}
    answer = {**asked, **_taking_details(data, found)}
    texts = caution_texts(data, answer["cautions"])
    done = {"answers": [answer], "refused": 0, "written": list(written), "notes": [], "caution texts": texts}
    return {**out, **done}


def _taking_details(data: Names, found: Taking) -> dict[str, Any]:
    row = found.row
    return {
        "brings": [data.text("position", p) for p in found.brings],
        "standing": row.standing if row else None,
        "certainty": row.certainty if row else None,
        "bounds": list(row.bounds) if row and row.bounds else None,
        "work": list(row.work) if row else [],
        "differs": list(row.differs) if row else [],
        "proof": [fact_json(data, f) for f in row.proof] if row else [],
        "against": [fact_json(data, f) for f in row.against] if row else [],
        "counting": [{**_want_json(data, c.want), "certainty": c.certainty} for c in found.counting],
        "warnings": list(found.warnings),
        "cautions": with_opening(found.cautions),
    }


def _want_json(data: Names, want: Want) -> dict[str, str]:
    return {"unit": data.text("unit", want.unit), "want": data.text("position", want.position)}


def gone_text(data: Names, found: Taking) -> str:
    """Why there is nothing to take."""
    what, unit = data.text("position", found.position), data.text("unit", found.giver)
    return f"the {what} cannot be taken from {unit}: {found.gone}; nothing was written"


def taking_text(data: Names, found: Taking, terminal: bool) -> str:
    """A removal for a person: what goes where, why, the warnings, the cautions."""
    where = f"to {data.text('unit', found.getter)}" if found.getter else "to no unit"
    at = f", at {data.text('position', found.at)}" if found.at != found.position else ""
    head = f"{data.text('position', found.position)} from {data.text('unit', found.giver)} {where}{at}"
    out = _sentence(head, terminal)
    if found.brings:
        names = ", ".join(data.text("position", p) for p in found.brings)
        out += _sentence(f"comes off whole, with: {names}", terminal)
    if found.row:
        row = found.row
        out += _sentence(f"goes there: {row.standing}, {certainty_text(row)}", terminal)
        out += "".join(fact_line(data, f) + "\n" for f in row.proof) or "  the same place of the same set\n"
        out += (
            "  against it:\n" + "".join(fact_line(data, f) + "\n" for f in row.against) if row.against else ""
        )
        out += "".join(_sentence(f"work: {w}", terminal) for w in row.work)
        out += _sentence(f"the sets differ in: {', '.join(row.differs)}", terminal) if row.differs else ""
    out += "".join(_sentence(f"warning: {w}", terminal) for w in found.warnings)
    return out + cautions_text(data, with_opening(found.cautions), terminal) + "\n"


# What is owed ---------------------------------------------------------------------------------


def event_json(data: Names, event: Event) -> dict[str, Any]:
    """An event of the shelf as one object."""
    out: dict[str, Any] = {
        "event": event.kind,
        "id": event.own_id.strip() or written_id(event),
        "position": data.text("position", data.key("position", event.position.key)),
        "from": unit_text(data, event.unit.key) if isinstance(event, records.Taken) else None,
        "to": unit_text(data, event.to.key) if event.to else None,
        "by": event.by,
        "date": event.date,
        "note": event.note,
        "file": event.where.file,
        "line": event.where.line,
    }
    if isinstance(event, records.Taken):
        at = event.at or event.position
        out |= {"at": data.text("position", data.key("position", at.key)), "owed": event.owed}
    else:
        out["part"] = data.text("part", data.key("part", event.part.key)) if event.part else None
    return out


def event_says(data: Names, event: Event) -> str:
    """An event as one sentence without its full stop; the date first, where there is one."""
    position = data.text("position", data.key("position", event.position.key))
    date = f"{event.date}: " if event.date else ""
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


def unit_text(data: Names, name: str) -> str:
    """The name of a unit as it is written where it is declared."""
    return data.text("unit", data.key("unit", name))


def settle_by(data: Names, owed: Owed) -> str:
    """The command that settles what is owed with another article."""
    place, unit = data.text("position", owed.position), data.text("unit", owed.unit)
    return f"kgraph add restored {shlex.quote(place)} --to {shlex.quote(unit)}"


def return_by(data: Names, owed: Owed, now: str) -> str:
    """The command that settles it with the very article, now at a place of the unit that it went to."""
    place, unit, to = data.text("position", now), data.text("unit", owed.unit), data.text("unit", owed.to)
    at = f" --at {shlex.quote(data.text('position', owed.position))}" if now != owed.position else ""
    return f"kgraph take {shlex.quote(place)} --from {shlex.quote(to)} --to {shlex.quote(unit)}{at}"


def _now_in(shelf: Shelf, owed: Owed) -> str:
    """The place of the unit it went to where the very article still is, or ""."""
    unit = shelf.units.get(owed.to)
    places = unit.places.values() if unit else ()
    return next((h.position for h in places if h.event is owed.event and h.usable), "")


def owed_json(data: Names, shelf: Shelf, found: Sequence[Owed], units: Sequence[str]) -> dict[str, Any]:
    """What is owed, as one object."""
    question: dict[str, Any] = {"command": "owed", **({"units": list(units)} if units else {})}
    return {"question": question, "answers": [_owed_json(data, shelf, o) for o in found], "notes": []}


def _owed_json(data: Names, shelf: Shelf, owed: Owed) -> dict[str, Any]:
    now = _now_in(shelf, owed)
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


def owed_text(data: Names, shelf: Shelf, found: Sequence[Owed], terminal: bool) -> str:
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


def _owed_remarks(data: Names, shelf: Shelf, owed: Owed) -> list[str]:
    note = [f"note: {owed.event.note}"] if owed.event.note else []
    if owed.settled:
        return [*note, f"given back: {_when(owed.settled)}"]
    now = _now_in(shelf, owed)
    another = f"settle it with another: {settle_by(data, owed)}"
    if not now:
        return [*note, another]
    where = f"it is in {data.text('unit', owed.to)} still, at {data.text('position', now)}"
    return [*note, f"{where}; give it back: {return_by(data, owed, now)}", another]


def _when(event: Event) -> str:
    return ", ".join(v for v in (event.date, event.by, f"{event.where.file}:{event.where.line}") if v)


# The shelf ------------------------------------------------------------------------------------


def shelf_json(data: Names, found: Overview, units: Sequence[str]) -> dict[str, Any]:
    """The shelf with every place of every unit."""
    question: dict[str, Any] = {"command": "shelf", **({"units": list(units)} if units else {})}
    return {
        "question": question,
        "answers": [_unit_json(data, found.shelf, u) for u in found.units],
        "stock": [_loose_json(data, s) for s in found.stock],
        "notes": [],
    }


def _unit_json(data: Names, shelf: Shelf, seen: Seen) -> dict[str, Any]:
    now = seen.now
    named = data.text
    return {
        "unit": named("unit", now.unit),
        "set": set_name(data, now.set),
        "role": now.role or None,
        "keep": now.keep,
        "opened": now.opened,
        "gives": [named("position", h.position) for h in seen.gives],
        "waited for": [
            {"position": named("position", p), "for": [_waiting_json(data, w, c) for w, c in waiting]}
            for p, waiting in seen.waited_for.items()
        ],
        "wants": [named("position", p) for p in now.wants],
        "met": [named("position", p) for p in now.met],
        "owed": [_owed_json(data, shelf, o) for o in seen.owed],
        "owes": [_owed_json(data, shelf, o) for o in seen.owes],
        "places": [held_json(data, h) for h in now.places.values()],
    }


def _waiting_json(data: Names, want: Want, certainty: float) -> dict[str, Any]:
    return {**_want_json(data, want), "certainty": certainty}


def held_json(data: Names, held: Held) -> dict[str, Any]:
    """What is at a place of a unit now, as one object."""
    origin = held.origin
    return {
        "position": data.text("position", held.position),
        "condition": held.condition or None,
        "usable": held.usable,
        "part": data.text("part", held.part) if held.part else None,
        "made for": data.owner_text(origin.owner) if origin else None,
        "made for position": data.text("position", origin.position) if origin else None,
        "event": event_json(data, held.event) if held.event else None,
    }


def _loose_json(data: Names, loose: Loose) -> dict[str, Any]:
    return {
        "part": data.text("part", loose.part),
        "count": loose.left,
        "counted": loose.counted,
        "where": lies_in(data, loose.part) or None,
        "waited for": [_waiting_json(data, w, c) for w, c in loose.waited_for],
    }


def shelf_text(data: Names, found: Overview, terminal: bool, full: bool) -> str:
    """The shelf for a person: a line and its remarks for each unit; `full` tells every place as well."""
    out = ""
    if full:
        out = "\n".join(_unit_text(data, u, terminal) for u in found.units)
    elif found.units:
        rows = [_unit_cells(data, u) for u in found.units]
        remarks = [_unit_remarks(data, u) for u in found.units]
        out = table(("unit", "set", "role", "whole", "wants"), rows, terminal, remarks)
    if found.stock:
        rows = [
            [data.text("part", s.part), f"{s.left} of {s.counted}", lies_in(data, s.part) or "-"]
            for s in found.stock
        ]
        said = [[f"for {_waiting(data, s.waited_for)}"] if s.waited_for else [] for s in found.stock]
        out += ("\n" if out else "") + table(("loose part", "left", "where"), rows, terminal, said)
    return out


def _unit_cells(data: Names, seen: Seen) -> list[str]:
    now = seen.now
    wants = f"{len(now.wants)} open" if now.wants else f"all {len(now.met)} met" if now.met else "-"
    whole = sum(h.usable for h in now.places.values())
    names = [data.text("unit", now.unit), set_name(data, now.set) or NOT_KNOWN_YET, now.role or "-"]
    return [*names, f"{whole} of {len(now.places)}", wants]


def _unit_remarks(data: Names, seen: Seen) -> list[str]:
    """What a unit gives, wanted things first; what it waits for; what it is owed and owes."""
    said = []
    asked = [f"{data.text('position', p)} ({_waiting(data, w)})" for p, w in seen.waited_for.items()]
    if asked:
        said.append(f"others wait for: {'; '.join(asked)}")
    rest = [data.text("position", h.position) for h in seen.gives if h.position not in seen.waited_for]
    if rest:
        said.append(f"{'also gives' if asked else 'gives'}: {_cut(rest)}")
    if seen.now.wants:
        said.append(f"waits for: {', '.join(data.text('position', p) for p in seen.now.wants)}")
    said += [f"is owed: {data.text('position', o.position)}{_by_whom(data, o)}" for o in seen.owed]
    said += [f"owes {data.text('unit', o.unit)}: {data.text('position', o.position)}" for o in seen.owes]
    return said


def _by_whom(data: Names, owed: Owed) -> str:
    went = f"went to {data.text('unit', owed.to)}" if owed.to else ""
    inside = ", ".join(v for v in (went, owed.event.date) if v)
    return f" ({inside})" if inside else ""


def _waiting(data: Names, waiting: Sequence[tuple[Want, float]]) -> str:
    return ", ".join(_one_waiting(data, w, c) for w, c in waiting)


def _one_waiting(data: Names, want: Want, certainty: float) -> str:
    return f"{data.text('unit', want.unit)} {data.text('position', want.position)} {percent(certainty)}"


def _cut(names: Sequence[str]) -> str:
    more = len(names) - NAMES_SHOWN
    return ", ".join(names[:NAMES_SHOWN]) + (f" and {more} more" if more > 0 else "")


def _unit_text(data: Names, seen: Seen, terminal: bool) -> str:
    """One unit with every place of it; those of which nothing is said on one line."""
    head = f"{data.text('unit', seen.now.unit)}: {', '.join(_unit_cells(data, seen)[1:3])}"
    out = _sentence(head, terminal)
    for remark in _unit_remarks(data, seen):
        out += wrapped(visible(remark), "  ") if terminal else f"  {visible(remark)}\n"
    said = [h for h in seen.now.places.values() if h.condition or h.event]
    rows = [[data.text("position", h.position), held_text(h), made_for(data, seen.now.set, h)] for h in said]
    out += table(("place", "now", "comes from"), rows, terminal) if rows else ""
    rest = [data.text("position", h.position) for h in seen.now.places.values() if h not in said]
    silent = "nothing said, so as in its set" if is_known(seen.now.set) else "seen, and nothing said of it"
    return out + (_sentence(f"{silent}: {', '.join(rest)}", terminal) if rest else "")


def held_text(held: Held) -> str:
    """What is at a place, in words."""
    if held.condition == TAKEN:
        return f"taken, {_when(held.event)}" if held.event else TAKEN
    return held.condition or "there"


def made_for(data: Names, own_set: str, held: Held) -> str:
    """Where the article at a place comes from, where that is not the unit itself."""
    event = held.event
    if event is None or held.condition == TAKEN:
        return ""
    part = f"{data.text('part', held.part)}, " if held.part else ""
    if isinstance(event, records.Taken):
        origin = held.origin
        made = f", of {data.owner_text(origin.owner)}" if origin and origin.owner != f"s:{own_set}" else ""
        return f"{part}from {unit_text(data, event.unit.key)}{made}"
    return f"{part}put in {_when(event)}"
