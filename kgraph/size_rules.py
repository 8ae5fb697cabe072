"""How two sizes of a kind are compared, and whether one does for the other."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Literal, NamedTuple

from kgraph.quantities import QuantityError, cleaned, length, percent, shown_shortly


class Rule(NamedTuple):
    """When sizes compare as equal; `bound` is in mm, or a fraction of the larger size.

    `same`: the same number. `absolute`, `relative`: no further apart than the bound. `at least`: the
    offered size is no less than the wanted one.
    """

    how: Literal["same", "absolute", "relative", "at least"]
    bound: float = 0.0


@lru_cache(maxsize=1024)
def compare_rule(text: str) -> Rule:
    """How sizes of a kind are compared: `same`, `0.1 mm`, `2 %` or `at least`. Raises QuantityError.

    A kind has few rules, and each is asked for with every two of its parts: they are remembered.
    """
    right = "write same, at least, a length like 0.1 mm, or a percentage like 2 %"
    clean = cleaned(text, "a rule for comparing sizes", right)
    folded = " ".join(clean.lower().split())
    if folded == "same":
        return Rule("same")
    if folded == "at least":
        return Rule("at least")
    if not clean[0].isdigit():
        raise QuantityError(f"{shown_shortly(text)} is not a rule for comparing sizes", right)
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
