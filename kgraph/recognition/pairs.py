"""Pairs that no fact joins yet and that may be one: weights of agreement by Fellegi and Sunter (1969).

A weight is log2(m/u) where two records agree at a key, log2((1 - m)/(1 - u)) where they do not, and 0 where
only one of them records it. What is compared is first found by the rare values that two records share.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
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
Record = Mapping[str, Had]
"""Key -> what one record has there."""
Value = tuple[str, frozenset[str]]
"""A key and what is recorded at it."""


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
    left_out: Mapping[tuple[str, str], frozenset[str]] = field(default_factory=dict)
    """Pair known to be one -> the keys in which they are said to differ."""
    stated: frozenset[str] = frozenset()
    """The keys in which such a pair is said to agree where it is not said to differ."""
    agreed: Counter[str] = field(default_factory=Counter)
    compared: Counter[str] = field(default_factory=Counter)
    shares: dict[str, Counter[frozenset[str]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        own: dict[str, dict[str, Had]] = defaultdict(dict)
        for key, of in self.rows.items():
            self.shares[key] = Counter(had.values for had in of.values())
            for record, had in of.items():
                own[record][key] = had
        self.own: Mapping[str, Record] = dict(own)
        self.has = self.own
        """Record -> what it has; what others tell of it may be laid beside its own."""
        for one, other in self.known:
            for key, agrees in self._told(one, other).items():
                self.compared[key] += 1
                self.agreed[key] += agrees
        self._by_chance = {
            key: _within(sum((n / counts.total()) ** 2 for n in counts.values()))
            for key, counts in self.shares.items()
        }

    def _told(self, one: str, other: str) -> dict[str, bool]:
        """Key -> whether two that are one agree there: by what both record, or by what was left out."""
        here, there = self.own.get(one, {}), self.own.get(other, {})
        out = self.left_out.get((one, other), frozenset())
        told = {key: key not in out for key in here.keys() ^ there.keys() if key in self.stated}
        return told | {key: had.values == there[key].values for key, had in here.items() if key in there}

    @cached_property
    def blocks(self) -> Blocks:
        """The records by the rare values that they share."""
        return Blocks(self.rows)

    def agreeing(self, hidden: tuple[str, str] | None = None) -> dict[str, float]:
        """Key -> m, the chance that two that are one agree there, from the pairs known; one may be hidden."""
        told = self._told(*hidden) if hidden else {}
        found = {}
        for key in self.rows:
            agreed, compared = self.agreed[key], self.compared[key]
            if key in told:
                agreed, compared = agreed - told[key], compared - 1
            found[key] = _within((agreed + MATCHES * KNOWN) / (compared + KNOWN))
        return found

    @cached_property
    def m(self) -> Mapping[str, float]:
        """Key -> the chance that two that are one agree there."""
        return self.agreeing()

    @cached_property
    def _u(self) -> Mapping[Value, float]:
        """What is recorded -> the chance that a record has just that, by its frequency."""
        return {
            (key, values): _within(n / counts.total())
            for key, counts in self.shares.items()
            for values, n in counts.items()
        }

    def pair(self, one: str, other: str) -> Pair:
        """The weights of two records, and what they come to."""
        here, there = self.has.get(one, {}), self.has.get(other, {})
        both = [(key, had, there[key]) for key, had in here.items() if key in there]
        weights = [KeyWeight(k, a.values == b.values, self._bits_at(k, a, b, self.m[k])) for k, a, b in both]
        bits = self.bits(here, there, self.m)
        ordered = tuple(sorted(weights, key=lambda w: (-abs(w.bits), w.key)))
        return Pair(one, other, probability(bits), bits, ordered)

    def bits(self, one: Record, other: Record, m: Mapping[str, float]) -> float:
        """What the weights of two records come to, those of a group no more than its strongest."""
        alone, by_group = self.prior, dict[str, list[float]]()
        for key, had in one.items():
            if key in other:
                bits = self._bits_at(key, had, other[key], m[key])
                if key in self.groups:
                    by_group.setdefault(self.groups[key], []).append(bits)
                else:
                    alone += bits
        return alone + math.fsum(map(_capped, by_group.values()))

    def _bits_at(self, key: str, one: Had, other: Had, m: float) -> float:
        certain = one.certainty * other.certainty
        if one.values != other.values:
            return math.log2(certain * (1.0 - m) / (1.0 - self._by_chance[key]) + 1.0 - certain)
        # What nearly all have says nothing where two agree in it, and nothing against it either.
        return math.log2(certain * max(m / self._u[key, one.values], 1.0) + 1.0 - certain)

    def informative(self, key: str) -> float:
        """How much agreement at a key is expected to say, in bits."""
        return agreement(self.m[key], self._by_chance[key])


def _capped(weights: list[float]) -> float:
    whole = math.fsum(weights)
    return math.copysign(min(abs(whole), max(map(abs, weights))), whole)


class Blocks:
    """The records that share a value that few have, or two, or all that they have of common ones."""

    def __init__(self, rows: Rows, most: int = MOST_IN_BLOCK) -> None:
        self.sharing: dict[tuple[Value, ...], list[str]] = {}
        """Values -> the records that share them."""
        common: dict[str, list[Value]] = defaultdict(list)
        for key, of in sorted(rows.items()):
            by_value: dict[Value, list[str]] = defaultdict(list)
            for record, had in of.items():
                by_value[key, had.values].append(record)
            for value, group in by_value.items():
                if 2 <= len(group) <= most:
                    self.sharing[value,] = group
                elif len(group) > most:
                    for record in group:
                        common[record].append(value)
        self.common = {value for values in common.values() for value in values}
        self.sharing |= {v: group for v, group in _crossed(common).items() if 2 <= len(group) <= most}

    def near(self, has: Record) -> set[str]:
        """The records that share a rare value with one, the rarest first, as far as the budget goes."""
        values = [(key, had.values) for key, had in sorted(has.items())]
        common = [value for value in values if value in self.common]
        shared = [*((value,) for value in values), *combinations(common, 2), tuple(common)]
        found: set[str] = set()
        for group in sorted((self.sharing[v] for v in shared if v in self.sharing), key=len):
            if len(found) >= MOST_NEAR:
                break
            found.update(group)
        return found

    def pairs(self) -> tuple[set[tuple[str, str]], int]:
        """The pairs of records that are compared, each once; and how many groups the budget left out.

        The smallest groups come first, as the values shared in them are the rarest.
        """
        found: set[tuple[str, str]] = set()
        groups = sorted(self.sharing.values(), key=len)
        for done, group in enumerate(groups):
            if len(found) >= MOST_PAIRS:
                return found, len(groups) - done
            found.update(combinations(sorted(group), 2))
        return found, 0


def _crossed(common: Mapping[str, list[Value]]) -> dict[tuple[Value, ...], list[str]]:
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
    return crossed
