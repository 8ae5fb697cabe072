"""Written hardness, speeds, torques and pulls, as Shore A, rpm, cm/s, N m."""

from __future__ import annotations

import re
from typing import NamedTuple

from kgraph.quantities import (
    DECIMAL,
    QuantityError,
    cleaned,
    length,
    number,
    plain_number,
    refusal,
    shown_shortly,
)

HARDNESS_LOW, HARDNESS_HIGH = 10.0, 95.0
RPM_LOW, RPM_HIGH = 1.0, 30000.0
# The gram-force is 9.80665 mN exactly (standard gravity); the ounce-force is 28.349523125 of them.
_NM_PER: dict[str, float] = {
    "g cm": 9.80665e-5,
    "gf cm": 9.80665e-5,
    "mn m": 1e-3,
    "n cm": 1e-2,
    "n m": 1.0,
    "oz in": 28.349523125 * 9.80665e-3 * 0.0254,
}


class Pull(NamedTuple):
    """The torque in N m that a belt must hand on, and at which shaft (empty when not said)."""

    torque_nm: float
    at: str = ""


def hardness(text: str) -> float:
    """Hardness in Shore A: `60 Shore A`, or `60 IRHD`, which is nearly the same number from 30 to 80.

    That they are nearly the same: abstract of the chapter 10.1201/b14964-44. Raises QuantityError.
    """
    low, high = plain_number(HARDNESS_LOW), plain_number(HARDNESS_HIGH)
    limits = f"from {low} to {high} (the scale ends at 100, belts are 30 to 80)"
    clean = cleaned(text, "a hardness", f"write it like 60 Shore A, {limits}")
    found = re.fullmatch(r"([^\s]+)\s*(shore\s*a|irhd)", clean, re.IGNORECASE)
    if not found:
        if DECIMAL.fullmatch(clean):
            raise QuantityError(f"{shown_shortly(text)} has no scale", f"did you mean {clean} Shore A?")
        raise refusal(clean, "a hardness", f"write it like 60 Shore A or 60 IRHD, {limits}")
    if not DECIMAL.fullmatch(found[1]):
        raise refusal(found[1], "a hardness", f"write it like 60 Shore A, {limits}")
    value = float(found[1][:20])
    if not HARDNESS_LOW <= value <= HARDNESS_HIGH:
        raise QuantityError(f"{shown_shortly(text)} is out of range", f"hardness is {limits}")
    return value


def rpm(text: str) -> float:
    """Turns a minute: `2400` or `2400 rpm`. Raises QuantityError."""
    clean = cleaned(text, "a speed of rotation", "write it like 2400 rpm")
    return number(re.sub(r"\s*rpm$", "", clean, flags=re.IGNORECASE), RPM_LOW, RPM_HIGH)


def torque(text: str) -> float:
    """A torque in N m: `40 g cm`, `4 mN m`, `0.4 N cm`, `0.5 oz in`. Raises QuantityError."""
    right = "write it like 40 g cm or 4 mN m, from 0.00001 to 1 N m"
    clean = cleaned(text, "a torque", right)
    found = re.fullmatch(r"(\S*\d)\s*(\D+)", clean, re.ASCII)
    if not found:
        raise refusal(clean, "a torque", right)
    unit = " ".join(re.split(r"[\s.·]+", found[2].lower().strip()))
    unit = {"gcm": "g cm", "gfcm": "gf cm", "mnm": "mn m", "ncm": "n cm", "nm": "n m"}.get(unit, unit)
    if unit not in _NM_PER:
        raise QuantityError(f"{shown_shortly(found[2])} is not a unit of torque", right)
    if not DECIMAL.fullmatch(found[1]):
        raise refusal(found[1], "a torque", right)
    value = float(found[1][:20]) * _NM_PER[unit]
    if not 1e-5 <= value <= 1.0:
        raise QuantityError(f"{shown_shortly(text)} is out of range", right)
    return value


def pull(text: str) -> Pull:
    """The load on a belt: a torque, and at which shaft it is measured: `40 g cm at take-up`.

    Raises QuantityError.
    """
    written, _, at = cleaned(text, "a pull", "write it like 40 g cm at take-up").partition(" at ")
    return Pull(torque(written), at.strip())


def speed_cm_s(text: str) -> float:
    """A tape speed in cm/s: `4.76 cm/s`, `47.6 mm/s` or `1 7/8 in/s`. Raises QuantityError."""
    right = "write it like 4.76 cm/s, from 1 to 80 cm/s"
    clean = cleaned(text, "a speed", right)
    if not re.search(r"\s*/\s*s(ec)?$", clean):
        raise refusal(clean, "a speed", right)
    return length(re.sub(r"\s*/\s*s(ec)?$", "", clean), low_mm=10.0, high_mm=800.0).mm / 10
