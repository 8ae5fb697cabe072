"""Long lists in groups: one page while it is short, else a page of groups that leads to pages of their own.

The address of such a page is made from the group's name and the number of the part, so it stays what it was
when other groups grow.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from kgraph.book.addresses import page_path
from kgraph.names import compared

MOST_ON_ONE_PAGE = 300
"""So many rows of a line each stand on the page of a list itself."""
MOST_IN_A_PART = 500
"""So many such rows of one group stand on one page."""


@dataclass(frozen=True, slots=True)
class ListPage:
    """The rows of a group that stand on one page; `href` is "" where that is the page of the list itself."""

    name: str
    anchor: str
    rows: tuple[Any, ...]
    href: str = ""


@dataclass(frozen=True)
class Listing:
    """A list in groups, each in one part or more."""

    title: str
    parts: tuple[ListPage, ...]

    @property
    def apart(self) -> list[ListPage]:
        """The parts that stand on pages of their own."""
        return [part for part in self.parts if part.href]

    @cached_property
    def where(self) -> Mapping[str, str]:
        """Anchor of a group -> the page on which its first part stands; "" for that of the list."""
        return {part.anchor: part.href for part in reversed(self.parts)}


def listing(title: str, groups: Iterable[tuple[str, str, Sequence[Any]]], lines: int = 1) -> Listing:
    """(name, anchor, rows) of each group, in order, as pages; each row takes so many lines."""
    found = list(groups)
    if sum(len(rows) for _, _, rows in found) * lines <= MOST_ON_ONE_PAGE:
        return Listing(title, tuple(ListPage(name, anchor, tuple(rows)) for name, anchor, rows in found))
    return Listing(title, tuple(part for group in found for part in _apart(title, lines, *group)))


def _apart(title: str, lines: int, name: str, anchor: str, rows: Sequence[Any]) -> Iterable[ListPage]:
    most = MOST_IN_A_PART // lines
    for start in range(0, len(rows), most):
        number = start // most + 1
        called = name if number == 1 else f"{name}, {number}"
        href = page_path("list", f"{title}\0{compared(name)}\0{name}\0{number}", called)
        yield ListPage(called, anchor, tuple(rows[start : start + most]), href)
