"""The plan that meets the most wants and, among those, costs least: proven by integer programming.

Pure sums over *offers*: what they mean is :mod:`kgraph.shelf.plan`'s. The solver (CBC, through PuLP) is
started here alone. What it finds is checked again in plain Python before anybody sees it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from itertools import combinations, pairwise
from typing import Any

from kgraph.problems import CannotRun
from kgraph.shelf.task import (
    EQUAL,
    Article,
    Offer,
    Solution,
    Task,
    Used,
    Want,
    clash,
    cost_of,
    faults,
    greedy,
    used_by,
)

_MARGIN = 2e-6
"""How far the solver's own sums, good to about 1e-7 each, are trusted when an offer is ruled out."""
_MOST_RANKS = 100_000
"""So many orders by name go into one question to the solver: whole numbers that it still tells apart."""


# The integer programme ------------------------------------------------------------------------


class _Solver:
    """CBC with what is left of the time. PuLP reports `Optimal` after a time limit too: only `sol_status`
    tells what is proven from what was merely found."""

    def __init__(self, seconds: float) -> None:
        try:
            import pulp
        except ImportError:
            raise CannotRun("planning needs the library PuLP; install it with `pip install pulp`") from None
        self.pulp: Any = pulp
        self.left = seconds

    def run(self, problem: Any, whole: bool = True) -> str:
        """Solve: `proven`, `found` or `none`."""
        if self.left <= 0:
            return "none"
        # CBC's default would let a plan pass that is dearer by 1e-5; one thread keeps it from racing.
        command = self.pulp.PULP_CBC_CMD(
            mip=whole, msg=False, timeLimit=max(self.left, 0.01), gapRel=0, gapAbs=0, threads=1,
            options=["increment 1e-9"],
        )  # fmt: skip
        try:
            problem.solve(command)
        except (self.pulp.PulpSolverError, OSError) as error:
            mend = "TMPDIR must name a folder that can be written and has no blank in its name"
            raise CannotRun(f"the solver CBC could not be run: {error}; {mend}") from None
        self.left -= problem.solutionTime
        status = problem.sol_status
        if status == self.pulp.LpSolutionOptimal:
            return "proven"
        return "found" if status == self.pulp.LpSolutionIntegerFeasible else "none"


class _Programme:
    """The integer programme of a task; `offers` in the order of their names."""

    def __init__(self, solver: _Solver, task: Task, offers: Sequence[Offer], barred: Sequence[Used]) -> None:
        self.pulp, self.task, self.offers = solver.pulp, task, offers
        self.problem = self.pulp.LpProblem("plan", self.pulp.LpMinimize)
        # The solver's names are numbers: no text of the data reaches it.
        self.takes = [self._binary(f"t{i}") for i in range(len(offers))]
        units = sorted({o.article.unit for o in offers} - {""})
        self.opens = {u: self.pulp.LpVariable(f"o{i}", 0, 1) for i, u in enumerate(units)}
        self._each_once()
        self._wholes()
        self._spare()
        for used in barred:
            self._bar(used)

    def _binary(self, name: str) -> Any:
        return self.pulp.LpVariable(name, 0, 1, self.pulp.LpBinary)

    def _sum(self, numbers: Iterable[int]) -> Any:
        return self.pulp.lpSum(self.takes[i] for i in numbers)

    def _each_once(self) -> None:
        """One offer for a want, one want for an article, and no offer of a donor that is not opened."""
        wants: dict[Want, list[int]] = defaultdict(list)
        articles: dict[Article, list[int]] = defaultdict(list)
        donors: dict[tuple[Want, str], list[int]] = defaultdict(list)
        for i, offer in enumerate(self.offers):
            wants[offer.want].append(i)
            articles[offer.article].append(i)
            if offer.article.unit:
                donors[offer.want, offer.article.unit].append(i)
        for numbers in wants.values():
            self.add(self._sum(numbers) <= 1)
        for article, numbers in articles.items():
            if len(numbers) > self.task.counts.get(article, 1):
                self.add(self._sum(numbers) <= self.task.counts.get(article, 1))
        for (_, unit), numbers in donors.items():
            self.add(self._sum(numbers) <= self.opens[unit])
        self.by_article = articles

    def _wholes(self) -> None:
        """What a whole assembly takes with it is not there for others."""
        wholes = [i for i, o in enumerate(self.offers) if o.brings]
        for i in wholes:
            for article in sorted(self.offers[i].brings):
                others = [j for j in self.by_article.get(article, ()) if self._clash(i, j)]
                if others:
                    self.add(self.takes[i] + self._sum(others) <= 1)
        for i, j in combinations(wholes, 2):
            if self._clash(i, j):
                self.add(self.takes[i] + self.takes[j] <= 1)

    def _spare(self) -> None:
        """Of what somebody else counts on, one article at least is left."""
        bringing: dict[Article, list[int]] = defaultdict(list)
        for i, offer in enumerate(self.offers):
            for article in offer.brings:
                bringing[article].append(i)
        ends: dict[Article, Any] = {}
        for those in self.task.spared:
            for article in sorted(those - ends.keys()):
                ends[article] = self._end(article, bringing[article], f"e{len(ends)}")
            self.add(self.pulp.lpSum(ends[a] for a in sorted(those)) <= len(those) - 1)

    def _end(self, article: Article, bringing: Sequence[int], name: str) -> Any:
        """1 where none of an article is left."""
        end = self.pulp.LpVariable(name, 0, 1)
        for i in bringing:
            self.add(self.takes[i] <= end)
        numbers, count = self.by_article.get(article, ()), self.task.counts.get(article, 1)
        if len(numbers) >= count:
            self.add(self._sum(numbers) - (count - 1) <= end)
        return end

    def _clash(self, one: int, other: int) -> bool:
        return one != other and clash(self.task, self.offers[one], self.offers[other])

    def _bar(self, used: Used) -> None:
        """Not just these articles again."""
        levels = {a: self._levels(a, numbers) for a, numbers in sorted(self.by_article.items())}
        steps = {(a, k): level for a, found in levels.items() for k, level in enumerate(found, 1)}
        same = self.pulp.lpSum(level if step in used else -level for step, level in steps.items())
        self.add(same <= len(used) - 1)

    def _levels(self, article: Article, numbers: Sequence[int]) -> list[Any]:
        """For an article: whether the first, the second and so on of it is used."""
        most = min(self.task.counts.get(article, 1), len(numbers))
        if most == 1:
            return [self._sum(numbers)]
        made = [self._binary(f"l{len(self.problem.constraints)}x{k}") for k in range(most)]
        self.add(self.pulp.lpSum(made) == self._sum(numbers))
        for one, other in pairwise(made):
            self.add(one >= other)
        return made

    def add(self, constraint: Any) -> None:
        """One more condition."""
        self.problem += constraint

    def number_met(self) -> Any:
        """How many wants the plan meets."""
        return self._sum(range(len(self.offers)))

    def cost(self) -> Any:
        """What the plan costs."""
        opened = [self.task.opening[u] * v for u, v in self.opens.items()]
        return self.pulp.lpSum([*opened, *(o.cost * v for o, v in zip(self.offers, self.takes, strict=True))])

    def take_up(self, decided: set[Offer]) -> None:
        """These offers must be taken up."""
        for offer, taken in zip(self.offers, self.takes, strict=True):
            if offer in decided:
                self.add(taken == 1)

    def weighed(self, weights: Mapping[Offer, int]) -> Any:
        """The sum of the weights of the offers taken up, with its sign turned."""
        pairs = zip(self.offers, self.takes, strict=True)
        return self.pulp.lpSum(-weights[o] * v for o, v in pairs if o in weights)

    def aim(self, least: Any) -> None:
        """What is to be made as small as it can be."""
        self.problem.setObjective(least)

    def chosen(self) -> tuple[Offer, ...]:
        """The offers that the solver took up."""
        return tuple(o for o, v in zip(self.offers, self.takes, strict=True) if (v.value() or 0) > 0.5)

    def least_cost_with(self, relaxed: float) -> list[float]:
        """For each offer: less than this no plan with it can cost, by the reduced costs of the relaxation."""
        donors = {u: v.dj or 0.0 for u, v in self.opens.items()}
        return [
            relaxed + max(v.dj or 0.0, donors.get(o.article.unit, 0.0), 0.0)
            for o, v in zip(self.offers, self.takes, strict=True)
        ]


# The search -----------------------------------------------------------------------------------


def best_plans(task: Task, seconds: float, more: int = 0) -> list[Solution]:
    """The best plan, then up to `more` next best that each use other articles than all before.

    More wants met come before less cost. Raises CannotRun where the solver cannot be run.
    """
    solver = _Solver(seconds)
    found = [_best(solver, task, [])]
    while len(found) <= more and found[-1].chosen:
        after = _best(solver, task, [used_by(f.chosen) for f in found])
        if not after.chosen:
            break
        found.append(after)
    return found


def _best(solver: _Solver, task: Task, barred: list[Used]) -> Solution:
    offers = sorted(task.offers, key=lambda o: o.order)
    start = greedy(task)
    if used_by(start) in barred:
        start = ()
    met, most = _meet_most(solver, task, offers, barred, start)
    if not met:
        return Solution((), 0.0, most == 0, most, 0.0)
    cheap, proven, least, kept = _cost_least(solver, task, offers, barred, met)
    settled = False
    if proven:
        cheap, settled = _by_name(solver, task, kept, barred, cheap)
    if wrong := faults(task, cheap):
        raise CannotRun(f"the solver's plan does not hold: {'; '.join(wrong)}")
    cost = cost_of(task, cheap)
    proven = proven and most == len(cheap)
    return Solution(cheap, cost, proven, most, cost if proven else min(least, cost), settled)


def _meet_most(
    solver: _Solver, task: Task, offers: list[Offer], barred: list[Used], start: tuple[Offer, ...]
) -> tuple[tuple[Offer, ...], int]:
    """A plan that meets as many wants as can be met, and a number that none can pass."""
    most = len({o.want for o in offers})
    if len(start) == most:
        return start, most
    programme = _Programme(solver, task, offers, barred)
    programme.aim(-1 * programme.number_met())
    said = solver.run(programme.problem)
    met = programme.chosen() if said != "none" else ()
    if said == "proven":
        return met, len(met)
    return max(start, met, key=len), most


def _cost_least(
    solver: _Solver, task: Task, offers: list[Offer], barred: list[Used], met: tuple[Offer, ...]
) -> tuple[tuple[Offer, ...], bool, float, list[Offer]]:
    """The cheapest plan that meets as many, whether that is proven, a lower bound of its cost, and
    the offers that a plan as cheap can still use."""
    programme = _Programme(solver, task, offers, barred)
    programme.aim(programme.cost())
    programme.add(programme.number_met() == len(met))
    relaxed, least = 0.0, [0.0] * len(offers)
    if solver.run(programme.problem, whole=False) == "proven":
        relaxed = float(programme.problem.objective.value() or 0.0)
        least = programme.least_cost_with(relaxed)
    said = solver.run(programme.problem)
    cheap = min(met, programme.chosen() if said != "none" else met, key=lambda c: cost_of(task, c))
    limit = cost_of(task, cheap) + _MARGIN
    kept = [o for o, bound in zip(offers, least, strict=True) if bound <= limit or o in cheap]
    return cheap, said == "proven", relaxed, kept


def _by_name(
    solver: _Solver, task: Task, kept: list[Offer], barred: list[Used], cheap: tuple[Offer, ...]
) -> tuple[tuple[Offer, ...], bool]:
    """Of all plans as good, the first by name, and whether it was found: the first want takes the first
    article that it can have, then the second want, and so on; having none comes last."""
    limit = cost_of(task, cheap) + EQUAL
    left = list(kept)
    decided: set[Offer] = set()
    for weights in _weights(kept):
        if not _first_choices(weights, cheap):
            programme = _Programme(solver, task, left, barred)
            programme.add(programme.number_met() == len(cheap))
            programme.add(programme.cost() <= limit)
            programme.take_up(decided)
            programme.aim(programme.weighed(weights))
            if solver.run(programme.problem) != "proven":
                return cheap, False
            cheap = programme.chosen()
        decided |= weights.keys() & set(cheap)
        left = [o for o in left if o not in weights or o in decided]
    return cheap, True


def _weights(kept: list[Offer]) -> list[dict[Offer, int]]:
    """Group after group of wants: how much each offer counts, the first want of a group more than all
    behind it together, and an earlier article of a want more than a later one."""
    by_want: dict[Want, list[Offer]] = defaultdict(list)
    for offer in kept:
        by_want[offer.want].append(offer)
    groups: list[list[Want]] = [[]]
    size = 1
    for want in sorted(by_want):
        choices = len(by_want[want]) + 1
        if size * choices > _MOST_RANKS and groups[-1]:
            groups.append([])
            size = 1
        groups[-1].append(want)
        size *= choices
    return [_group_weights(by_want, group) for group in groups if group]


def _group_weights(by_want: Mapping[Want, list[Offer]], group: Sequence[Want]) -> dict[Offer, int]:
    weights: dict[Offer, int] = {}
    step = 1
    for want in reversed(group):
        weights |= {o: step * k for k, o in enumerate(reversed(by_want[want]), 1)}
        step *= len(by_want[want]) + 1
    return weights


def _first_choices(weights: Mapping[Offer, int], chosen: Sequence[Offer]) -> bool:
    """Whether every want of a group has the first of its articles already."""
    first: dict[Want, int] = {}
    for offer, weight in weights.items():
        first[offer.want] = max(weight, first.get(offer.want, 0))
    have = {o.want: weights[o] for o in chosen if o in weights}
    return have == first
