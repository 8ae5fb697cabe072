"""A belt as sellers and owners write it: `1.2 sq x 75 dia`, `70 x 5 flat`, `ca. 240mm`.

What each size most likely is, is common practice, no source: of a belt the largest size is the one round it,
and without a word it is a diameter up to 120 mm and a length from 200 mm on; between them nobody can tell.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from kgraph.belt_sizes import BELT_MEASURES, inside_length, section
from kgraph.quantities import QuantityError, length

MOST_DIAMETER_MM, LEAST_LENGTH_MM = 120.0, 200.0
MOST_WORDS = 80

_ABOUT = re.compile(r"(?:about|approx\.?|circa|ca\.?(?=[\s\d])|~)\s*", re.IGNORECASE)
_TOKEN = re.compile(
    r'\s*(?:(?P<number>\d+(?:[.,]\d+)?)|(?P<times>[x×*](?![a-z]))|(?P<word>"|[øØ⌀]|[a-z./-]+))', re.IGNORECASE
)
_FORMS = {"sq": "square", "square": "square", "flat": "flat", "round": "round", "rd": "round"}
_UNITS = {"mm": "mm", "cm": "cm", "in": "in", "inch": "in", "inches": "in", '"': "in"}
_MEASURES = {
    **dict.fromkeys(("ø", "⌀", "dia", "diam", "diameter", "i/d", "id", "i.d"), "inside diameter"),
    **dict.fromkeys(("circ", "circumference", "long", "length", "round it"), "inside length"),
    **dict.fromkeys(("folded", "layflat", "lay-flat", "doubled"), "folded"),
}
_IDLE = {"belt", "drive", "inside", "int", "internal", "of", "wide", "thick"}


@dataclass(frozen=True, slots=True)
class Described:
    """The sizes that a text gives a belt, as keys of a part.

    `whole`: section and length are both said, so that the text can be the name of an article; `says`: what
    was understood; `size`: the size round it, in words.
    """

    pairs: tuple[tuple[str, str], ...]
    whole: bool
    says: str
    size: str


@dataclass(frozen=True, slots=True)
class _Size:
    number: str
    words: tuple[str, ...]

    def text(self, unit: str, about: str) -> str:
        own = next((_UNITS[w] for w in self.words if w in _UNITS), unit)
        return f"{about}{self.number} {own}"


def described(text: str) -> Described | None:
    """The belt that a text describes, None where it is a name; raises QuantityError where nobody can tell."""
    found = _ABOUT.match(text.strip())
    about = "about " if found else ""
    sizes = _sizes(text.strip()[found.end() :] if found else text.strip(), bool(found))
    if sizes is None:
        return None
    words = [w for size in sizes for w in size.words]
    form = next((_FORMS[w] for w in words if w in _FORMS), "flat" if len(sizes) == 3 else "")
    unit = next((_UNITS[w] for w in reversed(words) if w in _UNITS), "mm")
    if len(sizes) == 1 and not (about or words):
        if len(sizes[0].number) > 3:
            return None
        raise QuantityError(f"{text!r} can be a number of a part or a size", "write 240 mm for a size")
    around = max(sizes, key=lambda s: length(s.text(unit, "")).mm)
    measure = _measure(text, around, unit)
    rest = [s for s in sizes if s is not around]
    pairs = [*_section(text, form, rest, unit, about), (measure, around.text(unit, about))]
    inside_length(pairs[-1][1], measure)
    whole = pairs[0][0] == "section"
    missing = "" if whole else "; the section is not said" if not rest else "; the thickness is not said"
    said = ", ".join(f"{key} {value}" for key, value in pairs)
    return Described(tuple(pairs), whole, f"{said}{missing}", pairs[-1][1])


def _sizes(text: str, about: bool) -> list[_Size] | None:
    """The sizes with the words at each; None where the text is no description. Raises QuantityError."""
    parts: list[list[str]] = [[]]
    at = 0
    text = text.rstrip(" .")
    while at < len(text):
        found = _TOKEN.match(text, at)
        if found is None or len(text) > MOST_WORDS:
            return None
        at = found.end()
        if found["times"]:
            parts.append([])
        else:
            parts[-1].append((found["number"] or found["word"].rstrip(".")).lower())
    words = [w for part in parts for w in part if not w[:1].isdigit()]
    numbers = [[w for w in part if w[:1].isdigit()] for part in parts]
    known = _FORMS.keys() | _UNITS.keys() | _MEASURES.keys() | _IDLE
    measured = about or any(w in _UNITS or w in _MEASURES or w in _FORMS for w in words)
    if any(len(found) != 1 for found in numbers) or len(parts) > 3 or any(w not in known for w in words):
        sized = [w for w in words if w in _UNITS or w in _MEASURES]
        if about or (sized and any(numbers)):
            raise QuantityError(
                f"{text!r} is no size of a belt that can be read", "write it like 1.2 sq x 75 dia"
            )
        return None
    if len(parts) > 1 and not measured and not all("." in n[0] or len(n[0]) < 4 for n in numbers):
        return None
    if comma := next((n[0] for n in numbers if "," in n[0]), ""):
        raise QuantityError(f"{text!r}: a comma can be read two ways", f"write {comma.replace(',', '.')}")
    return [
        _Size(n[0], tuple(w for w in part if not w[:1].isdigit()))
        for n, part in zip(numbers, parts, strict=True)
    ]


def _measure(text: str, around: _Size, unit: str) -> str:
    """Which of the ways to measure a belt the size round it is."""
    if said := next((_MEASURES[w] for w in around.words if w in _MEASURES), ""):
        return said
    mm = length(around.text(unit, "")).mm
    if MOST_DIAMETER_MM < mm < LEAST_LENGTH_MM:
        ways = ", ".join(BELT_MEASURES)
        raise QuantityError(f"{text!r} does not say which size {around.text(unit, '')} is", f"say {ways}")
    return "inside diameter" if mm <= MOST_DIAMETER_MM else "inside length"


def _section(text: str, form: str, sizes: list[_Size], unit: str, about: str) -> list[tuple[str, str]]:
    if not sizes:
        return []
    written = [s.text(unit, about) for s in sizes]
    if not form:
        right = "write it like 1.2 sq x 75 dia, 1.2 round x 75 dia or 5 x 0.6 x 70 flat"
        raise QuantityError(f"{text!r} does not say which form the section has", right)
    if form == "flat" and len(sizes) == 1:
        length(written[0])
        return [("width", written[0])]
    section(f"{form} {' x '.join(written)}")
    return [("section", f"{form} {' x '.join(written)}")]
