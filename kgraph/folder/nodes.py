"""What a fact file is read into: texts, lists and mappings, each with its place."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

MOST_KEYS = 64
"""The most keys of one mapping."""
LONGEST_KEY = 200
"""The most characters of a key."""


@dataclass(frozen=True, slots=True)
class Text:
    """A scalar, letter for letter; `plain` if it is neither quoted nor a block text."""

    value: str
    line: int
    column: int
    plain: bool


@dataclass(frozen=True, slots=True)
class Seq:
    """A list and the place where it starts."""

    items: tuple[Node, ...]
    line: int
    column: int


@dataclass(frozen=True, slots=True)
class Map:
    """A mapping, in the order written, and the place where it starts."""

    pairs: tuple[tuple[Text, Node], ...]
    line: int
    column: int

    def get(self, key: str) -> Node | None:
        """The value at a key that reads exactly so, or None."""
        for text, node in self.pairs:
            if text.value == key:
                return node
        return None


Node = Text | Seq | Map

# A frozen dataclass is filled through `object.__setattr__`, which is half of the time of the
# whole reading; its slots can be filled directly and it is frozen all the same afterwards.
new_text = Text.__new__
set_value: Callable[[Text, str], None] = vars(Text)["value"].__set__
set_line: Callable[[Text, int], None] = vars(Text)["line"].__set__
set_column: Callable[[Text, int], None] = vars(Text)["column"].__set__
set_plain: Callable[[Text, bool], None] = vars(Text)["plain"].__set__
new_map = Map.__new__
set_pairs: Callable[[Map, tuple[tuple[Text, Node], ...]], None] = vars(Map)["pairs"].__set__
set_map_line: Callable[[Map, int], None] = vars(Map)["line"].__set__
set_map_column: Callable[[Map, int], None] = vars(Map)["column"].__set__
