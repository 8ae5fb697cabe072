"""Why a set is not among the answers: known not to go, or not known and what would settle it.

*Known not to go* rests on facts (a `refuses`, or attributes that must match and differ). *Not
known* is the want of a fact: the nearest rule is named with what stops it, nearest first.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from kgraph import matching, questions
from kgraph.claims import ReplacesClaim
from kgraph.facts import Fact
from kgraph.fits.graph import Graph, Link, Place
from kgraph.questions import Row, Wanted
from kgraph.reason import rules
from kgraph.reason.rules import State
from kgraph.reason.shortest import Shortest
from kgraph.reason.walk import Network, explore
from kgraph.reason.weigh import best_proofs

GOES, REFUSED, UNKNOWN = "goes", "known not to go", "not known"
MOST_REASONS = 3
"""The most reasons that are given for one set, the nearest first."""
_EVERYTHING = Wanted(refused_too=True)
_PART_PHASES = {"asked", "part", "alike", "older", "sized"}


@dataclass(frozen=True, slots=True)
class Reason:
    """The rule that came nearest, what is wrong or missing, the facts, and what would settle it."""

    rule: str
    says: str
    settle: str = ""
    facts: tuple[Fact, ...] = ()


@dataclass(frozen=True, slots=True)
class WhyNot:
    """The verdict on one set for one question; `row` is its answer, where there is one."""

    set: str
    verdict: str
    wanted: str = ""
    reasons: tuple[Reason, ...] = ()
    row: Row | None = None


@dataclass(frozen=True, slots=True)
class _Case:
    """A question with the set that is missing from its answers, and what the walk reached."""

    graph: Graph
    target: str
    phase: str
    network: Network
    parts: frozenset[str]
    host: Place | None
    """Where the item is to go; None where that is the missing set itself."""

    def name(self, owner: str) -> str:
        return self.graph.data.owner_text(owner)

    def spelt(self, position: str) -> str:
        return self.graph.data.text("position", position)

    def part(self, key: str) -> str:
        return self.graph.data.text("part", key)

    def reached(self) -> dict[str, set[str]]:
        """Position -> the owners at which the walk arrived."""
        found: dict[str, set[str]] = {}
        for state in self.network.states:
            if state.phase == self.phase:
                found.setdefault(state.position, set()).add(state.owner)
        return found


def takers_of_part(graph: Graph, part: str, target: str) -> WhyNot:
    """Why a set (its key) is not among the takers of a part."""
    rows = questions.takers_of_part(graph, part, _EVERYTHING).rows
    network = explore(State("asked", part), lambda s: rules.forward(graph, s))
    return _verdict(_case(graph, target, "goes", network, None), rows)


def takers_of_place(graph: Graph, set_key: str, position: str, target: str) -> WhyNot:
    """Why a set is not among the takers of what another has at a position."""
    rows = questions.takers_of_place(graph, set_key, position, _EVERYTHING).rows
    start = State("is", f"s:{set_key}", position)
    network = explore(start, lambda s: rules.forward(graph, s))
    return _verdict(_case(graph, target, "goes", network, None), rows)


def donors(graph: Graph, set_key: str, position: str, target: str) -> WhyNot:
    """Why a set is not among the donors for a position of another."""
    rows = questions.donors(graph, set_key, [position], _EVERYTHING).rows
    host = Place(f"s:{set_key}", position)
    network = explore(State("goes", *host), lambda s: rules.backward(graph, s))
    return _verdict(_case(graph, target, "is", network, host), rows, position)


def _case(graph: Graph, target: str, phase: str, network: Network, host: Place | None) -> _Case:
    parts = frozenset(s.owner for s in network.states if s.phase in _PART_PHASES)
    return _Case(graph, f"s:{target}", phase, network, parts, host)


def _verdict(case: _Case, rows: Iterable[Row], wanted: str = "") -> WhyNot:
    mine = [r for r in rows if r.set == case.target]
    going = [r for r in mine if r.standing != "refused"]
    if going:
        return WhyNot(case.target, GOES, wanted, (), going[0])
    if mine:
        return WhyNot(case.target, REFUSED, wanted, tuple(_refused_row(mine[0])), mine[0])
    if said := tuple(_refusals(case)):
        return WhyNot(case.target, REFUSED, wanted, said)
    ranked = sorted(_nearest(case), key=lambda r: r[0])
    return WhyNot(case.target, UNKNOWN, wanted, tuple(r for _, r in ranked[:MOST_REASONS]))


# Known not to go ------------------------------------------------------------------------------


def _refused_row(row: Row) -> Iterator[Reason]:
    if row.against:
        says = "what was tried and did not go is at least as certain as the best proof that it goes"
        yield Reason("no", says, "try it again, and record the outcome", row.against)
    for warning in row.warnings:
        if matching.differs(warning):
            yield Reason("must match", warning, "read the plates of both sets again")


def _refusals(case: _Case) -> Iterator[Reason]:
    """Refusals of something that no rule says would go."""
    places = {Place(s.owner, s.position) for s in case.network.states if s.phase == "is"}
    hosts = [case.host] if case.host else [Place(case.target, p) for p in sorted(_all_positions(case))]
    for host in hosts:
        network = explore(State("no", *host), lambda s: rules.against(case.graph, s))
        items = {i: item for i, s in enumerate(network.states) if (item := rules.refused_item(s)) is not None}
        for number, best in best_proofs(network, items).items():
            item = items[number]
            mine = item in case.parts or item in places
            if case.host:
                mine = isinstance(item, Place) and item.owner == case.target
            if mine:
                says = (
                    f"it is recorded as not going on {case.name(host.owner)} at {case.spelt(host.position)}"
                )
                yield Reason("no", says, "", network.fact_list(best.labels))
                return


def _all_positions(case: _Case) -> set[str]:
    return set(case.reached()) | {place.position for place in case.graph.refused_at}


# Not known ------------------------------------------------------------------------------------


_Ranked = tuple[tuple[int, int, str], Reason]
"""((how far away, barriers or steps, text that makes the order fixed), reason)."""


def _nearest(case: _Case) -> Iterator[_Ranked]:
    reached = case.reached()
    if not any(o[0] == "s" for owners in reached.values() for o in owners):
        yield (0, 0, ""), _nothing_recorded(case)
    for position, owners in sorted(reached.items()):
        yield from _other_parts(case, position)
        yield from _barriers(case, position, owners)
    if not case.graph.links.get(case.target):
        yield (3, 0, ""), _no_link(case, reached)
    elif not any(_way_to(case.graph, case.target, p, o) for p, o in reached.items()):
        yield (3, 1, ""), _no_link(case, reached)


def _nothing_recorded(case: _Case) -> Reason:
    part = case.part(min(case.parts)) if case.parts else "a part"
    says = f"no place is recorded that takes {part}"
    return Reason("takes", says, f"takes: {part}, in: {case.name(case.target)}, position: ...")


def _own_parts(case: _Case, position: str) -> dict[str, Fact]:
    """The parts recorded for the missing set at a position, through what it is like."""
    places = sorted(case.graph.alike_places(Place(case.target, position)))
    return {part: fact for at in places for part, _, fact in case.graph.taken_at.get(at, ())}


def _other_parts(case: _Case, position: str) -> Iterator[_Ranked]:
    for part, fact in sorted(_own_parts(case, position).items()):
        if part in case.parts or not case.parts:
            continue
        if backward := _runs_backward(case, part):
            new, old = (case.part(p) for p in backward.of(ReplacesClaim))
            says = f"{new} goes where {old} goes, not the reverse"
            settle = f"same: [{new}, {old}], if each goes for the other"
            yield (0, 0, part), Reason("newer", says, settle, (backward, fact))
            continue
        mine = case.part(min(case.parts))
        where = f"{case.name(case.target)} at {case.spelt(position)}"
        says = f"{where} has {case.part(part)}; nothing says that it and {mine} are one part or of one size"
        yield (1, 0, part), Reason("alike", says, f"same: [{mine}, {case.part(part)}]", (fact,))


def _runs_backward(case: _Case, part: str) -> Fact | None:
    """A `replaces` between this part and the asked ones that runs the wrong way round."""
    graph = case.graph
    links = graph.newer if case.phase == "goes" else graph.older
    return next((f for p in sorted(case.parts) for other, f in links.get(p, ()) if other == part), None)


def _barriers(case: _Case, position: str, owners: set[str]) -> Iterator[_Ranked]:
    way = _way_to(case.graph, case.target, position, owners)
    for link in way[:1] if way else []:
        one, other = _ends(link)
        ends = f"{case.name(one)} and {case.name(other)}"
        if position in link.left_out:
            says = f"{ends} are alike, but {case.spelt(position)} is excepted by fact {link.fact.id}"
        else:
            says = (
                f"{ends} are alike, but {case.name(link.to_assembly)} does not declare {case.spelt(position)}"
            )
        settle = f"takes: the part, in: {case.name(case.target)}, position: {case.spelt(position)}"
        if case.host is not None:
            at = f", at: {case.spelt(case.host.position)}" if case.host.position != position else ""
            settle = f"fits: {case.name(case.target)}, position: {case.spelt(position)}"
            settle += f", to: {case.name(case.host.owner)}{at}"
        yield (2, len(way), position), Reason("like", says, settle, (link.fact,))


def _ends(link: Link) -> tuple[str, str]:
    one, other = link.fact.claim[:2]
    return one, other


def _way_to(graph: Graph, start: str, position: str, goals: set[str]) -> list[Link]:
    """The barriers on the way with the fewest of them from an owner to one of the goals; [] if no way.

    A barrier is a link that does not carry the position.
    """

    def steps(here: str) -> Iterator[tuple[str, Link, float]]:
        for link in graph.links.get(here, ()):
            yield link.other, link, 0.0 if _carries(graph, link, position) else 1.0

    found: Shortest[str, Link] = Shortest({start: 0.0}, steps, goals.__contains__)
    if found.met is None:
        return []
    return [link for link in found.way(found.met)[1] if not _carries(graph, link, position)]


def _carries(graph: Graph, link: Link, position: str) -> bool:
    declared = not link.to_assembly or position in graph.declares.get(link.to_assembly, ())
    return declared and position not in link.left_out


def _no_link(case: _Case, reached: dict[str, set[str]]) -> Reason:
    start = case.network.states[0]
    known = sorted({o for owners in reached.values() for o in owners if o[0] == "s" and o != case.target})
    near = start.owner if start.owner in known else known[0] if known else ""
    if not near:
        return Reason("like", f"no rebadge or shared assembly links {case.name(case.target)} to anything", "")
    pair = f"{case.name(near)} and {case.name(case.target)}"
    settle = f"rebadge: [{case.name(near)}, {case.name(case.target)}], or uses: an assembly that both have"
    return Reason("like", f"no rebadge or shared assembly links {pair}", settle)
