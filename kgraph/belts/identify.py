"""Which recorded belt a measured one can be: Bayes over the recorded belts and `none of these`.

Every recorded belt of the same form of section, and `none of these`, start with equal weight. Each size
of the section is normal about the recorded one; so is the length, but a worn belt has grown by 0 to 8 %,
any growth as likely as another (common practice, no source). For none of these every section from 0.5 to
8 mm and every length from 50 to 1000 mm is as likely as another.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kgraph.belt_sizes import Section

SECTION_RANGE_MM = (0.5, 8.0)
LENGTH_RANGE_MM = (50.0, 1000.0)
GROWTH = 0.08
SECTION_ERROR_MM = 0.1
LENGTH_ERROR = 0.01

_ROOT_TWO = math.sqrt(2.0)
_LOG_ROOT_TWO_PI = 0.5 * math.log(2 * math.pi)


class MeasureError(ValueError):
    """A measurement that the sum cannot use; the text says why, and which range is allowed."""


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """A recorded belt: its key, its section, and its inside length at rest in mm.

    Where the record itself states an error (`length_error_mm`, `section.error_mm`), it adds to that of the
    measurement, the two being independent.
    """

    key: str
    section: Section
    inside_length_mm: float
    length_error_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Measured:
    """A belt in the hand: section and inside length, the standard errors of both, and whether it is worn.

    `about` names which of `section` and `inside length` were said to be about.
    """

    section: Section
    length_mm: float
    section_error_mm: float
    length_error_mm: float
    worn: bool = False
    about: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class BeltCandidate:
    """A recorded belt, or none of these (`key` is None), and how likely it is."""

    key: str | None
    probability: float


def measured(
    section: Section,
    length_mm: float,
    *,
    section_error_mm: float | None = None,
    length_error: float = LENGTH_ERROR,
    length_error_mm: float | None = None,
    worn: bool = False,
    about: tuple[str, ...] = (),
) -> Measured:
    """A measurement; the error of its length is a fraction of it, or `length_error_mm` when that is given.

    Without `section_error_mm`, that of the section holds where it states one, else 0.1 mm.

    Raises MeasureError for sizes and errors outside the ranges that the sum is defined over.
    """
    error = length_error * length_mm if length_error_mm is None else length_error_mm
    if section_error_mm is None:
        section_error_mm = section.error_mm or SECTION_ERROR_MM
    made = Measured(section, length_mm, section_error_mm, error, worn, about)
    _check(made)
    return made


def candidates(seen: Measured, hypotheses: Sequence[Hypothesis]) -> list[BeltCandidate]:
    """The recorded belts of that form of section and `none of these`, the likeliest first; they sum to 1.

    Raises MeasureError for a measurement or a recorded belt that cannot be.
    """
    _check(seen)
    usable = [h for h in hypotheses if h.section.form == seen.section.form]
    for each in usable:
        if not (_positive(each.inside_length_mm) and all(map(_positive, each.section.sizes_mm))):
            raise MeasureError(f"{each.key}: a recorded belt has sizes above 0 mm")
    logs = [_log_likelihood(seen, each) for each in usable] + [_log_none(seen)]
    # The largest is taken out before exponentials are formed, so that none overflows and one is exactly 1.
    top = max(logs)
    weights = [math.exp(value - top) for value in logs]
    total = math.fsum(weights)
    keys = [*(h.key for h in usable), None]
    found = [BeltCandidate(key, weight / total) for key, weight in zip(keys, weights, strict=True)]
    return sorted(found, key=lambda c: (-c.probability, c.key is None, c.key or ""))


def _check(seen: Measured) -> None:
    """Refuse what lies outside the ranges over which `none of these` is spread."""
    low, high = SECTION_RANGE_MM
    if not all(low <= size <= high for size in seen.section.sizes_mm):
        raise MeasureError(
            f"a section of {seen.section.sizes_mm} mm; each size must be {low:g} to {high:g} mm"
        )
    low, high = LENGTH_RANGE_MM
    if not low <= seen.length_mm <= high:
        raise MeasureError(f"an inside length of {seen.length_mm:g} mm; it must be {low:g} to {high:g} mm")
    if not 1e-3 <= seen.section_error_mm <= 5:
        raise MeasureError(f"a section error of {seen.section_error_mm:g} mm; it must be 0.001 to 5 mm")
    if not 1e-3 <= seen.length_error_mm <= 500:
        raise MeasureError(f"a length error of {seen.length_error_mm:g} mm; it must be 0.001 to 500 mm")


def _positive(value: float) -> bool:
    """A finite number above nought."""
    return math.isfinite(value) and value > 0


def _log_likelihood(seen: Measured, belt: Hypothesis) -> float:
    """The log of how likely this measurement is if the belt is that one."""
    error = math.hypot(seen.section_error_mm, belt.section.error_mm)
    sizes = math.fsum(
        log_normal(size, mean, error)
        for size, mean in zip(seen.section.sizes_mm, belt.section.sizes_mm, strict=True)
    )
    length = log_worn if seen.worn else log_normal
    error = math.hypot(seen.length_error_mm, belt.length_error_mm)
    return sizes + length(seen.length_mm, belt.inside_length_mm, error)


def _log_none(seen: Measured) -> float:
    """The log of how likely the measurement is for a belt that is not recorded."""
    low, high = SECTION_RANGE_MM
    sizes = len(seen.section.sizes_mm) * math.log(high - low)
    return -sizes - math.log(LENGTH_RANGE_MM[1] - LENGTH_RANGE_MM[0])


def log_normal(value: float, mean: float, error: float) -> float:
    """The log of the normal density."""
    return -0.5 * ((value - mean) / error) ** 2 - math.log(error) - _LOG_ROOT_TWO_PI


def log_worn(value: float, rest: float, error: float) -> float:
    """The log of the density of a length that has grown by anything from 0 to 8 %, then been misread.

    That is [Φ((m - L)/e) - Φ((m - 1.08 L)/e)] / 0.08 L.
    """
    grown = GROWTH * rest
    upper, lower = (value - rest) / error, (value - rest - grown) / error
    if grown / error < 1e-6:
        # The growth is lost in the error: the mean of the density over it is the density in its middle.
        return log_normal(value, rest + grown / 2, error)
    return _log_between(lower, upper) - math.log(grown)


def _log_between(lower: float, upper: float) -> float:
    """The log of Φ(upper) - Φ(lower), exact far out in either tail too."""
    if lower + upper < 0:
        # The curve is symmetric; in the right-hand tail the complement keeps its digits.
        lower, upper = -upper, -lower
    if lower <= 0:
        return math.log(0.5 * (math.erf(upper / _ROOT_TWO) - math.erf(lower / _ROOT_TWO)))
    near, far = _log_erfc(lower / _ROOT_TWO), _log_erfc(upper / _ROOT_TWO)
    return math.log(0.5) + near + math.log(-math.expm1(far - near))


def _log_erfc(x: float) -> float:
    """The log of erfc(x) for x ≥ 0; far out, by its asymptotic series (erfc itself would underflow)."""
    if x < 20:
        return math.log(math.erfc(x))
    inverse = 1 / (2 * x * x)
    return -x * x - math.log(x * math.sqrt(math.pi)) + math.log1p(-inverse + 3 * inverse**2 - 15 * inverse**3)
