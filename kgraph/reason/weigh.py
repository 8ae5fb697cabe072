"""A network is weighed: for each answer its best proof, its certainty, and what each fact changes.

Exact where the decision diagrams of all modules on the way to an answer stay within the budget; else drawn.
The diagrams serve networks that hang together in small pieces, and facts that stand in several places of
them; worlds drawn at random serve all others, at a cost that grows only with the number of steps.
"""

from __future__ import annotations

import math
import operator
from collections.abc import Iterable, MutableMapping, Sequence
from itertools import accumulate, islice
from typing import Any, NamedTuple

from kgraph.reason import drawn
from kgraph.reason.budget import Budget
from kgraph.reason.exact import Diagram, OutOfReach
from kgraph.reason.modules import Module, Parts, take_apart
from kgraph.reason.proofs import Best, BestProofs
from kgraph.reason.walk import Network, Steps, cut, leading_to

MOST_REMEMBERED = 20_000
"""So many solved modules are remembered for the questions that follow."""
MOST_PAIRS = 20_000
"""So many pairs of an answer and a fact are counted in drawn worlds; of more, best proofs' facts alone."""
MOST_FAILURES = 300_000
"""So many pairs of an answer and a fact are told exactly, the surest answers first; others are drawn."""
PARTS_OF_BUDGET = 5
"""No module may use more than this part of the nodes that are left: others come after it."""
ROUNDS = 8
"""How often a step is followed until nothing changes, as reckoned beforehand."""

Memo = MutableMapping[Any, Any]
"""Modules solved earlier, by what they state."""


class Aims(NamedTuple):
    """What is wanted of a network besides best proofs."""

    certain: bool = True
    """Whether certainties are wanted."""
    failures: bool = False
    """Whether it is wanted what would be left of an answer without each of its facts."""
    beside: int = 0
    """A state that has to be reached as well; 0, the start, always is."""
    questions: int = 1
    """Among so many networks of one question the chance that an interval misses is divided."""


class Weighed(NamedTuple):
    """One answer weighed. Not `how`: only the best proof was asked for, and the certainty is not known."""

    best: Best
    certainty: float
    bounds: tuple[float, float] | None
    how: str
    """`exact`, `drawn`, or nothing."""
    failures: tuple[tuple[int, float], ...] = ()
    """Each uncertain fact that bears on the answer, and the certainty without it; where it was asked for."""
    failures_exact: bool = True

    def with_best(self, best: Best, network: Network) -> Weighed:
        """The same with another best proof, which the certainty is never below."""
        proven = network.product(best.labels)
        if not self.how:
            return self._replace(best=best, certainty=proven, bounds=(proven, 1.0))
        low, high = self.bounds or (0.0, 0.0)
        bounds = (max(low, proven), max(high, proven)) if self.bounds else None
        return self._replace(best=best, certainty=max(self.certainty, proven), bounds=bounds)


def weigh(
    network: Network, steps: Steps, targets: Iterable[int], budget: Budget, memo: Memo, aims: Aims
) -> dict[int, Weighed]:
    """All targets that can be reached, weighed; `steps` are those of the network that matter."""
    parts = take_apart(steps)
    wanted = [t for t in sorted(set(targets)) if t == 0 or parts.module_of[t] >= 0]
    proofs = BestProofs(network, parts, budget, wanted)
    best = {t: proofs.of(t) for t in wanted}
    if not aims.certain:
        return {t: Weighed(b, p := network.product(b.labels), (p, 1.0), "") for t, b in best.items()}
    exact = {} if network.unexplored else _Exact(network, parts, budget, memo, aims).of(wanted, best)
    rest = [t for t in wanted if t not in exact]
    found = exact | (_drawn(network, steps, rest, best, budget, aims) if rest else {})
    return found if aims.beside else {t: w.with_best(best[t], network) for t, w in found.items()}


def best_proofs(network: Network, targets: Iterable[int], budget: Budget | None = None) -> dict[int, Best]:
    """The best proofs of these states alone; of a state that is not reached there is none."""
    wanted = set(targets)
    found = weigh(network, cut(network, wanted), wanted, budget or Budget(), {}, Aims(certain=False))
    return {state: weighed.best for state, weighed in found.items()}


# Exactly --------------------------------------------------------------------------------------


class _Single:
    """A module of one member: reached where one of the facts of the steps from the entry holds."""

    def __init__(self, labels: Iterable[int], chances: Sequence[float]) -> None:
        self.chances = {n: chances[n] for n in dict.fromkeys(labels)}

    def chance(self, member: int) -> float:
        return 1.0 if -1 in self.chances else 1.0 - math.prod(1.0 - c for c in self.chances.values())

    def without_each(self, member: int) -> dict[int, float]:
        if -1 in self.chances:
            return {}
        return {n: 1.0 - math.prod(1.0 - c for m, c in self.chances.items() if m != n) for n in self.chances}


class _OneStep(_Single):
    """The usual module: one step by one fact."""

    def chance(self, member: int) -> float:
        return next(iter(self.chances.values()))

    def without_each(self, member: int) -> dict[int, float]:
        return dict.fromkeys((n for n in self.chances if n >= 0), 0.0)


class _Factor(NamedTuple):
    """One factor of the chance of an answer: members of a module that are all reached from its entry."""

    module: int
    members: tuple[int, ...]


class _Exact:
    """The chance of each answer as a product over the modules on the way to it."""

    def __init__(self, network: Network, parts: Parts, budget: Budget, memo: Memo, aims: Aims) -> None:
        self.network, self.parts, self.budget, self.memo, self.aims = network, parts, budget, memo, aims
        self.solved: dict[int, tuple[Diagram | _Single, Sequence[int]] | None] = {}
        self.place = {s: i for module in parts.modules for i, s in enumerate(module.members, 1)}
        self.certainties = [f.certainty for f in network.facts]
        self.values: dict[_Factor, float] = {}
        self.reach = {0: 1.0}
        self.left: dict[_Factor, dict[int, float]] = {}

    def of(self, targets: Sequence[int], best: dict[int, Best]) -> dict[int, Weighed]:
        """The targets that are in reach."""
        found, told = {}, 0
        for target in targets:
            if told > MOST_FAILURES:
                continue
            try:
                if not (self.aims.failures or self.aims.beside):
                    found[target] = Weighed(best[target], min(1.0, self._reached(target)), None, "exact")
                    continue
                factors = self._factors(target)
                values = [self._chance(f) for f in factors]
                failures = self._failures(factors, values) if self.aims.failures else ()
            except OutOfReach:
                continue
            told += len(failures)
            found[target] = Weighed(best[target], min(1.0, math.prod(values)), None, "exact", failures)
        return found

    def _reached(self, state: int) -> float:
        """The chance of a state: that of the entry of its module, times that within it."""
        way = []
        while state not in self.reach:
            way.append(state)
            state = self.parts.modules[self.parts.module_of[state]].entry
        chance = self.reach[state]
        for here in reversed(way):
            chance *= self._chance(_Factor(self.parts.module_of[here], (self.place[here],)))
            self.reach[here] = chance
        return chance

    def _factors(self, target: int) -> list[_Factor]:
        mine, beside = self._chain(target), self._chain(self.aims.beside)
        shared = 0
        while shared < min(len(mine), len(beside)) and mine[shared] == beside[shared]:
            shared += 1
        rest = [*mine[shared:], *beside[shared:]]
        if shared < min(len(mine), len(beside)):
            one, other = mine[shared], beside[shared]
            both = _Factor(one.module, (*one.members, *other.members))
            rest = [both, *mine[shared + 1 :], *beside[shared + 1 :]]
        return [*mine[:shared], *rest]

    def _chain(self, state: int) -> list[_Factor]:
        found = []
        while state:
            module = self.parts.module_of[state]
            found.append(_Factor(module, (self.place[state],)))
            state = self.parts.modules[module].entry
        return found[::-1]

    def _chance(self, factor: _Factor) -> float:
        if factor not in self.values:
            module, _ = self._solve(factor.module)
            if len(factor.members) == 2 and isinstance(module, Diagram):
                self.values[factor] = module.both(*factor.members)
            else:
                self.values[factor] = module.chance(factor.members[0])
        return self.values[factor]

    def _without_each(self, factor: _Factor) -> dict[int, float]:
        """For each uncertain fact of a factor what is left of its chance without the fact."""
        if factor not in self.left:
            module, labels = self._solve(factor.module)
            if len(factor.members) == 2 and isinstance(module, Diagram):
                left = module.both_without_each(*factor.members)
            else:
                left = module.without_each(factor.members[0])
            certain = self.certainties
            self.left[factor] = {labels[n]: c for n, c in left.items() if certain[labels[n]] < 1.0}
        return self.left[factor]

    def _failures(self, factors: list[_Factor], values: list[float]) -> tuple[tuple[int, float], ...]:
        found: list[tuple[int, float]] = []
        after = [*accumulate(reversed(values), operator.mul, initial=1.0)][::-1]
        before = 1.0
        for at, factor in enumerate(factors):
            others = before * after[at + 1]
            before *= values[at]
            found += [(n, others * c) for n, c in self._without_each(factor).items()]
        return tuple(found)

    def _solve(self, number: int) -> tuple[Diagram | _Single, Sequence[int]]:
        """A module solved, and the facts that its numbers stand for; raises OutOfReach."""
        if number not in self.solved:
            self.solved[number] = self._solved(self.parts.modules[number])
        found = self.solved[number]
        if found is None:
            raise OutOfReach
        return found

    def _solved(self, module: Module) -> tuple[Diagram | _Single, Sequence[int]] | None:
        if len(module.members) == 1:
            own = [n for _, n in module.into[0]]
            single = _OneStep if len(own) == 1 and own[0] >= 0 else _Single
            labels = {n: i for i, n in enumerate(dict.fromkeys(n for n in own if n >= 0))}
            given = [self.certainties[n] for n in labels]
            return single([labels.get(n, -1) for n in own], [*given, 1.0]), list(labels)
        labels = {}
        into = tuple(
            tuple((s, labels.setdefault(n, len(labels)) if n >= 0 else -1) for s, n in steps)
            for steps in module.into
        )
        key = into, tuple((self.network.facts[n].id, self.certainties[n]) for n in labels)
        if key not in self.memo:
            if len(self.memo) > MOST_REMEMBERED:
                self.memo.clear()
            self.memo[key] = self._diagram(Module(0, module.members, into), list(labels))
        found = self.memo[key]
        return None if found is None else (found, list(labels))

    def _diagram(self, module: Module, labels: Sequence[int]) -> Diagram | None:
        try:
            most = max(self.budget.nodes // PARTS_OF_BUDGET, 1)
            made = Diagram(module, [self.certainties[n] for n in labels], most)
        except OutOfReach as found:
            self.budget.nodes -= found.nodes
            return None
        self.budget.nodes -= made.nodes
        return made


# By worlds drawn at random --------------------------------------------------------------------


def _drawn(
    network: Network, steps: Steps, targets: list[int], best: dict[int, Best], budget: Budget, aims: Aims
) -> dict[int, Weighed]:
    ends = {*targets, aims.beside, *network.unexplored}
    useful = leading_to(steps, ends)
    steps = [[s for s in out if s[0] in useful] if i in useful else [] for i, out in enumerate(steps)]
    labels = sorted({n for out in steps for _, n in out if n >= 0})
    answers = len(targets) * aims.questions
    counts = drawn.Counts(targets, _pairs(targets, labels, best) if aims.failures else (), aims.beside)
    _draw(network, steps, counts, _worlds(steps, answers, budget), budget)
    found = {}
    for target in targets:
        low, high = drawn.interval(counts.count[target], counts.worlds, answers)
        if network.unexplored:
            high = drawn.interval(counts.reaching_unexplored[target], counts.worlds, answers)[1]
        share = counts.count[target] / counts.worlds
        failures = _failures(network, counts, target) if aims.failures else ()
        found[target] = Weighed(best[target], share, (low, high), "drawn", failures, False)
    return found


def _worlds(steps: Steps, answers: int, budget: Budget) -> int:
    """How many worlds are drawn: enough for narrow intervals, or as many as the budget allows."""
    wanted = drawn.worlds_wanted(answers)
    each = max(1, sum(map(len, steps)) * ROUNDS)
    allowed = budget.draws * drawn.BLOCK // each
    made = max(drawn.FEWEST, min(wanted, allowed // drawn.FEWEST * drawn.FEWEST))
    budget.draws = max(0, budget.draws - each * made // drawn.BLOCK)
    return made


def _draw(network: Network, steps: Steps, counts: drawn.Counts, worlds: int, budget: Budget) -> None:
    block, most, begun = 0, drawn.block_of(len(steps)), budget.now
    drawing = drawn.DrawnNetwork(steps, network.facts)
    while counts.worlds < worlds:
        width = min(most, worlds - counts.worlds)
        if block and budget.late_in((budget.now - begun) / counts.worlds * width):
            return
        found, holds = drawing.reached(block, width)
        counts.add(found, holds, width, network.unexplored)
        block += 1


def _pairs(targets: list[int], labels: list[int], best: dict[int, Best]) -> list[tuple[int, int]]:
    if len(targets) * len(labels) <= MOST_PAIRS:
        return [(t, n) for t in targets for n in labels]
    return list(islice(((t, n) for t in targets for n in set(best[t].labels)), MOST_PAIRS))


def _failures(network: Network, counts: drawn.Counts, target: int) -> tuple[tuple[int, float], ...]:
    found = []
    for fact, together in counts.with_fact.get(target, {}).items():
        given = network.facts[fact].certainty
        if given < 1.0:
            left = (counts.count[target] - together) / counts.worlds / (1.0 - given)
            found.append((fact, min(left, counts.count[target] / counts.worlds)))
    return tuple(found)
