"""Conditions of a list, `KEY=VALUE`: what they ask for, and whether a recorded text is that.

A value is compared as everywhere: mains by volts and hertz, lengths by their size, all else by folded text.
`A..B` is a range, of which one end may be left out: of years and dates, of lengths, of numbers. A value of
nothing asks for what is not recorded.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from kgraph import belt_sizes, mains, quantities, years
from kgraph.names import compared
from kgraph.problems import WrongUse, shown


class Condition(NamedTuple):
    """One `KEY=VALUE`: `key` is what the key is compared by."""

    key: str
    value: str
    low: str = ""
    high: str = ""

    @property
    def is_range(self) -> bool:
        """Whether it asks for what lies between two ends."""
        return bool(self.low or self.high)

    def met_by(self, text: str) -> bool:
        """Whether a recorded text is what is asked for."""
        if mains.keys(self.key, self.value) & mains.keys(self.key, text):
            return True
        if self.is_range:
            return _between(self, text)
        if _YEAR.fullmatch(self.value) and self.key != "date":
            return _overlap(years.span(text), (self.value, self.value))
        wanted, found = _millimetres(self.value), _millimetres(text)
        return bool(wanted) and wanted == found


_RANGE = re.compile(r"(?P<low>.*?)\s*\.\.\s*(?P<high>.*)")
_YEAR = re.compile(r"\d{4}", re.ASCII)
_DATE = re.compile(r"\d{4}(?:-\d\d){0,2}", re.ASCII)
_NUMBER = re.compile(r"\s*(-?\d+(?:[.,]\d+)?)\s*(.*?)\s*", re.ASCII | re.S)


def condition(text: str) -> Condition:
    """The condition that a word of the command line is; raises WrongUse for what is none."""
    key, divided, value = text.partition("=")
    if not divided or not compared(key.strip()):
        raise WrongUse(f"{shown(text)} is no condition; write KEY=VALUE, such as years=1978..1984")
    value = value.strip()
    ends = _RANGE.fullmatch(value)
    if not ends or not (ends["low"] or ends["high"]):
        return Condition(compared(key.strip()), value)
    found = Condition(compared(key.strip()), value, *_with_units(ends["low"].strip(), ends["high"].strip()))
    _refuse_odd(found)
    return found


def _with_units(low: str, high: str) -> tuple[str, str]:
    """Both ends with the unit that only one of them names: `70..75 mm`."""
    numbers = [_NUMBER.fullmatch(end) for end in (low, high)]
    unit = next((n[2] for n in reversed(numbers) if n and n[2]), "")
    given = [
        f"{n[1]} {unit}" if n and unit and not n[2] else end
        for n, end in zip(numbers, (low, high), strict=True)
    ]
    return given[0], given[1]


def _refuse_odd(found: Condition) -> None:
    ends = [end for end in (found.low, found.high) if end]
    if not all(_DATE.fullmatch(end) for end in ends):
        sizes = [_size(end) for end in ends]
        if any(size is None for size in sizes):
            says = f"{shown(found.value)} is no range of years, dates, lengths or numbers"
            raise WrongUse(f"{says}; write it as 1978..1984, 70..75 mm or ..0.9")
    numbers = [n for n in (_between_ends(found)) if n is not None]
    if len(numbers) == 2 and numbers[0] > numbers[1]:
        raise WrongUse(f"{shown(found.value)} begins above its end; write the lower value first")


def _between_ends(found: Condition) -> list[float | None]:
    sizes = [_size(found.low), _size(found.high)]
    return [size[0] if size else None for size in sizes]


def _between(wanted: Condition, text: str) -> bool:
    if all(_DATE.fullmatch(end) for end in (wanted.low, wanted.high) if end):
        days = (text, text) if wanted.key == "date" and _DATE.fullmatch(text) else years.span(text)
        if days or wanted.key == "date":
            return _overlap(days, (wanted.low, wanted.high))
    low, high = _size(wanted.low), _size(wanted.high)
    return any(
        (low is None or (low[0] <= size and _alike(low[1], unit)))
        and (high is None or (size <= high[0] and _alike(high[1], unit)))
        for size, unit in _sizes(text)
    )


def _overlap(found: tuple[str, str] | None, wanted: tuple[str, str]) -> bool:
    """Whether two spans of dates have a day in common; of a date that is cut short, any of its days."""
    if found is None:
        return False
    (first, last), (low, high) = found, wanted
    before = bool(low) and last[: len(low)] < low[: len(last)]
    after = bool(high) and first[: len(high)] > high[: len(first)]
    return not before and not after


def _alike(wanted: str, found: str) -> bool:
    """Whether two units are one; an end without a unit takes any."""
    return not wanted or wanted == found


def _size(text: str) -> tuple[float, str] | None:
    """The one size of a text, and its unit: lengths in millimetres."""
    return next(iter(_sizes(text)), None)


def _sizes(text: str) -> list[tuple[float, str]]:
    """The sizes in a text: a length, those of a cross-section, or the number that it begins with."""
    if lengths := _millimetres(text):
        return [(mm, "mm") for mm in lengths]
    found = _NUMBER.fullmatch(text)
    return [(float(found[1].replace(",", ".")), compared(found[2]))] if found else []


def _millimetres(text: str) -> tuple[float, ...]:
    try:
        return (quantities.length(text).mm,)
    except ValueError:
        pass
    try:
        return belt_sizes.section(text).sizes_mm
    except ValueError:
        return ()
