"""What a belt may vary as it is sold, by its class of tolerance, and what that does on a run.

Lengths in mm, stretch and changes of speed as fractions of one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import product

from kgraph.belt_sizes import Section
from kgraph.belts import drive, rubber, runs, shapes, speed, tolerances
from kgraph.belts.runs import Assumed, Belt, BeltRun


@dataclass(frozen=True, slots=True)
class Sold:
    """How far a belt of a class may be off, and the stretch and speed that it may then have.

    `length_mm` is None where no tolerance of the length is published for the class; `stretch` and `speed`
    (against the same belt exactly to size) are None where no run is recorded, or no pulley drives.
    """

    grade: str
    thickness_mm: float | None
    length_mm: float | None
    stretch: tuple[float, float] | None = None
    speed: tuple[float, float] | None = None


def sold(belt: Belt, grade: str = tolerances.USUAL, run: BeltRun | None = None) -> Sold:
    """What a belt of that class may vary. Raises ValueError for an unknown class."""
    thick = belt.section.thickness_mm
    off = tolerances.section_mm(thick, grade)
    length = tolerances.ring_length_mm(belt.inside_length_mm, grade)
    if run is None or off is None:
        return Sold(grade, off, length)
    thicknesses = [t for t in (thick - off, thick, thick + off) if t > 0]
    stretches = _stretches(belt, run, thicknesses, length)
    return Sold(grade, off, length, stretches, _speeds(run, thick, thicknesses))


def on_path(belt: Belt, stretch: float, grade: str = tolerances.USUAL) -> Sold:
    """The same where no run is recorded, on the path on which the belt has that stretch.

    Every pulley is taken to be inside the belt, so that path and belt grow alike with the thickness.
    """
    found = sold(belt, grade)
    if found.thickness_mm is None or found.length_mm is None:
        return found
    rest = rubber.rest_midline_mm(belt.inside_length_mm, belt.section.thickness_mm)
    path = rest * (1 + stretch)
    ends = [
        (path + math.pi * off) / (rest + math.pi * off + length) - 1
        for off in (-found.thickness_mm, found.thickness_mm)
        for length in (-found.length_mm, found.length_mm)
        if rest + math.pi * off + length > 0
    ]
    return replace(found, stretch=(min(ends), max(ends)))


def window(run: BeltRun, section: Section, grade: str = tolerances.USUAL) -> tuple[float, float] | None:
    """The inside lengths, as named by the seller, with which every belt of the class has the wanted stretch.

    None where the class is too coarse for that, or says nothing of the length. Raises as runs.window.
    """
    low, high = runs.window(run, section.thickness_mm)
    off = tolerances.section_mm(section.thickness_mm, grade)
    slack = [tolerances.ring_length_mm(end, grade) for end in (low, high)]
    if off is None or slack[0] is None or slack[1] is None:
        return None
    for thick in (section.thickness_mm - off, section.thickness_mm + off):
        try:
            ends = runs.window(run, thick) if thick > 0 else (low, high)
        except (shapes.GeometryError, runs.RunError):
            return None
        low, high = max(low, ends[0]), min(high, ends[1])
    low, high = low + slack[0], high - slack[1]
    return (low, high) if low < high else None


def assumed(grade: str, chosen: bool) -> list[Assumed]:
    """On whose word the tolerances are, and the class where nobody chose one."""
    found = [Assumed("tolerance of a belt as sold", f"class {grade}", tolerances.source_of(grade))]
    if not chosen:
        found.append(Assumed("class of tolerance", grade, tolerances.USUAL_SOURCE))
    return found


def _stretches(
    belt: Belt, run: BeltRun, thicknesses: list[float], length_off: float | None
) -> tuple[float, float] | None:
    """The least and the most stretch between all ends of the tolerances."""
    if length_off is None:
        return None
    lengths = (belt.inside_length_mm - length_off, belt.inside_length_mm + length_off)
    found = []
    for thick, length in product(thicknesses, lengths):
        try:
            path = runs.belt_path(run, thick).length_mm
        except shapes.GeometryError:
            continue  # So thick a belt does not pass between the pulleys, and so has no stretch there.
        if length > 0:
            found.append(rubber.stretch(path, rubber.rest_midline_mm(length, thick)))
    return (min(found), max(found)) if found else None


def _speeds(run: BeltRun, thick: float, thicknesses: list[float]) -> tuple[float, float] | None:
    """The change of speed of the driven shaft between the ends of the thickness."""
    changes = [speed.speed_change(run, each, thick) for each in thicknesses]
    known = [change for change in changes if change is not None]
    return (min(known), max(known)) if known else None


def says(found: Sold, fit: drive.Fit) -> list[str]:
    """What the tolerance means for a belt on its run, in words."""
    if found.thickness_mm is None:
        return [f"class {found.grade} says nothing of a section as thick as this"]
    said = f"a belt sold to class {found.grade} may be off by ± {found.thickness_mm:.2g} mm in thickness"
    if found.length_mm is not None:
        said += f" and ± {found.length_mm:.2g} mm in inside length"
    if found.stretch is not None:
        low, high = found.stretch
        said += f": stretched by {low * 100:.1f} % to {high * 100:.1f} %"
    drives = fit.stretch is None or fit.stretch > 0  # Of a belt that hangs loose no speed is told.
    if found.speed is not None and drives:
        low, high = found.speed
        said += f"{',' if found.stretch else ':'} speed off by {drive.signed(low)} to {drive.signed(high)}"
    out = [said]
    if found.speed is not None and drives and fit.speed_change:
        low, high = found.speed
        inside = low - 1e-9 <= fit.speed_change <= high + 1e-9
        much = "no more than" if inside else "more than"
        out.append(f"the change of speed is {much} what such a belt may be off by itself")
    return out
