"""The entries of an index, fetched by number or by a name in them; over them those of changed files."""

from __future__ import annotations

import os
import zlib
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from typing import Any, NamedTuple

from kgraph import records, trade
from kgraph.collection.taken_back import GoneThing, holding, taking
from kgraph.index.rows import RowCodec
from kgraph.index.store import Store
from kgraph.problems import Damaged

FEW = ("position", "kind", "caution", "grade", "via")
"""The kinds of things of which a folder has few, however large it is."""
MOST_FACTS = frozenset({"rebadge", "uses", "takes", "same", "replaces"})
"""The kinds of facts that make up most of a folder: nobody asks for all of one kind alone."""
MOST_ROWS = 4096
"""So many rows of names are kept in memory at once."""
OF_A_THING = "id of a thing"
"""How the id of an entry of a thing is named."""
NOTED = "with a note"
"""The statements that have a note, among the kinds of entries."""


class FileRow(NamedTuple):
    """A fact file: the number of its folder, its path there, its first entry, and how many it has."""

    folder: int
    path: str
    start: int
    entries: int

    @property
    def name(self) -> str:
        """The number of its folder and its path there, as one text."""
        return f"{self.folder}|{self.path}"


def bucket(key: str, buckets: int) -> str:
    """The row that a name is kept in."""
    return f"b|{hash_of(key) % buckets}"


def hash_of(key: str) -> int:
    """What says in which bucket a name is kept."""
    return zlib.crc32(key.encode("utf-8", "surrogatepass"))


def few_named(how: str) -> str:
    """The kind that is named so, where it is one of which a folder has few things; else ""."""
    kind = how.partition(" ")[0]
    return kind if kind in FEW else "position" if how == "except" else ""


def is_short(how: str) -> bool:
    """Whether the row of all things of a kind has the first alone of those that name a thing so."""
    return how in FEW or how == "except"


class StoredEntries:
    """What an index holds. Raises Damaged wherever that cannot be believed."""

    def __init__(self, store: Store, folders: Sequence[str]) -> None:
        self.store, self.folders = store, folders
        over = store.over
        self._over: Mapping[str, Any] = over.get("rows", {})
        self._gone: Sequence[tuple[int, int]] = over.get("gone", ())
        """The numbers, from and up to, of the entries of files as they were before they changed."""
        self._changed = bool(self._over or self._gone)
        self._taken_back: AbstractSet[int] = frozenset()
        self.files = _files(store.need("files"), over.get("files", {}))
        self.buckets: int = store.need("buckets")
        self.codec = RowCodec(store.need("keys"))
        self._starts = sorted((start, rank) for rank, (_, _, start, count) in enumerate(self.files) if count)
        self._first = [start for start, _ in self._starts]
        self._known: dict[int, records.Entry] = {}
        self._rows: dict[str, Any] = {}

    def take_back(self, withdraws: Iterable[records.Withdraw]) -> Mapping[int, GoneThing]:
        """Name no more the entries of things that these take back: their numbers, and by which.

        Only among all entries they stay.
        """
        found: dict[int, GoneThing] = {}
        for target, those in holding(withdraws).items():
            for number in self.named("", target, OF_A_THING):
                (thing,) = self.entries([number])
                if isinstance(thing, records.Thing) and (by := taking(those, thing)):
                    found[number] = thing, by
        self._taken_back = found.keys()
        self._changed = self._changed or bool(found)
        return found

    # Entries ------------------------------------------------------------------------------------

    def __len__(self) -> int:
        return sum(file.entries for file in self.files)

    def entries(self, numbers: Sequence[int]) -> list[records.Entry]:
        """The entries of these numbers, each made once."""
        known = self._known
        wanted = [n for n in numbers if n not in known]
        if wanted:
            rows = self.store.get_all([f"i|{n}" for n in wanted])
            for n in wanted:
                known[n] = self._entry(n, self._over.get(f"i|{n}") or rows.get(f"i|{n}"))
        return [known[n] for n in numbers]

    def _entry(self, number: int, row: Any) -> records.Entry:
        if row is None:
            raise Damaged
        try:
            return self.codec.entry(row, self._shown(self.files[self.rank(number)]))
        except (KeyError, ValueError, TypeError, IndexError, AttributeError):
            raise Damaged from None

    def rank(self, number: int) -> int:
        """Which file an entry stands in, in the order of reading."""
        return self._starts[bisect_right(self._first, number) - 1][1]

    def all(self) -> list[records.Entry]:
        """Every entry, in the order of reading."""
        return self.entries([n for _, _, start, count in self.files for n in range(start, start + count)])

    def ground(self) -> trade.Ground:
        """The ground of the trade, as the program had it that made the index; it needs no index any more."""
        found = self._row("ground", must=True)
        things = {kind: _Kept(of["things"], self.codec) for kind, of in found.items()}
        return trade.Ground(things, {kind: of["names"] for kind, of in found.items()})

    # Names --------------------------------------------------------------------------------------

    def named(self, kind: str, key: str, how: str) -> list[int]:
        """The entries that name a thing so, in the order of reading; of things of few kinds the first."""
        found: Mapping[str, list[int]] = self.of_name(kind, key)
        numbers = found.get(how)
        if not numbers:
            return []
        if self._changed and is_short(how):
            # The first use may be gone, and the next one is not in this row.
            return self.every_use(kind, key, how)
        return self._alive(numbers)

    def every_use(self, kind: str, key: str, how: str) -> list[int]:
        """Of things of few kinds the first use in each file; of what is left out every use."""
        if not self.of_name(kind, key).get(how):
            return []
        return self._alive(self._row(f"u|{how}|{key}", must=True))

    def of_name(self, kind: str, key: str) -> Mapping[str, list[int]]:
        """How a name is used, and by which entries; entries that are gone among them."""
        row = self._row(f"n|{kind}" if kind in FEW else bucket(key, self.buckets), must=True)
        found: Mapping[str, list[int]] = row.get(key, {})
        return found

    def keys(self, kind: str, *hows: str) -> list[str]:
        """Every name that is used so, in no order."""
        rows = [f"n|{kind}"] if kind in FEW else [f"b|{n}" for n in range(self.buckets)]
        found = (self._row(row, must=True) for row in rows)
        return [key for row in found for key, by in row.items() if not by.keys().isdisjoint(hows)]

    def of_kind(self, kind: str) -> list[int]:
        """The entries of a kind that is not one of the facts of which a folder is made, in order."""
        return self._alive(self._row(f"e|{kind}", must=True))

    def parts_of_kind(self, kind: str) -> list[int]:
        """The entries of parts that name a kind."""
        return self._alive(self._row(f"y|{kind}", must=True)) if kind in self._row("sorts", must=True) else []

    def in_bins(self, kind: str, measure: str, low: int, high: int) -> dict[str, int]:
        """The parts that name a kind in an entry with a measure in these bins, by key; and that entry."""
        if kind not in self._row("sorts", must=True):
            return {}
        bins = {one for one in self._row(f"z|{kind}", must=True).get(measure, ()) if low <= one <= high}
        rows = (self._row(f"z|{kind}|{measure}|{one}", must=True) for one in sorted(bins))
        pairs = [pair for row in rows for pair in row]
        alive = set(self._alive([number for _, number in pairs])) if self._changed else None
        return {part: number for part, number in pairs if alive is None or number in alive}

    def own_ids(self) -> list[str]:
        """The ids that statements have by their own word; those of entries that are gone among them."""
        found: list[str] = self._row("own ids", must=True)
        return found

    def ranks(self) -> Iterator[tuple[str, int]]:
        """Every file as entries name it, and where it stands in the order of reading."""
        yield from ((self._shown(file), rank) for rank, file in enumerate(self.files))

    def _shown(self, file: FileRow) -> str:
        """The path of a file as it is shown, which is that of its folder and its own there."""
        folder = self.folders[file.folder]
        return file.path if folder == "." else os.path.join(folder, file.path)

    def any_of(self, kind: str) -> bool:
        """Whether there is an entry of a kind, or was one before a file changed."""
        return bool(self._row("counts", must=True).get(kind))

    def in_order(self, numbers: Iterable[int]) -> list[int]:
        """Entries, each once, in the order of reading: that of their numbers until a file was changed."""
        once = set(numbers)
        return sorted(once, key=lambda n: (self.rank(n), n)) if self._changed else sorted(once)

    def _alive(self, numbers: Sequence[int]) -> list[int]:
        if not self._changed:
            return list(numbers)
        gone, back = self._gone, self._taken_back
        return self.in_order(
            n for n in numbers if n not in back and not any(first <= n < end for first, end in gone)
        )

    def _row(self, key: str, must: bool = False) -> Any:
        """A row with what newer files add to it; None where there is none."""
        if key not in self._rows:
            if len(self._rows) > MOST_ROWS:
                self._rows.clear()
            found, more = self.store.get(key), self._over.get(key)
            if found is None and more is None and must:
                raise Damaged
            self._rows[key] = found if more is None else more if found is None else added(found, more)
        return self._rows[key]


class _Kept(Mapping[str, records.Thing]):
    """Entries in memory as rows, each made when it is asked for."""

    def __init__(self, rows: Mapping[str, Any], codec: RowCodec) -> None:
        self._rows, self._codec = rows, codec
        self._made: dict[str, records.Thing] = {}

    def __getitem__(self, key: str) -> records.Thing:
        if key not in self._made:
            file, row = self._rows[key]
            made = self._codec.entry(row, file)
            assert isinstance(made, records.Thing)
            self._made[key] = made
        return self._made[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)


def _files(rows: Iterable[Sequence[Any]], changed: Mapping[str, Any]) -> list[FileRow]:
    """The files in the order of reading, as they are now."""
    stood = [FileRow(*row) for row in rows]
    if not changed:
        return stood
    now = {file.name: file for file in stood}
    for name, numbers in changed.items():
        folder, _, path = name.partition("|")
        now.pop(name, None)
        if numbers is not None:
            now[name] = FileRow(int(folder), path, *numbers)
    return sorted(now.values(), key=lambda file: (file.folder, file.path.split("/")))


def added(row: Any, more: Any) -> Any:
    """A row and what newer files add: lists one after the other, the sum of counts, mappings by key."""
    if isinstance(row, list):
        return [*row, *more]
    if isinstance(row, int):
        return row + more
    return {**more, **{k: v if k not in more else added(v, more[k]) for k, v in row.items()}}
