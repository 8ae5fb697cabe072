"""Wheels, spans and arcs: the shapes that a belt's path is made of. Lengths in mm, angles in radians."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

Side = Literal["inside", "outside"]
Point = tuple[float, float]

FULL_TURN = 2 * math.pi
# Positions are measured to some tenths of a millimetre; a millionth is far below any real contact.
TOUCH_MM = 1e-6
WRAP_RAD = 1e-9


@dataclass(frozen=True, slots=True)
class RunFault:
    """One thing that makes a run impossible, in words, and the names of the pulleys concerned."""

    says: str
    pulleys: tuple[str, ...]


class GeometryError(ValueError):
    """A run that cannot be: `faults` holds everything found, `pulleys` the names concerned."""

    def __init__(self, faults: Sequence[RunFault]) -> None:
        self.faults = tuple(faults)
        self.pulleys = tuple(dict.fromkeys(name for fault in faults for name in fault.pulleys))
        super().__init__("; ".join(fault.says for fault in faults))


@dataclass(frozen=True, slots=True)
class Wheel:
    """A pulley as a circle: its centre and diameter in mm, and on which side of the belt it lies."""

    name: str
    x_mm: float
    y_mm: float
    diameter_mm: float
    side: Side = "inside"


@dataclass(frozen=True, slots=True)
class Span:
    """A straight stretch of belt between two tangent points, in the direction in which it is followed."""

    leaves: str
    meets: str
    start: Point
    end: Point
    length_mm: float
    direction_rad: float


@dataclass(frozen=True, slots=True)
class Arc:
    """Where the mid-line lies on a pulley: from `start_rad` on by `sweep_rad`, anticlockwise positive."""

    name: str
    centre: Point
    radius_mm: float
    start_rad: float
    sweep_rad: float


@dataclass(frozen=True, slots=True)
class Path:
    """A belt's mid-line: its length, the wrap on each pulley, and its spans and arcs for drawing.

    Followed with the inside of the loop on the left: `spans[i]` leaves `arcs[i]`. `either_way_mm` is
    the length of the longer path when the order of the pulleys allows two (an idler between two pulleys
    may press on either run); the shorter is the one taken.
    """

    length_mm: float
    wraps_rad: Mapping[str, float]
    spans: tuple[Span, ...]
    arcs: tuple[Arc, ...]
    listed_anticlockwise: bool
    either_way_mm: float | None = None


def distance(one: Wheel, two: Wheel) -> float:
    """The distance between two shafts in mm."""
    return math.hypot(two.x_mm - one.x_mm, two.y_mm - one.y_mm)


def radius(wheel: Wheel, thickness_mm: float) -> float:
    """The radius of the mid-line on a pulley in mm."""
    return (wheel.diameter_mm + thickness_mm) / 2


def signed_radius(wheel: Wheel, thickness_mm: float) -> float:
    """The radius of the mid-line, negative for a pulley on the belt's back."""
    return radius(wheel, thickness_mm) if wheel.side == "inside" else -radius(wheel, thickness_mm)


def listed(names: Sequence[str]) -> str:
    """The names with commas."""
    return ", ".join(names)
