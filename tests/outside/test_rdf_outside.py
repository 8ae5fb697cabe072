"""Exports read by processors that are not ours: rdflib, pyoxigraph and PyLD must find the same statements."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pyoxigraph as oxi
import pytest
import rdflib
from hypothesis import HealthCheck, given, settings
from pyld import jsonld
from rdflib.compare import isomorphic

from kgraph.fits.graph import Graph
from tests.exchanged import EVERY, SUFFIX, exported, graph, imported, meant
from tests.outside.folders import Entry, folders, random_folder, write
from tests.support import DEMO, ROOT, graph_of_folder

RDFLIB = {"turtle": "turtle", "jsonld": "json-ld", "trig": "trig", "nquads": "nquads", "ntriples": "nt"}
OXIGRAPH = {
    "turtle": oxi.RdfFormat.TURTLE,
    "jsonld": oxi.RdfFormat.JSON_LD,
    "trig": oxi.RdfFormat.TRIG,
    "nquads": oxi.RdfFormat.N_QUADS,
    "ntriples": oxi.RdfFormat.N_TRIPLES,
}


def by_pyoxigraph(data: bytes, name: str) -> set[str]:
    """The statements with canonical names for nodes without one (RDF Dataset Canonicalization)."""
    return canonical(oxi.Dataset(oxi.parse(data, format=OXIGRAPH[name])))


def canonical(found: oxi.Dataset) -> set[str]:
    found.canonicalize(oxi.CanonicalizationAlgorithm.RDFC_1_0)
    return set(map(str, found))


def by_rdflib(data: bytes, name: str) -> set[str]:
    found = rdflib.Dataset()
    found.parse(data=data, format=RDFLIB[name])
    return by_pyoxigraph(found.serialize(format="nquads", encoding="utf-8"), "nquads")


def by_pyld(data: bytes) -> bytes:
    """JSON-LD as N-Quads."""
    sent = jsonld.to_rdf(json.loads(data), {"format": "application/n-quads", "documentLoader": no_loader})
    return str(sent).encode()


def rounded(lines: bytes) -> set[str]:
    """The statements with each double to 15 digits, as PyLD writes them.

    JSON-LD 1.1 Processing Algorithms, "Data Round Tripping" (from memory), has it so for numbers of JSON.
    """
    double = "http://www.w3.org/2001/XMLSchema#double"
    text = re.sub(rf'"([^"]*)"(?=\^\^<{double}>)', lambda m: f'"{float(m[1]):.14E}"', lines.decode())
    return by_pyoxigraph(text.encode(), "nquads")


def no_loader(url: str, options: object) -> object:
    raise AssertionError(f"{url} is asked for")


def without_graphs(statements: set[str]) -> set[str]:
    """The same statements, the named graph of each left out."""
    found = oxi.Dataset()
    for quad in oxi.parse("".join(f"{s} .\n" for s in statements), format=oxi.RdfFormat.N_QUADS):
        found.add(oxi.Quad(quad.subject, quad.predicate, quad.object))
    return canonical(found)


def texts() -> list[Callable[[], Graph]]:
    hostile = sorted((ROOT / "tests" / "hostile").glob("n*.yaml"))
    return [lambda: graph(EVERY), lambda: graph_of_folder(DEMO), *(_hostile(path) for path in hostile)]


def _hostile(path: Path) -> Callable[[], Graph]:
    """What can be read of a hostile file."""

    def read() -> Graph:
        from kgraph import collection
        from kgraph.fits import graph as graphs
        from kgraph.folder import reading, schema

        found = reading.read_bytes(path.read_bytes(), path.name)
        return graphs.build(collection.build(schema.check_file(found)[0]))

    return read


@pytest.mark.parametrize("made", texts())
def test_all_processors_find_the_same_statements(made: Callable[[], Graph]) -> None:
    found = made()
    sent = {name: exported(found, name, inferred=True, places=True) for name in SUFFIX}
    flat = by_pyoxigraph(sent["ntriples"], "ntriples")
    assert len(flat) >= 3
    for name in ("ntriples", "turtle", "jsonld"):
        assert by_rdflib(sent[name], name) == flat, name
        assert by_pyoxigraph(sent[name], name) == flat, name
    assert rounded(by_pyld(sent["jsonld"])) == rounded(sent["ntriples"])
    quads = by_pyoxigraph(sent["nquads"], "nquads")
    for name in ("nquads", "trig"):
        assert by_rdflib(sent[name], name) == quads
        assert by_pyoxigraph(sent[name], name) == quads
    assert len(quads) == len(flat)
    assert without_graphs(quads) == flat
    for name in ("turtle", "jsonld"):
        assert meant(imported(sent[name], name, "rdflib")) == meant(found.data)


def test_rdflib_itself_finds_turtle_and_json_ld_isomorphic() -> None:
    # Its comparison takes the square of a list's length, and one of the lists is long.
    made = graph("\n".join(line for line in EVERY.split("\n") if len(line) < 1000))
    flat = rdflib.Graph().parse(data=exported(made, "ntriples"), format="nt")
    for name in ("turtle", "jsonld"):
        assert isomorphic(rdflib.Graph().parse(data=exported(made, name), format=RDFLIB[name]), flat)


def test_each_statement_stands_once() -> None:
    for name in ("ntriples", "nquads"):
        lines = exported(graph(EVERY), name, inferred=True, places=True).splitlines()
        assert len(lines) == len(set(lines))


@pytest.mark.parametrize("name", SUFFIX)
def test_random_folders_come_back(name: str, tmp_path: Path) -> None:
    for seed in range(40):
        folder = tmp_path / str(seed)
        write(random_folder(seed, 24), folder)
        before = graph_of_folder(folder)
        # Reading is done in a process of its own: one for the libraries' own start is enough.
        assert meant(imported(exported(before, name), name, "pyoxigraph")) == meant(before.data)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(entries=folders(most_facts=20))
def test_drawn_folders_give_the_same_statements(
    entries: list[Entry], tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("drawn")
    write(entries, folder)
    found = graph_of_folder(folder)
    flat = by_pyoxigraph(exported(found, "ntriples", inferred=True, places=True), "ntriples")
    for name in ("turtle", "jsonld"):
        assert by_pyoxigraph(exported(found, name, inferred=True, places=True), name) == flat
