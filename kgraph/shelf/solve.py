"""The plan that meets the most wants and, among those, costs least: proven by integer programming.

Pure sums over *offers*: what they mean is :mod:`kgraph.shelf.plan`'s. The solver (CBC, through PuLP) is
started here alone. What it finds is checked again in plain Python before anybody sees it.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations, pairwise
from typing import Any, NamedTuple

from kgraph.problems import CannotRun

EQUAL = 5e-7
"""Plans whose costs differ by no more count as equally good, and the names decide between them."""
_MARGIN = 2e-6
"""How far the solver's own sums, good to about 1e-7 each, are trusted when an offer is ruled out."""
_MOST_RANKS = 100_000
"""So many orders by name go into one question to the solver: whole numbers that it still tells apart."""


class Want(NamedTuple):
    """What a unit still wants at a position (keys)."""

    unit: str
    position: str


class Article(NamedTuple):
    """What can be given: what stands at a place of a unit; or, with no unit, a loose part by its key."""

    unit: str
    place: str


@dataclass(frozen=True, slots=True)
class Offer:
    """An article for a want. `cost` is that of its line; `brings` what comes off the donor with it."""

    want: Want
    article: Article
    cost: float
    brings: frozenset[Article] = frozenset()

    @property
    def order(self) -> tuple[Want, Article]:
        """Where it stands by name."""
        return self.want, self.article


@dataclass(frozen=True, slots=True)
class Task:
    """All offers, what it costs to open each donor, and how many there are of an article (1 if not said).

    `spared`: sets of articles of each of which one at least is left, for somebody else counts on it.
    """

    offers: tuple[Offer, ...]
    opening: Mapping[str, float] = field(default_factory=dict)
    counts: Mapping[Article, int] = field(default_factory=dict)
    spared: tuple[frozenset[Article], ...] = ()


Used = frozenset[tuple[Article, int]]
"""The articles that a plan uses; of several equal ones the first, the second and so on."""


@dataclass(frozen=True, slots=True)
class Found:
    """A plan: its offers by want, and how far it is proven.

    `met_at_most` and `cost_at_least` bound what any plan can reach; where `proven`, they are what this one
    does. `settled` is False where time ran out before the names had decided between equal plans.
    """

    chosen: tuple[Offer, ...] = ()
    cost: float = 0.0
    proven: bool = True
    met_at_most: int = 0
    cost_at_least: float = 0.0
    settled: bool = True


# What a plan may be, in plain Python ----------------------------------------------------------


def cost_of(task: Task, chosen: Iterable[Offer]) -> float:
    """What a plan costs: every donor opened once, and every line."""
    chosen = list(chosen)
    opened = {o.article.unit for o in chosen} - {""}
    return math.fsum([*(task.opening[u] for u in opened), *(o.cost for o in chosen)])


def used_by(chosen: Iterable[Offer]) -> Used:
    """The set of articles that a plan uses."""
    counts = Counter(o.article for o in chosen)
    return frozenset((a, k) for a, n in counts.items() for k in range(1, n + 1))


def clash(task: Task, one: Offer, other: Offer) -> bool:
    """Whether two offers cannot both be taken up."""
    if one.want == other.want:
        return True
    if one.article == other.article:
        return task.counts.get(one.article, 1) < 2
    return _robs(one, other) or _robs(other, one)


def _robs(whole: Offer, other: Offer) -> bool:
    """Whether a whole assembly takes with it what another offer needs.

    All of it goes to one unit and to its own places there, so it still serves that unit's wants at those.
    """
    patient = other.want.unit
    if other.article in whole.brings:
        return whole.want.unit != patient or other.article.place != other.want.position
    return whole.want.unit != patient and not whole.brings.isdisjoint(other.brings)


def used_up(task: Task, chosen: Iterable[Offer]) -> set[Article]:
    """The articles of which a plan leaves none; what comes off with a whole assembly among them."""
    chosen = list(chosen)
    counts = Counter(o.article for o in chosen)
    brought = {a for o in chosen for a in o.brings}
    return brought | {a for a, n in counts.items() if n >= task.counts.get(a, 1)}


def spares(task: Task, chosen: Iterable[Offer]) -> bool:
    """Whether a plan leaves somebody else one of all that he counts on."""
    gone = used_up(task, chosen) if task.spared else set()
    return not any(those <= gone for those in task.spared)


def faults(task: Task, chosen: Sequence[Offer]) -> list[str]:
    """What is wrong with a plan; empty where every want, article and donor is used as it may be."""
    known = set(task.offers)
    found = [f"{o.order} is no offer" for o in chosen if o not in known]
    found += [f"{a.order} and {b.order} clash" for a, b in combinations(chosen, 2) if clash(task, a, b)]
    for article, number in Counter(o.article for o in chosen).items():
        if number > task.counts.get(article, 1):
            found.append(f"{article} is used {number} times")
    return found if spares(task, chosen) else [*found, "it leaves nothing of what is to be spared"]


def greedy(task: Task) -> tuple[Offer, ...]:
    """A plan by common sense: the want with the fewest offers first, each time the cheapest that is left."""
    by_want: dict[Want, list[Offer]] = defaultdict(list)
    for offer in task.offers:
        by_want[offer.want].append(offer)
    left = Counter({o.article: task.counts.get(o.article, 1) for o in task.offers})
    chosen: list[Offer] = []
    opened = {""}
    for want in sorted(by_want, key=lambda w: (len(by_want[w]), w)):
        free = [o for o in by_want[want] if left[o.article] and not any(clash(task, o, c) for c in chosen)]
        free = [o for o in free if spares(task, [*chosen, o])]
        if not free:
            continue
        taken = min(free, key=lambda o: (o.cost + _opening(task, o, opened), o.order))
        chosen.append(taken)
        opened.add(taken.article.unit)
        left[taken.article] -= 1
    return tuple(sorted(chosen, key=lambda o: o.order))


def _opening(task: Task, offer: Offer, opened: set[str]) -> float:
    return 0.0 if offer.article.unit in opened else task.opening[offer.article.unit]


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


def best_plans(task: Task, seconds: float, more: int = 0) -> list[Found]:
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


def _best(solver: _Solver, task: Task, barred: list[Used]) -> Found:
    offers = sorted(task.offers, key=lambda o: o.order)
    start = greedy(task)
    if used_by(start) in barred:
        start = ()
    met, most = _meet_most(solver, task, offers, barred, start)
    if not met:
        return Found((), 0.0, most == 0, most, 0.0)
    cheap, proven, least, kept = _cost_least(solver, task, offers, barred, met)
    settled = False
    if proven:
        cheap, settled = _by_name(solver, task, kept, barred, cheap)
    if wrong := faults(task, cheap):
        raise CannotRun(f"the solver's plan does not hold: {'; '.join(wrong)}")
    cost = cost_of(task, cheap)
    proven = proven and most == len(cheap)
    return Found(cheap, cost, proven, most, cost if proven else min(least, cost), settled)


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
