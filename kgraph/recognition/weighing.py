"""All looks of one set together: each a ratio of chances, those of one group no more than its strongest.

They are worked out look by look for all sets at once, which takes a fraction of the time of set by set.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from kgraph.recognition.likelihood import LookFit, fit_of
from kgraph.recognition.traits import BADGE

Member = tuple[str, str]
"""The group that a look belongs to, and its key."""


class LookWeight(NamedTuple):
    """What the looks weigh of one set, as logs: of the set itself, of a sister of it, of any other set."""

    recorded: float
    sister: float
    other: float
    fit: float
    told: int
    """The looks that tell something of the set, each a bit."""
    design_fit: float
    """How well its design fits, which a sister of another badge has too."""


NOTHING = LookWeight(0.0, 0.0, 0.0, 1.0, 0, 1.0)
"""What no look weighs."""


def weighed(
    fittings: Sequence[LookFit], group: Sequence[Member], sisters: Mapping[str, float], others: float
) -> list[LookWeight]:
    """What the looks weigh of each set by number; `sisters`: key -> how often sisters differ in it."""
    if not fittings:
        return []
    columns = [f.trait.at.column[: len(f.trait.at.owners.family)] for f in fittings]
    tables = [_logs(f, sisters[f.trait.key], others) for f in fittings]
    own, sister, other = (
        _summed([[of[at] for at in column] for of, column in zip(kind, columns, strict=True)], group)
        for kind in zip(*tables, strict=True)
    )
    fits = _fits(fittings, columns, range(len(fittings)))
    design = [n for n, f in enumerate(fittings) if f.trait.key != BADGE]
    design_fits = fits if len(design) == len(fittings) else _fits(fittings, columns, design)
    return [
        LookWeight(*logs, *fit, of_design)
        for logs, fit, (of_design, _) in zip(
            zip(own, sister, other, strict=True), fits, design_fits, strict=True
        )
    ]


def _fits(
    fittings: Sequence[LookFit], columns: Sequence[Sequence[int]], which: Sequence[int]
) -> list[tuple[float, int]]:
    """For each set the chance that it disagrees in so many of the looks, and which tell something of it."""
    many, fits, found = len(fittings), dict[int, tuple[float, int]](), []
    codes = [0] * len(columns[0])
    for n in which:
        mark = [*((1 << n) + (row.apart << many) for row in fittings[n].rows), 0]
        codes = [code + mark[at] for code, at in zip(codes, columns[n], strict=True)]
    for code in codes:
        if code not in fits:
            misread = [f.trait.misread for n, f in enumerate(fittings) if code >> n & 1]
            fits[code] = fit_of(misread, code >> many), code & ((1 << many) - 1)
        found.append(fits[code])
    return found


def _summed(columns: Sequence[Sequence[float]], group: Sequence[Member]) -> list[float]:
    """The sum of the weights of each set, those of one group no more than its strongest."""
    of_group: dict[str, list[int]] = defaultdict(list)
    for at, (of, _) in enumerate(group):
        of_group[of].append(at)
    ready = []
    for places in of_group.values():
        if len({group[at][1] for at in places}) == 1:
            ready += [columns[at] for at in places]
            continue
        members, kept = [group[at] for at in places], dict[tuple[float, ...], float]()
        patterns = list(zip(*(columns[at] for at in places), strict=True))
        for pattern in set(patterns):
            kept[pattern] = joined(pattern, members)
        ready.append([kept[pattern] for pattern in patterns])
    return [math.fsum(weights) for weights in zip(*ready, strict=True)]


def _logs(f: LookFit, sister: float, other: float) -> tuple[list[float], list[float], list[float]]:
    """For each row the log of its ratio to the share, of a set, its sister, another; last of no row."""
    ratios = [row.chance / f.share for row in f.rows]
    own = [_log(ratio) for ratio in ratios]
    return [*own, 0.0], [*_mixed(ratios, sister), 0.0], [*_mixed(ratios, other), 0.0]


def _log(value: float) -> float:
    return math.log(value) if value > 0 else -math.inf


def _mixed(ratios: Iterable[float], differ: float) -> list[float]:
    return [_log((1.0 - differ) * ratio + differ) for ratio in ratios]


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
