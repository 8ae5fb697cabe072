"""Pairs that no fact joins yet and that may be one: weights of agreement by Fellegi and Sunter (1969).

A weight is log2(m/u) where two records agree at a key, log2((1 - m)/(1 - u)) where they do not, and 0 where
only one of them records it. What is compared is first found by the rare values that two records share.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import combinations
from typing import NamedTuple

MATCHES = 0.9
"""m before any pair is known, with the weight of `KNOWN` pairs: a choice of our own."""
KNOWN = 10
MOST_IN_BLOCK = 60
"""A value that more records share brings none of them together."""
MOST_CROSSED = 2_000_000
MOST_PAIRS = 400_000
MOST_NEAR = 600
"""So many records are grouped by two values, so many pairs compared, and so many with one record."""
LEAST, MOST = 0.001, 0.999
"""No weight rests on more than this: a value seen twice does not decide alone."""


class Had(NamedTuple):
    """What one record has at a key: its values, and how certain."""

    values: frozenset[str]
    certainty: float = 1.0


Rows = Mapping[str, Mapping[str, Had]]
"""Key -> record -> what it has."""


class KeyWeight(NamedTuple):
    """One key of a pair: whether they agree, in bits."""

    key: str
    agrees: bool
    bits: float


class Pair(NamedTuple):
    """Two records that may be one, how likely, and by which keys."""

    one: str
    other: str
    probability: float
    bits: float
    weights: tuple[KeyWeight, ...]


def agreement(m: float, u: float) -> float:
    """The weight of agreement in bits.

    >>> round(agreement(0.97, 0.007), 4)
    7.1145
    """
    return math.log2(m / u)


def disagreement(m: float, u: float) -> float:
    """The weight of disagreement in bits.

    >>> round(disagreement(0.97, 0.007), 4)
    -5.0488
    """
    return math.log2((1.0 - m) / (1.0 - u))


def probability(bits: float) -> float:
    """The probability that a weight in bits stands for, prior odds in it."""
    return 1.0 / (1.0 + 2.0**-bits) if bits > -1000 else 0.0


def _within(value: float) -> float:
    return min(max(value, LEAST), MOST)


@dataclass
class Weighing:
    """What is known of the keys of one kind of record, and of how often pairs are one."""

    rows: Rows
    groups: Mapping[str, str]
    prior: float
    """The log2 of the odds that two records taken at random are one."""
    known: tuple[tuple[str, str], ...]
    agreed: Counter[str] = field(default_factory=Counter)
    compared: Counter[str] = field(default_factory=Counter)
    shares: dict[str, Counter[frozenset[str]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._of: dict[str, dict[str, Had]] = defaultdict(dict)
        for key, of in self.rows.items():
            self.shares[key] = Counter(had.values for had in of.values())
            for record, had in of.items():
                self._of[record][key] = had
        for one, other in self.known:
            self._count(one, other)
        self._by_chance = {
            key: _within(sum((n / counts.total()) ** 2 for n in counts.values()))
            for key, counts in self.shares.items()
        }

    def _count(self, one: str, other: str) -> None:
        there = self._of.get(other, {})
        for key, had in self._of.get(one, {}).items():
            if key in there:
                self.compared[key] += 1
                self.agreed[key] += had.values == there[key].values

    def m(self, key: str, hidden: tuple[str, str] | None = None) -> float:
        """The chance that two that are one agree at a key, from the pairs known; one may be hidden."""
        agreed, compared = self.agreed[key], self.compared[key]
        if hidden and all(r in self.rows[key] for r in hidden):
            compared -= 1
            agreed -= self.rows[key][hidden[0]].values == self.rows[key][hidden[1]].values
        return _within((agreed + MATCHES * KNOWN) / (compared + KNOWN))

    def pair(self, one: str, other: str, hidden: tuple[str, str] | None = None) -> Pair:
        """The weights of two records, those of a group no more than its strongest, and what they come to."""
        there = self._of.get(other, {})
        both = [(key, had, there[key]) for key, had in self._of.get(one, {}).items() if key in there]
        weights = [self._weight(key, here, other_has, hidden) for key, here, other_has in both]
        by_group: dict[str, list[float]] = defaultdict(list)
        for w in weights:
            by_group[self.groups.get(w.key, w.key)].append(w.bits)
        bits = self.prior + math.fsum(_capped(of_group) for of_group in by_group.values())
        ordered = tuple(sorted(weights, key=lambda w: (-abs(w.bits), w.key)))
        return Pair(one, other, probability(bits), bits, ordered)

    def _weight(self, key: str, one: Had, other: Had, hidden: tuple[str, str] | None) -> KeyWeight:
        m, certain = self.m(key, hidden), one.certainty * other.certainty
        agrees = one.values == other.values
        if agrees:
            u = _within(self.shares[key][one.values] / self.shares[key].total())
            # What nearly all have says nothing where two agree in it, and nothing against it either.
            ratio = max(m / u, 1.0)
        else:
            ratio = (1.0 - m) / (1.0 - self._by_chance[key])
        return KeyWeight(key, agrees, math.log2(certain * ratio + 1.0 - certain))

    def near(self, record: str, groups: Iterable[list[str]]) -> set[str]:
        """The records that share a rare value with one, from its groups, as far as the budget goes."""
        found: set[str] = set()
        for group in groups:
            if len(found) >= MOST_NEAR:
                break
            found.update(group)
        return found - {record}

    def informative(self, key: str) -> float:
        """How much agreement at a key is expected to say, in bits."""
        return agreement(self.m(key), self._by_chance[key])


def _capped(weights: list[float]) -> float:
    whole = math.fsum(weights)
    return math.copysign(min(abs(whole), max(map(abs, weights))), whole)


def blocks(rows: Rows, most: int = MOST_IN_BLOCK) -> dict[str, list[list[str]]]:
    """Record -> the groups of records that share a value few have with it, or two; small ones first."""
    found: dict[str, list[list[str]]] = defaultdict(list)
    for group in groups_of(rows, most):
        for record in group:
            found[record].append(group)
    return found


def groups_of(rows: Rows, most: int = MOST_IN_BLOCK) -> list[list[str]]:
    """The records that share a value, or two where each alone is too common; the smallest groups first."""
    found: list[list[str]] = []
    common: dict[str, list[tuple[str, frozenset[str]]]] = defaultdict(list)
    for key, of in sorted(rows.items()):
        by_value: dict[frozenset[str], list[str]] = defaultdict(list)
        for record, had in of.items():
            by_value[had.values].append(record)
        for values, group in by_value.items():
            if 2 <= len(group) <= most:
                found.append(group)
            elif len(group) > most:
                for record in group:
                    common[record].append((key, values))
    found += _crossed(common, most)
    return sorted(found, key=len)


Value = tuple[str, frozenset[str]]
"""A key and what is recorded at it."""


def _crossed(common: Mapping[str, list[Value]], most: int) -> Iterable[list[str]]:
    """Records that share two common values; and, where those are common too, all such values that they have.

    Of many records not every two keys are crossed: those which most of them have, as far as the budget goes.
    """
    keys = Counter(two for ats in common.values() for two in combinations([key for key, _ in ats], 2))
    room, chosen = MOST_CROSSED, set()
    for two, n in sorted(keys.items(), key=lambda item: (-item[1], item[0])):
        if room >= n:
            chosen.add(two)
            room -= n
    crossed: dict[tuple[Value, ...], list[str]] = defaultdict(list)
    for record, ats in common.items():
        for one, other in combinations(ats, 2):
            if (one[0], other[0]) in chosen:
                crossed[one, other].append(record)
        if len(ats) > 2:
            crossed[tuple(ats)].append(record)
    return (group for group in crossed.values() if 2 <= len(group) <= most)


def candidates(rows: Rows) -> tuple[set[tuple[str, str]], int]:
    """The pairs of records that are compared, each once; and how many groups the budget left out.

    The smallest groups come first, as the values shared in them are the rarest.
    """
    found: set[tuple[str, str]] = set()
    groups = groups_of(rows)
    for done, group in enumerate(groups):
        if len(found) >= MOST_PAIRS:
            return found, len(groups) - done
        found.update(combinations(sorted(group), 2))
    return found, 0
