"""What makes two names one name, and which known names are near a misspelt one."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import NamedTuple

LONGEST = 200
"""The most characters that a name may have."""

# Characters that cannot be seen and only say how others join: taken out before folding, so
# that a name copied from a page is the name that was typed.
_INVISIBLE = dict.fromkeys((0x00AD, 0x200B, 0x200C, 0x200D, 0x2060, 0xFEFF))
_FRACTION_SLASH = {0x2044: "/"}
_SIMPLE = re.compile(r"[a-z0-9+]*\Z")
_DROPPED = re.compile(r"[^a-z0-9+]+")


class Name(NamedTuple):
    """A name as somebody wrote it (`text`) and what it is compared by (`key`)."""

    text: str
    key: str

    def __str__(self) -> str:
        return self.text


@lru_cache(maxsize=65536)
def fold(text: str) -> str:
    """The key that equal names share; empty if the text has neither letter nor digit.

    Unicode NFKC and case folding; then only letters, digits and `+` stay. Between two
    digits a single `.` or `,` stays (as `.`), a single `/` stays, and any other run of
    dropped characters leaves one `-`.

    >>> fold("LK-40") == fold("lk 40") == fold("LK40")
    True
    >>> fold("1.25"), fold("12.5"), fold("K-11-4"), fold("K-1-14")
    ('1.25', '12.5', 'k11-4', 'k1-14')
    """
    if _SIMPLE.match(text):
        return text if any(c != "+" for c in text) else ""
    if text.isascii():
        key = _DROPPED.sub(_left_between, text.lower())
        return key if any(c != "+" for c in key) else ""
    plain = unicodedata.normalize("NFKC", text.translate(_INVISIBLE)).casefold()
    plain = unicodedata.normalize("NFKC", plain).translate(_FRACTION_SLASH)
    out: list[str] = []
    run = ""
    for char in plain:
        if not (char.isalnum() or char == "+"):
            run += char
            continue
        if run and out and out[-1].isdigit() and char.isdigit():
            out.append({".": ".", ",": ".", "/": "/"}.get(run, "-"))
        run = ""
        out.append(char)
    key = "".join(out)
    if not unicodedata.is_normalized("NFKC", key):
        # What was dropped stood between letters that are one where they meet, as a syllable and its end are.
        return fold(key)
    return key if any(c.isalnum() for c in key) else ""


def compared(text: str) -> str:
    """What a text that need be no name is compared by: its key; itself without a letter or digit."""
    return fold(text) or text


def _left_between(run: re.Match[str]) -> str:
    """What stays of dropped characters: something between two digits alone."""
    text, before, after = run.string, run.start() - 1, run.end()
    if before < 0 or after == len(text) or not (text[before].isdigit() and text[after].isdigit()):
        return ""
    return {".": ".", ",": ".", "/": "/"}.get(run[0], "-")


@lru_cache(maxsize=65536)
def name(text: str) -> Name:
    """A :class:`Name` for a text; its key is empty where the text cannot name anything."""
    return Name(text, fold(text))


LEAST_PREFIX = 4
"""The fewest characters of a name's beginning that are taken for the name."""
MOST_APART = 4
"""So many slips at most make one name of another, however long it is."""


def nearest(text: str, known: Iterable[str], most: int = 3) -> list[str]:
    """The known names that a misspelt one most likely means, best first; may be empty.

    One is near that is a third of its letters away at most, by slips of the hand, or that has the text as
    words of it or for its beginning. No guess is better than a wrong one.
    """
    by_key: dict[str, str] = {}
    for candidate in known:
        by_key.setdefault(fold(candidate), candidate)
    key = fold(text)
    slips = {k: n for k in by_key if (n := _slips(key, k)) is not None}
    close = sorted(slips, key=lambda k: (slips[k], not k.startswith(key), k))
    inside = sorted(
        (k for k in by_key if k not in slips and _holds(by_key[k], k, key)), key=lambda k: (len(k), k)
    )
    return [by_key[k] for k in [*close, *inside][:most]]


def _slips(one: str, other: str) -> int | None:
    """How many slips make one key of another; None where they are too many to be slips.

    A slip is a letter too many, too few, another one, or two that changed places: the distance
    of Damerau (1964) in its restricted form, in which no letter is touched twice.
    """
    most = min(max(len(one), len(other)) // 3, MOST_APART)
    if not most or abs(len(one) - len(other)) > most or (Counter(one) - Counter(other)).total() > most:
        return None
    before, row = [0] * (len(other) + 1), list(range(len(other) + 1))
    for i, a in enumerate(one, 1):
        earlier, before, row = before, row, [i]
        for j, b in enumerate(other, 1):
            cost = min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (a != b))
            if i > 1 and j > 1 and a == other[j - 2] and b == one[i - 2]:
                cost = min(cost, earlier[j - 2] + 1)
            row.append(cost)
    return row[-1] if row[-1] <= most else None


def _holds(name: str, its_key: str, key: str) -> bool:
    """Whether a name has the key as some of its words, one after another, or for its beginning."""
    if not key or key not in its_key:
        return False
    if len(key) >= LEAST_PREFIX and its_key.startswith(key):
        return True
    each = name.split()
    return any(
        fold(" ".join(each[i:j])) == key for i in range(len(each)) for j in range(i + 1, len(each) + 1)
    )


def did_you_mean(text: str, known: Iterable[str]) -> str:
    """A phrase for the end of an error message, or "" where nothing is near."""
    near = nearest(text, known)
    return f"did you mean {' or '.join(near)}?" if near else ""


def listed(names: Sequence[str], most: int, between: str = ", ") -> str:
    """The first names, and how many more there are.

    >>> listed(["a", "b", "c"], 2), listed(["a", "b"], 2)
    ('a, b and 1 more', 'a, b')
    """
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return between.join(names[:most]) + more


def natural(text: str) -> tuple[tuple[int, int, str], ...]:
    """What to sort names by so that U-2 comes before U-10: runs of digits by their value."""
    pieces = re.findall(r"[0-9]+|[^0-9]+", text.casefold())
    return tuple((0, int(p), p) if p[0] in "0123456789" else (1, 0, p) for p in pieces)
