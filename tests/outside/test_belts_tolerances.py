"""Tolerances of rubber parts, row by row, against the published tables.

Mouldings: ISO 3302-1 Table 1, as reproduced by the hofftech.com rubber lexicon and by scribd 583181538.
Unsupported extrusions: the table of the Rubber Manufacturers Association at siliconerubber.com.
"""

from __future__ import annotations

import math

import pytest

from kgraph.belt_sizes import section
from kgraph.belts import drive, runs, sold, tolerances
from kgraph.belts.runs import Belt, BeltRun, RunPulley

# Above, to, then M1 fixed, M1 closure, M2 fixed, M2 closure, M3 fixed, M3 closure, M4.
MOULDED = (
    (0, 4.0, 0.08, 0.10, 0.10, 0.15, 0.25, 0.40, 0.50),
    (4.0, 6.3, 0.10, 0.12, 0.15, 0.20, 0.25, 0.40, 0.50),
    (6.3, 10, 0.10, 0.15, 0.20, 0.20, 0.30, 0.50, 0.70),
    (10, 16, 0.15, 0.20, 0.20, 0.25, 0.40, 0.60, 0.80),
    (16, 25, 0.20, 0.20, 0.25, 0.35, 0.50, 0.80, 1.00),
    (25, 40, 0.20, 0.25, 0.35, 0.40, 0.60, 1.00, 1.30),
    (40, 63, 0.25, 0.35, 0.40, 0.50, 0.80, 1.30, 1.60),
    (63, 100, 0.35, 0.40, 0.50, 0.70, 1.00, 1.60, 2.00),
    (100, 160, 0.40, 0.50, 0.70, 0.80, 1.30, 2.00, 2.50),
)
OVER_160 = (0.3, 0.4, 0.5, 0.7, 0.8, 1.3, 1.5)
EXTRUDED = (
    (0, 1.5, 0.15, 0.25, 0.40),
    (1.5, 2.5, 0.20, 0.35, 0.50),
    (2.5, 4.0, 0.25, 0.40, 0.70),
    (4.0, 6.3, 0.35, 0.50, 0.80),
    (6.3, 10, 0.40, 0.70, 1.00),
    (10, 16, 0.50, 0.80, 1.30),
    (16, 25, 0.70, 1.00, 1.60),
    (25, 40, 0.80, 1.30, 2.00),
    (40, 63, 1.00, 1.60, 2.50),
    (63, 100, 1.30, 2.00, 3.20),
)


def moulded(size: float) -> tuple[float, ...]:
    """The row of a size, in the order of the published table."""
    pairs = [(g, a) for g in ("M1", "M2", "M3") for a in ("fixed", "closure")]
    found = [tolerances.moulded_mm(size, g, a) for g, a in pairs]  # type: ignore[arg-type]
    assert tolerances.moulded_mm(size, "M4", "closure") == tolerances.moulded_mm(size, "M4")
    return (*found, tolerances.moulded_mm(size, "M4"))


@pytest.mark.parametrize("row", MOULDED)
def test_mouldings_from_just_above_the_lower_end_up_to_the_upper(row: tuple[float, ...]) -> None:
    low, high, *figures = row
    for size in (math.nextafter(low, math.inf), (low + high) / 2, high):
        assert moulded(size) == tuple(figures), size


@pytest.mark.parametrize("size", [160.0001, 200.0, 1000.0])
def test_mouldings_above_160_mm_in_per_cent(size: float) -> None:
    assert moulded(size) == pytest.approx([size * figure / 100 for figure in OVER_160], rel=1e-12)


@pytest.mark.parametrize("row", EXTRUDED)
def test_extrusions_from_just_above_the_lower_end_up_to_the_upper(row: tuple[float, ...]) -> None:
    low, high, *figures = row
    for size in (math.nextafter(low, math.inf), (low + high) / 2, high):
        found = [tolerances.extruded_mm(size, grade) for grade in ("E1", "E2", "E3")]
        assert found == figures, size


def test_beyond_the_table_nothing_is_made_up() -> None:
    assert tolerances.extruded_mm(100.1, "E1") is None
    assert tolerances.ring_length_mm(262, "E1") is None
    for bad in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(ValueError, match="above 0"):
            tolerances.moulded_mm(bad, "M3")
    for grade in ("E1", "M5", "m3"):
        with pytest.raises(ValueError, match="none of the classes"):
            tolerances.moulded_mm(1.2, grade)


def test_a_ring_varies_pi_times_as_much_round_as_across() -> None:
    """Computed: inside diameter 60 mm, M3 fixed ± 0.80 mm, is a length of 188.50 ± 2.51 mm (1.3 %)."""
    found = tolerances.ring_length_mm(math.pi * 60, "M3")
    assert found == pytest.approx(2.51, abs=0.005)
    assert math.pi * 60 == pytest.approx(188.50, abs=0.005)


RUN = BeltRun(
    (RunPulley("motor", 0, 0, 9, drives=True, rpm=2400), RunPulley("flywheel", 61, 4, 60, capstan_mm=2.2))
)
CUT = section("square 1.6 mm")


def test_stretch_and_speed_of_a_belt_at_the_ends_of_its_tolerance() -> None:
    found = sold.sold(Belt(CUT, 226, 60), "M3", RUN)
    # 226 mm round is 71.9 mm across: ± 1.00 mm there; a section of 1.6 mm ± 0.25 mm.
    assert (found.thickness_mm, found.length_mm) == (0.25, pytest.approx(math.pi))
    assert found.stretch is not None
    ends = []
    for thick in (1.35, 1.6, 1.85):
        for length in (226 - math.pi, 226 + math.pi):
            path = runs.belt_path(RUN, thick).length_mm
            ends.append(path / (length + math.pi * thick) - 1)
    assert found.stretch == pytest.approx((min(ends), max(ends)), abs=1e-12)
    ratios = [(9 + t) / (60 + t) for t in (1.35, 1.6, 1.85)]
    assert found.speed == pytest.approx((ratios[0] / ratios[1] - 1, ratios[2] / ratios[1] - 1), abs=1e-12)


def test_every_belt_of_the_class_named_within_the_safe_window_has_the_wanted_stretch() -> None:
    window = sold.window(RUN, CUT, "M3")
    assert window is not None
    low, high = runs.window(RUN, 1.6)
    assert low < window[0] < window[1] < high
    for named in window:
        ends = sold.sold(Belt(CUT, named, 60), "M3", RUN).stretch
        assert ends is not None
        assert 0.04 - 1e-3 < ends[0] < ends[1] < 0.10 + 1e-3
    assert sold.window(RUN, CUT, "E1") is None
    narrow = BeltRun(RUN.pulleys, stretch=(0.06, 0.07))
    assert sold.window(narrow, CUT, "M4") is None


def test_without_a_run_the_path_is_that_of_the_recorded_belt() -> None:
    """Two pulleys inside the belt: what is reckoned without a run is what the run gives."""
    belt = Belt(CUT, 226, 60)
    stretch = drive.fit(belt, RUN).stretch
    assert stretch is not None
    with_run, without = sold.sold(belt, "M2", RUN), sold.on_path(belt, stretch, "M2")
    assert with_run.stretch == pytest.approx(without.stretch, abs=1e-4)
    assert without.speed is None
    assert sold.on_path(belt, stretch, "E1").stretch is None


def test_what_is_sold_is_said_with_its_source() -> None:
    assumed = sold.assumed("M3", chosen=False)
    assert "ISO 3302-1" in assumed[0].source
    assert "usual" in assumed[1].source
    assert len(sold.assumed("E2", chosen=True)) == 1
    belt = Belt(CUT, 226, 60)
    thin = drive.fit(Belt(section("square 1.3 mm"), 229, 60), RUN, belt)
    says = sold.says(sold.sold(Belt(section("square 1.3 mm"), 229, 60), "M1", RUN), thin)
    assert "more than such a belt" in says[-1] or "more than what such a belt" in says[-1]
    near = drive.fit(Belt(section("square 1.5 mm"), 227, 60), RUN, belt)
    says = sold.says(sold.sold(Belt(section("square 1.5 mm"), 227, 60), "M3", RUN), near)
    assert says[-1].startswith("the change of speed is no more than")
    same = drive.fit(belt, RUN, belt)
    assert len(sold.says(sold.sold(belt, "M3", RUN), same)) == 1
