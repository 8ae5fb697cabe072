"""The path of a belt round any number of pulleys, along its mid-line.

A run is a list of pulleys in the order in which the belt meets them, either way round; one that it meets
twice (a large one between two small ones may touch both runs) is listed twice. Each is a circle
of radius d/2 + t/2; two that lie on one side of the belt are joined by an outer tangent, two that do not
by an inner one. Lengths are in mm, angles in radians. An impossible run is a :class:`GeometryError`
that names the pulleys, and says all that is wrong with the run.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from kgraph.belts.crossings import path_faults
from kgraph.belts.shapes import (
    FULL_TURN,
    TOUCH_MM,
    WRAP_RAD,
    Arc,
    GeometryError,
    Path,
    RunFault,
    Span,
    Wheel,
    distance,
    listed,
    radius,
    signed_radius,
)

_LARGEST_MM = 1e6


@dataclass(frozen=True, slots=True)
class TwoPulleys:
    """The belt on two pulleys by the textbook formulas: length, and wrap on the small and the large one."""

    length: float
    wrap_small_rad: float
    wrap_large_rad: float


def path(wheels: Sequence[Wheel], thickness_mm: float = 0.0) -> Path:
    """The mid-line of a belt of that thickness on the pulleys, listed either way round.

    Raises GeometryError for a run that cannot be.
    """
    faults = _input_faults(wheels, thickness_mm) or _standing_faults(wheels)
    if faults:
        raise GeometryError(faults)
    tries = [
        _follow(tuple(wheels), thickness_mm, True),
        _follow(tuple(reversed(wheels)), thickness_mm, False),
    ]
    paths = [found for found in tries if isinstance(found, Path)]
    if not paths:
        raise GeometryError(_plainest([found for found in tries if not isinstance(found, Path)], wheels))
    paths.sort(key=lambda found: found.length_mm)
    # Two pulleys, or a mirrored run, have the same length both ways: then the order as listed is kept.
    if len(paths) == 1:
        return paths[0]
    short, long = paths
    if math.isclose(short.length_mm, long.length_mm, rel_tol=1e-12):
        return short if short.listed_anticlockwise else long
    return Path(
        short.length_mm, short.wraps_rad, short.spans, short.arcs, short.listed_anticlockwise, long.length_mm
    )


def two_pulleys(small: float, large: float, centres: float, *, crossed: bool = False) -> TwoPulleys:
    """The textbook formulas for an open or a crossed belt on two pulleys, any unit of length.

    Open: Budynas & Nisbett, *Shigley's Mechanical Engineering Design*, equations 17-1 and 17-2. `small`
    and `large` are diameters. Raises GeometryError when the pulleys do not stand clear of one another.
    """
    names = ("small pulley", "large pulley")
    values = (small, large, centres)
    if not all(math.isfinite(value) and 0 < value <= _LARGEST_MM for value in values) or small > large:
        raise GeometryError(
            [RunFault("two pulleys need two diameters, the smaller first, and a distance", names)]
        )
    if centres <= ((large + small) / 2 if crossed else (large - small) / 2):
        raise GeometryError(
            [RunFault("the small pulley and the large pulley are too close for this belt", names)]
        )
    half = (large + small if crossed else large - small) / 2
    lean = math.asin(half / centres)
    wrap_large = math.pi + 2 * lean
    wrap_small = wrap_large if crossed else math.pi - 2 * lean
    straight = 2 * math.sqrt((centres - half) * (centres + half))
    return TwoPulleys(straight + (large * wrap_large + small * wrap_small) / 2, wrap_small, wrap_large)


def _input_faults(wheels: Sequence[Wheel], thickness_mm: float) -> list[RunFault]:
    """What is wrong with the numbers and names before any geometry is done."""
    faults = [
        RunFault(f"{wheel.name}: {what} must be {limits}", (wheel.name,))
        for wheel in wheels
        for what, good, limits in (
            ("its place", _sensible(wheel.x_mm) and _sensible(wheel.y_mm), "a number of mm up to a million"),
            ("its diameter", _sensible(wheel.diameter_mm) and wheel.diameter_mm >= 1e-3, "0.001 mm or more"),
            ("its side", wheel.side in ("inside", "outside"), "inside or outside"),
        )
        if not good
    ]
    if not (_sensible(thickness_mm) and thickness_mm >= 0):
        faults.append(RunFault("the belt's thickness must be a number of mm, 0 or more", ()))
    twice = [name for name, times in Counter(wheel.name for wheel in set(wheels)).items() if times > 1]
    faults += [RunFault(f"two pulleys are called {name}; each needs its own name", (name,)) for name in twice]
    faults += [
        RunFault(f"{two.name} follows itself in the order", (two.name,))
        for one, two in zip([*wheels[-1:], *wheels[:-1]], wheels, strict=True)
        if len(wheels) > 1 and one == two
    ]
    if len(wheels) < 2:
        names = tuple(wheel.name for wheel in wheels)
        faults.append(RunFault(f"a belt runs on two pulleys or more, not on {len(wheels)}", names))
    return faults


def _sensible(value: float) -> bool:
    """A finite number, small enough that nothing made of it can overflow."""
    return math.isfinite(value) and abs(value) <= _LARGEST_MM


def _standing_faults(wheels: Sequence[Wheel]) -> list[RunFault]:
    """Pulleys that cannot stand where they do, and a loop with too few pulleys within it."""
    once = list(dict.fromkeys(wheels))
    faults = [fault for one, two in combinations(once, 2) if (fault := _pair_fault(one, two))]
    inside = tuple(wheel.name for wheel in once if wheel.side == "inside")
    if len(inside) < 2:
        names = tuple(wheel.name for wheel in once)
        faults.append(
            RunFault(
                f"of {listed(names)}, a belt needs at least two inside its loop, not {len(inside)}", names
            )
        )
    return faults


def _pair_fault(one: Wheel, two: Wheel) -> RunFault | None:
    """Whether two pulleys stand at one point, one in the other, or overlap; just touching is allowed."""
    apart = distance(one, two)
    names = (one.name, two.name)
    if apart < TOUCH_MM:
        return RunFault(f"{one.name} and {two.name} stand at one point", names)
    small, large = sorted((one, two), key=lambda wheel: wheel.diameter_mm)
    if apart <= (large.diameter_mm - small.diameter_mm) / 2:
        return RunFault(f"{small.name} lies inside {large.name}", (small.name, large.name))
    short = (one.diameter_mm + two.diameter_mm) / 2 - apart
    if short > TOUCH_MM:
        return RunFault(f"{one.name} and {two.name} overlap by {short:.3g} mm", names)
    return None


def _follow(wheels: tuple[Wheel, ...], thickness_mm: float, listed: bool) -> Path | list[RunFault]:
    """The path with the pulleys taken anticlockwise in this order, or why there is none."""
    pairs = list(zip(wheels, wheels[1:] + wheels[:1], strict=True))
    tight = [fault for one, two in pairs if (fault := _gap_fault(one, two, thickness_mm))]
    if tight:
        return tight
    spans = tuple(_span(one, two, thickness_mm) for one, two in pairs)
    arcs = tuple(_arc(wheel, spans[i - 1], spans[i], thickness_mm) for i, wheel in enumerate(wheels))
    faults = path_faults(wheels, spans, arcs)
    if faults:
        return faults
    length = math.fsum(span.length_mm for span in spans) + math.fsum(
        arc.radius_mm * abs(arc.sweep_rad) for arc in arcs
    )
    wraps: dict[str, float] = {}
    for arc in arcs:
        wraps[arc.name] = wraps.get(arc.name, 0.0) + abs(arc.sweep_rad)
    return Path(length, wraps, spans, arcs, listed)


def _gap_fault(one: Wheel, two: Wheel, thickness_mm: float) -> RunFault | None:
    """A belt that goes between two pulleys needs a gap of its own thickness."""
    if one.side == two.side:
        return None
    if distance(one, two) >= radius(one, thickness_mm) + radius(two, thickness_mm) - TOUCH_MM:
        return None
    return RunFault(f"the belt does not fit between {one.name} and {two.name}", (one.name, two.name))


def _span(one: Wheel, two: Wheel, thickness_mm: float) -> Span:
    """The tangent from one pulley to the next, with an inside pulley on its left."""
    first, second = signed_radius(one, thickness_mm), signed_radius(two, thickness_mm)
    apart = distance(one, two)
    step = first - second
    lean = math.asin(max(-1.0, min(1.0, step / apart)))
    direction = math.atan2(two.y_mm - one.y_mm, two.x_mm - one.x_mm) + lean
    across = (math.sin(direction), -math.cos(direction))
    start = (one.x_mm + first * across[0], one.y_mm + first * across[1])
    end = (two.x_mm + second * across[0], two.y_mm + second * across[1])
    # A product of sum and difference keeps digits that the difference of two squares would lose.
    length = math.sqrt(max(0.0, (apart - step) * (apart + step)))
    return Span(one.name, two.name, start, end, length, direction)


def _arc(wheel: Wheel, before: Span, after: Span, thickness_mm: float) -> Arc:
    """The part of the pulley that the belt lies on; a turn within 1e-9 of none or of all is none."""
    sign = 1.0 if wheel.side == "inside" else -1.0
    wrap = (sign * (after.direction_rad - before.direction_rad)) % FULL_TURN
    if wrap < WRAP_RAD or FULL_TURN - wrap < WRAP_RAD:
        wrap = 0.0
    start = (before.direction_rad - sign * math.pi / 2) % FULL_TURN
    centre = (wheel.x_mm, wheel.y_mm)
    return Arc(wheel.name, centre, radius(wheel, thickness_mm), start, sign * wrap)


def _plainest(tries: list[list[RunFault]], wheels: Sequence[Wheel]) -> list[RunFault]:
    """Of the faults found each way round, the ones to report: the fewer, or those of the way listed."""
    forward, backward = tries
    if len(forward) != len(backward):
        return min(tries, key=len)
    return forward if _turns_left(wheels) else backward


def _turns_left(wheels: Sequence[Wheel]) -> bool:
    """Whether the centres, in the order given, go anticlockwise (the sign of their polygon's area)."""
    following = [*wheels[1:], wheels[0]]
    return math.fsum(a.x_mm * b.y_mm - a.y_mm * b.x_mm for a, b in zip(wheels, following, strict=True)) >= 0
