"""Values of mains by volts and hertz, names that speak of mains, and electrical ratings."""

from __future__ import annotations

import pytest

from kgraph import mains, ratings
from kgraph.mains import Mains


@pytest.mark.parametrize(
    ("text", "volts", "hertz"),
    [
        ("240 V 50 Hz", [(240, 240)], [50]),
        ("240V", [(240, 240)], []),
        ("220", [(220, 220)], []),
        ("~220 V", [(220, 220)], []),
        ("AC 220V", [(220, 220)], []),
        ("220-240 V", [(220, 240)], []),
        ("220\N{EN DASH}240 V, 50/60 Hz", [(220, 240)], [50, 60]),
        ("110/220 V", [(110, 110), (220, 220)], []),
        ("110-127/220-240 V ~ 50/60 Hz", [(110, 127), (220, 240)], [50, 60]),
        ("220 V or 240 V", [(220, 220), (240, 240)], []),
        ("220 volts 50 cycles", [(220, 220)], [50]),
        ("240 V 50 Hz 25 W", [(240, 240)], [50]),
        ("240 V 50", [(240, 240)], [50]),
        ("240\N{NO-BREAK SPACE}V", [(240, 240)], []),
    ],
)
def test_a_value_of_mains_is_read(text: str, volts: list[tuple[float, float]], hertz: list[float]) -> None:
    assert mains.parse(text) == Mains(tuple(volts), tuple(hertz))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "none",
        "battery only",
        "12 V",
        "12 V DC",
        "6 x 1.5 V",
        "50 Hz",
        "240 V 50 Hz?",
        "240,5 V",
        "2400 V",
        "9" * 200,
    ],
)
def test_what_reads_otherwise_is_not_guessed(text: str) -> None:
    assert mains.parse(text) is None
    assert mains.keys("mains", text) == {mains.compared(text)}


@pytest.mark.parametrize(
    ("one", "other", "agree", "doubt"),
    [
        # The nominal values of IEC 60038 and of before are kept apart: 220, 230 and 240 V.
        ("240 V 50 Hz", "220 V 50 Hz", False, ""),
        ("230 V", "240 V", False, ""),
        ("100 V 50 Hz", "110 V 50 Hz", False, ""),
        ("240 V 50 Hz", "240 V 60 Hz", False, ""),
        ("240 V 50 Hz", "240V, 50Hz", True, ""),
        ("240 V 50 Hz", "240 V 50/60 Hz", True, ""),
        ("220", "220V", True, ""),
        ("220-240 V", "240 V", True, "overlap"),
        ("110/220 V", "220 V", True, "overlap"),
        ("220-240 V", "110-127 V", False, ""),
        ("240 V", "240 V 50 Hz", True, "frequency"),
        ("battery only", "Battery only", True, ""),
        ("battery only", "240 V", False, ""),
    ],
)
def test_values_of_mains_are_compared(one: str, other: str, agree: bool, doubt: str) -> None:
    for a, b in ((one, other), (other, one)):
        assert bool(mains.keys("Mains", a) & mains.keys("mains", b)) == agree
        if agree:
            said = mains.doubt("mains", [a], [b])
            assert doubt in said
            assert bool(said) == bool(doubt)


def test_another_attribute_is_compared_as_text() -> None:
    assert mains.keys("market", "240 V") == {"240v"}
    assert mains.doubt("market", ["220-240 V"], ["240 V"]) == ""


@pytest.mark.parametrize(
    "name",
    [
        "mains inlet panel", "MAINS-LEAD", "mainslead", "MainsFuse", "audio transformer", "transformers",
        "fuse 2", "fuses", "fuseholder", "voltage doubler", "supply lid", "supplies", "pull cord",
        "powercord", "headphone plug", "battery fuse", "mains_tap", "Voltage\N{NO-BREAK SPACE}tap",
    ],
)  # fmt: skip
def test_a_name_that_speaks_of_mains(name: str) -> None:
    assert mains.speaks_of_mains(name)


@pytest.mark.parametrize(
    "name",
    [
        "record head",
        "RECORDS",
        "main spring",
        "mainspring",
        "lamp diffuser",
        "remains",
        "tone knob",
        "chord lamp",
        "F1",
        "",
    ],
)
def test_a_name_that_does_not(name: str) -> None:
    assert not mains.speaks_of_mains(name)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        # The letter codes of IEC 60062 as read in a copy of the encyclopedic article "RKM code".
        ("R47", "ohm", 0.47), ("4R7", "ohm", 4.7), ("470R", "ohm", 470), ("4K7", "ohm", 4700),
        ("47K", "ohm", 47_000),
        ("47K3", "ohm", 47_300), ("4M7", "ohm", 4_700_000), ("4.7 k\N{OHM SIGN}", "ohm", 4700),
        ("4.7 kohm", "ohm", 4700), ("100 \N{MICRO SIGN}F", "pF", 1e8), ("63 V", "mV", 63_000),
        ("4n7", "pF", 4700),  # from memory
        ("1/2 W", "mW", 500), ("0.315 A", "mA", 315), ("315 mA", "mA", 315),
    ],
)  # fmt: skip
def test_an_electrical_value_is_read(text: str, unit: str, value: float) -> None:
    assert ratings.rating(text) == (unit, pytest.approx(value))


@pytest.mark.parametrize("text", ["", "K-114", "M2", "T 315 mA", "6 V 60 mA", "5 mm", "100", "1/0 W", "k"])
def test_what_is_no_electrical_value(text: str) -> None:
    assert ratings.rating(text) is None
