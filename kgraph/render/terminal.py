"""The one way text reaches a terminal or a pipe: control characters shown, never sent."""

from __future__ import annotations

import shutil
import unicodedata
from collections.abc import Sequence

_SAFE_FORMAT = {"\u200c", "\u200d", "\u00ad"}


def visible(text: str) -> str:
    """The text with every control, format, surrogate and bidi character as an escape such as `\\x1b`."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(_escape(c) if _hidden(c) else c for c in text)


def _hidden(char: str) -> bool:
    category = unicodedata.category(char)
    return category in ("Cc", "Cs", "Zl", "Zp") or (category == "Cf" and char not in _SAFE_FORMAT)


def _escape(char: str) -> str:
    code = ord(char)
    if code < 0x100:
        return {9: "\\t", 10: "\\n", 13: "\\r"}.get(code, f"\\x{code:02x}")
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def width(text: str) -> int:
    """The columns that a text takes on a terminal."""
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text
    )


def cut(text: str, most: int) -> str:
    """The text, shortened to at most `most` columns."""
    if width(text) <= most:
        return text
    out = ""
    for char in text:
        if width(out + char) > most - 1:
            break
        out += char
    return out + "…"


def table(head: Sequence[str], rows: Sequence[Sequence[str]], terminal: bool) -> str:
    """Rows under their headings: aligned on a terminal, divided by tabs (and without headings) in a pipe."""
    shown = [[visible(cell) for cell in row] for row in rows]
    if not terminal:
        return "".join("\t".join(row) + "\n" for row in shown)
    columns = _columns(head, shown)
    lines = [head, ["─" * w for w in columns], *shown]
    return "".join(
        "  ".join(_pad(cell, w) for cell, w in zip(line, columns, strict=True)).rstrip() + "\n"
        for line in lines
    )


def _columns(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[int]:
    widest = [max([width(h), *(width(r[i]) for r in rows)]) for i, h in enumerate(head)]
    room = shutil.get_terminal_size((100, 24)).columns - 2 * (len(head) - 1)
    while sum(widest) > room and max(widest) > 8:
        widest[widest.index(max(widest))] -= 1
    return widest


def _pad(text: str, columns: int) -> str:
    short = cut(text, columns)
    return short + " " * (columns - width(short))
