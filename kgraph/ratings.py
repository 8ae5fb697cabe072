"""Electrical values and ratings: `63 V`, `0.25 W`, `315 mA`, `4.7 kohm` or `4K7`, `100 nF` or `4n7`.

The code of a letter in place of the point is that of IEC 60062: for resistors as read in a copy of the
encyclopedic article "RKM code", for capacitors from memory.
"""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction
from typing import NamedTuple


class Rating(NamedTuple):
    """One electrical value: its unit (mV, mA, mW, ohm or pF), and the value in it."""

    unit: str
    value: float


_UNITS: dict[str, tuple[str, Fraction]] = {
    "mv": ("mV", Fraction(1)),
    "v": ("mV", Fraction(10**3)),
    "kv": ("mV", Fraction(10**6)),
    "ua": ("mA", Fraction(1, 10**3)),
    "ma": ("mA", Fraction(1)),
    "a": ("mA", Fraction(10**3)),
    "mw": ("mW", Fraction(1)),
    "w": ("mW", Fraction(10**3)),
    "ohm": ("ohm", Fraction(1)),
    "ohms": ("ohm", Fraction(1)),
    "kohm": ("ohm", Fraction(10**3)),
    "kohms": ("ohm", Fraction(10**3)),
    "mohm": ("ohm", Fraction(10**6)),
    "mohms": ("ohm", Fraction(10**6)),
    "pf": ("pF", Fraction(1)),
    "nf": ("pF", Fraction(10**3)),
    "uf": ("pF", Fraction(10**6)),
    "mfd": ("pF", Fraction(10**6)),
}
_LETTERS: dict[str, tuple[str, Fraction]] = {
    "r": _UNITS["ohm"],
    "k": _UNITS["kohm"],
    "m": _UNITS["mohm"],
    "p": _UNITS["pf"],
    "n": _UNITS["nf"],
    "u": _UNITS["uf"],
}
_VALUE = re.compile(r"(\d{1,9}(?:\.\d{1,6})?|\d{1,3}/\d{1,3})\s*([a-z]+)", re.ASCII)
_CODE = re.compile(r"(\d{0,4})([rkmpnu])(\d{0,3})", re.ASCII)


def rating(text: str) -> Rating | None:
    """One electrical value; None for whatever reads otherwise."""
    plain = unicodedata.normalize("NFKC", text).casefold().replace("\N{GREEK SMALL LETTER MU}", "u")
    plain = " ".join(plain.replace("\N{GREEK SMALL LETTER OMEGA}", "ohm").split())
    if (found := _VALUE.fullmatch(plain)) and found[2] in _UNITS:
        return _in(_UNITS[found[2]], found[1])
    if (found := _CODE.fullmatch(plain.replace(" ", ""))) and (found[1] or (found[2] == "r" and found[3])):
        return _in(_LETTERS[found[2]], f"{found[1] or 0}.{found[3] or 0}")
    return None


def _in(unit: tuple[str, Fraction], number: str) -> Rating | None:
    top, _, bottom = number.partition("/")
    if bottom and not int(bottom):
        return None
    return Rating(unit[0], float(Fraction(top) / int(bottom or 1) * unit[1]))
