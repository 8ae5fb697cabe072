"""The trade's ground: the places, kinds, dangers and grades that are common to the trade, below every folder.

Its files are read like any other. What they say is common practice, without a source; an entry of a folder
overrides it key by key, and no folder can fall below it by silence. It names places and what must be known
of them, and does not say that any set has them.
"""

from __future__ import annotations

import os
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

if TYPE_CHECKING:
    from kgraph.names import Name
    from kgraph.records import Caution, Grade, Thing

KINDS = ("position", "kind", "caution", "grade")
"""The kinds of entry that the ground has."""
SHOWN_AS = "kgraph/trade/"
"""How the files of the ground are told in messages."""
BASIS = "common practice, no source"

Names = Mapping[str, str]
"""A name that the ground knows (its key) -> the key of the thing that it names in a folder."""
Things: TypeAlias = "Mapping[str, Sequence[Thing]]"
"""Key -> the entries of a folder that declare a thing."""
Under: TypeAlias = "Mapping[str, tuple[Thing, ...]]"
"""The key of a thing in a folder -> the entries of the ground that hold of it."""


class Ground(NamedTuple):
    """The entries of the ground by kind and key, and every name of theirs -> the key of its entry."""

    things: Mapping[str, Mapping[str, Thing]]
    names: Mapping[str, Names]


class _Under(Mapping[str, "tuple[Thing, ...]"]):
    """Each entry of the ground under its own key, but where it lies otherwise (`moved`; () for nowhere)."""

    def __init__(self, things: Mapping[str, Thing], moved: Mapping[str, tuple[Thing, ...]]) -> None:
        self._things, self._moved = things, moved

    def __getitem__(self, key: str) -> tuple[Thing, ...]:
        found = self._moved.get(key)
        if found is None:
            return (self._things[key],)
        if not found:
            raise KeyError(key)
        return found

    def __iter__(self) -> Iterator[str]:
        yield from (key for key in self._things if self._moved.get(key) != ())
        yield from (key for key, found in self._moved.items() if found and key not in self._things)

    def __len__(self) -> int:
        return sum(1 for _ in self)


class Laid(NamedTuple):
    """The ground as it lies under one folder, for one kind of entry."""

    names: Names
    under: Under


def _files() -> list[str]:
    folder = os.path.dirname(__file__)
    return [os.path.join(folder, name) for name in sorted(os.listdir(folder)) if name.endswith(".yaml")]


def _bytes(path: str) -> bytes:
    with open(path, "rb") as stream:
        return stream.read()


@cache
def digest() -> str:
    """What tells this ground from that of another version of the program."""
    return f"{zlib.crc32(b''.join(_bytes(path) for path in _files())):08x}"


_kept: list[Ground] = []


def keep(made: Ground) -> None:
    """Take the ground, as an index of this very version has it, for what its files say."""
    _kept[:] = [made]


def is_kept() -> bool:
    """Whether the ground is at hand without reading its files."""
    return bool(_kept)


def ground() -> Ground:
    """All of the ground, read once."""
    if not is_kept():
        keep(_read())
    return _kept[0]


def _read() -> Ground:
    from kgraph.folder import schema
    from kgraph.problems import CannotRun
    from kgraph.records import Thing

    entries: list[Thing] = []
    for path in _files():
        found, problems = schema.entries_of(_bytes(path), SHOWN_AS + os.path.basename(path))
        if problems:
            raise CannotRun(*problems)
        entries += [entry for entry in found if isinstance(entry, Thing)]
    things = {kind: {e.name.key: e for e in entries if e.kind == kind} for kind in KINDS}
    names = {kind: {n.key: key for key, e in things[kind].items() for n in _names(e)} for kind in KINDS}
    return Ground(things, names)


def _names(thing: Thing) -> tuple[Name, ...]:
    return (thing.name, *thing.also)


@cache
def spellings(kind: str) -> Mapping[str, str]:
    """Key -> text of every name that the ground knows of things of a kind."""
    things = ground().things.get(kind, {}).values()
    return {n.key: n.text for thing in things for n in _names(thing)}


@cache
def cautions() -> Mapping[str, Caution]:
    """Key -> the cautions of the ground, their other names not among the keys."""
    from kgraph.records import Caution

    return {key: thing for key, thing in ground().things["caution"].items() if isinstance(thing, Caution)}


@cache
def grades() -> Mapping[str, Grade]:
    """Key -> the grades of the ground."""
    from kgraph.records import Grade

    return {key: thing for key, thing in ground().things["grade"].items() if isinstance(thing, Grade)}


@cache
def untouched(kind: str) -> Laid:
    """The ground under a folder that declares nothing of a kind."""
    made = ground()
    return Laid(made.names.get(kind, {}), _Under(made.things.get(kind, {}), {}))


def laid_under(kind: str, declared: Things, aliases: Names, ambiguous: Iterable[str]) -> Laid:
    """The ground as it lies under what a folder declares: its `things`, and the other names it gives them.

    What the folder declares under any name of an entry of the ground is that thing, and is called as the
    folder calls it. Where several of its things bear names of one entry, the one that bears its first name is
    it, and what the entry says holds of the others too: a name of their own makes nothing less dangerous.
    """
    made = untouched(kind)
    touching = _touching(made.names, declared)
    if not touching:
        return made
    things, names = ground().things[kind], dict(made.names)
    under: dict[str, tuple[Thing, ...]] = {}
    touched: dict[str, set[str]] = {}
    for own, entries in touching.items():
        for entry in entries:
            touched.setdefault(entry, set()).add(own)
    taken = {*declared, *aliases, *ambiguous}
    for entry in sorted(touched):
        thing = things[entry]
        one = _is_thing(entry, touched[entry], touching, declared, aliases, made.names)
        if one != entry:
            under[entry] = ()
        for own in sorted({one, *touched[entry]}):
            here = under.get(own, (things[own],) if own in things else ())
            under[own] = (*(t for t in here if t is not thing), thing)
        for name in _names(thing):
            if name.key in taken:
                names.pop(name.key, None)
            else:
                names[name.key] = one
    return Laid(names, _Under(things, under))


def _touching(names: Names, declared: Things) -> dict[str, set[str]]:
    """The key of each thing of a folder that bears names of the ground -> the entries of the ground."""
    found: dict[str, set[str]] = {}
    for key, things in declared.items():
        borne = {key, *(n.key for t in things for n in t.also if n.key not in declared)}
        if entries := {names[name] for name in borne if name in names}:
            found[key] = entries
    return found


def _is_thing(
    entry: str,
    touched: set[str],
    touching: Mapping[str, set[str]],
    declared: Things,
    aliases: Names,
    names: Names,
) -> str:
    """The key of the thing of a folder that an entry of the ground is, or its own key: it is none of them."""
    if entry in declared:
        return entry
    if entry in aliases:
        return aliases[entry]
    by_name = [own for own in touched if names.get(own) == entry]
    by_also = [own for own in touched if touching[own] == {entry}] if len(touched) == 1 else []
    found = by_name or by_also
    return found[0] if len(found) == 1 else entry
