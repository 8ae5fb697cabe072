"""All looks of one set together: each a ratio of chances, those of one group no more than its strongest.

What is worked out for one pattern of looks serves every set that has the same pattern.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from kgraph.recognition.likelihood import Fitting, fit_of

Member = tuple[str, str]
"""The group that a look belongs to, and its key."""


class Weight(NamedTuple):
    """What the looks weigh of one set, as logs: of the set itself, of a sister of it, of any other set."""

    recorded: float
    sister: float
    other: float
    fit: float
    known: int
    """Of how many looks something is known of the set."""


def weigher(
    fittings: Sequence[Fitting], group: Sequence[Member], sisters: Mapping[str, float], others: float
) -> Callable[[str], Weight]:
    """Set -> what the looks weigh of it; `sisters` is for each key how often sisters differ in it."""
    d1 = [sisters[f.look.key] for f in fittings]
    tables = [_logs(f, d, others) for f, d in zip(fittings, d1, strict=True)]
    chances = [f.chance for f in fittings]
    apart = [f.disagrees for f in fittings]
    misread = [f.trait.misread for f in fittings]
    grouped = _grouped(group)
    kept: dict[tuple[tuple[float | None, ...], int], Weight] = {}
    fits: dict[tuple[tuple[float, ...], int], float] = {}

    def of(owner: str) -> Weight:
        pattern = tuple([c.get(owner) for c in chances])
        disagreements = sum([owner in a for a in apart])
        if (pattern, disagreements) not in kept:
            rows = [table[c] for table, c in zip(tables, pattern, strict=True)]
            one, two, three = ([row[i] for row in rows] for i in range(3))
            known = tuple([e for e, c in zip(misread, pattern, strict=True) if c is not None])
            if (known, disagreements) not in fits:
                fits[known, disagreements] = fit_of(known, disagreements)
            fit = fits[known, disagreements]
            kept[pattern, disagreements] = Weight(grouped(one), grouped(two), grouped(three), fit, len(known))
        return kept[pattern, disagreements]

    return of


class _Logs(dict[float | None, tuple[float, float, float]]):
    """Chance of one look -> the logs of its ratio to the share: as it is, and mixed with the share."""

    def __init__(self, share: float, sister: float, other: float) -> None:
        super().__init__()
        self._share, self._sister, self._other = share, sister, other

    def __missing__(self, chance: float | None) -> tuple[float, float, float]:
        ratio = 1.0 if chance is None else chance / self._share
        found = _log(ratio), _mixed(ratio, self._sister), _mixed(ratio, self._other)
        self[chance] = found
        return found


def _logs(f: Fitting, sister: float, other: float) -> _Logs:
    return _Logs(f.share, sister, other)


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
