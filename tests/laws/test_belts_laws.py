"""Laws that hold for every belt and run."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kgraph.belt_sizes import Section
from kgraph.belts import drive, pulling, runs, speed, tone
from kgraph.belts.geometry import path
from kgraph.belts.identify import Hypothesis, Measured, candidates
from kgraph.belts.runs import Belt, BeltRun, RunPulley
from kgraph.belts.shapes import GeometryError, Path, Side, Wheel

DIAMETER = st.floats(3, 80)
THICK = st.floats(0.3, 4)
PLACE = st.floats(-100, 100)


@st.composite
def pairs(draw: st.DrawFn) -> tuple[float, float, float]:
    """Two diameters and a distance at which the pulleys stand clear."""
    one, two = draw(DIAMETER), draw(DIAMETER)
    return one, two, (one + two) / 2 + draw(st.floats(1, 150))


@st.composite
def any_run(draw: st.DrawFn) -> list[Wheel]:
    """Two to five pulleys anywhere, on either side: most make no run."""
    count = draw(st.integers(2, 5))
    sides: list[Side] = ["inside", "inside", "outside"]
    side = st.sampled_from(sides)
    return [Wheel(f"p{i}", draw(PLACE), draw(PLACE), draw(DIAMETER), draw(side)) for i in range(count)]


@st.composite
def run_with_idler(draw: st.DrawFn) -> list[Wheel]:
    """Two pulleys with an idler that presses on the run between them from outside."""
    one, two = draw(st.floats(5, 60)), draw(st.floats(5, 60))
    apart = (one + two) / 2 + draw(st.floats(40, 120))
    idler, depth = draw(st.floats(4, 12)), draw(st.floats(0, 0.4))
    left, right = 0.5 * one + idler, apart - 0.5 * two - idler
    x = left + draw(st.floats(0.2, 0.8)) * (right - left)
    # Near the height of the lower run under the idler's centre; deeper by part of the smaller pulley.
    low = -(one / 2 + (two - one) / 2 * x / apart)
    y = low - idler / 2 + depth * min(one, two)
    return [Wheel("a", 0, 0, one), Wheel("idler", x, y, idler, "outside"), Wheel("b", apart, 0, two)]


def attempt(wheels: list[Wheel], thickness: float = 0.0) -> Path | None:
    """The path, or None for a run that cannot be; nothing else may happen."""
    try:
        return path(wheels, thickness)
    except GeometryError:
        return None


def signed_turn(wheels: list[Wheel], found: Path) -> float:
    """The wraps, those of outside pulleys taken off."""
    sides = {w.name: 1 if w.side == "inside" else -1 for w in wheels}
    return math.fsum(sides[name] * wrap for name, wrap in found.wraps_rad.items())


@given(pairs(), st.floats(0.01, 50), THICK)
def test_a_longer_centre_distance_needs_a_longer_belt(
    pair: tuple[float, float, float], more: float, thick: float
) -> None:
    one, two, apart = pair
    near = path([Wheel("a", 0, 0, one), Wheel("b", apart, 0, two)], thick).length_mm
    far = path([Wheel("a", 0, 0, one), Wheel("b", apart + more, 0, two)], thick).length_mm
    assert near < far <= near + 2 * more * (1 + 1e-9)


@settings(max_examples=300)
@given(any_run(), st.floats(0, 3))
def test_any_run_gives_a_finite_path_or_an_error_and_turns_once(wheels: list[Wheel], thick: float) -> None:
    found = attempt(wheels, thick)
    if found is not None:
        assert math.isfinite(found.length_mm)
        assert found.length_mm > 0
        assert signed_turn(wheels, found) == pytest.approx(2 * math.pi, abs=1e-6)


@given(run_with_idler(), THICK)
def test_b15_b16_with_an_idler(wheels: list[Wheel], thick: float) -> None:
    found, thicker = attempt(wheels), attempt(wheels, thick)
    if found is None or thicker is None:
        return
    assert signed_turn(wheels, thicker) == pytest.approx(2 * math.pi, abs=1e-9)
    inside_face = [
        Wheel(w.name, w.x_mm, w.y_mm, w.diameter_mm + (2 * thick if w.side == "outside" else 0), w.side)
        for w in wheels
    ]
    face = attempt(inside_face)
    if face is not None and face.listed_anticlockwise == thicker.listed_anticlockwise:
        assert thicker.length_mm - face.length_mm == pytest.approx(math.pi * thick, abs=1e-6)
    without = path([w for w in wheels if w.side == "inside"])
    assert found.length_mm >= without.length_mm - 1e-9


@given(run_with_idler(), st.floats(-3, 3), PLACE, PLACE, THICK)
def test_turning_moving_and_listing_backwards_change_nothing(
    wheels: list[Wheel], turn: float, dx: float, dy: float, thick: float
) -> None:
    found = attempt(wheels, thick)
    moved = [
        Wheel(
            w.name,
            dx + w.x_mm * math.cos(turn) - w.y_mm * math.sin(turn),
            dy + w.x_mm * math.sin(turn) + w.y_mm * math.cos(turn),
            w.diameter_mm,
            w.side,
        )
        for w in wheels
    ]
    again = attempt(moved[::-1], thick)
    if found is None or again is None:
        return
    assert again.length_mm == pytest.approx(found.length_mm, rel=1e-9)


@given(pairs(), THICK, st.floats(0.001, 0.2), st.floats(0.01, 0.3))
def test_the_ends_of_the_window_give_exactly_the_wanted_stretch(
    pair: tuple[float, float, float], thick: float, low: float, more: float
) -> None:
    one, two, apart = pair
    run = BeltRun((RunPulley("a", 0, 0, one), RunPulley("b", apart, 0, two)), stretch=(low, low + more))
    try:
        shortest, longest = runs.window(run, thick)
    except runs.RunError:
        return
    cut = Section("square", (thick,))
    if shortest < 1:
        return
    tight, slack = (drive.fit(Belt(cut, mm), run) for mm in (shortest, longest))
    assert tight.stretch == pytest.approx(low + more, abs=1e-12)
    assert slack.stretch == pytest.approx(low, abs=1e-12)
    assert tight.verdict == slack.verdict == "fits"
    beyond = drive.fit(Belt(cut, longest * 1.001), run), drive.fit(Belt(cut, shortest * 0.999), run)
    assert [found.verdict for found in beyond] == ["too slack", "too tight"]


@given(pairs(), THICK, THICK)
def test_sign_of_the_speed_change(pair: tuple[float, float, float], one_mm: float, other_mm: float) -> None:
    """A thicker belt speeds the driven shaft up when the driver is the smaller pulley, and the reverse."""
    small, large, apart = pair
    run = BeltRun((RunPulley("motor", 0, 0, small, drives=True), RunPulley("wheel", apart, 0, large)))
    belt, recorded = (Belt(Section("square", (mm,)), 5.0) for mm in (one_mm, other_mm))
    change = drive.fit(belt, run, recorded).speed_change
    assert change is not None
    expected = (one_mm - other_mm) * (large - small)
    if abs(expected) > 1e-9:
        assert math.copysign(1, change) == math.copysign(1, expected)
    else:
        assert change == pytest.approx(0, abs=1e-9)


@given(run_with_idler(), THICK)
def test_loads_on_the_shafts_balance(wheels: list[Wheel], thick: float) -> None:
    """The belt pulls on nothing but its pulleys, so its pulls add up to nothing."""
    found = attempt(wheels, thick)
    if found is None:
        return
    loads = pulling.shaft_loads(found, 1.0)
    assert math.fsum(load.x_n for load in loads.values()) == pytest.approx(0, abs=1e-9)
    assert math.fsum(load.y_n for load in loads.values()) == pytest.approx(0, abs=1e-9)
    for name, load in loads.items():
        assert load.n == pytest.approx(2 * abs(math.sin(found.wraps_rad[name] / 2)), abs=1e-9)


@given(st.floats(0.05, 1.5), st.floats(0.01, 6), st.floats(0, 5))
def test_a_belt_never_pulls_more_than_twice_its_tension(friction: float, wrap: float, tension: float) -> None:
    assert 0 <= pulling.most_pull_n(tension, friction, wrap) <= 2 * tension


@st.composite
def measurements(draw: st.DrawFn) -> tuple[Measured, list[Hypothesis]]:
    """A measured belt with any errors, and any recorded belts."""
    count = draw(st.integers(1, 2))
    form, sizes = (
        ("flat", st.lists(st.floats(0.5, 8), min_size=2, max_size=2))
        if count == 2
        else (
            "round",
            st.lists(st.floats(0.5, 8), min_size=1, max_size=1),
        )
    )

    def cut() -> Section:
        return Section(form, tuple(sorted(draw(sizes), reverse=True)))  # type: ignore[arg-type]

    seen = Measured(
        cut(),
        draw(st.floats(50, 1000)),
        draw(st.floats(1e-3, 5)),
        draw(st.floats(1e-3, 500)),
        draw(st.booleans()),
    )
    belts = [Hypothesis(f"b{i}", cut(), draw(st.floats(0.01, 5000))) for i in range(draw(st.integers(0, 6)))]
    return seen, belts


@settings(max_examples=300)
@given(measurements())
def test_probabilities_are_finite_and_sum_to_one(case: tuple[Measured, list[Hypothesis]]) -> None:
    found = candidates(*case)
    assert len(found) == len(case[1]) + 1
    assert all(0 <= c.probability <= 1 for c in found)
    assert abs(math.fsum(c.probability for c in found) - 1) <= 1e-12
    assert [c.probability for c in found] == sorted((c.probability for c in found), reverse=True)


@given(pairs(), THICK, st.floats(-0.2, 0.2))
def test_the_thickness_that_explains_a_tone_does_explain_it(
    pair: tuple[float, float, float], thick: float, error: float
) -> None:
    small, large, apart = pair
    run = BeltRun(
        (RunPulley("motor", 0, 0, small, drives=True, rpm=2000), RunPulley("wheel", apart, 0, large))
    )
    read = tone.read_tone(3150, 3150 * (1 + error), run, thick)
    if read.thickness_mm is not None:
        before, after = (speed.speed_ratios(run.pulleys, t)["wheel"] for t in (thick, read.thickness_mm))
        assert after / before == pytest.approx(1 + read.error, rel=1e-6)
