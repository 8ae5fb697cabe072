"""Which parts of a kind may be of equal size at all, so that not every two of them need be compared.

Parts are put apart by what they record: other sizes, another form of section, another text. Each measure
is cut where two neighbouring values lie too far apart to be equal, and parts on two sides of a cut are
put apart too. Of those that stay together only the ones near a part in one measure are given; they are
more than are equal, never fewer.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from kgraph import belt_sizes, size_rules
from kgraph.ratings import Rating
from kgraph.size_rules import Rule

Size = belt_sizes.Section | Rating | float | str
"""A size as compared: a section, a rating, mm, or folded text where it is none of these."""
FEW = 8
"""So many parts that stay together are not sorted: to compare them all is as quick."""

Measure = tuple[str, str, int]
"""The name of a size, the form of a section or unit of a rating (else ""), and which of its sizes it is."""


class _PartRecord(NamedTuple):
    """What a part records: forms, units and texts, which must be equal, and the values of its measures."""

    words: tuple[tuple[str, str], ...]
    values: tuple[tuple[Measure, float], ...]


class Neighbours:
    """The parts of one kind with their sizes, laid out for finding those that may equal one of them."""

    def __init__(self, recorded: Mapping[str, Mapping[str, Size]], rules: Mapping[str, str]) -> None:
        self._rules = rules
        self._parts = list(recorded)
        self._sizes = {
            part: found for part in recorded if (found := _recorded(recorded[part], rules)) is not None
        }
        self._side = self._cut_measures()
        self._together: dict[object, list[int]] = defaultdict(list)
        for number, part in enumerate(self._parts):
            if part in self._sizes:
                self._together[self._where(part)].append(number)
        self._sorted: dict[object, _Sorted] = {}

    def of(self, part: str, forward: bool) -> list[str]:
        """The other parts that may be equal to a part, in their order; `forward`: to which it is offered."""
        if part not in self._sizes:
            return []
        where = self._where(part)
        numbers = self._together[where]
        if len(numbers) > FEW:
            numbers = self._narrowed(where, self._sizes[part].values, forward)
        return [self._parts[number] for number in numbers if self._parts[number] != part]

    def _where(self, part: str) -> object:
        """What is the same of all parts that stay together."""
        words, values = self._sizes[part]
        return words, tuple([self._side[measure][value] for measure, value in values])

    def _rule(self, measure: Measure) -> Rule:
        return size_rules.compare_rule(self._rules.get(measure[0], "same"))

    def _cut_measures(self) -> dict[Measure, dict[float, int]]:
        """For each measure the side of its cuts on which each value lies."""
        values: dict[Measure, set[float]] = defaultdict(set)
        for found in self._sizes.values():
            for measure, value in found.values:
                values[measure].add(value)
        return {measure: _sides(sorted(of), self._rule(measure)) for measure, of in values.items()}

    def _narrowed(self, where: object, values: Iterable[tuple[Measure, float]], forward: bool) -> list[int]:
        """Of the parts that stay together those near these values, by the measure that leaves the fewest."""
        if where not in self._sorted:
            self._sorted[where] = self._sort(self._together[where])
        ordered = self._sorted[where]
        best: Sequence[int] = self._together[where]
        for measure, value in values:
            if measure in ordered:
                of_measure, numbers = ordered[measure]
                low, high = window(value, self._rule(measure), forward)
                first, end = bisect_left(of_measure, low), bisect_right(of_measure, high)
                best = numbers[first:end] if end - first < len(best) else best
        return sorted(best)

    def _sort(self, numbers: Sequence[int]) -> _Sorted:
        """Parts by each measure; where only the same value will do, the cuts have said all."""
        pairs: dict[Measure, list[tuple[float, int]]] = defaultdict(list)
        for number in numbers:
            for measure, value in self._sizes[self._parts[number]].values:
                if self._rule(measure).how != "same":
                    pairs[measure].append((value, number))
        return {m: ([v for v, _ in s], [n for _, n in s]) for m, of in pairs.items() for s in [sorted(of)]}


_Sorted = dict[Measure, tuple[list[float], list[int]]]
"""For each measure its values from the smallest on, and the parts that have them, as numbers."""


def _recorded(sizes: Mapping[str, Size], rules: Mapping[str, str]) -> _PartRecord | None:
    """What a part records of what is compared; None where it can be equal to no part."""
    words: list[tuple[str, str]] = []
    values: list[tuple[Measure, float]] = []
    for key in rules or sorted(sizes):
        size = sizes.get(key)
        if isinstance(size, belt_sizes.Section):
            words.append((key, f"section {size.form}"))
            values += [((key, size.form, i), mm) for i, mm in enumerate(size.sizes_mm)]
        elif isinstance(size, Rating):
            words.append((key, f"rating {size.unit}"))
            values.append(((key, size.unit, 0), size.value))
        elif isinstance(size, float):
            words.append((key, "mm"))
            values.append(((key, "", 0), size))
        elif size is not None:
            if rules.get(key, "same") != "same":
                return None
            words.append((key, f"text {size}"))
    return _PartRecord(tuple(words), tuple(values)) if words else None


def _sides(values: Sequence[float], rule: Rule) -> dict[float, int]:
    """Values from the smallest on, each with how many cuts lie below it.

    Where two values are equal by a rule, so are any two between them: no cut parts equal ones.
    """
    sides, side = {}, 0
    for before, value in zip((values[0], *values), values, strict=False):
        if value - before > _reach(value, rule):
            side += 1
        sides[value] = side
    return sides


def _reach(value: float, rule: Rule) -> float:
    """How far below a value one equal to it may lie, and a little further: rounding must not lose any."""
    match rule.how:
        case "at least":
            return math.inf
        case "relative":
            return rule.bound * value + _slack(value)
        case _:
            return rule.bound + _slack(value)


def window(value: float, rule: Rule, forward: bool) -> tuple[float, float]:
    """The bounds of what may be equal to a value, which is offered (`forward`) or wanted."""
    match rule.how:
        case "at least":
            return (-math.inf, value + _slack(value)) if forward else (value - _slack(value), math.inf)
        case "relative":
            # The bound is a fraction of the larger of the two.
            most = value / (1 - rule.bound)
            return value - _reach(value, rule), most + _slack(most)
        case _:
            return value - _reach(value, rule), value + _reach(value, rule)


def _slack(value: float) -> float:
    """More than the slack that comparing itself allows, with the rounding of both."""
    return 2e-9 * (1 + abs(value))
