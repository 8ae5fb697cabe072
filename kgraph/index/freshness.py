"""Whether the files of a folder stand as they stood when its index was made.

A small note beside the index tells how every file stood: size, times and inode. A file that was changed
shortly before it was read may be changed again within one tick of the clock, and stand the same; of such
young files the note has the digest too, and they are read again until they are no longer young.
"""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from typing import Any, NamedTuple

try:
    # The digest itself: hashlib loads OpenSSL beside it, a tenth of the time of a question.
    from _blake2 import blake2b
except ImportError:
    from hashlib import blake2b

from kgraph.folder.files import Stamp
from kgraph.index import store

YOUNG_NS = 2_000_000_000
"""Two seconds: the coarsest clock of a file system in use."""

Stamps = list[list[Stamp]]


class IndexPlace(NamedTuple):
    """Where the index of some fact folders lies, and how their files stood at a moment."""

    path: str
    folders: list[str]
    stamps: Stamps
    now_ns: int


Young = list[list[Any]]
"""Young files: of each the number of its folder, its path there, and the digest of its bytes."""


def young_of(folders: Sequence[str], found: Stamps, now_ns: int) -> Young:
    """The young files, with their digests; raises OSError.

    To be asked before the files are read: what is saved after this, unseen by the stamps, then never stands.
    """
    return [
        [i, path, _digest(os.path.join(folders[i], path))]
        for i, stamps in enumerate(found)
        for path, _, *times, _ in stamps
        if max(times) > now_ns - YOUNG_NS
    ]


def still_young(young: Young, found: Stamps, now_ns: int) -> Young:
    """Those of the young files that still are."""
    times = {(i, stamp[0]): max(stamp[2], stamp[3]) for i, stamps in enumerate(found) for stamp in stamps}
    return [one for one in young if times[one[0], one[1]] > now_ns - YOUNG_NS]


def note_of(folders: Sequence[str], found: Stamps, token: str, young: Young) -> dict[str, Any]:
    """How the files stood; `token` is the index that was made from them."""
    return {"token": token, "from": _summary(folders, found), "young": young, "files": _numbers(found)}


def _numbers(found: Stamps) -> int:
    return sum(len(stamps) for stamps in found)


def _summary(folders: Sequence[str], found: Stamps) -> str:
    said = repr(([os.path.realpath(f) for f in folders], found))
    return blake2b(said.encode("utf-8", "surrogatepass"), digest_size=16).hexdigest()


def _digest(path: str) -> str:
    with open(path, "rb") as stream:
        return blake2b(stream.read(), digest_size=32).hexdigest()


def stands(note: Any, folders: Sequence[str], found: Stamps) -> bool:
    """Whether the files stand as the note says."""
    if not isinstance(note, dict) or note.get("from") != _summary(folders, found):
        return False
    try:
        return all(
            _digest(os.path.join(folders[i], path)) == digest for i, path, digest in note.get("young", ())
        )
    except (OSError, TypeError, ValueError, IndexError):
        return False


def read_note(path: str) -> Any:
    """The note beside an index; None where there is none that can be read."""
    try:
        with open(path, encoding="utf-8") as stream:
            return json.load(stream)
    except (OSError, ValueError, RecursionError):
        return None


def write_note(path: str, note: dict[str, Any]) -> None:
    """Put a note in place at once. Raises OSError."""
    store.put(path, json.dumps(note).encode())


def changed(
    folders: Sequence[str], stood: Sequence[Sequence[Any]], found: Stamps, young: Young
) -> list[tuple[int, str]]:
    """The files, each as folder and path, that changed, came or went since they stood so.

    Of young files only the digest can tell. Raises OSError.
    """
    was = {(i, stamp[0]): tuple(stamp) for i, stamps in enumerate(stood) for stamp in stamps}
    now = {(i, stamp[0]): tuple(stamp) for i, stamps in enumerate(found) for stamp in stamps}
    other = {file for file in was | now if was.get(file) != now.get(file)}
    other |= {
        (i, path) for i, path, digest in young
        if (i, path) not in other and _digest(os.path.join(folders[i], path)) != digest
    }  # fmt: skip
    return sorted(other)
