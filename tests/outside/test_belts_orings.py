"""The O-ring table of ISO 3601-1 / AS568, against values from other tables."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from kgraph.belts import orings
from kgraph.quantities import Absolute

# Inside diameters of unitcheatsheet.com's AS568 sheet, which agree to 0.01 mm (its row 104 is off).
SPOT = {
    "008": 4.47, "010": 6.07, "012": 9.25, "014": 12.42, "016": 15.60, "020": 21.95, "024": 28.30,
    "030": 41.00, "040": 72.74, "110": 9.19, "120": 25.07,
}  # fmt: skip
# Mid-line lengths, computed apart from the inside diameter and the section.
MID = {"004": 11.18, "025": 99.43, "037": 204.20, "043": 284.00, "050": 423.64, "102": 12.13, "144": 206.69}


def test_every_size_of_both_series_is_there_once() -> None:
    sizes = [ring.size for ring in orings.TABLE]
    assert sizes == [f"{n:03}" for n in (*range(4, 51), *range(102, 161))]
    assert {ring.section_mm for ring in orings.TABLE} == {1.78, 2.62}


def test_spot_checks_against_another_table() -> None:
    table = {ring.size: ring for ring in orings.TABLE}
    for size, inside in SPOT.items():
        assert table[size].inside_diameter_mm == pytest.approx(inside, abs=0.0101), size
    for size, length in MID.items():
        assert table[size].mid_length_mm == pytest.approx(length, abs=0.005), size
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
    assert [ring.size for ring in orings.in_window(195, 210, 1.60, Absolute(0.2))] == ["037", "038"]
    # Both ends of the window are in it.
    exact = math.pi * 63.22
    assert [ring.size for ring in orings.in_window(exact, exact, 1.78)] == ["037"]
    assert orings.in_window(math.nan, 210, 1.78) == []
