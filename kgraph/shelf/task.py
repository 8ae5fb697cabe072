"""What a plan is worked out over: wants, articles and offers, their cost, and what clashes."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import NamedTuple

EQUAL = 5e-7
"""Plans whose costs differ by no more count as equally good, and the names decide between them."""


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
class Solution:
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
