"""All that is known of a thing, and the names near a text."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TypeVar

from kgraph import records, trade, words
from kgraph.claims import UsesClaim
from kgraph.collection import Collection, shown_name
from kgraph.collection.fact_ids import ids_by_other_names, saying_id, thing_id, written_id
from kgraph.collection.sayings import FACT_TYPES
from kgraph.collection.taken_back import GoneThing
from kgraph.events import Event, withdrawn_events
from kgraph.facts import Fact
from kgraph.fits.graph import Graph
from kgraph.names import fold, listed, nearest
from kgraph.problems import Problem, WrongUse
from kgraph.shelf.ledger import Shelf, UnitNow, shelf_now


@dataclass(frozen=True, slots=True)
class KnownThing:
    """One thing: the entries that declare it, the facts that name it, and other entries that do."""

    kind: str
    key: str
    name: str
    things: tuple[records.Thing, ...]
    facts: tuple[Fact, ...]
    mentions: tuple[records.Entry, ...]
    unit: UnitNow | None = None
    """A unit as it is now."""
    history: tuple[Event, ...] = ()
    """Of a unit: what was taken from it and put in, in order."""
    withdrawn: tuple[tuple[Event, records.Withdraw], ...] = ()
    """Of a unit: events that were taken back."""
    left: int | None = None
    """Of loose parts: how many are left."""
    gone: tuple[tuple[Fact, records.Withdraw], ...] = ()
    """Facts about it that were withdrawn."""
    taken_back: tuple[GoneThing, ...] = ()
    """Entries that declared it and were taken back."""
    ground: tuple[records.Thing, ...] = ()
    """What the trade's ground says of it."""


@dataclass(frozen=True, slots=True)
class NearName:
    """A name near a text: of what kind of thing, and how it was met."""

    kind: str
    name: str
    met: str
    by: str


def show(graph: Graph, text: str) -> list[KnownThing]:
    """Every thing with this name, whatever its kind, or the thing of the entry with this id.

    What only the ground of the trade knows is shown where nothing of the folder has the name. Raises WrongUse
    with the nearest names.
    """
    data = graph.data
    wanted = fold(text)
    found = [_known(data, kind, key) for kind in words.THINGS for key in _keys(data, kind, wanted)]
    left_out = data.key("position", wanted)
    if not found and data.leaves_out(left_out):
        facts, name = tuple(data.leaving_out(left_out)), data.text("position", left_out)
        found = [KnownThing("feature", left_out, name, (), facts, ())]
    below = () if found else [(kind, data.key(kind, wanted)) for kind in trade.KINDS]
    found += [_known(data, kind, key) for kind, key in below if data.ground(kind, key)]
    if not found and (thing := thing_with_id(data, text)):
        found = [_known(data, thing.kind, data.key(thing.kind, thing.name.key))]
    if not found:
        known = [n for kind in words.THINGS for n in data.known(kind).values()]
        of_trade = [n for kind in trade.KINDS for n in trade.spellings(kind).values()]
        near = nearest(text, known) or nearest(text, of_trade)
        mend = f"did you mean {' or '.join(near)}?" if near else "see `kgraph find`"
        raise WrongUse(Problem(None, "unknown-name", f"nothing is called {text!r}", mend))
    if not any(k.kind in ("unit", "stock") for k in found):
        return found
    shelf = shelf_now(graph)
    return [_on_shelf(data, shelf, k) for k in found]


def _on_shelf(data: Collection, shelf: Shelf, known: KnownThing) -> KnownThing:
    """A unit with its history, loose parts with what is left of them; anything else as it is."""
    if known.kind == "stock":
        return replace(known, left=shelf.stock.get(known.key, 0), mentions=_without_stock(known.mentions))
    if known.kind != "unit" or known.key not in shelf.units:
        return known
    history = tuple(e for e in shelf.histories[known.key] if isinstance(e, Event))
    gone = tuple((e, by) for e, by in withdrawn_events(data) if any(e is m for m in known.mentions))
    others = tuple(e for e in known.mentions if not isinstance(e, Event))
    now = shelf.units[known.key]
    return replace(known, unit=now, history=history, withdrawn=gone, mentions=others)


def _without_stock(mentions: tuple[records.Entry, ...]) -> tuple[records.Entry, ...]:
    return tuple(e for e in mentions if not isinstance(e, records.Stock))


_ID = re.compile(r"[0-9a-f]{16}")
"""An id that was made of what a statement says."""


def fact_with_id(data: Collection, text: str) -> Fact | None:
    """The fact with this id, withdrawn ones too."""
    wanted = text.strip()
    return data.by_id(wanted) or (_had_id(data, wanted) if _ID.fullmatch(wanted) else None)


def _had_id(data: Collection, wanted: str) -> Fact | None:
    """The fact that has an id by other names of its things, or by one saying alone."""
    for record in data.entries:
        if not isinstance(record, FACT_TYPES):
            continue
        if wanted == saying_id(record.pairs) or wanted in ids_by_other_names(data, record):
            every = (*data.facts.values(), *(f for f, _ in data.withdrawn.values()))
            return next((f for f in every if any(e.where == record.where for e in f.evidence)), None)
    return None


def fact_as_said(data: Collection, text: str) -> Fact | None:
    """The same; of a pair that is said with unlike exceptions only what has this id."""
    fact, wanted = fact_with_id(data, text), text.strip()
    pieces = data.told_otherwise.get(fact.id, ()) if fact else ()
    return next((f for f in pieces if wanted in f.ids or wanted == f.id), fact)


def thing_with_id(data: Collection, text: str) -> records.Thing | None:
    """The first entry of a thing with this id, one that was taken back too."""
    things = (e for e in data.entries if isinstance(e, records.Thing))
    return next((t for t in things if thing_id(t) == text.strip()), None)


def event_with_id(data: Collection, text: str) -> Event | None:
    """The last event of the shelf with this id, its own or that of what it says; taken back ones too."""
    return _last_with_id(text, (e for e in data.of_kind(*words.EVENTS) if isinstance(e, Event)))


def event_or_withdrawal(data: Collection, text: str) -> Event | records.Withdraw | None:
    """The last event with this id, else the last withdrawal with it."""
    withdrawals = (e for e in data.of_kind("withdraw") if isinstance(e, records.Withdraw))
    return event_with_id(data, text) or _last_with_id(text, withdrawals)


LEAST_OF_ID = 6
"""So many characters of the beginning of an id stand for it, where no other id begins so."""
_BEGINNING = re.compile(rf"[0-9a-f]{{{LEAST_OF_ID},15}}")


def whole_id(data: Collection, text: str) -> str:
    """The id that begins with a text, as a screen shows ids; what is no such beginning comes back as it is.

    Raises WrongUse where the ids of several facts, events or entries of things begin so.
    """
    wanted = text.strip().casefold()
    if not _BEGINNING.fullmatch(wanted) or fact_with_id(data, text) or event_or_withdrawal(data, text):
        return text
    found: dict[str, str] = {}
    for fact in (*data.facts_as_said(), *(f for f, _ in data.withdrawn.values())):
        if begun := [i for i in (fact.id, *fact.ids) if i.startswith(wanted)]:
            found[fact.id] = begun[0]
    for entry in data.entries:
        if isinstance(entry, Event | records.Withdraw | records.Thing):
            own = thing_id(entry) if isinstance(entry, records.Thing) else written_id(entry)
            found |= {own: own} if own.startswith(wanted) else {}
    if len(found) > 1:
        these = listed(sorted(found.values()), MOST_BEGINNING)
        raise WrongUse(
            Problem(None, "ambiguous-id", f"{len(found)} ids begin with {text}", f"say which: {these}")
        )
    return next(iter(found.values()), text)


MOST_BEGINNING = 5
"""So many ids are named that begin alike."""
_Said = TypeVar("_Said", bound=records.Statement)


def _last_with_id(text: str, said: Iterable[_Said]) -> _Said | None:
    wanted = text.strip()
    given = reversed(list(said))
    return next((e for e in given if wanted and wanted in (e.own_id.strip(), written_id(e))), None)


def _keys(data: Collection, kind: str, wanted: str) -> list[str]:
    key = data.key(kind, wanted)
    here = key in data.things[kind] or key in data.spelt[kind]
    numbered = data.parts_numbered(wanted) if kind == "part" else set()
    return sorted({key, *numbered} if here else numbered)


def _known(data: Collection, kind: str, key: str) -> KnownThing:
    naming = data.naming(kind, key)
    facts, gone = data.told_by(kind, naming)
    if kind in ("position", "assembly"):
        facts = list({f.id: f for f in (*facts, *data.leaving_out(key))}.values())
    told = {id(e.where) for f in (*facts, *(f for f, _ in gone)) for e in f.evidence}
    others = (e for e in naming if not isinstance(e, records.Withdraw))
    things = tuple(data.things[kind].get(key, ()))
    return KnownThing(
        kind,
        key,
        data.text(kind, key),
        things,
        tuple(facts),
        tuple(e for e in others if id(e.where) not in told),
        gone=tuple(gone),
        taken_back=tuple(
            (t, by)
            for t, by in data.gone_things.values()
            if t.kind == kind and data.key(kind, t.name.key) == key
        ),
        ground=data.ground(kind, key),
    )


def _loose(text: str) -> str:
    """A name with everything but its letters and digits taken out: past what identity keeps."""
    return "".join(c for c in fold(text) if c.isalnum())


NEAR = 20
"""So many names at most that are spelt nearly so."""


def find(data: Collection, text: str) -> list[NearName]:
    """Names near a text, in order: the same name, one that holds it, what is recorded so, a near spelling."""
    wanted = _loose(text)
    if not wanted:
        raise WrongUse(f"{text!r} has no letter and no digit to look for")
    met: dict[tuple[str, str], tuple[int, NearName]] = {}
    for kind, name, by in _spellings(data):
        loose = _loose(by)
        how = "same" if loose == wanted else "holds" if wanted in loose else ""
        if how:
            rank = (how != "same") * 1000 + len(loose)
            kept = met.get((kind, name))
            if kept is None or rank < kept[0]:
                met[kind, name] = (rank, NearName(kind, name, how, by))
    found = [f for _, f in sorted(met.values(), key=lambda m: (m[0], m[1].kind, m[1].name))]
    found += [f for f in found_values(data, wanted) if (f.kind, f.name) not in met]
    return found or _near(data, wanted)


def _spellings(data: Collection) -> Iterable[tuple[str, str, str]]:
    for key, text in data.features.items():
        if data.leaves_out(key) and key not in data.known("position"):
            yield "feature", text, text
    for kind in words.THINGS:
        for key, name in data.known(kind).items():
            yield kind, name, name
            below = (n for t in data.ground(kind, key) for n in (t.name, *t.also))
            yield from ((kind, name, n.text) for n in below if data.key(kind, n.key) == key)
        for things in data.things[kind].values():
            for thing in things:
                yield from ((kind, shown_name(things), n.text) for n in thing.also)
                if isinstance(thing, records.SetModel):
                    yield kind, shown_name(things), thing.model
                if isinstance(thing, records.Part):
                    yield from ((kind, shown_name(things), n) for _, n in thing.numbers)


def _near(data: Collection, wanted: str) -> list[NearName]:
    import difflib

    by_loose: dict[str, list[tuple[str, str, str]]] = {}
    for spelling in _spellings(data):
        by_loose.setdefault(_loose(spelling[2]), []).append(spelling)
    close = difflib.get_close_matches(wanted, by_loose, n=NEAR, cutoff=0.6)
    found = [NearName(kind, name, "near", by) for c in close for kind, name, by in by_loose[c]]
    return list(dict.fromkeys(found))[:NEAR]


# What is recorded -----------------------------------------------------------------------------


def found_values(data: Collection, wanted: str) -> list[NearName]:
    """Things of which a value or a note holds the text; an assembly leads to what is built on it."""
    found: dict[tuple[str, str], NearName] = {}
    for kind in words.THINGS:
        for key, things in data.things[kind].items():
            by = next((b for t in things for b in _values_holding(t, wanted)), "")
            if by:
                name = data.text(kind, key)
                found.setdefault((kind, name), NearName(kind, name, "value", by))
                for owner in _built_on(data, key) if kind == "assembly" else ():
                    of = "set" if owner[0] == "s" else "assembly"
                    row = NearName(of, data.owner_text(owner), "built on", f"{name}: {by}")
                    found.setdefault((of, row.name), row)
    noted = any(isinstance(e, records.Statement) and wanted in _loose(e.note) for e in data.with_notes())
    for fact in data.facts.values() if noted else ():
        note = next((e.note for e in fact.evidence if wanted in _loose(e.note)), "")
        if note:
            found.setdefault((fact.kind, fact.id), NearName(fact.kind, fact.id, "note", note))
    return list(found.values())


def _values_holding(thing: records.Thing, wanted: str) -> Iterable[str]:
    """What an entry says that holds the text, with its key; names are found as names."""
    names = {thing.kind, "also", "positions", "must match", "caution", "wants", "set"}
    for key, value in thing.pairs:
        if key not in names:
            yield from (f"{key}: {text}" for text in _texts(value) if wanted in _loose(text))


def _texts(value: records.Value) -> Iterable[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple | list):
        for inner in value:
            yield from _texts(inner)
    elif hasattr(value, "items"):
        for key, inner in value.items():
            yield from (f"{key} {text}" for text in _texts(inner))


def _built_on(data: Collection, assembly: str) -> list[str]:
    """The sets and assemblies that are built on an assembly, through others too."""
    users: dict[str, list[str]] = {}
    for fact in data.facts.values():
        if fact.kind == "uses":
            uses = fact.of(UsesClaim)
            users.setdefault(uses.assembly, []).append(uses.owner)
    found: dict[str, None] = {}
    todo = [f"a:{assembly}"]
    while todo:
        new = [o for o in users.get(todo.pop(), ()) if o not in found]
        found.update(dict.fromkeys(new))
        todo += new
    return sorted(found)
