"""Written quantities: what is read, what is refused, and what the refusal says."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest

from kgraph import belt_sizes, forces, size_rules
from kgraph import quantities as q

READ = [
    ("262 mm", 262.0),
    ("262mm", 262.0),
    ("1.25 mm", 1.25),
    ("10.3 cm", 103.0),
    ("3 1/4 in", 82.55),
    ('1/2 "', 12.7),
    ('10 1/4"', 260.35),
    ("10-1/4 in", 260.35),
    ("2 inches", 50.8),
    ("262\N{NO-BREAK SPACE}mm", 262.0),
    ("  262 mm ", 262.0),
    ("0.1 in", 2.54),
    ("0.07 in", 1.778),
]

REFUSED = [
    ("262", "no unit", "did you mean 262 mm?"),
    ("10 1/4", "no unit", "did you mean 10 1/4 in?"),
    ("1,262 mm", "a comma can be read two ways", "write 1262 mm or 1.262 mm"),
    ("1,25 mm", "a comma can be read two ways", "write 1.25 mm"),
    ("nan mm", "not a number", "from 0.01 to 2000 mm"),
    ("inf mm", "not a number", "from 0.01 to 2000 mm"),
    ("-inf mm", "not a number", "from 0.01 to 2000 mm"),
    ("1e308 mm", "exponent", "from 0.01 to 2000 mm"),
    ("1e-320 mm", "exponent", "from 0.01 to 2000 mm"),
    ("1e2 mm", "exponent", "digits out"),
    ("1e2", "exponent", "digits out"),
    ("0 mm", "out of range", "from 0.01 to 2000 mm"),
    ("0.000 mm", "out of range", "from 0.01 to 2000 mm"),
    ("-5 mm", "negative", "from 0.01 to 2000 mm"),
    ("\N{MINUS SIGN}5 mm", "negative", "from 0.01 to 2000 mm"),
    ("3000 mm", "out of range", "from 0.01 to 2000 mm"),
    ("262 furlong", "'furlong'", "mm, cm, in"),
    ("262 mm mm", "two units", "one of"),
    ('12" mm', "two units", "one of"),
    ("٢٦٢ mm", "another script", "write 262 mm"),
    ("２６２ mm", "another script", "write 262 mm"),
    ("262² mm", "another script", "write it like"),
    ("", "missing", "262 mm"),
    ("   ", "missing", "262 mm"),
    ("mm", "cannot be read", "262 mm"),
    ("1/0 in", "divides by nothing", "3 1/4 in"),
    ("3 5/4 in", "one or more", "3 1/4 in"),
    ("1/2 mm", "inches only", "point"),
    ("9" * 5000 + " mm", "too long", "262 mm"),
    ("9" * 40 + " mm", "too many digits", "measured"),
    ("262 mm\x1b[31m", "cannot be seen", "262 mm"),
    ("262 +- 2 +- 3 mm", "more than one tolerance", "262 +- 2 mm"),
    ("262 mm +- 2", "no unit", "did you mean 2 mm?"),
    ("2 mm +- 3 mm", "as large as the length", "262 +- 2 mm"),
    ("1_000 mm", "cannot be read", "262 mm"),
    ("0x10 mm", "cannot be read", "262 mm"),
    ("1.2.3 mm", "cannot be read", "262 mm"),
]


@pytest.mark.parametrize(("text", "mm"), READ)
def test_a_length_is_the_nearest_double_to_what_is_written(text: str, mm: float) -> None:
    assert q.length(text) == q.Length(mm)


@pytest.mark.parametrize(("text", "what", "right"), REFUSED)
def test_a_refused_length_says_what_is_wrong_and_what_would_be_right(
    text: str, what: str, right: str
) -> None:
    with pytest.raises(q.QuantityError) as caught:
        q.length(text)
    assert what in caught.value.what
    assert right in caught.value.right
    assert str(caught.value) == f"{caught.value.what}; {caught.value.right}"
    assert "\x1b" not in str(caught.value)


def test_tolerance_and_about() -> None:
    assert q.length("262 +- 2 mm") == q.Length(262.0, 2.0)
    assert q.length("262 ± 2 mm") == q.Length(262.0, 2.0)
    assert q.length("10.3 cm +/- 2 mm") == q.Length(103.0, 2.0)
    assert q.length("200 mm ± 1 %") == q.Length(200.0, 2.0)
    assert q.length("about 262 mm") == q.Length(262.0, 0.03 * 262, about=True)
    assert q.length("about 262 +- 2 mm") == q.Length(262.0, 2.0, about=True)
    # Callipers on soft rubber are good to a tenth; about is no better than twice that.
    assert q.length("about 1.2 mm").plus_minus_mm == 0.2
    assert q.coordinate("about 0 mm").plus_minus_mm == 0.2
    assert belt_sizes.inside_length("about 83 mm", "inside diameter").plus_minus_mm == pytest.approx(
        0.09 * 83 / 3 * math.pi
    )
    assert belt_sizes.section("square 1.2 mm").error_mm == 0.0
    assert belt_sizes.section("flat 4 x about 0.5 mm").error_mm == 0.2
    assert belt_sizes.section("flat 4 +- 0.3 x 0.5 mm") == belt_sizes.section("flat 4 x 0.5 mm")
    assert belt_sizes.section("flat 4 +- 0.3 x 0.5 mm").error_mm == 0.3
    assert q.length("about 262 mm").text == "about 262 mm"


def test_coordinates_may_be_nought_or_negative() -> None:
    assert [q.coordinate(t).mm for t in ("0 mm", "-12.5 mm", "1 in")] == [0.0, -12.5, 25.4]
    with pytest.raises(q.QuantityError, match="from -1000 to 1000"):
        q.coordinate("1001 mm")


def test_inside_length_inside_diameter_and_folded_are_one_quantity() -> None:
    assert belt_sizes.inside_length("262 mm").mm == 262.0
    assert belt_sizes.inside_length("131 +- 1 mm", "folded") == q.Length(262.0, 2.0)
    assert belt_sizes.inside_length("83.4 mm", "inside diameter").mm == pytest.approx(
        math.pi * 83.4, rel=1e-15
    )
    with pytest.raises(q.QuantityError, match="out of range"):
        belt_sizes.inside_length("3000 mm")
    with pytest.raises(q.QuantityError, match="inside length, inside diameter or folded"):
        belt_sizes.inside_length("262 mm", "outside")


@pytest.mark.parametrize(
    ("text", "form", "sizes", "thickness", "area"),
    [
        ("square 1.25 mm", "square", (1.25,), 1.25, 1.5625),
        ("square 1.25 x 1.25 mm", "square", (1.25,), 1.25, 1.5625),
        ("flat 4 mm x 0.5 mm", "flat", (4.0, 0.5), 0.5, 2.0),
        ("flat 4 x 0.5 mm", "flat", (4.0, 0.5), 0.5, 2.0),
        ("flat 4x0.5mm", "flat", (4.0, 0.5), 0.5, 2.0),
        ("flat 0.5 mm × 4 mm", "flat", (4.0, 0.5), 0.5, 2.0),
        ("Round 1.78 mm", "round", (1.78,), 1.78, 2.4884555),
    ],
)
def test_sections(text: str, form: str, sizes: tuple[float, ...], thickness: float, area: float) -> None:
    read = belt_sizes.section(text)
    assert (read.form, read.sizes_mm, read.thickness_mm) == (form, sizes, thickness)
    assert read.area_mm2 == pytest.approx(area, rel=1e-7)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("1.25 mm", "which form"),
        ("square 1.25", "did you mean 1.25 mm?"),
        ("flat 4 mm", "a width and a thickness"),
        ("flat 4 x 0.5", "no unit"),
        ("round 1 x 2 mm", "one size"),
        ("square 1.2 x 1.3 mm", "one size"),
        ("square 0.01 mm", "from 0.2 to 20 mm"),
        ("square -1 mm", "negative"),
        ("square 1,25 mm", "comma"),
        ("oval 2 mm", "which form"),
        ("square", "missing"),
    ],
)
def test_refused_sections(text: str, says: str) -> None:
    with pytest.raises(q.QuantityError) as caught:
        belt_sizes.section(text)
    assert says in str(caught.value)


def test_percentages() -> None:
    assert q.percent("2 %") == 0.02
    assert q.percent("0.5%") == 0.005
    assert q.percent_range("4 % to 10 %") == (0.04, 0.10)
    assert q.percent_range("4 to 10 %") == (0.04, 0.10)
    for bad in ("2", "two %", "nan %", "-1 %", "101 %", "1e1 %", "2,5 %", "", "%"):
        with pytest.raises(q.QuantityError):
            q.percent(bad)
    for bad in ("10 % to 4 %", "4 % to 4 %", "4 %", "4 % to 10 % to 12 %"):
        with pytest.raises(q.QuantityError):
            q.percent_range(bad)


def test_hardness() -> None:
    assert [forces.hardness(t) for t in ("60 Shore A", "60 IRHD", "55.5 shore a")] == [60.0, 60.0, 55.5]
    with pytest.raises(q.QuantityError, match="from 10 to 95"):
        forces.hardness("140 Shore A")
    with pytest.raises(q.QuantityError, match="did you mean 60 Shore A"):
        forces.hardness("60")
    for bad in (
        "60 Shore D",
        "nan Shore A",
        "0 Shore A",
        "-60 Shore A",
        "6e1 Shore A",
        "",
        "9999999999999999999999 IRHD",
    ):
        with pytest.raises(q.QuantityError):
            forces.hardness(bad)


def test_plain_numbers() -> None:
    assert [q.number(t, 0, 1) for t in ("0.95", "1", "0")] == [0.95, 1.0, 0.0]
    for bad in (
        "nan",
        "inf",
        "1e400",
        "0,95",
        "0x1",
        "1_0",
        "",
        "-0.1",
        "1.01",
        "٠.٥",
        "1e-1",
        ".",
        "1.",
        "--1",
    ):
        with pytest.raises(q.QuantityError):
            q.number(bad, 0, 1)
    with pytest.raises(q.QuantityError, match="above 0 up to 1"):
        q.number("0", 0, 1, above=True)


def test_turning_and_pulling() -> None:
    assert forces.rpm("2400") == forces.rpm("2400 rpm") == 2400.0
    # The gram-force, from standard gravity 9.80665 m/s² (exact by definition).
    assert forces.torque("40 g cm") == pytest.approx(3.92266e-3, rel=1e-12)
    assert forces.torque("4 mN m") == forces.torque("4 mNm") == pytest.approx(4e-3)
    assert forces.pull("40 g cm at take-up") == forces.Pull(forces.torque("40 g cm"), "take-up")
    assert forces.pull("40 g cm").at == ""
    assert forces.speed_cm_s("4.76 cm/s") == 4.76
    # 1 7/8 in/s is 47.625 mm/s exactly (tape speed, IEC 60094-1 as read at tnlab.org).
    assert forces.speed_cm_s("1 7/8 in/s") == 4.7625
    for bad in ("0 rpm", "1e9", "-5 rpm", "fast"):
        with pytest.raises(q.QuantityError):
            forces.rpm(bad)
    for bad in ("40", "40 stone", "nan g cm", "0 g cm", "1e3 g cm", "9" * 30 + " N m"):
        with pytest.raises(q.QuantityError):
            forces.torque(bad)
    for bad in ("4.76", "4.76 cm", "nan cm/s", "-4 cm/s", "0 cm/s"):
        with pytest.raises(q.QuantityError):
            forces.speed_cm_s(bad)


def test_rules_for_comparing() -> None:
    assert size_rules.compare_rule("same") == size_rules.Rule("same")
    assert size_rules.compare_rule("At least") == size_rules.Rule("at least")
    assert size_rules.compare_rule("0.1 mm") == size_rules.Rule("absolute", 0.1)
    assert size_rules.compare_rule("2 %") == size_rules.Rule("relative", 0.02)
    for bad in ("", "similar", "2", "-2 %", "nan %", "0 mm"):
        with pytest.raises(q.QuantityError):
            size_rules.compare_rule(bad)


def test_a_size_on_the_bound_is_within_it() -> None:
    assert size_rules.within(1.2, 1.3, size_rules.Rule("absolute", 0.1))
    assert size_rules.within(1.3, 1.2, size_rules.Rule("absolute", 0.1))
    assert not size_rules.within(1.2, 1.3001, size_rules.Rule("absolute", 0.1))
    # 2 % of the larger: 98 and 100 agree, 97.9 and 100 do not.
    assert size_rules.within(98, 100, size_rules.Rule("relative", 0.02))
    assert size_rules.within(100, 98, size_rules.Rule("relative", 0.02))
    assert not size_rules.within(97.9, 100, size_rules.Rule("relative", 0.02))
    assert size_rules.within(6, 6, size_rules.Rule("same"))
    assert not size_rules.within(6, 6.35, size_rules.Rule("same"))
    assert size_rules.within(10, 12, size_rules.Rule("at least"))
    assert not size_rules.within(12, 10, size_rules.Rule("at least"))
    assert not size_rules.within(math.nan, 1, size_rules.Rule("absolute", 5))
    assert not size_rules.within(math.inf, math.inf, size_rules.Rule("relative", 0.1))


def test_importing_it_brings_in_nothing_heavy() -> None:
    heavy = {"yaml", "numpy", "decimal", "click", "rdflib"}
    code = f"import sys, kgraph.quantities; print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
