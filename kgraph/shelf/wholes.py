"""What comes off a set together: the places of an assembly that a position names."""

from __future__ import annotations

from kgraph import records
from kgraph.collection import Collection
from kgraph.fits.graph import Graph, Place
from kgraph.names import fold
from kgraph.reason import sharing


def parts_of_whole(graph: Graph, set_key: str, position: str) -> tuple[str, ...]:
    """The places that come off a set with the assembly that a position names; none if it names none.

    A position names an assembly that the set is built on by its name, or by its kind if only one is of it.
    """
    data = graph.data
    built_on = _built_on(graph, f"s:{set_key}")
    own = data.key("assembly", position)
    named = [a for a in built_on if own == a or data.key("position", a) == position]
    if not named:
        named = [a for a in built_on if position in _kind_keys(data, a)]
    return built_on[named[0]] if len(named) == 1 else ()


def _built_on(graph: Graph, owner: str) -> dict[str, tuple[str, ...]]:
    """Assembly -> the places that it shares with a set, for every assembly that the set is built on."""
    found: dict[str, tuple[str, ...]] = {}
    for assembly in sharing.built_on(graph, owner):
        declared = sorted(graph.declares.get(assembly, ()))
        alike = {p: graph.alike_places(Place(owner, p)) for p in declared}
        shared = tuple(p for p in declared if Place(assembly, p) in alike[p])
        if shared:
            found[assembly[2:]] = shared
    return found


def _kind_keys(data: Collection, assembly: str) -> set[str]:
    things = data.things["assembly"].get(assembly, ())
    return {data.key("position", fold(t.sort)) for t in things if isinstance(t, records.Assembly) and t.sort}
