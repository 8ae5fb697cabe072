"""A folder that was read, turned into the rows of an index (see :mod:`kgraph.index.compiled`)."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from operator import itemgetter
from typing import Any

from kgraph import belt_sizes, records, words
from kgraph.collection import Collection
from kgraph.collection.resolving import names_used
from kgraph.collection.trusting import source_trust
from kgraph.facts import Evidence, Fact
from kgraph.fits.graph import Link, Place, WholeGraph
from kgraph.fits.neighbours import Size
from kgraph.fits.sizes import FromCollection
from kgraph.names import Name

Row = tuple[str, Any]

MOST_FILES = 8
"""So many of the files that name a thing are noted, the first ones."""


def rows(graph: WholeGraph, files: Mapping[str, tuple[int, str]]) -> Iterator[Row]:
    """All rows but those that say which files they were made from, in the order of their keys.

    `files`: for each file as problems and facts name it, which folder it lies in, and its path there.
    """
    data = graph.data
    numbers = {file: i for i, file in enumerate(files)}
    named = _mentions(data, numbers)
    parts: list[tuple[str, Iterable[Row]]] = [(key, [(key, value)]) for key, value in _of_all(graph, files)]
    parts += [
        ("c|", ((f"c|{key}", data.caution_text(key)) for key in sorted(data.nameable("caution")))),
        ("f|", ((f"f|{one}", fact_row(data.facts[one], numbers)) for one in sorted(data.facts))),
        ("g|", sorted(_ground(data), key=itemgetter(0))),
        ("i|", sorted(_other_names(data), key=itemgetter(0))),
        ("k|", _kinds(graph)),
        ("n|", sorted(_names(data, named), key=itemgetter(0))),
        ("o|", _owners(graph, named)),
        ("p|", _parts(graph, named)),
        ("r|", _position_rules(data)),
    ]
    # The key of a row begins with the letter of its part, so that parts in order are rows in order.
    for _, found in sorted(parts, key=itemgetter(0)):
        yield from found


def _of_all(graph: WholeGraph, files: Mapping[str, tuple[int, str]]) -> Iterator[Row]:
    """The rows that stand for the whole folder."""
    data = graph.data
    yield "files", list(files.values())
    yield "targets", _targets(data)
    yield "claimed", sorted({i for fact in data.facts.values() if len(fact.ids) > 1 for i in fact.ids})
    yield "grades", data.grades
    yield "trusts", {k: t for k in data.things["source"] if (t := source_trust(data, k)) != 1}
    yield "also", [k for k in words.THINGS if data.aliases[k] or data.ambiguous[k]]
    units = bool(data.things["unit"])
    yield "any", {"fits": bool(graph.fits_from), "refused": bool(graph.refused_at), "units": units}
    distinct = (fact for fact in data.facts.values() if fact.kind == "distinct")
    yield "distinct", [_short(fact) for fact in sorted(distinct, key=lambda f: f.id)]
    yield "positions", data.known("position")
    yield "ruled", sorted(k for k in _positions(data) if any(data.position_rules(k)))


def _positions(data: Collection) -> set[str]:
    """Every position that a question may name."""
    return {*data.nameable("position"), *data.features}


def _targets(data: Collection) -> list[str]:
    """The ids that withdrawals name, and every other id of what they take back."""
    named = {e.target.strip() for e in data.entries if isinstance(e, records.Withdraw)}
    return sorted(named.union(*(fact.ids for fact, _ in data.withdrawn.values())))


@dataclass
class Mentions:
    """The first files, as numbers, that declare a thing, and that name it at all; of each so many."""

    declare: dict[tuple[str, str], list[int]] = field(default_factory=dict)
    name: dict[tuple[str, str], list[int]] = field(default_factory=dict)

    def row(self, kind: str, key: str) -> dict[str, Any]:
        """What a row has of it."""
        return {"e": self.declare.get((kind, key), []), "w": self.name.get((kind, key), [])}


def _mentions(data: Collection, numbers: Mapping[str, int]) -> Mentions:
    made = Mentions()
    for entry in data.entries:
        number = numbers[entry.where.file]
        if isinstance(entry, records.Thing):
            for found in (made.declare, made.name):
                _note(found.setdefault((entry.kind, data.key(entry.kind, entry.name.key)), []), number)
        for kind, used in names_used(data, entry):
            _note(made.name.setdefault((kind, data.key(kind, used.key)), []), number)
    return made


def _note(files: list[int], number: int) -> None:
    """Entries come in the order of the files."""
    if len(files) < MOST_FILES and (not files or files[-1] != number):
        files.append(number)


def fact_row(fact: Fact, numbers: Mapping[str, int]) -> list[Any]:
    """A fact with all its evidence, as rows have it."""
    evidence = [_evidence(e, numbers) for e in fact.evidence]
    return [fact.kind, fact.claim, fact.certainty, evidence, fact.ids]


def _evidence(e: Evidence, numbers: Mapping[str, int]) -> list[Any]:
    where = (numbers[e.where.file], e.where.line, e.where.column)
    return [*where, e.how, e.certainty, e.sources, e.by, e.date, e.note, e.trust, e.photos, e.page, e.via]


def _short(fact: Fact) -> list[Any]:
    return [fact.id, fact.kind, fact.claim, fact.certainty]


def _owners(graph: WholeGraph, named: Mentions) -> Iterator[Row]:
    data = graph.data
    at: dict[str, dict[str, dict[str, list[Any]]]] = defaultdict(lambda: defaultdict(dict))
    for kind, lists in AT.items():
        for place, found in getattr(graph, lists).items():
            at[place.owner][place.position][kind] = [entry(f) for f in found]
    owners = {f"s:{k}" for k in data.known("set")} | {f"a:{k}" for k in data.known("assembly")}
    matched = sorted({a for p in _positions(data) for a in data.position_rules(p).must_match})
    for owner in sorted(owners | set(graph.links) | set(at)):
        kind, key = ("set" if owner[0] == "s" else "assembly"), owner[2:]
        links = [link(k) for k in graph.links.get(owner, ())]
        row: dict[str, Any] = {"t": data.text(kind, key), "l": links, "p": at.get(owner, {})}
        row |= named.row(kind, key)
        if owner[0] == "a":
            row["d"] = sorted(graph.declares.get(owner, ()))
            row["k"] = data.assembly_kind(key)
        elif attributes := {a: v for a in matched if (v := data.attribute("set", key, a))}:
            row["a"] = attributes
        yield f"o|{owner}", row


AT = {"t": "taken_at", "f": "fits_from", "g": "fits_to", "r": "refused_at"}
OF = {"g": "takes_of", "s": "same", "o": "older", "n": "newer"}


def link(made: Link) -> list[Any]:
    """A link as rows have it."""
    return [made.other, _short(made.fact), sorted(made.left_out), made.to_assembly]


def entry(found: tuple[Any, ...]) -> list[Any]:
    """What a list of the graph holds beside its fact, as rows have it."""
    return [*_plain(found[:-1]), _short(found[-1])]


def _plain(values: tuple[Any, ...]) -> list[Any]:
    return [[*v] if isinstance(v, Place) else v for v in values]


def _parts(graph: WholeGraph, named: Mentions) -> Iterator[Row]:
    data = graph.data
    known = set(data.known("part")).union(*(getattr(graph, lists) for lists in OF.values()))
    for part in sorted(known):
        row: dict[str, Any] = {"t": data.text("part", part), "k": data.kind_of(part)}
        row |= named.row("part", part)
        for kind, lists in OF.items():
            if found := getattr(graph, lists).get(part):
                row[kind] = [entry(f) for f in found]
        yield f"p|{part}", row


def _names(data: Collection, named: Mentions) -> Iterator[Row]:
    for kind in words.THINGS:
        if kind not in ("set", "assembly", "part"):
            for key in data.known(kind):
                yield f"n|{kind}|{key}", {"t": data.text(kind, key), **named.row(kind, key)}
    known = data.known("position")
    for key, text in data.features.items():
        if key not in known:
            yield f"n|position|{key}", {"t": text, "feature": True}


def _other_names(data: Collection) -> Iterator[Row]:
    for kind in words.THINGS:
        for key, to in data.aliases[kind].items():
            yield f"i|{kind}|{key}", to
        for key in data.ambiguous[kind]:
            yield f"i|{kind}|{key}", None


def _ground(data: Collection) -> Iterator[Row]:
    """Every name that the ground knows: whose it is in this folder, and what the ground calls that thing."""
    for kind, laid in data.laid.items():
        for key, to in laid.names.items():
            yield f"g|{kind}|{key}", [to, laid.under[to][0].name.text]


def _kinds(graph: WholeGraph) -> Iterator[Row]:
    data = graph.data
    sizes = FromCollection(data, graph.parts_of_kind)
    for kind in sorted({*data.known("kind"), *graph.parts_of_kind}):
        row: dict[str, Any] = {"c": [_name(n) for n in data.kind_cautions(kind)], "r": None}
        if (how := sizes.rules(kind)) is not None:
            row["r"] = [dict(how[0]), how[1]]
            found = sizes.of_kind(kind)
            row["s"] = {part: {k: size_row(v) for k, v in of.items()} for part, of in found.items()}
        yield f"k|{kind}", row


def _position_rules(data: Collection) -> Iterator[Row]:
    for key in sorted(_positions(data)):
        if any(rules := data.position_rules(key)):
            yield f"r|{key}", [rules.must_match, [_name(n) for n in rules.cautions], rules.by_name]


def _name(name: Name) -> list[str]:
    return [name.text, name.key]


def size_row(size: Size) -> Any:
    """A size as rows have it."""
    return [size.form, list(size.sizes_mm)] if isinstance(size, belt_sizes.Section) else size
