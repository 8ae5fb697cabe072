"""What the options before the command said, and a folder read: nothing here takes long to load."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from pathlib import Path

    from kgraph import records
    from kgraph.collection import Collection
    from kgraph.fits.graph import Graph
    from kgraph.problems import Problem
    from kgraph.source.facts import Facts, Names


class Settings(NamedTuple):
    """What the options before the command said."""

    given: tuple[str | Path, ...]
    """The fact folders as they were named."""
    strict: bool = False
    """Whether a folder with entries that cannot be read is refused."""
    suppose: tuple[records.Entry, ...] = ()
    without: tuple[str, ...] = ()

    @property
    def folders(self) -> tuple[Path, ...]:
        """The fact folders."""
        # Loading pathlib is a twentieth of the time of a question that an index answers.
        from pathlib import Path

        return tuple(map(Path, self.given))

    @property
    def shown(self) -> list[str]:
        """The fact folders as `str` shows their paths."""
        return [_shown(os.fspath(folder)) for folder in self.given]


def _shown(folder: str) -> str:
    """What `str(Path(folder))` is."""
    if os.sep != "/" or folder.startswith("//"):
        from pathlib import Path

        return str(Path(folder))
    parts = (part for part in folder.split("/") if part not in ("", "."))
    return ("/" if folder.startswith("/") else "") + "/".join(parts) or "."


class Loaded:
    """A folder as a question has it: read whole, or through its index; with the faults met on the way."""

    graph: Facts

    def __init__(self, graph: Facts, problems: tuple[Problem, ...] = (), left_out: int = 0) -> None:
        self.graph, self.problems = graph, problems
        self.left_out = left_out
        """So many entries could not be read."""

    @property
    def data(self) -> Names:
        """Its names and what its entries say."""
        return self.graph.data


class Whole(Loaded):
    """A folder that was read whole."""

    graph: Graph

    @property
    def data(self) -> Collection:
        """Its entries."""
        return self.graph.data
