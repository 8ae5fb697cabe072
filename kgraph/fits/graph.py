"""Facts as links between places and parts, kept so that a question walks only what it needs.

Knows no files: it is built from a :class:`kgraph.collection.Collection`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

from kgraph.claims import (
    DistinctClaim,
    FitsClaim,
    RebadgeClaim,
    RefusesClaim,
    ReplacesClaim,
    SameClaim,
    TakesClaim,
    UsesClaim,
)
from kgraph.facts import Fact
from kgraph.problems import NotInIndex

if TYPE_CHECKING:
    from kgraph.collection import Collection
    from kgraph.interface import EqualSizes, Facts


class Place(NamedTuple):
    """A position on a set or assembly."""

    owner: str
    position: str


class Link(NamedTuple):
    """A `rebadge` or `uses` seen from one of its ends: what lies at the other, and what it leaves out."""

    other: str
    fact: Fact
    left_out: frozenset[str]
    to_assembly: str
    """For `uses`, the assembly whose declared places the link carries; else ""."""


class Graph:
    """Adjacency of one folder's facts. Every list is in an order that file order does not change.

    `data`: the names and records; `sizes`: which parts are of equal size.
    """

    def __init__(self, data: Facts, sizes: EqualSizes | None = None) -> None:
        self._data, self._equal = data, sizes
        self.links: Mapping[str, list[Link]] = defaultdict(list)
        self.declares: Mapping[str, frozenset[str]] = {}
        self.taken_at: Mapping[Place, list[tuple[str, str, Fact]]] = defaultdict(list)
        self.takes_of: Mapping[str, list[tuple[Place, str, Fact]]] = defaultdict(list)
        self.same: Mapping[str, list[tuple[str, Fact]]] = defaultdict(list)
        self.older: Mapping[str, list[tuple[str, Fact]]] = defaultdict(list)
        self.newer: Mapping[str, list[tuple[str, Fact]]] = defaultdict(list)
        self.fits_from: Mapping[Place, list[tuple[Place, Fact]]] = defaultdict(list)
        self.fits_to: Mapping[Place, list[tuple[Place, Fact]]] = defaultdict(list)
        self.refused_at: Mapping[Place, list[tuple[str | Place, Fact]]] = defaultdict(list)
        self.distinct: Mapping[str, list[tuple[str, Fact]]] = defaultdict(list)
        self.remembered: dict[str, Any] = {}
        """What was worked out once for the whole graph, each under the name of who keeps it."""
        self._sizes: dict[str, list[tuple[str, Fact]]] = {}
        self._smaller: dict[str, list[tuple[str, Fact]]] = {}

    @property
    def data(self) -> Facts:
        """The names of things and what is recorded of them."""
        return self._data

    def like(self, owner: str, position: str) -> Iterable[tuple[str, Fact]]:
        """The owners that one fact makes alike at this position."""
        for link in self.links.get(owner, ()):
            if position in link.left_out:
                continue
            if link.to_assembly and position not in self.declares.get(link.to_assembly, ()):
                continue
            yield link.other, link.fact

    def alike_places(self, place: Place) -> frozenset[Place]:
        """The place and all like it."""
        known: dict[Place, frozenset[Place]] = self.remembered.setdefault("alike places", {})
        if place not in known:
            found, todo = {place}, [place]
            while todo:
                here = todo.pop()
                new = {Place(o, here.position) for o, _ in self.like(*here)} - found
                found |= new
                todo += new
            whole = frozenset(found)
            known.update(dict.fromkeys(whole, whole))
        return known[place]

    def equal_size(self, part: str) -> list[tuple[str, Fact]]:
        """The parts q with size(part, q): part goes where q goes, by one step of equal size."""
        if part not in self._sizes:
            self._sizes[part] = self._of_equal_size().equal(part, forward=True)
        return self._sizes[part]

    def equal_size_back(self, part: str) -> list[tuple[str, Fact]]:
        """The parts p with size(p, part)."""
        if part not in self._smaller:
            self._smaller[part] = self._of_equal_size().equal(part, forward=False)
        return self._smaller[part]

    def _of_equal_size(self) -> EqualSizes:
        if self._equal is None:
            raise NotInIndex
        return self._equal


class WholeGraph(Graph):
    """The graph of a folder that was read whole."""

    def __init__(self, data: Collection) -> None:
        super().__init__(data)
        self._whole = data
        self.parts_of_kind: dict[str, list[str]] = defaultdict(list)

    @property
    def data(self) -> Collection:
        """All that was read."""
        return self._whole

    def _of_equal_size(self) -> EqualSizes:
        if self._equal is None:
            from kgraph.fits.sizes import FromCollection

            self._equal = FromCollection(self.data, self.parts_of_kind)
        return self._equal


def whole(graph: Graph) -> WholeGraph:
    """The same graph where its folder was read whole; raises NotInIndex where it was not."""
    if isinstance(graph, WholeGraph):
        return graph
    raise NotInIndex


def build(data: Collection) -> WholeGraph:
    """The graph of a collection's facts."""
    graph = WholeGraph(data)
    graph.declares = {f"a:{key}": _declared(data, key) for key in data.things["assembly"]}
    for key in {**data.spelt["part"], **data.things["part"]}:
        if sort := sort_of(data, key):
            graph.parts_of_kind[sort].append(key)
    for sort in graph.parts_of_kind:
        graph.parts_of_kind[sort].sort()
    for fact in sorted(data.facts.values(), key=lambda f: f.id):
        add(graph, fact)
    return graph


def _declared(data: Collection, assembly: str) -> frozenset[str]:
    named = (n for t in data.things["assembly"][assembly] for n in getattr(t, "positions", ()))
    return frozenset(data.key("position", n.key) for n in named)


def add(graph: WholeGraph, fact: Fact) -> None:
    """Add the links of one fact; facts are added in the order of their ids."""
    if fact.kind in _ADD:
        _ADD[fact.kind](graph, fact)


def left_out(graph: WholeGraph, names: Iterable[str]) -> frozenset[str]:
    """The positions that an `except` leaves out: those named, and all that a named assembly declares.

    A place that is called as the assembly is by an `also` counts as named.
    """
    out: set[str] = set()
    for key in names:
        assembly = graph.data.key("assembly", key)
        named = {key, *(n.key for t in graph.data.things["assembly"].get(assembly, ()) for n in t.also)}
        out |= named | {graph.data.key("position", k) for k in named}
        out |= graph.declares.get(f"a:{assembly}", frozenset())
    return frozenset(out)


def _add_rebadge(graph: WholeGraph, fact: Fact) -> None:
    one, other, names = fact.of(RebadgeClaim)
    out = left_out(graph, names)
    graph.links[one].append(Link(other, fact, out, ""))
    graph.links[other].append(Link(one, fact, out, ""))


def _add_uses(graph: WholeGraph, fact: Fact) -> None:
    assembly, owner, names = fact.of(UsesClaim)
    out = left_out(graph, names)
    graph.links[owner].append(Link(assembly, fact, out, assembly))
    graph.links[assembly].append(Link(owner, fact, out, assembly))


def _add_takes(graph: WholeGraph, fact: Fact) -> None:
    part, owner, position, role = fact.of(TakesClaim)
    place = Place(owner, position)
    graph.taken_at[place].append((part, role, fact))
    graph.takes_of[part].append((place, role, fact))


def _add_same(graph: WholeGraph, fact: Fact) -> None:
    one, other = fact.of(SameClaim)
    graph.same[one].append((other, fact))
    graph.same[other].append((one, fact))


def _add_replaces(graph: WholeGraph, fact: Fact) -> None:
    new, old = fact.of(ReplacesClaim)
    graph.older[new].append((old, fact))
    graph.newer[old].append((new, fact))


def _add_fits(graph: WholeGraph, fact: Fact) -> None:
    claim = fact.of(FitsClaim)
    source, target = Place(claim.owner, claim.position), Place(claim.to, claim.at)
    for one, other in [(source, target), *([(target, source)] if claim.both_ways else [])]:
        graph.fits_from[one].append((other, fact))
        graph.fits_to[other].append((one, fact))


def _add_refuses(graph: WholeGraph, fact: Fact) -> None:
    part, owner, position, at, where = fact.of(RefusesClaim)
    item: str | Place = part or Place(owner, position)
    graph.refused_at[Place(at, where)].append((item, fact))


def _add_distinct(graph: WholeGraph, fact: Fact) -> None:
    one, other = fact.of(DistinctClaim)
    graph.distinct[one].append((other, fact))
    graph.distinct[other].append((one, fact))


_ADD = {
    "rebadge": _add_rebadge,
    "uses": _add_uses,
    "takes": _add_takes,
    "same": _add_same,
    "replaces": _add_replaces,
    "fits": _add_fits,
    "refuses": _add_refuses,
    "distinct": _add_distinct,
}


def sort_of(data: Facts, part: str) -> str:
    """The key of the kind that a part is of, or ""."""
    return data.kind_of(part)
