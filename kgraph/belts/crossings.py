"""Paths that cannot be: pulleys that the belt does not touch, spans that cross, arcs that overlap."""

from __future__ import annotations

import math
from itertools import combinations

from kgraph.belts.shapes import FULL_TURN, TOUCH_MM, Arc, Point, RunFault, Span, Wheel, listed


def path_faults(wheels: tuple[Wheel, ...], spans: tuple[Span, ...], arcs: tuple[Arc, ...]) -> list[RunFault]:
    """Why the tangents and arcs do not make one loop with the pulleys on the sides given.

    A closed curve that nowhere meets itself, that runs through no pulley and turns once to the left has
    every left-hand pulley within it and every right-hand one without: so nothing else needs checking.
    """
    faults = _untouched(wheels, spans, arcs)
    loose = {name for fault in faults for name in fault.pulleys}
    faults += _crossings(spans, loose)
    if not faults:
        faults = _run_through(wheels, spans, arcs) or _pinched(arcs)
    turn = math.fsum(arc.sweep_rad for arc in arcs)
    if not faults and abs(turn - FULL_TURN) > 1e-6:
        names = tuple(wheel.name for wheel in wheels)
        faults = [RunFault(f"the order {listed(names)} makes no single loop", names)]
    return faults


def _untouched(wheels: tuple[Wheel, ...], spans: tuple[Span, ...], arcs: tuple[Arc, ...]) -> list[RunFault]:
    """Pulleys that the belt does not touch: no wrap, or spans that would cross to get round them."""
    faults = []
    for i, (wheel, arc) in enumerate(zip(wheels, arcs, strict=True)):
        between = f"between {spans[i - 1].leaves} and {spans[i].meets}"
        if abs(arc.sweep_rad) > math.pi and _cross(spans[i - 1], spans[i]):
            says = (
                f"the belt would cross itself to run round {wheel.name}, {wheel.side}, {between}: "
                "it does not touch that pulley, or the order or the side is another"
            )
            faults.append(RunFault(says, (wheel.name,)))
        elif arc.sweep_rad == 0 and wheel.side == "inside":
            faults.append(RunFault(f"the belt does not touch {wheel.name}, {between}", (wheel.name,)))
    return faults


def _crossings(spans: tuple[Span, ...], loose: set[str]) -> list[RunFault]:
    """Spans that cross, save those at a pulley already found not to be touched."""
    faults = []
    for one, two in combinations(spans, 2):
        names = tuple(dict.fromkeys((one.leaves, one.meets, two.leaves, two.meets)))
        if not loose & set(names) and _cross(one, two):
            says = f"the belt crosses itself: {one.leaves} to {one.meets} and {two.leaves} to {two.meets}"
            faults.append(RunFault(says, names))
    return faults


def _run_through(wheels: tuple[Wheel, ...], spans: tuple[Span, ...], arcs: tuple[Arc, ...]) -> list[RunFault]:
    """Spans that would run through a pulley at which they neither start nor end."""
    return [
        RunFault(
            f"the belt from {span.leaves} to {span.meets} runs through {wheel.name} "
            "(a pulley that the belt meets twice is listed twice)",
            (span.leaves, span.meets, wheel.name),
        )
        for span in spans
        for wheel, arc in zip(wheels, arcs, strict=True)
        if wheel.name not in (span.leaves, span.meets)
        and _to_segment(arc.centre, span) < arc.radius_mm - TOUCH_MM
    ]


def _pinched(arcs: tuple[Arc, ...]) -> list[RunFault]:
    """Pulleys so close that the belt on the one would lie in the belt on the other."""
    return [
        RunFault(f"the belt does not fit between {one.name} and {two.name}", (one.name, two.name))
        for one, two in combinations(arcs, 2)
        if (
            _overlap(one, two) if one.name == two.name else _reaches_into(one, two) or _reaches_into(two, one)
        )
    ]


def _overlap(one: Arc, two: Arc) -> bool:
    """Whether two arcs on one pulley lie on one another."""
    first, second = (arc.start_rad + min(0.0, arc.sweep_rad) for arc in (one, two))
    return (second - first) % FULL_TURN < abs(one.sweep_rad) or (first - second) % FULL_TURN < abs(
        two.sweep_rad
    )


def _reaches_into(one: Arc, two: Arc) -> bool:
    """Whether a part of the first arc lies within the circle of the second."""
    apart = math.dist(one.centre, two.centre)
    if apart >= one.radius_mm + two.radius_mm - TOUCH_MM:
        return False
    cosine = (apart**2 + one.radius_mm**2 - two.radius_mm**2) / (2 * apart * one.radius_mm)
    half = math.acos(max(-1.0, min(1.0, cosine)))
    towards = math.atan2(two.centre[1] - one.centre[1], two.centre[0] - one.centre[0])
    low = one.start_rad if one.sweep_rad >= 0 else one.start_rad + one.sweep_rad
    # From the beginning of the arc, anticlockwise, to the middle of the stretch that lies within the other.
    offset = (towards - low) % FULL_TURN
    room = 1e-9
    return offset - half < abs(one.sweep_rad) - room or offset + half > FULL_TURN + room


def _cross(one: Span, two: Span) -> bool:
    """Whether two spans cross properly: each has its ends on both sides of the other, beyond any touch."""
    return _straddles(one, two) and _straddles(two, one)


def _straddles(line: Span, other: Span) -> bool:
    """Whether the ends of the other span lie clearly on either side of the line of this one."""
    if line.length_mm < TOUCH_MM or other.length_mm < TOUCH_MM:
        return False
    along = (math.cos(line.direction_rad), math.sin(line.direction_rad))
    first, second = (
        along[0] * (end[1] - line.start[1]) - along[1] * (end[0] - line.start[0])
        for end in (other.start, other.end)
    )
    return min(first, second) < -TOUCH_MM and max(first, second) > TOUCH_MM


def _to_segment(point: Point, span: Span) -> float:
    """The distance in mm from a point to a span."""
    along = (math.cos(span.direction_rad), math.sin(span.direction_rad))
    offset = (point[0] - span.start[0], point[1] - span.start[1])
    reach = max(0.0, min(span.length_mm, offset[0] * along[0] + offset[1] * along[1]))
    return math.hypot(offset[0] - reach * along[0], offset[1] - reach * along[1])
