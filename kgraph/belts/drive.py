"""A belt on its run: stretch, tension, load on the shafts, slip, and what it does to the tape speed.

Plain numbers in and out: lengths in mm, forces in N, torques in N m, tape speed in cm/s, stretch and
errors as fractions of one. Whatever had to be assumed is in the answer, each value with its source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from kgraph.belts import geometry, orings, rubber
from kgraph.quantities import ABOUT_SOURCE, Rule, Section

Verdict = Literal[
    "fits", "fits with a change of speed", "too slack", "too tight", "wrong section", "not known"
]

NO_SOURCE = "common practice, no source"
STRETCH_LOW, STRETCH_HIGH = 0.04, 0.10
FRICTION = 0.5
HARDNESS = 60.0
CASSETTE_CM_S = 4.76
CASSETTE_SOURCE = "cassette tape speed, IEC 60094-1 (1 7/8 in/s is 4.7625 cm/s)"
SPEED_TOLERANCE = 0.015
TOLERANCE_NAME = "DIN 45500"
TOLERANCE_SOURCE = f"{TOLERANCE_NAME}: mean tape speed within 1.5 %"
# Half of one per cent is heard by few, and a motor's own adjustment takes it up.
SPEED_NOTICED = 0.005
# A belt this much bigger or smaller no longer sits in the groove or on the crown made for it.
SECTION_FRACTION = 0.25
# The bounds of the stretch window are themselves inside it in spite of binary rounding.
_SLACK = 1e-9
# Small enough for a slope, large enough that rounding does not show in it.
_STEP_MM = 1e-4


class RunError(ValueError):
    """Figures of a run or belt that the sums cannot use; the text says which, and the allowed range."""


@dataclass(frozen=True, slots=True)
class Pulley:
    """A pulley of a run: place and diameter in mm, its side of the belt, and what turns or hangs on it.

    `drives` marks the motor's own pulley, with its speed in `rpm` when known; `capstan_mm` is the
    diameter of the capstan on the same shaft.
    """

    name: str
    x_mm: float
    y_mm: float
    diameter_mm: float
    side: geometry.Side = "inside"
    drives: bool = False
    rpm: float | None = None
    capstan_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Loose:
    """A measure of the pulley with this number that is good to `error_mm` only: x, y, diameter or capstan."""

    pulley: int
    measure: str
    error_mm: float
    about: bool = False


@dataclass(frozen=True, slots=True)
class Run:
    """The pulleys in belt order, the wanted stretch, and the load: a torque at a pulley, both optional.

    `friction` and the stretch are assumed, and said to be, where they are None; a torque with no shaft
    named is taken to be that of the driven pulley. `loose` holds the measures that state an error.
    """

    pulleys: tuple[Pulley, ...]
    stretch: tuple[float, float] | None = None
    pull_nm: float | None = None
    pull_at: str = ""
    friction: float | None = None
    loose: tuple[Loose, ...] = ()

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


@dataclass(frozen=True, slots=True)
class Load:
    """The pull of the belt on a shaft in N, as a vector and its magnitude."""

    x_n: float
    y_n: float

    @property
    def n(self) -> float:
        """The magnitude in N."""
        return math.hypot(self.x_n, self.y_n)


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
    path: geometry.Path | None = None


@dataclass(frozen=True, slots=True)
class _Pull:
    """The most that a belt pulls and the pull that the load needs, both in N."""

    limit_n: float
    range_n: tuple[float, float]
    needed_n: float | None


def belt_path(run: Run, thickness_mm: float) -> geometry.Path:
    """The mid-line of a belt of that thickness on the run. Raises GeometryError, RunError."""
    check_run(run)
    wheels = [geometry.Wheel(p.name, p.x_mm, p.y_mm, p.diameter_mm, p.side) for p in run.pulleys]
    return geometry.path(wheels, thickness_mm)


def path_error_mm(run: Run, thickness_mm: float) -> float:
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


def _slope(run: Run, loose: Loose, thickness_mm: float, here_mm: float) -> float:
    """How fast the path grows with a measure; on the side where no belt could run, it is not looked at."""
    ends = []
    for by in (-_STEP_MM, _STEP_MM):
        try:
            ends.append((by, belt_path(_shifted(run, loose, by), thickness_mm).length_mm))
        except geometry.GeometryError:
            ends.append((0.0, here_mm))
    (low, short), (high, long) = ends
    return (long - short) / (high - low) if high > low else 0.0


def _shifted(run: Run, loose: Loose, by_mm: float) -> Run:
    """The run with one measure of one pulley altered."""
    name = f"{loose.measure}_mm"
    pulleys = list(run.pulleys)
    old = pulleys[loose.pulley]
    pulleys[loose.pulley] = replace(old, **{name: getattr(old, name) + by_mm})
    return replace(run, pulleys=tuple(pulleys))


def window(run: Run, thickness_mm: float) -> tuple[float, float]:
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
    run: Run, section_mm: float | None = None, rule: Rule = orings.SECTION_RULE
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
        except (RunError, geometry.GeometryError):
            continue
        own = [ring for ring in orings.in_window(low, high, section_mm, rule) if ring.section_mm == size]
        found += own
    return found


def fit(belt: Belt, run: Run | None = None, recorded: Belt | None = None) -> Fit:
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


def speed_ratios(pulleys: Sequence[Pulley], thickness_mm: float) -> dict[str, float]:
    """Turns of each pulley for one turn of the driver, by mid-line diameters; empty with no driver.

    Slip is left out. Diameters in mm.
    """
    driver = next((p for p in pulleys if p.drives), None)
    if driver is None:
        return {}
    top = driver.diameter_mm + thickness_mm
    return {p.name: top / (p.diameter_mm + thickness_mm) for p in pulleys}


def thickness_for(run: Run, thickness_mm: float, change: float) -> float | None:
    """The belt thickness in mm that turns the driven shaft faster by `change` than `thickness_mm` does.

    None where no thickness above 0 up to 20 mm does it, or no pulley drives.
    """
    driver = next((p for p in run.pulleys if p.drives), None)
    output = driven(run)
    if driver is None or output is None:
        return None
    ratio = speed_ratios(run.pulleys, thickness_mm)[output.name] * (1 + change)
    # (d1 + t)/(d2 + t) = ratio, solved for t; at a ratio of one no thickness matters.
    if math.isclose(ratio, 1.0, rel_tol=1e-9):
        return None
    found = (driver.diameter_mm - ratio * output.diameter_mm) / (ratio - 1)
    return found if 0 < found <= 20 else None


def with_slip(ratio: float, *slips: float) -> float:
    """A speed ratio after slip at each drive in turn: slips (fractions of one) multiply, they do not add.

    Raises RunError for a slip outside 0 to 1.
    """
    if not all(0 <= slip < 1 for slip in slips):
        raise RunError(f"slip must be from 0 to below 1, not {slips}")
    return ratio * math.prod(1 - slip for slip in slips)


def tape_speed_cm_s(capstan_rpm: float, capstan_mm: float) -> float:
    """The speed of the capstan's surface in cm/s; slip and half the tape's thickness are left out."""
    return math.pi * capstan_mm * capstan_rpm / 600


def capstan_rpm(capstan_mm: float, speed_cm_s: float = CASSETTE_CM_S) -> float:
    """The turns a minute that give a tape speed, the inverse of :func:`tape_speed_cm_s`."""
    return 600 * speed_cm_s / (math.pi * capstan_mm)


def capstan_ratio(friction: float, wrap_rad: float) -> float:
    """The greatest ratio of tensions on the two sides of a wrap, e^(μθ) (Euler and Eytelwein)."""
    return math.exp(friction * wrap_rad)


def most_pull_n(tension_n: float, friction: float, wrap_rad: float) -> float:
    """The most that a belt fitted with that tension pulls before it slips, in N.

    Between fixed shafts the tight side gains what the slack side loses, so T1 + T2 = 2 T; with
    T1/T2 = e^(μθ) the difference is 2 T tanh(μθ/2).
    """
    return 2 * tension_n * math.tanh(friction * wrap_rad / 2)


def shaft_loads(path: geometry.Path, tension_n: float) -> dict[str, Load]:
    """The pull of the two spans on each shaft, in N, the belt at the same tension all round."""
    loads: dict[str, Load] = {}
    for i, arc in enumerate(path.arcs):
        before, after = path.spans[i - 1].direction_rad, path.spans[i].direction_rad
        x = tension_n * (math.cos(after) - math.cos(before))
        y = tension_n * (math.sin(after) - math.sin(before))
        # A pulley that the belt meets twice is pulled by both.
        met = loads.get(arc.name, Load(0.0, 0.0))
        loads[arc.name] = Load(met.x_n + x, met.y_n + y)
    return loads


def check_run(run: Run) -> None:
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


def _pulley_faults(pulley: Pulley) -> list[str]:
    """What is wrong with the speed and the capstan of one pulley."""
    faults = []
    if pulley.rpm is not None and not 1 <= pulley.rpm <= 30000:
        faults.append(f"{pulley.name}: the speed is 1 to 30000 rpm, not {pulley.rpm:g}")
    if pulley.capstan_mm is not None and not 0.5 <= pulley.capstan_mm <= 20:
        faults.append(f"{pulley.name}: a capstan is 0.5 to 20 mm in diameter, not {pulley.capstan_mm:g}")
    return faults


def _fit_on_run(belt: Belt, run: Run, recorded: Belt | None) -> Fit:
    """The whole sum: path, stretch, tension, loads, slip and speed, then the verdict."""
    thick = belt.section.thickness_mm
    try:
        path = belt_path(run, thick)
    except geometry.GeometryError as error:
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
    tape = None if hangs else _tape_speed(run, ratios)
    change = None
    if recorded is not None and not hangs:
        change = speed_change(run, thick, recorded.section.thickness_mm)
    limit = _pull(run, path, tension, (low, high))
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


def _stretch_range(belt: Belt, run: Run, path_mm: float) -> tuple[float, float] | None:
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
    limit: _Pull | None,
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


def _pull(run: Run, path: geometry.Path, tension: float, ends: tuple[float, float]) -> _Pull:
    """The most that the belt pulls over the smallest wrap that carries load, and the pull that is needed."""
    friction = FRICTION if run.friction is None else run.friction
    wrap = path.wraps_rad[_least_wrapped(run, path)]
    low, high = (most_pull_n(end, friction, wrap) for end in ends)
    loaded = pulled(run)
    needed = None
    if run.pull_nm is not None and loaded is not None:
        # The torque in N m over the radius of the mid-line in m.
        radius_mm = path.arcs[[arc.name for arc in path.arcs].index(loaded.name)].radius_mm
        needed = run.pull_nm / (radius_mm / 1000)
    return _Pull(most_pull_n(tension, friction, wrap), (low, high), needed)


def _least_wrapped(run: Run, path: geometry.Path) -> str:
    """The pulley with the smallest wrap, of those that carry load.

    A pulley on the belt's back with no capstan, no drive and no recorded load turns freely: slip on it is
    no loss.
    """
    names = [
        p.name
        for p in run.pulleys
        if p.side == "inside" or p.drives or p.capstan_mm is not None or p is pulled(run)
    ]
    return min(names, key=lambda name: path.wraps_rad[name])


def speed_change(run: Run, thickness_mm: float, recorded_mm: float) -> float | None:
    """How much faster the driven shaft turns than with the recorded belt, or None with no driver."""
    measured_at = driven(run)
    if measured_at is None:
        return None
    now, then = (speed_ratios(run.pulleys, mm)[measured_at.name] for mm in (thickness_mm, recorded_mm))
    return now / then - 1


def pulled(run: Run) -> Pulley | None:
    """The pulley on whose shaft the load is measured: the one named, or the driven one where none is."""
    if run.pull_nm is None:
        return None
    if not run.pull_at:
        return driven(run)
    return next((p for p in run.pulleys if p.name == run.pull_at), None)


def driven(run: Run) -> Pulley | None:
    """The pulley whose speed counts: the capstan's, else the largest that does not drive."""
    if not any(p.drives for p in run.pulleys):
        return None
    others = [p for p in run.pulleys if not p.drives]
    if not others:
        return None
    capstans = [p for p in others if p.capstan_mm is not None]
    return (capstans or [max(others, key=lambda p: p.diameter_mm)])[0]


def run_speed(run: Run, thickness_mm: float) -> float | None:
    """The tape speed in cm/s that a run gives with a belt of this thickness; None where it cannot tell."""
    return _tape_speed(run, speed_ratios(run.pulleys, thickness_mm))


def _tape_speed(run: Run, ratios: Mapping[str, float]) -> float | None:
    """The tape speed in cm/s where the driver's rpm and a capstan are known."""
    driver = next((p for p in run.pulleys if p.drives), None)
    capstan = next((p for p in run.pulleys if p.capstan_mm is not None), None)
    if driver is None or driver.rpm is None or capstan is None or capstan.capstan_mm is None:
        return None
    return tape_speed_cm_s(driver.rpm * ratios[capstan.name], capstan.capstan_mm)


def _speed_reasons(run: Run, change: float | None, tape: float | None, recorded: Belt | None) -> list[str]:
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


def _pull_reasons(run: Run, limit: _Pull, path: geometry.Path) -> list[str]:
    """Whether the belt slips under the load, where that can be said."""
    name = _least_wrapped(run, path)
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


def _either_way_reason(path: geometry.Path) -> list[str]:
    """The order of the pulleys may allow two paths; say which was taken."""
    if path.either_way_mm is None:
        return []
    return [
        f"the order of the pulleys allows a path of {path.length_mm:.1f} or of {path.either_way_mm:.1f} mm: "
        "the shorter is taken"
    ]


def _assumed(belt: Belt, run: Run, tape: float | None) -> list[Assumed]:
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


def about_run(run: Run) -> list[Assumed]:
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


def _percent(value: float) -> str:
    """A fraction as a percentage without trailing noughts."""
    return f"{value * 100:.3g} %"


def signed(value: float) -> str:
    """A fraction as a signed percentage."""
    return f"{value * 100:+.1f} %"
