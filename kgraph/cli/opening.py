"""A folder for one question: from its compiled index where that stands, else from its files.

An index never changes an answer. Whatever is wrong with it, the files are read, and it is made anew.
"""

from __future__ import annotations

import contextlib
import os
import time
import zlib
from collections.abc import Iterator
from typing import Any

import click

from kgraph.api.loaded import Loaded
from kgraph.cli.settings import Settings
from kgraph.index import freshness, kept, store
from kgraph.index.freshness import IndexPlace
from kgraph.problems import Damaged


def _place(settings: Settings) -> IndexPlace | None:
    """None where indexes are switched off, or none can stand for these folders."""
    folders = settings.shown
    path = store.index_path(folders) if _lie_apart(folders) else None
    stamps, now_ns = None if path is None else store.stamps_of(folders), time.time_ns()
    return None if path is None or stamps is None else IndexPlace(path, folders, stamps, now_ns)


def _lie_apart(folders: list[str]) -> bool:
    """Whether no folder lies in another: of a file that is read twice no index can tell which it means."""
    whole = [os.path.join(os.path.realpath(f), "") for f in folders] if len(folders) > 1 else []
    return not any(a.startswith(b) for i, a in enumerate(whole) for j, b in enumerate(whole) if i != j)


def _place_for_question(settings: Settings) -> IndexPlace | None:
    """The same; None where something is asked that no index knows."""
    return None if settings.suppose or settings.without or _forgotten else _place(settings)


_last: list[IndexPlace] = []
_forgotten: list[IndexPlace] = []
"""The index that the last question began with, and that which it could not believe."""


@contextlib.contextmanager
def without_index() -> Iterator[None]:
    """Take away the index that could not be believed; within the block no other is used or made."""
    _forgotten[:] = _last
    for place in _last:
        _take_away(place)
    try:
        yield
    finally:
        _forgotten.clear()


def _take_away(place: IndexPlace) -> None:
    kept.take_away(place.path)
    for ending in (".note", store.OVER, ""):
        with contextlib.suppress(OSError):
            os.unlink(place.path + ending)


def opened(settings: Settings) -> Loaded:
    """The folder for a question: by its index, else read whole. What cannot be believed raises Damaged later.

    Then :func:`kgraph.cli.main.run` asks once more, from the files; so print nothing before all is known.
    """
    place = _place_for_question(settings)
    found = (_standing(place) or _renewed(place) or _compiled(place)) if place else None
    if found is None:
        from kgraph.cli.loading import load

        return load(settings)
    _last[:] = [place] if place is not None else []
    # What was fetched holds the index by a cycle: it would stay open until that is collected.
    if context := click.get_current_context(silent=True):
        context.call_on_close(found.close)
    return found


def opened_whole(settings: Settings) -> Loaded:
    """The folder for what goes through all of it: the entries by an index, and all else built of them."""
    from kgraph import collection
    from kgraph.fits import graph as graphs

    found = opened(settings)
    if not hasattr(found.data, "stored"):
        return found
    data = collection.build(found.data.entries)
    return found._replace(data=data, graph=graphs.build(data))


def from_index(settings: Settings) -> Loaded | None:
    """The folder as its index has it; None where there is none that stands."""
    place = _place_for_question(settings)
    return _standing(place) if place else None


def renewed(settings: Settings) -> Loaded | None:
    """The folder by its index where few files have changed: the rows that they change are made anew."""
    place = _place_for_question(settings)
    return _renewed(place) if place else None


def _standing(place: IndexPlace) -> Loaded | None:
    try:
        note = freshness.read_note(place.path + ".note")
        opened = _opened(place, note)
        if opened is None:
            return None
        _grow_up(place, note)
        return _loaded(opened, place)
    except (Damaged, KeyError):
        return None


def _opened(place: IndexPlace, note: Any) -> store.Store | None:
    """The index with its newer rows, None where the files do not stand as noted; raises Damaged, KeyError."""
    if not freshness.stands(note, place.folders, place.stamps):
        return None
    opened = store.Store(place.path)
    _lay_over(opened, place.path, note)
    return opened


def _lay_over(opened: store.Store, path: str, note: dict[str, object]) -> None:
    """Put newer rows over the index that a note is about; raises Damaged where they are not of one make."""
    if opened.need("token") != note["token"]:
        raise Damaged
    if "over" not in note:
        return
    opened.over = store.read_over(path, str(note["over"]))
    if opened.over["under"] != note["token"]:
        raise Damaged


def _renewed(place: IndexPlace) -> Loaded | None:
    if not os.path.exists(place.path + ".note"):
        return None
    try:
        return _renew(place)
    except (Damaged, KeyError, TypeError, ValueError, OSError, zlib.error):
        return None


def _renew(place: IndexPlace) -> Loaded | None:
    """Raises whatever an index that is out of order may lead to."""
    from kgraph.index import renewing

    note = freshness.read_note(place.path + ".note")
    opened = store.Store(place.path)
    _lay_over(opened, place.path, note)
    young = freshness.young_of(place.folders, place.stamps, place.now_ns)
    over = renewing.renew(opened, place.folders, place.stamps, note["young"])
    if over is None:
        return None
    over |= {"under": note["token"], "token": os.urandom(8).hex()}
    new = freshness.note_of(place.folders, place.stamps, str(note["token"]), young)
    if store.stamps_of(place.folders) != place.stamps or not store.write_over(place.path, over):
        return None
    freshness.write_note(place.path + ".note", {**new, "over": over["token"]})
    opened.over = over
    return _loaded(opened, place)


def _loaded(opened: store.Store, place: IndexPlace) -> Loaded:
    from kgraph.index.entries import StoredEntries
    from kgraph.index.links import graph_of

    stored = StoredEntries(opened, place.folders)
    graph = graph_of(stored)
    if len(stored) >= kept.LEAST_ENTRIES:
        graph.kept = kept.KeptFiles(place.path, opened)
    return Loaded(graph.data, graph, (), close=opened.close)


def _grow_up(place: IndexPlace, note: dict[str, Any]) -> None:
    """Young files that have stood still long enough need not be read the next time."""
    if not note.get("young"):
        return
    try:
        young = freshness.still_young(note["young"], place.stamps, time.time_ns())
        if len(young) < len(note["young"]):
            freshness.write_note(place.path + ".note", {**note, "young": young})
    except OSError:
        return


def _compiled(place: IndexPlace) -> Loaded | None:
    from kgraph.cli import indexing

    if indexing.known_faulty(place):
        return None
    return _standing(place) if indexing.compile_index(place) else None


def against_files(settings: Settings) -> tuple[int, list[str]] | None:
    """How much of the index says what the files say, and the faults of the rest; None where none stands.

    An index with a fault is taken away: the next question makes it anew.
    """
    from kgraph.cli.indexing import files_of
    from kgraph.index import verifying
    from kgraph.index.compiling import Faulty
    from kgraph.index.entries import StoredEntries

    place = _place(settings)
    if place is None or not os.path.exists(place.path):
        return None
    alike, faults = 0, []
    try:
        opened = _opened(place, freshness.read_note(place.path + ".note"))
        if opened is None:
            return None
        for what, fault in verifying.differences(StoredEntries(opened, place.folders), files_of(place)):
            alike += not fault
            faults += [f"{what} {fault}"] if fault else []
    except (Damaged, Faulty, KeyError):
        faults.append("it cannot be read")
    if faults:
        _take_away(place)
    return alike, faults
