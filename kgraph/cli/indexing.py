"""Making the index of some folders.

A cache that cannot be written is no fault of the question: then there is no index.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from pathlib import Path
from typing import TYPE_CHECKING

from kgraph.cli.progress import steps
from kgraph.folder.disk import display, fact_files
from kgraph.index import freshness, store, working
from kgraph.index.compiling import Faulty, File

if TYPE_CHECKING:
    from kgraph.index.freshness import IndexPlace


FAULTY = ".faulty"
"""What the name of a note ends in that tells of files of which there can be no index."""


def young(place: IndexPlace) -> freshness.Young | None:
    """The young files before they are read; None where one cannot be read."""
    try:
        return freshness.young_of(place.folders, place.stamps, place.now_ns)
    except OSError:
        return None


def files_of(place: IndexPlace) -> list[File]:
    """The fact files in the order of reading.

    Raises Faulty where a folder has none, or one is not as it stood, or named twice.
    """
    sizes = {(i, stamp[0]): stamp[1] for i, stamps in enumerate(place.stamps) for stamp in stamps}
    made: dict[str, File] = {}
    if not all(place.stamps):
        raise Faulty
    for i, folder in enumerate(place.folders):
        for path in fact_files(Path(folder)):
            inside = str(path.relative_to(folder))
            size = sizes.get((i, inside))
            if size is None or display(path) in made:
                raise Faulty
            made[display(path)] = File(display(path), path, size, i, display(inside))
    return list(made.values())


def compile_index(place: IndexPlace) -> bool:
    """Make the index, and the note that says how its files stood; False where that cannot be.

    A folder with faults has none: only reading it can tell of them.
    """
    before, token = young(place), os.urandom(8).hex()
    if before is None:
        return False
    try:
        files = files_of(place)
        with store.Writing(place.path) as index, steps("reading", len(files)) as step:
            of_making = [("version", store.version()), ("token", token), ("stamps", place.stamps)]
            index.put((key, store.packed(key, value)) for key, value in of_making)
            working.compile_files(files, index, step)
        with contextlib.suppress(OSError):
            os.unlink(place.path + store.OVER)
        note = freshness.note_of(place.folders, place.stamps, token, before)
        # What was saved meanwhile, within one tick of the clock, only the digests can tell.
        if store.stamps_of(place.folders) != place.stamps or young(place) != before:
            return False
        freshness.write_note(place.path + ".note", note)
    except Faulty:
        with contextlib.suppress(OSError):
            freshness.write_note(
                place.path + FAULTY, freshness.note_of(place.folders, place.stamps, token, before)
            )
        return False
    except (EOFError, OSError, sqlite3.Error, ValueError):
        return False
    return True


def known_faulty(place: IndexPlace) -> bool:
    """Whether the files stand as they stood when no index could be made of them."""
    return freshness.stands(freshness.read_note(place.path + FAULTY), place.folders, place.stamps)
