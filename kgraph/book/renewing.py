"""A large book brought up to date: only pages are made whose stamps changed, or that are not as they were."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import partial
from pathlib import Path

from kgraph.book.pages import Book
from kgraph.book.stamps import MadePage, Stamp, Stamps, read, written
from kgraph.book.writing import stamps_of

Make = Callable[[], MadePage]


class Renewal:
    """The pages of a book that are to be made, and the stamps of all of them when they are."""

    def __init__(self, book: Book, folder: Path) -> None:
        self.book = book
        large = not book.ground.answering.depth.weighed
        self.stamps = Stamps(book.ground) if large else None
        self.kept = self._kept(folder, read(stamps_of(folder))) if large else {}
        self.new: dict[str, Stamp] = {}

    def _kept(self, folder: Path, before: Mapping[str, Stamp]) -> dict[str, Stamp]:
        found = {}
        for path, (kind, key) in self.book.things.items():
            known = before.get(path)
            if known is not None and _size(folder / path) == known.size:
                now = self._stamp(kind, key, known.parts, known.places)
                if now == known.stamp:
                    found[path] = known
        return found

    def _stamp(self, kind: str, key: str, parts: Iterable[str], places: Iterable[str]) -> str | None:
        return self.stamps.of(kind, key, parts, places) if self.stamps else None

    @property
    def makers(self) -> dict[str, Make]:
        """Address -> what makes the page, for those that are to be made."""
        todo = {path: make for path, make in self.book.makers.items() if path not in self.kept}
        return {path: partial(_made, self.stamps, make) for path, make in todo.items()}

    def pages(self, made: Iterable[tuple[str, MadePage]]) -> Iterator[tuple[str, bytes]]:
        """(address, bytes) of the pages that were made; their stamps are noted."""
        for path, page in made:
            if path in self.book.things:
                kind, key = self.book.things[path]
                stamp = self._stamp(kind, key, page.parts, page.places)
                if stamp is not None:
                    self.new[path] = Stamp(stamp, len(page.data), page.parts, page.places)
            yield path, page.data

    def forget(self, folder: str) -> None:
        """Let the pages of a folder of the book be made again next time, whatever their stamps."""
        for path in [p for p in (*self.new, *self.kept) if p.startswith(folder)]:
            self.new.pop(path, None)
            self.kept.pop(path, None)

    def file(self) -> bytes | None:
        """The stamps as a file; None for a book that is made whole each time."""
        return written({**self.kept, **self.new}) if self.stamps else None


def _made(stamps: Stamps | None, make: Callable[[], bytes]) -> MadePage:
    return stamps.watch(make) if stamps else MadePage(make())


def _size(path: Path) -> int:
    try:
        return os.lstat(path).st_size
    except OSError:
        return -1
