"""Written quantities to numbers: lengths, sections, percentages, hardness, speed, torque, size rules.

Everything here takes the text as it was written and gives a number in one unit (mm, a fraction of one,
N m, cm/s, rpm), or raises :class:`QuantityError` saying what is wrong and what would be right.
Digits are ASCII; exponents, commas, NaN and infinities are refused, for each has a second reading
or no sensible one. No units library is used: one was weighed against its import time (some tenths of
a second for every command line) for the four units that a belt is measured in, and left out.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Literal, NamedTuple

Form = Literal["square", "flat", "round"]

# Wide enough for any part of a portable set, narrow enough to catch a slipped unit.
LENGTH_LOW_MM, LENGTH_HIGH_MM = 0.01, 2000.0
# The smallest tape counter belts are some 60 mm round; a drive belt of 2 m is a mistake.
BELT_LOW_MM, BELT_HIGH_MM = 10.0, 2000.0
SECTION_LOW_MM, SECTION_HIGH_MM = 0.2, 20.0
COORDINATE_MM = 1000.0
HARDNESS_LOW, HARDNESS_HIGH = 10.0, 95.0
RPM_LOW, RPM_HIGH = 1.0, 30000.0
# What `about` says of a measure: three times the 1 % that a careful one is taken to be good to, and of a
# small one no less than twice the 0.1 mm that callipers on soft rubber are. Common practice, no source.
ABOUT_FRACTION, ABOUT_LEAST_MM = 0.03, 0.2
BELT_MEASURES: Mapping[str, float] = {"inside length": 1.0, "inside diameter": math.pi, "folded": 2.0}
"""How the length of a belt is written -> what makes the inside length of it.

Where several are written the first of them in this order counts, in whatever order they stand.
"""
MEASURES_APART = 0.02
"""How far two ways to write one length of a belt may lie apart, as a fraction."""
ABOUT_SOURCE = "a measure said to be about is taken to 3 %, at least 0.2 mm: common practice, no source"

_LONGEST = 80
# Each unit is a ratio of whole numbers, so that one division gives the nearest double to the exact value.
_MM_PER: dict[str, tuple[int, int]] = {
    "mm": (1, 1),
    "cm": (10, 1),
    "in": (254, 10),
    "inch": (254, 10),
    "inches": (254, 10),
    '"': (254, 10),
}
_LENGTH_UNITS = 'mm, cm, in or "'
# The gram-force is 9.80665 mN exactly (standard gravity); the ounce-force is 28.349523125 of them.
_NM_PER: dict[str, float] = {
    "g cm": 9.80665e-5,
    "gf cm": 9.80665e-5,
    "mn m": 1e-3,
    "n cm": 1e-2,
    "n m": 1.0,
    "oz in": 28.349523125 * 9.80665e-3 * 0.0254,
}

_VALUE = re.compile(
    r"(?P<sign>[+-]?)\s*(?:(?:(?P<whole>\d+)[ -]\s*)?(?P<top>\d+)\s*/\s*(?P<bottom>\d+)"
    r"|(?P<plain>\d+(?:\.\d+)?))"
    r"\s*(?P<unit>[^\d+]*)",
    re.ASCII,
)
_PLUS_MINUS = re.compile(r"\+-|\+/-|±")
_ABOUT = re.compile(r"(?:about\b|ca\.|~)\s*", re.IGNORECASE)
_EXPONENT = re.compile(r"\d\s*[eE][+-]?\d", re.ASCII)
_COMMA = re.compile(r"(\d+),(\d+)", re.ASCII)
_DECIMAL = re.compile(r"[+-]?\d+(?:\.\d+)?", re.ASCII)
_NOT_FINITE = re.compile(r"[+-]?\s*(nan|inf|infinity)\b", re.IGNORECASE)


class QuantityError(ValueError):
    """A text that is not the quantity asked for: `what` is wrong with it, and what would be `right`."""

    def __init__(self, what: str, right: str = "") -> None:
        self.what = what
        self.right = right
        super().__init__(f"{what}; {right}" if right else what)


class Length(NamedTuple):
    """A length in mm with its error in mm (stated, or that of `about`; 0 where neither), and as written.

    Equal whatever was written.
    """

    mm: float
    plus_minus_mm: float = 0.0
    about: bool = False
    text: str = ""

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Length) and self[:3] == other[:3]

    def __hash__(self) -> int:
        return hash(self[:3])


class Section(NamedTuple):
    """A belt's cross-section: its form and sizes in mm; of a flat one the width, then the thickness.

    `error_mm` is the largest error that was stated for a size, or that `about` stands for; else 0. Equal
    where form and sizes are.
    """

    form: Form
    sizes_mm: tuple[float, ...]
    text: str = ""
    error_mm: float = 0.0
    about: bool = False

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Section) and self[:2] == other[:2]

    def __hash__(self) -> int:
        return hash(self[:2])

    @property
    def thickness_mm(self) -> float:
        """The size in the direction of bending: flat the thickness, square the side, round the diameter."""
        return min(self.sizes_mm)

    @property
    def area_mm2(self) -> float:
        """The area of the section in mm²."""
        if self.form == "round":
            return math.pi * self.sizes_mm[0] ** 2 / 4
        return self.sizes_mm[0] * self.sizes_mm[-1]


class Pull(NamedTuple):
    """The torque in N m that a belt must hand on, and at which shaft (empty when not said)."""

    torque_nm: float
    at: str = ""


class Rule(NamedTuple):
    """When sizes compare as equal; `bound` is in mm, or a fraction of the larger size.

    `same`: the same number. `absolute`, `relative`: no further apart than the bound. `at least`: the
    offered size is no less than the wanted one.
    """

    how: Literal["same", "absolute", "relative", "at least"]
    bound: float = 0.0


def length(text: str, *, low_mm: float = LENGTH_LOW_MM, high_mm: float = LENGTH_HIGH_MM) -> Length:
    """A length with its unit: `262 mm`, `10.3 cm`, `3 1/4 in`, `10 1/4"`, `about 262 mm`, `262 +- 2 mm`.

    The value must lie in `low_mm` to `high_mm`; a negative one is read only when `low_mm` is below zero.
    Raises QuantityError.
    """
    limits = f"from {_plain(low_mm)} to {_plain(high_mm)} mm"
    clean = _clean(text, "a length", f"write it like 262 mm, {limits}")
    about = _ABOUT.match(clean)
    parts = _PLUS_MINUS.split(clean[about.end() :] if about else clean)
    if len(parts) > 2:
        raise QuantityError(f"{_shown(text)} has more than one tolerance", "write it like 262 +- 2 mm")
    main = parts[0].strip()
    slack = parts[1].strip() if len(parts) == 2 else None
    if slack is not None and _DECIMAL.fullmatch(main) and (unit := _unit_of(slack)):
        main = f"{main} {unit}"  # In `262 +- 2 mm` the unit at the end is said for both.
    value = _length_value(main, limits, signed=low_mm < 0)
    if not low_mm <= value <= high_mm:
        raise QuantityError(f"{_shown(text)} is out of range", f"a length here is {limits}")
    error = _slack(slack, value, limits)
    if about and slack is None:
        error = max(ABOUT_FRACTION * abs(value), ABOUT_LEAST_MM)
    return Length(value, error, about is not None, text.strip())


def coordinate(text: str) -> Length:
    """A place along an axis, of either sign: `-12.5 mm`. Raises QuantityError."""
    return length(text, low_mm=-COORDINATE_MM, high_mm=COORDINATE_MM)


def inside_length(text: str, written_as: str = "inside length") -> Length:
    """The inside length of a belt at rest, from it, its `inside diameter` (times π) or `folded` (times 2).

    Raises QuantityError, also for another way of writing it and outside 10 mm to 2 m round.
    """
    if written_as not in BELT_MEASURES:
        raise QuantityError(
            f"{_shown(written_as)} is not a way to measure a belt", f"use {_listed(list(BELT_MEASURES))}"
        )
    factor = BELT_MEASURES[written_as]
    read = length(text, low_mm=BELT_LOW_MM / factor, high_mm=BELT_HIGH_MM / factor)
    return Length(read.mm * factor, read.plus_minus_mm * factor, read.about, read.text)


def belt_measures(said: Iterable[tuple[str, object]]) -> dict[str, Length]:
    """The inside length by each way to write it that is among these keys and values, in their order.

    What cannot be read is left out.
    """
    written, found = dict(said), {}
    for key in BELT_MEASURES:
        value = written.get(key)
        if isinstance(value, str):
            try:
                found[key] = inside_length(value, key)
            except QuantityError:
                continue
    return found


def measures_apart(found: Mapping[str, float]) -> dict[str, str]:
    """Of inside lengths in mm by the way they were written, those too far from the first, and what to say."""
    if not found:
        return {}
    first, *rest = found.items()
    return {
        key: f"{key} means {mm:.4g} mm around the inside, {first[0]} means {first[1]:.4g} mm"
        for key, mm in rest
        if abs(mm - first[1]) > MEASURES_APART * first[1]
    }


def lacks_unit(text: str, written_as: str) -> bool:
    """Whether a text is no length of a belt, and would be one with mm after it."""
    return not belt_measures([(written_as, text)]) and bool(belt_measures([(written_as, f"{text} mm")]))


def thickness(text: str) -> float:
    """The thickness of a belt in mm, 0.2 to 20 mm: `1.2 mm`. Raises QuantityError."""
    return length(text, low_mm=SECTION_LOW_MM, high_mm=SECTION_HIGH_MM).mm


def section(text: str) -> Section:
    """A cross-section: `square 1.25 mm`, `flat 4 mm x 0.5 mm` or `flat 4 x 0.5 mm`, `round 1.78 mm`.

    Of a flat belt the smaller size is the thickness, whichever was written first. Raises QuantityError.
    """
    right = "write it like square 1.25 mm, flat 4 mm x 0.5 mm or round 1.78 mm"
    clean = _clean(text, "a section", right)
    word, _, rest = clean.partition(" ")
    form: Form
    match word.lower():
        case "square":
            form = "square"
        case "flat":
            form = "flat"
        case "round":
            form = "round"
        case _:
            raise QuantityError(f"{_shown(text)} does not say which form the section has", right)
    sizes = _section_sizes(rest)
    if form == "square" and len(sizes) == 2 and sizes[0].mm == sizes[1].mm:
        sizes = sizes[:1]
    if len(sizes) != (2 if form == "flat" else 1):
        needed = "a width and a thickness" if form == "flat" else "one size"
        raise QuantityError(f"{_shown(text)}: a {form} section has {needed}", right)
    return Section(
        form,
        tuple(sorted((size.mm for size in sizes), reverse=True)),
        text.strip(),
        max(size.plus_minus_mm for size in sizes),
        any(size.about for size in sizes),
    )


def number(text: str, low: float, high: float, *, above: bool = False) -> float:
    """A plain decimal in ASCII digits from `low` to `high` (with `above`, more than `low`).

    Refused: exponents, commas, underscores, hexadecimal, NaN, infinities, no text. Raises QuantityError.
    """
    limits = f"{'above' if above else 'from'} {_plain(low)} {'up ' if above else ''}to {_plain(high)}"
    clean = _clean(text, "a number", f"write a number {limits}")
    if len(clean) > _LONGEST // 2 or not _DECIMAL.fullmatch(clean):
        raise _refusal(clean, "a number", f"write a plain number {limits}")
    value = float(clean)
    if not low <= value <= high or (above and value == low):
        raise QuantityError(f"{_shown(text)} is out of range", f"it must be {limits}")
    return value


def percent(text: str, *, low: float = 0.0, high: float = 1.0) -> float:
    """A percentage as a fraction of one: `2 %` is 0.02. Raises QuantityError."""
    limits = f"from {_plain(low * 100)} to {_plain(high * 100)} %"
    clean = _clean(text, "a percentage", f"write it like 2 %, {limits}")
    if not clean.endswith("%"):
        if _DECIMAL.fullmatch(clean):
            raise QuantityError(f"{_shown(text)} has no unit", f"did you mean {clean} %?")
        raise _refusal(clean, "a percentage", f"write it like 2 %, {limits}")
    return _over_hundred(number(clean[:-1], low * 100, high * 100))


def percent_range(text: str, *, low: float = 0.0, high: float = 1.0) -> tuple[float, float]:
    """Two percentages as fractions of one, the smaller first: `4 % to 10 %` or `4 to 10 %`.

    Raises QuantityError, also when the first is not below the second.
    """
    right = "write it like 4 % to 10 %"
    parts = re.split(r"\s+to\s+", _clean(text, "a range in percent", right))
    if len(parts) != 2:
        raise QuantityError(f"{_shown(text)} is not a range in percent", right)
    first, second = (part if part.endswith("%") else f"{part} %" for part in parts)
    ends = percent(first, low=low, high=high), percent(second, low=low, high=high)
    if not ends[0] < ends[1]:
        raise QuantityError(f"{_shown(text)} does not run upwards", "write the smaller percentage first")
    return ends


def hardness(text: str) -> float:
    """Hardness in Shore A: `60 Shore A`, or `60 IRHD`, which is nearly the same number from 30 to 80.

    That they are nearly the same: abstract of the chapter 10.1201/b14964-44. Raises QuantityError.
    """
    limits = (
        f"from {_plain(HARDNESS_LOW)} to {_plain(HARDNESS_HIGH)} (the scale ends at 100, belts are 30 to 80)"
    )
    clean = _clean(text, "a hardness", f"write it like 60 Shore A, {limits}")
    found = re.fullmatch(r"([^\s]+)\s*(shore\s*a|irhd)", clean, re.IGNORECASE)
    if not found:
        if _DECIMAL.fullmatch(clean):
            raise QuantityError(f"{_shown(text)} has no scale", f"did you mean {clean} Shore A?")
        raise _refusal(clean, "a hardness", f"write it like 60 Shore A or 60 IRHD, {limits}")
    if not _DECIMAL.fullmatch(found[1]):
        raise _refusal(found[1], "a hardness", f"write it like 60 Shore A, {limits}")
    value = float(found[1][:20])
    if not HARDNESS_LOW <= value <= HARDNESS_HIGH:
        raise QuantityError(f"{_shown(text)} is out of range", f"hardness is {limits}")
    return value


def rpm(text: str) -> float:
    """Turns a minute: `2400` or `2400 rpm`. Raises QuantityError."""
    clean = _clean(text, "a speed of rotation", "write it like 2400 rpm")
    return number(re.sub(r"\s*rpm$", "", clean, flags=re.IGNORECASE), RPM_LOW, RPM_HIGH)


def torque(text: str) -> float:
    """A torque in N m: `40 g cm`, `4 mN m`, `0.4 N cm`, `0.5 oz in`. Raises QuantityError."""
    right = "write it like 40 g cm or 4 mN m, from 0.00001 to 1 N m"
    clean = _clean(text, "a torque", right)
    found = re.fullmatch(r"(\S*\d)\s*(\D+)", clean, re.ASCII)
    if not found:
        raise _refusal(clean, "a torque", right)
    unit = " ".join(re.split(r"[\s.·]+", found[2].lower().strip()))
    unit = {"gcm": "g cm", "gfcm": "gf cm", "mnm": "mn m", "ncm": "n cm", "nm": "n m"}.get(unit, unit)
    if unit not in _NM_PER:
        raise QuantityError(f"{_shown(found[2])} is not a unit of torque", right)
    if not _DECIMAL.fullmatch(found[1]):
        raise _refusal(found[1], "a torque", right)
    value = float(found[1][:20]) * _NM_PER[unit]
    if not 1e-5 <= value <= 1.0:
        raise QuantityError(f"{_shown(text)} is out of range", right)
    return value


def pull(text: str) -> Pull:
    """The load on a belt: a torque, and at which shaft it is measured: `40 g cm at take-up`.

    Raises QuantityError.
    """
    written, _, at = _clean(text, "a pull", "write it like 40 g cm at take-up").partition(" at ")
    return Pull(torque(written), at.strip())


def speed_cm_s(text: str) -> float:
    """A tape speed in cm/s: `4.76 cm/s`, `47.6 mm/s` or `1 7/8 in/s`. Raises QuantityError."""
    right = "write it like 4.76 cm/s, from 1 to 80 cm/s"
    clean = _clean(text, "a speed", right)
    if not re.search(r"\s*/\s*s(ec)?$", clean):
        raise _refusal(clean, "a speed", right)
    return length(re.sub(r"\s*/\s*s(ec)?$", "", clean), low_mm=10.0, high_mm=800.0).mm / 10


@lru_cache(maxsize=1024)
def compare_rule(text: str) -> Rule:
    """How sizes of a kind are compared: `same`, `0.1 mm`, `2 %` or `at least`. Raises QuantityError.

    A kind has few rules, and each is asked for with every two of its parts: they are remembered.
    """
    right = "write same, at least, a length like 0.1 mm, or a percentage like 2 %"
    clean = _clean(text, "a rule for comparing sizes", right)
    folded = " ".join(clean.lower().split())
    if folded == "same":
        return Rule("same")
    if folded == "at least":
        return Rule("at least")
    if not clean[0].isdigit():
        raise QuantityError(f"{_shown(text)} is not a rule for comparing sizes", right)
    if clean.endswith("%"):
        return Rule("relative", percent(clean, high=0.5))
    return Rule("absolute", length(clean, low_mm=0.0001, high_mm=100.0).mm)


def within(wanted_mm: float, offered_mm: float, rule: Rule) -> bool:
    """Whether the two sizes in mm agree by the rule; `at least` asks that the offered one be no smaller.

    A slack of 1e-12 of the larger (relative) or 1e-9 mm keeps a size that lies on the bound inside it
    in spite of binary rounding. Symmetric, save for `at least`; false for anything not finite.
    """
    if not (math.isfinite(wanted_mm) and math.isfinite(offered_mm)):
        return False
    apart = abs(wanted_mm - offered_mm)
    match rule.how:
        case "same":
            return apart <= 1e-9
        case "absolute":
            return apart <= rule.bound + 1e-9
        case "relative":
            return apart <= (rule.bound + 1e-12) * max(abs(wanted_mm), abs(offered_mm))
        case "at least":
            return offered_mm >= wanted_mm - 1e-9


def _clean(text: str, thing: str, right: str) -> str:
    """The text stripped, no-break spaces read as spaces; refused when empty, long or not plain."""
    clean = text.replace("\N{NO-BREAK SPACE}", " ").replace("\N{NARROW NO-BREAK SPACE}", " ").strip()
    clean = clean.replace("\N{MINUS SIGN}", "-")
    if not clean:
        raise QuantityError(f"{thing} is missing", right)
    if len(clean) > _LONGEST:
        raise QuantityError(f"{_shown(clean)} is too long for {thing}", right)
    if any(not c.isprintable() for c in clean):
        raise QuantityError(f"{_shown(clean)} holds a character that cannot be seen", right)
    if any(c.isdigit() and not c.isascii() for c in clean):
        ascii_text = "".join(str(int(c)) if c.isdecimal() else c for c in clean)
        digits = "only the digits 0 to 9 are read"
        mend = f"write {ascii_text}" if ascii_text.isascii() else right
        raise QuantityError(f"{_shown(clean)} has digits of another script; {digits}", mend)
    return clean


def _length_value(text: str, limits: str, *, signed: bool) -> float:
    """The one length in `text`, in mm, or a QuantityError that says what is wrong with it."""
    right = f"write it like 262 mm, {limits}"
    found = _VALUE.fullmatch(text)
    if not found or "," in text or _EXPONENT.search(text):
        raise _refusal(text, "a length", right)
    if found["sign"] == "-" and not signed:
        raise QuantityError(f"{_shown(text)} is negative", f"a length here is {limits}")
    top, bottom = _ratio(found, text)
    up, down = _unit(found["unit"], text, inches_meant=found["bottom"] is not None)
    if found["bottom"] and up != 254:
        raise QuantityError(
            f"{_shown(text)}: fractions are read in inches only", "write the length with a point"
        )
    sign = -1.0 if found["sign"] == "-" else 1.0
    # One division of whole numbers: the nearest double to the exact length, with no rounding before it.
    return sign * ((top * up) / (bottom * down)) + 0.0


def _ratio(found: re.Match[str], text: str) -> tuple[int, int]:
    """The number written, as a ratio of whole numbers."""
    if found["plain"]:
        whole, _, decimals = found["plain"].partition(".")
        if len(whole) > 12 or len(decimals) > 17:
            raise QuantityError(f"{_shown(text)} has too many digits", "write no more than can be measured")
        return int(whole + decimals), int(10 ** len(decimals))
    top, bottom, whole = found["top"], found["bottom"], found["whole"] or "0"
    if max(len(top), len(bottom), len(whole)) > 5:
        raise QuantityError(f"{_shown(text)} has too many digits", "write a fraction like 3 1/4 in")
    if int(bottom) == 0:
        raise QuantityError(f"{_shown(text)} divides by nothing", "write a fraction like 3 1/4 in")
    if found["whole"] and int(top) >= int(bottom):
        raise QuantityError(f"{_shown(text)}: the fraction is one or more", "write it like 3 1/4 in")
    return int(whole) * int(bottom) + int(top), int(bottom)


def _unit(unit: str, text: str, *, inches_meant: bool) -> tuple[int, int]:
    """How many mm the unit is, as a ratio; the refusal names what was probably meant."""
    words = re.findall(r'"|[^\s"]+', unit.lower())
    if not words:
        meant = "in" if inches_meant else "mm"
        raise QuantityError(f"{_shown(text)} has no unit", f"did you mean {text} {meant}?")
    if len(words) > 1 and all(word in _MM_PER for word in words):
        raise QuantityError(f"{_shown(text)} has two units", f"write one of {_LENGTH_UNITS}")
    if len(words) > 1 or words[0] not in _MM_PER:
        raise QuantityError(
            f"{_shown(unit.strip())} in {_shown(text)} is not a unit of length", f"use {_LENGTH_UNITS}"
        )
    return _MM_PER[words[0]]


def _unit_of(text: str) -> str:
    """The unit at the end of a tolerance when it is a unit of length, else nothing."""
    found = _VALUE.fullmatch(text)
    unit = found["unit"].strip() if found else ""
    return unit if unit.lower() in _MM_PER else ""


def _slack(text: str | None, value: float, limits: str) -> float:
    """The tolerance in mm; it must be smaller than the length that it belongs to."""
    if text is None:
        return 0.0
    if text.endswith("%"):
        slack = percent(text, high=0.5) * abs(value)
    else:
        slack = _length_value(text, limits, signed=False)
    if not slack < max(abs(value), 1e-9):
        raise QuantityError(
            f"the tolerance {_shown(text)} is as large as the length", "write it like 262 +- 2 mm"
        )
    return slack


def _section_sizes(text: str) -> list[Length]:
    """The sizes in `4 mm x 0.5 mm` or `4 x 0.5 mm`; a unit at the end is said for all."""
    parts = [part.strip() for part in re.split(r"[x×X]", text)]
    last = _PLUS_MINUS.split(_ABOUT.sub("", parts[-1], count=1))[-1].strip()
    unit = _unit_of(last)
    whole = [f"{part} {unit}" if unit and part[-1:].isdigit() else part for part in parts]
    return [length(part, low_mm=SECTION_LOW_MM, high_mm=SECTION_HIGH_MM) for part in whole]


def _refusal(text: str, thing: str, right: str) -> QuantityError:
    """Why a text that is not a plain quantity is refused: the first of the known reasons that holds."""
    if comma := _COMMA.search(text):
        point = f"{text[: comma.start()]}{comma[1]}.{comma[2]}{text[comma.end() :]}"
        joined = f"{text[: comma.start()]}{comma[1]}{comma[2]}{text[comma.end() :]}"
        both = f"write {joined} or {point}" if len(comma[2]) == 3 and comma[1] != "0" else f"write {point}"
        return QuantityError(f"{_shown(text)}: a comma can be read two ways", both)
    if _NOT_FINITE.match(text):
        return QuantityError(f"{_shown(text)} is not a number that can be measured", right)
    if _EXPONENT.search(text):
        return QuantityError(f"{_shown(text)} is in exponent form", f"write the digits out; {right}")
    return QuantityError(f"{_shown(text)} cannot be read as {thing}", right)


def _over_hundred(value: float) -> float:
    """A percentage as a fraction of one."""
    return value / 100


def _listed(words: list[str]) -> str:
    """`a, b or c`."""
    return f"{', '.join(words[:-1])} or {words[-1]}"


def _plain(value: float) -> str:
    """A bound as a reader would write it: no exponent, no trailing noise."""
    return f"{value:.6f}".rstrip("0").rstrip(".")


def _shown(text: str) -> str:
    """The text as quoted in a message: short, and with unseen characters made visible."""
    short = text if len(text) <= 40 else f"{text[:37]}..."
    return "'" + "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in short) + "'"
