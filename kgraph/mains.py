"""Values of `mains` as sets record them, compared by volts and hertz; and names that speak of mains.

Nominal voltages are not taken for one another: 220, 230 and 240 V are three values, though IEC 60038 made one
of them later, for a transformer wound for one runs hot or weak on another (common practice, no source).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from kgraph.names import compared

ATTRIBUTE = "mains"
"""The key of the attribute that is compared by volts and hertz; every other one is as folded text."""
CAUTION = "mains"
"""The caution of every place on the mains side."""
OPENING = (CAUTION, "charged capacitors")
"""Cautions of opening any set that runs on the mains."""
USUAL_HERTZ = (50, 60)
"""What a value that names no frequency may mean: public supplies are of 50 or 60 Hz (IEC 60038)."""
LOW_V, HIGH_V = 90.0, 480.0
"""What a number must lie in to be the voltage of a public supply: from below 100 V (Japan) to above 400 V."""
LONGEST = 80
"""A longer text is no value of mains but a remark."""


class Mains(NamedTuple):
    """What a text says of the mains: the volts as spans (low, high), and the hertz, if any are said."""

    volts: tuple[tuple[float, float], ...]
    hertz: tuple[float, ...] = ()


_NUMBER = r"\d{1,3}(?:\.\d+)?"
_VOLT, _HERTZ = r"(?:v(?:olts?)?)", r"(?:hz|hertz|c/?s|cycles?|cps)"
_DASH = r"(?:-|–|—|\.\.\.?|…|to)"
_SPAN = rf"{_NUMBER}\s*{_VOLT}?(?:\s*{_DASH}\s*{_NUMBER})?\s*{_VOLT}?"
_OR = r"\s*(?:/|,|;|\||&|\bor\b|\band\b)\s*"
_WHOLE = (
    rf"(?:mains|ac|a\.c\.|~)?[\s:]*(?P<volts>{_SPAN}(?:{_OR}{_SPAN})*?)\s*(?:a\.?c\.?|~|≈)?"
    rf"(?:[\s,;/@]*(?:at\s+)?(?P<hertz>{_NUMBER}\s*{_HERTZ}?"
    rf"(?:(?:{_OR}|\s*{_DASH}\s*){_NUMBER}\s*{_HERTZ}?)*?\s*{_HERTZ}|[56]0))?"
    rf"\s*(?:a\.?c\.?|~)?(?:[\s,;]*{_NUMBER}\s*(?:w(?:atts?)?|va))?\s*\.?"
)


def parse(text: str) -> Mains | None:
    """The volts and hertz of a text such as `240 V 50 Hz`, `110/220 V~`, `220-240 V, 50/60 Hz` or `220`.

    None for whatever reads otherwise: nothing is guessed.
    """
    plain = " ".join(unicodedata.normalize("NFKC", text).casefold().split())
    found = re.fullmatch(_WHOLE, plain, re.ASCII) if len(plain) <= LONGEST else None
    if found is None:
        return None
    volts = tuple(span for one in re.split(_OR, found["volts"]) if (span := _span(one)))
    hertz = tuple(sorted({float(n) for n in re.findall(_NUMBER, found["hertz"] or "", re.ASCII)}))
    if not volts or not all(LOW_V <= low <= high <= HIGH_V for low, high in volts):
        return None
    return Mains(tuple(sorted(set(volts))), hertz)


def _span(text: str) -> tuple[float, float] | None:
    numbers = [float(n) for n in re.findall(_NUMBER, text, re.ASCII)]
    return (min(numbers), max(numbers)) if numbers else None


def keys(attribute: str, text: str) -> frozenset[str]:
    """What a value of an attribute is compared by: two values agree where they share a key.

    Of mains each voltage, to the whole volt, with each frequency; of all else the folded text.
    """
    read = parse(text) if compared(attribute) == ATTRIBUTE else None
    if read is None:
        return frozenset((compared(text),))
    volts = {v for low, high in read.volts for v in range(round(low), round(high) + 1)}
    return frozenset(f"{v} V {h:g} Hz" for v in volts for h in read.hertz or USUAL_HERTZ)


def doubt(attribute: str, one: Sequence[str], other: Sequence[str]) -> str:
    """What is to be checked of values that agree: voltages that only overlap, a frequency that one lacks."""
    if compared(attribute) != ATTRIBUTE:
        return ""
    both = [[read for text in texts if (read := parse(text))] for texts in (one, other)]
    if not all(both):
        return ""
    volts, hertz = ([_all(part, of) for of in both] for part in (0, 1))
    if volts[0] != volts[1]:
        return "the voltages only overlap"
    return "the frequency is said of one of them alone" if bool(hertz[0]) != bool(hertz[1]) else ""


def _all(part: int, found: Iterable[Mains]) -> set[object]:
    return {value for one in found for value in one[part]}


_WORD = r"[^\W\d_]+"
_SPEAKS = (
    r"(?:(?:ac)?mains(?!pring|haft|crew|tay|peaker)|transformer|fuse|voltage|suppl(?:y|ie)|cord|plug)\w*"
    r"|\w*(?:transformers?|fuses?|voltages?|suppl(?:y|ies)|(?<!re)cords?|plugs?)"
)


def speaks_of_mains(text: str) -> bool:
    """Whether a word of a name is one of mains, transformer, fuse, voltage, supply, cord and plug.

    Inflected or joined to another word as well (fuses, fuseholder, MainsLead); a record head is none.
    """
    plain = re.sub(r"(?<=[^\W\d_A-Z])(?=[A-Z])", " ", unicodedata.normalize("NFKC", text))
    return any(re.fullmatch(_SPEAKS, word) for word in re.findall(_WORD, plain.casefold()))
