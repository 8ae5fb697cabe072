"""The statements of a large folder in a store of pyoxigraph, kept in the cache folder while the files stand.

Like the index it only saves time. A note beside it says how the files stood and which program made it; a
store that is not whole or is another program's is dropped and made anew. Where files have changed, a copy of
it is brought up to date: a list of its statements lies within, and what is no more among them is taken out,
what is new put in. Each process makes one in a folder of its own, and the note is put in place at once, so
two at a time do no harm.
"""

from __future__ import annotations

import gzip
import io
import os
import re
import shutil
import sys
import time
import zlib
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
LIST = "statements.gz"
"""The statements of a store, one to a line; among the files of the store, which leaves it alone."""
AT_ONCE = 1 << 22
"""Bytes of statements that are compared and packed at a time."""
MOST_CHANGED = 0.2
"""Where more of the statements than this share have changed, it is quicker to put them in anew."""


def standing(folders: Sequence[str]) -> str | None:
    """Where the store of these folders lies; None where none stands for their files."""
    base, stamps = _base(folders), store.stamps_of(folders)
    note = _own_note(base)
    found = _named(base, note)
    whole = os.path.isdir(found) and stamps is not None and freshness.stands(note, folders, stamps)
    return found if whole else None


def is_worth_it(folders: Sequence[str]) -> bool:
    """Whether a store of these folders would save time, and can be kept."""
    stamps = store.stamps_of(folders) if _base(folders) else None
    return stamps is not None and sum(s[1] for mine in stamps for s in mine) >= LEAST_BYTES


def make(folders: Sequence[str], statements: Callable[[], Iterable[bytes]]) -> str | None:
    """Make the store of the statements that reading the files gives; None where none can be kept.

    Where one stands for how the files were before, only what is other than there is written. Where files
    change meanwhile, there is no telling what it was made of, and it is dropped.
    """
    base, stamps, now_ns = _base(folders), store.stamps_of(folders), time.time_ns()
    if base is None or stamps is None:
        return None
    token = os.urandom(8).hex()
    made = f"{base}-{token}.statements"
    try:
        young = freshness.young_of(folders, stamps, now_ns)
        os.makedirs(os.path.dirname(base), exist_ok=True)
        before = _named(base, _own_note(base))
        job = {"file": made, "before": before, "seconds": MAKING_S, "memory_mib": MEMORY_MIB}
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


def _own_note(base: str | None) -> Any:
    """The note of a store that this program made; {} where there is none."""
    note = freshness.read_note(f"{base}.statements") if base else None
    return note if isinstance(note, dict) and note.get("made by") == _maker() else {}


def _named(base: str | None, note: Any) -> str:
    """The store that a note names; "" where it names none."""
    token = note.get("token") if isinstance(note, dict) else None
    return f"{base}-{token}.statements" if base and re.fullmatch("[0-9a-f]{16}", str(token)) else ""


def _maker() -> str:
    """Which program makes a store, over which ground, and by which engine."""
    return f"{store.version()} pyoxigraph {version('pyoxigraph')}"


# The process ----------------------------------------------------------------------------------


def answer(job: dict[str, Any], data: BinaryIO) -> dict[str, Any]:
    """Make a store of N-Triples in the folder that the job names; how many were put in and taken out."""
    begin = data.tell()
    if job["before"]:
        # Whatever is wrong with the one before, all of it can be made anew.
        with suppress(OSError, EOFError, zlib.error, RuntimeError, SyntaxError):
            return _renewed(job["before"], job["file"], data)
        shutil.rmtree(job["file"], ignore_errors=True)
        data.seek(begin)
    return _anew(job["file"], data)


def _anew(target: str, data: BinaryIO) -> dict[str, Any]:
    import pyoxigraph

    made = pyoxigraph.Store(target)
    with gzip.open(os.path.join(target, LIST), "wb", 1) as listed:
        # Loading a file would give its nodes without a name other labels.
        copied = io.BufferedReader(_Copied(data, listed), 1 << 20)
        made.bulk_extend(pyoxigraph.parse(copied, format=pyoxigraph.RdfFormat.N_TRIPLES))
    made.optimize()
    made.flush()
    return {"in": len(made), "out": 0}


class _Copied(io.RawIOBase):
    """What is read, written elsewhere as it goes by."""

    def __init__(self, data: BinaryIO, to: gzip.GzipFile) -> None:
        self._data, self._to = data, to

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        read = self._data.read(len(buffer))
        buffer[: len(read)] = read
        self._to.write(read)
        return len(read)


def _renewed(before: str, target: str, data: BinaryIO) -> dict[str, Any]:
    """A copy of a store with what has changed; raises an error where it cannot be had or is not worth it."""
    import pyoxigraph

    with gzip.open(os.path.join(before, LIST), "rb") as listed:
        gone = set(listed.read().splitlines(keepends=True))
    most, new = MOST_CHANGED * len(gone), list[bytes]()
    _copy(before, target)
    with gzip.open(os.path.join(target, LIST), "wb", 1) as listed:
        # Line by line the packing would take as long as all else.
        while lines := data.readlines(AT_ONCE):
            listed.write(b"".join(lines))
            new += (line for line in lines if line not in gone)
            gone.difference_update(lines)
    if len(gone) + len(new) > most:
        raise OSError("nearly all is other than before")
    made = pyoxigraph.Store(target)
    for quad in pyoxigraph.parse(b"".join(gone), format=pyoxigraph.RdfFormat.N_TRIPLES):
        made.remove(quad)
    made.extend(pyoxigraph.parse(b"".join(new), format=pyoxigraph.RdfFormat.N_TRIPLES))
    made.flush()
    return {"in": len(new), "out": len(gone)}


def _copy(before: str, target: str) -> None:
    """A store copied; its tables, which are never written again, by links where the disk can."""
    os.mkdir(target)
    for entry in os.scandir(before):
        here = os.path.join(target, entry.name)
        if entry.name.endswith(".sst"):
            try:
                os.link(entry.path, here)
                continue
            except OSError:
                pass
        if entry.name not in ("LOCK", LIST):
            shutil.copyfile(entry.path, here)


if __name__ == "__main__":
    sys.exit(process.serve(answer))
