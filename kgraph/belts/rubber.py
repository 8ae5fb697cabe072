"""Rubber as a spring: Young's modulus from hardness, stretch, and the tension that follows.

Hardness says little about stiffness: published relations differ by a factor of up to 1.6 at one hardness, so
every modulus comes with a range of 35 per cent either way, and no tension deserves a third figure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

GENT_LOW, GENT_HIGH = 20.0, 80.0
MODULUS_SPREAD = 0.35
GENT_SOURCE = (
    "A. N. Gent, On the relation between indentation hardness and Young's modulus (1958), "
    "which calls itself approximate"
)


@dataclass(frozen=True, slots=True)
class Modulus:
    """Young's modulus in MPa (N/mm²) with its range, and a warning when the hardness is out of range."""

    mpa: float
    low_mpa: float
    high_mpa: float
    warning: str = ""


def modulus(shore_a: float) -> Modulus:
    """Young's modulus for a hardness in Shore A, by Gent, ±35 % at best.

    The relation holds from 20 to 80 Shore A; outside that the result carries a warning. IRHD is nearly
    the same number from 30 to 80. Raises ValueError for a hardness that is not above 0 and below 100.
    """
    mpa = gent_mpa(shore_a)
    warning = ""
    if not GENT_LOW <= shore_a <= GENT_HIGH:
        warning = (
            f"hardness {shore_a:g} Shore A is outside {GENT_LOW:g} to {GENT_HIGH:g}, "
            "where the relation of hardness and stiffness holds: take the tension as a rough guess"
        )
    return Modulus(mpa, mpa * (1 - MODULUS_SPREAD), mpa * (1 + MODULUS_SPREAD), warning)


def gent_mpa(shore_a: float) -> float:
    """Young's modulus in MPa by Gent (1958). Raises ValueError outside 0 to 100 Shore A."""
    _check_hardness(shore_a)
    return 0.0981 * (56 + 7.62336 * shore_a) / (0.137505 * (254 - 2.54 * shore_a))


def stretch(path_mm: float, rest_mm: float) -> float:
    """How much longer the belt is fitted than at rest, as a fraction; both lengths on the same line, in mm.

    Negative when the belt is longer than its path. Raises ValueError for a length that is not above 0.
    """
    if not (math.isfinite(path_mm) and math.isfinite(rest_mm) and path_mm > 0 and rest_mm > 0):
        raise ValueError(f"stretch needs two lengths above 0 mm, not {path_mm!r} and {rest_mm!r}")
    return path_mm / rest_mm - 1


def rest_midline_mm(inside_mm: float, thickness_mm: float) -> float:
    """The mid-line of a belt at rest: its inside length and π times its thickness, in mm."""
    return inside_mm + math.pi * thickness_mm


def tension_n(modulus_mpa: float, area_mm2: float, stretch_: float) -> float:
    """The tension E·A·ε in N; a slack belt pulls with none."""
    return max(0.0, modulus_mpa * area_mm2 * stretch_)


def _check_hardness(shore_a: float) -> None:
    """Below 0 and from 100 up the scale ends, and the relation divides by nothing."""
    if not 0 < shore_a < 100:
        raise ValueError(f"hardness {shore_a!r} is outside 0 to 100 Shore A")
