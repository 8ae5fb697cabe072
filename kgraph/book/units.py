"""The pages of units: what each has, wants, went through and is owed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from kgraph import records, words
from kgraph.book.addresses import Ref
from kgraph.book.ground import BookGround, anchor
from kgraph.book.views import Photo
from kgraph.collection import NOT_KNOWN_YET
from kgraph.events import Event
from kgraph.names import Name
from kgraph.render.event_words import event_says, receiver
from kgraph.shelf.ledger import Held, Owed, UnitNow, is_known

APART = frozenset({"set", "role", "keep", "state", "wants"})
"""The keys of a unit's entry that its page shows in places of their own."""


@dataclass(frozen=True, slots=True)
class EventView:
    """One thing taken or given back; `settled` says when something owed came back."""

    what: str
    position: Ref
    unit: Ref | None
    to: Ref | None
    owed: bool
    by: str
    where: str
    settled: str = ""
    photos: tuple[Photo, ...] = ()


@dataclass(frozen=True, slots=True)
class HeldView:
    """What is at one place of a unit now, as far as anything is recorded of it."""

    position: Ref
    says: str
    origin: Ref | None


def unit_page(g: BookGround, key: str) -> dict[str, Any]:
    """A unit: what it has now, what it wants, what happened to it, what it is owed and owes."""
    now = g.shelf.units.get(key)
    wants = list(now.wants) if now else []
    owner = f"s:{now.set}" if now else ""
    known = now is not None and is_known(now.set)
    named = [c for p in wants for c in (*g.views.position_cautions(p), *g.part_cautions(owner, p))]
    return {
        "entries": g.views.entries("unit", key, APART),
        "set": g.views.ref("set", now.set) if now and known else None,
        "arrival": g.refs.get(("arrival", now.set)) if now else None,
        "unknown": NOT_KNOWN_YET if now and not known else "",
        "role": f"{now.role}: {words.ROLES_OF_UNITS.get(now.role, '')}" if now and now.role else "",
        "keep": f"{now.keep:g} of 10" if now else "",
        "wants": [_want(g, now, p) for p in wants] if now else [],
        "met": [g.views.ref("position", p) for p in now.met] if now else [],
        "held": [_held(g, now, h) for h in now.places.values() if h.condition or h.event] if now else [],
        "silent": sum(not (h.condition or h.event) for h in now.places.values()) if now else 0,
        "events": [event(g, e) for e in _history(g, key)],
        "owed": [_owed(g, o) for o in g.shelf.owed if o.unit == key],
        "owes": [_owed(g, o) for o in g.shelf.owed if o.to == key and o.settled is None],
        "cautions": g.views.cautions(named),
    }


def _want(g: BookGround, now: UnitNow, position: str) -> tuple[Ref, str]:
    """A wanted place, and the address of its donors on the page of the set."""
    ref = g.views.ref("position", position)
    known = position in g.places_of.get(now.set, ())
    return ref, f"{g.refs['set', now.set].href}#{anchor(ref.name)}" if known else ""


def _held(g: BookGround, now: UnitNow, held: Held) -> HeldView:
    says = held.condition or ("there" if held.usable else "not there")
    if held.part:
        says += f", part {g.data.text('part', held.part)}"
    if held.event is not None:
        did = f"{held.event.kind} {held.event.date}".strip()
        says = did if held.condition == held.event.kind else f"{says}, {did}"
    if held.found is not None:
        says = f"{says}, inspected {held.found.date}".rstrip()
    elsewhere = held.origin is not None and held.origin.owner != f"s:{now.set}"
    origin = g.views.owner(held.origin.owner) if held.origin is not None and elsewhere else None
    return HeldView(g.views.ref("position", held.position), says, origin)


def _history(g: BookGround, key: str) -> list[Event]:
    return [e for e in g.shelf.histories.get(key, ()) if isinstance(e, Event)]


def event(g: BookGround, entry: Event, settled: str = "") -> EventView:
    """An event in the shape that pages show."""
    return EventView(
        what=entry.kind,
        position=g.views.ref("position", g.data.key("position", entry.position.key)),
        unit=_unit(g, entry.unit) if isinstance(entry, records.Taken | records.Inspected) else None,
        to=_unit(g, receiver(entry)),
        owed=isinstance(entry, records.Taken) and entry.owed,
        by=", ".join(v for v in (entry.by, entry.date, entry.note) if v),
        where=g.views.where(entry.where),
        settled=settled,
        photos=g.views.photos(records.photos_of(entry), event_says(g.data, entry)),
    )


def _unit(g: BookGround, name: Name | None) -> Ref | None:
    return g.views.ref("unit", g.data.key("unit", name.key)) if name else None


def _owed(g: BookGround, owed: Owed) -> EventView:
    back = owed.settled
    says = f"given back {back.date or 'later'}, {g.views.where(back.where)}" if back else ""
    return event(g, owed.event, says)
