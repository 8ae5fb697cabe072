"""The shelf, a removal and what is owed, as text and as JSON. Computes nothing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from kgraph import records
from kgraph.collection import NOT_KNOWN_YET, Collection
from kgraph.names import listed
from kgraph.render.answers import (
    caution_texts,
    cautions_text,
    certainty_text,
    fact_json,
    fact_line,
    percent,
    with_opening,
)
from kgraph.render.event_words import event_json, unit_text, when
from kgraph.render.owing import one_owed_json
from kgraph.render.plan import lies_in, set_name
from kgraph.render.terminal import table, visible, wrapped
from kgraph.shelf.conditions import TAKEN
from kgraph.shelf.ledger import Held, Owed, Shelf, is_known
from kgraph.shelf.overview import LooseStock, Overview, UnitOverview
from kgraph.shelf.taking import Taking
from kgraph.shelf.task import Want

NAMES_SHOWN = 8
"""So many places are named on a line of the shelf; the rest are counted."""


def _sentence(text: str, terminal: bool) -> str:
    return wrapped(visible(text)) if terminal else visible(text) + "\n"


# A removal ------------------------------------------------------------------------------------


def taking_json(data: Collection, found: Taking, owed: bool, written: Sequence[str]) -> dict[str, Any]:
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


def _taking_details(data: Collection, found: Taking) -> dict[str, Any]:
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


def _want_json(data: Collection, want: Want) -> dict[str, str]:
    return {"unit": data.text("unit", want.unit), "want": data.text("position", want.position)}


def gone_text(data: Collection, found: Taking) -> str:
    """Why there is nothing to take."""
    what, unit = data.text("position", found.position), data.text("unit", found.giver)
    return f"the {what} cannot be taken from {unit}: {found.gone}; nothing was written"


def taking_text(data: Collection, found: Taking, terminal: bool) -> str:
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


# The shelf ------------------------------------------------------------------------------------


def shelf_json(data: Collection, found: Overview, units: Sequence[str]) -> dict[str, Any]:
    """The shelf with every place of every unit."""
    question: dict[str, Any] = {"command": "shelf", **({"units": list(units)} if units else {})}
    return {
        "question": question,
        "answers": [_unit_json(data, found.shelf, u) for u in found.units],
        "stock": [_loose_json(data, s) for s in found.stock],
        "notes": list(found.notes),
    }


def _unit_json(data: Collection, shelf: Shelf, seen: UnitOverview) -> dict[str, Any]:
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
        "owed": [one_owed_json(data, shelf, o) for o in seen.owed],
        "owes": [one_owed_json(data, shelf, o) for o in seen.owes],
        "places": [held_json(data, h) for h in now.places.values()],
    }


def _waiting_json(data: Collection, want: Want, certainty: float) -> dict[str, Any]:
    return {**_want_json(data, want), "certainty": certainty}


def held_json(data: Collection, held: Held) -> dict[str, Any]:
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
        "inspected": event_json(data, held.found) if held.found else None,
    }


def _loose_json(data: Collection, loose: LooseStock) -> dict[str, Any]:
    return {
        "part": data.text("part", loose.part),
        "count": loose.left,
        "counted": loose.counted,
        "where": lies_in(data, loose.part) or None,
        "waited for": [_waiting_json(data, w, c) for w, c in loose.waited_for],
    }


def shelf_text(data: Collection, found: Overview, terminal: bool, full: bool) -> str:
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


def _unit_cells(data: Collection, seen: UnitOverview) -> list[str]:
    now = seen.now
    wants = f"{len(now.wants)} open" if now.wants else f"all {len(now.met)} met" if now.met else "-"
    whole = sum(h.usable for h in now.places.values())
    names = [data.text("unit", now.unit), set_name(data, now.set) or NOT_KNOWN_YET, now.role or "-"]
    return [*names, f"{whole} of {len(now.places)}", wants]


def _unit_remarks(data: Collection, seen: UnitOverview) -> list[str]:
    """What a unit gives, wanted things first; what it waits for; what it is owed and owes."""
    said = []
    asked = [f"{data.text('position', p)} ({_waiting(data, w)})" for p, w in seen.waited_for.items()]
    if asked:
        said.append(f"others wait for: {'; '.join(asked)}")
    rest = [data.text("position", h.position) for h in seen.gives if h.position not in seen.waited_for]
    if rest:
        said.append(f"{'also gives' if asked else 'gives'}: {listed(rest, NAMES_SHOWN)}")
    if seen.now.wants:
        said.append(f"waits for: {', '.join(data.text('position', p) for p in seen.now.wants)}")
    said += [f"is owed: {data.text('position', o.position)}{_by_whom(data, o)}" for o in seen.owed]
    said += [f"owes {data.text('unit', o.unit)}: {data.text('position', o.position)}" for o in seen.owes]
    return said


def _by_whom(data: Collection, owed: Owed) -> str:
    went = f"went to {data.text('unit', owed.to)}" if owed.to else ""
    inside = ", ".join(v for v in (went, owed.event.date) if v)
    return f" ({inside})" if inside else ""


def _waiting(data: Collection, waiting: Sequence[tuple[Want, float]]) -> str:
    return ", ".join(_one_waiting(data, w, c) for w, c in waiting)


def _one_waiting(data: Collection, want: Want, certainty: float) -> str:
    return f"{data.text('unit', want.unit)} {data.text('position', want.position)} {percent(certainty)}"


def _unit_text(data: Collection, seen: UnitOverview, terminal: bool) -> str:
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
        return f"taken, {when(held.event)}" if held.event else TAKEN
    found = held.found
    looked = f", inspected {found.date}" if found and found.date else ", inspected" if found else ""
    return f"{held.condition or 'there'}{looked}"


def made_for(data: Collection, own_set: str, held: Held) -> str:
    """Where the article at a place comes from, where that is not the unit itself."""
    event = held.event
    if event is None or held.condition == TAKEN:
        return ""
    part = f"{data.text('part', held.part)}, " if held.part else ""
    if isinstance(event, records.Fitted):
        return f"{part}from stock, fitted {when(event)}"
    if isinstance(event, records.Taken):
        origin = held.origin
        made = f", of {data.owner_text(origin.owner)}" if origin and origin.owner != f"s:{own_set}" else ""
        return f"{part}from {unit_text(data, event.unit.key)}{made}"
    return f"{part}put in {when(event)}"
