"""The graph of a collection that is fetched: what is known of an owner or a part when a walk comes to it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from kgraph import trade
from kgraph.facts import Fact
from kgraph.fits import graph as graphs
from kgraph.fits.graph import Adjacency, EqualSizes, Graph, Place
from kgraph.index.entries import StoredEntries
from kgraph.index.fetched import FetchedCollection, Fetching

MOST_ALONE = 300
ENTRIES_OF_ONE = 24
"""So many things are fetched one by one, and one more for so many entries; then all of them at once."""
MOST_AT_ONCE = 60_000
"""Of more entries there is no time to make all: those of one thing are fetched whatever their number."""


def graph_of(stored: StoredEntries) -> Graph:
    """The graph of an index; raises Damaged here or later, in the middle of a question."""
    if not trade.is_kept():
        trade.keep(stored.ground())
    data = FetchedCollection(stored)
    return _Fetcher(data).graph


class _Fetcher:
    """Fills the lists of a graph, those of one owner or part at a time."""

    def __init__(self, data: FetchedCollection) -> None:
        self.data = data
        self.graph = graph = Graph(data)
        self._known: dict[str, Adjacency] = {}
        self._whole: Graph | None = None
        stored = data.stored
        self._most = MOST_ALONE + len(stored) // ENTRIES_OF_ONE if len(stored) <= MOST_AT_ONCE else math.inf
        graph.links = self._lists("links", str)
        graph.distinct = self._lists("distinct", str, self._distinct, lambda: stored.any_of("distinct"))
        graph.takes_of = self._lists("takes_of", _part)
        graph.same, graph.older = self._lists("same", _part), self._lists("older", _part)
        graph.newer = self._lists("newer", _part)
        graph.taken_at = self._lists("taken_at", _owner)
        for name in ("fits_from", "fits_to"):
            setattr(graph, name, self._lists(name, _owner, some=lambda: stored.any_of("fits")))
        graph.refused_at = self._lists("refused_at", _owner, self._refused, lambda: stored.any_of("refuses"))
        graph.declares = Fetching(
            lambda owner: graphs.declared_by(data, owner[2:]),
            lambda: {f"a:{key}": graphs.declared_by(data, key) for key in data.things["assembly"]},
        )
        graph.parts_of_kind = Fetching(self._parts_of_kind, lambda: self.whole().parts_of_kind)
        graph.sizes = _LateSizes(data, graph.parts_of_kind)

    def whole(self) -> Graph:
        """The graph with all facts in it."""
        if self._whole is None:
            self._whole = graphs.build(self.data)
        return self._whole

    def _lists(
        self,
        name: str,
        about: Callable[[Any], str],
        fill: Callable[[], Mapping[Any, Any]] | None = None,
        some: Callable[[], bool] | None = None,
    ) -> Any:
        return Fetching(
            lambda key: getattr(self._whole or self._about(about(key)), name).get(key),
            fill or (lambda: getattr(self.whole(), name)),
            some,
        )

    def _about(self, thing: str) -> Adjacency | Graph:
        """What facts say of an owner, or of a part (`p:` and its key)."""
        found = self._known.get(thing)
        if found is None and len(self._known) > self._most:
            return self.whole()
        if found is None:
            kind = {"s": "set", "a": "assembly", "p": "part"}[thing[0]]
            found = self._known[thing] = Adjacency()
            for fact in self.data.facts_of(kind, thing[2:]):
                found.add(fact, self._left_out)
        return found

    def _left_out(self, names: Iterable[str]) -> frozenset[str]:
        return graphs.left_out(self.graph, names)

    def _parts_of_kind(self, kind: str) -> list[str] | None:
        data = self.data
        named = {n for k in data.names_of("kind", kind) for n in data.stored.parts_of_kind(k)}
        parts = {entry.name.key for entry in data.parts(sorted(named))}
        return sorted(key for key in parts if data.kind_of(key) == kind) or None

    def _distinct(self) -> Mapping[str, list[tuple[str, Fact]]]:
        return {o: found for o in self._owners_in("distinct") if (found := self.graph.distinct.get(o))}

    def _refused(self) -> Mapping[Place, Any]:
        owners = self._owners_in("refuses")
        return {place: found for o in owners for place, found in self._about(o).refused_at.items()}

    def _owners_in(self, kind: str) -> list[str]:
        """The sets and assemblies that entries of a kind name."""
        return sorted({o for entry in self.data.of_kind(kind) for o in self.data.owners_in(entry)})


class _LateSizes:
    """Parts of equal size; what finds them is loaded when they are first asked for."""

    def __init__(self, data: FetchedCollection, parts: Mapping[str, Sequence[str]]) -> None:
        self._data, self._parts = data, parts
        self._made: EqualSizes | None = None

    def equal(self, part: str, forward: bool) -> list[tuple[str, Fact]]:
        """The parts whose size a part agrees with (`forward`), or that agree with it."""
        if not self._data.kind_of(part):
            return []
        if self._made is None:
            from kgraph.fits.sizes import FromCollection
            from kgraph.index.near import StoredSizes

            self._made = StoredSizes(self._data, FromCollection(self._data, self._parts))
        return self._made.equal(part, forward)


def _part(part: str) -> str:
    return f"p:{part}"


def _owner(place: Place) -> str:
    return place.owner
