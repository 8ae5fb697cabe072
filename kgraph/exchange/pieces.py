"""A cell that names several things, in pieces: `RX 20/22` is RX 20 and RX 22, `a, b; c` three names."""

from __future__ import annotations

import re
from collections.abc import Sequence

from kgraph.exchange.cells import divided

_LAST_DIGITS = re.compile(r"(.*?)(\d+)\D*\Z", re.DOTALL)
SHORTENED = frozenset("/+&")
"""The signs behind which a number may be written short."""


class NotWhole(ValueError):
    """A piece is too short to be a name, and nothing says what it is short for."""


def pieces(cell: str, signs: Sequence[str]) -> list[str]:
    """The names in a cell, each whole; raises NotWhole for a piece that nobody can complete."""
    long = [s for s in signs if s not in SHORTENED]
    short = [s for s in signs if s in SHORTENED]
    found: list[str] = []
    for part in divided(cell, long) if long else [cell.strip()]:
        first, *rest = divided(part, short) if short else [part]
        found += [first, *(_completed(first, piece) for piece in rest)]
    return list(dict.fromkeys(found))


def _completed(first: str, piece: str) -> str:
    """A piece with what it was written without: the text before the last number of the first one."""
    begun = _LAST_DIGITS.match(first)
    number = re.match(r"\d+", piece)
    if begun and begun[1] and number and len(number[0]) <= len(begun[2]):
        return begun[1] + piece
    if len(piece) < 3 and not number:
        raise NotWhole(piece)
    return piece
