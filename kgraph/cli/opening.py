"""A folder for one question: from its compiled index where that stands, else from its files.

An index never changes an answer. Whatever is wrong with it, the files are read, and it is made anew.
"""

from __future__ import annotations

import contextlib
import os
import time
import zlib
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from kgraph.cli.settings import Loaded, Settings
from kgraph.index import freshness, store
from kgraph.problems import Damaged

if TYPE_CHECKING:
    from kgraph.fits.graph import Graph


def with_folder(settings: Settings, body: Callable[[Loaded], int]) -> int:
    """Run what needs the folder; where the index gives out in the middle, once more from the files.

    `body` prints nothing before it has all of its answer.
    """
    found = from_index(settings) or renewed(settings)
    if found is not None:
        try:
            return body(found)
        except Damaged:
            pass
    return body(from_files(settings))


def from_index(settings: Settings) -> Loaded | None:
    """The folder as its index has it; None where there is none that stands."""
    if settings.skip_bad or settings.suppose or settings.without:
        return None
    folders = [str(f) for f in settings.folders]
    path = store.index_path(folders)
    stamps = None if path is None else store.stamps_of(folders)
    if path is None or stamps is None:
        return None
    note = freshness.read_note(path + ".note")
    try:
        if not freshness.stands(note, folders, stamps):
            return None
        opened = store.Store(path)
        _lay_over(opened, path, note)
        _grow_up(path, note, folders, stamps)
        return _loaded(opened, folders)
    except (Damaged, KeyError):
        return None


def _lay_over(opened: store.Store, path: str, note: dict[str, object]) -> dict[str, Any]:
    """Put newer rows over the index that a note is about; raises Damaged where they are not of one make."""
    if opened.need("token") != note["token"]:
        raise Damaged
    if "over" not in note:
        return {}
    over = store.read_over(path, str(note["over"]))
    if over["under"] != note["token"]:
        raise Damaged
    opened.over = over["rows"]
    return over


def renewed(settings: Settings) -> Loaded | None:
    """The folder by its index where few files have changed: the rows that they change are made anew."""
    if settings.skip_bad or settings.suppose or settings.without:
        return None
    folders = [str(f) for f in settings.folders]
    path = store.index_path(folders)
    if path is None or not os.path.exists(path + ".note"):
        return None
    stamps, now = store.stamps_of(folders), time.time_ns()
    try:
        return None if stamps is None else _renewed(path, folders, stamps, now)
    except (Damaged, KeyError, TypeError, ValueError, OSError, zlib.error):
        return None


def _renewed(path: str, folders: list[str], stamps: freshness.Stamps, now_ns: int) -> Loaded | None:
    """Raises whatever an index that is out of order may lead to."""
    import secrets

    from kgraph.index import renewing

    note = freshness.read_note(path + ".note")
    opened = store.Store(path)
    over = _lay_over(opened, path, note)
    if not renewing.renew(opened, folders, over, stamps, note["young"]):
        return None
    over |= {"rows": opened.over, "under": note["token"], "token": secrets.token_hex(8)}
    new = freshness.note_of(folders, stamps, str(note["token"]), now_ns)
    if store.stamps_of(folders) != stamps or not store.write_over(path, over):
        return None
    freshness.write_note(path + ".note", {**new, "over": over["token"]})
    return _loaded(opened, folders)


def _loaded(opened: store.Store, folders: list[str]) -> Loaded:
    from kgraph.index.compiled import graph_of

    graph = graph_of(opened, folders)
    return Loaded(graph.data, graph, ())


def _grow_up(path: str, note: dict[str, object], folders: list[str], stamps: freshness.Stamps) -> None:
    """Young files that have stood still long enough need not be read the next time."""
    if not note.get("young"):
        return
    try:
        new = freshness.note_of(folders, stamps, str(note["token"]), time.time_ns())
        if len(new["young"]) < len(note["young"]):  # type: ignore[arg-type]
            new |= {"over": note["over"]} if "over" in note else {}
            freshness.write_note(path + ".note", new)
    except OSError:
        return


def from_files(settings: Settings) -> Loaded:
    """The folder read from its files, and its index made where that can be."""
    from kgraph.cli.loading import load

    folders = [str(f) for f in settings.folders]
    path = None if settings.skip_bad else store.index_path(folders)
    stamps, now = (None, 0) if path is None else (store.stamps_of(folders), time.time_ns())
    loaded = load(settings)
    if path is not None and stamps is not None and not settings.suppose and not settings.without:
        _compile(path, folders, stamps, loaded.graph, now)
    return loaded


def _compile(path: str, folders: list[str], stamps: freshness.Stamps, graph: Graph, now_ns: int) -> None:
    """Make the index; a cache that cannot be written is no fault of the question."""
    import secrets
    import sqlite3

    from kgraph.index import compiling
    from kgraph.index.renewing import numbered, texts

    token = secrets.token_hex(8)
    try:
        files = numbered(folders)
        rows = [("version", store.VERSION), ("token", token), ("stamps", stamps)]
        parts = (rows, compiling.rows(graph, files), texts(folders))
        store.write(path, (row for part in parts for row in part))
        with contextlib.suppress(OSError):
            os.unlink(path + store.OVER)
        note = freshness.note_of(folders, stamps, token, now_ns)
        if store.stamps_of(folders) == stamps:
            freshness.write_note(path + ".note", note)
    except (OSError, sqlite3.Error, ValueError):
        return


def against_files(settings: Settings, graph: Graph) -> tuple[int, list[str]] | None:
    """How many rows of the index say what the files say, and the faults of others; None where none stands.

    An index with a fault is taken away: the next question makes it anew.
    """
    from kgraph.index import compiling, verifying
    from kgraph.index.renewing import numbered, texts

    folders = [str(f) for f in settings.folders]
    path = store.index_path(folders)
    stamps = None if path is None else store.stamps_of(folders)
    if path is None or stamps is None or not os.path.exists(path):
        return None
    note = freshness.read_note(path + ".note")
    alike, faults = 0, []
    try:
        if not freshness.stands(note, folders, stamps):
            return None
        opened = store.Store(path)
        _lay_over(opened, path, note)
        expected = (*compiling.rows(graph, numbered(folders)), *texts(folders))
        for key, fault in verifying.differences(opened, expected):
            alike += not fault
            faults += [f"row {key!r} {fault}"] if fault else []
    except (Damaged, KeyError):
        faults.append("it cannot be read")
    if faults:
        for ending in (".note", store.OVER, ""):
            with contextlib.suppress(OSError):
                os.unlink(path + ending)
    return alike, faults
