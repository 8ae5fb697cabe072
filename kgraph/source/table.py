"""A table of sorted lines in a file that never changes: blocks of lines, each compressed, with its checksum.

A line is `KEY<tab>VALUE`. The lines of a key, and of all keys that begin alike, lie together: a search by
halves over the first line of each block finds them (a sorted string table, as log-structured stores keep).
A table only saves time; whatever is odd about its file raises :class:`kgraph.problems.Damaged`.
"""

from __future__ import annotations

import json
import zlib
from bisect import bisect_left
from collections.abc import Iterator, Sequence
from typing import BinaryIO

from kgraph import __version__, trade
from kgraph.problems import Damaged

FORM = "9"
"""How a table is laid out."""
IN_BLOCK = 128
"""Lines of a block: some 6 KB, of which a question wants a few."""
IN_PAGE = 256
"""Blocks that one page of the directory lists."""
FIRST = "\x1f"
"""What the directory puts behind the first line of a block; it stands in no line."""
LAST = "\U0010ffff"
"""What comes after whatever a line goes on with."""
HEAD = 256
"""Bytes at the start of the file: which program wrote it, and where the list of pages is."""


Block = tuple[int, int, int]
"""Where compressed lines lie in the file, how many bytes they are, and their checksum."""


def written_by() -> str:
    """Which program writes a table, and over which ground of the trade: any other one's is made anew."""
    return f"{__version__} {FORM} {trade.digest()}"


class Writer:
    """A table as it is written: lines in their order, then the directory, last the head."""

    def __init__(self, stream: BinaryIO, token: str) -> None:
        self.stream, self.token, self.at = stream, token, HEAD
        self.blocks: list[str] = []
        self.rest: list[str] = []
        stream.write(bytes(HEAD))

    def add(self, lines: list[str]) -> None:
        """Further lines, sorted, none of which comes before those that were added."""
        lines = self.rest + lines if self.rest else lines
        whole = len(lines) - len(lines) % IN_BLOCK
        self.blocks += self._listed(lines[:whole], IN_BLOCK)
        self.rest = lines[whole:]

    def finish(self) -> None:
        """Write what is left, the directory and the head."""
        self.blocks += self._listed(self.rest, IN_BLOCK)
        top = self._put(self._listed(self.blocks, IN_PAGE))
        head = json.dumps([written_by(), self.token, *top]).encode()
        self.stream.seek(0)
        self.stream.write(b"%08x" % zlib.crc32(head) + head)

    def _listed(self, lines: Sequence[str], size: int) -> list[str]:
        """Write lines in blocks; each as the directory lists it: where it lies, and its first key."""
        found = []
        for start in range(0, len(lines), size):
            some = lines[start : start + size]
            block = self._put(some)
            # Of a page of the directory the first line is that of its first block.
            found.append(f"{some[0].partition(FIRST)[0]}{FIRST}{' '.join(map(str, block))}")
        return found

    def _put(self, lines: Sequence[str]) -> Block:
        data = zlib.compress("\n".join(lines).encode("utf-8", "surrogatepass"), 1)
        self.stream.write(data)
        block = self.at, len(data), zlib.crc32(data)
        self.at += len(data)
        return block


class Table:
    """A table that was written whole; raises Damaged for one that was not, or not by this very program."""

    def __init__(self, path: str) -> None:
        try:
            # It is read as it is now, also when another one takes its place.
            self.stream = open(path, "rb", buffering=0)  # noqa: SIM115
            head = self.stream.read(HEAD)
            text = head[8:].rstrip(b"\0")
            if head[:8] != b"%08x" % zlib.crc32(text):
                raise Damaged
            version, self.token, *top = json.loads(text)
        except (OSError, ValueError):
            raise Damaged from None
        if not self.is_mine(version):
            raise Damaged
        offset, length, check = top
        self.pages = _Listing(self._read((offset, length, check)))
        self.page: dict[int, _Listing] = {}
        self.lines: dict[tuple[int, int], list[str]] = {}

    def is_mine(self, version: str) -> bool:
        """Whether this very program wrote it."""
        return bool(version == written_by())

    def starting(self, beginning: str) -> Iterator[str]:
        """The lines that begin so, in order."""
        number = self.pages.before(beginning)
        lines = self._lines(number, self._page(number).before(beginning)) if self.pages.listed else []
        first = bisect_left(lines, beginning)
        end = bisect_left(lines, beginning + LAST, first)
        # Nearly always they lie in one block.
        return iter(lines[first:end]) if end < len(lines) else self._starting(beginning)

    def _starting(self, beginning: str) -> Iterator[str]:
        for line in self.since(beginning):
            if not line.startswith(beginning):
                return
            yield line

    def since(self, line: str) -> Iterator[str]:
        """The lines from this one on, in order."""
        number = self.pages.before(line)
        while number < len(self.pages.listed):
            page = self._page(number)
            at = page.before(line)
            while at < len(page.listed):
                lines = self._lines(number, at)
                yield from lines[bisect_left(lines, line) :]
                at += 1
            number += 1

    def _page(self, number: int) -> _Listing:
        if number not in self.page:
            self.page[number] = _Listing(self._read(self.pages.block(number)))
        return self.page[number]

    def _lines(self, number: int, at: int) -> list[str]:
        found = self.lines.get((number, at))
        if found is None:
            found = self.lines[number, at] = self._read(self.page[number].block(at))
        return found

    def _read(self, block: Block) -> list[str]:
        try:
            offset, length, check = block
            self.stream.seek(offset)
            data = self.stream.read(length)
            if zlib.crc32(data) != check:
                raise Damaged
            text = zlib.decompress(data).decode("utf-8", "surrogatepass")
        except (OSError, ValueError, zlib.error):
            raise Damaged from None
        return text.split("\n") if text else []


class _Listing:
    """A page of the directory: of each block the first line, and where it lies."""

    def __init__(self, listed: Sequence[str]) -> None:
        self.listed = listed

    def before(self, line: str) -> int:
        """The number of the block in which a line is, if it is there."""
        return max(0, bisect_left(self.listed, line) - 1)

    def block(self, number: int) -> Block:
        """Where a block lies."""
        offset, length, check = map(int, self.listed[number].rpartition(FIRST)[2].split())
        return offset, length, check
