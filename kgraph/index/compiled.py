"""A collection and its graph as an index has them: each owner and part is fetched when a walk comes to it.

What :mod:`kgraph.questions` asks of a :class:`kgraph.collection.Collection` is answered here from rows.
What an index does not know (a name that is not there, names that are near it) raises NotInIndex, so that the
folder itself is read and the user gets its answer.

====== ========== =========================================================================
row    of         holds
====== ========== =========================================================================
o|O    an owner   name, links, per position what is taken, fitted and refused there
p|P    a part     name, kind, where it is taken, its equals, older and newer ones
f|ID   a fact     kind, arguments, certainty, evidence, ids
n|K|N  a name     its text as first written
i|K|N  an `also`  the key of its thing; nothing where it may mean several
g|K|N  a name of  the key of its thing, and the name that the ground gives it; of names that the folder
       the ground itself gives to nothing
k|K    a kind     cautions, how its parts compare, and their sizes
r|P    a position what must match there, its cautions, and whether by its name alone
c|C    a caution  its text
====== ========== =========================================================================
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from kgraph import trade, words
from kgraph.claims import CLAIMS, DistinctClaim
from kgraph.facts import Evidence, Fact, PlaceRules
from kgraph.fits.graph import Graph, Link, Place
from kgraph.index.store import Store
from kgraph.names import Name
from kgraph.problems import NotInIndex, Where

if TYPE_CHECKING:
    from kgraph.fits.sizes import Sizes


class KnownFact(Fact):
    """A fact whose evidence is fetched when it is asked for."""

    data: IndexData

    def __new__(cls, data: IndexData, short: list[Any]) -> KnownFact:
        """The fact of a row, and where to ask for what is said of it."""
        one, kind, args, certainty = short
        made = super().__new__(cls, one, kind, CLAIMS[kind](*_tuple(args)), certainty)
        made.data = data
        return made

    @property
    def evidence(self) -> tuple[Evidence, ...]:
        """Every saying of the fact."""
        return self.data.evidence_of(self.id)


def _tuple(value: Any) -> Any:
    return tuple(_tuple(v) for v in value) if isinstance(value, list) else value


class IndexData:
    """What questions ask of a collection, from the rows of an index."""

    def __init__(self, store: Store, folders: list[str]) -> None:
        self.store, self.folders = store, folders
        self.rows: dict[str, Any] = {}
        self.facts: dict[str, Fact] = {}
        self.said: dict[str, tuple[Evidence, ...]] = {}
        self.files: list[list[Any]] = []
        self.positions: dict[str, str] | None = None
        self.ruled = frozenset(store.need("ruled"))

    def row(self, key: str) -> Any:
        """A row that must be there."""
        found = self.rows.get(key)
        if found is None:
            found = self.rows[key] = self.store.need(key)
        return found

    def row_or_none(self, key: str) -> Any:
        """A row, or None."""
        if key not in self.rows:
            self.rows[key] = self.store.get(key)
        return self.rows[key]

    def key(self, kind: str, key: str) -> str:
        """The key of the thing that a folded name stands for, through `also` names."""
        if (kind, key) == ("position", "") or self._named(kind, key) is not None:
            return key
        found = self.row_or_none(f"i|{kind}|{key}")
        if found is not None:
            return str(found)
        below = self._ground(kind, key)
        return key if below is None else str(below[0])

    def _ground(self, kind: str, key: str) -> Any:
        return self.row_or_none(f"g|{kind}|{key}") if kind in trade.KINDS else None

    def _named(self, kind: str, key: str) -> Any:
        row = {"set": f"o|s:{key}", "assembly": f"o|a:{key}", "part": f"p|{key}"}.get(kind)
        return self.row_or_none(row or f"n|{kind}|{key}")

    def knows(self, kind: str, key: str) -> bool:
        """Whether a thing of a kind is declared or used, or the ground knows it."""
        found = self._named(kind, key)
        below = self._ground(kind, key)
        return (found is not None and "feature" not in found) or (below is not None and below[0] == key)

    def leaves_out(self, key: str) -> bool:
        """Whether some `except` names it, and nothing else does."""
        return "feature" in (self._named("position", key) or ()) and not self.knows("assembly", key)

    def meanings(self, kind: str, key: str) -> set[str]:
        """What is not known here the folder itself must tell."""
        raise NotInIndex

    def text(self, kind: str, key: str) -> str:
        """The name of a thing as first written where it is declared, else where it is used."""
        found = self._named(kind, key)
        if found is not None:
            return str(found["t"])
        below = self._ground(kind, key)
        return key if below is None else str(below[1])

    def owner_text(self, owner: str) -> str:
        """The name of a set or assembly from its owner key."""
        return str(self.row(f"o|{owner}")["t"])

    def known(self, kind: str) -> dict[str, str]:
        """Key -> name of every position; of other kinds the folder itself must tell."""
        if kind != "position":
            if kind == "unit" and not self.store.need("any")["units"]:
                return {}
            raise NotInIndex
        if self.positions is None:
            self.positions = dict(self.store.need("positions"))
        return self.positions

    def attribute(self, kind: str, key: str, attribute: str) -> list[Any]:
        """All values recorded for an attribute that some position wants to match."""
        found: list[Any] = self.row(f"o|s:{key}").get("a", {}).get(attribute, [])
        return found

    def position_rules(self, key: str) -> PlaceRules:
        """What must match at a position, and its cautions."""
        if key not in self.ruled:
            return PlaceRules()
        match, cautions, by_name = self.row(f"r|{key}")
        return PlaceRules(tuple(match), tuple(Name(*n) for n in cautions), by_name)

    def kind_of(self, part: str) -> str:
        """The key of the kind that a part is of, or ""."""
        return str(self.row(f"p|{part}")["k"])

    def belt_kind(self) -> str:
        """The key of the kind that belts are of."""
        return self.key("kind", words.FITS_LIKE_BELT)

    def kind_cautions(self, kind: str) -> tuple[Name, ...]:
        """The cautions of a kind of part."""
        return tuple(Name(*n) for n in self.row(f"k|{kind}")["c"]) if kind else ()

    def caution_text(self, key: str) -> str | None:
        """What the folder says of a caution, else the ground."""
        found = self.row_or_none(f"c|{self.key('caution', key)}")
        return None if found is None else str(found)

    def assembly_kind(self, key: str) -> str | None:
        """What kind of assembly it is, as written."""
        found = self.row(f"o|a:{key}").get("k")
        return None if found is None else str(found)

    def parts_numbered(self, number: str) -> set[str]:
        """Maker's numbers are not in the index."""
        raise NotInIndex

    def fact(self, short: list[Any]) -> Fact:
        """The fact that a link carries, once for all links that carry it."""
        found = self.facts.get(short[0])
        if found is None:
            found = self.facts[short[0]] = KnownFact(self, short)
        return found

    def evidence_of(self, fact: str) -> tuple[Evidence, ...]:
        """Every saying of a fact."""
        found = self.said.get(fact)
        if found is None:
            found = self.said[fact] = tuple(self._evidence(*e) for e in self.row(f"f|{fact}")[3])
        return found

    def _evidence(self, file: int, line: int, column: int, *said: Any) -> Evidence:
        if not self.files:
            self.files = self.store.need("files")
        folder, path = self.files[file]
        how, certainty, sources, *rest, photos, page, via = said
        more = {"photos": tuple(photos), "page": page, "via": via}
        where = Where(os.path.join(self.folders[folder], path), line, column)
        return Evidence(where, how, certainty, tuple(sources), *rest, **more)


class _RowsFetched(Mapping[Any, Any]):
    """A mapping of the graph, from rows: only what is asked for is fetched."""

    def __init__(self, data: IndexData, some: bool = True) -> None:
        self.data, self.some = data, some
        self.known: dict[Any, Any] = {}

    def __bool__(self) -> bool:
        return self.some

    def __getitem__(self, key: Any) -> Any:
        found = self.known.get(key)
        if found is None:
            found = self.known[key] = self.fetch(key)
        if not found:
            raise KeyError(key)
        return found

    def get(self, key: Any, default: Any = None) -> Any:
        """What is under a key, or the default."""
        found = self.known.get(key)
        if found is None:
            found = self.known[key] = self.fetch(key)
        return found or default

    def __contains__(self, key: object) -> bool:
        return bool(self.get(key))

    def fetch(self, key: Any) -> Any:
        """What the rows hold under a key."""
        raise NotImplementedError

    def __iter__(self) -> Iterator[Any]:
        raise NotInIndex

    def __len__(self) -> int:
        raise NotInIndex


class _Links(_RowsFetched):
    def fetch(self, key: Any) -> Any:
        fact = self.data.fact
        return [
            Link(other, fact(short), frozenset(out), to)
            for other, short, out, to in self.data.row(f"o|{key}")["l"]
        ]


class _Declares(_RowsFetched):
    def fetch(self, key: Any) -> Any:
        return frozenset(self.data.row(f"o|{key}")["d"])


class _At(_RowsFetched):
    def __init__(self, data: IndexData, letter: str, some: bool = True) -> None:
        super().__init__(data, some)
        self.letter = letter

    def fetch(self, key: Any) -> Any:
        at = self.data.row(f"o|{key.owner}")["p"].get(key.position)
        return [] if at is None else _entries(self.data, at.get(self.letter, ()))


class _Of(_At):
    def fetch(self, key: Any) -> Any:
        return _entries(self.data, self.data.row(f"p|{key}").get(self.letter, ()))


def _entries(data: IndexData, found: Any) -> list[tuple[Any, ...]]:
    return [(*(_place(v) for v in values), data.fact(short)) for *values, short in found]


def _place(value: Any) -> Any:
    return Place(*value) if isinstance(value, list) else value


def graph_of(store: Store, folders: list[str]) -> Graph:
    """The graph of an index; raises Damaged here or later, in the middle of a question."""
    data = IndexData(store, folders)
    some = store.need("any")
    graph = Graph(data, _IndexSizes(data))
    graph.links, graph.declares = _Links(data), _Declares(data)
    graph.taken_at, graph.takes_of = _At(data, "t"), _Of(data, "g")
    graph.same, graph.older, graph.newer = (_Of(data, letter) for letter in "son")
    graph.fits_from, graph.fits_to = (_At(data, letter, some["fits"]) for letter in "fg")
    graph.refused_at = _At(data, "r", some["refused"])
    graph.distinct = _distinct(data)
    return graph


def _distinct(data: IndexData) -> dict[str, list[tuple[str, Fact]]]:
    """Owner -> the owners that were told apart from it; a folder has few."""
    found: dict[str, list[tuple[str, Fact]]] = {}
    for short in data.store.need("distinct"):
        fact = data.fact(short)
        one, other = fact.of(DistinctClaim)
        found.setdefault(one, []).append((other, fact))
        found.setdefault(other, []).append((one, fact))
    return found


class _IndexSizes:
    """Parts of equal size, from the rows of their kinds."""

    def __init__(self, data: IndexData) -> None:
        self.data = data
        self.made: dict[str, Sizes] = {}

    def equal(self, part: str, forward: bool) -> list[tuple[str, Fact]]:
        """The parts whose size a part agrees with (`forward`), or that agree with it."""
        kind = self.data.kind_of(part)
        if not kind:
            return []
        row = self.data.row(f"k|{kind}")
        if row["r"] is None:
            return []
        if kind not in self.made:
            from kgraph.index.sizes import FromRow

            self.made[kind] = FromRow(kind, row)
        return self.made[kind].equal(part, forward)
