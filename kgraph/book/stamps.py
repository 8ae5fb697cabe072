"""What each page of a large book hangs on, as a stamp: with the stamp it had it need not be made again.

A page hangs on the entries that name its thing, on the places like its own, and on whatever its walks came
to, with all that names those: their digests go into the stamp. What many pages hang on (positions, kinds,
cautions, assemblies, units, withdrawals, the program itself) goes into every stamp. Lists are always made.
"""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from importlib import resources
from importlib.resources.abc import Traversable
from typing import NamedTuple

from kgraph import records
from kgraph.book.ground import BookGround
from kgraph.fits.graph import Place
from kgraph.questions import belt_places
from kgraph.reason import sharing
from kgraph.reason.walk import watched

_MASK = (1 << 64) - 1


class MadePage(NamedTuple):
    """A page that was made, and what the walks behind it came to beyond its own places."""

    data: bytes
    parts: tuple[str, ...] = ()
    places: tuple[str, ...] = ()


class Stamp(NamedTuple):
    """What a page hung on when it was made, and its size."""

    stamp: str
    size: int
    parts: tuple[str, ...]
    places: tuple[str, ...]


@dataclass
class Stamps:
    """The digests of one folder, from which the stamp of each page is put together."""

    ground: BookGround
    _alike: dict[int, int] = field(default_factory=dict)
    _nears: dict[Place, int] = field(default_factory=dict)
    _parts: dict[str, int] = field(default_factory=dict)
    _held: list[frozenset[Place]] = field(default_factory=list)
    _assemblies: dict[str, list[tuple[str, int]]] = field(default_factory=dict)

    # Digests

    @cached_property
    def _entries(self) -> Mapping[int, int]:
        where = self.ground.views.where
        return {id(e): _number(repr((e.pairs, where(e.where)))) for e in self.ground.data.entries}

    @cached_property
    def _named(self) -> Mapping[tuple[str, str], int]:
        """(kind, key) -> the digest of all entries that declare or name it, in their order."""
        found: dict[tuple[str, str], list[int]] = defaultdict(list)
        for kind in ("set", "part"):
            for key, things in self.ground.data.things[kind].items():
                found[kind, key] += [self._entries[id(thing)] for thing in things]
        for thing, entries in self.ground.mentions.items():
            found[thing] += [self._entries[id(entry)] for entry in entries]
        return {thing: _number(repr(told)) for thing, told in found.items()}

    def _owner(self, owner: str) -> int:
        return self._named.get(("set" if owner[0] == "s" else "assembly", owner[2:]), 0)

    def _part(self, part: str) -> int:
        """A part: what names it, and which parts are of its size."""
        if part not in self._parts:
            graph = self.ground.graph
            sized = [p for p, _ in (*graph.equal_size(part), *graph.equal_size_back(part))]
            self._parts[part] = _number(repr((self._named.get(("part", part), 0), sized)))
        return self._parts[part]

    def _near(self, place: Place) -> int:
        """A place and all like it: what names their owners, and the parts that are recorded there."""
        if place not in self._nears:
            self._nears[place] = self._of_alike(place)
        return self._nears[place]

    def _of_alike(self, place: Place) -> int:
        graph = self.ground.graph
        alike = graph.alike_places(place)
        if id(alike) not in self._alike:
            self._held.append(alike)
            total = 0
            for near in alike:
                parts = (self._named.get(("part", p), 0) for p, _, _ in graph.taken_at.get(near, ()))
                total += _number(repr((near, self._owner(near.owner), sorted(parts))))
            self._alike[id(alike)] = total & _MASK
        return self._alike[id(alike)]

    @cached_property
    def _all(self) -> str:
        """What every page hangs on."""
        g = self.ground
        told = [self._entries[id(e)] for e in g.data.entries if not isinstance(e, _OF_THINGS)]
        known = [sorted(g.data.known(kind).items()) for kind in ("position", "kind", "assembly", "caution")]
        lists = [any(k == kind for k, _ in g.refs) for kind in ("family", "assembly", "part", "position")]
        shown = sorted(g.thumbnails), bool(g.draw)
        return _digest(repr((told, known, g.wishes, lists, shown, g.answering.depth, program())))

    # Stamps

    def of(self, kind: str, key: str, parts: Iterable[str], places: Iterable[str]) -> str | None:
        """The stamp of the page of a thing, whose walks came to these; None for one that is always made."""
        own = self._own(kind, key)
        if own is None:
            return None
        beyond = [self._part(p) for p in parts]
        near = [self._near(_place(text)) for text in places]
        return _digest(repr((self._all, own, beyond, near)))

    def _own(self, kind: str, key: str) -> object:
        make = _OWN.get(kind)
        return make(self, key) if make else None

    def _own_of_set(self, key: str) -> object:
        g = self.ground
        if key in g.units_of:
            return None
        family = g.family_of.get(key, ())
        badge = g.badge(key)
        return (
            self._named.get(("set", key), 0),
            [(p, self._near(Place(f"s:{key}", p))) for p in g.places_of[key]],
            [(k, self._named.get(("set", k), 0)) for k in family],
            (badge, g.badge_page(badge)),
            self._below((*family, key)[0]),
        )

    def _below(self, key: str) -> list[tuple[str, int]]:
        """The assemblies that a family is built on: a fault within one is one of all its sets."""
        if key not in self._assemblies:
            below = sharing.built_on(self.ground.graph, f"s:{key}")
            self._assemblies[key] = [(a, self._owner(a)) for a in below]
        return self._assemblies[key]

    @cached_property
    def _has_runs(self) -> bool:
        return any(fact.kind == "run" for fact in self.ground.data.facts.values())

    def _own_of_part(self, key: str) -> object:
        graph = self.ground.graph
        if self._has_runs and belt_places.is_belt(graph.data, key):
            return None
        return self._part(key), [self._near(place) for place, _, _ in graph.takes_of.get(key, ())]

    def _own_of_family(self, key: str) -> object:
        return [(k, self._named.get(("set", k), 0)) for k in self.ground.family_of[key]]

    # What walks came to

    def watch(self, make: Callable[[], bytes]) -> MadePage:
        """A page made, with what its walks came to."""
        with watched() as seen:
            data = make()
        seen = {s for s in seen if s.phase not in _NO_THING}
        parts = sorted({s.owner for s in seen if not s.position and s.phase not in _NO_PART})
        places: dict[int, Place] = {}
        for place in sorted({Place(s.owner, s.position) for s in seen if s.position}):
            alike = self.ground.graph.alike_places(place)
            self._held.append(alike)
            places.setdefault(id(alike), place)
        return MadePage(data, tuple(parts), tuple(f"{p.owner}\0{p.position}" for p in places.values()))


_NO_PART = ("set", "said", "items")
_NO_THING = ("faults", "fault")
"""Where a walk over faults begins and ends: what it hangs on lies between."""
_OF_THINGS = (
    records.SetModel,
    records.Part,
    records.Source,
    records.Rebadge,
    records.Uses,
    records.Takes,
    records.Same,
    records.Replaces,
    records.Fits,
    records.Refuses,
    records.Distinct,
    records.Fault,
)
"""Entries that only the pages of what they name, and of what lies near that, hang on."""
_OWN: Mapping[str, Callable[[Stamps, str], object]] = {
    "set": Stamps._own_of_set,
    "part": Stamps._own_of_part,
    "family": Stamps._own_of_family,
}
"""Kind of page -> what its own stamp holds; others are always made."""


def read(text: bytes | None) -> dict[str, Stamp]:
    """The stamps of the last run; none where there are none, or what is there is damaged."""
    try:
        found = json.loads(text or b"{}")
        return {
            str(path): Stamp(str(s), int(size), tuple(map(str, parts)), tuple(map(str, places)))
            for path, (s, size, parts, places) in found.items()
        }
    except (ValueError, TypeError, AttributeError):
        return {}


def written(stamps: Mapping[str, Stamp]) -> bytes:
    """The stamps as a file."""
    lines = ",\n".join(f"{json.dumps(path)}:{json.dumps(s)}" for path, s in sorted(stamps.items()))
    return f"{{{lines}}}\n".encode("ascii")


def program() -> str:
    """A digest of the program itself: pages made by another may differ."""
    found = hashlib.blake2b(digest_size=16)
    for path in _files(resources.files("kgraph")):
        found.update(path.read_bytes())
    return found.hexdigest()


def _files(folder: Traversable) -> list[Traversable]:
    found: list[Traversable] = []
    for path in sorted(folder.iterdir(), key=lambda p: p.name):
        if path.is_dir():
            found += _files(path) if path.name != "__pycache__" else []
        elif path.name.endswith((".py", ".html", ".css", ".js", ".yaml")):
            found.append(path)
    return found


def _place(text: str) -> Place:
    owner, _, position = text.partition("\0")
    return Place(owner, position)


def _number(text: str) -> int:
    return int.from_bytes(
        hashlib.blake2b(text.encode("utf-8", "surrogatepass"), digest_size=8).digest(), "big"
    )


def _digest(text: str) -> str:
    return hashlib.blake2b(text.encode("utf-8", "surrogatepass"), digest_size=12).hexdigest()
