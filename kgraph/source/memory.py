"""The holder in memory: all entries of a folder, and the facts in them, found from both ends."""

from __future__ import annotations

from collections.abc import Iterable

from kgraph import collection, records
from kgraph.fits import graph
from kgraph.fits.graph import Graph


def held(entries: Iterable[records.Entry]) -> Graph:
    """The facts of these entries; beside what any holder tells, all of them can be gone through."""
    return graph.build(collection.build(entries))
