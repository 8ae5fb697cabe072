"""What a fact file is read into: texts, lists and mappings, each with its place."""

from __future__ import annotations

from collections.abc import Callable

DEEPEST = 20
"""The most lists and mappings that may stand in each other, the file's own list included."""
MOST_KEYS = 64
"""The most keys of one mapping."""
LONGEST_KEY = 200
"""The most characters of a key."""


class _Node:
    """Equal by value, and not to be changed. No dataclasses: to make those costs more than to read a file."""

    __slots__: tuple[str, ...] = ()

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError(f"{name} cannot be changed")

    def _values(self) -> tuple[object, ...]:
        return tuple([getattr(self, name) for name in self.__slots__])

    def __eq__(self, other: object) -> bool:
        return isinstance(other, type(self)) and self._values() == other._values()

    def __repr__(self) -> str:
        return f"{type(self).__name__}{self._values()}"


class Text(_Node):
    """A scalar, letter for letter; `plain` if it is neither quoted nor a block text."""

    __slots__ = ("column", "line", "plain", "value")
    value: str
    line: int
    column: int
    plain: bool

    def __init__(self, value: str, line: int, column: int, plain: bool) -> None:
        set_value(self, value)
        set_line(self, line)
        set_column(self, column)
        set_plain(self, plain)


class Seq(_Node):
    """A list and the place where it starts."""

    __slots__ = ("column", "items", "line")
    items: tuple[Node, ...]
    line: int
    column: int

    def __init__(self, items: tuple[Node, ...], line: int, column: int) -> None:
        set_items(self, items)
        set_seq_line(self, line)
        set_seq_column(self, column)


class Map(_Node):
    """A mapping, in the order written, and the place where it starts."""

    __slots__ = ("column", "line", "pairs")
    pairs: tuple[tuple[Text, Node], ...]
    line: int
    column: int

    def __init__(self, pairs: tuple[tuple[Text, Node], ...], line: int, column: int) -> None:
        set_pairs(self, pairs)
        set_map_line(self, line)
        set_map_column(self, column)

    def get(self, key: str) -> Node | None:
        """The value at a key that reads exactly so, or None."""
        for text, node in self.pairs:
            if text.value == key:
                return node
        return None


Node = Text | Seq | Map

# What reads many nodes fills their slots directly: to call a class is half of the time of reading.
new_text = Text.__new__
set_value: Callable[[Text, str], None] = vars(Text)["value"].__set__
set_line: Callable[[Text, int], None] = vars(Text)["line"].__set__
set_column: Callable[[Text, int], None] = vars(Text)["column"].__set__
set_plain: Callable[[Text, bool], None] = vars(Text)["plain"].__set__
set_items: Callable[[Seq, tuple[Node, ...]], None] = vars(Seq)["items"].__set__
set_seq_line: Callable[[Seq, int], None] = vars(Seq)["line"].__set__
set_seq_column: Callable[[Seq, int], None] = vars(Seq)["column"].__set__
new_map = Map.__new__
set_pairs: Callable[[Map, tuple[tuple[Text, Node], ...]], None] = vars(Map)["pairs"].__set__
set_map_line: Callable[[Map, int], None] = vars(Map)["line"].__set__
set_map_column: Callable[[Map, int], None] = vars(Map)["column"].__set__


def content(node: Node) -> object:
    """A node without its places, to compare by."""
    if isinstance(node, Text):
        return node.value
    if isinstance(node, Seq):
        return tuple(content(item) for item in node.items)
    return [(key.value, content(value)) for key, value in node.pairs]
