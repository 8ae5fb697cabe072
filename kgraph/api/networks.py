"""A folder as a graph of networkx, and as one of rdflib."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from kgraph.fits.graph import Graph

if TYPE_CHECKING:
    from networkx import MultiDiGraph
    from rdflib import Graph as RdfGraph


class ThingNode(NamedTuple):
    """A node: what kind of thing (`set`, `assembly` or `part`), and its name as the folder spells it."""

    kind: str
    name: str


def to_networkx(graph: Graph) -> MultiDiGraph[ThingNode]:
    """Things as nodes, facts as edges under their ids."""
    import networkx

    from kgraph.exchange.graphml import graph_of
    from kgraph.render.sentences import says

    plain = graph_of(graph.data)
    nodes = {n: ThingNode(about["kind"], about["label"]) for n, about in plain.nodes(data=True)}
    made: MultiDiGraph[ThingNode] = networkx.MultiDiGraph()
    for n, about in plain.nodes(data=True):
        more = {key: text for key, text in about.items() if key not in ("label", "kind")}
        made.add_node(nodes[n], kind=nodes[n].kind, name=nodes[n].name, **more)
    for start, end, about in plain.edges(data=True):
        fact = graph.data.facts[about["fact"]]
        place = {"file": fact.where.file, "line": fact.where.line} if fact.where else {}
        made.add_edge(nodes[start], nodes[end], key=fact.id, **about, says=says(graph.data, fact), **place)
    return made


def to_rdflib(graph: Graph, inferred: bool, places: bool) -> RdfGraph:
    """All that `export` writes as RDF, in one graph."""
    import rdflib

    from kgraph.exchange.formats import Export
    from kgraph.exchange.rdf import ntriples
    from kgraph.exchange.vocabulary import PREFIXES

    made = rdflib.Graph()
    for prefix, base in PREFIXES.items():
        made.bind(prefix, base)
    return made.parse(data=b"".join(ntriples(Export(graph, inferred, places))), format="nt")
