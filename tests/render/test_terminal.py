"""How wide a text is on a terminal, and how it is shown there."""

from __future__ import annotations

import pytest

from kgraph.render.terminal import cut, visible, width

FAMILY = "\U0001f468\u200d\U0001f469\u200d\U0001f467"


@pytest.mark.parametrize(
    ("text", "columns"),
    [
        ("dial glass", 10),
        ("Größe ± 0.1 …", 13),
        ("─┼─", 3),
        ("e\u0301", 1),
        ("漢字", 4),
        # By the Unicode standard, Annex 11 (wide characters) and 29 (what is one character for a reader).
        (FAMILY, 2),
        ("\U0001f44d\U0001f3fd", 2),
        ("\U0001f1e9\U0001f1ea", 2),
        ("\u2764\ufe0f", 2),
        ("", 0),
    ],
)
def test_the_columns_of_a_text(text: str, columns: int) -> None:
    assert width(text) == columns


@pytest.mark.parametrize("text", [FAMILY * 5, "漢字漢字漢", "dial glass, front", "e\u0301" * 9])
@pytest.mark.parametrize("most", range(1, 9))
def test_a_cut_text_has_its_columns_and_no_torn_character(text: str, most: int) -> None:
    short = cut(visible(text), most)
    assert width(short) <= most
    assert short.endswith("…")
    assert not short[:-1].endswith(("\u200d", "e"))
