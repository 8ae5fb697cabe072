"""Written quantities to numbers: lengths, sections, percentages, hardness, speed, torque, size rules.

Everything here takes the text as it was written and gives a number in one unit (mm, a fraction of one,
N m, cm/s, rpm), or raises :class:`QuantityError` saying what is wrong and what would be right.
Digits are ASCII; exponents, commas, NaN and infinities are refused, for each has a second reading
or no sensible one. No units library is used: one was weighed against its import time (some tenths of
a second for every command line) for the four units that a belt is measured in, and left out.
"""

from __future__ import annotations

import re
from typing import NamedTuple

# Wide enough for any part of a portable set, narrow enough to catch a slipped unit.
LENGTH_LOW_MM, LENGTH_HIGH_MM = 0.01, 2000.0
COORDINATE_MM = 1000.0
# What `about` says of a measure: three times the 1 % that a careful one is taken to be good to, and of a
# small one no less than twice the 0.1 mm that callipers on soft rubber are. Common practice, no source.
ABOUT_FRACTION, ABOUT_LEAST_MM = 0.03, 0.2
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

_VALUE = re.compile(
    r"(?P<sign>[+-]?)\s*(?:(?:(?P<whole>\d+)[ -]\s*)?(?P<top>\d+)\s*/\s*(?P<bottom>\d+)"
    r"|(?P<plain>\d+(?:\.\d+)?))"
    r"\s*(?P<unit>[^\d+]*)",
    re.ASCII,
)
PLUS_MINUS = re.compile(r"\+-|\+/-|±")
ABOUT = re.compile(r"(?:about\b|ca\.|~)\s*", re.IGNORECASE)
_EXPONENT = re.compile(r"\d\s*[eE][+-]?\d", re.ASCII)
_COMMA = re.compile(r"(\d+),(\d+)", re.ASCII)
DECIMAL = re.compile(r"[+-]?\d+(?:\.\d+)?", re.ASCII)
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


def length(text: str, *, low_mm: float = LENGTH_LOW_MM, high_mm: float = LENGTH_HIGH_MM) -> Length:
    """A length with its unit: `262 mm`, `10.3 cm`, `3 1/4 in`, `10 1/4"`, `about 262 mm`, `262 +- 2 mm`.

    The value must lie in `low_mm` to `high_mm`; a negative one is read only when `low_mm` is below zero.
    Raises QuantityError.
    """
    limits = f"from {plain_number(low_mm)} to {plain_number(high_mm)} mm"
    clean = cleaned(text, "a length", f"write it like 262 mm, {limits}")
    about = ABOUT.match(clean)
    parts = PLUS_MINUS.split(clean[about.end() :] if about else clean)
    if len(parts) > 2:
        raise QuantityError(f"{shown_shortly(text)} has more than one tolerance", "write it like 262 +- 2 mm")
    main = parts[0].strip()
    slack = parts[1].strip() if len(parts) == 2 else None
    if slack is not None and DECIMAL.fullmatch(main) and (unit := unit_of(slack)):
        main = f"{main} {unit}"  # In `262 +- 2 mm` the unit at the end is said for both.
    value = _length_value(main, limits, signed=low_mm < 0)
    if not low_mm <= value <= high_mm:
        raise QuantityError(f"{shown_shortly(text)} is out of range", f"a length here is {limits}")
    error = _slack(slack, value, limits)
    if about and slack is None:
        error = max(ABOUT_FRACTION * abs(value), ABOUT_LEAST_MM)
    return Length(value, error, about is not None, text.strip())


def coordinate(text: str) -> Length:
    """A place along an axis, of either sign: `-12.5 mm`. Raises QuantityError."""
    return length(text, low_mm=-COORDINATE_MM, high_mm=COORDINATE_MM)


def number(text: str, low: float, high: float, *, above: bool = False) -> float:
    """A plain decimal in ASCII digits from `low` to `high` (with `above`, more than `low`).

    Refused: exponents, commas, underscores, hexadecimal, NaN, infinities, no text. Raises QuantityError.
    """
    limits = (
        f"{'above' if above else 'from'} {plain_number(low)} {'up ' if above else ''}to {plain_number(high)}"
    )
    clean = cleaned(text, "a number", f"write a number {limits}")
    if len(clean) > _LONGEST // 2 or not DECIMAL.fullmatch(clean):
        raise refusal(clean, "a number", f"write a plain number {limits}")
    value = float(clean)
    if not low <= value <= high or (above and value == low):
        raise QuantityError(f"{shown_shortly(text)} is out of range", f"it must be {limits}")
    return value


def percent(text: str, *, low: float = 0.0, high: float = 1.0) -> float:
    """A percentage as a fraction of one: `2 %` is 0.02. Raises QuantityError."""
    limits = f"from {plain_number(low * 100)} to {plain_number(high * 100)} %"
    clean = cleaned(text, "a percentage", f"write it like 2 %, {limits}")
    if not clean.endswith("%"):
        if DECIMAL.fullmatch(clean):
            raise QuantityError(f"{shown_shortly(text)} has no unit", f"did you mean {clean} %?")
        raise refusal(clean, "a percentage", f"write it like 2 %, {limits}")
    return _over_hundred(number(clean[:-1], low * 100, high * 100))


def percent_range(text: str, *, low: float = 0.0, high: float = 1.0) -> tuple[float, float]:
    """Two percentages as fractions of one, the smaller first: `4 % to 10 %` or `4 to 10 %`.

    Raises QuantityError, also when the first is not below the second.
    """
    right = "write it like 4 % to 10 %"
    parts = re.split(r"\s+to\s+", cleaned(text, "a range in percent", right))
    if len(parts) != 2:
        raise QuantityError(f"{shown_shortly(text)} is not a range in percent", right)
    first, second = (part if part.endswith("%") else f"{part} %" for part in parts)
    ends = percent(first, low=low, high=high), percent(second, low=low, high=high)
    if not ends[0] < ends[1]:
        raise QuantityError(
            f"{shown_shortly(text)} does not run upwards", "write the smaller percentage first"
        )
    return ends


def cleaned(text: str, thing: str, right: str) -> str:
    """The text stripped, no-break spaces read as spaces; refused when empty, long or not plain."""
    clean = text.replace("\N{NO-BREAK SPACE}", " ").replace("\N{NARROW NO-BREAK SPACE}", " ").strip()
    clean = clean.replace("\N{MINUS SIGN}", "-")
    if not clean:
        raise QuantityError(f"{thing} is missing", right)
    if len(clean) > _LONGEST:
        raise QuantityError(f"{shown_shortly(clean)} is too long for {thing}", right)
    if any(not c.isprintable() for c in clean):
        raise QuantityError(f"{shown_shortly(clean)} holds a character that cannot be seen", right)
    if any(c.isdigit() and not c.isascii() for c in clean):
        ascii_text = "".join(str(int(c)) if c.isdecimal() else c for c in clean)
        digits = "only the digits 0 to 9 are read"
        mend = f"write {ascii_text}" if ascii_text.isascii() else right
        raise QuantityError(f"{shown_shortly(clean)} has digits of another script; {digits}", mend)
    return clean


def _length_value(text: str, limits: str, *, signed: bool) -> float:
    """The one length in `text`, in mm, or a QuantityError that says what is wrong with it."""
    right = f"write it like 262 mm, {limits}"
    found = _VALUE.fullmatch(text)
    if not found or "," in text or _EXPONENT.search(text):
        raise refusal(text, "a length", right)
    if found["sign"] == "-" and not signed:
        raise QuantityError(f"{shown_shortly(text)} is negative", f"a length here is {limits}")
    top, bottom = _ratio(found, text)
    up, down = _unit(found["unit"], text, inches_meant=found["bottom"] is not None)
    if found["bottom"] and up != 254:
        raise QuantityError(
            f"{shown_shortly(text)}: fractions are read in inches only", "write the length with a point"
        )
    sign = -1.0 if found["sign"] == "-" else 1.0
    # One division of whole numbers: the nearest double to the exact length, with no rounding before it.
    return sign * ((top * up) / (bottom * down)) + 0.0


def _ratio(found: re.Match[str], text: str) -> tuple[int, int]:
    """The number written, as a ratio of whole numbers."""
    if found["plain"]:
        whole, _, decimals = found["plain"].partition(".")
        if len(whole) > 12 or len(decimals) > 17:
            raise QuantityError(
                f"{shown_shortly(text)} has too many digits", "write no more than can be measured"
            )
        return int(whole + decimals), int(10 ** len(decimals))
    top, bottom, whole = found["top"], found["bottom"], found["whole"] or "0"
    if max(len(top), len(bottom), len(whole)) > 5:
        raise QuantityError(f"{shown_shortly(text)} has too many digits", "write a fraction like 3 1/4 in")
    if int(bottom) == 0:
        raise QuantityError(f"{shown_shortly(text)} divides by nothing", "write a fraction like 3 1/4 in")
    if found["whole"] and int(top) >= int(bottom):
        raise QuantityError(f"{shown_shortly(text)}: the fraction is one or more", "write it like 3 1/4 in")
    return int(whole) * int(bottom) + int(top), int(bottom)


def _unit(unit: str, text: str, *, inches_meant: bool) -> tuple[int, int]:
    """How many mm the unit is, as a ratio; the refusal names what was probably meant."""
    words = re.findall(r'"|[^\s"]+', unit.lower())
    if not words:
        meant = "in" if inches_meant else "mm"
        raise QuantityError(f"{shown_shortly(text)} has no unit", f"did you mean {text} {meant}?")
    if len(words) > 1 and all(word in _MM_PER for word in words):
        raise QuantityError(f"{shown_shortly(text)} has two units", f"write one of {_LENGTH_UNITS}")
    if len(words) > 1 or words[0] not in _MM_PER:
        raise QuantityError(
            f"{shown_shortly(unit.strip())} in {shown_shortly(text)} is not a unit of length",
            f"use {_LENGTH_UNITS}",
        )
    return _MM_PER[words[0]]


def unit_of(text: str) -> str:
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
            f"the tolerance {shown_shortly(text)} is as large as the length", "write it like 262 +- 2 mm"
        )
    return slack


def refusal(text: str, thing: str, right: str) -> QuantityError:
    """Why a text that is not a plain quantity is refused: the first of the known reasons that holds."""
    if comma := _COMMA.search(text):
        point = f"{text[: comma.start()]}{comma[1]}.{comma[2]}{text[comma.end() :]}"
        joined = f"{text[: comma.start()]}{comma[1]}{comma[2]}{text[comma.end() :]}"
        both = f"write {joined} or {point}" if len(comma[2]) == 3 and comma[1] != "0" else f"write {point}"
        return QuantityError(f"{shown_shortly(text)}: a comma can be read two ways", both)
    if _NOT_FINITE.match(text):
        return QuantityError(f"{shown_shortly(text)} is not a number that can be measured", right)
    if _EXPONENT.search(text):
        return QuantityError(f"{shown_shortly(text)} is in exponent form", f"write the digits out; {right}")
    return QuantityError(f"{shown_shortly(text)} cannot be read as {thing}", right)


def _over_hundred(value: float) -> float:
    """A percentage as a fraction of one."""
    return value / 100


def listed(words: list[str]) -> str:
    """`a, b or c`."""
    return f"{', '.join(words[:-1])} or {words[-1]}"


def plain_number(value: float) -> str:
    """A bound as a reader would write it: no exponent, no trailing noise."""
    return f"{value:.6f}".rstrip("0").rstrip(".")


def shown_shortly(text: str) -> str:
    """The text as quoted in a message: short, and with unseen characters made visible."""
    short = text if len(text) <= 40 else f"{text[:37]}..."
    return "'" + "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in short) + "'"
