"""What goes where: the walk of one question, weighed, and its answers as rows.

Takers, donors and parts share it.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

from kgraph import matching
from kgraph.claims import FitsClaim, TakesClaim
from kgraph.facts import Fact
from kgraph.fits.graph import Graph, Place
from kgraph.names import listed
from kgraph.questions.answer import DEFAULT, Row, Wanted
from kgraph.questions.cautions import cautions_of
from kgraph.questions.distinct import told_apart
from kgraph.questions.items import MOST_PARTS, AgainstEach, Items, against_of
from kgraph.reason import rules
from kgraph.reason.budget import Budget
from kgraph.reason.proofs import PROOFS_KEPT, Best, Proofs, minimal_proofs
from kgraph.reason.refusals import NOTHING, Against
from kgraph.reason.rules import State
from kgraph.reason.walk import Network, Steps, come_to, cut, explore
from kgraph.reason.weigh import Aims, Memo, Weighed, weigh

if TYPE_CHECKING:
    from kgraph.collection import Collection

SAME = 1e-12
"""Certainties nearer to each other than this differ by the order of the products alone."""
UNCHECKED = "no time to look whether something was refused here: ask about this place alone"


def budget_of(wanted: Wanted, spared: float = 0.0, questions: int = 1) -> Budget:
    """The work that a question may do, or so many together.

    `spared`: it ends so many seconds sooner where no longer time is asked for.

    The clock is the processor's: neither a busy machine nor a wait for somebody's answer takes any of it.
    """
    budget = Budget((wanted.seconds or 1.0) * questions, time.thread_time)
    budget.ends -= spared if wanted.seconds <= DEFAULT.seconds else 0.0
    return budget


def memo_of(graph: Graph) -> Memo:
    """What was worked out for earlier questions of the same graph."""
    found: Memo = graph.remembered.setdefault("modules", {})
    return found


def walked(
    graph: Graph, start: State, budget: Budget, enough: Callable[[State], bool] | None = None
) -> Network:
    """All that a question comes to, or as much as is `enough`.

    The last one looked at to its end is remembered: it is asked again.
    """
    last: tuple[State, Network] | None = graph.remembered.get("walked")
    if last is not None and last[0] == start and enough is None:
        return come_to(last[1])
    step = rules.backward if start.phase == "goes" else rules.forward
    network = explore(start, lambda s: step(graph, s), budget, enough)
    if not network.unexplored:
        graph.remembered["walked"] = start, network
    return network


def left_over_note(number: int) -> list[str]:
    """How many answers were not looked at, in words; nothing where all were."""
    if not number:
        return []
    were = "answer was" if number == 1 else "answers were"
    return [f"{number} less certain {were} not looked at for want of time; ask about fewer places at once."]


ALWAYS_TOLD = 30
"""So many of the surest answers are told however little time is left: what a screen shows."""
MOST_UNASKED = 8
"""So many names are told of what there was no time for; the rest are counted."""


def unasked_note(names: Sequence[str], mend: str) -> list[str]:
    """What was not asked about for want of time, and what to do; nothing where all was."""
    if not names:
        return []
    return [f"No time was left to look at {listed(names, MOST_UNASKED)}; {mend}."]


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
        enough = None if self.nearest is None else _Enough(self.is_answer, self.nearest)
        return walked(self.graph, self.start, self.budget, enough)

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
        items = Items(self)
        against = against_of(self, items)
        minimal = minimal_proofs(self.network, self.steps, self.targets) if self.wanted.proofs else {}
        surest = sorted(weighed, key=lambda t: (-weighed[t].certainty, t))
        found: list[Row] = []
        for target in surest:
            if self.budget.over and len(found) >= ALWAYS_TOLD:
                self.left_over = len(surest) - len(found)
                break
            found.append(self._row(target, weighed[target], items, against, minimal.get(target)))
        return found

    def _row(
        self, target: int, weighed: Weighed, items: Items, refused: AgainstEach, minimal: Proofs | None
    ) -> Row:
        state = self.targets[target]
        proof = self.network.fact_list(weighed.best.labels)
        best = self.network.product(weighed.best.labels)
        takes = [f.of(TakesClaim) for f in proof if f.kind == "takes"]
        found = refused(target)
        against = self._that_counts(target, takes, best, found or NOTHING, refused)
        against = max(against, told_apart(self.graph, proof), key=lambda a: a.certainty)
        parts = self._named_parts(items.parts(target))
        part = self._named_part(state, takes)
        positions = (state.position, self.host.position if self.host else "")
        row = Row(
            set=state.owner,
            position=state.position,
            part=part,
            parts=parts,
            standing=self._standing(state, best, against.certainty),
            best=best,
            proof=proof,
            basis=basis_of(proof),
            work=tuple(f.claim.work for f in proof if isinstance(f.claim, FitsClaim) and f.claim.work),
            cautions=self._cautions(positions, parts, part),
            differs=exceptions_of(self.data, proof),
            warnings=(UNCHECKED,) if found is None else (),
            against=against.facts,
            no=against.certainty,
        )
        return self._with_matches(weighed_row(self.network, row, weighed, minimal), takes)

    def _cautions(
        self, positions: tuple[str, ...], parts: tuple[str, ...], part: str | None
    ) -> tuple[str, ...]:
        key = positions, parts, part
        if key not in self._cautioned:
            named = (*parts, *([part] if part else []))
            self._cautioned[key] = cautions_of(self.data, positions, named)
        return self._cautioned[key]

    def _named_part(self, state: State, takes: Sequence[TakesClaim]) -> str | None:
        return self.part or (takes[-1 if self.of_donors else 0].part if takes else None)

    def _named_parts(self, parts: tuple[str, ...]) -> tuple[str, ...]:
        return self._alike if self.part else parts

    @cached_property
    def _alike(self) -> tuple[str, ...]:
        others = sorted(self.graph.alike_parts(self.part) - {self.part})
        return (self.part, *others[: MOST_PARTS - 1])

    def _that_counts(
        self, target: int, takes: Sequence[TakesClaim], best: float, found: Against, refused: AgainstEach
    ) -> Against:
        """What of the strongest `no` counts: a set's own fact is not disputed by a sister's badge.

        An exception of the rebadge would explain both, and `check` proposes it.
        """
        if not 0.0 < found.certainty < best - SAME:
            return found
        state = self.targets[target]
        host = self.host if self.of_donors and self.host else Place(state.owner, state.position)
        if not any(t[1:3] == host for t in takes):
            return found
        return refused(target, False) or found

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

    def _with_matches(self, row: Row, takes: Sequence[TakesClaim]) -> Row:
        positions = ({row.position, self.host.position} if self.host else {row.position}) - {""}
        others = self._counterparts(row, takes)
        here = self._one_end(row)
        for other in others:
            for verdict, says in matching.unmatched(self.data, here, other, positions):
                standing = row.standing if verdict is None else "refused"
                row = row._replace(standing=standing, warnings=(*row.warnings, says))
        if not others and not any(t.owner == here for t in takes):
            alone = matching.unmatched_alone(self.data, here, positions)
            row = row._replace(warnings=(*row.warnings, *alone))
        return row

    def _one_end(self, row: Row) -> str:
        return row.set

    def _counterparts(self, row: Row, takes: Sequence[TakesClaim]) -> list[str]:
        """The set at the other end: that asked about, or the one whose part the best proof starts from."""
        if self.host:
            return [self.host.owner]
        return [o for o in dict.fromkeys(t.owner for t in takes) if o[0] == "s" and o != row.set]


def weighed_row(network: Network, row: Row, weighed: Weighed, minimal: Proofs | None) -> Row:
    """A row, which has its best proof, with what was weighed of its answer."""
    found: dict[str, Any] = {
        "proven": weighed.best.proven,
        "certainty": weighed.certainty,
        "bounds": weighed.bounds,
        "weighed": weighed.how,
        "failures": tuple((network.facts[n], c) for n, c in weighed.failures),
        "failures_exact": weighed.failures_exact,
    }
    if minimal is not None:
        found["proofs"] = tuple(network.fact_list(sorted(p)) for p in minimal.found[:PROOFS_KEPT])
        found["all_proofs"] = minimal.complete
    return row._replace(**found)


def basis_of(proof: Iterable[Fact]) -> tuple[str, ...]:
    """What an answer rests on: facts that are stated, and equal size where it does."""
    return ("stated facts", "size") if any(f.kind == "size" for f in proof) else ("stated facts",)


def exceptions_of(data: Collection, proof: Iterable[Fact]) -> tuple[str, ...]:
    """What the rebadge and uses facts of a proof leave out, each name once."""
    left_out = dict.fromkeys(k for f in proof for k in f.left_out)
    return tuple(data.text("position", key) for key in left_out)


class _Enough:
    """Counts the answers that a walk has come to."""

    def __init__(self, is_answer: Callable[[State], bool], wanted: int) -> None:
        self.is_answer, self.left = is_answer, wanted

    def __call__(self, state: State) -> bool:
        self.left -= self.is_answer(state)
        return self.left <= 0
