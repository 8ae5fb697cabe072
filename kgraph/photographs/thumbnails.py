"""Small pictures of the photographs of a folder: made apart, and kept in the cache by their content.

Many are made by one process with limits. One that cannot be made leaves a gap, and never the others out.
"""

from __future__ import annotations

import base64
import hashlib
import os
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from kgraph.exchange import process
from kgraph.folder import writing
from kgraph.folder.disk import bytes_of
from kgraph.index.store import cache_folder
from kgraph.photographs import MEMORY_MIB, MOST_BYTES, MOST_PIXELS, SECONDS, inside
from kgraph.photographs.turning import LARGEST
from kgraph.problems import CannotRun

FORM = 1
"""Changed whenever another thumbnail is made of the same photograph."""
AT_ONCE, BYTES_AT_ONCE = 100, 64 << 20
"""So many photographs, or so many bytes of them, go to one process."""


def thumbnails(folders: Sequence[Path], paths: Iterable[str]) -> Iterator[tuple[str, bytes]]:
    """(path, JPEG of less than 20 kB) of every photograph that is there and can be shown."""
    waiting: list[tuple[str, str, bytes]] = []
    for path in dict.fromkeys(paths):
        data = _data(folders, path)
        if data is None:
            continue
        digest = hashlib.sha256(data).hexdigest()
        if (made := _kept(digest)) is not None:
            yield path, made
            continue
        waiting.append((path, digest, data))
        if len(waiting) >= AT_ONCE or sum(len(d) for _, _, d in waiting) >= BYTES_AT_ONCE:
            yield from _made(waiting)
            waiting = []
    yield from _made(waiting)


def _data(folders: Sequence[Path], path: str) -> bytes | None:
    for folder in folders:
        file = inside(folder, path)
        with suppress(OSError, CannotRun):
            if file is not None and file.stat().st_size <= MOST_BYTES:
                return bytes_of(file)
    return None


def _made(waiting: Sequence[tuple[str, str, bytes]]) -> Iterator[tuple[str, bytes]]:
    small = _together([data for _, _, data in waiting])
    for (path, digest, _), made in zip(waiting, small, strict=True):
        if made is not None:
            _keep(digest, made)
            yield path, made


def _together(pictures: Sequence[bytes]) -> list[bytes | None]:
    """The thumbnails of several; where the process of all of them fails, each in one of its own."""
    if not pictures:
        return []
    job = {
        "file": "thumbnails",
        "seconds": SECONDS,
        "memory_mib": MEMORY_MIB,
        "most_pixels": MOST_PIXELS,
        "sizes": [len(data) for data in pictures],
    }
    try:
        told: dict[str, Any] = process.run("kgraph.photographs.turning", job, pictures)
    except CannotRun:
        return [None] if len(pictures) == 1 else [one for data in pictures for one in _together([data])]
    return [base64.b64decode(one) if one else None for one in told["thumbnails"]]


# The cache ------------------------------------------------------------------------------------


def _place(digest: str) -> Path | None:
    base = cache_folder()
    return Path(base) / "thumbnails" / f"{digest}-{FORM}.jpg" if base else None


def _kept(digest: str) -> bytes | None:
    place = _place(digest)
    try:
        if place is None or place.is_symlink() or not place.is_file():
            return None
        data = place.read_bytes()
    except OSError:
        return None
    whole = data.startswith(b"\xff\xd8\xff") and data.endswith(b"\xff\xd9") and len(data) < LARGEST
    return data if whole else None


def _keep(digest: str, data: bytes) -> None:
    """A cache that cannot be written is no fault of the page."""
    place = _place(digest)
    if place is None:
        return
    with suppress(OSError, CannotRun):
        os.makedirs(place.parent, mode=0o700, exist_ok=True)
        writing.write_over(place, data)
