"""How fast a belt turns the shafts and moves the tape: ratios, slip, tape speed in cm/s."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from kgraph.belts.runs import BeltRun, RunPulley, driven

CASSETTE_CM_S = 4.76
CASSETTE_SOURCE = "cassette tape speed, IEC 60094-1 (1 7/8 in/s is 4.7625 cm/s)"
SPEED_TOLERANCE = 0.015
TOLERANCE_NAME = "DIN 45500"
TOLERANCE_SOURCE = f"{TOLERANCE_NAME}: mean tape speed within 1.5 %"


def speed_ratios(pulleys: Sequence[RunPulley], thickness_mm: float) -> dict[str, float]:
    """Turns of each pulley for one turn of the driver, by mid-line diameters; empty with no driver.

    Slip is left out. Diameters in mm.
    """
    driver = next((p for p in pulleys if p.drives), None)
    if driver is None:
        return {}
    top = driver.diameter_mm + thickness_mm
    return {p.name: top / (p.diameter_mm + thickness_mm) for p in pulleys}


def thickness_for(run: BeltRun, thickness_mm: float, change: float) -> float | None:
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


def tape_speed_cm_s(capstan_rpm: float, capstan_mm: float) -> float:
    """The speed of the capstan's surface in cm/s; slip and half the tape's thickness are left out."""
    return math.pi * capstan_mm * capstan_rpm / 600


def capstan_rpm(capstan_mm: float, speed_cm_s: float = CASSETTE_CM_S) -> float:
    """The turns a minute that give a tape speed, the inverse of :func:`tape_speed_cm_s`."""
    return 600 * speed_cm_s / (math.pi * capstan_mm)


def speed_change(run: BeltRun, thickness_mm: float, recorded_mm: float) -> float | None:
    """How much faster the driven shaft turns than with the recorded belt, or None with no driver."""
    measured_at = driven(run)
    if measured_at is None:
        return None
    now, then = (speed_ratios(run.pulleys, mm)[measured_at.name] for mm in (thickness_mm, recorded_mm))
    return now / then - 1


def run_speed(run: BeltRun, thickness_mm: float) -> float | None:
    """The tape speed in cm/s that a run gives with a belt of this thickness; None where it cannot tell."""
    return tape_speed_of(run, speed_ratios(run.pulleys, thickness_mm))


def tape_speed_of(run: BeltRun, ratios: Mapping[str, float]) -> float | None:
    """The tape speed in cm/s where the driver's rpm and a capstan are known."""
    driver = next((p for p in run.pulleys if p.drives), None)
    capstan = next((p for p in run.pulleys if p.capstan_mm is not None), None)
    if driver is None or driver.rpm is None or capstan is None or capstan.capstan_mm is None:
        return None
    return tape_speed_cm_s(driver.rpm * ratios[capstan.name], capstan.capstan_mm)
