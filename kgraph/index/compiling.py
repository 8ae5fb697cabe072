"""A folder that was read, turned into the rows of an index (see :mod:`kgraph.index.compiled`)."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import Any

from kgraph import quantities, words
from kgraph.collection import Collection, Evidence, Fact
from kgraph.fits.graph import Graph, Place
from kgraph.fits.sizes import FromCollection, Size
from kgraph.names import Name

Row = tuple[str, Any]


def rows(graph: Graph, files: Mapping[str, tuple[int, str]]) -> Iterator[Row]:
    """All rows but those that say which files they were made from.

    `files`: for each file as problems and facts name it, which folder it lies in, and its path there.
    """
    data = graph.data
    numbers = {file: i for i, file in enumerate(files)}
    yield "files", list(files.values())
    yield "any", {"fits": bool(graph.fits_from), "refused": bool(graph.refused_at)}
    yield "positions", data.known("position")
    for fact in data.facts.values():
        yield f"f|{fact.id}", _fact(fact, numbers)
    yield from _owners(graph)
    yield from _parts(graph)
    yield from _names(data)
    yield from _kinds(graph)


def _fact(fact: Fact, numbers: Mapping[str, int]) -> list[Any]:
    evidence = [_evidence(e, numbers) for e in fact.evidence]
    return [fact.kind, fact.args, fact.certainty, evidence, fact.ids]


def _evidence(e: Evidence, numbers: Mapping[str, int]) -> list[Any]:
    where = (numbers[e.where.file], e.where.line, e.where.column)
    return [*where, e.how, e.certainty, e.source, e.by, e.date, e.note]


def _short(fact: Fact) -> list[Any]:
    return [fact.id, fact.kind, fact.args, fact.certainty]


def _owners(graph: Graph) -> Iterator[Row]:
    data = graph.data
    at: dict[str, dict[str, dict[str, list[Any]]]] = defaultdict(lambda: defaultdict(dict))
    for kind, lists in _AT.items():
        for place, found in getattr(graph, lists).items():
            at[place.owner][place.position][kind] = [[*_plain(f[:-1]), _short(f[-1])] for f in found]
    owners = {f"s:{k}" for k in data.known("set")} | {f"a:{k}" for k in data.known("assembly")}
    matched = sorted({a for p in data.things["position"] for a in data.position_rules(p)[0]})
    for owner in sorted(owners | set(graph.links) | set(at)):
        kind, key = ("set" if owner[0] == "s" else "assembly"), owner[2:]
        links = [
            [k.other, _short(k.fact), sorted(k.left_out), k.to_assembly] for k in graph.links.get(owner, ())
        ]
        row: dict[str, Any] = {"t": data.text(kind, key), "l": links, "p": at.get(owner, {})}
        if owner[0] == "a":
            row["d"] = sorted(graph.declares.get(owner, ()))
            row["k"] = data.assembly_kind(key)
        elif attributes := {a: v for a in matched if (v := data.attribute("set", key, a))}:
            row["a"] = attributes
        yield f"o|{owner}", row


_AT = {"t": "taken_at", "f": "fits_from", "g": "fits_to", "r": "refused_at"}
_OF = {"g": "takes_of", "s": "same", "o": "older", "n": "newer"}


def _plain(values: tuple[Any, ...]) -> list[Any]:
    return [[*v] if isinstance(v, Place) else v for v in values]


def _parts(graph: Graph) -> Iterator[Row]:
    data = graph.data
    known = set(data.known("part")).union(*(getattr(graph, lists) for lists in _OF.values()))
    for part in sorted(known):
        row: dict[str, Any] = {"t": data.text("part", part), "k": data.kind_of(part)}
        for kind, lists in _OF.items():
            if found := getattr(graph, lists).get(part):
                row[kind] = [[*_plain(f[:-1]), _short(f[-1])] for f in found]
        yield f"p|{part}", row


def _names(data: Collection) -> Iterator[Row]:
    for kind in words.THINGS:
        if kind not in ("set", "assembly", "part"):
            for key in data.known(kind):
                yield f"n|{kind}|{key}", {"t": data.text(kind, key)}
        for key, to in data.aliases[kind].items():
            yield f"i|{kind}|{key}", to
        for key in data.ambiguous[kind]:
            yield f"i|{kind}|{key}", None
    for key, text in data.features.items():
        if not data.knows("position", key):
            yield f"n|position|{key}", {"t": text, "feature": True}


def _kinds(graph: Graph) -> Iterator[Row]:
    data = graph.data
    sizes = FromCollection(data, graph.parts_of_kind)
    for kind in sorted({*data.known("kind"), *graph.parts_of_kind}):
        row: dict[str, Any] = {"c": [_name(n) for n in data.kind_cautions(kind)], "r": None}
        if (how := sizes.rules(kind)) is not None:
            row["r"] = [dict(how[0]), how[1]]
            found = sizes.of_kind(kind)
            row["s"] = {part: {k: _size(v) for k, v in of.items()} for part, of in found.items()}
        yield f"k|{kind}", row
    for key in data.things["position"]:
        match, cautions = data.position_rules(key)
        if match or cautions:
            yield f"r|{key}", [match, [_name(n) for n in cautions]]
    yield "ruled", sorted(k for k in data.things["position"] if any(data.position_rules(k)))
    for key in data.things["caution"]:
        yield f"c|{key}", data.caution_text(key)


def _name(name: Name) -> list[str]:
    return [name.text, name.key]


def _size(size: Size) -> Any:
    return [size.form, list(size.sizes_mm)] if isinstance(size, quantities.Section) else size
