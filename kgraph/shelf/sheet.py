"""The job sheet of a unit: how it came in, what was done to it, on what evidence, and what remains.

The evidence is that of the facts as they stand now, not as they stood when the work was done.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from kgraph import records
from kgraph.collection import Collection
from kgraph.events import Event
from kgraph.fits.graph import Graph, Place
from kgraph.mains import OPENING
from kgraph.money import Money
from kgraph.names import fold
from kgraph.questions import SCALE_NOTE, SIZE_NOTE, Row, part_cautions
from kgraph.shelf.conditions import TAKEN, is_spoilt
from kgraph.shelf.ledger import Held, Owed, Shelf, UnitNow, shelf_now
from kgraph.shelf.offers import OfferSource
from kgraph.shelf.taking import ALL, may_not_go

SURE = 0.9
"""What is less certain is doubtful on a sheet: a scale of our own."""


@dataclass(frozen=True, slots=True)
class FittedArticle:
    """What stands at a place and was put in: the event, what it is, and the answer that it goes there."""

    held: Held
    event: Event
    row: Row | None


@dataclass(frozen=True, slots=True)
class PlaceInDoubt:
    """A place and what is doubtful about it."""

    position: str
    says: str


@dataclass(frozen=True, slots=True)
class JobSheet:
    """All that stands on a job sheet; `found` are (place, condition) as written, in the order written."""

    now: UnitNow
    entries: tuple[records.Unit, ...]
    found: tuple[tuple[str, str], ...]
    events: tuple[Event, ...]
    fitted: tuple[FittedArticle, ...]
    left: tuple[Held, ...]
    doubts: tuple[PlaceInDoubt, ...]
    owed: tuple[Owed, ...]
    owes: tuple[Owed, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    spent: tuple[Spent, ...] = ()


@dataclass(frozen=True, slots=True)
class Spent:
    """Money paid, or hours of work, for the unit itself or in an event."""

    entry: records.Unit | Event
    cost: Money | None
    hours: float | None


def sheet_of(graph: Graph, unit: str) -> JobSheet:
    """The job sheet of a unit (key)."""
    shelf = shelf_now(graph)
    now, data = shelf.units[unit], graph.data
    entries = tuple(t for t in data.things["unit"][unit] if isinstance(t, records.Unit))
    found = {data.key("position", n.key): text for u in entries for n, text in u.state}
    source = OfferSource(graph, shelf, ALL)
    fitted = tuple(FittedArticle(h, h.event, _why(source, now, h)) for h in _put_in(now) if h.event)
    left = tuple(h for h in now.places.values() if not h.usable)
    events = tuple(e for e in shelf.histories[unit] if isinstance(e, Event))
    return JobSheet(
        now=now,
        entries=entries,
        found=tuple(found.items()),
        events=events,
        fitted=fitted,
        left=left,
        doubts=tuple(_doubts(graph, fitted, now)),
        owed=tuple(o for o in shelf.owed if o.unit == unit and o.settled is None),
        owes=tuple(o for o in shelf.owed if o.to == unit and o.settled is None),
        cautions=_cautions(graph, shelf, unit, fitted, events),
        notes=tuple(_notes(fitted)),
        spent=tuple(_spent([*entries, *events], unit, data)),
    )


def _spent(entries: Iterable[records.Unit | Event], unit: str, data: Collection) -> Iterable[Spent]:
    """What was spent on a unit; what was taken off it for another was spent on that one."""
    for entry in entries:
        for_other = isinstance(entry, records.Taken) and entry.to and data.key("unit", entry.to.key) != unit
        if not for_other and (entry.cost is not None or entry.hours is not None):
            yield Spent(entry, entry.cost, entry.hours)


def _put_in(now: UnitNow) -> list[Held]:
    return [h for h in now.places.values() if h.event and h.condition != TAKEN]


def _why(source: OfferSource, now: UnitNow, held: Held) -> Row | None:
    """The answer for what is at a place; None where no fact speaks of it."""
    place = Place(f"s:{now.set}", held.position)
    rows = [
        source.of_part(held.part, place) if held.part else None,
        source.answers(place).get(held.origin) if held.origin else None,
    ]
    return max((r for r in rows if r), key=lambda r: r.certainty, default=None)


def _doubts(graph: Graph, fitted: Sequence[FittedArticle], now: UnitNow) -> Iterable[PlaceInDoubt]:
    for one in fitted:
        for says in _doubts_of(graph, one, now):
            yield PlaceInDoubt(one.held.position, says)
    for held in now.places.values():
        if " ".join(held.condition.lower().split()) == "altered":
            yield PlaceInDoubt(
                held.position, "altered by somebody before: what is there is not what the set had"
            )
        elif held.usable and held.event is None and held.condition.strip().endswith("?"):
            yield PlaceInDoubt(held.position, f"not sure: {held.condition}")


def _doubts_of(graph: Graph, one: FittedArticle, now: UnitNow) -> Iterable[str]:
    row = one.row
    if is_spoilt(one.held.condition):
        yield f"what was put in is {one.held.condition}"
    if row is None:
        own = Place(f"s:{now.set}", one.held.position)
        if isinstance(one.event, records.Restored) and one.held.part is None and one.held.origin == own:
            yield "given back without a word on which article it is"
        else:
            yield "no fact says that it goes there"
            yield from may_not_go(graph, one.held.origin, own) if one.held.origin else ()
        return
    if row.standing == "refused" and row.against:
        yield "it is recorded that it does not go there"
    if row.standing == "disputed":
        yield "something recorded speaks against its going there"
    if row.certainty < SURE:
        yield f"it is only {100 * row.certainty:.0f} % certain that it goes there"
    if "size" in row.basis:
        yield "it goes by equal size alone"
    yield from row.warnings


def _cautions(
    graph: Graph, shelf: Shelf, unit: str, fitted: Sequence[FittedArticle], events: Sequence[Event]
) -> tuple[str, ...]:
    """Of opening the set, of every place touched or still open, and of the parts put in; each once."""
    data, now = graph.data, shelf.units[unit]
    touched = [*(data.key("position", e.position.key) for e in events), *now.wants]
    touched += [h.position for h in now.places.values() if h.condition or h.event]
    names = [*OPENING, *(n.text for p in touched for n in data.position_rules(p)[1])]
    names += [c for one in fitted if one.row for c in one.row.cautions]
    names += [c for one in fitted if one.held.part for c in part_cautions(data, one.held.part).values()]
    once: dict[str, str] = {}
    for name in names:
        once.setdefault(fold(name), name)
    return tuple(once.values())


def _notes(fitted: Sequence[FittedArticle]) -> Iterable[str]:
    rows = [one.row for one in fitted if one.row]
    if rows:
        yield "The evidence is that of the facts as they stand now."
    if any("size" in r.basis for r in rows):
        yield SIZE_NOTE
    if rows:
        yield SCALE_NOTE
