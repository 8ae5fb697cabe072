"""Facts as links between places and parts, kept so that a question walks only what it needs.

Knows no files: it is built from a :class:`kgraph.collection.Collection`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

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

if TYPE_CHECKING:
    from kgraph.collection import Collection


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


class EqualSizes(Protocol):
    """Which parts are of equal size."""

    def equal(self, part: str, forward: bool) -> list[tuple[str, Fact]]:
        """The parts whose size a part agrees with (`forward`), or that agree with it."""


class KeptForms:
    """What was worked out of all facts of a folder, by name, in forms that JSON holds."""

    def __init__(self) -> None:
        self._known: dict[str, Any] = {}

    def get(self, name: str) -> Any:
        """What was kept under a name; None where nothing was."""
        return self._known.get(name)

    def put(self, name: str, form: Any) -> None:
        """Keep something under a name."""
        self._known[name] = form


class Graph:
    """Adjacency of one folder's facts. Every list is in an order that file order does not change.

    `data`: the names of things and what is recorded of them; `sizes`: which parts are of equal size.
    """

    def __init__(self, data: Collection) -> None:
        self.data = data
        self.links: Mapping[str, list[Link]] = {}
        self.declares: Mapping[str, frozenset[str]] = {}
        self.taken_at: Mapping[Place, list[tuple[str, str, Fact]]] = {}
        self.takes_of: Mapping[str, list[tuple[Place, str, Fact]]] = {}
        self.same: Mapping[str, list[tuple[str, Fact]]] = {}
        self.older: Mapping[str, list[tuple[str, Fact]]] = {}
        self.newer: Mapping[str, list[tuple[str, Fact]]] = {}
        self.fits_from: Mapping[Place, list[tuple[Place, Fact]]] = {}
        self.fits_to: Mapping[Place, list[tuple[Place, Fact]]] = {}
        self.refused_at: Mapping[Place, list[tuple[str | Place, Fact]]] = {}
        self.distinct: Mapping[str, list[tuple[str, Fact]]] = {}
        self.parts_of_kind: Mapping[str, Sequence[str]] = {}
        """The key of a kind -> the parts of it, in order."""
        self.sizes: EqualSizes | None = None
        self.remembered: dict[str, Any] = {}
        """What was worked out once for the whole graph, each under the name of who keeps it."""
        self.kept = KeptForms()
        self._sizes: dict[str, list[tuple[str, Fact]]] = {}
        self._smaller: dict[str, list[tuple[str, Fact]]] = {}

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

    def alike_parts(self, part: str) -> frozenset[str]:
        """The part and every other name that `same` facts give it."""
        known: dict[str, frozenset[str]] = self.remembered.setdefault("alike parts", {})
        if part not in known:
            found, todo = {part}, [part]
            while todo:
                new = {other for other, _ in self.same.get(todo.pop(), ())} - found
                found |= new
                todo += new
            whole = frozenset(found)
            known.update(dict.fromkeys(whole, whole))
        return known[part]

    def equal_size(self, part: str) -> list[tuple[str, Fact]]:
        """The parts q with size(part, q): part goes where q goes, by one step of equal size."""
        if part not in self._sizes:
            self._sizes[part] = self.equal_sizes.equal(part, forward=True)
        return self._sizes[part]

    def equal_size_back(self, part: str) -> list[tuple[str, Fact]]:
        """The parts p with size(p, part)."""
        if part not in self._smaller:
            self._smaller[part] = self.equal_sizes.equal(part, forward=False)
        return self._smaller[part]

    @property
    def equal_sizes(self) -> EqualSizes:
        """What tells parts of equal size."""
        if self.sizes is None:
            from kgraph.fits.sizes import FromCollection

            self.sizes = FromCollection(self.data, self.parts_of_kind)
        return self.sizes


def with_facts(graph: Graph, facts: Iterable[Fact]) -> Graph:
    """The graph of some facts about the same things; these are of the same sizes."""
    made = Graph(graph.data.with_facts(facts))
    made.declares, made.parts_of_kind, made.sizes = graph.declares, graph.parts_of_kind, graph.equal_sizes
    return _filled(made)


def build(data: Collection) -> Graph:
    """The graph of a collection's facts."""
    graph = Graph(data)
    graph.declares = {f"a:{key}": declared_by(data, key) for key in data.things["assembly"]}
    of_kind: dict[str, list[str]] = defaultdict(list)
    for key in data.things["part"]:
        if sort := sort_of(data, key):
            of_kind[sort].append(key)
    graph.parts_of_kind = {sort: sorted(parts) for sort, parts in of_kind.items()}
    return _filled(graph)


def _filled(graph: Graph) -> Graph:
    adjacency = Adjacency()
    for fact in sorted(graph.data.facts.values(), key=lambda f: f.id):
        adjacency.add(fact, lambda names: left_out(graph, names))
    for name, lists in vars(adjacency).items():
        setattr(graph, name, dict(lists))
    return graph


def declared_by(data: Collection, assembly: str) -> frozenset[str]:
    """The positions that belong to an assembly."""
    named = (n for t in data.things["assembly"].get(assembly, ()) for n in getattr(t, "positions", ()))
    return frozenset(data.key("position", n.key) for n in named)


def left_out(graph: Graph, names: Iterable[str]) -> frozenset[str]:
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


class Adjacency:
    """The lists of a graph as they come about, fact by fact in the order of their ids."""

    def __init__(self) -> None:
        self.links: dict[str, list[Link]] = defaultdict(list)
        self.taken_at: dict[Place, list[tuple[str, str, Fact]]] = defaultdict(list)
        self.takes_of: dict[str, list[tuple[Place, str, Fact]]] = defaultdict(list)
        self.same: dict[str, list[tuple[str, Fact]]] = defaultdict(list)
        self.older: dict[str, list[tuple[str, Fact]]] = defaultdict(list)
        self.newer: dict[str, list[tuple[str, Fact]]] = defaultdict(list)
        self.fits_from: dict[Place, list[tuple[Place, Fact]]] = defaultdict(list)
        self.fits_to: dict[Place, list[tuple[Place, Fact]]] = defaultdict(list)
        self.refused_at: dict[Place, list[tuple[str | Place, Fact]]] = defaultdict(list)
        self.distinct: dict[str, list[tuple[str, Fact]]] = defaultdict(list)

    def add(self, fact: Fact, positions: Callable[[Iterable[str]], frozenset[str]]) -> None:
        """Add the links of one fact; `positions` are those that names in an `except` leave out."""
        match fact.claim:
            case TakesClaim(part, owner, position, role):
                self.taken_at[Place(owner, position)].append((part, role, fact))
                self.takes_of[part].append((Place(owner, position), role, fact))
            case RebadgeClaim(one, other, names):
                out = positions(names)
                self.links[one].append(Link(other, fact, out, ""))
                self.links[other].append(Link(one, fact, out, ""))
            case UsesClaim(assembly, owner, names):
                out = positions(names)
                self.links[owner].append(Link(assembly, fact, out, assembly))
                self.links[assembly].append(Link(owner, fact, out, assembly))
            case SameClaim(one, other):
                self.same[one].append((other, fact))
                self.same[other].append((one, fact))
            case ReplacesClaim(new, old):
                self.older[new].append((old, fact))
                self.newer[old].append((new, fact))
            case FitsClaim(owner, position, to, at, both_ways):
                source, target = Place(owner, position), Place(to, at)
                self._fits(source, target, fact)
                if both_ways:
                    self._fits(target, source, fact)
            case RefusesClaim(part, owner, position, at, where):
                self.refused_at[Place(at, where)].append((part or Place(owner, position), fact))
            case DistinctClaim(one, other):
                self.distinct[one].append((other, fact))
                self.distinct[other].append((one, fact))

    def _fits(self, source: Place, target: Place, fact: Fact) -> None:
        self.fits_from[source].append((target, fact))
        self.fits_to[target].append((source, fact))


def sort_of(data: Collection, part: str) -> str:
    """The key of the kind that a part is of, or ""."""
    return data.kind_of(part)
