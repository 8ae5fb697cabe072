"""The ledger against a plain replay written apart from it, over lists of events made at random.

The replay knows articles as things of their own: each has one number and lies in one place, in a unit,
out of sight, or in the drawer. Whatever the events, none may be in two places and none may be lost.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from hypothesis import example, given, settings
from hypothesis import strategies as st

from kgraph.fits.graph import Place
from kgraph.shelf.ledger import shelf_now
from tests.support import graph_of

PLACES = ("front", "baffle", "lamp", "knob")
SETS = {"U-0": "Velmoor 10", "U-1": "Hastwick 220", "U-2": "Brenlow R-5"}
WHOLE = {"Velmoor 10", "Hastwick 220"}
"""Sets whose front is one assembly with baffle and lamp."""
STATE = {("U-0", "lamp"): "missing", ("U-1", "knob"): "broken", ("U-1", "baffle"): "scratched"}
WANTS = {"U-0": ["lamp"], "U-1": ["knob", "baffle"], "U-2": []}
LOOSE = 2
KEYS = {"Velmoor 10": "s:velmoor10", "Hastwick 220": "s:hastwick220", "Brenlow R-5": "s:brenlowr5"}
SPOILT = ("missing", "broken", "taken")


def _facts() -> str:
    out = "- assembly: B1 front\n  kind: front\n  positions: [front, baffle, lamp]\n"
    out += "".join(f"- uses: B1 front\n  in: {s}\n" for s in sorted(WHOLE))
    for name in SETS.values():
        out += "".join(f"- takes: {name} {p}\n  in: {name}\n  position: {p}\n" for p in PLACES)
    out += "- same: [K-1, K-2]\n- stock: K-1\n  count: 2\n"
    for unit, name in SETS.items():
        state = ", ".join(f"{p}: {c}" for (u, p), c in STATE.items() if u == unit)
        out += f"- unit: {unit}\n  set: {name}\n  state: {{{state}}}\n"
        out += f"  wants: [{', '.join(WANTS[unit])}]\n" if WANTS[unit] else ""
    return out


FACTS = _facts()


# The events ------------------------------------------------------------------------------------

_UNIT = st.sampled_from(sorted(SETS))
_PLACE = st.sampled_from(PLACES)
_TAKEN = st.fixed_dictionaries(
    {"kind": st.just("taken"), "place": _PLACE, "from": _UNIT},
    optional={"to": _UNIT, "at": _PLACE, "owed": st.booleans(), "back": st.booleans()},
)
_RESTORED = st.fixed_dictionaries(
    {"kind": st.just("restored"), "place": _PLACE, "to": _UNIT},
    optional={"part": st.sampled_from(["K-1", "K-2", "Z-9"]), "back": st.booleans()},
)
_FITTED = st.fixed_dictionaries(
    {"kind": st.just("fitted"), "place": _PLACE, "to": _UNIT, "part": st.sampled_from(["K-1", "K-2", "Z-9"])},
    optional={"back": st.booleans()},
)
_INSPECTED = st.fixed_dictionaries(
    {
        "kind": st.just("inspected"),
        "place": _PLACE,
        "of": _UNIT,
        "state": st.sampled_from(["good", "broken", "missing"]),
    },
    optional={"back": st.booleans()},
)
EVENTS = st.lists(st.one_of(_TAKEN, _TAKEN, _RESTORED, _FITTED, _INSPECTED), max_size=14)
"""`back`: the event is withdrawn further down."""


def _text(events: list[dict[str, Any]]) -> str:
    out, ending = FACTS, ""
    for number, event in enumerate(events):
        first = event["part" if event["kind"] == "fitted" else "place"]
        said = {**event, "at": event["place"]} if event["kind"] == "fitted" else event
        keys = ("from", "to", "at", *(() if event["kind"] == "fitted" else ("part",)), "of", "state")
        out += f"- {event['kind']}: {first}\n  id: e{number}\n"
        out += "".join(f"  {k}: {said[k]}\n" for k in keys if k in said)
        out += "  owed: yes\n" if event.get("owed") else ""
        ending += f"- withdraw: e{number}\n  why: no\n" if event.get("back") else ""
    return out + ending


# The plain replay -------------------------------------------------------------------------------


@dataclass
class Article:
    """One thing that can be held in a hand."""

    origin: tuple[str, str] | None
    part: str | None
    condition: str


@dataclass
class Bench:
    """Which article lies where; articles by number."""

    articles: dict[int, Article] = field(default_factory=dict)
    lies: dict[tuple[str, str], int] = field(default_factory=dict)
    emptied: dict[tuple[str, str], int] = field(default_factory=dict)
    out: set[int] = field(default_factory=set)
    drawer: int = LOOSE
    debts: list[list[Any]] = field(default_factory=list)
    met: set[tuple[str, str]] = field(default_factory=set)
    wrong: int = 0

    def new(self, origin: tuple[str, str] | None, part: str | None, condition: str = "") -> int:
        """A new article."""
        self.articles[len(self.articles)] = Article(origin, part, condition)
        return len(self.articles) - 1

    def put(self, here: tuple[str, str], number: int) -> None:
        """Put an article in; what was there lies loose from now on."""
        if here in self.lies:
            self.out.add(self.lies[here])
        self.lies[here] = number
        self.emptied.pop(here, None)

    def settle(self, here: tuple[str, str], by: int) -> int | None:
        """The event of the oldest open debt at a place, which this event settles."""
        for debt in self.debts:
            if debt[1] == here and debt[2] is None:
                debt[2] = by
                return int(debt[0])
        return None


def _replay(events: list[dict[str, Any]]) -> Bench:
    bench = Bench()
    for unit, name in SETS.items():
        for place in PLACES:
            number = bench.new((name, place), None, STATE.get((unit, place), ""))
            bench.lies[unit, place] = number
    for number, event in enumerate(events):
        if not event.get("back"):
            _HAPPENS[event["kind"]](bench, number, event)
    return bench


def _inspected(bench: Bench, number: int, event: dict[str, Any]) -> None:
    here = (event["of"], event["place"])
    if here not in bench.lies:
        bench.wrong += event["state"] != "missing"
        return
    bench.articles[bench.lies[here]].condition = event["state"]
    if event["state"] in SPOILT:
        bench.met.discard(here)


def _taken(bench: Bench, number: int, event: dict[str, Any]) -> None:
    giver, getter, place = event["from"], event.get("to"), event["place"]
    here = (giver, place)
    if giver == getter or here not in bench.lies or bench.articles[bench.lies[here]].condition == "missing":
        bench.wrong += 1
        return
    origin = bench.articles[bench.lies[here]].origin
    whole = origin is not None and origin[0] in WHOLE and origin[1] == "front"
    moves = [(place, event.get("at", place))]
    moves += [(p, p) for p in ("baffle", "front", "lamp") if whole and p != place]
    for source, target in moves:
        if (giver, source) not in bench.lies:
            continue
        article = bench.lies.pop((giver, source))
        bench.emptied[giver, source] = number
        bench.met.discard((giver, source))
        if getter is None:
            bench.out.add(article)
            continue
        bench.put((getter, target), article)
        if source == place or bench.articles[article].condition not in SPOILT:
            bench.met.add((getter, target))
            bench.settle((getter, target), number)
    if event.get("owed"):
        bench.debts.append([number, here, None])


def _restored(bench: Bench, number: int, event: dict[str, Any]) -> None:
    here, part = (event["to"], event["place"]), event.get("part")
    name = SETS[here[0]]
    for_debt = bench.settle(here, number)
    if part in ("K-1", "K-2") and bench.drawer:
        bench.drawer -= 1
    along = [p for p, by in bench.emptied.items() if p[0] == here[0] and by == for_debt and p != here]
    for other in along:
        bench.put(other, bench.new((name, other[1]), None))
    bench.put(here, bench.new(None if part else (name, here[1]), part))
    bench.met.add(here)


_HAPPENS = {"taken": _taken, "restored": _restored, "fitted": _restored, "inspected": _inspected}


# Held against each other ------------------------------------------------------------------------


@settings(max_examples=400, deadline=None)
@given(EVENTS)
def test_the_ledger_is_what_a_plain_replay_gives(events: list[dict[str, Any]]) -> None:
    shelf, bench = shelf_now(graph_of(_text(events))), _replay(events)
    for unit in SETS:
        now = shelf.units[unit.lower().replace("-", "")]
        for place in PLACES:
            held = now.places[place]
            found = (held.condition, held.origin, (held.part or "").upper(), held.usable)
            assert found == _expected(bench, (unit, place)), (unit, place, events)
        assert list(now.wants) == [p for p in WANTS[unit] if (unit, p) not in bench.met]
    assert shelf.stock == {"k1": bench.drawer}
    debts = [(o.event.own_id, o.settled.own_id if o.settled else None) for o in shelf.owed]
    assert debts == [(f"e{a}", None if b is None else f"e{b}") for a, _, b in bench.debts]
    assert sum(p.severity == "error" for p in shelf.problems) == bench.wrong


def _expected(bench: Bench, here: tuple[str, str]) -> tuple[str, Place | None, str, bool]:
    if here not in bench.lies:
        return ("taken", None, "", False)
    article = bench.articles[bench.lies[here]]
    origin = Place(KEYS[article.origin[0]], article.origin[1]) if article.origin else None
    part = (article.part or "").replace("-", "")
    return (article.condition, origin, part, article.condition not in SPOILT)


@settings(max_examples=300, deadline=None)
@given(EVENTS)
@example(
    [
        {"kind": "taken", "place": "front", "from": "U-0", "to": "U-1", "owed": True},
        {"kind": "fitted", "place": "front", "to": "U-0", "part": "K-1"},
    ]
)
def test_nothing_is_in_two_places_and_nothing_vanishes(events: list[dict[str, Any]]) -> None:
    """Counted on the ledger itself: originals of a set multiply only by what came back, or was bought."""
    graph = graph_of(_text(events))
    shelf = shelf_now(graph)
    assert all(0 <= n <= LOOSE for n in shelf.stock.values())
    standing = [h for u in shelf.units.values() for h in u.places.values() if h.condition != "taken"]
    for name in SETS.values():
        unit = next(u for u, s in SETS.items() if s == name)
        given = [e for e in events if e["kind"] in ("restored", "fitted") and not e.get("back")]
        back = [e for e in given if e["to"] == unit]
        for place in PLACES:
            count = sum(h.origin == Place(KEYS[name], place) for h in standing)
            assert count <= 1 + len(back), (name, place)
    bench = _replay(events)
    places = list(bench.lies.values())
    assert len(places) == len(set(places))
    assert set(places) | bench.out == set(bench.articles)
    assert not set(places) & bench.out
