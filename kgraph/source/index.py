"""An index as a question has it: lines of a table, lines of newer files over it, and the entries in them."""

from __future__ import annotations

import json
from collections.abc import Container, Iterable, Iterator, Sequence

from kgraph import records
from kgraph.folder.files import path_in, shown
from kgraph.problems import Damaged, Problem, Where, in_order
from kgraph.source.lines import FILE, REF, Spelt, spelt_in, taken_up
from kgraph.source.table import Table

NEWER = 0x80000
"""The files of the newer lines are numbered from here on."""


class Listed:
    """A file as an index lists it: the folder it lies in, its path there and how it stood."""

    def __init__(self, number: str, folder: int, stamp: Sequence[int | str]) -> None:
        self.number, self.folder, self.stamp = number, folder, tuple(stamp)
        self.path = str(stamp[0])

    @property
    def place(self) -> tuple[int, list[str]]:
        """What files are put in the order of reading by."""
        return self.folder, self.path.split("/")


class Index:
    """The lines that hold, each in the order of reading, and the entries, each taken up once."""

    def __init__(self, base: Table, over: Table | None, folders: Sequence[str]) -> None:
        self.base, self.over, self.folders = base, over, folders
        self.gone = frozenset(line[1:] for line in over.starting("&")) if over else frozenset()
        """The files of the table that newer ones replace, or that are no more."""
        self.known: dict[str, records.Entry] = {}
        self._files: dict[str, Listed] = {}
        self._ranks: dict[str, int] = {}

    # Files ------------------------------------------------------------------------------------

    def files(self) -> list[Listed]:
        """The files that the index was made of, in the order of reading."""
        of_base = (f for f in _listed(self.base) if f.number not in self.gone)
        return sorted((*of_base, *(_listed(self.over) if self.over else ())), key=lambda f: f.place)

    def all_of_base(self) -> Iterator[Listed]:
        """The files of the table, also those that newer ones replace."""
        return _listed(self.base)

    def of_newer(self, files: Container[str]) -> dict[str, list[str]]:
        """First letter -> the newer lines of these files, and all spellings of newer ones."""
        found: dict[str, list[str]] = {}
        for line in self.over.since("") if self.over else ():
            if line[0] != "&" and (line[0] == "y" or _number(line) in files):
                found.setdefault(line[0], []).append(line)
        return found

    def every(self) -> Iterator[str]:
        """All lines that hold but those of this index alone."""
        for line in self.base.since(""):
            if line[0] == "y" or _number(line) not in self.gone:
                yield line
        yield from (line for line in (self.over.since("") if self.over else ()) if line[0] != "&")

    def _file(self, number: str) -> Listed:
        if number not in self._files:
            of = self.over if self.over and number >= f"{NEWER:x}" else self.base
            self._files |= {f.number: f for f in _listed(of, number)}
        try:
            return self._files[number]
        except KeyError:
            raise Damaged from None

    def name_of(self, number: str) -> str:
        """A file as facts and problems name it."""
        found = self._file(number)
        return shown(path_in(self.folders[found.folder], found.path))

    def _order(self, ref: str) -> tuple[int, str]:
        """What puts entries in the order of reading."""
        if not self.over:
            return 0, ref
        if not self._ranks:
            self._ranks = {f.number: rank for rank, f in enumerate(self.files())}
        try:
            return self._ranks[ref[:FILE]], ref
        except KeyError:
            raise Damaged from None

    def faults(self) -> tuple[list[Problem], int, list[Problem]]:
        """What is wrong with entries, how many are left out, and what is wrong with files nobody can read."""
        found = []
        number: dict[str, int] = {}
        for line in (line for table in (self.base, self.over) if table for line in table.starting("|")):
            file, _, text = line[1:].partition("\t")
            if file not in self.gone:
                number[file] = int(text)
        unread = []
        for line in (line for table in (self.base, self.over) if table for line in table.starting("%")):
            file, _, text = line[1:].partition("\t")
            if file in self.gone:
                continue
            row, column, *said = json.loads(text)
            found.append(Problem(Where(self.name_of(file), row, column), *said))
            if number.get(file) == -1:
                unread.append(found[-1])
        return in_order(found), sum(n for n in number.values() if n > 0), in_order(unread)

    # Lines ------------------------------------------------------------------------------------

    def starting(self, beginning: str) -> Iterator[str]:
        """The lines that begin so and hold."""
        return self._both(beginning) if self.over else self.base.starting(beginning)

    def _both(self, beginning: str) -> Iterator[str]:
        for line in self.base.starting(beginning):
            if line[-REF : FILE - REF] not in self.gone:
                yield line
        if self.over:
            yield from self.over.starting(beginning)

    def any(self, beginning: str) -> bool:
        """Whether there is a line that begins so."""
        return next(self.starting(beginning), None) is not None

    def refs(self, *beginnings: str) -> list[str]:
        """The numbers of the entries whose lines begin so, each once, in the order of reading."""
        found = {line[-REF:] for beginning in beginnings for line in self.starting(beginning)}
        return sorted(found, key=self._order if self.over else None)

    def first(self, beginnings: Iterable[str]) -> str | None:
        """The first of them in the order of reading; of many lines under one key only one is read."""
        found = []
        for beginning in beginnings:
            at = beginning
            while (line := next(self._since(beginning, at), None)) is not None:
                found.append(line[-REF:])
                at = f"{line[:-REF]}\x7f"
            found += [line[-REF:] for line in (self.over.starting(beginning) if self.over else ())]
        return min(found, key=self._order, default=None)

    def _since(self, beginning: str, at: str) -> Iterator[str]:
        """The lines of the table that begin so and hold, from one on."""
        for line in self.base.since(at):
            if not line.startswith(beginning):
                return
            if line[-REF : FILE - REF] not in self.gone:
                yield line

    def between(self, low: str, high: str) -> Iterator[str]:
        """The lines from one to another that hold."""
        for table in (self.base, self.over):
            for line in table.since(low) if table else ():
                if line > high:
                    break
                if line[-REF : FILE - REF] not in self.gone:
                    yield line

    def entry(self, ref: str) -> records.Entry:
        """The entry of a number."""
        found = self.known.get(ref)
        if found is None:
            of = self.over if self.over and ref >= f"{NEWER:x}" else self.base
            line = next(of.starting(f"!{ref}\t"), None)
            made = taken_up(line[REF + 2 :], self.name_of(ref[:FILE])) if line else None
            if made is None:
                raise Damaged
            found = self.known[ref] = made
        return found

    def entries(self, *beginnings: str) -> list[records.Entry]:
        """The entries whose lines begin so, each once, in the order of reading."""
        return [self.entry(ref) for ref in self.refs(*beginnings)]

    def spelt(self, loosely: str, *kinds: str) -> Iterator[Spelt]:
        """Every spelling with these letters and digits in a row that there was when the lines were written.

        `kinds`: of these kinds of thing alone.
        """
        for table in (self.base, self.over):
            for line in table.starting("y") if table else ():
                if loosely in line:
                    text, kind, name = spelt_in(line)
                    if loosely in text and (not kinds or kind in kinds):
                        yield text, kind, name


def _number(line: str) -> str:
    """The number of the file of which a line is, if it is of one."""
    return line[1 : 1 + FILE] if line[0] in "!@%|" else line[-REF : FILE - REF]


def _listed(table: Table, number: str = "") -> Iterator[Listed]:
    for line in table.starting(f"@{number}"):
        key, _, text = line[1:].partition("\t")
        folder, *stamp = json.loads(text)
        yield Listed(key, folder, stamp)
