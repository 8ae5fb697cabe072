"""An index brought up to date where few files of its folders have changed, came or went.

The rows of the new entries of these files are kept in a small file over the index, with the numbers of the
entries that are gone. Nothing that was derived lies in an index, so that it does not matter what they say.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from kgraph.folder.disk import display
from kgraph.index import freshness
from kgraph.index.compiling import Faulty, File, entry_rows, read
from kgraph.index.entries import StoredEntries, added
from kgraph.index.naming import Noted
from kgraph.index.rows import RowCodec
from kgraph.index.store import Store

MOST_CHANGED = 5
"""Where more files have changed, all is compiled anew."""


def renew(
    opened: Store, folders: Sequence[str], stamps: freshness.Stamps, young: freshness.Young
) -> dict[str, Any] | None:
    """What is to lie over an index so that it says what the files say; None where all must be compiled anew.

    Raises Damaged, OSError, and whatever rows out of order lead to.
    """
    moved = dict(opened.over.get("moved", {}))
    changed = freshness.changed(folders, _as_moved(opened.need("stamps"), moved), stamps, young)
    if len(changed) > MOST_CHANGED or not all(stamps):
        return None
    stored = StoredEntries(opened, folders)
    known = {file.name: file for file in stored.files}
    gone, rows, files = (
        opened.over.get(part, new) for part, new in (("gone", []), ("rows", {}), ("files", {}))
    )
    ends = [*(file.start + file.entries for file in stored.files), *(end for _, end in gone)]
    start = max(ends, default=0)
    now = {(i, stamp[0]): stamp for i, those in enumerate(stamps) for stamp in those}
    for folder, path in changed:
        name = f"{folder}|{display(path)}"
        if (was := known.get(name)) is not None:
            gone.append((was.start, was.start + was.entries))
        stamp = moved[f"{folder}|{path}"] = now.get((folder, path))
        files[name] = None
        if stamp is not None:
            where = Path(os.path.join(folders[folder], path))
            try:
                entries = read(File(display(where), where, max(stamp[1], 1), folder, display(path)))
            except Faulty:
                return None
            rows = _with_file(stored, rows, entries, start)
            files[name] = (start, len(entries))
            start += len(entries)
    if len({f"{i}|{display(path)}" for i, path in now}) < len(now):
        return None
    return {"rows": rows, "gone": gone, "files": files, "moved": moved}


def _as_moved(stood: Sequence[Any], moved: Mapping[str, Any]) -> list[list[Any]]:
    """How the files stood when the index was brought up to date for the last time."""
    found = {f"{i}|{stamp[0]}": stamp for i, those in enumerate(stood) for stamp in those}
    found |= moved
    return [
        [stamp for key, stamp in found.items() if stamp is not None and key.startswith(f"{i}|")]
        for i in range(len(stood))
    ]


def _with_file(
    stored: StoredEntries, rows: dict[str, Any], entries: Sequence[Any], start: int
) -> dict[str, Any]:
    noted = Noted()
    noted.add_file(entries, start)
    found = dict(entry_rows(RowCodec(stored.codec.keys), entries, start))
    for key, value in noted.rows(stored.buckets):
        rows[key] = added(rows[key], value) if key in rows else value
    return {**rows, **found}
