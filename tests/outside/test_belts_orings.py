"""The O-ring table of ISO 3601-1 / AS568, against values from other tables."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from kgraph.belts import orings
from kgraph.size_rules import Rule

# Inside diameters of unitcheatsheet.com's AS568 sheet, which agree to 0.01 mm (its row 104 is off).
SPOT = {
    "008": 4.47, "010": 6.07, "012": 9.25, "014": 12.42, "016": 15.60, "020": 21.95, "024": 28.30,
    "030": 41.00, "040": 72.74, "110": 9.19, "120": 25.07,
}  # fmt: skip
# Size, inside diameter and its tolerance as the data file `o-ring_parameters.csv` of bd_warehouse 0.4.0
# (Apache-2.0) has them under the label iso3601; the length of the mid-line computed apart.
# fmt: off
THIN = (
    ("004", 1.78, 0.13, 11.18), ("005", 2.57, 0.13, 13.67), ("006", 2.90, 0.13, 14.70),
    ("007", 3.68, 0.13, 17.15), ("008", 4.47, 0.13, 19.63), ("009", 5.28, 0.13, 22.18),
    ("010", 6.07, 0.13, 24.66), ("011", 7.65, 0.13, 29.63), ("012", 9.25, 0.13, 34.65),
    ("013", 10.82, 0.13, 39.58), ("014", 12.42, 0.13, 44.61), ("015", 14.00, 0.18, 49.57),
    ("016", 15.60, 0.23, 54.60), ("017", 17.17, 0.23, 59.53), ("018", 18.77, 0.23, 64.56),
    ("019", 20.35, 0.23, 69.52), ("020", 21.95, 0.23, 74.55), ("021", 23.52, 0.23, 79.48),
    ("022", 25.12, 0.25, 84.51), ("023", 26.70, 0.25, 89.47), ("024", 28.30, 0.25, 94.50),
    ("025", 29.87, 0.28, 99.43), ("026", 31.47, 0.28, 104.46), ("027", 33.05, 0.28, 109.42),
    ("028", 34.65, 0.33, 114.45), ("029", 37.82, 0.33, 124.41), ("030", 41.00, 0.33, 134.40),
    ("031", 44.17, 0.38, 144.36), ("032", 47.35, 0.38, 154.35), ("033", 50.52, 0.46, 164.31),
    ("034", 53.70, 0.46, 174.30), ("035", 56.87, 0.46, 184.25), ("036", 60.05, 0.46, 194.24),
    ("037", 63.22, 0.46, 204.20), ("038", 66.40, 0.51, 214.19), ("039", 69.57, 0.51, 224.15),
    ("040", 72.75, 0.51, 234.14), ("041", 75.92, 0.61, 244.10), ("042", 82.27, 0.61, 264.05),
    ("043", 88.62, 0.61, 284.00), ("044", 94.97, 0.69, 303.95), ("045", 101.32, 0.69, 323.90),
    ("046", 107.67, 0.76, 343.85), ("047", 114.02, 0.76, 363.80), ("048", 120.37, 0.76, 383.75),
    ("049", 126.72, 0.94, 403.69), ("050", 133.07, 0.94, 423.64),
)
THICK = (
    ("102", 1.24, 0.13, 12.13), ("103", 2.06, 0.13, 14.70), ("104", 2.84, 0.13, 17.15),
    ("105", 3.63, 0.13, 19.63), ("106", 4.42, 0.13, 22.12), ("107", 5.23, 0.13, 24.66),
    ("108", 6.02, 0.13, 27.14), ("109", 7.59, 0.13, 32.08), ("110", 9.19, 0.13, 37.10),
    ("111", 10.77, 0.13, 42.07), ("112", 12.37, 0.13, 47.09), ("113", 13.94, 0.18, 52.02),
    ("114", 15.54, 0.23, 57.05), ("115", 17.12, 0.23, 62.02), ("116", 18.72, 0.23, 67.04),
    ("117", 20.29, 0.25, 71.97), ("118", 21.89, 0.25, 77.00), ("119", 23.47, 0.25, 81.96),
    ("120", 25.07, 0.25, 86.99), ("121", 26.64, 0.25, 91.92), ("122", 28.24, 0.25, 96.95),
    ("123", 29.82, 0.30, 101.91), ("124", 31.42, 0.30, 106.94), ("125", 32.99, 0.30, 111.87),
    ("126", 34.59, 0.30, 116.90), ("127", 36.17, 0.30, 121.86), ("128", 37.77, 0.30, 126.89),
    ("129", 39.34, 0.38, 131.82), ("130", 40.94, 0.38, 136.85), ("131", 42.52, 0.38, 141.81),
    ("132", 44.12, 0.38, 146.84), ("133", 45.69, 0.38, 151.77), ("134", 47.29, 0.38, 156.80),
    ("135", 48.90, 0.43, 161.85), ("136", 50.47, 0.43, 166.79), ("137", 52.07, 0.43, 171.81),
    ("138", 53.64, 0.43, 176.75), ("139", 55.25, 0.43, 181.80), ("140", 56.82, 0.43, 186.74),
    ("141", 58.42, 0.51, 191.76), ("142", 59.99, 0.51, 196.70), ("143", 61.60, 0.51, 201.75),
    ("144", 63.17, 0.51, 206.69), ("145", 64.77, 0.51, 211.71), ("146", 66.34, 0.51, 216.64),
    ("147", 67.95, 0.56, 221.70), ("148", 69.52, 0.56, 226.63), ("149", 71.12, 0.56, 231.66),
    ("150", 72.69, 0.56, 236.59), ("151", 75.87, 0.61, 246.58), ("152", 82.22, 0.61, 266.53),
    ("153", 88.57, 0.61, 286.48), ("154", 94.92, 0.71, 306.43), ("155", 101.27, 0.71, 326.38),
    ("156", 107.62, 0.76, 346.33), ("157", 113.97, 0.76, 366.28), ("158", 120.32, 0.76, 386.23),
    ("159", 126.67, 0.89, 406.18), ("160", 133.02, 0.89, 426.13),
)
# fmt: on


def test_every_size_of_both_series_is_there_once() -> None:
    sizes = [ring.size for ring in orings.TABLE]
    assert sizes == [f"{n:03}" for n in (*range(4, 51), *range(102, 161))]
    assert {ring.section_mm for ring in orings.TABLE} == {1.78, 2.62}


@pytest.mark.parametrize(("section", "rows"), [(1.78, THIN), (2.62, THICK)])
def test_every_row(section: float, rows: tuple[tuple[str, float, float, float], ...]) -> None:
    found = {ring.size: ring for ring in orings.TABLE if ring.section_mm == section}
    assert list(found) == [size for size, *_ in rows]
    for size, inside, slack, length in rows:
        assert (found[size].inside_diameter_mm, found[size].plus_minus_mm) == (inside, slack), size
        assert math.pi * (found[size].inside_diameter_mm + section) == pytest.approx(length, abs=0.0051), size
        assert found[size].length_plus_minus_mm == pytest.approx(math.pi * slack), size


def test_spot_checks_against_another_table() -> None:
    table = {ring.size: ring for ring in orings.TABLE}
    for size, inside in SPOT.items():
        assert table[size].inside_diameter_mm == pytest.approx(inside, abs=0.0101), size
    # 0.112 in, from memory, against the 3.53 mm of that sheet.
    assert table["104"].inside_diameter_mm == pytest.approx(0.112 * 25.4, abs=0.01)


def test_inside_diameters_are_the_inch_sizes_and_grow() -> None:
    """AS568 is laid out in inches: each series rises throughout, and its tolerances never fall."""
    for section in (1.78, 2.62):
        series = [ring for ring in orings.TABLE if ring.section_mm == section]
        for one, two in pairwise(series):
            assert one.inside_diameter_mm < two.inside_diameter_mm
            assert one.plus_minus_mm <= two.plus_minus_mm


def test_sizes_in_a_window_by_inside_length_and_section() -> None:
    found = orings.in_window(195, 210, 1.78)
    assert [ring.size for ring in found] == ["037", "038"]
    assert found[0].inside_length_mm == pytest.approx(math.pi * 63.22)
    assert [ring.size for ring in orings.in_window(195, 210)] == ["144", "037", "145", "146", "038"]
    assert orings.in_window(195, 210, 1.60) == []
    assert [ring.size for ring in orings.in_window(195, 210, 1.60, Rule("absolute", 0.2))] == ["037", "038"]
    # Both ends of the window are in it.
    exact = math.pi * 63.22
    assert [ring.size for ring in orings.in_window(exact, exact, 1.78)] == ["037"]
    assert orings.in_window(math.nan, 210, 1.78) == []
