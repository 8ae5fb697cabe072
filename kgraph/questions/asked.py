"""What goes where: the walk of one question, weighed, and its answers as rows.

Takers, donors and parts share it.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

from kgraph import matching
from kgraph.claims import FitsClaim, TakesClaim
from kgraph.facts import Fact
from kgraph.fits.graph import Graph, Place
from kgraph.questions.answer import Row, Wanted
from kgraph.questions.cautions import cautions_of
from kgraph.questions.distinct import told_apart
from kgraph.reason import refusals, rules
from kgraph.reason.budget import Budget
from kgraph.reason.proofs import PROOFS_KEPT, Best, Proofs, minimal_proofs
from kgraph.reason.refusals import NOTHING, Against, Item
from kgraph.reason.rules import State
from kgraph.reason.walk import Network, Steps, cut, explore
from kgraph.reason.weigh import Aims, Memo, Weighed, weigh

if TYPE_CHECKING:
    from kgraph.collection import Collection

SAME = 1e-12
"""Certainties nearer to each other than this differ by the order of the products alone."""
UNCHECKED = "no time to look whether something was refused here: ask about this place alone"
MOST_PARTS = 200
"""The most parts that are named in one answer; of more, those reached first."""


def budget_of(wanted: Wanted) -> Budget:
    """The work that a question may do."""
    return Budget(wanted.seconds or 1.0, time.monotonic)


def memo_of(graph: Graph) -> Memo:
    """What was worked out for earlier questions of the same graph."""
    found: Memo = graph.remembered.setdefault("modules", {})
    return found


def walked(graph: Graph, start: State, budget: Budget) -> Network:
    """All that a question comes to. The last one looked at to its end is remembered: it is asked again."""
    last: tuple[State, Network] | None = graph.remembered.get("walked")
    if last is not None and last[0] == start:
        return last[1]
    step = rules.backward if start.phase == "goes" else rules.forward
    network = explore(start, lambda s: step(graph, s), budget)
    if not network.unexplored:
        graph.remembered["walked"] = start, network
    return network


def left_over_note(number: int) -> list[str]:
    """How many answers were not looked at, in words; nothing where all were."""
    if not number:
        return []
    were = "answer was" if number == 1 else "answers were"
    return [f"{number} less certain {were} not looked at for want of time; ask about fewer places at once."]


@dataclass
class Asked:
    """One question under way: where it starts, what ends it, and how an end becomes a row."""

    graph: Graph
    wanted: Wanted
    budget: Budget
    start: State
    phase: str
    """The phase of the states that are answers."""
    leave_out: str = ""
    only: frozenset[str] | None = None
    """The owners whose answers are wanted, where not all are."""
    part: str = ""
    """The part that is asked about, if one is."""
    host: Place | None = None
    """The place that was asked about, if one was."""
    _cautioned: dict[Any, tuple[str, ...]] = field(default_factory=dict)
    left_over: int = 0
    """So many answers, the least certain, were not looked at, because the time was up."""
    questions: int = 1
    """Among so many networks of one question the chance that an interval misses is divided."""
    nearest: int | None = None
    """Only so many answers are looked for, those by the surest ways, and none is weighed."""

    @property
    def data(self) -> Collection:
        """What the folder says of things."""
        return self.graph.data

    @property
    def of_donors(self) -> bool:
        """Whether the place is given, and the item is sought."""
        return self.start.phase == "goes"

    @cached_property
    def network(self) -> Network:
        """All that the question comes to."""
        if self.nearest is None:
            return walked(self.graph, self.start, self.budget)
        step = rules.backward if self.of_donors else rules.forward
        enough = _Enough(self.is_answer, self.nearest)
        return explore(self.start, lambda s: step(self.graph, s), self.budget, enough)

    def is_answer(self, state: State) -> bool:
        """Whether a state is an answer that is wanted: a place of a set."""
        return (
            state.phase == self.phase
            and state.owner[0] == "s"
            and state.owner != self.leave_out
            and (self.only is None or state.owner in self.only)
        )

    @cached_property
    def targets(self) -> dict[int, State]:
        """The states that are answers: places of sets."""
        states = self.network.states
        found = {i: s for i, s in enumerate(states) if self.is_answer(s)}
        if self.nearest is None:
            return found
        cost = self.network.cost
        return {i: found[i] for i in sorted(found, key=lambda i: (cost[i], i))[: self.nearest]}

    @cached_property
    def steps(self) -> Steps:
        """The steps that matter."""
        implied = rules.IMPLIED_BACKWARD if self.of_donors else rules.IMPLIED
        return cut(self.network, self.targets, implied)

    def weighed(self) -> dict[int, Weighed]:
        """All answers weighed; of the nearest the surest way alone."""
        if self.nearest is not None:
            return {t: self._by_its_way(t) for t in self.targets}
        aims = Aims(self.wanted.seconds > 0, self.wanted.failures, questions=self.questions)
        return weigh(self.network, self.steps, self.targets, self.budget, memo_of(self.graph), aims)

    def _by_its_way(self, target: int) -> Weighed:
        way = self.network.way(target)
        sure = self.network.product(way)
        return Weighed(Best(way), sure, (sure, 1.0), "")

    def rows(self) -> list[Row]:
        """One row for each answer."""
        if not self.targets:
            return []
        weighed = self.weighed()
        items = _Items(self)
        against = _against(self, items)
        listed = minimal_proofs(self.network, self.steps, self.targets) if self.wanted.proofs else {}
        surest = sorted(weighed, key=lambda t: (-weighed[t].certainty, t))
        found: list[Row] = []
        for target in surest:
            if self.budget.over:
                self.left_over = len(surest) - len(found)
                break
            found.append(self._row(target, weighed[target], items, against(target), listed.get(target)))
        return found

    def _row(
        self, target: int, weighed: Weighed, items: _Items, found: Against | None, listed: Proofs | None
    ) -> Row:
        state = self.targets[target]
        proof = self.network.fact_list(weighed.best.labels)
        best = self.network.product(weighed.best.labels)
        against = self._that_counts(target, proof, best, found or NOTHING, items)
        against = max(against, told_apart(self.graph, proof), key=lambda a: a.certainty)
        parts = self._named_parts(items.parts(target))
        part = self._named_part(proof, state)
        positions = (state.position, self.host.position if self.host else "")
        row = Row(
            set=state.owner,
            position=state.position,
            part=part,
            parts=parts,
            standing=self._standing(state, best, against.certainty),
            basis=basis_of(proof),
            work=tuple(f.claim.work for f in proof if isinstance(f.claim, FitsClaim) and f.claim.work),
            cautions=self._cautions(positions, parts, part),
            differs=exceptions_of(self.data, proof),
            warnings=(UNCHECKED,) if found is None else (),
            against=against.facts,
            no=against.certainty,
        )
        return self._with_matches(weighed_row(self.network, row, weighed, listed))

    def _cautions(
        self, positions: tuple[str, ...], parts: tuple[str, ...], part: str | None
    ) -> tuple[str, ...]:
        key = positions, parts, part
        if key not in self._cautioned:
            named = (*parts, *([part] if part else []))
            self._cautioned[key] = cautions_of(self.data, positions, named)
        return self._cautioned[key]

    def _named_part(self, proof: tuple[Fact, ...], state: State) -> str | None:
        if self.part:
            return self.part
        takes = [f.claim.part for f in proof if isinstance(f.claim, TakesClaim)]
        return takes[-1 if self.of_donors else 0] if takes else None

    def _named_parts(self, parts: tuple[str, ...]) -> tuple[str, ...]:
        return self._alike if self.part else parts

    @cached_property
    def _alike(self) -> tuple[str, ...]:
        others = sorted(alike(self.graph, self.part) - {self.part})
        return (self.part, *others[: MOST_PARTS - 1])

    def _that_counts(
        self, target: int, proof: tuple[Fact, ...], best: float, found: Against, items: _Items
    ) -> Against:
        """What of the strongest `no` counts: a set's own fact is not disputed by a sister's badge.

        An exception of the rebadge would explain both, and `check` proposes it.
        """
        state = self.targets[target]
        host = self.host if self.of_donors and self.host else Place(state.owner, state.position)
        own = any(isinstance(f.claim, TakesClaim) and f.claim[1:3] == host for f in proof)
        if not own or not 0.0 < found.certainty < best - SAME:
            return found
        refused = refusals.refused_items(self.graph, host, self.budget, by_sisters=False)
        return _most(refused, items.bearing(refused)(target))

    def _standing(self, state: State, best: float, no: float) -> str:
        if no > 0:
            return "refused" if no >= best - SAME else "disputed"
        return "stated" if self._says_exactly(state) else "inferred"

    def _says_exactly(self, state: State) -> bool:
        here = Place(state.owner, state.position)
        if self.part:
            return any(p == self.part for p, _, _ in self.graph.taken_at.get(here, ()))
        source, target = (here, self.host) if self.of_donors else (self.host, here)
        return source is not None and any(t == target for t, _ in self.graph.fits_from.get(source, ()))

    def _with_matches(self, row: Row) -> Row:
        positions = ({row.position, self.host.position} if self.host else {row.position}) - {""}
        others = self._counterparts(row)
        for other in others:
            for verdict, says in matching.unmatched(self.data, self._one_end(row), other, positions):
                standing = row.standing if verdict is None else "refused"
                row = row._replace(standing=standing, warnings=(*row.warnings, says))
        here = self._one_end(row)
        if not others and not any(
            isinstance(f.claim, TakesClaim) and f.claim.owner == here for f in row.proof
        ):
            alone = matching.unmatched_alone(self.data, here, positions)
            row = row._replace(warnings=(*row.warnings, *alone))
        return row

    def _one_end(self, row: Row) -> str:
        return row.set

    def _counterparts(self, row: Row) -> list[str]:
        """The set at the other end: that asked about, or the one whose part the best proof starts from."""
        if self.host:
            return [self.host.owner]
        owners = (f.claim.owner for f in row.proof if isinstance(f.claim, TakesClaim))
        return [o for o in dict.fromkeys(owners) if o[0] == "s" and o != row.set]


def weighed_row(network: Network, row: Row, weighed: Weighed, listed: Proofs | None) -> Row:
    """A row with what was weighed of its answer."""
    found: dict[str, Any] = {
        "proof": network.fact_list(weighed.best.labels),
        "best": network.product(weighed.best.labels),
        "proven": weighed.best.proven,
        "certainty": weighed.certainty,
        "bounds": weighed.bounds,
        "weighed": weighed.how,
        "failures": tuple((network.facts[n], c) for n, c in weighed.failures),
        "failures_exact": weighed.failures_exact,
    }
    if listed is not None:
        found["proofs"] = tuple(network.fact_list(sorted(p)) for p in listed.found[:PROOFS_KEPT])
        found["all_proofs"] = listed.complete
    return row._replace(**found)


def basis_of(proof: Iterable[Fact]) -> tuple[str, ...]:
    """What an answer rests on: facts that are stated, and equal size where it does."""
    return ("stated facts", "size") if any(f.kind == "size" for f in proof) else ("stated facts",)


def exceptions_of(data: Collection, proof: Iterable[Fact]) -> tuple[str, ...]:
    """What the rebadge and uses facts of a proof leave out, each name once."""
    left_out = dict.fromkeys(k for f in proof for k in f.left_out)
    return tuple(data.text("position", key) for key in left_out)


def alike(graph: Graph, part: str) -> set[str]:
    """The part and every other name that `same` facts give it."""
    found, todo = {part}, [part]
    while todo:
        for other, _ in graph.same.get(todo.pop(), ()):
            if other not in found:
                found.add(other)
                todo.append(other)
    return found


class _Enough:
    """Counts the answers that a walk has come to."""

    def __init__(self, is_answer: Callable[[State], bool], wanted: int) -> None:
        self.is_answer, self.left = is_answer, wanted

    def __call__(self, state: State) -> bool:
        self.left -= self.is_answer(state)
        return self.left <= 0


# Which items an answer is about ---------------------------------------------------------------


class _Items:
    """The items of each answer as sets of bits: the parts, and the places, that lead to it."""

    def __init__(self, asked: Asked) -> None:
        self.asked = asked
        states = asked.network.states
        self._owners = [s.owner for s in states if s.phase == "part"]
        self._of_parts = _spread_bits(asked.network, lambda s: s.phase == "part")
        self._texts: dict[int, tuple[str, ...]] = {}

    def parts(self, target: int) -> tuple[str, ...]:
        """The parts that lead to an answer, by name; those met first where there are too many."""
        bits = self._of_parts[target]
        if bits not in self._texts:
            found = [self._owners[i] for i in _ones(bits, MOST_PARTS)]
            self._texts[bits] = tuple(sorted(set(found)))
        return self._texts[bits]

    def bearing(self, items: Iterable[Item]) -> Callable[[int], frozenset[Item]]:
        """For each answer those of these items that it is about."""
        wanted = frozenset(items)
        if self.asked.phase == "asked":
            return lambda target: frozenset({self.asked.targets[target].owner}) & wanted
        if self.asked.part:
            about = frozenset({self.asked.part}) & wanted
            return lambda target: about
        parts = sum(1 << i for i, owner in enumerate(self._owners) if owner in wanted)
        places = sum(1 << i for i, place in enumerate(self._places) if place in wanted)
        known: dict[tuple[int, int], frozenset[Item]] = {}

        def of(target: int) -> frozenset[Item]:
            here = self._of_parts[target] & parts, 0
            if places and self._without_parts[target]:
                here = here[0], self._of_places[target] & places
            if here not in known:
                by_place = [self._places[i] for i in _ones(here[1])]
                known[here] = frozenset([*(self._owners[i] for i in _ones(here[0])), *by_place])
            return known[here]

        return of

    @cached_property
    def _places(self) -> list[Place]:
        return [Place(*s[1:]) for s in self.asked.network.states if s.phase == "is"]

    @cached_property
    def _of_places(self) -> list[int]:
        return _spread_bits(self.asked.network, lambda s: s.phase == "is")

    @cached_property
    def _without_parts(self) -> list[bool]:
        """Whether each state is reached without any part on the way."""
        network = self.asked.network
        found = [False] * len(network.states)
        found[0] = True
        todo = [0]
        while todo:
            for to, _ in network.steps[todo.pop()]:
                if not found[to] and network.states[to].phase not in _PARTS:
                    found[to] = True
                    todo.append(to)
        return found


_PARTS = ("part", "older", "sized", "source", "alike")


def _spread_bits(network: Network, own: Callable[[State], bool]) -> list[int]:
    """For each state which of some states, numbered in their order, lead to it; a bit for each."""
    found, number = [0] * len(network.states), 0
    for i, one in enumerate(network.states):
        if own(one):
            found[i], number = 1 << number, number + 1
    if not number:
        return found
    waiting = {i for i, bits in enumerate(found) if bits}
    while waiting:
        following: set[int] = set()
        for state in sorted(waiting):
            here = found[state]
            for to, _ in network.steps[state]:
                if here & ~found[to]:
                    found[to] |= here
                    following.add(to)
        waiting = following
    return found


def _ones(bits: int, most: int | None = None) -> Iterator[int]:
    """The numbers of the bits that are set, from the lowest on."""
    while bits and most != 0:
        low = bits & -bits
        yield low.bit_length() - 1
        bits ^= low
        most = None if most is None else most - 1


# What speaks against it -----------------------------------------------------------------------


def _against(asked: Asked, items: _Items) -> Callable[[int], Against | None]:
    """For each answer the strongest proof that it does not go; None where there was no time to look."""
    places = {Place(*s[1:]) for s in asked.network.states if s.phase == "goes"}
    if asked.nearest is not None:
        # A walk that ended early did not come to every place like these.
        places = {far for place in places for far in refusals.refused_near(asked.graph, place)}
    said = refusals.said_at(asked.graph, sorted(places))
    if not said:
        return lambda target: NOTHING
    if asked.of_donors and asked.host is not None:
        refused = refusals.refused_items(asked.graph, asked.host, asked.budget)
        about = items.bearing(refused)

        def strongest(target: int) -> Against | None:
            return _most(refused, about(target))

        return strongest
    return _of_takers(asked, items, said)


def _of_takers(asked: Asked, items: _Items, said: rules.Said) -> Callable[[int], Against | None]:
    about = items.bearing(refusals.bearing_on(asked.graph, said, asked.budget))
    walked: dict[frozenset[Item], Mapping[Place, Against]] = {frozenset(): {}}

    def against(target: int) -> Against | None:
        mine = about(target)
        if mine not in walked:
            if len(walked) > refusals.MOST_WALKS or asked.budget.steps <= 0:
                return None
            walked[mine] = refusals.refused_places(asked.graph, said, mine, asked.budget)
        here: Against = walked[mine].get(Place(*asked.targets[target][1:]), NOTHING)
        return here

    return against


def _most(refused: Mapping[Item, Against], about: Iterable[Item]) -> Against:
    found: list[Against] = [refused[item] for item in sorted(about, key=str)]
    return max(found, key=_certainty, default=NOTHING)


def _certainty(against: Against) -> float:
    return against.certainty
