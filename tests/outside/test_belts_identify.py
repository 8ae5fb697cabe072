"""Which belt a measured one is, against the sums done by brute force."""

from __future__ import annotations

import math
from statistics import NormalDist

import pytest

from kgraph.belt_sizes import section
from kgraph.belts.identify import Hypothesis, Measured, MeasureError, candidates, measured

SQUARE = section("square 1.25 mm")
BELTS = [
    Hypothesis("short", section("square 1.2 mm"), 250.0),
    Hypothesis("middle", SQUARE, 262.0),
    Hypothesis("long", section("square 1.3 mm"), 275.0),
    Hypothesis("flat", section("flat 4 x 0.5 mm"), 262.0),
]


def brute(seen: Measured, belts: list[Hypothesis]) -> dict[str | None, float]:
    """The posterior straight from the densities, the worn length by a sum over 20000 growths."""
    weights: dict[str | None, float] = {None: (1 / 7.5) ** len(seen.section.sizes_mm) / 950}
    for belt in belts:
        if belt.section.form != seen.section.form:
            continue
        weight = 1.0
        for size, mean in zip(seen.section.sizes_mm, belt.section.sizes_mm, strict=True):
            weight *= NormalDist(mean, seen.section_error_mm).pdf(size)
        steps = 20000
        grown = [(k + 0.5) / steps * 0.08 for k in range(steps)] if seen.worn else [0.0]
        weight *= sum(
            NormalDist(belt.inside_length_mm * (1 + s), seen.length_error_mm).pdf(seen.length_mm)
            for s in grown
        ) / len(grown)
        weights[belt.key] = weight
    total = sum(weights.values())
    return {key: weight / total for key, weight in weights.items()}


@pytest.mark.parametrize("worn", [False, True])
@pytest.mark.parametrize("length", [255.0, 262.0, 270.0, 290.0])
def test_posterior_against_brute_force(worn: bool, length: float) -> None:
    seen = measured(SQUARE, length, worn=worn)
    found = {c.key: c.probability for c in candidates(seen, BELTS)}
    assert found == pytest.approx(brute(seen, BELTS), rel=1e-6)
    assert math.fsum(found.values()) == pytest.approx(1, abs=1e-12)
    assert "flat" not in found


def test_flat_sections_are_compared_by_both_sizes() -> None:
    belts = [
        Hypothesis("a", section("flat 4 x 0.5 mm"), 262.0),
        Hypothesis("b", section("flat 3 x 0.5 mm"), 262.0),
    ]
    seen = measured(section("flat 3.9 x 0.55 mm"), 262.0)
    found = {c.key: c.probability for c in candidates(seen, belts)}
    assert found == pytest.approx(brute(seen, belts), rel=1e-9)
    assert found["a"] > 0.99 > found["b"]


def test_a_worn_belt_is_taken_for_the_shorter_one_it_was() -> None:
    fresh = candidates(measured(SQUARE, 275.0), BELTS)
    worn = candidates(measured(SQUARE, 275.0, worn=True), BELTS)
    assert fresh[0].key == "long"
    assert worn[0].key == "middle"


def test_far_from_everything_it_is_none_of_these() -> None:
    found = candidates(measured(section("square 7.9 mm"), 999.0, length_error_mm=0.001, worn=True), BELTS)
    assert found[0].key is None
    assert found[0].probability == pytest.approx(1)
    assert all(math.isfinite(c.probability) for c in found)
    assert [c.key for c in candidates(measured(SQUARE, 262.0), [])] == [None]
    assert candidates(measured(SQUARE, 262.0), [])[0].probability == 1


def test_two_equal_belts_share_alike() -> None:
    twins = [Hypothesis("a", SQUARE, 262.0), Hypothesis("b", SQUARE, 262.0)]
    one, two, _ = candidates(measured(SQUARE, 262.0), twins)
    assert one.probability == two.probability


@pytest.mark.parametrize(
    ("cut", "length", "errors", "says"),
    [
        ("square 1.25 mm", 3000.0, {}, "50 to 1000 mm"),
        ("square 1.25 mm", math.nan, {}, "50 to 1000 mm"),
        ("square 1.25 mm", -262.0, {}, "50 to 1000 mm"),
        ("square 9 mm", 262.0, {}, "0.5 to 8 mm"),
        ("square 1.25 mm", 262.0, {"section_error_mm": 0.0}, "section error"),
        ("square 1.25 mm", 262.0, {"length_error": 0.0}, "length error"),
        ("square 1.25 mm", 262.0, {"length_error": math.nan}, "length error"),
        ("square 1.25 mm", 262.0, {"length_error_mm": math.inf}, "length error"),
    ],
)
def test_a_measurement_that_cannot_be_is_refused_with_its_range(
    cut: str, length: float, errors: dict[str, float], says: str
) -> None:
    with pytest.raises(MeasureError, match=says):
        measured(section(cut), length, **errors)  # type: ignore[arg-type]


def test_a_recorded_belt_that_cannot_be_is_named() -> None:
    for bad in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(MeasureError, match="odd one"):
            candidates(measured(SQUARE, 262.0), [Hypothesis("odd one", SQUARE, bad)])
