"""A folder as it was opened: nothing here takes long to load."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Callable

    from kgraph.collection import Collection
    from kgraph.fits.graph import Graph
    from kgraph.problems import Problem


def _held() -> None:
    """What was read whole needs no closing."""


class Loaded(NamedTuple):
    """A folder that was opened: read whole, or by its index, which stands only for files without a fault.

    `problems`: what was wrong with the files; `left_out`: so many entries could not be read; `close` lets go
    of the index, after which nothing more can be asked.
    """

    data: Collection
    graph: Graph
    problems: tuple[Problem, ...]
    left_out: int = 0
    close: Callable[[], None] = _held
