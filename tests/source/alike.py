"""A folder by its index held against the same folder read whole: every name, every fact, every list."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import yaml

from kgraph import records, words
from kgraph.api.loaded import Loaded
from kgraph.cli import opening
from kgraph.cli.loading import load
from kgraph.cli.settings import Settings
from kgraph.collection import Collection
from kgraph.collection.fact_ids import thing_id, written_id
from kgraph.fits.graph import Graph, Place
from kgraph.folder import schema
from kgraph.index.fetched import FetchedCollection
from kgraph.names import fold

Entries = list[dict[str, Any]]

LISTS_OF_OWNERS = ("links", "distinct", "declares")
LISTS_OF_PARTS = ("takes_of", "same", "older", "newer")
LISTS_OF_PLACES = ("taken_at", "fits_from", "fits_to", "refused_at")


def put(path: Path, entries: Entries) -> None:
    text = yaml.safe_dump(entries, sort_keys=False, allow_unicode=True) if entries else ""
    path.write_text(text, encoding="utf-8")


def listed(text: str) -> Entries:
    """The entries of a text, every scalar a text."""
    found: Entries = yaml.load(text, yaml.BaseLoader) or []  # noqa: S506
    return found


def with_withdrawals(entries: Entries, chance: random.Random) -> Entries:
    """The same with one entry of a thing taken back, or one of the withdrawals of such."""
    read, _ = schema.entries_of(yaml.safe_dump(entries, sort_keys=False, allow_unicode=True).encode(), "")
    ids = [thing_id(e) for e in read if isinstance(e, records.Thing)]
    gone = [written_id(e) for e in read if isinstance(e, records.Withdraw) and e.target in ids]
    targets = gone if gone and chance.random() < 0.3 else ids
    if not targets:
        return entries
    via = {"via": "bert"} if chance.random() < 0.1 else {}
    taking = {"withdraw": chance.choice(targets), "why": f"misread {chance.randrange(3)}", **via}
    place = chance.randrange(len(entries) + 1)
    return [*entries[:place], taking, *entries[place:]]


def by_index(folder: Path) -> Loaded | None:
    """The folder by its index, which is made or brought up to date first; None where there can be none."""
    found = opening.opened(Settings((folder,)))
    return found if isinstance(found.data, FetchedCollection) else None


def compared(folder: Path, found: Loaded | None = None) -> None:
    """The folder says the same by its index, asked for one by one, and then for all together."""
    found = found or by_index(folder)
    assert found is not None
    read = load(Settings((folder,)))
    same_names(found.data, read.data)
    same_lists(found.graph, read.graph)
    assert list(found.data.entries) == list(read.data.entries)
    assert list(found.data.standing) == list(read.data.standing)
    assert [*found.data.gone_things.values()] == [*read.data.gone_things.values()]
    assert dict(found.data.facts) == dict(read.data.facts)
    for name in (*LISTS_OF_OWNERS, *LISTS_OF_PARTS, *LISTS_OF_PLACES, "parts_of_kind"):
        mine, theirs = getattr(found.graph, name), getattr(read.graph, name)
        assert {k: mine[k] for k in mine if mine[k]} == {k: theirs[k] for k in theirs if theirs[k]}, name


def same_names(found: Collection, read: Collection) -> None:
    names = {n for entry in read.entries for n in _texts(entry.pairs)}
    for kind in words.THINGS:
        for key in sorted({*read.known(kind), *read.aliases[kind], *read.ambiguous[kind], *names, "nobody"}):
            about = kind, key
            assert found.key(kind, key) == read.key(kind, key), about
            assert found.knows(kind, key) == read.knows(kind, key), about
            assert found.meanings(kind, key) == read.meanings(kind, key), about
            assert found.text(kind, key) == read.text(kind, key), about
            assert list(found.things[kind].get(key, ())) == list(read.things[kind].get(key, ())), about
            assert found.leaves_out(key) == read.leaves_out(key), about
            assert (key in found.assemblies) == (key in read.assemblies), about
        for key in sorted(read.known(kind)):
            assert found.naming(kind, key) == read.naming(kind, key), (kind, key)
            naming = read.naming(kind, key)
            assert found.told_by(kind, found.naming(kind, key)) == read.told_by(kind, naming), (kind, key)
            assert found.leaving_out(key) == read.leaving_out(key), key
        assert found.known_keys(kind) == read.known_keys(kind), kind
        assert found.known(kind) == read.known(kind), kind
    for key in read.known("position"):
        assert found.position_rules(key) == read.position_rules(key)
    for key in read.known("kind"):
        assert found.kind_rules(key) == read.kind_rules(key)
    assert found.grades == read.grades
    for kind in words.FACTS:
        assert found.facts_of_kind(kind) == read.facts_of_kind(kind), kind
    every = [*read.facts.values(), *(fact for fact, _ in read.withdrawn.values())]
    for one in {i for fact in every for i in fact.ids} | {"0123456789abcdef", "one", "no id"}:
        assert found.by_id(one) == read.by_id(one), one


def _texts(value: Any) -> set[str]:
    if isinstance(value, str):
        return {fold(value)} - {""}
    return {text for one in value for text in _texts(one)}


def same_lists(found: Graph, read: Graph) -> None:
    data = read.data
    owners = {*(f"s:{k}" for k in data.known("set")), *(f"a:{k}" for k in data.known("assembly"))}
    parts, positions = sorted(data.known("part")), {*data.known("position"), *data.features}
    for name in LISTS_OF_OWNERS:
        for owner in sorted(owners):
            assert _of(found, name, owner) == _of(read, name, owner), (name, owner)
    for part in parts:
        for name in LISTS_OF_PARTS:
            assert _of(found, name, part) == _of(read, name, part), (name, part)
        assert found.equal_size(part) == read.equal_size(part), part
        assert found.equal_size_back(part) == read.equal_size_back(part), part
        assert data.kind_of(part) == found.data.kind_of(part), part
    for owner in sorted(owners):
        for position in sorted(positions):
            for name in LISTS_OF_PLACES:
                place = Place(owner, position)
                assert _of(found, name, place) == _of(read, name, place), (name, place)


def _of(graph: Graph, name: str, key: Any) -> list[Any]:
    return list(getattr(graph, name).get(key, ()))
