"""The graph multiplied out by place: what the rules walk on, as plain links that a property path can follow.

An exception holds at one position and not at another, and SPARQL's paths cannot ask on the way whether it
does. So each position of each set or assembly is a node here, and a link stands only where the facts let it:

=============== ======================== =========================================================
link            from, to                 stands where
=============== ======================== =========================================================
likeAt          place, place             one `rebadge` or `uses` fact makes the two alike (both ways)
takenAt         part, place              a `takes` fact says so, original or substitute
originalAt      part, place              the same, original alone
sameAs          part, part               a `same` fact (both ways)
replaces        new part, old part       a `replaces` fact
equalSize       part, part               one step of equal size: the first goes where the second goes
fitsAt          place, place             a `fits` fact: what is at the first went to the second
refusedAt       part or place, place     a `refuses` fact: the part, or what is at the place
distinctFrom    set, set                 a `distinct` fact (both ways)
sisterOf        set, set                 a `rebadge` fact, whatever it leaves out (both ways)
carries         mounting, assembly       see below
=============== ======================== =========================================================

Whether two sets share an assembly hangs on which assembly carries it: a `rebadge` that leaves out either is
no way. A *mounting* is a set seen as built on one assembly by way of another; mountings are alike as places
are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from kgraph.claims import (
    DistinctClaim,
    FitsClaim,
    RebadgeClaim,
    RefusesClaim,
    ReplacesClaim,
    SameClaim,
    TakesClaim,
)
from kgraph.facts import Fact
from kgraph.fits.graph import Graph, Place
from kgraph.reason.sharing import carriers, leaves_out

Node = tuple[str, ...]
"""What a link joins: ("part", key), ("set", key), ("place", owner, position) and so on."""

Triple = tuple[Node, str, Node]


def links(graph: Graph) -> Iterator[Triple]:
    """Every link of the table above, each once, in an order that file order does not change."""
    for owner in sorted(graph.links):
        yield from _like(graph, owner)
    for fact in sorted(graph.data.facts.values(), key=lambda f: f.id):
        yield from stated(fact)
    for parts in graph.parts_of_kind.values():
        for part in parts:
            yield from ((("part", part), "equalSize", ("part", q)) for q, _ in graph.equal_size(part))
    yield from _mountings(graph)


def stated(fact: Fact) -> Iterator[Triple]:
    """The links that one fact states by itself."""
    if make := _OF_FACT.get(fact.kind):
        yield from make(fact)


def _place(place: Place) -> Node:
    return ("place", *place)


def _like(graph: Graph, owner: str) -> Iterator[Triple]:
    found = {
        (_place(Place(owner, position)), _place(Place(other, position)))
        for position in graph.data.known("position")
        for other, _ in graph.like(owner, position)
    }
    yield from ((one, "likeAt", other) for one, other in sorted(found))


def _takes(fact: Fact) -> Iterator[Triple]:
    part, owner, position, role = fact.of(TakesClaim)
    place = ("place", owner, position)
    yield ("part", part), "takenAt", place
    if role == "original":
        yield ("part", part), "originalAt", place


def _same(fact: Fact) -> Iterator[Triple]:
    one, other = fact.of(SameClaim)
    yield ("part", one), "sameAs", ("part", other)
    yield ("part", other), "sameAs", ("part", one)


def _replaces(fact: Fact) -> Iterator[Triple]:
    new, old = fact.of(ReplacesClaim)
    yield ("part", new), "replaces", ("part", old)


def _fits(fact: Fact) -> Iterator[Triple]:
    claim = fact.of(FitsClaim)
    source, target = ("place", claim.owner, claim.position), ("place", claim.to, claim.at)
    yield source, "fitsAt", target
    if claim.both_ways:
        yield target, "fitsAt", source


def _refuses(fact: Fact) -> Iterator[Triple]:
    part, owner, position, at, where = fact.of(RefusesClaim)
    item = ("part", part) if part else ("place", owner, position)
    yield item, "refusedAt", ("place", at, where)


def _rebadge(fact: Fact) -> Iterator[Triple]:
    one, other, _ = fact.of(RebadgeClaim)
    yield ("set", one[2:]), "sisterOf", ("set", other[2:])
    yield ("set", other[2:]), "sisterOf", ("set", one[2:])


def _distinct(fact: Fact) -> Iterator[Triple]:
    one, other = fact.of(DistinctClaim)
    yield ("set", one[2:]), "distinctFrom", ("set", other[2:])
    yield ("set", other[2:]), "distinctFrom", ("set", one[2:])


_OF_FACT: dict[str, Callable[[Fact], Iterator[Triple]]] = {
    "takes": _takes,
    "same": _same,
    "replaces": _replaces,
    "fits": _fits,
    "refuses": _refuses,
    "rebadge": _rebadge,
    "distinct": _distinct,
}


# What is shared -------------------------------------------------------------------------------


def _mountings(graph: Graph) -> Iterator[Triple]:
    for assembly in sorted(o for o in graph.links if o[0] == "a"):
        for carrier in sorted(carriers(graph, assembly)):
            yield from _mounted(graph, assembly, carrier)


def _users(graph: Graph, carrier: str, assembly: str) -> set[str]:
    """The sets and assemblies that are built on a carrier and keep the assembly."""
    return {
        k.other
        for k in graph.links.get(carrier, ())
        if k.to_assembly == carrier and not leaves_out(graph, k, assembly)
    }


def _mounted(graph: Graph, assembly: str, carrier: str) -> Iterator[Triple]:
    def mounting(owner: str) -> Node:
        return ("mounting", owner[2:], assembly[2:], carrier[2:])

    users = {u for u in _users(graph, carrier, assembly) if u[0] == "s"}
    yield from ((mounting(u), "carries", ("assembly", assembly[2:])) for u in sorted(users))
    seen, todo = set(users), sorted(users)
    while todo:
        owner = todo.pop()
        for link in graph.links.get(owner, ()):
            if link.to_assembly or leaves_out(graph, link, assembly, carrier):
                continue
            yield mounting(owner), "likeAt", mounting(link.other)
            if link.other not in seen:
                seen.add(link.other)
                todo.append(link.other)
