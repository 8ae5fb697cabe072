"""How far a rubber part may be off its size: the classes of ISO 3302-1, in mm.

Mouldings: Table 1, as reproduced by two published copies (hofftech.com rubber lexicon; scribd 583181538),
which agree in every figure; the standard itself was not opened. The lexicon also says that M3 is the usual
class for technical parts. Unsupported extrusions: the table of the
Rubber Manufacturers Association with the same classes E1 to E3, as printed at siliconerubber.com; that the
standard has the same figures is from memory. The classes for cut lengths and cut thicknesses are not here,
for no published figures were found.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from typing import Literal

Across = Literal["fixed", "closure"]

MOULDED = ("M1", "M2", "M3", "M4")
EXTRUDED = ("E1", "E2", "E3")
CLASSES = (*MOULDED, *EXTRUDED)
USUAL = "M3"
MOULDED_SOURCE = "ISO 3302-1 Table 1, from two published copies (the standard itself not opened)"
EXTRUDED_SOURCE = "table of the Rubber Manufacturers Association, classes E1 to E3 as in ISO 3302-1"
USUAL_SOURCE = "the usual one for technical parts by a published lexicon of rubber"

# The upper end of each row, which belongs to the row: 4.0 mm falls in the first.
_MOULDED_TO = (4.0, 6.3, 10.0, 16.0, 25.0, 40.0, 63.0, 100.0, 160.0)
_EXTRUDED_TO = (1.5, 2.5, 4.0, 6.3, 10.0, 16.0, 25.0, 40.0, 63.0, 100.0)
# fmt: off
_FIXED = {
    "M1": (0.08, 0.10, 0.10, 0.15, 0.20, 0.20, 0.25, 0.35, 0.40),
    "M2": (0.10, 0.15, 0.20, 0.20, 0.25, 0.35, 0.40, 0.50, 0.70),
    "M3": (0.25, 0.25, 0.30, 0.40, 0.50, 0.60, 0.80, 1.00, 1.30),
    "M4": (0.50, 0.50, 0.70, 0.80, 1.00, 1.30, 1.60, 2.00, 2.50),
}
_CLOSURE = {
    "M1": (0.10, 0.12, 0.15, 0.20, 0.20, 0.25, 0.35, 0.40, 0.50),
    "M2": (0.15, 0.20, 0.20, 0.25, 0.35, 0.40, 0.50, 0.70, 0.80),
    "M3": (0.40, 0.40, 0.50, 0.60, 0.80, 1.00, 1.30, 1.60, 2.00),
    "M4": (0.50, 0.50, 0.70, 0.80, 1.00, 1.30, 1.60, 2.00, 2.50),
}
_EXTRUDED = {
    "E1": (0.15, 0.20, 0.25, 0.35, 0.40, 0.50, 0.70, 0.80, 1.00, 1.30),
    "E2": (0.25, 0.35, 0.40, 0.50, 0.70, 0.80, 1.00, 1.30, 1.60, 2.00),
    "E3": (0.40, 0.50, 0.70, 0.80, 1.00, 1.30, 1.60, 2.00, 2.50, 3.20),
}
# fmt: on
# Above 160 mm, in hundredths of the size.
_FIXED_OVER = {"M1": 0.3, "M2": 0.5, "M3": 0.8, "M4": 1.5}
_CLOSURE_OVER = {"M1": 0.4, "M2": 0.7, "M3": 1.3, "M4": 1.5}


def moulded_mm(size_mm: float, grade: str, across: Across = "fixed") -> float:
    """The tolerance of a moulded size, ± mm: `fixed` by the mould, or across its `closure`.

    Raises ValueError for another class than M1 to M4 and for a size that is not above 0 mm.
    """
    _check(size_mm, grade, MOULDED)
    row = bisect_left(_MOULDED_TO, size_mm)
    if row == len(_MOULDED_TO):
        return (_FIXED_OVER if across == "fixed" else _CLOSURE_OVER)[grade] * size_mm / 100
    return (_FIXED if across == "fixed" else _CLOSURE)[grade][row]


def extruded_mm(size_mm: float, grade: str) -> float | None:
    """The tolerance of a size of an unsupported extrusion, ± mm; None above 100 mm, where the table ends.

    Raises ValueError for another class than E1 to E3 and for a size that is not above 0 mm.
    """
    _check(size_mm, grade, EXTRUDED)
    row = bisect_left(_EXTRUDED_TO, size_mm)
    return None if row == len(_EXTRUDED_TO) else _EXTRUDED[grade][row]


def section_mm(size_mm: float, grade: str) -> float | None:
    """The tolerance of one size of a belt's section, ± mm, for any class. Raises ValueError."""
    return moulded_mm(size_mm, grade) if grade in MOULDED else extruded_mm(size_mm, grade)


def ring_length_mm(inside_length_mm: float, grade: str) -> float | None:
    """The tolerance of the length around a ring, ± mm: π times that of its inside diameter.

    None for an extrusion: its length is cut, and no figures for that were found. Raises ValueError.
    """
    if grade in EXTRUDED:
        return None
    return math.pi * moulded_mm(inside_length_mm / math.pi, grade)


def source_of(grade: str) -> str:
    """Where the figures of a class come from."""
    return MOULDED_SOURCE if grade in MOULDED else EXTRUDED_SOURCE


def _check(size_mm: float, grade: str, classes: tuple[str, ...]) -> None:
    if grade not in classes:
        raise ValueError(f"{grade!r} is none of the classes {', '.join(classes)}")
    if not (math.isfinite(size_mm) and size_mm > 0):
        raise ValueError(f"a size above 0 mm is needed, not {size_mm!r}")
