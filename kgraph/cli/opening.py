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

from kgraph.api.loaded import Indexed, Loaded, Opened
from kgraph.cli.settings import Settings
from kgraph.index import freshness, store
from kgraph.index.freshness import IndexPlace
from kgraph.problems import Damaged, NotInIndex

if TYPE_CHECKING:
    from kgraph.fits.graph import WholeGraph


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
    return None if settings.suppose or settings.without else _place(settings)


def with_folder(settings: Settings, body: Callable[[Opened], int]) -> int:
    """Run what needs the folder; where the index gives out in the middle, once more from the files.

    `body` prints nothing before it has all of its answer.
    """
    place = _place_for_question(settings)
    found = (_standing(place) or _renewed(place) or _compiled(place)) if place else None
    if found is not None:
        try:
            return body(found)
        except NotInIndex:
            from kgraph.cli.loading import load

            return body(load(settings))
        except Damaged:
            pass
        finally:
            # What was fetched holds the index by a cycle: it would stay open until that is collected.
            found.close()
    return body(from_files(settings))


def from_index(settings: Settings) -> Indexed | None:
    """The folder as its index has it; None where there is none that stands."""
    place = _place_for_question(settings)
    return _standing(place) if place else None


def renewed(settings: Settings) -> Indexed | None:
    """The folder by its index where few files have changed: the rows that they change are made anew."""
    place = _place_for_question(settings)
    return _renewed(place) if place else None


def _standing(place: IndexPlace) -> Indexed | None:
    try:
        note = freshness.read_note(place.path + ".note")
        opened = _opened(place, note)
        if opened is None:
            return None
        _grow_up(place, note)
        return _loaded(opened, place.folders)
    except (Damaged, KeyError):
        return None


def _opened(place: IndexPlace, note: Any) -> store.Store | None:
    """The index with its newer rows, None where the files do not stand as noted; raises Damaged, KeyError."""
    if not freshness.stands(note, place.folders, place.stamps):
        return None
    opened = store.Store(place.path)
    _lay_over(opened, place.path, note)
    return opened


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


def _renewed(place: IndexPlace) -> Indexed | None:
    if not os.path.exists(place.path + ".note"):
        return None
    try:
        return _renew(place)
    except (Damaged, KeyError, TypeError, ValueError, OSError, zlib.error):
        return None


def _renew(place: IndexPlace) -> Indexed | None:
    """Raises whatever an index that is out of order may lead to."""
    from kgraph.index import renewing

    note = freshness.read_note(place.path + ".note")
    opened = store.Store(place.path)
    over = _lay_over(opened, place.path, note)
    young = freshness.young_of(place.folders, place.stamps, place.now_ns)
    if not renewing.renew(opened, place.folders, over, place.stamps, note["young"]):
        return None
    over |= {"rows": opened.over, "under": note["token"], "token": os.urandom(8).hex()}
    new = freshness.note_of(place.folders, place.stamps, str(note["token"]), young)
    if store.stamps_of(place.folders) != place.stamps or not store.write_over(place.path, over):
        return None
    freshness.write_note(place.path + ".note", {**new, "over": over["token"]})
    return _loaded(opened, place.folders)


def _loaded(opened: store.Store, folders: list[str]) -> Indexed:
    from kgraph.index.compiled import graph_of

    graph = graph_of(opened, folders)
    return Indexed(graph.data, graph, opened.close)


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


def _compiled(place: IndexPlace) -> Indexed | None:
    """A large folder by an index that several processes make."""
    from kgraph.cli import indexing

    return _standing(place) if indexing.compile_in_shares(place) else None


def from_files(settings: Settings) -> Loaded:
    """The folder read from its files, and its index made where that can be: none of one with faults."""
    from kgraph.cli import indexing
    from kgraph.cli.loading import load

    place = _place_for_question(settings)
    young = indexing.young(place) if place else None
    loaded = load(settings)
    if place is not None and young is not None and not loaded.left_out:
        indexing.compile_whole(place, loaded.graph, young)
    return loaded


def against_files(settings: Settings, graph: WholeGraph) -> tuple[int, list[str]] | None:
    """How many rows of the index say what the files say, and the faults of others; None where none stands.

    An index with a fault is taken away: the next question makes it anew.
    """
    from kgraph.cli.indexing import rows
    from kgraph.index import verifying

    place = _place(settings)
    if place is None or not os.path.exists(place.path):
        return None
    alike, faults = 0, []
    try:
        opened = _opened(place, freshness.read_note(place.path + ".note"))
        if opened is None:
            return None
        for key, fault in verifying.differences(opened, rows(place, graph)):
            alike += not fault
            faults += [f"row {key!r} {fault}"] if fault else []
    except (Damaged, KeyError):
        faults.append("it cannot be read")
    if faults:
        for ending in (".note", store.OVER, ""):
            with contextlib.suppress(OSError):
                os.unlink(place.path + ending)
    return alike, faults
