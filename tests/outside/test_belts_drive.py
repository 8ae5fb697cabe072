"""Speed, friction, tension and tape speed, against published values."""

from __future__ import annotations

import math

import pytest

from kgraph.belt_sizes import section
from kgraph.belts import drive, pulling, runs, speed, tone
from kgraph.belts.rubber import gent_mpa
from kgraph.belts.runs import Belt, BeltRun, RunPulley
from kgraph.belts.shapes import GeometryError

SQUARE = section("square 1.25 mm")


def two(d1: float, d2: float) -> tuple[RunPulley, RunPulley]:
    """A driver and a driven pulley of those diameters, well apart."""
    return RunPulley("motor", 0, 0, d1, drives=True), RunPulley("wheel", 5 * (d1 + d2), 0, d2)


def mechanism(**more: object) -> BeltRun:
    """A motor, a flywheel with its capstan, and an idler on the belt's back."""
    pulleys = (
        RunPulley("motor", 0, 0, 9.2, drives=True, rpm=2400),
        RunPulley("flywheel", 62, 5, 58, capstan_mm=2.0),
        RunPulley("idler", 30, 20, 10, side="outside"),
    )
    return BeltRun(pulleys, **more)  # type: ignore[arg-type]


# A Textbook of Engineering Mechanics, example 33.3 (data published, answers computed).
def test_s1_s2_thickness_and_slip() -> None:
    ratio = speed.speed_ratios(two(2000, 1000), 5)["wheel"]
    assert 120 * ratio == pytest.approx(239.403, abs=5e-4)
    # Of the exercise's belt, which slips by 3 %.
    assert 120 * ratio * 0.97 == pytest.approx(232.221, abs=5e-4)


# A published exercise (sarthaks.com no. 509850).
def test_s3_ratios_of_two_belts_multiply() -> None:
    ratio = speed.speed_ratios(two(80, 40), 0)["wheel"] * speed.speed_ratios(two(100, 20), 0)["wheel"]
    assert 200 * ratio == pytest.approx(2000)


def test_s4_p9_a_thicker_belt_on_a_small_motor_pulley_runs_faster() -> None:
    reductions = [1 / speed.speed_ratios(two(5, 50), t)["wheel"] for t in (0, 0.5, 1.0)]
    assert reductions == pytest.approx([10, 9.181818, 8.5], abs=5e-7)
    assert reductions[0] / reductions[1] - 1 == pytest.approx(0.0891, abs=5e-5)
    assert reductions[0] / reductions[2] - 1 == pytest.approx(0.1765, abs=5e-5)
    big_drives = [speed.speed_ratios(two(50, 5), t)["wheel"] for t in (0.5, 1.0)]
    assert big_drives[1] < big_drives[0]


def test_p9_a_longer_belt_of_the_same_section_changes_tension_and_not_speed() -> None:
    run = mechanism()
    low, high = runs.window(run, 1.25)
    short, long = (drive.fit(Belt(SQUARE, mm, 60), run, Belt(SQUARE, low, 60)) for mm in (low, high))
    assert short.speed_change == long.speed_change == 0
    assert short.tape_speed_cm_s == long.tape_speed_cm_s
    assert short.tension_n is not None
    assert long.tension_n is not None
    assert short.tension_n > long.tension_n


# Euler and Eytelwein's formula: probsee.com `Capstan equation`; Shigley's solutions (11.17); a belt glossary.
@pytest.mark.parametrize(
    ("friction", "wrap", "ratio"),
    [
        (0.8, 3.016511130, 11.169745),
        (0.35, math.pi, 3.0028),
        (0.45, math.pi, 4.1112),
        (0.3, math.pi, 2.566332),
        (0.3, 2 * math.pi, 6.586062),
        (0.3, 4 * math.pi, 43.376212),
        (0.3, 6 * math.pi, 285.678421),
        (0.25, 3.476489, 1000 / 419.32),
    ],
)
def test_t1_to_t5_capstan_equation(friction: float, wrap: float, ratio: float) -> None:
    # The most that is pulled is the difference of two tensions in that ratio, their sum twice the fitted one.
    slack = 2 / (1 + ratio)
    assert pulling.most_pull_n(1.0, friction, wrap) == pytest.approx(slack * (ratio - 1), rel=2e-5)


def test_t5_power_of_a_published_crossed_drive() -> None:
    """mechdiploma.com: 450 and 200 mm, 1.95 m apart, 1000 N, 200 rpm, friction 0.25; answers computed."""
    speed, slack = math.pi * 0.45 * 200 / 60, 419.32
    fitted = (1000 + slack) / 2
    assert pulling.most_pull_n(fitted, 0.25, 3.476489) * speed == pytest.approx(2736.4, abs=0.1)


def test_t6_load_on_a_shaft_is_the_vector_sum_of_its_spans() -> None:
    equal = BeltRun((RunPulley("a", 0, 0, 20), RunPulley("b", 50, 0, 20)))
    loads = pulling.shaft_loads(runs.belt_path(equal, 1.2), 0.41530)
    assert loads["a"].n == pytest.approx(0.83061, abs=2e-5)
    assert (loads["a"].x_n, loads["a"].y_n) == pytest.approx((0.83061, 0), abs=2e-5)
    assert loads["b"].x_n == pytest.approx(-0.83061, abs=2e-5)
    open_belt = BeltRun((RunPulley("d", 0, 0, 6), RunPulley("D", 96, 0, 18)))
    assert pulling.shaft_loads(runs.belt_path(open_belt, 0), 1.0)["d"].n == pytest.approx(1.996090, abs=1e-6)


def test_p1_p8_capstan_turns_for_the_tape_speed() -> None:
    """IEC 60094-1 by way of tnlab.org: 4.76 cm/s; 1 7/8 in/s is 4.7625 cm/s exactly, 0.05 % more."""
    for mm, turns in ((1.5, 606.062), (2.0, 454.547), (2.5, 363.637), (3.0, 303.031)):
        assert speed.capstan_rpm(mm, 4.76) == pytest.approx(turns, abs=5e-4)
        assert speed.tape_speed_cm_s(turns, mm) == pytest.approx(4.76, rel=2e-6)
    assert abs(4.7625 / speed.CASSETTE_CM_S - 1) < 1e-3


def test_p4_tape_speed_is_held_against_din_45500() -> None:
    """DIN 45500 by way of tonbandmuseum.info: mean speed within 1.5 %."""
    for rpm, word in ((2580, "within"), (2500, "outside")):
        pulleys = (
            RunPulley("motor", 0, 0, 9.2, drives=True, rpm=rpm),
            RunPulley("flywheel", 62, 5, 58, capstan_mm=2.0),
        )
        found = drive.fit(Belt(SQUARE, 220), BeltRun(pulleys))
        turns = rpm * (9.2 + 1.25) / (58 + 1.25)
        assert found.tape_speed_cm_s == pytest.approx(math.pi * 0.2 * turns / 60)
        assert found.tape_speed_error == pytest.approx(math.pi * 0.2 * turns / 60 / 4.76 - 1)
        assert any(f"{word} 1.5 % (DIN 45500" in reason for reason in found.reasons)


def test_fit_on_a_run_by_hand() -> None:
    """Two equal pulleys: every figure follows on paper."""
    run = BeltRun((RunPulley("a", 0, 0, 20, drives=True), RunPulley("b", 50, 0, 20)), friction=0.4)
    path = 100 + math.pi * 21.25
    belt = Belt(SQUARE, path / 1.07 - math.pi * 1.25, 60)
    found = drive.fit(belt, run)
    assert found.verdict == "fits"
    assert found.stretch == pytest.approx(0.07, abs=1e-12)
    tension = gent_mpa(60) * 1.5625 * 0.07
    assert found.tension_n == pytest.approx(tension)
    assert found.tension_range_n == pytest.approx((0.65 * tension, 1.35 * tension))
    assert found.shaft_loads["b"].n == pytest.approx(2 * tension)
    tight_over_slack = math.exp(0.4 * math.pi)
    assert found.pull_limit_n == pytest.approx(2 * tension * (tight_over_slack - 1) / (tight_over_slack + 1))
    assert {a.what for a in found.assumed} == {"stiffness from hardness", "wanted stretch", "tension at slip"}


def test_every_value_that_is_assumed_is_listed_with_a_source() -> None:
    found = drive.fit(Belt(SQUARE, 235), mechanism())
    what = {a.what: a for a in found.assumed}
    assert {"hardness", "friction of belt and pulley", "wanted stretch", "right tape speed"} <= set(what)
    assert what["hardness"].source == what["wanted stretch"].source == "common practice, no source"
    assert "Gent" in what["stiffness from hardness"].source
    assert all(a.value and a.source for a in found.assumed)
    recorded = drive.fit(Belt(SQUARE, 235, 55), mechanism(stretch=(0.03, 0.08), friction=0.6))
    assert not {"hardness", "friction of belt and pulley", "wanted stretch"} & {
        a.what for a in recorded.assumed
    }


def test_verdicts() -> None:
    run = mechanism()
    path = runs.belt_path(run, 1.25).length_mm
    recorded = Belt(SQUARE, runs.inside_length_for(path, 1.25, 0.07))

    def verdict(text: str, stretch: float) -> str:
        cut = section(text)
        there = runs.belt_path(run, cut.thickness_mm).length_mm
        inside = runs.inside_length_for(there, cut.thickness_mm, stretch)
        return drive.fit(Belt(cut, inside), run, recorded).verdict

    assert verdict("square 1.25 mm", 0.07) == "fits"
    assert verdict("square 1.25 mm", 0.02) == "too slack"
    assert verdict("square 1.25 mm", -0.02) == "too slack"
    assert verdict("square 1.25 mm", 0.12) == "too tight"
    assert verdict("square 1.1 mm", 0.07) == "fits with a change of speed"
    assert verdict("flat 4 x 0.5 mm", 0.07) == "wrong section"
    assert verdict("square 0.9 mm", 0.07) == "wrong section"
    assert drive.fit(recorded).verdict == "not known"


def test_a_belt_that_is_longer_than_its_path_pulls_nothing() -> None:
    found = drive.fit(Belt(SQUARE, 400), mechanism())
    assert found.verdict == "too slack"
    assert found.tension_n == found.pull_limit_n == 0
    assert "hangs loose" in found.reasons[0]


def test_speed_change_against_the_recorded_belt() -> None:
    found = drive.fit(Belt(section("square 1.1 mm"), 230), mechanism(), Belt(SQUARE, 230))
    assert found.speed_change == pytest.approx((9.2 + 1.1) / (58 + 1.1) / ((9.2 + 1.25) / (58 + 1.25)) - 1)
    assert found.speed_change is not None
    assert found.speed_change < 0
    idle = BeltRun((RunPulley("a", 0, 0, 20), RunPulley("b", 50, 0, 20)))
    silent = drive.fit(Belt(section("square 1.1 mm"), 150), idle, Belt(SQUARE, 150))
    assert silent.speed_change is None
    assert any("no pulley is said to drive" in reason for reason in silent.reasons)


def test_pull_against_the_slip_limit() -> None:
    run = mechanism(pull_nm=0.001, pull_at="flywheel")
    low, high = runs.window(run, 1.25)
    found = drive.fit(Belt(SQUARE, (low + high) / 2, 60), run)
    assert found.pull_needed_n == pytest.approx(0.001 / ((58 + 1.25) / 2000))
    assert any("it holds" in reason for reason in found.reasons)
    heavy = mechanism(pull_nm=0.1, pull_at="flywheel")
    slipping = drive.fit(Belt(SQUARE, (low + high) / 2, 60), heavy)
    assert slipping.verdict == "too slack"
    assert any("slips" in reason for reason in slipping.reasons)
    elsewhere = drive.fit(Belt(SQUARE, 235, 60), mechanism(pull_nm=0.004, pull_at="take-up"))
    assert elsewhere.pull_needed_n is None
    assert any("take-up" in reason and "not compared" in reason for reason in elsewhere.reasons)


def test_slip_is_reckoned_at_the_smallest_wrap_that_carries_load() -> None:
    found = drive.fit(Belt(SQUARE, 230, 60), mechanism(friction=0.5))
    assert found.path is not None
    assert found.tension_n is not None
    wrap = found.path.wraps_rad["motor"]
    assert found.path.wraps_rad["idler"] < wrap < found.path.wraps_rad["flywheel"]
    assert found.pull_limit_n == pytest.approx(2 * found.tension_n * math.tanh(0.5 * wrap / 2))


def test_without_a_run_the_recorded_belt_stands_for_it() -> None:
    recorded = Belt(SQUARE, 262)
    assert drive.fit(recorded, None, recorded).stretch == pytest.approx(0.07)
    assert drive.fit(recorded, None, recorded).verdict == "fits"
    assert drive.fit(Belt(SQUARE, 275), None, recorded).verdict == "too slack"
    assert drive.fit(Belt(SQUARE, 250), None, recorded).verdict == "too tight"
    thicker = drive.fit(Belt(section("square 1.4 mm"), 262), None, recorded)
    assert thicker.verdict == "fits with a change of speed"
    assert any("faster" in reason for reason in thicker.reasons)
    assert {"stretch of the recorded belt", "pulleys"} <= {a.what for a in thicker.assumed}


def test_a_belt_too_thick_to_pass_between_two_pulleys_is_the_wrong_section() -> None:
    """The idler stands 1.34 mm from the flywheel."""
    found = drive.fit(Belt(section("square 1.6 mm"), 230), mechanism())
    assert found.verdict == "wrong section"
    assert "does not fit between flywheel and idler" in found.reasons[0]
    assert runs.o_rings(mechanism()) == []
    with pytest.raises(GeometryError):
        runs.o_rings(BeltRun((RunPulley("a", 0, 0, 9), RunPulley("b", 1, 0, 9))))


def test_o_rings_for_a_run_lie_on_it_with_the_wanted_stretch() -> None:
    run = BeltRun(mechanism().pulleys[:2])
    found = runs.o_rings(run)
    assert {ring.section_mm for ring in found} == {1.78, 2.62}
    for ring in found:
        belt = Belt(section(f"round {ring.section_mm} mm"), ring.inside_length_mm)
        assert drive.fit(belt, run).verdict == "fits"
    assert {ring.size for ring in runs.o_rings(run, 1.78)} == {r.size for r in found if r.section_mm == 1.78}
    tiny = BeltRun((RunPulley("a", 0, 0, 0.5), RunPulley("b", 1, 0, 0.5)))
    assert runs.o_rings(tiny) == []


NAN = math.nan


@pytest.mark.parametrize(
    ("belt", "says"),
    [
        (Belt(SQUARE, 3000), "1 to 2000 mm, not 3000"),
        (Belt(SQUARE, 0), "1 to 2000 mm"),
        (Belt(SQUARE, NAN), "1 to 2000 mm"),
        (Belt(SQUARE, -5), "1 to 2000 mm"),
        (Belt(SQUARE, 262, 140), "10 to 95 Shore A, not 140"),
        (Belt(SQUARE, 262, NAN), "10 to 95 Shore A"),
    ],
)
def test_absurd_belts_are_refused_with_the_allowed_range(belt: Belt, says: str) -> None:
    with pytest.raises(runs.RunError, match=says):
        drive.fit(belt, mechanism())


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"stretch": (0.1, 0.04)}, "runs upwards"),
        ({"stretch": (NAN, 0.04)}, "runs upwards"),
        ({"pull_nm": -1.0}, "pull"),
        ({"friction": 0.0}, "friction"),
        ({"friction": NAN}, "friction"),
    ],
)
def test_absurd_runs_are_refused(change: dict[str, object], says: str) -> None:
    with pytest.raises(runs.RunError, match=says):
        runs.window(mechanism(**change), 1.25)


def test_all_that_is_wrong_with_a_run_is_said_at_once() -> None:
    pulleys = (
        RunPulley("a", 0, 0, 9, drives=True, rpm=-1),
        RunPulley("b", 50, 0, 9, drives=True, capstan_mm=NAN),
    )
    with pytest.raises(runs.RunError) as caught:
        drive.fit(Belt(SQUARE, 120), BeltRun(pulleys, friction=99))
    for part in ("a: the speed", "b: a capstan", "a and b are both", "friction"):
        assert part in str(caught.value)
    with pytest.raises(GeometryError):
        drive.fit(Belt(SQUARE, 120), BeltRun((RunPulley("a", 0, 0, 9), RunPulley("b", 1, 0, 9))))


# Test tapes: 3150 Hz per AES6 and IEC 60386, 3000 Hz in older service manuals.
@pytest.mark.parametrize(
    ("played", "heard", "percent"),
    [(3000, 2985, -0.5), (3000, 3015, 0.5), (3000, 3030, 1.0), (3150, 3118.5, -1.0), (3150, 3181.5, 1.0)],
)
def test_p6_speed_error_from_the_tone(played: float, heard: float, percent: float) -> None:
    assert tone.tone_error(played, heard) * 100 == pytest.approx(percent, abs=1e-10)


def test_p7_near_five_per_cent_the_tape_is_asked_about_first() -> None:
    assert tone.tone_error(3000, 3150) == pytest.approx(0.05)
    assert tone.tone_error(3150, 3000) == pytest.approx(-0.04762, abs=5e-6)
    for played, heard, other in ((3000, 3150, 3150), (3150, 3000, 3000), (3150, 3010, 3000)):
        read = tone.read_tone(played, heard)
        assert read.other_tape_hz == other
        assert "which tape was played" in read.says[0]
    for heard in (3087, 3150, 3200):
        assert tone.read_tone(3150, heard).other_tape_hz is None


def test_what_would_explain_a_tone() -> None:
    run = mechanism()
    read = tone.read_tone(3150, 3087, run, 1.25)
    assert read.error == pytest.approx(-0.02)
    assert read.tape_speed_cm_s == pytest.approx(4.76 * 0.98)
    assert not read.within_tolerance
    assert read.motor_rpm == pytest.approx(2400 * 0.98)
    assert read.thickness_mm is not None
    assert 0 < read.thickness_mm < 1.25
    ratio, usual = (speed.speed_ratios(run.pulleys, t)["flywheel"] for t in (read.thickness_mm, 1.25))
    assert ratio / usual == pytest.approx(0.98)
    assert tone.read_tone(3150, 1800, run, 1.25).thickness_mm is None
    same = BeltRun((RunPulley("a", 0, 0, 20, drives=True), RunPulley("b", 50, 0, 20)))
    assert tone.read_tone(3150, 3150, same, 1.25).thickness_mm is None


@pytest.mark.parametrize("bad", [0.0, -3150.0, NAN, math.inf, 1e308, 1e-320])
def test_absurd_tones_are_refused(bad: float) -> None:
    for played, heard in ((bad, 3150), (3150, bad)):
        with pytest.raises(runs.RunError, match="20 to 20000 Hz"):
            tone.tone_error(played, heard)
    with pytest.raises(runs.RunError, match="no belt changes the speed"):
        tone.tone_error(3150, 440)
