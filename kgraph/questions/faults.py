"""What goes wrong with a set: recorded of it or of any place like its own, and what units were found with.

What the folder says of a place counts for every like place, with its certainty. What every bench knows holds
for a place by its name, as common practice without a source. What units of like sets were found with is
counted beside each.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, NamedTuple

from kgraph import beta, records
from kgraph.claims import FaultClaim
from kgraph.facts import Fact
from kgraph.fits.graph import Graph, Place
from kgraph.names import fold, name
from kgraph.questions.answer import DEFAULT, SCALE_NOTE, Wanted
from kgraph.questions.asked import budget_of, memo_of
from kgraph.questions.cautions import cautions_of
from kgraph.questions.names import places_of
from kgraph.reason import rules
from kgraph.reason.rules import State
from kgraph.reason.walk import Network, cut, explore
from kgraph.reason.weigh import Aims, Weighed, weigh
from kgraph.trade.faults import CommonFault, common

if TYPE_CHECKING:
    from kgraph.collection import Collection

LISTED, UNLISTED = 0.9, 0.05
"""How likely a sign is where a fault lists it, and where it does not: a scale of our own."""
WHOLE = frozenset({"good", "sound", "fine", "ok", "clean", "new", "replaced", "works"})
"""States of a place that was looked at and is well."""
NOT_THERE = frozenset({"missing", "altered", "taken"})
"""States that say nothing of what the maker's part suffered."""
SAFETY_NOTE = (
    "This is a list of what was seen, not a diagnosis of what is safe: look at each danger for itself."
)
COMMON_NOTE = "What every bench knows is common practice, no source; nobody counted how often it is found."
SIGNS_NOTE = (
    "Weighed by Bayes: each fault by how often it was found (add-one), 0.9 for a sign that it lists, 0.05 "
    "else, signs independent, one fault at a time; a scale of our own."
)


class FaultRow(NamedTuple):
    """One fault of a place.

    `fault` is None for `none of these`; `certainty` is None where it is only counted, or common practice.
    """

    fault: str | None
    owner: str = ""
    position: str = ""
    signs: tuple[str, ...] = ()
    check: str = ""
    cure: str = ""
    certainty: float | None = None
    weighed: str = ""
    counted: tuple[int, int] = (0, 0)
    probability: float | None = None
    cautions: tuple[str, ...] = ()
    proof: tuple[Fact, ...] = ()
    basis: str = "stated facts"

    @property
    def interval(self) -> tuple[float, float] | None:
        """Where 95 % of the share of places with this fault lies; None where nobody looked."""
        return beta.interval(*self.counted) if self.counted[1] else None


class Faults(NamedTuple):
    """The faults of a set, the most certain first or the likeliest for the signs, and remarks."""

    rows: tuple[FaultRow, ...]
    notes: tuple[str, ...]


class UnitLook(NamedTuple):
    """What somebody found at a place of a unit when looking."""

    unit: str
    position: str
    state: str


def looks(data: Collection) -> Iterable[UnitLook]:
    """What was found at the places of units: what inspections found joins here, the last one counts."""
    found: dict[tuple[str, str], UnitLook] = {}
    for key, things in data.things["unit"].items():
        for thing in things:
            if isinstance(thing, records.Unit):
                for position, state in thing.state:
                    at = data.key("position", position.key)
                    found[key, at] = UnitLook(key, at, state)
    return found.values()


def faults(graph: Graph, set_key: str, signs: Sequence[str] = (), wanted: Wanted = DEFAULT) -> Faults:
    """What goes wrong with a set; with signs, how likely each fault explains them."""
    found = _Found(graph, set_key)
    stated = found.stated(wanted)
    rows = [*stated, *found.common(stated)]
    rows += found.counted_only(rows)
    rows = [r for r in rows if r.certainty is None or r.certainty >= wanted.at_least]
    notes = [SAFETY_NOTE, COMMON_NOTE, *([SCALE_NOTE] if stated else [])]
    if signs:
        return Faults(tuple(weighed_by_signs(rows, signs)), (*notes, SIGNS_NOTE))
    rows.sort(key=_order)
    return Faults(tuple(rows), tuple(notes))


def _order(row: FaultRow) -> tuple[bool, float, float, str, str]:
    """What is stated or counted before what is common; then by how often it was found; then by certainty."""
    found, looked = row.counted
    often = (found + 1) / (looked + 2)
    unheard = row.certainty is None and not looked
    return unheard, -often, -(row.certainty or 0.0), row.fault or "", row.position


class _Found:
    """The faults of one set while they are gathered."""

    def __init__(self, graph: Graph, set_key: str) -> None:
        self.graph, self.data = graph, graph.data
        self.owner = f"s:{set_key}"
        self.places = places_of(graph, set_key)
        self.looks: dict[str, list[UnitLook]] = {}
        for look in looks(graph.data):
            if self._is_of_like(look):
                self.looks.setdefault(look.position, []).append(look)

    def _is_of_like(self, look: UnitLook) -> bool:
        of = {f"s:{self.data.key('set', u.set.key)}" for u in _units(self.data, look.unit) if u.set}
        like = self.graph.alike_places(Place(self.owner, look.position))
        return any(Place(owner, look.position) in like for owner in of)

    def stated(self, wanted: Wanted) -> list[FaultRow]:
        """What facts say, of this set and of whatever it is alike."""
        by_place: dict[Place, list[Fact]] = {}
        for fact in sorted(self.data.facts.values(), key=lambda f: f.id):
            if isinstance(fact.claim, FaultClaim):
                here = Place(fact.claim.owner, fact.claim.position)
                by_place.setdefault(here, []).append(fact)
        positions = sorted({p.position for p in by_place})

        def steps(state: State) -> list[rules.Step]:
            if state.phase == "asked":
                return [(State("is", self.owner, p), None) for p in positions]
            if state.phase == "fault":
                return []
            here = Place(state.owner, state.position)
            like = [(State("is", o, state.position), f) for o, f in self.graph.like(*here)]
            return [
                *like,
                *((State("fault", f.of(FaultClaim).fault, here.position), f) for f in by_place.get(here, ())),
            ]

        budget = budget_of(wanted)
        network = explore(State("asked", self.owner), steps, budget)
        targets = {n: s for n, s in enumerate(network.states) if s.phase == "fault"}
        if not targets:
            return []
        aims = Aims(wanted.seconds > 0, wanted.failures)
        weighed = weigh(network, cut(network, targets), targets, budget, memo_of(self.graph), aims)
        return [self._row(network, state, weighed[n]) for n, state in targets.items()]

    def _row(self, network: Network, state: State, weighed: Weighed) -> FaultRow:
        proof = network.fact_list(weighed.best.labels)
        last = next(f for f in proof if f.kind == "fault")
        said = [
            f
            for f in network.facts
            if isinstance(f.claim, FaultClaim) and f.claim[1:3] == (state.position, state.owner)
        ]
        called = text_of(last)
        return FaultRow(
            called,
            last.of(FaultClaim).owner,
            state.position,
            tuple(dict.fromkeys(s for f in (last, *said) for s in f.of(FaultClaim).signs)),
            next((f.of(FaultClaim).check for f in (last, *said) if f.of(FaultClaim).check), ""),
            next((f.of(FaultClaim).cure for f in (last, *said) if f.of(FaultClaim).cure), ""),
            weighed.certainty,
            weighed.how,
            self.count(state.position, called),
            None,
            self._cautions(state.position),
            proof,
        )

    def _cautions(self, position: str, more: Iterable[str] = ()) -> tuple[str, ...]:
        parts = [p for p, _, _ in self.graph.taken_at.get(Place(self.owner, position), ())]
        return tuple(dict.fromkeys([*cautions_of(self.data, (position,), parts), *more]))

    def common(self, stated: Iterable[FaultRow]) -> list[FaultRow]:
        """What every bench knows, at the places that this set has; else at the usual one."""
        known = {(fold(r.fault or ""), r.position) for r in stated}
        rows = []
        for one in common():
            at = list(dict.fromkeys(self.data.key("position", p.key) for p in one.positions))
            here = [p for p in at if p in self.places or p in self.looks]
            for position in here or at[:1]:
                if (fold(one.fault), position) not in known:
                    rows.append(self._common_row(one, position, self.owner if here else ""))
        return rows

    def _common_row(self, one: CommonFault, position: str, owner: str) -> FaultRow:
        return FaultRow(
            one.fault,
            owner,
            position,
            one.signs,
            one.check,
            one.cure,
            counted=self.count(position, one.fault),
            cautions=self._cautions(position, one.cautions),
            basis="common practice, no source",
        )

    def counted_only(self, rows: Iterable[FaultRow]) -> list[FaultRow]:
        """What units were found with that no fault tells of."""
        told = [(r.position, r.fault or "") for r in rows]
        found = {}
        for position, here in self.looks.items():
            for look in here:
                bad = not _words(look.state) & (WHOLE | NOT_THERE)
                if bad and not any(p == position and self._is_of(look.state, f, p) for p, f in told):
                    found[position, fold(look.state)] = look
        return [
            FaultRow(
                look.state,
                self.owner,
                position,
                counted=self.count(position, look.state),
                cautions=self._cautions(position),
                basis="counted",
            )
            for (position, _), look in sorted(found.items())
        ]

    def _is_of(self, state: str, fault: str, position: str) -> bool:
        return is_of(state, fault, self.data.text("position", position))

    def count(self, position: str, fault: str) -> tuple[int, int]:
        """(how many were found with a fault, at how many anybody looked) among the units of like places."""
        looked = [s.state for s in self.looks.get(position, ()) if not _words(s.state) & NOT_THERE]
        return sum(self._is_of(state, fault, position) for state in looked), len(looked)


def _units(data: Collection, key: str) -> Iterable[records.Unit]:
    return (t for t in data.things["unit"].get(key, ()) if isinstance(t, records.Unit))


def text_of(fact: Fact) -> str:
    """What a fault is called."""
    return fact.record.fault.text if isinstance(fact.record, records.Fault) else fact.of(FaultClaim).fault


_LITTLE = frozenset(
    {"a", "an", "the", "is", "and", "or", "of", "to", "out", "in", "at", "when", "it", "while"}
)


def _words(text: str) -> frozenset[str]:
    return frozenset(re.findall(r"\w+", name(text).text.casefold())) - _LITTLE


def is_of(state: str, fault: str, place: str = "") -> bool:
    """Whether a state as found is what a fault tells of: they share a word that does not name the place."""
    said = _words(state)
    return not said & WHOLE and bool((said & _words(fault)) - _words(place))


def says_sign(said: str, listed: str) -> bool:
    """Whether a sign as said is a listed one: all words of the one are among those of the other."""
    one, other = _words(said), _words(listed)
    return bool(one and other) and (one <= other or other <= one)


def weighed_by_signs(rows: Iterable[FaultRow], signs: Sequence[str]) -> list[FaultRow]:
    """The faults and `none of these` by how likely each explains the signs; the probabilities sum to 1.

    `none of these` is weighed as a fault that nobody looked for and that lists no sign.
    """
    candidates = [*rows, FaultRow(None, basis="a scale of our own")]
    weights = [_weight(row, signs) for row in candidates]
    whole = math.fsum(weights)
    found = [r._replace(probability=w / whole) for r, w in zip(candidates, weights, strict=True)]
    return sorted(found, key=lambda r: (-(r.probability or 0.0), r.fault is None, *_order(r)))


def _weight(row: FaultRow, signs: Sequence[str]) -> float:
    found, looked = row.counted
    listed = (any(says_sign(s, known) for known in row.signs) for s in signs)
    return (found + 1) / (looked + 2) * math.prod(LISTED if yes else UNLISTED for yes in listed)
