"""What is on the shelf now: what each unit has and wants, what is owed, and the loose parts that are left.

A unit has what its set has, less what its `state` says is not there or not whole, less what was taken, plus
what was put in. `state` is how the unit came in; events come after it, in the order in which they are read:
folders as named, files by their names, each from top to bottom. A date moves no event, for some have none and
one day may have many; `check` says where dates speak against that order. New events are written behind all
earlier ones (`cli/events.py`). Pure: it knows no file, no terminal and no clock.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from kgraph import questions, records, words
from kgraph.collection import UNKNOWN_SET, Collection
from kgraph.collection.fact_ids import written_id
from kgraph.events import Event, events_of
from kgraph.fits.graph import Graph, Place
from kgraph.names import Name
from kgraph.problems import Problem, Severity, command
from kgraph.shelf.conditions import TAKEN, is_missing, is_spoilt
from kgraph.shelf.wholes import parts_of_whole

KEEP = 5.0
"""What opening a unit costs that does not say."""


@dataclass(frozen=True, slots=True)
class Held:
    """What is at one place of a unit now.

    `condition` is the word of `state` or of the last inspection as written, `taken`, or "". `origin` is the
    place whose original the article is, `part` the part that it is where an event names one. `event` last
    put it there or took it away, `found` is the last inspection. `looked`: somebody saw what it is like, or
    it is new stock.
    """

    position: str
    condition: str
    origin: Place | None
    part: str | None
    usable: bool
    event: Event | None = None
    looked: bool = False
    found: records.Inspected | None = None


@dataclass(frozen=True, slots=True)
class UnitNow:
    """A unit as it is now. `opened`: something was taken from it before."""

    unit: str
    set: str
    role: str
    keep: float
    wants: tuple[str, ...]
    met: tuple[str, ...]
    places: Mapping[str, Held]
    opened: bool


@dataclass(frozen=True, slots=True)
class Owed:
    """Something that a unit is to get back at a place, and the event that settled it, if any did.

    What settles it: something given back to the place, or put in there from another unit.
    """

    event: records.Taken
    unit: str
    position: str
    to: str
    settled: Event | None = None


@dataclass(frozen=True, slots=True)
class Shelf:
    """The whole shelf now, with the events that cannot have happened as written."""

    units: Mapping[str, UnitNow]
    stock: Mapping[str, int]
    owed: tuple[Owed, ...] = ()
    problems: tuple[Problem, ...] = ()
    histories: Mapping[str, tuple[records.Entry, ...]] = field(default_factory=dict)


def shelf_now(graph: Graph) -> Shelf:
    """The shelf after all events that were not withdrawn."""
    replay = _Replay(graph)
    for event in events_of(graph.data):
        replay.happen(event)
    return replay.shelf()


def set_of(data: Collection, unit: str) -> str:
    """The key of the set that a unit is; while that is not known, one that stands for this unit alone."""
    named = (t.set for t in data.things["unit"].get(unit, ()) if isinstance(t, records.Unit) and t.set)
    first = next(named, None)
    return data.key("set", first.key) if first else UNKNOWN_SET + unit


def is_known(set_key: str) -> bool:
    """Whether the set that a unit stands for is known."""
    return not set_key.startswith(UNKNOWN_SET)


def _seen_places(data: Collection, entries: Iterable[records.Unit]) -> dict[str, str]:
    """Place -> the condition in which it was seen, of what was seen of a unit whose set is not known.

    What was seen is a place where a position is called so, and it is there.
    """
    seen = {data.key("position", n.key): texts for u in entries for n, texts in u.seen}
    here = {p: ", ".join(texts) for p, texts in seen.items() if data.knows("position", p)}
    there = {p: text for p, text in here.items() if text.strip().lower() not in words.FALSE_WORDS}
    return {p: "" if text.strip().lower() in words.TRUE_WORDS else text for p, text in there.items()}


def not_there(held: Held | None) -> str:
    """Why a place has nothing to take, in words; "" where it has, or where nothing is said of it."""
    if held is None or not (held.condition == TAKEN or is_missing(held.condition)):
        return ""
    if held.condition == TAKEN and held.event is not None:
        return f"it was taken at {held.event.where}"
    if held.found is not None:
        return f"it was found missing at {held.found.where}"
    if held.event is not None:
        return f"it was missing at {held.event.where}"
    return f"it came without it ({held.condition})"


@dataclass
class _UnitReplayed:
    """A unit while events are replayed; `asked` are all its wants, `met` those that are met."""

    key: str
    model: str
    role: str
    keep: float
    asked: tuple[str, ...]
    places: dict[str, Held]
    met: set[str] = field(default_factory=set)
    opened: bool = False
    history: list[records.Entry] = field(default_factory=list)

    def wants(self, position: str) -> bool:
        """Whether something is wanted at a place and not met yet."""
        return position in self.asked and position not in self.met

    def tell(self, event: Event) -> None:
        """Note an event of this unit."""
        self.history.append(event)

    def now(self) -> UnitNow:
        """The unit as it has come to be."""
        wants = tuple(p for p in self.asked if p not in self.met)
        met = tuple(p for p in self.asked if p in self.met)
        return UnitNow(self.key, self.model, self.role, self.keep, wants, met, self.places, self.opened)


class _Replay:
    """The shelf while events are replayed."""

    def __init__(self, graph: Graph) -> None:
        self.graph, self.data = graph, graph.data
        self.known_places: dict[str, list[str]] = {}
        self.wholes: dict[Place, tuple[str, ...]] = {}
        self.units = {key: self._unit(key, things) for key, things in self.data.things["unit"].items()}
        self.stock: dict[str, int] = defaultdict(int)
        for key, things in self.data.things["stock"].items():
            self.stock[key] += sum(t.count for t in things if isinstance(t, records.Stock))
        self.owed: list[Owed] = []
        self.problems: list[Problem] = []

    def _unit(self, key: str, things: Iterable[records.Thing]) -> _UnitReplayed:
        entries = [t for t in things if isinstance(t, records.Unit)]
        data = self.data
        set_key = set_of(data, key)
        state = {data.key("position", n.key): text for u in entries for n, text in u.state}
        asked = tuple(dict.fromkeys(data.key("position", n.key) for u in entries for n in u.wants))
        if set_key not in self.known_places:
            self.known_places[set_key] = questions.places_of(self.graph, set_key)
        if not is_known(set_key):
            state = _seen_places(data, entries) | state
        names = sorted({*self.known_places[set_key], *state})
        places = {p: self._first(set_key, p, state.get(p, "")) for p in names}
        role = next((u.role for u in entries if u.role), "")
        keep = next((u.keep for u in entries if u.keep is not None), KEEP)
        return _UnitReplayed(key, set_key, role, keep, asked, places, history=[*entries])

    def _first(self, set_key: str, position: str, condition: str) -> Held:
        origin = Place(f"s:{set_key}", position)
        return Held(
            position, condition, origin, None, not is_spoilt(condition), None, words.settles(condition)
        )

    def happen(self, event: Event) -> None:
        """Take one event in."""
        if isinstance(event, records.Taken):
            self._take(event)
        elif isinstance(event, records.Inspected):
            self._inspect(event)
        else:
            self._put_in(event)

    def _named(self, name: Name | None) -> _UnitReplayed | None:
        return self.units.get(self.data.key("unit", name.key)) if name else None

    def _say(self, event: Event, code: str, says: str, mend: str, severity: Severity = "error") -> None:
        self.problems.append(Problem(event.where, code, says, mend, severity))

    # Taken ------------------------------------------------------------------------------------

    def _take(self, event: records.Taken) -> None:
        giver, getter = self._named(event.unit), self._named(event.to)
        if giver is None:
            return
        for unit in dict.fromkeys(u.key for u in (giver, getter) if u):
            self.units[unit].tell(event)
        if giver is getter:
            self._say(event, "taken-from-itself", f"{event.unit.text} gives to itself", "name two units")
            return
        position = self.data.key("position", event.position.key)
        if not self._is_there(event, giver, position):
            return
        self._warn_if_spoilt(event, giver, getter, position)
        giver.opened = True
        at = self.data.key("position", event.at.key) if event.at else position
        pairs = {position: at, **{p: p for p in self._whole(giver, position) if p != position}}
        for taken, put in pairs.items():
            whole = self._move(event, giver, taken, getter, put)
            if getter and (taken == position or whole):
                getter.met.add(put)
                self._settle(getter, put, event)
        if event.owed:
            self.owed.append(Owed(event, giver.key, position, getter.key if getter else ""))

    def _is_there(self, event: records.Taken, giver: _UnitReplayed, position: str) -> bool:
        gone = not_there(giver.places.get(position))
        if not gone:
            return True
        says = f"{event.position.text} cannot be taken from {event.unit.text}: {gone}"
        wrong = command("withdraw", event.own_id.strip() or written_id(event), "--why", "...")
        self._say(event, "not-there", says, f"if this one is wrong: {wrong}")
        return False

    def _warn_if_spoilt(
        self, event: records.Taken, giver: _UnitReplayed, getter: _UnitReplayed | None, position: str
    ) -> None:
        held = giver.places.get(position)
        if getter and held and not held.usable:
            says = f"the {event.position.text} that {event.unit.text} gave was {held.condition}"
            self._say(event, "given-spoilt", says, "the want counts as met: is it?", "warning")

    def _whole(self, unit: _UnitReplayed, position: str) -> tuple[str, ...]:
        held = unit.places.get(position)
        if held and held.origin is None:
            return ()
        origin = held.origin if held and held.origin else Place(f"s:{unit.model}", position)
        if origin not in self.wholes:
            self.wholes[origin] = parts_of_whole(self.graph, origin.owner[2:], origin.position)
        return self.wholes[origin]

    def _move(
        self, event: records.Taken, giver: _UnitReplayed, taken: str, getter: _UnitReplayed | None, put: str
    ) -> bool:
        """Move what is at one place; whether it was there and whole. A want that it met is open again."""
        held = giver.places.get(taken) or self._first(giver.model, taken, "")
        if held.condition == TAKEN:
            return False
        giver.places[taken] = Held(taken, TAKEN, None, None, False, event)
        giver.met.discard(taken)
        if getter:
            getter.places[put] = replace(held, position=put, event=event)
        return held.usable

    # Inspected --------------------------------------------------------------------------------

    def _inspect(self, event: records.Inspected) -> None:
        """What was found at a place counts until something else is; a want is open again if it is spoilt."""
        unit = self._named(event.unit)
        if unit is None:
            return
        unit.tell(event)
        position = self.data.key("position", event.position.key)
        held = unit.places.get(position) or self._first(unit.model, position, "")
        if held.condition == TAKEN:
            self._say_of_gone(event, held)
            return
        usable = not is_spoilt(event.state)
        if not usable:
            unit.met.discard(position)
        unit.places[position] = replace(
            held, condition=event.state, usable=usable, looked=words.settles(event.state), found=event
        )

    def _say_of_gone(self, event: records.Inspected, held: Held) -> None:
        """Nothing is there to be found in any state but missing."""
        if not is_missing(event.state):
            says = f"{event.position.text} of {event.unit.text} cannot be {event.state}: {not_there(held)}"
            mend = f"say first what was put in: {command('add', 'restored', event.position.text)} ..."
            self._say(event, "not-there", says, mend)

    # Put in -----------------------------------------------------------------------------------

    def _put_in(self, event: records.Restored | records.Fitted) -> None:
        unit = self._named(event.to)
        if unit is None:
            return
        unit.tell(event)
        position = self.data.key("position", event.position.key)
        part = self.data.key("part", event.part.key) if event.part else None
        wanted = unit.wants(position)
        settled = self._settle(unit, position, event)
        used = self._use_up(event, part)
        if not settled and not wanted and not used and isinstance(event, records.Restored):
            says = f"{event.position.text} was given back to {event.to.text}, which was owed none"
            self._say(event, "not-owed", says, "is the unit or the place another one?", "warning")
        origin = None if part else Place(f"s:{unit.model}", position)
        # What a whole assembly took along comes back with it.
        along = [p for p, h in unit.places.items() if settled and h.event is settled and h.condition == TAKEN]
        for place in along:
            unit.places[place] = Held(place, "", Place(f"s:{unit.model}", place), None, True, event, True)
        unit.places[position] = Held(position, "", origin, part, True, event, True)
        unit.met.add(position)

    def _settle(self, unit: _UnitReplayed, position: str, event: Event) -> records.Taken | None:
        """Settle what a unit is owed at a place, the oldest first; the removal that it was owed for."""
        for number, owed in enumerate(self.owed):
            if (owed.unit, owed.position, owed.settled) == (unit.key, position, None):
                self.owed[number] = replace(owed, settled=event)
                return owed.event
        return None

    def _use_up(self, event: records.Restored | records.Fitted, part: str | None) -> bool:
        """Take one loose part of that name, or of another name that it has."""
        names = [part, *sorted(self.graph.alike_parts(part) - {part})] if part else []
        for name in names:
            if self.stock.get(name, 0) > 0:
                self.stock[name] -= 1
                return True
        fitted = isinstance(event, records.Fitted)
        if event.part and (fitted or any(name in self.stock for name in names)):
            says = f"no {event.part.text} was left in stock for {event.to.text}"
            self._say(event, "stock-used-up", says, "is the count in stock right?", "warning")
            return True
        return False

    def shelf(self) -> Shelf:
        """What has come of it."""
        return Shelf(
            {key: unit.now() for key, unit in self.units.items()},
            dict(self.stock),
            tuple(self.owed),
            tuple(self.problems),
            {key: tuple(unit.history) for key, unit in self.units.items()},
        )
