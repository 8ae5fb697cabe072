"""Standard O-rings as round belts: the sizes of ISO 3601-1 (AS568) with 1.78 and 2.62 mm section.

Inside diameters and their tolerances as carried, under the label iso3601, by the data file
`o-ring_parameters.csv` of bd_warehouse 0.4.0 (Apache-2.0), spot checked against a published AS568 table;
the standard itself was not opened. An O-ring is a seal, not a belt: its hardness and its joint line are
not made for driving.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from kgraph.size_rules import Rule, within

SOURCE = "ISO 3601-1 / AS568 sizes, as carried by bd_warehouse 0.4.0 (the standard itself not opened)"
SECTION_PLUS_MINUS_MM = 0.08
SECTION_RULE: Rule = Rule("absolute", SECTION_PLUS_MINUS_MM)


@dataclass(frozen=True, slots=True)
class ORing:
    """A standard size: its number, inside diameter, section and tolerance on the inside diameter, in mm."""

    size: str
    inside_diameter_mm: float
    section_mm: float
    plus_minus_mm: float

    @property
    def inside_length_mm(self) -> float:
        """The length around its inside, in mm."""
        return math.pi * self.inside_diameter_mm

    @property
    def length_plus_minus_mm(self) -> float:
        """The tolerance of that length: π times that of the inside diameter, in mm.

        ISO 3302-1 does not hold for precision sealing rings (clause 1, by an abstract of the 2014 edition).
        """
        return math.pi * self.plus_minus_mm


# fmt: off
_THIN = (
    ("004", 1.78, 0.13), ("005", 2.57, 0.13), ("006", 2.90, 0.13), ("007", 3.68, 0.13),
    ("008", 4.47, 0.13), ("009", 5.28, 0.13), ("010", 6.07, 0.13), ("011", 7.65, 0.13),
    ("012", 9.25, 0.13), ("013", 10.82, 0.13), ("014", 12.42, 0.13), ("015", 14.00, 0.18),
    ("016", 15.60, 0.23), ("017", 17.17, 0.23), ("018", 18.77, 0.23), ("019", 20.35, 0.23),
    ("020", 21.95, 0.23), ("021", 23.52, 0.23), ("022", 25.12, 0.25), ("023", 26.70, 0.25),
    ("024", 28.30, 0.25), ("025", 29.87, 0.28), ("026", 31.47, 0.28), ("027", 33.05, 0.28),
    ("028", 34.65, 0.33), ("029", 37.82, 0.33), ("030", 41.00, 0.33), ("031", 44.17, 0.38),
    ("032", 47.35, 0.38), ("033", 50.52, 0.46), ("034", 53.70, 0.46), ("035", 56.87, 0.46),
    ("036", 60.05, 0.46), ("037", 63.22, 0.46), ("038", 66.40, 0.51), ("039", 69.57, 0.51),
    ("040", 72.75, 0.51), ("041", 75.92, 0.61), ("042", 82.27, 0.61), ("043", 88.62, 0.61),
    ("044", 94.97, 0.69), ("045", 101.32, 0.69), ("046", 107.67, 0.76), ("047", 114.02, 0.76),
    ("048", 120.37, 0.76), ("049", 126.72, 0.94), ("050", 133.07, 0.94),
)
_THICK = (
    ("102", 1.24, 0.13), ("103", 2.06, 0.13), ("104", 2.84, 0.13), ("105", 3.63, 0.13),
    ("106", 4.42, 0.13), ("107", 5.23, 0.13), ("108", 6.02, 0.13), ("109", 7.59, 0.13),
    ("110", 9.19, 0.13), ("111", 10.77, 0.13), ("112", 12.37, 0.13), ("113", 13.94, 0.18),
    ("114", 15.54, 0.23), ("115", 17.12, 0.23), ("116", 18.72, 0.23), ("117", 20.29, 0.25),
    ("118", 21.89, 0.25), ("119", 23.47, 0.25), ("120", 25.07, 0.25), ("121", 26.64, 0.25),
    ("122", 28.24, 0.25), ("123", 29.82, 0.30), ("124", 31.42, 0.30), ("125", 32.99, 0.30),
    ("126", 34.59, 0.30), ("127", 36.17, 0.30), ("128", 37.77, 0.30), ("129", 39.34, 0.38),
    ("130", 40.94, 0.38), ("131", 42.52, 0.38), ("132", 44.12, 0.38), ("133", 45.69, 0.38),
    ("134", 47.29, 0.38), ("135", 48.90, 0.43), ("136", 50.47, 0.43), ("137", 52.07, 0.43),
    ("138", 53.64, 0.43), ("139", 55.25, 0.43), ("140", 56.82, 0.43), ("141", 58.42, 0.51),
    ("142", 59.99, 0.51), ("143", 61.60, 0.51), ("144", 63.17, 0.51), ("145", 64.77, 0.51),
    ("146", 66.34, 0.51), ("147", 67.95, 0.56), ("148", 69.52, 0.56), ("149", 71.12, 0.56),
    ("150", 72.69, 0.56), ("151", 75.87, 0.61), ("152", 82.22, 0.61), ("153", 88.57, 0.61),
    ("154", 94.92, 0.71), ("155", 101.27, 0.71), ("156", 107.62, 0.76), ("157", 113.97, 0.76),
    ("158", 120.32, 0.76), ("159", 126.67, 0.89), ("160", 133.02, 0.89),
)
# fmt: on

TABLE: tuple[ORing, ...] = tuple(
    ORing(size, inside, section, slack)
    for section, rows in ((1.78, _THIN), (2.62, _THICK))
    for size, inside, slack in rows
)


def in_window(
    low_mm: float,
    high_mm: float,
    section_mm: float | None = None,
    rule: Rule = SECTION_RULE,
) -> list[ORing]:
    """The sizes with an inside length of `low_mm` to `high_mm`, shortest first.

    With `section_mm`, only those whose section agrees with it by the rule.
    """
    return sorted(
        (
            ring
            for ring in TABLE
            if low_mm <= ring.inside_length_mm <= high_mm
            and (section_mm is None or within(section_mm, ring.section_mm, rule))
        ),
        key=lambda ring: (ring.inside_length_mm, ring.section_mm),
    )
