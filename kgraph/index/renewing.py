"""An index brought up to date where few files of its folders have changed."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from kgraph.folder.disk import display, fact_files, read_path
from kgraph.index import freshness, updating
from kgraph.index.store import Store, opened_out, squeezed

MOST_CHANGED = 5
"""Where more files have changed, all is compiled anew."""


def numbered(folders: Sequence[str]) -> dict[str, tuple[int, str]]:
    """The fact files in the order of reading, as facts name them: the folder of each, and its path there."""
    return {
        display(file): (i, display(file.relative_to(folder)))
        for i, folder in enumerate(map(Path, folders))
        for file in fact_files(folder)
    }


def texts(folders: Sequence[str]) -> Iterator[tuple[str, str]]:
    """The bytes of every file as rows, so that it can be told later what a file said."""
    files = (file for folder in folders for file in fact_files(Path(folder)))
    for number, file in enumerate(files):
        yield f"t|{number}", squeezed(read_path(file))


def renew(
    opened: Store, folders: Sequence[str], over: dict[str, Any], stamps: freshness.Stamps, young: Any
) -> bool:
    """Lay the rows that have changed over those of an index; False where all must be compiled anew.

    `over` is what lay over it; how the changed files stand now is noted in it.
    Raises Damaged, OSError, and whatever rows out of order lead to.
    """
    moved = over.get("moved", {})
    stood = [
        [moved.get(f"{i}|{stamp[0]}", stamp) for stamp in those]
        for i, those in enumerate(opened.need("stamps"))
    ]
    found = freshness.changed(folders, stood, stamps, young, MOST_CHANGED)
    if found is None:
        return False
    numbers = {(i, path): n for n, (i, path) in enumerate(opened.need("files"))}
    over["moved"] = moved | {
        f"{i}|{stamp[0]}": stamp
        for i, those in enumerate(stamps)
        for stamp in those
        if (i, stamp[0]) in found
    }
    for i, path in found:
        number = numbers[i, display(path)]
        new = read_path(Path(os.path.join(folders[i], path)))
        old = opened_out(opened.need(f"t|{number}"))
        if old == new:
            continue
        rows = updating.update(opened, number, old, new)
        if rows is None:
            return False
        opened.over = {**opened.over, **rows, f"t|{number}": squeezed(new)}
    return True
