"""A folder as RDF, in five formats; each is written as it is made, and the same data give the same bytes.

Four named graphs: `urn:kgraph:graph:written` holds the entries as they stand, `meant` things and facts with
names resolved, `places` the graph multiplied out by place, `inferred` the answers of `takers`. Formats that
know no named graphs hold them all in one. Sources: Turtle, TriG, N-Triples and N-Quads 1.1 (W3C
Recommendations, 2014), JSON-LD 1.1 (2020).
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping

from kgraph.collection import Collection
from kgraph.exchange import imaged, inferred, meant, places, stated, written
from kgraph.exchange.formats import Export
from kgraph.exchange.statements import Block, Flat, LiteralText, Nested, Object, Pair, TermList
from kgraph.exchange.terms import iri, literal, unseen
from kgraph.exchange.vocabulary import PREFIXES, TYPE
from kgraph.problems import Where

Graphs = Iterable[tuple[str, Iterable[Block]]]


def graphs(export: Export) -> Iterator[tuple[str, Iterable[Block]]]:
    """(IRI of the named graph, its blocks), in their order."""
    data, told = export.graph.data, set[places.Node]()
    entries = written.iris(data)
    yield iri("graph", "written"), written.blocks(data, entries)
    yield iri("graph", "meant"), _meant(data, entries, told)
    if export.places:
        yield iri("graph", "places"), stated.place_links(export.graph, told)
    if export.inferred:
        yield iri("graph", "inferred"), inferred.blocks(export.graph, told, export.step)


def _meant(data: Collection, entries: Mapping[Where, str], told: set[places.Node]) -> Iterator[Block]:
    yield from meant.things(data)
    yield from meant.facts(data, entries)
    yield from imaged.photos(data)
    yield from stated.stated_links(data, told)


def _all(export: Export) -> Iterator[Block]:
    for _, blocks in graphs(export):
        yield from blocks


# N-Triples and N-Quads ------------------------------------------------------------------------


def ntriples(export: Export) -> Iterator[bytes]:
    """One statement to a line."""
    return _encoded(Flat().lines(_all(export)))


def nquads(export: Export) -> Iterator[bytes]:
    """One statement to a line, with its graph."""
    flat = Flat()
    for name, blocks in graphs(export):
        flat.graph = name
        yield from _encoded(flat.lines(blocks))


def _encoded(texts: Iterable[str]) -> Iterator[bytes]:
    return (text.encode() for text in texts)


# Turtle and TriG ------------------------------------------------------------------------------


def turtle(export: Export) -> Iterator[bytes]:
    """Prefixes, then a paragraph for each block."""
    yield from _encoded([_prefixes()])
    yield from _encoded(_paragraph(block, "") for block in _all(export))


def trig(export: Export) -> Iterator[bytes]:
    """Prefixes, then each named graph in braces."""
    yield from _encoded([_prefixes()])
    for name, blocks in graphs(export):
        yield f"\n<{name}> {{\n".encode()
        yield from _encoded(_paragraph(block, "  ") for block in blocks)
        yield b"}\n"


def _prefixes() -> str:
    return "".join(f"@prefix {name}: <{base}> .\n" for name, base in PREFIXES.items())


def _paragraph(block: Block, indent: str) -> str:
    return f"\n{indent}{_short(block.subject)} {_told(block.pairs, indent + '  ')} .\n"


def _told(pairs: Iterable[Pair], indent: str) -> str:
    """`predicate object, object ; ...` with a line for each predicate."""
    by_predicate: dict[str, list[str]] = {}
    for predicate, object_ in pairs:
        shown = "a" if predicate == TYPE else _short(predicate)
        by_predicate.setdefault(shown, []).append(_shown(object_, indent + "  "))
    return f" ;\n{indent}".join(f"{name} {', '.join(shown)}" for name, shown in by_predicate.items())


def _shown(object_: Object, indent: str) -> str:
    if isinstance(object_, LiteralText):
        return literal(object_.text) + (f"^^{_short(object_.datatype)}" if object_.datatype else "")
    if isinstance(object_, str):
        return _short(object_)
    if isinstance(object_, TermList):
        return f"( {' '.join(_shown(o, indent) for o in object_.objects)} )" if object_.objects else "()"
    return f"[ {_told(object_.pairs, indent)} ]" if object_.pairs else "[]"


# What stands behind the colon of a short name here is less than what Turtle allows, and needs no escape.
_LOCAL = re.compile(r"[A-Za-z_][A-Za-z0-9_]*(-[A-Za-z0-9_]+)*\Z")


def _name(full: str) -> str:
    """A short name; "" where there is none."""
    for prefix, base in PREFIXES.items():
        if full.startswith(base) and _LOCAL.match(full, len(base)):
            return f"{prefix}:{full[len(base) :]}"
    return ""


def _short(full: str) -> str:
    return _name(full) or f"<{full}>"


# JSON-LD --------------------------------------------------------------------------------------


def jsonld(export: Export) -> Iterator[bytes]:
    """One object: a context of prefixes alone, and a list with one node to a line."""
    yield f'{{"@context": {json.dumps(PREFIXES)},\n"@graph": ['.encode()
    first = True
    for block in _all(export):
        node = {"@id": _compact(block.subject), **_node(block.pairs)}
        yield f"{'' if first else ','}\n{_json(node)}".encode()
        first = False
    yield b"\n]}\n"


def _json(node: object) -> str:
    """JSON on one line; what a terminal would obey stands as an escape."""
    text = json.dumps(node, ensure_ascii=False)
    return text if text.isascii() else "".join(json.dumps(c)[1:-1] if unseen(c) else c for c in text)


def _compact(full: str) -> str:
    return _name(full) or full


def _node(pairs: Iterable[Pair]) -> dict[str, object]:
    found: dict[str, list[object]] = {}
    for predicate, object_ in pairs:
        if predicate == TYPE and isinstance(object_, str):
            found.setdefault("@type", []).append(_compact(object_))
        else:
            found.setdefault(_compact(predicate), []).append(_value(object_))
    return {key: values[0] if len(values) == 1 else values for key, values in found.items()}


def _value(object_: Object) -> object:
    if isinstance(object_, LiteralText):
        if object_.datatype:
            return {"@value": object_.text, "@type": _compact(object_.datatype)}
        return object_.text
    if isinstance(object_, str):
        return {"@id": _compact(object_)}
    if isinstance(object_, Nested):
        return _node(object_.pairs)
    return {"@list": [_value(o) for o in object_.objects]}
