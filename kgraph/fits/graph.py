"""Facts as links between places and parts, kept so that a question walks only what it needs.

Knows no files: it is built from a :class:`kgraph.collection.Collection`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from kgraph.facts import Fact
from kgraph.source.facts import Adjacency, Names
from kgraph.source.facts import Facts as Facts
from kgraph.source.facts import Link as Link
from kgraph.source.facts import Place as Place

if TYPE_CHECKING:
    from kgraph.collection import Collection
    from kgraph.fits.sizes import Sizes


class Tables(Adjacency):
    """What leads from one thing to another, by the thing that it leads from."""

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
        self.runs_at: dict[Place, list[Fact]] = defaultdict(list)


class Graph(Tables, Facts):
    """The facts of a whole folder."""

    data: Collection

    def __init__(self, data: Collection) -> None:
        Tables.__init__(self)
        Facts.__init__(self)
        self.data = data
        self.declares: Mapping[str, frozenset[str]] = {}
        self.parts_of_kind: dict[str, list[str]] = defaultdict(list)
        self._sizes: Sizes | None = None

    def compare_sizes(self, part: str, forward: bool) -> list[tuple[str, Fact]]:
        """The parts whose size a part agrees with (`forward`), or that agree with it."""
        if self._sizes is None:
            from kgraph.fits.sizes import FromCollection

            self._sizes = FromCollection(self.data, self.parts_of_kind)
        return self._sizes.equal(part, forward)


def build(data: Collection) -> Graph:
    """The graph of a collection's facts."""
    graph = Graph(data)
    graph.declares = {f"a:{key}": declared(data, key) for key in data.things["assembly"]}
    for key in {**data.spelt["part"], **data.things["part"]}:
        if sort := sort_of(data, key):
            graph.parts_of_kind[sort].append(key)
    for sort in graph.parts_of_kind:
        graph.parts_of_kind[sort].sort()
    fill(graph, graph, data.facts.values())
    return graph


def declared(data: Names, assembly: str) -> frozenset[str]:
    """The places that belong to an assembly (its key)."""
    named = (n for t in data.things["assembly"].get(assembly, ()) for n in getattr(t, "positions", ()))
    return frozenset(data.key("position", n.key) for n in named)


def fill(tables: Tables, graph: Facts, facts: Iterable[Fact]) -> None:
    """Put what these facts lead to into tables, in the order of their ids."""
    for fact in sorted(facts, key=lambda f: f.id):
        _ADD[fact.kind](tables, graph, fact)


def left_out(graph: Facts, names: Iterable[str]) -> frozenset[str]:
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


def _add_rebadge(tables: Tables, graph: Facts, fact: Fact) -> None:
    one, other, names = fact.args
    out = left_out(graph, names)
    tables.links[one].append(Link(other, fact, out, ""))
    tables.links[other].append(Link(one, fact, out, ""))


def _add_uses(tables: Tables, graph: Facts, fact: Fact) -> None:
    assembly, owner, names = fact.args
    out = left_out(graph, names)
    tables.links[owner].append(Link(assembly, fact, out, assembly))
    tables.links[assembly].append(Link(owner, fact, out, assembly))


def _add_takes(tables: Tables, graph: Facts, fact: Fact) -> None:
    part, owner, position, role = fact.args
    place = Place(owner, position)
    tables.taken_at[place].append((part, role, fact))
    tables.takes_of[part].append((place, role, fact))


def _add_same(tables: Tables, graph: Facts, fact: Fact) -> None:
    one, other = fact.args
    tables.same[one].append((other, fact))
    tables.same[other].append((one, fact))


def _add_replaces(tables: Tables, graph: Facts, fact: Fact) -> None:
    new, old = fact.args
    tables.older[new].append((old, fact))
    tables.newer[old].append((new, fact))


def _add_fits(tables: Tables, graph: Facts, fact: Fact) -> None:
    source, target = Place(*fact.args[0:2]), Place(*fact.args[2:4])
    for one, other in [(source, target), *([(target, source)] if fact.args[4] else [])]:
        tables.fits_from[one].append((other, fact))
        tables.fits_to[other].append((one, fact))


def _add_refuses(tables: Tables, graph: Facts, fact: Fact) -> None:
    part, owner, position, at, where = fact.args
    item: str | Place = part or Place(owner, position)
    tables.refused_at[Place(at, where)].append((item, fact))


def _add_distinct(tables: Tables, graph: Facts, fact: Fact) -> None:
    one, other = fact.args
    tables.distinct[one].append((other, fact))
    tables.distinct[other].append((one, fact))


def _add_run(tables: Tables, graph: Facts, fact: Fact) -> None:
    tables.runs_at[Place(*fact.args[:2])].append(fact)


_ADD = {
    "rebadge": _add_rebadge,
    "uses": _add_uses,
    "takes": _add_takes,
    "same": _add_same,
    "replaces": _add_replaces,
    "fits": _add_fits,
    "refuses": _add_refuses,
    "distinct": _add_distinct,
    "run": _add_run,
}


def sort_of(data: Names, part: str) -> str:
    """The key of the kind that a part is of, or ""."""
    return data.kind_of(part)
