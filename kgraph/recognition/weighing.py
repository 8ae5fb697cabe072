"""All looks of one set together: each a ratio of chances, those of one group no more than its strongest.

What is worked out for one pattern of looks serves every set that has the same pattern.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from kgraph.recognition.likelihood import LookFit, fit_of

Member = tuple[str, str]
"""The group that a look belongs to, and its key."""


class LookWeight(NamedTuple):
    """What the looks weigh of one set, as logs: of the set itself, of a sister of it, of any other set."""

    recorded: float
    sister: float
    other: float
    fit: float
    known: int
    """Of how many looks something is known of the set."""


def weigher(
    fittings: Sequence[LookFit], group: Sequence[Member], sisters: Mapping[str, float], others: float
) -> Callable[[str], LookWeight]:
    """Set -> what the looks weigh of it; `sisters` is for each key how often sisters differ in it."""
    tables = [_logs(f, sisters[f.trait.key], others) for f in fittings]
    numbers = [f.number for f in fittings]
    misread = [f.trait.misread for f in fittings]
    grouped = _grouped(group)
    kept: dict[tuple[int | None, ...], LookWeight] = {}
    fits: dict[tuple[tuple[float, ...], int], float] = {}

    def weighed(pattern: tuple[int | None, ...]) -> LookWeight:
        rows = [table[-1 if n is None else n] for table, n in zip(tables, pattern, strict=True)]
        apart = sum(f.rows[n].apart for f, n in zip(fittings, pattern, strict=True) if n is not None)
        known = tuple([e for e, n in zip(misread, pattern, strict=True) if n is not None])
        if (known, apart) not in fits:
            fits[known, apart] = fit_of(known, apart)
        one, two, three = ([row[i] for row in rows] for i in range(3))
        return LookWeight(grouped(one), grouped(two), grouped(three), fits[known, apart], len(known))

    def of(owner: str) -> LookWeight:
        pattern = tuple([number.get(owner) for number in numbers])
        if pattern not in kept:
            kept[pattern] = weighed(pattern)
        return kept[pattern]

    return of


def _logs(f: LookFit, sister: float, other: float) -> list[tuple[float, float, float]]:
    """For each row the logs of its ratio to the share: as it is, and mixed with the share; last of no row."""
    ratios = [row.chance / f.share for row in f.rows]
    made = [(_log(ratio), _mixed(ratio, sister), _mixed(ratio, other)) for ratio in ratios]
    return [*made, (0.0, 0.0, 0.0)]


def _log(value: float) -> float:
    return math.log(value) if value > 0 else -math.inf


def _mixed(ratio: float, differ: float) -> float:
    return _log((1.0 - differ) * ratio + differ)


def _grouped(group: Sequence[Member]) -> Callable[[list[float]], float]:
    keys: dict[str, set[str]] = defaultdict(set)
    for of, key in group:
        keys[of].add(key)
    if all(len(of) == 1 for of in keys.values()):
        return math.fsum
    return lambda logs: joined(logs, group)


def joined(logs: Sequence[float], group: Sequence[Member]) -> float:
    """The sum of weights where keys of one group weigh no more than the strongest of them.

    What is seen at one key, such as each item of a list, is added up first.
    """
    by_group: dict[str, dict[str, float]] = defaultdict(lambda: defaultdict(float))
    for weight, (of, key) in zip(logs, group, strict=True):
        by_group[of][key] += weight
    total = 0.0
    for weights in by_group.values():
        whole, strongest = sum(weights.values()), max(map(abs, weights.values()))
        total += math.copysign(min(abs(whole), strongest), whole)
    return total
