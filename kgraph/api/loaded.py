"""A folder as it was read: nothing here takes long to load."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from kgraph.collection import Collection
    from kgraph.fits.graph import Graph
    from kgraph.problems import Problem


class Loaded(NamedTuple):
    """A folder read, with every problem met on the way."""

    data: Collection
    graph: Graph
    problems: tuple[Problem, ...]
    left_out: int = 0
    """So many entries could not be read."""
