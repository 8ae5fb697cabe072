"""What a condition of a place means: whether anything is to be had there, and whether it says so plainly."""

from __future__ import annotations

import re

TAKEN = "taken"
SPOILT = frozenset(
    {"missing", "broken", "cracked", "snapped", "perished", "worn out", "altered", TAKEN},
)
"""Conditions in which a place gives nothing."""


def _plain(condition: str) -> str:
    return " ".join(condition.lower().split())


def is_missing(condition: str) -> bool:
    """Whether nothing is there, from the first or since."""
    return _plain(condition) in (TAKEN, "missing")


def is_spoilt(condition: str) -> bool:
    """Whether a condition is one in which a place gives nothing."""
    return " ".join(condition.lower().split()) in SPOILT


_AS_GOOD_AS_GONE = ("gone", "lost", "absent", "removed", "not there", "not present", "none", "no", "stolen")
"""Whole conditions that only sound as if nothing were there: a list of our own."""
_NEARLY = 0.8
"""How like a word of SPOILT one must be spelt to be taken for a slip of it: our own choice, no source."""


def sounds_spoilt(condition: str) -> bool:
    """Whether a condition that counts as whole sounds as if it were not: by a word, or by one misspelt."""
    from difflib import SequenceMatcher

    said = re.sub(r"[^a-z]", " ", condition.lower()).split()
    whole = f" {' '.join(said)} "
    if is_spoilt(condition):
        return False
    if any(f" {word} " in whole for word in SPOILT) or " ".join(said) in _AS_GOOD_AS_GONE:
        return True
    # Unbroken is whole.
    near = (w for w in said if not w.startswith("un"))
    return any(SequenceMatcher(None, w, s).ratio() > _NEARLY for w in near for s in SPOILT)
