"""What is exported, counted by programs from outside: rdflib, pyoxigraph, networkx, csv and openpyxl."""

from __future__ import annotations

import csv
import io
from collections import Counter
from pathlib import Path

import networkx
import openpyxl
import pyoxigraph
import pytest
import rdflib

from kgraph.cli.main import run
from tests.exchanged import EVERY, exported, graph
from tests.support import DEMO, graph_of_folder

TERM = "urn:kgraph:term:"
SETS = "https://schema.org/ProductModel"
CLASSES = {"set": SETS, "part": f"{TERM}Part", "assembly": f"{TERM}Assembly"}
TYPE = "http://www.w3.org/1999/02/22-rdf-syntax-ns#type"


@pytest.mark.parametrize("where", ["every kind", "demo"])
def test_three_programs_count_the_same_things_and_facts(where: str) -> None:
    made = graph(EVERY) if where == "every kind" else graph_of_folder(DEMO)
    turtle = exported(made, "turtle")
    store, one = pyoxigraph.Store(), rdflib.Graph()
    store.load(turtle, format=pyoxigraph.RdfFormat.TURTLE)
    one.parse(data=turtle, format="turtle")
    assert len(store) == len(one)
    drawn = networkx.parse_graphml(exported(made, "graphml").decode(), force_multigraph=True)
    nodes = Counter(kind for _, kind in drawn.nodes(data="kind"))
    for kind, name in CLASSES.items():
        found = store.quads_for_pattern(None, pyoxigraph.NamedNode(TYPE), pyoxigraph.NamedNode(name))
        by_rdflib = set(one.subjects(rdflib.RDF.type, rdflib.URIRef(name)))
        assert len({q.subject for q in found}) == len(by_rdflib) == nodes[kind] == len(made.data.known(kind))
    ids = set(one.objects(None, rdflib.URIRef(f"{TERM}id")))
    edges = {fact for _, _, fact in drawn.edges(data="fact")}
    assert edges == set(made.data.facts)
    assert edges <= {str(i) for i in ids}


def test_csv_and_a_workbook_have_a_row_for_each_entry(tmp_path: Path) -> None:
    counts = Counter(entry.kind for entry in graph_of_folder(DEMO).data.entries)
    assert run(["--data", str(DEMO), "export", "--to", "csv", "-o", str(tmp_path / "tables")]) == 0
    by_csv = {
        file.stem: len(list(csv.DictReader(io.StringIO(file.read_text(encoding="utf-8"), newline=""))))
        for file in (tmp_path / "tables").iterdir()
    }
    assert run(["--data", str(DEMO), "export", "--to", "xlsx", "-o", str(tmp_path / "a.xlsx")]) == 0
    book = openpyxl.load_workbook(tmp_path / "a.xlsx")
    assert by_csv == {sheet.title: sheet.max_row - 1 for sheet in book.worksheets} == dict(counts)
