"""The one way text reaches a terminal or a pipe: control characters shown, never sent."""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Iterator, Sequence

_SAFE_FORMAT = {"\u200c", "\u200d", "\u00ad"}


def visible(text: str) -> str:
    """The text with every control, format, surrogate and bidi character as an escape such as `\\x1b`."""
    if text.isprintable():
        return text
    return "".join(_escape(c) if _hidden(c) else c for c in text)


def visible_lines(text: str) -> str:
    """The same of a text of several lines; all but the first are indented, none looks like another."""
    first, *rest = map(visible, text.split("\n"))
    return "\n".join([first, *(f"  {line.removeprefix('  ')}" for line in rest)])


def _hidden(char: str) -> bool:
    category = unicodedata.category(char)
    if category == "Cf":
        return char not in _SAFE_FORMAT
    # Two code points are no characters by the Unicode standard, and XML may not hold them.
    return category in ("Cc", "Cs", "Zl", "Zp") or char in "\ufffe\uffff"


def _escape(char: str) -> str:
    code = ord(char)
    if code < 0x100:
        return {9: "\\t", 10: "\\n", 13: "\\r"}.get(code, f"\\x{code:02x}")
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


_NARROW = re.compile("[ -~\u00a1-\u00ac\u00ae-\u02ff\u2010-\u2027\u2500-\u257f]*\\Z")
"""Texts of Latin letters, dashes and rules alone: a column a character, told without the tables below."""


def width(text: str) -> int:
    """The columns that a text takes on a terminal; an emoji that is joined of several takes those of one."""
    return len(text) if _NARROW.match(text) else sum(columns for _, columns in _clusters(text))


def _clusters(text: str) -> Iterator[tuple[str, int]]:
    """What a reader takes for one character (Unicode Standard Annex 29), each with its columns."""
    # Loading its tables takes longer than a question that an index answers.
    import wcwidth

    for cluster in wcwidth.iter_graphemes(text):
        yield cluster, wcwidth.width(cluster, control_codes="ignore")


def cut(text: str, most: int) -> str:
    """The text, shortened to at most `most` columns; no character that is joined of several is torn."""
    if width(text) <= most:
        return text
    kept, used = [], 0
    for cluster, columns in _clusters(text):
        used += columns
        if used >= most:
            break
        kept.append(cluster)
    return "".join(kept) + "…"


_COLOURS = {"refused": "31", "disputed": "33"}
"""Standing -> colour, by the codes of ECMA-48. The word stands there as well: colour only helps the eye."""


def colours() -> bool:
    """Whether a terminal is to be given colours: the user may forbid it, or it may know none."""
    return not os.environ.get("NO_COLOR") and os.environ.get("TERM", "") not in ("", "dumb")


def table(
    head: Sequence[str], rows: Sequence[Sequence[str]], terminal: bool, remarks: Sequence[Sequence[str]] = ()
) -> str:
    """Rows under their headings, aligned, with each row's remarks wrapped below it, on a terminal.

    In a pipe: no headings, cells divided by tabs, the remarks as a last cell.
    """
    shown = [[visible(cell) for cell in row] for row in rows]
    said = [[visible(r) for r in row] for row in remarks] or [[] for _ in rows]
    if not terminal:
        tails = [["; ".join(s)] if remarks else [] for s in said]
        return "".join("\t".join([*row, *tail]) + "\n" for row, tail in zip(shown, tails, strict=True))
    columns = _columns(head, shown)
    standing = head.index("standing") if "standing" in head and colours() else -1
    out = _line(head, columns) + _line(["─" * w for w in columns], columns)
    for row, below in zip(shown, said, strict=True):
        out += _coloured(row, columns, standing) + "".join(wrapped(r, "    ") for r in below)
    return out


def wrapped(text: str, indent: str = "") -> str:
    """The text in lines no wider than the terminal, all but the first indented once more."""
    import textwrap

    room = max(40, _room())
    lines = textwrap.wrap(text, room, initial_indent=indent, subsequent_indent=indent + "  ")
    return "".join(line + "\n" for line in lines)


def _room() -> int:
    """The columns of the terminal."""
    # What it loads to copy and pack files is a fortieth of the time of a question.
    import shutil

    return shutil.get_terminal_size((100, 24)).columns


def _coloured(cells: Sequence[str], columns: Sequence[int], standing: int) -> str:
    """A line whose standing is told by colour too, where it is not the usual one."""
    line = _line(cells, columns)
    code = _COLOURS.get(cells[standing]) if standing >= 0 else None
    if code is None:
        return line
    at = len("".join(_pad(c, w) + "  " for c, w in zip(cells[:standing], columns, strict=False)))
    end = at + len(cells[standing])
    return f"{line[:at]}\x1b[{code}m{line[at:end]}\x1b[0m{line[end:]}"


def _line(cells: Sequence[str], columns: Sequence[int]) -> str:
    return "  ".join(_pad(cell, w) for cell, w in zip(cells, columns, strict=True)).rstrip() + "\n"


def _columns(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[int]:
    widest = [max([width(h), *(width(r[i]) for r in rows)]) for i, h in enumerate(head)]
    room = _room() - 2 * (len(head) - 1)
    while sum(widest) > room and max(widest) > 8:
        widest[widest.index(max(widest))] -= 1
    return widest


def _pad(text: str, columns: int) -> str:
    short = cut(text, columns)
    return short + " " * (columns - width(short))
