"""The belt's path against published values, a polygon library's convex hull, and a numeric construction."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely import convex_hull, get_coordinates, linestrings
from shapely.geometry import LineString, Point, Polygon

from kgraph.belts.geometry import path, two_pulleys
from kgraph.belts.shapes import GeometryError, Path, Wheel

INCH = 25.4


def wheels(*rows: tuple[str, float, float, float] | tuple[str, float, float, float, str]) -> list[Wheel]:
    """Pulleys from name, x, y, radius and perhaps `outside`."""
    return [Wheel(r[0], r[1], r[2], 2 * r[3], "outside" if len(r) == 5 else "inside") for r in rows]


B13 = wheels(("a", 0, 0, 15), ("idler", 25, 0, 5, "outside"), ("b", 50, 0, 15))


# Budynas & Nisbett, Shigley's Mechanical Engineering Design, equations 17-1 and 17-2, solutions manual ch. 17
def test_b1_textbook_open_belt() -> None:
    found = path([Wheel("d", 0, 0, 6), Wheel("D", 96, 0, 18)])
    assert found.wraps_rad["d"] == pytest.approx(3.016511130, abs=1e-9)
    assert found.wraps_rad["D"] == pytest.approx(3.266674177, abs=1e-9)
    assert found.length_mm == pytest.approx(230.0742341, abs=1e-7)
    assert round(found.wraps_rad["d"], 4) == 3.0165
    assert round(found.length_mm, 3) == 230.074
    metric = path([Wheel("d", 0, 0, 6 * INCH), Wheel("D", 96 * INCH, 0, 18 * INCH)])
    assert metric.length_mm == pytest.approx(found.length_mm * INCH, rel=1e-14)


def test_b1_the_series_form_of_handbooks_is_low_by_five_parts_in_ten_million() -> None:
    series = 2 * 96 + math.pi * (6 + 18) / 2 + (18 - 6) ** 2 / (4 * 96)
    exact = path([Wheel("d", 0, 0, 6), Wheel("D", 96, 0, 18)]).length_mm
    assert series == pytest.approx(230.0741118, abs=1e-7)
    assert exact - series == pytest.approx(1.2e-4, abs=5e-6)


# B1 and B3: as above, and a published exercise (27.32 m); B2, B4 to B8: the formulas, computed apart.
@pytest.mark.parametrize(
    ("small", "large", "centres", "crossed", "length", "wrap"),
    [
        (6, 18, 96, False, 230.0742341, 3.016511130),
        (6, 18, 96, True, 231.2010742, 3.3922483),
        (0.5, 1.6, 12, False, 27.323885, None),
        (0.5, 1.6, 12, True, 27.390606, None),
        (200, 450, 1950, True, 4975.31, 3.476489),
        (105, 393, 697, False, 2206.114, None),
        (20, 20, 50, False, 162.8318531, math.pi),
        (10, 70, 50, False, 244.2737727, math.pi - 2 * math.asin(0.6)),
        (20, 40, 50, True, 212.8578461, math.pi + 2 * math.asin(0.6)),
    ],
)
def test_b2_to_b8_two_pulleys(
    small: float, large: float, centres: float, crossed: bool, length: float, wrap: float | None
) -> None:
    found = two_pulleys(small, large, centres, crossed=crossed)
    assert found.length == pytest.approx(length, rel=1.2e-7 if length != 4975.31 else 2e-6)
    if wrap is not None:
        assert found.wrap_small_rad == pytest.approx(wrap, abs=5e-7)
    if not crossed:
        walked = path([Wheel("small", 0, 0, small), Wheel("large", 0, centres, large)])
        assert walked.length_mm == pytest.approx(found.length, rel=1e-12)
        assert walked.wraps_rad["large"] == pytest.approx(found.wrap_large_rad, abs=1e-12)


def test_b5_the_arctangent_of_the_published_working_is_not_the_angle() -> None:
    """A published answer takes arctan for arcsin and loses 1.26 mm: this one must not."""
    lean = math.atan((393 - 105) / 2 / 697)
    wrong = 2 * math.sqrt(697**2 - 144**2) + (math.pi - 2 * lean) * 52.5 + (math.pi + 2 * lean) * 196.5
    assert wrong == pytest.approx(2204.85, abs=0.01)
    right = path([Wheel("d", 0, 0, 105), Wheel("D", 697, 0, 393)]).length_mm
    assert right == pytest.approx(2206.114, abs=1e-3)


@pytest.mark.parametrize(
    ("run", "length"),
    [
        (wheels(("a", 0, 0, 5), ("b", 30, 0, 5), ("c", 0, 40, 5)), 120 + 10 * math.pi),  # B9
        (wheels(*((f"p{x}{y}", x, y, 2) for x, y in ((0, 0), (10, 0), (10, 10), (0, 10)))), 40 + 4 * math.pi),
        (wheels(("a", 0, 0, 20), ("b", 80, 0, 5), ("c", 40, 60, 10)), 300.1262190),  # B11
        (B13, 80 + 30 * math.pi + 40 * math.asin(0.8)),  # B13
        (wheels(("a", 0, 0, 10), ("idler", 50, -20, 10, "outside"), ("b", 100, 0, 10)), 200 + 20 * math.pi),
    ],
)
def test_b9_to_b14_loops_listed_either_way_round_and_from_any_pulley(run: list[Wheel], length: float) -> None:
    for shift in range(len(run)):
        turned = run[shift:] + run[:shift]
        for order in (turned, turned[::-1]):
            found = path(order)
            assert found.length_mm == pytest.approx(length, rel=1e-9)


def test_b11_wraps() -> None:
    found = path(wheels(("a", 0, 0, 20), ("b", 80, 0, 5), ("c", 40, 60, 10)))
    wraps = [found.wraps_rad[name] for name in "abc"]
    assert wraps == pytest.approx([2.4865387, 1.9007893, 1.8958572], abs=5e-8)
    assert math.fsum(wraps) == pytest.approx(2 * math.pi, abs=1e-12)


def test_b12_a_pulley_within_the_loop_that_is_not_touched_is_named_and_does_not_count() -> None:
    with pytest.raises(GeometryError) as caught:
        path(wheels(("a", 0, 0, 5), ("m", 30, 0, 3), ("b", 60, 0, 5)))
    assert caught.value.pulleys == ("m",)
    assert "does not touch" in str(caught.value)
    found = path(wheels(("a", 0, 0, 5), ("b", 60, 0, 5)))
    assert found.length_mm == pytest.approx(151.4159265, abs=1e-7)


def test_b13_tangent_points_and_wraps_of_an_outside_idler() -> None:
    found = path(B13)
    assert found.listed_anticlockwise
    slanted = next(span for span in found.spans if span.leaves == "a")
    assert slanted.start == pytest.approx((12, -9), abs=1e-12)
    assert slanted.end == pytest.approx((21, 3), abs=1e-12)
    assert slanted.length_mm == pytest.approx(15, abs=1e-12)
    assert found.length_mm == pytest.approx(211.3395883, abs=1e-7)
    assert found.wraps_rad == pytest.approx({"a": 4.0688879, "idler": 1.8545904, "b": 4.0688879}, abs=5e-8)


def test_b14_an_outside_idler_that_just_touches_changes_nothing() -> None:
    with_idler = path(wheels(("a", 0, 0, 10), ("idler", 50, -20, 10, "outside"), ("b", 100, 0, 10)))
    without = path(wheels(("a", 0, 0, 10), ("b", 100, 0, 10)))
    assert with_idler.wraps_rad["idler"] == 0
    assert with_idler.length_mm == pytest.approx(without.length_mm, rel=1e-14)
    assert with_idler.length_mm == pytest.approx(262.8318531, abs=1e-7)


@pytest.mark.parametrize("run", [wheels(("d", 0, 0, 5), ("D", 50, 0, 35)), B13])
def test_b16_the_mid_line_is_longer_than_the_inside_face_by_pi_times_thickness(run: list[Wheel]) -> None:
    inside_face = [
        Wheel(w.name, w.x_mm, w.y_mm, w.diameter_mm + (2.4 if w.side == "outside" else 0), w.side)
        for w in run
    ]
    assert path(run, 1.2).length_mm - path(inside_face).length_mm == pytest.approx(3.7699112, abs=1e-7)


def test_b17_a_polygon_hull_is_always_a_little_short() -> None:
    published = {8: 230.01321, 16: 230.05871, 64: 230.07327, 256: 230.07417, 1024: 230.07423}
    for segments, value in published.items():
        assert hull([Wheel("d", 0, 0, 6), Wheel("D", 96, 0, 18)], segments) == pytest.approx(value, abs=1e-5)
    exact = path([Wheel("d", 0, 0, 6), Wheel("D", 96, 0, 18)]).length_mm
    assert 0 < exact - published[1024] < 1e-5


@cache
def unit_disc(segments: int) -> NDArray[np.float64]:
    """The corners of shapely's disc of radius 1, which every disc here is a copy of: shape (n, 2)."""
    return np.asarray(get_coordinates(Point(0, 0).buffer(1, quad_segs=segments)), dtype=np.float64)


def hull_of(run: Sequence[Wheel], segments: int) -> Polygon:
    """The convex hull of the discs, by shapely."""
    disc = unit_disc(segments)
    return convex_hull(linestrings(np.vstack([disc * w.diameter_mm / 2 + (w.x_mm, w.y_mm) for w in run])))


def hull(run: Sequence[Wheel], segments: int) -> float:
    """The perimeter of the convex hull of the discs."""
    return float(hull_of(run, segments).length)


def random_discs(rng: random.Random) -> list[Wheel]:
    """Two to six discs that stand clear of one another."""
    discs: list[Wheel] = []
    wanted = rng.randint(2, 6)
    while len(discs) < wanted:
        new = Wheel(f"p{len(discs)}", rng.uniform(-80, 80), rng.uniform(-80, 80), rng.uniform(3, 50))
        gaps = (math.dist((d.x_mm, d.y_mm), (new.x_mm, new.y_mm)) - d.diameter_mm / 2 for d in discs)
        if all(gap > new.diameter_mm / 2 + 0.1 for gap in gaps):
            discs.append(new)
    return discs


def touched(discs: list[Wheel]) -> list[Wheel]:
    """The discs on the hull in the order in which shapely's hull visits them, one twice if on both sides."""
    seen: list[Wheel] = []
    for x, y in hull_of(discs, 256).exterior.coords:
        near = min(discs, key=lambda d: abs(math.dist((d.x_mm, d.y_mm), (x, y)) - d.diameter_mm / 2))
        if not seen or seen[-1] is not near:
            seen.append(near)
    # The hull's first point may lie in the middle of an arc, which then is met at both ends of the list.
    return seen[:-1] if len(seen) > 1 and seen[-1] is seen[0] else seen


def test_500_random_inside_runs_against_shapelys_hull() -> None:
    rng = random.Random(20)
    listed_both_ways = set()
    met_twice = 0
    for _ in range(500):
        discs = random_discs(rng)
        order = touched(discs)
        found = path(order if rng.random() < 0.5 else order[::-1])
        met_twice += len(set(order)) < len(order)
        listed_both_ways.add(found.listed_anticlockwise)
        assert found.length_mm == pytest.approx(hull(discs, 1024), rel=3e-7), discs
    assert listed_both_ways == {True, False}
    assert met_twice >= 1


def numeric_tangent(one: Wheel, two: Wheel) -> tuple[float, float]:
    """The angles on both circles at which the belt leaves and meets, found by sampling and narrowing.

    Knows no tangent formula: only that a belt leaves and meets a circle at a right angle to its radius,
    and that it passes an inside pulley with the centre on its left, an outside one with it on its right.
    """

    def miss(a: float, b: float) -> float:
        start, end = on_circle(one, a), on_circle(two, b)
        apart = math.dist(start, end) or 1e-12
        ux, uy = (end[0] - start[0]) / apart, (end[1] - start[1]) / apart
        total = 0.0
        for wheel, angle in ((one, a), (two, b)):
            sign = 1 if wheel.side == "inside" else -1
            total += 1 - sign * (math.cos(angle) * uy - math.sin(angle) * ux)
        return total

    grid = [2 * math.pi * i / 30 for i in range(30)]
    best = min(((a, b) for a in grid for b in grid), key=lambda ab: miss(*ab))
    step = 2 * math.pi / 30
    while step > 1e-9:
        around = [(best[0] + i * step, best[1] + j * step) for i in (-1, 0, 1) for j in (-1, 0, 1)]
        nearer = min(around, key=lambda ab: miss(*ab))
        if nearer == best:
            step *= 0.5
        best = nearer
    return best


def on_circle(wheel: Wheel, angle: float) -> tuple[float, float]:
    """The point of a pulley's rim at an angle."""
    radius = wheel.diameter_mm / 2
    return wheel.x_mm + radius * math.cos(angle), wheel.y_mm + radius * math.sin(angle)


def numeric_loop(run: list[Wheel]) -> list[tuple[float, float]]:
    """The belt as a dense chain of points, the pulleys taken anticlockwise."""
    tangents = [numeric_tangent(one, two) for one, two in zip(run, run[1:] + run[:1], strict=True)]
    chain = []
    for i, wheel in enumerate(run):
        first, last = tangents[i - 1][1], tangents[i][0]
        sign = 1 if wheel.side == "inside" else -1
        sweep = (sign * (last - first)) % (2 * math.pi)
        chain += [on_circle(wheel, first + sign * sweep * k / 2000) for k in range(2001)]
    return chain


def random_run_with_idlers(rng: random.Random) -> list[Wheel]:
    """Inside pulleys near the corners of a polygon, with idlers that press in some of the runs."""
    corners = rng.randint(3, 4)
    run: list[Wheel] = []
    for i in range(corners):
        turn = 2 * math.pi * (i + rng.uniform(-0.15, 0.15)) / corners
        run.append(Wheel(f"p{i}", 60 * math.cos(turn), 60 * math.sin(turn), rng.uniform(8, 30)))
        if rng.random() < 0.5:
            turn += math.pi / corners
            out = 60 * math.cos(math.pi / corners) + rng.uniform(-6, 2)
            diameter = rng.uniform(5, 14)
            place = (out * math.cos(turn), out * math.sin(turn))
            run.append(Wheel(f"idler{i}", *place, diameter, "outside"))
    return run


def test_outside_idlers_against_a_numeric_construction() -> None:
    """Length by dense chords on numerically found tangents; sides by shapely: discs within or without."""
    rng = random.Random(7)
    compared = 0
    for _ in range(60):
        run = random_run_with_idlers(rng)
        chain = numeric_loop(run)
        loop = Polygon(chain)
        proper = loop.is_valid and all(on_its_side(wheel, loop) for wheel in run)
        found = outcome(run)
        if isinstance(found, GeometryError):
            assert not proper, (run, str(found))
            continue
        if not proper:
            # The other way round, or an idler that only just touches, may still be a run.
            continue
        assert found.length_mm == pytest.approx(LineString([*chain, chain[0]]).length, rel=1e-6)
        compared += any(wheel.side == "outside" for wheel in run)
    assert compared >= 25


def outcome(run: list[Wheel]) -> Path | GeometryError:
    """The path or why there is none."""
    try:
        return path(run)
    except GeometryError as error:
        return error


def on_its_side(wheel: Wheel, loop: Polygon) -> bool:
    """Whether a disc, a little shrunk, lies wholly within the loop or wholly without."""
    disc = Point(wheel.x_mm, wheel.y_mm).buffer(wheel.diameter_mm / 2 - 0.01)
    return bool(loop.contains(disc) if wheel.side == "inside" else loop.disjoint(disc))


NAN, INF = math.nan, math.inf


@pytest.mark.parametrize(
    ("run", "says", "names"),
    [
        (wheels(("a", 0, 0, 5)), "two pulleys or more", {"a"}),
        ([], "two pulleys or more", set()),
        (wheels(("a", 0, 0, 5), ("b", 3, 0, 5)), "overlap by 7 mm", {"a", "b"}),
        (wheels(("a", 0, 0, 5), ("b", 1, 0, 2)), "b lies inside a", {"a", "b"}),
        (wheels(("a", 0, 0, 5), ("b", 0, 0, 5)), "one point", {"a", "b"}),
        (wheels(("a", 0, 0, 5), ("a", 50, 0, 5)), "called a", {"a"}),
        (wheels(("a", 0, 0, 5), ("a", 0, 0, 5)), "follows itself", {"a"}),
        (wheels(("a", 0, 0, 5), ("b", 50, 0, 5, "outside")), "at least two inside", {"a", "b"}),
        (wheels(("a", 0, 0, 5), ("i", 30, -20, 5, "outside"), ("b", 60, 0, 5)), "cross itself", {"i"}),
        (wheels(("a", 0, 0, 5), ("b", NAN, 0, 5)), "its place", {"b"}),
        (wheels(("a", 0, 0, 5), ("b", 50, INF, 5)), "its place", {"b"}),
        (wheels(("a", 0, 0, 5), ("b", 50, 1e308, 5)), "its place", {"b"}),
        (wheels(("a", 0, 0, 5), ("b", 50, 0, -5)), "its diameter", {"b"}),
        (wheels(("a", 0, 0, 5), ("b", 50, 0, 0)), "its diameter", {"b"}),
        (wheels(("a", 0, 0, 5), ("b", 50, 0, 1e-320)), "its diameter", {"b"}),
        (
            wheels(("a", 0, 0, 5), ("i", 25, 0, 19, "outside"), ("b", 50, 0, 5)),
            "does not fit between",
            {"a", "i", "b"},
        ),
    ],
)
def test_impossible_runs_name_the_pulleys(run: list[Wheel], says: str, names: set[str]) -> None:
    thickness = 2.0 if says.startswith("does not fit") else 0.0
    with pytest.raises(GeometryError) as caught:
        path(run, thickness)
    assert says in str(caught.value)
    assert set(caught.value.pulleys) == names


def test_an_order_that_crosses_itself_is_an_error_that_names_pulleys() -> None:
    square = wheels(("a", 0, 0, 2), ("c", 40, 40, 2), ("b", 40, 0, 2), ("d", 0, 40, 2))
    with pytest.raises(GeometryError, match="cross itself") as caught:
        path(square)
    assert set(caught.value.pulleys) <= {"a", "b", "c", "d"}
    assert len(caught.value.pulleys) >= 2


def test_a_pulley_on_both_runs_is_listed_twice_and_otherwise_named() -> None:
    small, big, other = wheels(("small", 0, 0, 5), ("big", 50, 0, 20), ("other", 100, 0, 5))
    with pytest.raises(GeometryError, match="runs through big") as caught:
        path([small, big, other])
    assert "big" in caught.value.pulleys
    found = path([small, big, other, big])
    assert found.length_mm == pytest.approx(hull([small, big, other], 1024), rel=3e-7)
    assert math.fsum(found.wraps_rad.values()) == pytest.approx(2 * math.pi)
    assert set(found.wraps_rad) == {"small", "big", "other"}
    with pytest.raises(GeometryError, match="follows itself"):
        path([small, big, big])


def test_all_faults_are_said_at_once() -> None:
    with pytest.raises(GeometryError) as caught:
        path([Wheel("a", NAN, 0, 5), Wheel("b", 0, 0, -1), Wheel("b", 9, 0, 1)], NAN)
    assert len(caught.value.faults) == 4


@pytest.mark.parametrize("bad", [-1.0, NAN, INF])
def test_a_thickness_that_cannot_be_is_refused(bad: float) -> None:
    with pytest.raises(GeometryError, match="thickness"):
        path(wheels(("a", 0, 0, 5), ("b", 50, 0, 5)), bad)


@pytest.mark.parametrize(
    ("small", "large", "centres", "crossed"),
    [
        (10, 30, 10, False),
        (10, 30, 20, True),
        (30, 10, 100, False),
        (NAN, 30, 100, False),
        (10, 30, INF, True),
    ],
)
def test_two_pulleys_that_cannot_be(small: float, large: float, centres: float, crossed: bool) -> None:
    with pytest.raises(GeometryError):
        two_pulleys(small, large, centres, crossed=crossed)


def test_an_idler_that_could_press_on_either_run_takes_the_shorter_path_and_says_so() -> None:
    run = wheels(("a", 0, 0, 10), ("idler", 50, -8, 2, "outside"), ("b", 100, 0, 10))
    found = path(run)
    assert found.either_way_mm is not None
    assert found.either_way_mm > found.length_mm
    assert path(B13).either_way_mm is None
