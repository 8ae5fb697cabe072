"""A belt on its run: stretch, tension, load on the shafts, slip, and what it does to the tape speed.

Plain numbers in and out: lengths in mm, forces in N, torques in N m, tape speed in cm/s, stretch and
errors as fractions of one. Whatever had to be assumed is in the answer, each value with its source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from kgraph.belt_sizes import Section
from kgraph.belts import rubber, shapes
from kgraph.belts.pulling import FRICTION, Load, MostPull, least_wrapped, most_pull, shaft_loads
from kgraph.belts.runs import (
    NO_SOURCE,
    STRETCH_HIGH,
    STRETCH_LOW,
    Assumed,
    Belt,
    BeltRun,
    about_run,
    belt_path,
    check_belt,
    path_error_mm,
    pulled,
)
from kgraph.belts.speed import (
    CASSETTE_CM_S,
    CASSETTE_SOURCE,
    SPEED_TOLERANCE,
    TOLERANCE_SOURCE,
    speed_change,
    speed_ratios,
    tape_speed_of,
)
from kgraph.quantities import ABOUT_SOURCE

Verdict = Literal[
    "fits", "fits with a change of speed", "too slack", "too tight", "wrong section", "not known"
]
HARDNESS = 60.0
# Half of one per cent is heard by few, and a motor's own adjustment takes it up.
SPEED_NOTICED = 0.005
# A belt this much bigger or smaller no longer sits in the groove or on the crown made for it.
SECTION_FRACTION = 0.25
# The bounds of the stretch window are themselves inside it in spite of binary rounding.
_SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class Fit:
    """What a belt does on a run. What could not be worked out is None, or missing from the mapping.

    `speed_ratios` is turns of each pulley for one turn of the driver; `speed_change` is against the
    recorded belt, `tape_speed_error` against 4.76 cm/s. Tension is good to two figures at best.
    `stretch_range` is there where a length or a pulley was measured with a stated error, or `about`.
    """

    verdict: Verdict
    reasons: tuple[str, ...]
    assumed: tuple[Assumed, ...]
    stretch: float | None = None
    stretch_range: tuple[float, float] | None = None
    tension_n: float | None = None
    tension_range_n: tuple[float, float] | None = None
    shaft_loads: Mapping[str, Load] = field(default_factory=dict)
    pull_limit_n: float | None = None
    pull_limit_range_n: tuple[float, float] | None = None
    pull_needed_n: float | None = None
    speed_ratios: Mapping[str, float] = field(default_factory=dict)
    speed_change: float | None = None
    tape_speed_cm_s: float | None = None
    tape_speed_error: float | None = None
    path: shapes.Path | None = None


def fit(belt: Belt, run: BeltRun | None = None, recorded: Belt | None = None) -> Fit:
    """What the belt does on the run, or, with no run, against the belt recorded there.

    Raises GeometryError for an impossible run and RunError for figures out of range.
    """
    check_belt(belt)
    if recorded is not None:
        check_belt(recorded)
    if run is not None:
        return _fit_on_run(belt, run, recorded)
    if recorded is not None:
        return _fit_by_recorded(belt, recorded)
    return Fit("not known", ("neither the run nor a belt is recorded at this place",), ())


def _fit_on_run(belt: Belt, run: BeltRun, recorded: Belt | None) -> Fit:
    """The whole sum: path, stretch, tension, loads, slip and speed, then the verdict."""
    thick = belt.section.thickness_mm
    try:
        path = belt_path(run, thick)
    except shapes.GeometryError as error:
        belt_path(run, 0.0)  # Raises again where it is the run that cannot be, and not the belt.
        return Fit("wrong section", (f"the belt is too thick for the run: {error}",), ())
    stretch = rubber.stretch(path.length_mm, rubber.rest_midline_mm(belt.inside_length_mm, thick))
    modulus = rubber.modulus(HARDNESS if belt.hardness is None else belt.hardness)
    tension, low, high = (
        rubber.tension_n(mpa, belt.section.area_mm2, stretch)
        for mpa in (modulus.mpa, modulus.low_mpa, modulus.high_mpa)
    )
    ratios = speed_ratios(run.pulleys, thick)
    hangs = stretch <= 0  # A belt that hangs loose drives nothing: no speed is told of it.
    tape = None if hangs else tape_speed_of(run, ratios)
    change = None
    if recorded is not None and not hangs:
        change = speed_change(run, thick, recorded.section.thickness_mm)
    limit = most_pull(run, path, tension, (low, high))
    verdict, why = _verdict(belt, recorded, stretch, run.wanted, change, limit)
    reasons = [
        *why,
        *([] if hangs else _speed_reasons(run, change, tape, recorded)),
        *([] if hangs else _pull_reasons(run, limit, path)),
        *([modulus.warning] if modulus.warning else []),
        *_either_way_reason(path),
    ]
    return Fit(
        verdict,
        tuple(reasons),
        tuple(_assumed(belt, run, tape)),
        stretch=stretch,
        stretch_range=_stretch_range(belt, run, path.length_mm),
        tension_n=tension,
        tension_range_n=(low, high),
        shaft_loads=shaft_loads(path, tension),
        pull_limit_n=limit.limit_n,
        pull_limit_range_n=limit.range_n,
        pull_needed_n=limit.needed_n,
        speed_ratios=ratios,
        speed_change=change,
        tape_speed_cm_s=tape,
        tape_speed_error=None if tape is None else tape / CASSETTE_CM_S - 1,
        path=path,
    )


def _stretch_range(belt: Belt, run: BeltRun, path_mm: float) -> tuple[float, float] | None:
    """The stretch between the ends of what was measured, or None where no measure states an error."""
    thick = belt.section.thickness_mm
    path_error = path_error_mm(run, thick)
    if not path_error and not belt.length_error_mm:
        return None
    rest = rubber.rest_midline_mm(belt.inside_length_mm, thick)
    # A relative error of a quotient, both parts independent.
    error = math.hypot(path_error / path_mm, belt.length_error_mm / rest) * path_mm / rest
    middle = rubber.stretch(path_mm, rest)
    return middle - error, middle + error


def _fit_by_recorded(belt: Belt, recorded: Belt) -> Fit:
    """With no run: the recorded belt is taken to lie at mid stretch, and this one on the same path."""
    middle = (STRETCH_LOW + STRETCH_HIGH) / 2
    thick, thick_there = belt.section.thickness_mm, recorded.section.thickness_mm
    there = rubber.rest_midline_mm(recorded.inside_length_mm, thick_there) * (1 + middle)
    # With every pulley inside the loop the mid-line grows by π for each millimetre of thickness.
    path_mm = there + math.pi * (thick - thick_there)
    stretch = rubber.stretch(path_mm, rubber.rest_midline_mm(belt.inside_length_mm, thick))
    verdict, why = _verdict(belt, recorded, stretch, (STRETCH_LOW, STRETCH_HIGH), None, None)
    longer = belt.inside_length_mm / recorded.inside_length_mm - 1
    thicker = thick - thick_there
    reasons = [*why, f"its inside length is {signed(longer)} against the recorded belt's"]
    if abs(thicker) > _SLACK:
        sense = "faster" if thicker > 0 else "slower"
        reasons.append(
            f"it is {abs(thicker):.3g} mm {'thicker' if thicker > 0 else 'thinner'}: with a small motor "
            f"pulley the tape runs {sense}; by how much is not known, for the pulleys are not recorded"
        )
        if verdict == "fits":
            verdict = "fits with a change of speed"
    assumed = (
        Assumed("stretch of the recorded belt", f"{_percent(middle)}", NO_SOURCE),
        Assumed("wanted stretch", f"{_percent(STRETCH_LOW)} to {_percent(STRETCH_HIGH)}", NO_SOURCE),
        Assumed("pulleys", "all inside the belt", NO_SOURCE),
    )
    return Fit(verdict, tuple(reasons), assumed, stretch=stretch)


def _verdict(
    belt: Belt,
    recorded: Belt | None,
    stretch: float,
    wanted: tuple[float, float],
    change: float | None,
    limit: MostPull | None,
) -> tuple[Verdict, list[str]]:
    """The verdict in words and the reason for it: section first, then stretch, slip and speed."""
    wrong = _section_reason(belt.section, recorded.section) if recorded else ""
    low, high = wanted
    says = f"it is stretched by {_percent(stretch)}; wanted are {_percent(low)} to {_percent(high)}"
    if stretch <= 0:
        says = f"it is {_percent(-stretch)} longer than its path and hangs loose"
    if wrong:
        return "wrong section", [wrong, says]
    if stretch < low - _SLACK:
        return "too slack", [says]
    if stretch > high + _SLACK:
        return "too tight", [says]
    if limit and limit.needed_n is not None and limit.needed_n > limit.range_n[1]:
        return "too slack", [says, "it slips under the recorded pull, however stiff the rubber"]
    if change is not None and abs(change) > SPEED_NOTICED:
        return "fits with a change of speed", [says]
    return "fits", [says]


def _section_reason(section: Section, recorded: Section) -> str:
    """Why this section does not do where the recorded one does, or nothing."""
    if section.form != recorded.form:
        return f"it is {section.form}, and the recorded belt is {recorded.form}"
    for mine, there in zip(section.sizes_mm, recorded.sizes_mm, strict=True):
        if abs(mine - there) > SECTION_FRACTION * there + _SLACK:
            return (
                f"its {mine:g} mm against {there:g} mm is more than {_percent(SECTION_FRACTION)} off "
                f"the recorded section ({NO_SOURCE})"
            )
    return ""


def _speed_reasons(
    run: BeltRun, change: float | None, tape: float | None, recorded: Belt | None
) -> list[str]:
    """What happens to the speed, or why that is not known."""
    reasons = []
    if change is not None:
        reasons.append(f"against the recorded belt the speed changes by {signed(change)}")
    elif recorded is not None:
        reasons.append("the change of speed is not known: no pulley is said to drive")
    if tape is not None:
        return [*reasons, _tape_reason(tape / CASSETTE_CM_S - 1, tape)]
    if change is not None and abs(change) > SPEED_TOLERANCE:
        much = f"more than {_percent(SPEED_TOLERANCE)} ({TOLERANCE_SOURCE})"
        reasons.append(f"that is {much}: adjust the motor")
    missing = "the capstan's diameter" if any(p.rpm for p in run.pulleys if p.drives) else "the motor's rpm"
    return [*reasons, f"the tape speed is not known: {missing} is not recorded"]


def _tape_reason(error: float, tape: float) -> str:
    """The tape speed held against the tolerance of the standard."""
    inside = abs(error) <= SPEED_TOLERANCE + _SLACK
    return (
        f"the tape runs at {tape:.3f} cm/s, {signed(error)} against {CASSETTE_CM_S} cm/s, "
        f"{'within' if inside else 'outside'} {_percent(SPEED_TOLERANCE)} ({TOLERANCE_SOURCE})"
        f"{'' if inside else ': adjust the motor'}"
    )


def _pull_reasons(run: BeltRun, limit: MostPull, path: shapes.Path) -> list[str]:
    """Whether the belt slips under the load, where that can be said."""
    name = least_wrapped(run, path)
    wrap = math.degrees(path.wraps_rad[name])
    reasons = [
        f"it pulls up to {limit.range_n[0]:.2g} to {limit.range_n[1]:.2g} N before it slips on {name} "
        f"({wrap:.0f}° of wrap)"
    ]
    if run.pull_nm is not None and limit.needed_n is None:
        where = f"at {run.pull_at}, which is no pulley of this run" if run.pull_at else "without a shaft"
        names = ", ".join(dict.fromkeys(p.name for p in run.pulleys))
        reasons.append(f"the pull is given {where}: not compared; the pulleys are {names}")
    loaded = pulled(run)
    if limit.needed_n is not None and loaded is not None:
        low, high = limit.range_n
        margin = "holds" if limit.needed_n <= low else "slips" if limit.needed_n > high else "may slip"
        reasons.append(f"the load at {loaded.name} needs {limit.needed_n:.2g} N: it {margin}")
    return reasons


def _either_way_reason(path: shapes.Path) -> list[str]:
    """The order of the pulleys may allow two paths; say which was taken."""
    if path.either_way_mm is None:
        return []
    return [
        f"the order of the pulleys allows a path of {path.length_mm:.1f} or of {path.either_way_mm:.1f} mm: "
        "the shorter is taken"
    ]


def _assumed(belt: Belt, run: BeltRun, tape: float | None) -> list[Assumed]:
    """Every value that was not recorded, with its source."""
    found = [Assumed("stiffness from hardness", "good to 35 % at best", rubber.GENT_SOURCE)]
    if belt.hardness is None:
        found.append(Assumed("hardness", f"{HARDNESS:g} Shore A", NO_SOURCE))
    if run.stretch is None:
        found.append(
            Assumed("wanted stretch", f"{_percent(STRETCH_LOW)} to {_percent(STRETCH_HIGH)}", NO_SOURCE)
        )
    if run.friction is None:
        found.append(Assumed("friction of belt and pulley", f"{FRICTION:g}", NO_SOURCE))
    if run.pull_nm is not None and not run.pull_at and (at := pulled(run)):
        found.append(Assumed("shaft of the pull", at.name, "not said: the driven shaft is taken"))
    found += [*_about_belt(belt), *about_run(run)]
    found.append(
        Assumed("tension at slip", "tight and slack side together twice the fitted tension", NO_SOURCE)
    )
    if tape is not None:
        found.append(Assumed("right tape speed", f"{CASSETTE_CM_S} cm/s", CASSETTE_SOURCE))
        found.append(Assumed("slip of belt and tape", "none", NO_SOURCE))
    return found


def _about_belt(belt: Belt) -> list[Assumed]:
    """What was taken for a belt whose sizes are `about`."""
    found = []
    if belt.about:
        found.append(Assumed("inside length, about", f"± {belt.length_error_mm:.3g} mm", ABOUT_SOURCE))
    if belt.section.about:
        found.append(Assumed("section, about", f"± {belt.section.error_mm:.3g} mm", ABOUT_SOURCE))
    return found


def _percent(value: float) -> str:
    """A fraction as a percentage without trailing noughts."""
    return f"{value * 100:.3g} %"


def signed(value: float) -> str:
    """A fraction as a signed percentage."""
    return f"{value * 100:+.1f} %"
