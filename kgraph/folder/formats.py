"""The format of a fact file, which an entry at its beginning may name: `- format: 1`.

What format 1 means never changes. A file that names none is of format 1. Of a file that names a later format
what this program does not know is left out and told, and everything else counts.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kgraph.folder.nodes import Map, Text
from kgraph.problems import Problem, Where, shown

if TYPE_CHECKING:
    from kgraph.folder.reading import ReadFile

KEY = "format"
KNOWN = 1
"""The latest format that this program knows."""
LATER = "later-format"
"""The code of an entry that is left out because only a later format knows it."""
MISPLACED = "the format is named once, by the first entry of a file"


def is_format(node: Map) -> bool:
    """Whether an entry names the format of its file."""
    return bool(node.pairs) and node.pairs[0][0].value == KEY


def named(read: ReadFile) -> tuple[int | None, tuple[Map, ...], list[Problem]]:
    """The format that a file names, None where it names none; its other entries; what is wrong with it."""
    if not read.entries or not is_format(read.entries[0]):
        return None, read.entries, []
    node, rest = read.entries[0], read.entries[1:]
    value = node.pairs[0][1]
    text = value.value.strip() if isinstance(value, Text) else ""
    if len(node.pairs) == 1 and text.isascii() and text.isdigit() and 0 < len(text) < 10 and int(text):
        return int(text), rest, []
    says = f"format: {shown(text)} is no format" if len(node.pairs) == 1 else "a format has no other key"
    where = Where(read.path, node.line, node.column)
    return KNOWN, rest, [Problem(where, "format", says, f"write - format: {KNOWN}")]


def left_out(read: ReadFile, node: Map, found: list[Problem], later: int) -> Problem:
    """That an entry of a file of a later format is left out, and what of it is not known."""
    first = next(p for p in found if p.severity == "error")
    where = Where(read.path, node.line, node.column)
    says = f"left out: {first.says}, and the file is of format {later}"
    return Problem(where, LATER, says, f"this program knows format {KNOWN}; a later one reads it", "warning")
