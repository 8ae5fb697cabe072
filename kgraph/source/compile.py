"""The lines of files, and the table that they are put together in.

Lines are sorted and packed letter by letter, so that those of many shares are merged one letter at a time.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import BinaryIO, NamedTuple

from kgraph.collection import FACT_TYPES
from kgraph.folder import reading, schema
from kgraph.folder.disk import read_path
from kgraph.folder.files import Stamp, path_in, shown
from kgraph.source import lines
from kgraph.source.table import Writer

Step = Callable[[int, int], None]
"""Told after each file how many more are done, and how many facts came with them."""
Sorted = dict[str, bytes]
"""First letter -> the lines that begin with it, sorted and compressed."""


class File(NamedTuple):
    """A fact file: its number in the index, the folder it lies in (number and path), and how it stands."""

    number: int
    folder: int
    base: str
    stamp: Stamp

    @property
    def path(self) -> str:
        """Where it lies."""
        return path_in(self.base, self.stamp[0])


def in_order(folders: Sequence[str], stamps: Sequence[Sequence[Stamp]]) -> list[File]:
    """The files in the order of reading, numbered so."""
    found = [(i, stamp) for i, those in enumerate(stamps) for stamp in those]
    found.sort(key=lambda f: (f[0], f[1][0].split("/")))
    return [File(number, i, folders[i], stamp) for number, (i, stamp) in enumerate(found)]


def lines_of(files: Iterable[File], step: Step) -> dict[str, list[str]]:
    """First letter -> the lines of these files that begin with it, sorted. Raises OSError."""
    kept: list[str] = []
    found: list[str] = []
    spelt: set[lines.Spelt] = set()
    for file in files:
        facts = 0
        found.append(f"@{file.number:05x}\t{json.dumps([file.folder, *file.stamp])}")
        name = shown(file.path)
        read = reading.read_bytes(read_path(Path(file.path)), name)
        entries, problems = schema.check_file(read)
        for place, entry in enumerate(entries):
            ref = lines.ref_of(file.number, place)
            kept.append(lines.kept(entry, ref))
            found += [f"{key}\t{ref}" for key in lines.keys_of(entry)]
            spelt.update(lines.spelt_by(entry))
            facts += isinstance(entry, FACT_TYPES)
        for p in (*read.problems, *problems):
            if p.severity == "error" and p.where:
                said = [*p.where[1:], p.code, p.says, p.mend]
                found.append(f"%{file.number:05x}\t{json.dumps(said)}")
        wrong = [*read.problems, *problems]
        if left := -1 if read.unread else reading.left_out(Path(file.path), len(entries), wrong):
            found.append(f"|{file.number:05x}\t{left}")
        step(1, facts)
    found += map(lines.spelt_line, spelt)
    found.sort()
    kept.sort()
    return {"!": kept, **_by_letter(found)}


def _by_letter(found: list[str]) -> dict[str, list[str]]:
    parted: dict[str, list[str]] = {}
    start = 0
    for at in range(1, len(found) + 1):
        if at == len(found) or found[at][0] != found[start][0]:
            parted[found[start][0]] = found[start:at]
            start = at
    return parted


def write(stream: BinaryIO, token: str, shares: Sequence[Sorted]) -> None:
    """A table of the lines of all shares, which are in the order of reading."""
    writer = Writer(stream, token)
    for letter in sorted({letter for share in shares for letter in share}):
        several = [share[letter] for share in shares if letter in share]
        if letter == "!":
            for one in several:
                writer.add(_opened(one))
            continue
        found = [line for one in several for line in _opened(one)]
        # Runs that are sorted already are merged.
        found.sort()
        writer.add(found if letter != "y" else [*dict.fromkeys(found)])
    writer.finish()


def packed(found: dict[str, list[str]]) -> Sorted:
    """Sorted lines as they are sent."""
    return {k: zlib.compress("\n".join(v).encode("utf-8", "surrogatepass"), 1) for k, v in found.items() if v}


def _opened(data: bytes) -> list[str]:
    return zlib.decompress(data).decode("utf-8", "surrogatepass").split("\n")
