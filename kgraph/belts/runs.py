"""A run and a belt as the sums take them: pulleys, sizes, the path, and what is refused.

Lengths in mm, torques in N m, stretch and errors as fractions of one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from kgraph.belt_sizes import Section
from kgraph.belts import geometry, orings, shapes
from kgraph.quantities import ABOUT_SOURCE
from kgraph.size_rules import Rule

NO_SOURCE = "common practice, no source"
STRETCH_LOW, STRETCH_HIGH = 0.04, 0.10
# Small enough for a slope, large enough that rounding does not show in it.
_STEP_MM = 1e-4


class RunError(ValueError):
    """Figures of a run or belt that the sums cannot use; the text says which, and the allowed range."""


@dataclass(frozen=True, slots=True)
class RunPulley:
    """A pulley of a run: place and diameter in mm, its side of the belt, and what turns or hangs on it.

    `drives` marks the motor's own pulley, with its speed in `rpm` when known; `capstan_mm` is the
    diameter of the capstan on the same shaft.
    """

    name: str
    x_mm: float
    y_mm: float
    diameter_mm: float
    side: shapes.Side = "inside"
    drives: bool = False
    rpm: float | None = None
    capstan_mm: float | None = None


@dataclass(frozen=True, slots=True)
class LooseMeasure:
    """A measure of the pulley with this number that is good to `error_mm` only: x, y, diameter or capstan."""

    pulley: int
    measure: str
    error_mm: float
    about: bool = False


@dataclass(frozen=True, slots=True)
class BeltRun:
    """The pulleys in belt order, the wanted stretch, and the load: a torque at a pulley, both optional.

    `friction` and the stretch are assumed, and said to be, where they are None; a torque with no shaft
    named is taken to be that of the driven pulley. `loose` holds the measures that state an error.
    """

    pulleys: tuple[RunPulley, ...]
    stretch: tuple[float, float] | None = None
    pull_nm: float | None = None
    pull_at: str = ""
    friction: float | None = None
    loose: tuple[LooseMeasure, ...] = ()

    @property
    def wanted(self) -> tuple[float, float]:
        """The wanted stretch, recorded or assumed."""
        return self.stretch or (STRETCH_LOW, STRETCH_HIGH)


@dataclass(frozen=True, slots=True)
class Belt:
    """A belt: section, inside length at rest in mm, and hardness in Shore A when known.

    `length_error_mm` is the error of the length where one is stated, or what `about` stands for; else 0.
    """

    section: Section
    inside_length_mm: float
    hardness: float | None = None
    length_error_mm: float = 0.0
    about: bool = False


@dataclass(frozen=True, slots=True)
class Assumed:
    """A value that was not recorded: what it is, what was taken, and on whose word."""

    what: str
    value: str
    source: str


def belt_path(run: BeltRun, thickness_mm: float) -> shapes.Path:
    """The mid-line of a belt of that thickness on the run. Raises GeometryError, RunError."""
    check_run(run)
    wheels = [shapes.Wheel(p.name, p.x_mm, p.y_mm, p.diameter_mm, p.side) for p in run.pulleys]
    return geometry.path(wheels, thickness_mm)


def path_error_mm(run: BeltRun, thickness_mm: float) -> float:
    """The error of the path in mm that follows from the stated errors of the pulleys, each independent.

    Raises GeometryError, RunError.
    """
    here = belt_path(run, thickness_mm).length_mm
    slopes = (
        (_slope(run, each, thickness_mm, here), each.error_mm)
        for each in run.loose
        if each.measure != "capstan"
    )
    return math.hypot(*(slope * error for slope, error in slopes))


def _slope(run: BeltRun, loose: LooseMeasure, thickness_mm: float, here_mm: float) -> float:
    """How fast the path grows with a measure; on the side where no belt could run, it is not looked at."""
    ends = []
    for by in (-_STEP_MM, _STEP_MM):
        try:
            ends.append((by, belt_path(_shifted(run, loose, by), thickness_mm).length_mm))
        except shapes.GeometryError:
            ends.append((0.0, here_mm))
    (low, short), (high, long) = ends
    return (long - short) / (high - low) if high > low else 0.0


def _shifted(run: BeltRun, loose: LooseMeasure, by_mm: float) -> BeltRun:
    """The run with one measure of one pulley altered."""
    name = f"{loose.measure}_mm"
    pulleys = list(run.pulleys)
    old = pulleys[loose.pulley]
    pulleys[loose.pulley] = replace(old, **{name: getattr(old, name) + by_mm})
    return replace(run, pulleys=tuple(pulleys))


def window(run: BeltRun, thickness_mm: float) -> tuple[float, float]:
    """The inside lengths at rest, shortest and longest in mm, that give the wanted stretch.

    The exact inverse of the stretch in :func:`fit`: the shortest gives the most. Raises GeometryError,
    RunError.
    """
    length = belt_path(run, thickness_mm).length_mm
    low, high = run.wanted
    ends = inside_length_for(length, thickness_mm, high), inside_length_for(length, thickness_mm, low)
    if ends[0] <= 0:
        raise RunError(f"no belt {thickness_mm:g} mm thick is short enough for a path of {length:.4g} mm")
    return ends


def inside_length_for(path_mm: float, thickness_mm: float, stretch: float) -> float:
    """The inside length at rest in mm of the belt that lies on that path with that stretch."""
    return path_mm / (1 + stretch) - math.pi * thickness_mm


def o_rings(
    run: BeltRun, section_mm: float | None = None, rule: Rule = orings.SECTION_RULE
) -> list[orings.ORing]:
    """The standard O-rings that lie on the run with the wanted stretch, each with its own thickness.

    With `section_mm`, only those whose section agrees with it by the rule; a ring too thick to pass between
    the pulleys is left out. Raises GeometryError for a run that no belt goes round.
    """
    belt_path(run, 0.0)
    found = []
    for size in sorted({ring.section_mm for ring in orings.TABLE}):
        try:
            low, high = window(run, size)
        except (RunError, shapes.GeometryError):
            continue
        own = [ring for ring in orings.in_window(low, high, section_mm, rule) if ring.section_mm == size]
        found += own
    return found


def check_run(run: BeltRun) -> None:
    """Refuse speeds, capstans, stretch, pull and friction that cannot be. Raises RunError naming all."""
    faults = [fault for pulley in run.pulleys for fault in _pulley_faults(pulley)]
    drivers = list(dict.fromkeys(p.name for p in run.pulleys if p.drives))
    if len(drivers) > 1:
        faults.append(f"{' and '.join(drivers)} are both said to drive; one pulley drives a belt")
    low, high = run.wanted
    if not 0 <= low < high <= 1:
        faults.append(f"the wanted stretch runs upwards within 0 to 100 %, not {low:.3g} to {high:.3g}")
    if run.pull_nm is not None and not 0 < run.pull_nm <= 1:
        faults.append(f"the pull must be above 0 up to 1 N m, not {run.pull_nm:g}")
    if run.friction is not None and not 0 < run.friction <= 3:
        faults.append(f"the friction must be above 0 up to 3, not {run.friction:g}")
    if faults:
        raise RunError("; ".join(faults))


def check_belt(belt: Belt) -> None:
    """Refuse a belt whose sizes or hardness cannot be. Raises RunError with all that is wrong."""
    faults = []
    if not 1 <= belt.inside_length_mm <= 2000:
        faults.append(f"a belt's inside length is 1 to 2000 mm, not {belt.inside_length_mm:g}")
    if not all(0.1 <= size <= 20 for size in belt.section.sizes_mm):
        faults.append(f"the sizes of a belt's section are 0.1 to 20 mm, not {belt.section.sizes_mm}")
    if belt.hardness is not None and not 10 <= belt.hardness <= 95:
        faults.append(f"a belt's hardness is 10 to 95 Shore A, not {belt.hardness:g}")
    if faults:
        raise RunError("; ".join(faults))


def _pulley_faults(pulley: RunPulley) -> list[str]:
    """What is wrong with the speed and the capstan of one pulley."""
    faults = []
    if pulley.rpm is not None and not 1 <= pulley.rpm <= 30000:
        faults.append(f"{pulley.name}: the speed is 1 to 30000 rpm, not {pulley.rpm:g}")
    if pulley.capstan_mm is not None and not 0.5 <= pulley.capstan_mm <= 20:
        faults.append(f"{pulley.name}: a capstan is 0.5 to 20 mm in diameter, not {pulley.capstan_mm:g}")
    return faults


def pulled(run: BeltRun) -> RunPulley | None:
    """The pulley on whose shaft the load is measured: the one named, or the driven one where none is."""
    if run.pull_nm is None:
        return None
    if not run.pull_at:
        return driven(run)
    return next((p for p in run.pulleys if p.name == run.pull_at), None)


def driven(run: BeltRun) -> RunPulley | None:
    """The pulley whose speed counts: the capstan's, else the largest that does not drive."""
    if not any(p.drives for p in run.pulleys):
        return None
    others = [p for p in run.pulleys if not p.drives]
    if not others:
        return None
    capstans = [p for p in others if p.capstan_mm is not None]
    return (capstans or [max(others, key=lambda p: p.diameter_mm)])[0]


def about_run(run: BeltRun) -> list[Assumed]:
    """What was taken for each measure of a pulley that is `about`."""
    return [
        Assumed(
            f"{each.measure} of {run.pulleys[each.pulley].name}, about",
            f"± {each.error_mm:.3g} mm",
            ABOUT_SOURCE,
        )
        for each in run.loose
        if each.about
    ]
