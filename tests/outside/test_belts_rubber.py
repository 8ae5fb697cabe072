"""Hardness to stiffness, and stretch to tension, against published relations."""

from __future__ import annotations

import math

import pytest

from kgraph.belts import rubber


# Gent (1958), cited in kgraph/belts/rubber.py; values computed apart from the code, in double precision.
@pytest.mark.parametrize(
    ("shore", "mpa"),
    [
        (25, 0.9235), (30, 1.1424), (35, 1.3950), (40, 1.6896), (45, 2.0379), (50, 2.4558), (55, 2.9666),
        (60, 3.6051), (65, 4.4260), (70, 5.5205), (75, 7.0529), (80, 9.3514), (90, 20.844),
    ],
)  # fmt: skip
def test_r1_to_r3_gent(shore: float, mpa: float) -> None:
    assert rubber.gent_mpa(shore) == pytest.approx(mpa, rel=5e-5)


def test_r4_outside_its_range_the_relation_is_given_with_a_warning() -> None:
    assert rubber.modulus(20).warning == rubber.modulus(80).warning == ""
    for shore in (19.9, 80.1, 90):
        assert "outside 20 to 80" in rubber.modulus(shore).warning
    for bad in (0, -5, 100, 140, math.nan, math.inf):
        with pytest.raises(ValueError, match="outside 0 to 100"):
            rubber.modulus(bad)


def _ruess_mpa(shore_a: float) -> float:
    """Young's modulus in MPa by Ruess, for 30 to 60 Shore A: it shows how far two relations differ."""
    return float(10 ** (0.0235 * shore_a - 0.6403))


def _neo_hookean_n(modulus_mpa: float, area_mm2: float, stretch: float) -> float:
    """The tension of an incompressible neo-Hookean strip, E A (L - 1/L²) / 3 with L = 1 + stretch, in N."""
    long = 1 + stretch
    return modulus_mpa * area_mm2 * (long - long**-2) / 3


# Ruess, as printed at josephborrello.com/shore-a-to-modulus.
@pytest.mark.parametrize(("shore", "mpa"), [(30, 1.1606), (40, 1.9939), (50, 3.4253), (60, 5.8844)])
def test_r5_ruess(shore: float, mpa: float) -> None:
    assert _ruess_mpa(shore) == pytest.approx(mpa, rel=5e-5)


def test_r6_another_relation_gives_the_same_stiffness_a_hardness_a_point_away() -> None:
    """S = 100 erf(3.186e-4 sqrt(E/Pa)), from memory: a sanity bound only."""
    shore = 100 * math.erf(3.186e-4 * math.sqrt(rubber.gent_mpa(60) * 1e6))
    assert shore == pytest.approx(60.8, abs=0.05)


def test_r7_r8_two_published_values_differ_by_about_the_range_that_is_given() -> None:
    """`Designing with rubber`, quoted at eng-tips.com thread 88668: 830 lbf/in² at 65, 1340 at 75."""
    for shore, lbf, ratio in ((65, 830, 1.29), (75, 1340, 1.31)):
        handbook = lbf * 6894.757e-6
        found = rubber.modulus(shore)
        assert handbook / found.mpa == pytest.approx(ratio, abs=0.01)
        assert found.low_mpa <= handbook <= found.high_mpa
    assert _ruess_mpa(60) / rubber.gent_mpa(60) == pytest.approx(1.63, abs=0.005)
    found = rubber.modulus(60)
    assert (found.low_mpa, found.high_mpa) == pytest.approx((0.65 * found.mpa, 1.35 * found.mpa))


def test_t6_t7_tension() -> None:
    assert rubber.tension_n(rubber.gent_mpa(60), 1.2 * 1.2, 0.08) == pytest.approx(0.41530, abs=5e-5)
    assert rubber.tension_n(rubber.gent_mpa(60), math.pi * 1.78**2 / 4, 0.08) == pytest.approx(
        0.717685, abs=5e-6
    )
    assert rubber.tension_n(3.6, 1.44, -0.05) == 0


@pytest.mark.parametrize(("stretch", "ratio"), [(0.05, 0.95314), (0.08, 0.92775), (0.10, 0.91185)])
def test_t8_the_linear_law_against_the_neo_hookean_one(stretch: float, ratio: float) -> None:
    assert _neo_hookean_n(3.6, 1.44, stretch) / rubber.tension_n(3.6, 1.44, stretch) == pytest.approx(
        ratio, abs=5e-6
    )


def test_stretch_compares_two_lengths_on_one_line() -> None:
    assert rubber.stretch(108, 100) == pytest.approx(0.08)
    assert rubber.stretch(95, 100) == pytest.approx(-0.05)
    assert rubber.rest_midline_mm(262, 1.25) == pytest.approx(262 + 3.9269908)
    for bad in ((0, 100), (100, 0), (math.nan, 1), (1, math.inf), (-1, 1)):
        with pytest.raises(ValueError, match="above 0"):
            rubber.stretch(*bad)
