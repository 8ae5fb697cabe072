"""Sets, assemblies and parts as nodes, facts as edges: GraphML, for programs that draw and measure graphs."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from kgraph.claims import (
    DistinctClaim,
    FaultClaim,
    FitsClaim,
    RebadgeClaim,
    RefusesClaim,
    ReplacesClaim,
    RunClaim,
    SameClaim,
    SizeClaim,
    TakesClaim,
    UsesClaim,
)
from kgraph.collection import Collection
from kgraph.exchange.formats import Export
from kgraph.facts import Fact

if TYPE_CHECKING:
    from networkx import MultiDiGraph

# What XML 1.0 has no way to write is shown as an escape.
_NO_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")


def graphml(wanted: Export) -> Iterator[bytes]:
    """The graph as GraphML: nodes with `label`, `kind`, `key`; edges with `fact`, `kind`, `certainty`, ..."""
    import networkx

    yield b"<?xml version='1.0' encoding='utf-8'?>\n"
    for line in networkx.generate_graphml(graph_of(wanted.graph.data)):
        yield f"{line}\n".encode()


def graph_of(data: Collection) -> MultiDiGraph[str]:
    """A collection as a directed graph; nodes are n1, n2, ... by kind and key: no text of the data is an id.

    An edge of a `rebadge` or `same` holds both ways and says so; a `run` is an edge from its owner to itself.
    """
    import networkx

    graph: MultiDiGraph[str] = networkx.MultiDiGraph()
    nodes: dict[str, str] = {}
    for letter, kind in (("s", "set"), ("a", "assembly"), ("p", "part")):
        for key, text in sorted(data.known(kind).items()):
            node = nodes[f"{letter}:{key}"] = f"n{len(nodes) + 1}"
            more = _own_kind(data, kind, key)
            graph.add_node(node, label=xml_text(text), kind=kind, key=xml_text(key), **more)
    for number, fact in enumerate(sorted(data.facts.values(), key=lambda f: f.id), 1):
        start, end = (nodes[n] for n in _ends(fact))
        graph.add_edge(start, end, key=f"e{number}", **_said(data, fact))
    return graph


def xml_text(text: str) -> str:
    """A text with what XML cannot hold as escapes such as `\\x1b`; its backslashes are then doubled."""
    if not _NO_XML.search(text):
        return text
    return _NO_XML.sub(
        lambda m: f"\\x{ord(m[0]):02x}" if ord(m[0]) < 256 else f"\\u{ord(m[0]):04x}",
        text.replace("\\", "\\\\"),
    )


def _own_kind(data: Collection, kind: str, key: str) -> dict[str, str]:
    found = data.kind_of(key) if kind == "part" else data.assembly_kind(key) if kind == "assembly" else ""
    if not found:
        return {}
    return {"sort": xml_text(data.text("kind", found) if kind == "part" else found)}


def _ends(fact: Fact) -> tuple[str, str]:
    """The two nodes of a fact: who is built on what, who takes what, what goes where."""
    match fact.claim:
        case (RebadgeClaim() | DistinctClaim()) as claim:
            return claim.one, claim.other
        case UsesClaim() as claim:
            return claim.owner, claim.assembly
        case TakesClaim() as claim:
            return claim.owner, f"p:{claim.part}"
        case FitsClaim() as claim:
            return claim.owner, claim.to
        case RefusesClaim() as claim:
            return (f"p:{claim.part}" if claim.part else claim.item_owner), claim.owner
        case (RunClaim() | FaultClaim()) as claim:
            return claim.owner, claim.owner
        case (SameClaim() | ReplacesClaim() | SizeClaim()) as claim:
            return f"p:{claim[0]}", f"p:{claim[1]}"


_POSITIONS = {"position": "position", "at": "at", "from": "item_position"}
"""What an edge says -> the position of a claim that it says."""


def _said(data: Collection, fact: Fact) -> dict[str, Any]:
    """What an edge says of its fact; what does not apply is left out."""
    positions = {k: getattr(fact.claim, name, "") for k, name in _POSITIONS.items()}
    at = {k: data.text("position", key) for k, key in positions.items() if key}
    sources = sorted({s for e in fact.evidence for s in e.sources})
    both = fact.kind in ("rebadge", "same", "distinct") or (
        isinstance(fact.claim, FitsClaim) and fact.claim.both_ways
    )
    more = {
        **at,
        "role": fact.claim.role if isinstance(fact.claim, TakesClaim) else "",
        "except": "; ".join(data.text("position", k) for k in fact.left_out),
        "source": "; ".join(sources),
    }
    return {
        "fact": xml_text(fact.id),
        "kind": fact.kind,
        "certainty": fact.certainty,
        "both_ways": bool(both),
        **{key: xml_text(text) for key, text in more.items() if text},
    }
