"""When two names are one name."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from kgraph.names import fold, nearest


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("LK-40", "lk40"),
        (" lk  40 ", "lk40"),
        ("1.25", "1.25"),
        ("1,25", "1.25"),
        ("12.5", "12.5"),
        ("1/2", "1/2"),
        ("1\u20442", "1/2"),
        ("\u00bd", "1/2"),
        ("1 . 2", "1-2"),
        ("K-11-4", "k11-4"),
        ("K-1-14", "k1-14"),
        ("C++", "c++"),
        ("\uff2c\uff2b \uff14\uff10", "lk40"),
        ("Stra\u00dfe", "strasse"),
        ("L\u200bK\u00ad40", "lk40"),
        ("+", ""),
        ("?!", ""),
        ("", ""),
        # A syllable of Hangul and a letter that ends one are one syllable where nothing is between.
        ("\uc934-\u11bc", "\uc949"),
    ],
)
def test_a_key(text: str, key: str) -> None:
    assert fold(text) == key


@given(st.text(max_size=40))
@example("\uc934../'\u11bc")
@example("\u1100\u200b\u1161")
def test_a_key_folds_to_itself(text: str) -> None:
    key = fold(text)
    assert fold(key) == key
    assert unicodedata.is_normalized("NFKC", key)


@given(st.text(max_size=40))
def test_how_a_text_is_composed_does_not_matter(text: str) -> None:
    assert fold(unicodedata.normalize("NFD", text)) == fold(unicodedata.normalize("NFC", text))


@pytest.mark.parametrize(
    ("text", "known", "near"),
    [
        ("airial", ["aerial", "axle"], ["aerial"]),
        ("tunning knob", ["tuning knob", "volume knob", "tone knob"], ["tuning knob"]),
        ("Orvanek 2020", ["Orvanek 2200", "Quillon 31"], ["Orvanek 2200"]),
        ("taker", ["take", "takers"], ["takers", "take"]),
        ("LK-40", ["Larkfield LK-40", "Orvanek 2200"], ["Larkfield LK-40"]),
        ("Orva", ["Larkfield LK-40", "Orvanek 2200"], ["Orvanek 2200"]),
        # Nothing of these is a slip of the hand: a wrong guess would lead astray.
        ("sure", ["fitted", "measured", "printed"], []),
        ("photo", ["position", "source"], []),
        ("volume knob", ["tone knob"], []),
        ("7", ["8"], []),
    ],
)
def test_near_is_what_slips_of_the_hand_make(text: str, known: list[str], near: list[str]) -> None:
    assert nearest(text, known) == near
