"""Photographs: copied into a folder upright, without their metadata, by what they hold.

A picture is read in a process of its own with limits of time and memory. It is kept under the first 16 hex
digits of the SHA-256 of what is kept, and lies on the disk before any entry names it: an entry never names a
picture that is not there.
"""

from __future__ import annotations

import base64
import hashlib
import os
import stat
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import NamedTuple

from kgraph import records
from kgraph.exchange import process
from kgraph.folder import placing, writing
from kgraph.folder.disk import bytes_of, display, reason
from kgraph.folder.files import PICTURES
from kgraph.problems import CannotRun, Problem, Where

ROOM = PICTURES
MOST_BYTES = 25_000_000
MOST_PIXELS = 40_000_000
LONGEST_SIDE = 2_000
SECONDS = 60.0
MEMORY_MIB = 512
"""Of addresses, most of them never used: what it takes stays under half of it."""


class Picture(NamedTuple):
    """A picture as it is kept: its path from the root of the folder, and its bytes."""

    path: str
    data: bytes


def read(file: Path, full: bool = False) -> Picture:
    """A picture as it will be kept; raises CannotRun with one line where it cannot be taken."""
    job = {
        "file": display(file),
        "seconds": SECONDS,
        "memory_mib": MEMORY_MIB,
        "longest": 0 if full else LONGEST_SIDE,
        "most_pixels": MOST_PIXELS,
    }
    result = process.run("kgraph.photographs.turning", job, [_bytes(file)])
    data = base64.b64decode(result["data"])
    return Picture(f"{ROOM}/{_digits(data)}.{result['suffix']}", data)


def _bytes(file: Path) -> bytes:
    """The bytes of a regular file that is no larger than a picture may be."""
    try:
        # What is no file is not opened: a pipe would wait for ever.
        found = file.stat()
    except (OSError, ValueError) as error:
        raise _refused(file, reason(error)) from None
    if not stat.S_ISREG(found.st_mode):
        raise _refused(file, "is no file")
    if found.st_size > MOST_BYTES:
        raise _refused(file, f"has more than {MOST_BYTES // 1_000_000} MB", "make it smaller first")
    return bytes_of(file)


def _refused(file: Path, says: str, mend: str = "") -> CannotRun:
    return CannotRun(Problem(Where(display(file)), "picture", says, mend))


def _digits(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:16]


def keep(folder: Path, pictures: Iterable[Picture]) -> None:
    """Write pictures into a folder, each whole and lasting before this returns; one that is there stays."""
    for picture in pictures:
        target = folder / picture.path
        if os.path.islink(target.parent) or os.path.islink(target):
            raise _refused(target, "is a link, and a picture is not written through it", "take it away")
        writing.create_folder(target.parent)
        if target.exists():
            if bytes_of(target) != picture.data:
                raise _refused(target, "is there already and was altered", "move it away and try again")
            continue
        writing.write_new(target, picture.data)


def taken(value: object, folder: Path, full: bool = False) -> tuple[list[str], list[Picture]]:
    """(the paths that an entry names, the pictures to be kept) of the files that a user gives.

    A picture that the folder keeps already may be given by its path from the root of the folder.
    """
    files = [value] if isinstance(value, str) else [v for v in value if isinstance(v, str)]  # type: ignore[attr-defined]
    paths, pictures = [], []
    for file in files:
        if records.KEPT_PHOTO.match(file) and inside(folder, file):
            paths.append(file)
            continue
        pictures.append(read(Path(file), full))
        paths.append(pictures[-1].path)
    return list(dict.fromkeys(paths)), pictures


def brought(theirs: Path, entries: Iterable[records.Entry]) -> tuple[list[Picture], list[str]]:
    """(the pictures of another folder that entries of it name, the paths of those that cannot be taken over).

    Only what is there whole, as it was kept: under its hash, and no link out of their folder.
    """
    pictures, missing = [], []
    for path in dict.fromkeys(p for entry in entries for p in records.photos_of(entry)):
        file, digits = inside(theirs, path), records.KEPT_PHOTO.match(path)
        if file is None or digits is None:
            missing.append(path)
            continue
        data = _bytes(file)
        if _digits(data) == digits[1]:
            pictures.append(Picture(path, data))
        else:
            missing.append(path)
    return pictures, missing


def from_table(
    theirs: Path, ours: Path, paths: Iterable[str]
) -> tuple[dict[str, str], list[Picture], list[str]]:
    """(path as named -> path as kept, the pictures to be kept, the paths that are in neither folder).

    What lies beside a table is taken as `read` takes it, but what was kept already stays byte for byte.
    Raises CannotRun for a picture that cannot be taken; nothing outside of their folder is opened.
    """
    kept, pictures, missing = {}, [], []
    for path in dict.fromkeys(paths):
        file, digits = inside(theirs, path), records.KEPT_PHOTO.match(path)
        if digits and inside(ours, path):
            continue
        if file is None:
            missing.append(path)
            continue
        whole = digits and _digits(data := _bytes(file)) == digits[1]
        pictures.append(Picture(path, data) if whole else read(file))
        kept[path] = pictures[-1].path
    return kept, pictures, missing


# What entries name ----------------------------------------------------------------------------


def inside(folder: Path, path: str) -> Path | None:
    """The file that a path names in a folder; None where there is none, or it lies outside."""
    target = folder / path
    try:
        if not stat.S_ISREG(target.lstat().st_mode):
            return None
        return target if target.resolve().is_relative_to(folder.resolve()) else None
    except (OSError, ValueError):
        return None


def problems(entries: Iterable[records.Entry], folders: Iterable[Path]) -> Iterator[Problem]:
    """Pictures that are named and missing, were altered since they were kept, or are named by nobody."""
    roots = list(folders)
    where: dict[str, Where] = {}
    for entry in entries:
        for path in records.photos_of(entry):
            where.setdefault(path, entry.where)
    for path, at in where.items():
        files = [f for root in roots if (f := inside(root, path))]
        if not files:
            yield Problem(
                at, "photo-missing", f"photo: {path} is not in the folder", "put it back or correct it"
            )
        for file in files:
            if says := _altered(path, file):
                yield Problem(at, "photo-altered", says, "put the picture back as it was kept")
    for root in roots:
        for facts in _facts_among(root):
            says, mend = "facts among the pictures are not read", "move the file into another folder"
            yield Problem(Where(display(facts)), "facts-among-photos", says, mend)
        for path in _kept(root):
            if path not in where:
                at = Where(display(root / path))
                says = f"no entry names {path}"
                yield Problem(at, "photo-unused", says, "name it, or take it away", "warning")


def _altered(path: str, file: Path) -> str:
    found = records.KEPT_PHOTO.match(path)
    if not found:
        return ""
    return "" if _digits(bytes_of(file)) == found[1] else f"photo: {path} was altered since it was kept"


def _facts_among(root: Path) -> list[Path]:
    room = root / ROOM
    return [] if room.is_symlink() else sorted(p for p in room.rglob("*.yaml") if not p.name.startswith("."))


def _kept(root: Path) -> list[str]:
    room = root / ROOM
    if room.is_symlink() or not room.is_dir():
        return []
    return sorted(
        f"{ROOM}/{f.name}" for f in room.iterdir() if f.suffix != ".yaml" and not placing.is_leftover(f.name)
    )
