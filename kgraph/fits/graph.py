"""Facts as links between places and parts, kept so that a question walks only what it needs.

Knows no files: it is built from a :class:`kgraph.collection.Collection`.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from kgraph import quantities, records, words
from kgraph.collection import Collection, Fact
from kgraph.names import fold, name

Size = quantities.Section | float | str
"""A size as compared: a section, mm, or folded text where it is no length."""


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


@dataclass
class Graph:
    """Adjacency of one folder's facts. Every list is in an order that file order does not change."""

    data: Collection
    links: dict[str, list[Link]] = field(default_factory=lambda: defaultdict(list))
    declares: dict[str, frozenset[str]] = field(default_factory=dict)
    taken_at: dict[Place, list[tuple[str, str, Fact]]] = field(default_factory=lambda: defaultdict(list))
    takes_of: dict[str, list[tuple[Place, str, Fact]]] = field(default_factory=lambda: defaultdict(list))
    same: dict[str, list[tuple[str, Fact]]] = field(default_factory=lambda: defaultdict(list))
    older: dict[str, list[tuple[str, Fact]]] = field(default_factory=lambda: defaultdict(list))
    newer: dict[str, list[tuple[str, Fact]]] = field(default_factory=lambda: defaultdict(list))
    fits_from: dict[Place, list[tuple[Place, Fact]]] = field(default_factory=lambda: defaultdict(list))
    fits_to: dict[Place, list[tuple[Place, Fact]]] = field(default_factory=lambda: defaultdict(list))
    refused_at: dict[Place, list[tuple[str | Place, Fact]]] = field(default_factory=lambda: defaultdict(list))
    parts_of_kind: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    remembered: dict[str, Any] = field(default_factory=dict)
    """What was worked out once for the whole graph, each under the name of who keeps it."""
    _sizes: dict[str, list[tuple[str, Fact]]] = field(default_factory=dict)
    _smaller: dict[str, list[tuple[str, Fact]]] = field(default_factory=dict)

    def like(self, owner: str, position: str) -> Iterable[tuple[str, Fact]]:
        """The owners that one fact makes alike at this position."""
        for link in self.links.get(owner, ()):
            if position in link.left_out:
                continue
            if link.to_assembly and position not in self.declares.get(link.to_assembly, ()):
                continue
            yield link.other, link.fact

    def equal_size(self, part: str) -> list[tuple[str, Fact]]:
        """The parts q with size(part, q): part goes where q goes, by one step of equal size."""
        if part not in self._sizes:
            self._sizes[part] = self._compare_all(part, forward=True)
        return self._sizes[part]

    def equal_size_back(self, part: str) -> list[tuple[str, Fact]]:
        """The parts p with size(p, part)."""
        if part not in self._smaller:
            self._smaller[part] = self._compare_all(part, forward=False)
        return self._smaller[part]

    def _compare_all(self, part: str, forward: bool) -> list[tuple[str, Fact]]:
        kind = sort_of(self.data, part)
        rules = compare_rules(self.data, kind)
        if rules is None:
            return []
        found = []
        for other in self.parts_of_kind[kind]:
            offered, wanted = (part, other) if forward else (other, part)
            if other != part and self._agree(offered, wanted, rules):
                found.append((other, size_fact(self.data, offered, wanted, kind)))
        return found

    def _agree(self, offered: str, wanted: str, rules: dict[str, str]) -> bool:
        """Whether all recorded sizes of two parts agree; one recorded on a single side is no agreement."""
        one, other = (self._recorded(p, rules) for p in (offered, wanted))
        compared = False
        for key in rules or sorted({*one, *other}):
            verdict = values_agree(one.get(key), other.get(key), rules.get(key, "same"))
            if verdict is False:
                return False
            compared = compared or verdict is True
        return compared

    def _recorded(self, part: str, rules: dict[str, str]) -> dict[str, Size | None]:
        known: dict[str, dict[str, Size | None]] = self.remembered.setdefault("sizes", {})
        if part not in known:
            keys = rules or _attribute_keys(self.data, part)
            known[part] = {key: recorded_size(self.data, part, key) for key in keys}
        return known[part]


def build(data: Collection) -> Graph:
    """The graph of a collection's facts."""
    graph = Graph(data)
    for key, things in data.things["assembly"].items():
        named = (n for t in things if isinstance(t, records.Assembly) for n in t.positions)
        graph.declares[f"a:{key}"] = frozenset(data.key("position", n.key) for n in named)
    for key in {**data.spelt["part"], **data.things["part"]}:
        if sort := sort_of(data, key):
            graph.parts_of_kind[sort].append(key)
    for sort in graph.parts_of_kind:
        graph.parts_of_kind[sort].sort()
    for fact in sorted(data.facts.values(), key=lambda f: f.id):
        _ADD.get(fact.kind, lambda g, f: None)(graph, fact)
    return graph


def left_out(graph: Graph, names: Iterable[str]) -> frozenset[str]:
    """The positions that an `except` leaves out: those named, and all that a named assembly declares."""
    out: set[str] = set()
    for key in names:
        out.add(key)
        out |= graph.declares.get(f"a:{graph.data.key('assembly', key)}", frozenset())
    return frozenset(out)


def _add_rebadge(graph: Graph, fact: Fact) -> None:
    one, other, names = fact.args
    out = left_out(graph, names)
    graph.links[one].append(Link(other, fact, out, ""))
    graph.links[other].append(Link(one, fact, out, ""))


def _add_uses(graph: Graph, fact: Fact) -> None:
    assembly, owner, names = fact.args
    out = left_out(graph, names)
    graph.links[owner].append(Link(assembly, fact, out, assembly))
    graph.links[assembly].append(Link(owner, fact, out, assembly))


def _add_takes(graph: Graph, fact: Fact) -> None:
    part, owner, position, role = fact.args
    place = Place(owner, position)
    graph.taken_at[place].append((part, role, fact))
    graph.takes_of[part].append((place, role, fact))


def _add_same(graph: Graph, fact: Fact) -> None:
    one, other = fact.args
    graph.same[one].append((other, fact))
    graph.same[other].append((one, fact))


def _add_replaces(graph: Graph, fact: Fact) -> None:
    new, old = fact.args
    graph.older[new].append((old, fact))
    graph.newer[old].append((new, fact))


def _add_fits(graph: Graph, fact: Fact) -> None:
    source, target = Place(*fact.args[0:2]), Place(*fact.args[2:4])
    for one, other in [(source, target), *([(target, source)] if fact.args[4] else [])]:
        graph.fits_from[one].append((other, fact))
        graph.fits_to[other].append((one, fact))


def _add_refuses(graph: Graph, fact: Fact) -> None:
    part, owner, position, at, where = fact.args
    item: str | Place = part or Place(owner, position)
    graph.refused_at[Place(at, where)].append((item, fact))


_ADD = {
    "rebadge": _add_rebadge,
    "uses": _add_uses,
    "takes": _add_takes,
    "same": _add_same,
    "replaces": _add_replaces,
    "fits": _add_fits,
    "refuses": _add_refuses,
}


def sort_of(data: Collection, part: str) -> str:
    """The key of the kind that a part is of, or ""."""
    for thing in data.things["part"].get(part, ()):
        if isinstance(thing, records.Part) and thing.sort:
            return data.key("kind", name(thing.sort).key)
    return ""


def kind_entries(data: Collection, kind: str) -> list[records.Kind]:
    """The `kind` entries of a kind of part."""
    return [k for k in data.things["kind"].get(kind, ()) if isinstance(k, records.Kind)]


def compare_rules(data: Collection, kind: str) -> dict[str, str] | None:
    """The sizes by which generic parts of a kind compare; None where equal size is not enough.

    Belts compare without any entry (common practice, no source); an empty mapping means
    that every recorded size must be the same.
    """
    entries = kind_entries(data, kind)
    said = [k.generic for k in entries if k.generic is not None]
    generic = all(said) if said else kind == words.FITS_LIKE_BELT
    if not kind or not generic:
        return None
    rules = {a: r for k in entries for a, r in k.compare}
    return rules or (dict(words.BELT_COMPARE) if kind == words.FITS_LIKE_BELT else {})


def _attribute_keys(data: Collection, part: str) -> set[str]:
    return {
        k for t in data.things["part"].get(part, ()) for k, _ in t.attributes if k not in {"note", "caution"}
    }


def size_agrees(data: Collection, offered: str, wanted: str, key: str, rule: str) -> bool | None:
    """Whether one size agrees; None where neither part records it."""
    return values_agree(recorded_size(data, offered, key), recorded_size(data, wanted, key), rule)


def values_agree(one: Size | None, other: Size | None, rule: str) -> bool | None:
    """Whether the size offered does for the one wanted; None where neither is recorded."""
    if one is None or other is None:
        return None if one is other else False
    if isinstance(one, quantities.Section) and isinstance(other, quantities.Section):
        parsed = quantities.compare_rule(rule)
        return one.form == other.form and all(
            quantities.within(b, a, parsed) for a, b in zip(one.sizes_mm, other.sizes_mm, strict=True)
        )
    if isinstance(one, float) and isinstance(other, float):
        return quantities.within(other, one, quantities.compare_rule(rule))
    return isinstance(one, str) and isinstance(other, str) and rule == "same" and one == other


def recorded_size(data: Collection, part: str, key: str) -> Size | None:
    """A part's size as a section, as mm, or as folded text where it is no length; None if not recorded."""
    for thing in data.things["part"].get(part, ()):
        if not isinstance(thing, records.Part):
            continue
        if key == "section" and thing.section is not None:
            return thing.section
        if key in {"inside length", "folded"} and thing.inside_length_mm is not None:
            return thing.inside_length_mm
        for attribute, value in thing.attributes:
            if attribute == key:
                return _size(value)
    return None


def _size(value: records.Value) -> float | str:
    if isinstance(value, str):
        try:
            return quantities.length(value).mm
        except quantities.QuantityError:
            return fold(value) or value
    return str(value)


def size_fact(data: Collection, offered: str, wanted: str, kind: str) -> Fact:
    """Equal size as a fact of its own: certainty 0.90 unless the kind says otherwise."""
    given = [k.certainty for k in kind_entries(data, kind) if k.certainty is not None]
    digest = hashlib.sha256(f"size\0{offered}\0{wanted}".encode()).hexdigest()[:16]
    return Fact(digest, "size", (offered, wanted), min(given, default=words.SIZE_CERTAINTY))
