"""What goes wrong with a set: recorded of it or of any place like its own, and what units were found with.

What the folder says of a place counts for every like place, with its certainty. What every bench knows holds
for a place by its name, as common practice without a source. What units of like sets were found with is
counted beside each.
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence, Set
from typing import NamedTuple

from kgraph import beta, records
from kgraph.claims import FaultClaim
from kgraph.facts import Fact
from kgraph.fits.graph import Graph, Place
from kgraph.names import did_you_mean, fold, name
from kgraph.questions.answer import DEFAULT, SCALE_NOTE, Wanted
from kgraph.questions.asked import budget_of, memo_of
from kgraph.questions.cautions import cautions_of
from kgraph.questions.names import places_of
from kgraph.questions.unit_looks import UnitLook, looks, owners_of_unit
from kgraph.reason import rules, sharing
from kgraph.reason.rules import State
from kgraph.reason.walk import Network, cut, explore
from kgraph.reason.weigh import Aims, Weighed, weigh
from kgraph.trade.faults import CommonFault, common

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
COMMON_BASIS = "common practice, no source"
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


_AtLike = Mapping[str, Mapping[frozenset[Place], Iterable[UnitLook]]]


def _looks_at(graph: Graph) -> _AtLike:
    """Position -> places that are alike -> what was found at them; worked out once."""
    if "looks" not in graph.remembered:
        found: dict[str, dict[frozenset[Place], dict[UnitLook, None]]] = {}
        for look in looks(graph.data):
            for owner in owners_of_unit(graph.data, look.unit):
                like = graph.alike_places(Place(owner, look.position))
                found.setdefault(look.position, {}).setdefault(like, {})[look] = None
        graph.remembered["looks"] = found
    known: _AtLike = graph.remembered["looks"]
    return known


def _stated_at(graph: Graph) -> Mapping[Place, Sequence[Fact]]:
    """Place -> the faults that facts say of it; worked out once."""
    if "stated faults" not in graph.remembered:
        by_place: dict[Place, list[Fact]] = {}
        for fact in graph.data.facts_of_kind("fault"):
            here = Place(fact.of(FaultClaim).owner, fact.of(FaultClaim).position)
            by_place.setdefault(here, []).append(fact)
        graph.remembered["stated faults"] = by_place
    known: Mapping[Place, Sequence[Fact]] = graph.remembered["stated faults"]
    return known


def _inner(graph: Graph) -> Mapping[str, Set[str]]:
    """Position -> the assemblies of which a fault there tells though they do not list it, and their holders.

    Worked out once.
    """
    if "inner faults" not in graph.remembered:
        found: dict[str, set[str]] = defaultdict(set)
        for owner, position in _stated_at(graph):
            if owner.startswith("a:") and position not in graph.declares.get(owner, ()):
                found[position].update(sharing.carriers(graph, owner))
        graph.remembered["inner faults"] = found
    known: Mapping[str, Set[str]] = graph.remembered["inner faults"]
    return known


def faults(graph: Graph, set_key: str, signs: Sequence[str] = (), wanted: Wanted = DEFAULT) -> Faults:
    """What goes wrong with a set; with signs, how likely each fault explains them."""
    found = _Found(graph, set_key)
    stated = found.stated(wanted)
    rows = [*stated, *found.common(stated)]
    rows += found.counted_only(rows)
    rows = [r for r in rows if r.certainty is None or r.certainty >= wanted.at_least]
    notes = [SAFETY_NOTE, COMMON_NOTE, *([SCALE_NOTE] if stated else [])]
    if signs:
        unlisted = _unlisted(rows, signs)
        return Faults(tuple(weighed_by_signs(rows, signs)), (*unlisted, *notes, SIGNS_NOTE))
    rows.sort(key=_order)
    return Faults(tuple(rows), tuple(notes))


def _order(row: FaultRow) -> tuple[bool, float, float, str, str]:
    """What is stated or counted before what is common; then by how often it was found; then by certainty."""
    found, looked = row.counted
    often = (found + 1) / (looked + 2)
    unheard = row.certainty is None and not looked
    return unheard, -often, -(row.certainty or 0.0), row.fault or "", row.position


def common_at(graph: Graph, position: str) -> list[FaultRow]:
    """What every bench knows to go wrong at a position, in any set."""
    return [
        FaultRow(
            one.fault,
            position=position,
            signs=one.signs,
            check=one.check,
            cure=one.cure,
            cautions=tuple(dict.fromkeys([*cautions_of(graph.data, (position,), ()), *one.cautions])),
            basis=COMMON_BASIS,
        )
        for one in common()
        if position in {graph.data.key("position", p.key) for p in one.positions}
    ]


class _Found:
    """The faults of one set while they are gathered."""

    def __init__(self, graph: Graph, set_key: str) -> None:
        self.graph, self.data = graph, graph.data
        self.owner = f"s:{set_key}"
        self.places = places_of(graph, set_key)
        self.looks = {
            position: here
            for position, by_place in _looks_at(graph).items()
            if (here := by_place.get(graph.alike_places(Place(self.owner, position))))
        }

    def stated(self, wanted: Wanted) -> list[FaultRow]:
        """What facts say, of this set and of whatever it is alike."""
        by_place = _stated_at(self.graph)
        positions = sorted({p.position for p in by_place})
        inner = _inner(self.graph)

        def steps(state: State) -> list[rules.Step]:
            if state.phase == "faults":
                return [(State("is", self.owner, p), None) for p in positions]
            if state.phase == "fault":
                return []
            here = Place(state.owner, state.position)
            like = [
                (State("is", o, here.position), f)
                for o, f in self._like(here, inner.get(here.position, frozenset()))
            ]
            return [
                *like,
                *((State("fault", f.of(FaultClaim).fault, here.position), f) for f in by_place.get(here, ())),
            ]

        budget = budget_of(wanted)
        network = explore(State("faults", self.owner), steps, budget)
        targets = {n: s for n, s in enumerate(network.states) if s.phase == "fault"}
        if not targets:
            return []
        aims = Aims(wanted.seconds > 0, wanted.failures)
        weighed = weigh(network, cut(network, targets), targets, budget, memo_of(self.graph), aims)
        return [self._row(network, state, weighed[n]) for n, state in targets.items()]

    def _like(self, here: Place, inner: Set[str]) -> Iterable[tuple[str, Fact]]:
        """The owners of which a fault at this place tells, and the fact by which.

        A fault of a part that an assembly has within, and does not list among its positions, is one of every
        set built on it: `inner` are the assemblies of such faults at this position, and those that hold them.
        """
        if not inner:
            return self.graph.like(*here)
        return [
            (link.other, link.fact)
            for link in self.graph.links.get(here.owner, ())
            if here.position not in link.left_out
            and not sharing.leaves_out(self.graph, link, *inner)
            and (
                link.to_assembly in ("", link.other)
                or here.position in self.graph.declares.get(link.to_assembly, ())
            )
        ]

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
            basis=COMMON_BASIS,
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
        """(how many units were found with a fault, at how many anybody looked) at places like this one.

        A unit that was found with it counts, also where it was put right later.
        """
        looked = [s for s in self.looks.get(position, ()) if not _words(s.state) & NOT_THERE]
        found = {s.unit for s in looked if self._is_of(s.state, fault, position)}
        return len(found), len({s.unit for s in looked})


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


def names_a_sign(said: str) -> bool:
    """Whether a text has a word that a sign can be known by."""
    return bool(_words(said))


def _unlisted(rows: Iterable[FaultRow], signs: Iterable[str]) -> list[str]:
    """A remark for each sign that no fault lists, with the nearest that one does."""
    listed = {sign: None for row in rows for sign in row.signs}
    notes = []
    for sign in signs:
        if not any(says_sign(sign, known) for known in listed):
            near = did_you_mean(sign, listed)
            notes.append(
                f"No fault lists the sign {sign!r}, so it tells none apart{near and '; '}{near or '.'}"
            )
    return notes


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
