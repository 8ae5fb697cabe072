"""Making the index of some folders: from a graph that was read, or by several processes at once.

A cache that cannot be written is no fault of the question: then there is no index.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kgraph.cli.progress import steps
from kgraph.folder.disk import display, fact_files
from kgraph.index import compiling, freshness, renewing, store, working
from kgraph.index.shares import Apart

if TYPE_CHECKING:
    from kgraph.fits.graph import WholeGraph
    from kgraph.index.freshness import IndexPlace


def rows(place: IndexPlace, graph: WholeGraph) -> Iterator[tuple[str, Any]]:
    """All rows that say what the files say."""
    yield from compiling.rows(graph, renewing.numbered(place.folders))
    yield from renewing.texts(place.folders)


def young(place: IndexPlace) -> freshness.Young | None:
    """The young files before they are read; None where one cannot be read."""
    try:
        return freshness.young_of(place.folders, place.stamps, place.now_ns)
    except OSError:
        return None


def compile_whole(place: IndexPlace, graph: WholeGraph, before: freshness.Young) -> None:
    """Make the index of a graph; `before` are the young files as they were before it was read."""

    def fill(index: store.Writing) -> None:
        index.put((key, store.packed(key, value)) for key, value in rows(place, graph))

    _make(place, before, fill)


def compile_in_shares(place: IndexPlace) -> bool:
    """Make the index from the files by several processes; False where the folder must be read whole.

    That is one with faults, one that only all facts together can decide, and one that is soon read.
    """
    size = sum(stamp[1] for stamps in place.stamps for stamp in stamps)
    most = working.processes()
    if most == 1 or size < working.SMALLEST or (before := young(place)) is None:
        return False
    try:
        return _make(place, before, lambda index: _in_shares(place, most, index))
    except (Apart, EOFError):
        return False


def _in_shares(place: IndexPlace, most: int, index: store.Writing) -> None:
    """Raises Apart, EOFError, OSError."""
    files = _files(place)
    with working.Work(working.shares_of(files, most), most) as work:
        with steps("reading", len(files)) as step:
            facts = work.read(step)
        with steps("compiling", facts) as step:
            work.compile(index, step)


def _files(place: IndexPlace) -> list[working.File]:
    """The fact files in the order of reading; raises Apart where one is not as it stood, or named twice."""
    sizes = {(i, stamp[0]): stamp[1] for i, stamps in enumerate(place.stamps) for stamp in stamps}
    made: dict[str, working.File] = {}
    for i, folder in enumerate(place.folders):
        for path in fact_files(Path(folder)):
            inside = str(path.relative_to(folder))
            size = sizes.get((i, inside))
            if size is None or display(path) in made:
                raise Apart
            made[display(path)] = working.File(display(path), path, size, (i, display(inside)))
    return list(made.values())


def _make(place: IndexPlace, before: freshness.Young, fill: Callable[[store.Writing], None]) -> bool:
    """Write an index and the note that says how its files stood; False where that cannot be."""
    token = os.urandom(8).hex()
    try:
        with store.Writing(place.path) as index:
            of_making = [("version", store.version()), ("token", token), ("stamps", place.stamps)]
            index.put((key, store.packed(key, value)) for key, value in of_making)
            fill(index)
        with contextlib.suppress(OSError):
            os.unlink(place.path + store.OVER)
        note = freshness.note_of(place.folders, place.stamps, token, before)
        # What was saved meanwhile, within one tick of the clock, only the digests can tell.
        if store.stamps_of(place.folders) != place.stamps or young(place) != before:
            return False
        freshness.write_note(place.path + ".note", note)
    except (OSError, sqlite3.Error, ValueError):
        return False
    return True
