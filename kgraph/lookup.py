"""All that is known of a thing, and the names near a text."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from kgraph import records, trade, words
from kgraph.collection import EVENT_TYPES
from kgraph.facts import Fact
from kgraph.names import fold, loose, nearest
from kgraph.problems import Problem, WrongUse
from kgraph.source.facts import Facts, Names, Stated

if TYPE_CHECKING:
    from kgraph.shelf.ledger import Event, Shelf, UnitNow


class Known(NamedTuple):
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
    ground: tuple[records.Thing, ...] = ()
    """What the trade's ground says of it."""


class Found(NamedTuple):
    """A name near a text: of what kind of thing, and how it was met."""

    kind: str
    name: str
    met: str
    by: str


def show(graph: Facts, text: str) -> list[Known]:
    """Every thing with this name, whatever its kind; raises WrongUse with the nearest names.

    What only the ground of the trade knows is shown where nothing of the folder has the name.
    """
    data = graph.data
    wanted = fold(text)
    found = [_known(data, kind, key) for kind in words.THINGS for key in _keys(data, kind, wanted)]
    left_out = data.key("position", wanted)
    if not found and data.leaves_out(left_out):
        found = [
            Known("feature", left_out, data.text("position", left_out), (), _leaving_out(data, left_out), ())
        ]
    below = () if found else [(kind, data.key(kind, wanted)) for kind in trade.KINDS]
    found += [_known(data, kind, key) for kind, key in below if data.ground(kind, key)]
    if not found:
        known = [n for kind in words.THINGS for n in data.known(kind).values()]
        of_trade = [n for kind in trade.KINDS for n in trade.spellings(kind).values()]
        near = nearest(text, known) or nearest(text, of_trade)
        mend = f"did you mean {' or '.join(near)}?" if near else "see `kgraph find`"
        raise WrongUse(Problem(None, "unknown-name", f"nothing is called {text!r}", mend))
    if not any(k.kind in ("unit", "stock") for k in found):
        return found
    from kgraph.shelf.ledger import shelf_now

    shelf = shelf_now(graph)
    return [_on_shelf(data, shelf, k) for k in found]


def _on_shelf(data: Names, shelf: Shelf, known: Known) -> Known:
    """A unit with its history, loose parts with what is left of them; anything else as it is."""
    if known.kind == "stock":
        return known._replace(left=shelf.stock.get(known.key, 0), mentions=_without_stock(known.mentions))
    if known.kind != "unit" or known.key not in shelf.units:
        return known
    from kgraph.shelf.ledger import withdrawn_events

    history = tuple(e for e in shelf.histories[known.key] if isinstance(e, EVENT_TYPES))
    gone = tuple((e, by) for e, by in withdrawn_events(data) if any(e is m for m in known.mentions))
    others = tuple(e for e in known.mentions if not isinstance(e, EVENT_TYPES))
    now = shelf.units[known.key]
    return known._replace(unit=now, history=history, withdrawn=gone, mentions=others)


def _without_stock(mentions: tuple[records.Entry, ...]) -> tuple[records.Entry, ...]:
    return tuple(e for e in mentions if not isinstance(e, records.Stock))


def fact_with_id(data: Names, text: str) -> Stated | None:
    """The fact with this id; of several one that nothing took back, if there is one."""
    return data.fact_with_id(text.strip()) if text.strip() else None


def fact_as_said(data: Names, text: str) -> Fact | None:
    """The same; of a pair that is said with unlike exceptions only what has this id."""
    stated, wanted = fact_with_id(data, text), text.strip()
    if stated is None:
        return None
    pieces = data.told_otherwise.get(stated[0].id, ())
    return next((f for f in pieces if wanted in f.ids), stated[0])


def event_with_id(data: Names, text: str) -> Event | None:
    """The last event of the shelf with this id, its own or that of what it says; taken back ones too."""
    return next((e for e in _with_id(data, text) if isinstance(e, EVENT_TYPES)), None)


def event_or_withdrawal(data: Names, text: str) -> Event | records.Withdraw | None:
    """The last event with this id, else the last withdrawal with it."""
    withdrawals = (e for e in _with_id(data, text) if isinstance(e, records.Withdraw))
    return event_with_id(data, text) or next(withdrawals, None)


def _with_id(data: Names, text: str) -> list[records.Statement]:
    """The statements with an id, the last one first."""
    return [*reversed(data.with_id(text.strip()))] if text.strip() else []


def _keys(data: Names, kind: str, wanted: str) -> list[str]:
    key = data.key(kind, wanted)
    numbered = data.parts_numbered(wanted) if kind == "part" else set()
    return sorted({key, *numbered} if data.is_named(kind, key) else numbered)


def _leaving_out(data: Names, key: str) -> tuple[Fact, ...]:
    """The facts whose `except` names a position, an assembly or a feature."""
    return tuple(f for f, by in data.stated(data.leaving_out(key)) if by is None)


def _known(data: Names, kind: str, key: str) -> Known:
    mentions = data.naming(kind, key)
    places = {e.where for e in mentions}
    stated = list(data.stated(mentions))
    said = [(f, by) for f, by in stated if any(e.where in places for e in f.evidence)]
    facts = {f.id: f for f, by in said if by is None}
    told = {e.where for f, _ in said for e in f.evidence}
    if kind in ("position", "assembly"):
        facts |= {f.id: f for f in _leaving_out(data, key)}
    gone = tuple((f, by) for f, by in said if by is not None)
    others = tuple(e for e in mentions if e.where not in told and not isinstance(e, records.Withdraw))
    things = tuple(data.things[kind].get(key, ()))
    below = data.ground(kind, key)
    return Known(
        kind, key, data.text(kind, key), things, tuple(facts.values()), others, gone=gone, ground=below
    )


def find(data: Names, text: str, most: int = 20) -> list[Found]:
    """Names near a text, in order: the same name, one that holds it, one that is spelt nearly so."""
    wanted = loose(text)
    if not wanted:
        raise WrongUse(f"{text!r} has no letter and no digit to look for")
    met: dict[tuple[str, str], tuple[int, Found]] = {}
    for kind, name, by in data.spellings(wanted):
        rank = (loose(by) != wanted) * 1000 + len(loose(by))
        kept = met.get((kind, name))
        if kept is None or rank < kept[0]:
            met[kind, name] = (rank, Found(kind, name, "holds" if rank >= 1000 else "same", by))
    found = [f for _, f in sorted(met.values(), key=lambda m: (m[0], m[1].kind, m[1].name))]
    return found[:most] if found else _near(data, wanted, most)


def _near(data: Names, wanted: str, most: int) -> list[Found]:
    import difflib

    # Some may be spelt so no more.
    close = difflib.get_close_matches(wanted, sorted({*data.spelt_loosely()}), n=2 * most, cutoff=0.6)
    of_each = ([s for s in sorted(data.spellings(c)) if loose(s[2]) == c] for c in close)
    found = [Found(kind, name, "near", by) for said in of_each for kind, name, by in said]
    return list(dict.fromkeys(found))[:most]
