"""The index of some fact folders in the cache: opened where it stands, brought up to date, or made.

An index is a table of all files, and where files have changed since a small table of theirs over it: the
lines of a changed file go, whatever they say, and those that it has now come. Which tables belong together
is told by tokens in their heads and in the note, which is written last. Whatever does not belong together,
is torn or of another program is not believed, and made anew.
"""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from kgraph.problems import Damaged
from kgraph.source import cache, fresh
from kgraph.source.index import NEWER, Index, Listed
from kgraph.source.table import Table

if TYPE_CHECKING:
    from kgraph.source.compile import File, Sorted, Step

OVER = ".over"
"""What the name of the table of newer lines ends in."""
LEAST_OVER, MOST_OVER = 256 << 10, 2 << 20
"""Bytes of files that lie over a table, past which all is made anew: an eighth of all, within these."""

Steps = Callable[[str, int], contextlib.AbstractContextManager["Step"]]
"""Tells the user how far it is: what is done, and how many files there are."""


class Folders:
    """Some fact folders, where their index lies, and how their files stood at a moment."""

    def __init__(self, path: str, folders: list[str], stamps: fresh.Stamps, now_ns: int) -> None:
        self.path, self.folders, self.stamps, self.now_ns = path, folders, stamps, now_ns


def place_of(folders: list[str]) -> Folders | None:
    """None where indexes are switched off, or none can stand for these folders."""
    path = cache.index_path(folders) if _lie_apart(folders) else None
    stamps, now_ns = None if path is None else cache.stamps_of(folders), time.time_ns()
    return None if path is None or stamps is None else Folders(path, folders, stamps, now_ns)


def _lie_apart(folders: list[str]) -> bool:
    """Whether no folder lies in another: of a file that is read twice no index can tell which it means."""
    whole = [os.path.join(os.path.realpath(f), "") for f in folders] if len(folders) > 1 else []
    return not any(a.startswith(b) for i, a in enumerate(whole) for j, b in enumerate(whole) if i != j)


# Opened ------------------------------------------------------------------------------------------


def standing(place: Folders) -> Index | None:
    """The index, where it stands for the files as they are."""
    try:
        note = fresh.read_note(place.path + ".note")
        if not fresh.stands(note, place.folders, place.stamps):
            return None
        index = _opened(place, note)
        _grow_up(place, note)
        return index
    except (Damaged, KeyError, TypeError, ValueError):
        return None


def _opened(place: Folders, note: Any) -> Index:
    """The tables that a note is about; raises Damaged, KeyError, TypeError."""
    base = Table(place.path)
    over = Table(place.path + OVER) if "over" in note else None
    if base.token != note["token"] or (over and over.token != f"{note['over']} {note['token']}"):
        raise Damaged
    return Index(base, over, place.folders)


def _grow_up(place: Folders, note: dict[str, Any]) -> None:
    """Young files that have stood still long enough need not be read the next time."""
    if not note.get("young"):
        return
    with contextlib.suppress(OSError):
        young = fresh.still_young(note["young"], place.stamps, time.time_ns())
        if len(young) < len(note["young"]):
            fresh.write_note(place.path + ".note", {**note, "young": young})


# Brought up to date ------------------------------------------------------------------------------


def renewed(place: Folders, steps: Steps) -> Index | None:
    """The index with the lines of changed files made anew; None where there is none, or too much changed."""
    if not os.path.exists(place.path + ".note"):
        return None
    try:
        return _renew(place, steps)
    except (Damaged, KeyError, TypeError, ValueError, OSError, EOFError):
        return None


def _renew(place: Folders, steps: Steps) -> Index | None:
    note = fresh.read_note(place.path + ".note")
    index = _opened(place, note)
    before = fresh.young_of(place.folders, place.stamps, place.now_ns)
    known = {(f.folder, f.path): f for f in index.files()}
    other = fresh.changed_young(place.folders, note["young"])
    now = _files(place)
    new = [f for f in now if _is_new(f, known.get((f.folder, f.stamp[0]))) or (f.folder, f.stamp[0]) in other]
    there = {(f.folder, f.stamp[0]) for f in now} - {(f.folder, f.stamp[0]) for f in new}
    stay = [f for at, f in known.items() if at in there]
    if not _is_small(place, new, stay):
        return None
    token = os.urandom(8).hex()
    with cache.writing(place.path + OVER) as stream:
        _write_over(stream, f"{token} {note['token']}", index, stay, new, steps)
    if not _noted(place, before, str(note["token"]), {"over": token}):
        return None
    return _opened(place, fresh.read_note(place.path + ".note"))


def _is_new(file: File, known: Listed | None) -> bool:
    return known is None or known.stamp != tuple(file.stamp)


def _is_small(place: Folders, new: Sequence[File], stay: Sequence[Listed]) -> bool:
    """Whether what lies over the table then is little enough to be written again each time."""
    whole = sum(stamp[1] for those in place.stamps for stamp in those)
    most = max(LEAST_OVER, min(MOST_OVER, whole // 8))
    older = sum(int(f.stamp[1]) for f in stay if int(f.number, 16) >= NEWER)
    return older <= most and sum(f.stamp[1] for f in new) <= max(most, whole // 4)


def _write_over(
    stream: Any, token: str, index: Index, stay: Sequence[Listed], new: Sequence[File], steps: Steps
) -> None:
    from kgraph.source import compile as compiling

    kept = {f.number for f in stay}
    gone = [f"&{n}" for n in sorted({f.number for f in index.all_of_base()} - kept)]
    first = max([NEWER, *(int(n, 16) + 1 for n in kept)])
    numbered = [f._replace(number=first + n) for n, f in enumerate(new)]
    with steps("reading", len(new)) as step:
        found = compiling.lines_of(numbered, step)
    found["&"] = gone
    for letter, lines in index.of_newer(kept).items():
        found[letter] = sorted({*found.get(letter, ()), *lines})
    compiling.write(stream, token, [compiling.packed(found)])


def _files(place: Folders) -> list[File]:
    from kgraph.source import compile as compiling

    return compiling.in_order(place.folders, place.stamps)


# Made --------------------------------------------------------------------------------------------


def made(place: Folders, steps: Steps) -> Index | None:
    """A new index of the files; None where the cache cannot be written, or a file cannot be read."""
    from kgraph.source import compile as compiling
    from kgraph.source import work

    try:
        before = fresh.young_of(place.folders, place.stamps, place.now_ns)
        files, token = _files(place), os.urandom(8).hex()
        with cache.writing(place.path) as stream:
            with steps("reading", len(files)) as step:
                shares: list[Sorted] = work.read(files, step)
            compiling.write(stream, token, shares)
        with contextlib.suppress(OSError):
            os.unlink(place.path + OVER)
        if not _noted(place, before, token, {}):
            return None
        return _opened(place, fresh.read_note(place.path + ".note"))
    except (OSError, EOFError, ValueError, Damaged, KeyError, TypeError):
        return None


def _noted(place: Folders, before: fresh.Young, token: str, more: dict[str, str]) -> bool:
    """Write how the files stood, unless they stand otherwise by now; `before`: the young ones when it began.

    What was saved meanwhile, within one tick of the clock, only the digests can tell.
    """
    note = fresh.note_of(place.folders, place.stamps, token, before)
    same = cache.stamps_of(place.folders) == place.stamps
    if not same or fresh.young_of(place.folders, place.stamps, place.now_ns) != before:
        return False
    fresh.write_note(place.path + ".note", {**note, **more})
    return True


# Compared ----------------------------------------------------------------------------------------


def against_files(place: Folders, steps: Steps) -> tuple[int, list[str]] | None:
    """How many lines of the index say what the files say, and the faults of others; None where none stands.

    An index with a fault is taken away: the next question makes it anew.
    """
    if not os.path.exists(place.path):
        return None
    note = fresh.read_note(place.path + ".note")
    if not fresh.stands(note, place.folders, place.stamps):
        return None
    try:
        alike, faults = _compared(_opened(place, note), place, steps)
    except (Damaged, KeyError, TypeError, ValueError):
        alike, faults = 0, ["it cannot be read"]
    if faults:
        for ending in (".note", OVER, ""):
            with contextlib.suppress(OSError):
                os.unlink(place.path + ending)
    return alike, faults


def _compared(index: Index, place: Folders, steps: Steps) -> tuple[int, list[str]]:
    from kgraph.source import compile as compiling

    numbers = {(f.folder, f.path): int(f.number, 16) for f in index.files()}
    files = [f._replace(number=numbers.get((f.folder, f.stamp[0]), -1)) for f in _files(place)]
    if any(f.number < 0 for f in files) or len(files) != len(numbers):
        return 0, ["it is not of these files"]
    with steps("reading", len(files)) as step:
        expected = {line for found in compiling.lines_of(files, step).values() for line in found}
    found = set(index.every())
    # Which spellings there were holds of all files that there have been.
    wrong = [f"line {line[:60]!r} is missing" for line in sorted(expected - found)]
    more = sorted(line for line in found - expected if line[0] != "y")
    wrong += [f"line {line[:60]!r} stands for nothing in the files" for line in more]
    return len(expected & found), wrong
