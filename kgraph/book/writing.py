"""Which files of a book change: new pages, pages whose bytes differ, and pages of things that are gone.

The list of pages (`book.json`) says what the book wrote. Nothing that is not on it is ever replaced or
removed, and nothing outside the book's folder is touched, links included.
"""

from __future__ import annotations

import json
import os
import stat
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from kgraph.book.addresses import is_page_path
from kgraph.folder import placing, writing
from kgraph.folder.disk import display, reason
from kgraph.problems import CannotRun

LIST = "book.json"
STAMPS = "stamps.json"
_MARK = "pages of a book of facts"
_MOST_BYTES = 64 << 20
FEW = 500
"""So many files are flushed one by one; of more all at the end, for each takes a disk some milliseconds."""


@dataclass(frozen=True, slots=True)
class Written:
    """How many pages the book has, how many were written, how many were removed."""

    pages: int
    changed: int
    removed: int


def stamps_of(folder: Path) -> bytes | None:
    """The stamps that the last run left in a book; None where there are none."""
    return _bytes(folder / STAMPS) if LIST in _names(folder) and STAMPS in _listed(folder) else None


def write_book(
    folder: Path,
    paths: Sequence[str],
    pages: Iterable[tuple[str, bytes]],
    done: Callable[[], None],
    stamps: Callable[[], bytes | None] = lambda: None,
) -> Written:
    """Bring the folder to these pages, `done` called after each; one whose bytes are the same is let be.

    `pages` may leave out those that are known to be as they should. `stamps` is asked at the end for the file
    of stamps: until then there is none, so a run that is cut off vouches for nothing.
    Raises CannotRun, before anything is written, for a folder that is neither empty nor a book, and for
    whatever stops the writing; every page is then as it was or as it is to be, never half.
    """
    mine = _listed(folder)
    _refuse_strangers(folder, {*paths, STAMPS} - mine)
    inside = sorted({p.rpartition("/")[0] for p in paths})
    _refuse_links(folder, inside)
    writing.create_folder(folder)
    # What is going to be written is listed first, and the list is the first thing in the folder: a run that
    # is cut off leaves no page that nobody owns, and no folder that the next run would take for a stranger's.
    listed = sorted({*mine, *paths, STAMPS})
    _write(folder, LIST, _list_bytes(listed))
    for name in inside:
        writing.create_folder(folder / name)
        # What a run that was killed left half written.
        placing.remove_leftovers(folder / name)
    _remove(folder, STAMPS)
    changed = 0
    few = len(paths) <= FEW
    for path, data in pages:
        changed += _write(folder, path, data, lasting=few)
        done()
    if changed and not few:
        writing.flush_all()
    text = stamps()
    if text is not None:
        _write(folder, STAMPS, text)
    gone = sorted(mine - {*paths, STAMPS})
    removed = sum(_remove(folder, path) for path in gone)
    if gone:
        _write(folder, LIST, _list_bytes(sorted({*paths, STAMPS})))
    return Written(len(paths), changed, removed)


def _names(folder: Path) -> list[str]:
    """What lies in a folder; nothing where there is none."""
    if not os.path.lexists(folder):
        return []
    try:
        return os.listdir(folder)
    except OSError as error:
        raise CannotRun(f"{display(folder)}: {reason(error)}") from None


def _list_bytes(paths: Sequence[str]) -> bytes:
    return (json.dumps({"holds": _MARK, "pages": list(paths)}, indent=0) + "\n").encode()


def _listed(folder: Path) -> set[str]:
    """The pages that this folder's book wrote; empty for a new or empty folder."""
    names = _names(folder)
    if not [n for n in names if not n.startswith(".kgraph-")]:
        return set()
    says = f"{display(folder)}: is not empty and not a book of kgraph; name a new or an empty folder"
    if LIST not in names:
        raise CannotRun(says)
    try:
        held = json.loads(_bytes(folder / LIST) or b"")
        pages = held["pages"] if held["holds"] == _MARK else None
    except (ValueError, KeyError, TypeError):
        pages = None
    if not isinstance(pages, list) or not all(isinstance(p, str) and is_page_path(p) for p in pages):
        raise CannotRun(f"{says} ({LIST} there is damaged or of something else)")
    return set(pages)


def _refuse_strangers(folder: Path, paths: Iterable[str]) -> None:
    """Raise CannotRun where a new page would take the place of a file that the book did not write."""
    for path in sorted(paths):
        if os.path.lexists(folder / path):
            says = "is there already and no page of the book; take it away"
            raise CannotRun(f"{display(folder / path)}: {says}")


def _refuse_links(folder: Path, inside: Iterable[str]) -> None:
    """Raise CannotRun where a folder of the book is a link."""
    for name in inside:
        here = folder / name
        if here.is_symlink() and name:
            raise CannotRun(f"{display(here)}: is a link, which could lead out of the book; take it away")


def _bytes(path: Path) -> bytes | None:
    """The bytes of a regular file of a book; None where there is none. Links are not followed."""
    try:
        found = os.lstat(path)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise CannotRun(f"{display(path)}: {reason(error)}") from None
    if not stat.S_ISREG(found.st_mode):
        raise CannotRun(f"{display(path)}: is no regular file; take it away")
    try:
        return path.read_bytes() if found.st_size <= _MOST_BYTES else b""
    except OSError as error:
        raise CannotRun(f"{display(path)}: {reason(error)}") from None


def _write(folder: Path, path: str, data: bytes, lasting: bool = True) -> bool:
    """Write one file if its bytes differ; whether it was written."""
    if not is_page_path(path):
        raise CannotRun(f"{path!r} is no name of a page")
    target = folder / path
    there = _bytes(target)
    if there == data:
        return False
    if there is None:
        writing.write_new(target, data, lasting)
    else:
        writing.write_over(target, data, lasting)
    return True


def _remove(folder: Path, path: str) -> bool:
    """Remove a page that the book wrote, and its folder if it is empty then."""
    target = folder / path
    if target.parent.is_symlink() and target.parent != folder:
        return False
    try:
        if not stat.S_ISREG(os.lstat(target).st_mode):
            return False
        target.unlink()
    except FileNotFoundError:
        return False
    except OSError as error:
        raise CannotRun(f"{display(target)}: {reason(error)}") from None
    if target.parent != folder:
        with suppress(OSError):
            target.parent.rmdir()
    return True
