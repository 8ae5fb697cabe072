"""A quick reader for files in the shape that fact files nearly always have; any other file it leaves alone.

Each entry is `- key: value` and lines `  key: value`; a value is one plain text, one text in quotes without
escapes, or one list in brackets of such texts; comments stand in lines of their own. What reads so has no
fault of reading, and reads as :mod:`kgraph.folder.reading` reads it by YAML (tests compare the two).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from sys import intern

from kgraph.folder.nodes import (
    LONGEST_KEY,
    MOST_KEYS,
    Map,
    Node,
    Seq,
    Text,
    new_map,
    new_text,
    set_column,
    set_line,
    set_map_column,
    set_map_line,
    set_pairs,
    set_plain,
    set_value,
)
from kgraph.names import fold

_USUAL = bytes([10, *range(0x20, 0x7F)])
_LETTERS = re.compile("[\n -~\u00a1-\u024f]*")
_START = r"[A-Za-z0-9(+./~\u00a1-\u024f]"
_QUOTED = r"\"[^\"\\\n]*\"|'[^'\n]*'"
_FLOW = rf"{_START}[^,:?#]*"
_ITEM = re.compile(rf" *(?:({_FLOW}): +)?(?:({_FLOW})|({_QUOTED}) *)(?:,(?:\n {{3,}})?|\Z)")
_LINE = re.compile(
    rf"(?:(- )|  )([a-z][a-z ]{{0,60}}):[ ]+"
    rf"(?:({_START}[^:#\n]*(?::(?=[^\s])[^:#\n]*)*)"
    r"|([\[{][^\[\]{}\n]+(?:,\n {3,}[^\[\]{}\n]+)*[\]}]) *"
    rf"|({_QUOTED}) *)(?:\n|\Z)"
    # A comment that an entry was joined to is left to the reader that warns of it. Where no line begins
    # none is looked for: a search through a long run of blanks would try each of them.
    rf"|^( *#(?![^\n]*[^\s#]- [a-z]+: )[^\n]*\n|\n)",
    re.MULTILINE,
)
_good_keys: set[tuple[str, ...]] = set()


def entries(data: bytes) -> tuple[Map, ...] | None:
    """The entries of a file's bytes, or None where the file is not of the plain shape."""
    text = _text(data)
    if text is None:
        return None
    reader = _PlainReader()
    for match in _LINE.finditer(text):
        if match.start() != reader.at or not reader.take(match):
            return None
    return tuple(reader.found) if reader.at == len(text) and reader.keep() else None


def _text(data: bytes) -> str | None:
    """The text, if it holds nothing but letters and signs of which none is ever refused."""
    if not data.translate(None, _USUAL):
        return data.decode("ascii")
    try:
        text = data.decode()
    except UnicodeDecodeError:
        return None
    return text if _LETTERS.fullmatch(text) else None


class _PlainReader:
    """The entries so far; `at` is where the next line starts, `line` the number of the last one."""

    def __init__(self) -> None:
        self.found: list[Map] = []
        self.pairs: list[tuple[Text, Node]] = []
        self.line, self.at, self.start = 0, 0, 0

    def take(self, match: re.Match[str]) -> bool:
        """Read one line; False where it is not plain after all. What reading costs is here."""
        dash, key, value, flow, quoted, other = match.groups()
        at, self.at = self.at, match.end()
        self.line = line = self.line + 1
        if other:
            return True
        if dash:
            if not self.keep():
                return False
            self.pairs, self.start = [], line
        elif not self.start:
            return False
        node: Node
        if value:
            node = new_text(Text)
            set_value(node, value.rstrip(" "))
            set_line(node, line)
            set_column(node, match.start(3) - at + 1)
            set_plain(node, True)
        elif quoted:
            node = Text(quoted[1:-1], line, match.start(5) - at + 1, False)
        else:
            made = _flow(flow, line, match.start(4) - at)
            if made is None:
                return False
            node = made
            self.line += flow.count("\n")
        name = new_text(Text)
        set_value(name, intern(key))
        set_line(name, line)
        set_column(name, 3)
        set_plain(name, True)
        self.pairs.append((name, node))
        return True

    def keep(self) -> bool:
        """Add the entry that ends here; False where its keys are too many or not all different."""
        if not self.pairs:
            return True
        keys = tuple([key.value for key, _ in self.pairs])
        if keys not in _good_keys:
            if not _in_order(keys):
                return False
            if len(_good_keys) < 4096:
                _good_keys.add(keys)
        made = new_map(Map)
        set_pairs(made, tuple(self.pairs))
        set_map_line(made, self.start)
        set_map_column(made, 3)
        self.found.append(made)
        return True


def _in_order(keys: Sequence[str]) -> bool:
    short = len(keys) <= MOST_KEYS and all(len(k) <= LONGEST_KEY and k[-1] != " " for k in keys)
    return short and len({fold(k) or k for k in keys}) == len(keys)


def _flow(text: str, line: int, before: int) -> Seq | Map | None:
    """What stands in brackets or braces, `before` characters into its line; None where it is not plain."""
    keys: list[Text] = []
    values: list[Node] = []
    at, end, first, column = 1, len(text) - 1, line, before + 1
    inside = text[:end]
    while at < end:
        match = _ITEM.match(inside, at)
        if match is None:
            return None
        key, value, quoted = match.groups()
        if key is not None:
            keys.append(Text(key, line, before + match.start(1) + 1, True))
        if value is not None:
            values.append(Text(value.rstrip(" "), line, before + match.start(2) + 1, True))
        else:
            values.append(Text(quoted[1:-1], line, before + match.start(3) + 1, False))
        at = match.end()
        newline = inside.find("\n", match.start(), at)
        if newline >= 0:
            line, before = line + 1, -newline - 1
    if text[0] == "[" and text[-1] == "]":
        return None if keys else Seq(tuple(values), first, column)
    named = tuple(zip(keys, values, strict=False))
    if text[0] != "{" or text[-1] != "}" or len(keys) != len(values):
        return None
    return Map(named, first, column) if _in_order([k.value for k in keys]) else None
