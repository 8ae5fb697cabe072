"""The statements of a large folder in a store of pyoxigraph, kept in the cache folder while the files stand.

Like the index it only saves time. A note beside it says how the files stood and which program made it; a
store that is not whole, is another program's or is of other files is dropped and made anew. Each process that
makes one makes it in a folder of its own, and the note is put in place at once, so two at a time do no harm.
"""

from __future__ import annotations

import os
import re
import shutil
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from importlib.metadata import version
from typing import Any, BinaryIO

from kgraph.exchange import process
from kgraph.index import freshness, store
from kgraph.problems import CannotRun

LEAST_BYTES = 1 << 19
"""Of smaller folders the statements are made for each query: that takes a second or two."""
MAKING_S = 900
MEMORY_MIB = 8192
OLD_S = 86_400
"""What is not finished after a day was left by a process that was killed."""


def standing(folders: Sequence[str]) -> str | None:
    """Where the store of these folders lies; None where none stands for their files."""
    base, stamps = _base(folders), store.stamps_of(folders)
    note = freshness.read_note(f"{base}.statements") if base and stamps else None
    if not isinstance(note, dict) or note.get("made by") != _maker():
        return None
    found = _named(base, note)
    whole = os.path.isdir(found) and stamps is not None and freshness.stands(note, folders, stamps)
    return found if whole else None


def is_worth_it(folders: Sequence[str]) -> bool:
    """Whether a store of these folders would save time, and can be kept."""
    stamps = store.stamps_of(folders) if _base(folders) else None
    return stamps is not None and sum(s[1] for mine in stamps for s in mine) >= LEAST_BYTES


def make(folders: Sequence[str], statements: Callable[[], Iterable[bytes]]) -> str | None:
    """Make the store anew, of the statements that reading the files gives; None where none can be kept.

    Where files change meanwhile, there is no telling what it was made of, and it is dropped.
    """
    base, stamps, now_ns = _base(folders), store.stamps_of(folders), time.time_ns()
    if base is None or stamps is None:
        return None
    token = os.urandom(8).hex()
    made = f"{base}-{token}.statements"
    try:
        young = freshness.young_of(folders, stamps, now_ns)
        os.makedirs(os.path.dirname(base), exist_ok=True)
        job = {"file": made, "seconds": MAKING_S, "memory_mib": MEMORY_MIB}
        process.run("kgraph.exchange.standing", job, statements())
        if store.stamps_of(folders) != stamps:
            shutil.rmtree(made, ignore_errors=True)
            return None
        drop(folders)
        note = freshness.note_of(folders, stamps, token, young)
        freshness.write_note(f"{base}.statements", {**note, "made by": _maker()})
    except (OSError, CannotRun):
        # What is wrong with the folder itself is told when it is read without a store.
        shutil.rmtree(made, ignore_errors=True)
        return None
    return made


def drop(folders: Sequence[str], alone: str = "") -> None:
    """Take the store away, and what was left by processes that were killed.

    `alone`: only if it is this one; another process may have put its own in the place meanwhile.
    """
    base = _base(folders)
    note = freshness.read_note(f"{base}.statements") if base else None
    if base is None or (alone and _named(base, note) != alone):
        return
    with suppress(OSError):
        os.unlink(f"{base}.statements")
    noted = _named(base, note)
    with suppress(OSError):
        for entry in os.scandir(os.path.dirname(base)):
            mine = entry.path.startswith(f"{base}-") and entry.name.endswith(".statements")
            if mine and (entry.path == noted or entry.stat().st_mtime < time.time() - OLD_S):
                shutil.rmtree(entry.path, ignore_errors=True)


def _base(folders: Sequence[str]) -> str | None:
    path = store.index_path(folders)
    return path.removesuffix(".index") if path else None


def _named(base: str | None, note: Any) -> str:
    """The store that a note names; "" where it names none."""
    token = note.get("token") if isinstance(note, dict) else None
    return f"{base}-{token}.statements" if base and re.fullmatch("[0-9a-f]{16}", str(token)) else ""


def _maker() -> str:
    """Which program makes a store, over which ground, and by which engine."""
    return f"{store.version()} pyoxigraph {version('pyoxigraph')}"


# The process ----------------------------------------------------------------------------------


def answer(job: dict[str, Any], data: BinaryIO) -> dict[str, Any]:
    """Make a store of N-Triples in the folder that the job names."""
    import pyoxigraph

    made = pyoxigraph.Store(job["file"])
    made.bulk_load(data, format=pyoxigraph.RdfFormat.N_TRIPLES)
    made.optimize()
    made.flush()
    return {"statements": "whole"}


if __name__ == "__main__":
    sys.exit(process.serve(answer))
