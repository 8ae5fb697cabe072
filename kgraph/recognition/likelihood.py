"""The chance of one look: given what is recorded, and among all sets that record the key.

Features are taken to be independent of each other, save those of one group (see :mod:`weighing`).
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping
from typing import NamedTuple, TypeVar

from kgraph.belts import identify
from kgraph.fits.graph import Graph
from kgraph.recognition import seen as seen_of
from kgraph.recognition import spreading, traits
from kgraph.recognition.seen import Look

UNWRITTEN = "\0unwritten"
"""Where the folder knows one value of a key alone there is at least one other, or no look could tell."""
OUTLIER = 3.0
"""A measure so many times its error away disagrees."""


_Result = TypeVar("_Result")


class LookRow(NamedTuple):
    """What a look says of all sets of which the same is known as surely."""

    chance: float
    apart: bool


class LookFit(NamedTuple):
    """One look against all sets: its share, and for each set its chance and whether it disagrees."""

    look: Look
    trait: traits.Trait
    share: float
    rows: list[LookRow]
    """What it says of those of which the same is known, as `trait.at` has them together."""

    def of(self, owner: str) -> LookRow | None:
        """What the look says of a set; None where nothing is known of it."""
        at = self.trait.at.column[self.trait.at.owners.number[owner]]
        return None if at < 0 else self.rows[at]


def chance_of(values: Collection[str], value: str, known: Collection[str], misread: float) -> float:
    """The chance to see a value of a key where these values are recorded.

    >>> round(chance_of({"mw", "fm"}, "mw", {"lw", "mw", "fm"}, 0.05), 6)
    0.475
    """
    # Of a key with many values the set of the others is not made for each list.
    others = len(known) - sum(v in known for v in values) + (value not in known and value not in values)
    return _chance(len(values), others, value in values, misread)


def _chance(values: int, others: int, among: bool, misread: float) -> float:
    if not others:
        return 1.0 / values
    return (1.0 - misread) / values if among else misread / others


def chances_of(
    values: Collection[str], seen: Iterable[str], known: Collection[str], misread: float
) -> list[float]:
    """The chance to see each of some values, all of them known, where these are recorded."""
    others = len(known) - sum(v in known for v in values)
    return [_chance(len(values), others, value in values, misread) for value in seen]


def shares_of(lists: Mapping[frozenset[str], int], known: Collection[str]) -> dict[str, float]:
    """The share of each value among all sets that record the key, add-one smoothed; a list is divided.

    `lists`: how many sets have each list of values.
    """
    counts: dict[str, float] = defaultdict(float)
    total = 0
    for values, n in lists.items():
        total += n
        for value in values:
            counts[value] += n / len(values)
    return {v: (counts[v] + 1.0) / (total + len(known)) for v in known}


def fitting(graph: Graph, look: Look, hidden: frozenset[str] = frozenset()) -> LookFit:
    """One look weighed against all that is known of every set; of those hidden nothing is."""
    if look.size_mm is not None:
        return _of_measure(graph, look)
    trait = spreading.trait(graph, look.key)
    known = values_known(trait, look)
    trait = spreading.without(graph, trait, hidden) if hidden else trait
    lists = Counter[frozenset[str]]()
    for values, n in (trait.direct.of_sets() or trait.at.of_sets()).items():
        lists[look.taken(values)] += n
    share = shares_of(lists, known)[look.value]

    def by_values(values: frozenset[str]) -> LookRow:
        taken = look.taken(values)
        return LookRow(chance_of(taken, look.value, known, trait.misread), look.value not in taken)

    return _fitted(look, trait, share, by_values)


def _fitted(
    look: Look, trait: traits.Trait, share: float, by_values: Callable[[frozenset[str]], LookRow]
) -> LookFit:
    """For each set certainty times the chance by the record, and the rest by the share among all."""
    rows = []
    for values, certain in trait.at.alike:
        alone = by_values(values)
        rows.append(LookRow(certain * alone.chance + (1.0 - certain) * share, alone.apart))
    return LookFit(look, trait, share, rows)


def values_known(trait: traits.Trait, look: Look | None = None) -> set[str]:
    """All values that a look at the key can show: what is recorded, the one seen, and of yes the no."""
    lists = trait.direct.of_all()
    known = {look.value}.union(*map(look.taken, lists)) if look else set[str]().union(*lists)
    if known & {traits.YES, traits.NO}:
        return known | {traits.YES, traits.NO}
    return known | {UNWRITTEN} if len(known) == 1 else known


def once(of: Callable[[frozenset[str]], _Result]) -> Callable[[frozenset[str]], _Result]:
    """The same, worked out once for each list of values."""
    kept: dict[frozenset[str], _Result] = {}

    def found(values: frozenset[str]) -> _Result:
        if values not in kept:
            kept[values] = of(values)
        return kept[values]

    return found


def _of_measure(graph: Graph, look: Look) -> LookFit:
    trait = seen_of.sizes(graph, look)
    lists = trait.direct.of_all()
    density = once(lambda values: math.fsum(_density(look, v) for v in values) / len(values))
    sizes = [s for s, _ in map(seen_of.size_mm, trait.texts) if math.isfinite(s)] + [look.size_mm or 0.0]
    flat = 1.0 / max(max(sizes) - min(sizes), 10.0 * look.error_mm)
    share = (math.fsum(n * density(v) for v, n in lists.items()) + flat) / (lists.total() + 1)
    e = trait.misread

    def by_values(values: frozenset[str]) -> LookRow:
        chance = (1.0 - e) * density(values) + e * flat
        return LookRow(chance, all(_far(look, v) for v in values))

    return _fitted(look, trait, share, by_values)


def _density(look: Look, text: str) -> float:
    """The density of the measured size about a recorded one; a worn belt has grown by 0 to 8 %."""
    assert look.size_mm is not None
    rest, more = seen_of.size_mm(text)
    if not math.isfinite(rest):
        return 0.0
    log = identify.log_worn if look.worn else identify.log_normal
    return math.exp(max(log(look.size_mm, rest, math.hypot(look.error_mm, more)), -700.0))


def _far(look: Look, text: str) -> bool:
    assert look.size_mm is not None
    rest, more = seen_of.size_mm(text)
    top = rest * (1.0 + identify.GROWTH) if look.worn else rest
    slack = OUTLIER * math.hypot(look.error_mm, more)
    return not rest - slack <= look.size_mm <= top + slack


def fit_of(misreads: Iterable[float], disagreements: int) -> float:
    """The chance that a set that is truly this one disagrees in as many looks or more.

    >>> round(fit_of([0.05, 0.05], 1), 4)
    0.0975
    """
    exactly = [1.0]
    for e in misreads:
        exactly = [
            (exactly[i] * (1.0 - e) if i < len(exactly) else 0.0) + (exactly[i - 1] * e if i else 0.0)
            for i in range(len(exactly) + 1)
        ]
    return min(1.0, math.fsum(exactly[disagreements:]))


def entropy(chances: Iterable[float]) -> float:
    """The entropy of chances in bits."""
    return -math.fsum(p * math.log2(p) for p in chances if p > 0)


def fall_of_entropy(prior: Mapping[str, float], tables: Mapping[str, Mapping[str, float]]) -> float:
    """How far the entropy over names is expected to fall by a look: tables are name -> value -> chance."""
    values = {v for table in tables.values() for v in table}
    after = 0.0
    for value in values:
        joint = [prior[n] * tables[n].get(value, 0.0) for n in prior]
        if (whole := math.fsum(joint)) > 0:
            after += whole * entropy(p / whole for p in joint)
    return max(0.0, entropy(prior.values()) - after)
