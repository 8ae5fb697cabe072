"""What the options before the command said, and a folder read: nothing here takes long to load."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from kgraph import records
    from kgraph.collection import Collection
    from kgraph.fits.graph import Graph
    from kgraph.problems import Problem


@dataclass(frozen=True)
class Settings:
    """What the options before the command said."""

    folders: tuple[Path, ...]
    skip_bad: bool = False
    suppose: tuple[records.Entry, ...] = ()
    without: tuple[str, ...] = ()


@dataclass(frozen=True)
class Loaded:
    """A folder read, with every problem met on the way."""

    data: Collection
    graph: Graph
    problems: tuple[Problem, ...]
