"""What a file said before and says after a change, its names resolved as in the folder it belongs to."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from kgraph import collection, records, words
from kgraph.collection import resolving
from kgraph.folder import reading, schema
from kgraph.folder.disk import MOST_BYTES
from kgraph.folder.formats import LATER
from kgraph.index.store import Store
from kgraph.names import Name, fold
from kgraph.problems import Where

Thing = tuple[str, str]
"""The kind and key of a thing."""


HERE = Where("")


_STUB = "\0"
"""Where the entries stand that are no entries of the file, but tell what the rest of the folder says."""


class Anew(Exception):
    """This change may reach further than the rows that are known here."""


def entries_of(old: bytes, new: bytes) -> list[list[records.Entry]]:
    """What both begin with, the other entries of the one, and those of the other; raises Anew for errors."""
    cut = _shared(old, new)
    # Lines are counted on: as many empty ones stand for those that both have.
    above = b"\n" * old.count(b"\n", 0, cut)
    pieces = [reading.read_plain(piece) for piece in (old[:cut], above + old[cut:], above + new[cut:])]
    if None in pieces or max(len(old), len(new)) > MOST_BYTES:
        return [[], _checked(reading.read_bytes(old, "")), _checked(reading.read_bytes(new, ""))]
    return [_checked(reading.ReadFile("", piece or (), ())) for piece in pieces]


def _shared(old: bytes, new: bytes) -> int:
    """How many bytes of whole entries both begin with."""
    low, high = 0, min(len(old), len(new))
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if old[:middle] == new[:middle] else (low, middle - 1)
    return old.rfind(b"\n- ", 0, low) + 1


def _checked(read: reading.ReadFile) -> list[records.Entry]:
    entries, problems = schema.check_file(read)
    if any(p.severity == "error" or p.code == LATER for p in (*read.problems, *problems)):
        raise Anew
    return entries


class Side:
    """What a file says by itself, its names resolved as in the folder; `own` is what only this side has."""

    def __init__(
        self, shared: list[records.Entry], own: list[records.Entry], stubs: list[records.Entry]
    ) -> None:
        """Raises Anew for ids that clash."""
        self.own = own
        self.entries = [*shared, *own]
        self.data = made = collection.build([*self.entries, *stubs])
        self.facts = made.facts
        self.declared: dict[Thing, str] = {}
        self.used: dict[Thing, str] = {}
        if made.clashing_ids:
            raise Anew
        for entry in self.entries:
            if isinstance(entry, records.Thing):
                self.declared.setdefault((entry.kind, entry.name.key), entry.name.text)
            for kind, used in resolving.names_used(made, entry):
                self.used.setdefault((kind, made.key(kind, used.key)), used.text)

    def names(self, thing: Thing) -> tuple[str | None, str | None]:
        """How the file names a thing where it declares it, and where it uses it."""
        return self.declared.get(thing), self.used.get(thing)


def stubs_of(store: Store, entries: Iterable[records.Entry]) -> list[records.Entry]:
    """Entries that stand for what the rest of the folder says of grades, sources, owners and other names.

    Of the other names of kinds only that of belts: their lengths are read in their own way.
    """
    found: list[records.Entry] = []

    def thing(kind: str, key: str, *also: Name) -> None:
        found.append(records.Thing(kind=kind, where=HERE, name=Name(_STUB + key, key), also=also))

    for grade, certainty in store.need("grades").items():
        if store.get(f"i|grade|{grade}") is None:
            name = Name(grade, grade)
            found.append(records.Grade(kind="grade", where=HERE, name=name, certainty=certainty))
    for key, trust in store.need("trusts").items():
        found.append(records.Source(kind="source", where=HERE, name=Name(key, key), trust=trust))
    kinds = [k for k in store.need("also") if k in ("set", "assembly", "part", "position", "source", "grade")]
    if (to := store.get(f"i|kind|{words.FITS_LIKE_BELT}")) is not None:
        thing("kind", to, Name(words.FITS_LIKE_BELT, words.FITS_LIKE_BELT))
    for key in sorted({fold(text) for text in {t for e in entries for t in _texts(e.pairs)}} - {""}):
        for kind in kinds:
            if (to := store.get(f"i|{kind}|{key}")) is not None:
                thing(kind, to, Name(key, key))
        if store.get(f"o|a:{key}") is not None:
            if store.get(f"o|s:{key}") is not None:
                raise Anew
            thing("assembly", key)
    return found


def _texts(value: Any) -> Iterable[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        yield from _texts(tuple(value.items()))
    else:
        for one in value:
            yield from _texts(one)


def told_again(entries: Iterable[records.Entry]) -> dict[Thing, list[str]]:
    """What each entry says of the things that have several."""
    found: dict[Thing, list[records.Entry]] = {}
    for entry in entries:
        if isinstance(entry, records.Thing):
            found.setdefault((entry.kind, entry.name.key), []).append(entry)
    return {thing: [said_by(e) for e in those] for thing, those in found.items() if len(those) > 1}


def said_by(entry: records.Entry) -> str:
    return repr((entry.kind, entry.pairs))
