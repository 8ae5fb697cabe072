"""Sizes of belts as they are written: sections, and one length written three ways; all in mm."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from typing import Literal, NamedTuple

from kgraph.quantities import (
    ABOUT,
    PLUS_MINUS,
    Length,
    QuantityError,
    cleaned,
    length,
    listed,
    shown_shortly,
    unit_of,
)

Form = Literal["square", "flat", "round"]
# The smallest tape counter belts are some 60 mm round; a drive belt of 2 m is a mistake.
BELT_LOW_MM, BELT_HIGH_MM = 10.0, 2000.0
SECTION_LOW_MM, SECTION_HIGH_MM = 0.2, 20.0
BELT_MEASURES: Mapping[str, float] = {"inside length": 1.0, "inside diameter": math.pi, "folded": 2.0}
"""How the length of a belt is written -> what makes the inside length of it.

Where several are written the first of them in this order counts, in whatever order they stand.
"""
MEASURES_APART = 0.02
"""How far two ways to write one length of a belt may lie apart, as a fraction."""


class Section(NamedTuple):
    """A belt's cross-section: its form and sizes in mm; of a flat one the width, then the thickness.

    `error_mm` is the largest error that was stated for a size, or that `about` stands for; else 0. Equal
    where form and sizes are.
    """

    form: Form
    sizes_mm: tuple[float, ...]
    text: str = ""
    error_mm: float = 0.0
    about: bool = False

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Section) and self[:2] == other[:2]

    def __hash__(self) -> int:
        return hash(self[:2])

    @property
    def thickness_mm(self) -> float:
        """The size in the direction of bending: flat the thickness, square the side, round the diameter."""
        return min(self.sizes_mm)

    @property
    def area_mm2(self) -> float:
        """The area of the section in mm²."""
        if self.form == "round":
            return math.pi * self.sizes_mm[0] ** 2 / 4
        return self.sizes_mm[0] * self.sizes_mm[-1]


def inside_length(text: str, written_as: str = "inside length") -> Length:
    """The inside length of a belt at rest, from it, its `inside diameter` (times π) or `folded` (times 2).

    Raises QuantityError, also for another way of writing it and outside 10 mm to 2 m round.
    """
    if written_as not in BELT_MEASURES:
        raise QuantityError(
            f"{shown_shortly(written_as)} is not a way to measure a belt",
            f"use {listed(list(BELT_MEASURES))}",
        )
    factor = BELT_MEASURES[written_as]
    read = length(text, low_mm=BELT_LOW_MM / factor, high_mm=BELT_HIGH_MM / factor)
    return Length(read.mm * factor, read.plus_minus_mm * factor, read.about, read.text)


def belt_measures(said: Iterable[tuple[str, object]]) -> dict[str, Length]:
    """The inside length by each way to write it that is among these keys and values, in their order.

    What cannot be read is left out.
    """
    written, found = dict(said), {}
    for key in BELT_MEASURES:
        value = written.get(key)
        if isinstance(value, str):
            try:
                found[key] = inside_length(value, key)
            except QuantityError:
                continue
    return found


def measures_apart(found: Mapping[str, float]) -> dict[str, str]:
    """Of inside lengths in mm by the way they were written, those too far from the first, and what to say."""
    if not found:
        return {}
    first, *rest = found.items()
    return {
        key: f"{key} means {mm:.4g} mm around the inside, {first[0]} means {first[1]:.4g} mm"
        for key, mm in rest
        if abs(mm - first[1]) > MEASURES_APART * first[1]
    }


def lacks_unit(text: str, written_as: str) -> bool:
    """Whether a text is no length of a belt, and would be one with mm after it."""
    return not belt_measures([(written_as, text)]) and bool(belt_measures([(written_as, f"{text} mm")]))


def thickness(text: str) -> float:
    """The thickness of a belt in mm, 0.2 to 20 mm: `1.2 mm`. Raises QuantityError."""
    return length(text, low_mm=SECTION_LOW_MM, high_mm=SECTION_HIGH_MM).mm


def section(text: str) -> Section:
    """A cross-section: `square 1.25 mm`, `flat 4 mm x 0.5 mm` or `flat 4 x 0.5 mm`, `round 1.78 mm`.

    Of a flat belt the smaller size is the thickness, whichever was written first. Raises QuantityError.
    """
    right = "write it like square 1.25 mm, flat 4 mm x 0.5 mm or round 1.78 mm"
    clean = cleaned(text, "a section", right)
    word, _, rest = clean.partition(" ")
    form: Form
    match word.lower():
        case "square":
            form = "square"
        case "flat":
            form = "flat"
        case "round":
            form = "round"
        case _:
            raise QuantityError(f"{shown_shortly(text)} does not say which form the section has", right)
    sizes = _section_sizes(rest)
    if form == "square" and len(sizes) == 2 and sizes[0].mm == sizes[1].mm:
        sizes = sizes[:1]
    if len(sizes) != (2 if form == "flat" else 1):
        needed = "a width and a thickness" if form == "flat" else "one size"
        raise QuantityError(f"{shown_shortly(text)}: a {form} section has {needed}", right)
    return Section(
        form,
        tuple(sorted((size.mm for size in sizes), reverse=True)),
        text.strip(),
        max(size.plus_minus_mm for size in sizes),
        any(size.about for size in sizes),
    )


def _section_sizes(text: str) -> list[Length]:
    """The sizes in `4 mm x 0.5 mm` or `4 x 0.5 mm`; a unit at the end is said for all."""
    parts = [part.strip() for part in re.split(r"[x×X]", text)]
    last = PLUS_MINUS.split(ABOUT.sub("", parts[-1], count=1))[-1].strip()
    unit = unit_of(last)
    whole = [f"{part} {unit}" if unit and part[-1:].isdigit() else part for part in parts]
    return [length(part, low_mm=SECTION_LOW_MM, high_mm=SECTION_HIGH_MM) for part in whole]
