"""A folder as it was opened: nothing here takes long to load."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable

    from kgraph.collection import Collection
    from kgraph.fits.graph import Graph, WholeGraph
    from kgraph.interface import Facts
    from kgraph.problems import Problem


class Opened(Protocol):
    """What questions that an index can answer get: the facts, whoever holds them."""

    @property
    def data(self) -> Facts:
        """The names of things and what is recorded of them."""

    @property
    def graph(self) -> Graph:
        """The links between places and parts."""

    @property
    def problems(self) -> tuple[Problem, ...]:
        """What was wrong with the files."""

    @property
    def left_out(self) -> int:
        """So many entries could not be read."""


class Indexed(NamedTuple):
    """A folder by its index, which stands only for files without a fault.

    `close` lets go of the index; nothing more can be asked then.
    """

    data: Facts
    graph: Graph
    close: Callable[[], None]
    problems: tuple[Problem, ...] = ()
    left_out: int = 0


class Loaded(NamedTuple):
    """A folder read whole, with every problem met on the way."""

    data: Collection
    graph: WholeGraph
    problems: tuple[Problem, ...]
    left_out: int = 0
