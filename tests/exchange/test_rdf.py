"""export and import as RDF: nothing is lost, nothing is fetched, and the same data give the same bytes."""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import socket
import subprocess
import sys
import threading
import tracemalloc
import unicodedata
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import pytest
import rdflib

from kgraph import questions, records, words
from kgraph.cli.main import run
from kgraph.collection.fact_ids import thing_id
from kgraph.exchange import incoming, inferred, judging, rdf, validating, vocabulary, written
from kgraph.exchange.formats import Export, Incoming
from kgraph.exchange.statements import Flat
from kgraph.exchange.terms import iri
from kgraph.folder import disk
from kgraph.folder.entry_keys import keys_of
from kgraph.folder.writing import entry_text
from kgraph.problems import CannotRun
from tests.exchanged import EVERY, SUFFIX, exported, graph, imported, meant
from tests.support import DEMO, ROOT, graph_of_folder

HOSTILE = ROOT / "tests" / "hostile"
ENGINES = ("rdflib", "pyoxigraph")
K = rdflib.Namespace("urn:kgraph:term:")
PROV = rdflib.Namespace("http://www.w3.org/ns/prov#")
SH = rdflib.Namespace("http://www.w3.org/ns/shacl#")


def flat(text: str, **more: bool) -> bytes:
    """A folder's text as N-Triples."""
    return exported(graph(text), "ntriples", **more)


# Nothing is lost ------------------------------------------------------------------------------


def test_the_folder_holds_every_kind_of_entry_and_every_key() -> None:
    entries = graph(EVERY).data.entries
    assert {e.kind for e in entries} == set(words.KINDS)
    keys = {key for kind in words.KINDS for key in keys_of(kind)}
    assert {key for e in entries for key, _ in e.pairs} >= keys


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("name", SUFFIX)
def test_every_kind_of_entry_comes_back(name: str, engine: str) -> None:
    before = graph(EVERY)
    data = exported(before, name, inferred=True, places=True)
    assert meant(imported(data, name, engine)) == meant(before.data)


@pytest.mark.parametrize("name", SUFFIX)
def test_the_demo_comes_back(name: str) -> None:
    before = graph_of_folder(DEMO)
    assert meant(imported(exported(before, name), name, "pyoxigraph")) == meant(before.data)


@pytest.mark.parametrize("kind", words.KINDS)
def test_each_entry_comes_back_by_itself(kind: str) -> None:
    # Alone, no other entry can lend it what it lost.
    for entry in graph(EVERY).data.entries:
        if entry.kind == kind:
            text = entry_text([(k, _listed(v)) for k, v in entry.pairs])
            before = graph(text)
            assert meant(imported(exported(before, "turtle"), "turtle", "rdflib")) == meant(before.data)


def _listed(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_listed(v) for v in value]
    return {k: _listed(v) for k, v in value.items()} if isinstance(value, dict) else value


def test_keys_come_back_in_the_order_written() -> None:
    text = "- set: Larkfield LK-40\n  zone: b\n  market: UK\n  badge: Larkfield\n  model: LK-40\n  area: a\n"
    (entry,) = imported(flat(text), "ntriples", "rdflib").entries
    assert [key for key, _ in entry.pairs] == ["set", "zone", "market", "badge", "model", "area"]


def test_an_entry_written_twice_is_there_twice() -> None:
    text = "- takes: K-1\n  in: A 1\n  position: p\n  source: s\n" * 2
    data = imported(flat(text), "ntriples", "rdflib")
    (fact,) = data.facts.values()
    assert len(fact.evidence) == 2


# Into a folder --------------------------------------------------------------------------------


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """An export of every kind of entry."""
    path = tmp_path / "Bench, two.ttl"
    path.write_bytes(exported(graph(EVERY), "turtle"))
    return path


def folder_of(tmp_path: Path, text: str = "") -> Path:
    folder = tmp_path / "facts"
    folder.mkdir()
    if text:
        (folder / "own.yaml").write_text(text, encoding="utf-8")
    return folder


def test_into_an_empty_folder(tmp_path: Path, file: Path, capsys: Any) -> None:
    folder = folder_of(tmp_path)
    assert run(["--data", str(folder), "import", str(file), "--yes"]) == 0
    said = capsys.readouterr().out
    assert "2 rebadge" in said
    assert "import-bench--two.yaml" in said
    assert [p.name for p in folder.glob("*.yaml")] == ["import-bench--two.yaml"]
    assert meant(graph_of_folder(folder).data) == meant(graph(EVERY).data)


def test_a_second_import_adds_nothing(tmp_path: Path, file: Path, capsys: Any) -> None:
    folder = folder_of(tmp_path)
    run(["--data", str(folder), "import", str(file), "--yes"])
    before = {p: p.read_bytes() for p in folder.iterdir() if p.suffix == ".yaml"}
    assert run(["--data", str(folder), "import", str(file), "--yes"]) == 0
    assert "nothing new" in capsys.readouterr().out
    assert {p: p.read_bytes() for p in folder.iterdir() if p.suffix == ".yaml"} == before


def test_only_what_is_new_is_added_and_old_bytes_stay(tmp_path: Path, capsys: Any) -> None:
    own = "- set: A 1\n  market: UK\n- rebadge: [A 1, B 2]\n  how: photo\n# kept\n"
    folder = folder_of(tmp_path, own)
    # Known: the set (keys turned round), the fact with the same evidence (names turned round). New: the
    # fact by another source, the set with something more, another fact.
    come = (
        "- set: a1\n  market: UK\n- rebadge: [B-2, A1]\n  how: photo\n- rebadge: [A 1, B 2]\n  source: s 1\n"
        "- set: A 1\n  weight: 2 kg\n- takes: K-1\n  in: A 1\n  position: p\n"
    )
    sent = tmp_path / "theirs.jsonld"
    sent.write_bytes(exported(graph(come), "jsonld"))
    assert run(["--data", str(folder), "import", str(sent), "--yes"]) == 0
    assert "2 of 5 are there already" in capsys.readouterr().out
    assert (folder / "own.yaml").read_text(encoding="utf-8") == own
    added = [dict(e.pairs) for e in graph_of_folder(folder).data.entries if "import" in e.where.file]
    assert [next(iter(pairs)) for pairs in added] == ["rebadge", "set", "takes"]
    (rebadge,) = (f for f in graph_of_folder(folder).data.facts.values() if f.kind == "rebadge")
    assert sorted(e.source for e in rebadge.evidence) == ["", "s 1"]


def test_without_a_terminal_and_without_yes_nothing_is_written(
    tmp_path: Path, file: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = folder_of(tmp_path)
    monkeypatch.setattr("sys.stdin", io.StringIO())
    assert run(["--data", str(folder), "import", str(file)]) == 2
    said = capsys.readouterr()
    assert "- rebadge" not in said.out
    assert "- set: Larkfield LK-40" in said.out
    assert "--yes" in said.err
    assert not list(folder.glob("*.yaml"))


def test_a_text_cannot_look_like_an_entry_before_the_question(tmp_path: Path, capsys: Any) -> None:
    folder = folder_of(tmp_path)
    sent = tmp_path / "x.ttl"
    sent.write_bytes(exported(graph('- set: A 1\n  note: "seen\\n- withdraw: all"\n'), "turtle"))
    assert run(["--data", str(folder), "import", str(sent), "--yes"]) == 0
    assert "\n- withdraw" not in capsys.readouterr().out


def test_events_go_behind_all_earlier_ones(tmp_path: Path) -> None:
    units = "- unit: U-1\n  set: A 1\n- unit: U-2\n  set: A 1\n"
    folder = folder_of(tmp_path, units + "- taken: knob\n  from: U-1\n  to: U-2\n  owed: yes\n")
    sent = tmp_path / "later.ttl"
    sent.write_bytes(exported(graph("- restored: knob\n  to: U-1\n"), "turtle"))
    assert run(["--data", str(folder), "import", str(sent), "--yes"]) == 0
    kinds = [e.kind for e in graph_of_folder(folder).data.entries]
    assert kinds == ["unit", "unit", "taken", "restored"]


def test_an_own_id_with_another_meaning_writes_nothing(tmp_path: Path, capsys: Any) -> None:
    folder = folder_of(tmp_path, "- takes: K-1\n  in: A 1\n  position: p\n  id: mine\n")
    sent = tmp_path / "theirs.ttl"
    sent.write_bytes(exported(graph("- takes: K-2\n  in: A 1\n  position: p\n  id: mine\n"), "turtle"))
    before = [p.read_bytes() for p in folder.rglob("*.yaml")]
    assert run(["--data", str(folder), "import", str(sent), "--yes"]) == 3
    assert "id mine stands for another statement" in capsys.readouterr().err
    assert [p.read_bytes() for p in folder.rglob("*.yaml")] == before


@pytest.mark.parametrize(
    ("words_given", "status"),
    [
        (["export"], 2),
        (["export", "-o", "x.doc"], 2),
        (["import", "x.doc"], 2),
        (["import", "not there.ttl"], 3),
    ],
)
def test_wrong_use(words_given: list[str], status: int, capsys: Any) -> None:
    assert run(["--data", str(DEMO), *words_given]) == status
    assert capsys.readouterr().err.count("\n") == 1


def test_the_suffix_says_the_format(tmp_path: Path) -> None:
    for name, suffix in SUFFIX.items():
        assert run(["--data", str(DEMO), "export", "-o", str(tmp_path / f"x{suffix}")]) == 0
        whole = exported(graph_of_folder(DEMO), name)
        assert (tmp_path / f"x{suffix}").read_bytes() == whole


# The bytes ------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", SUFFIX)
def test_the_same_data_give_the_same_bytes(tmp_path: Path, name: str) -> None:
    """Wherever the folder lies, and however Python's hashes fall."""
    seen = set()
    for number in range(2):
        folder = tmp_path.joinpath(*["deep"] * number, str(number))
        folder.mkdir(parents=True)
        (folder / "every.yaml").write_text(EVERY, encoding="utf-8")
        words_given = ["export", "--to", name, "--inferred", "--places"]
        command = [sys.executable, "-m", "kgraph.cli.main", "--data", str(folder), *words_given]
        environment = {**os.environ, "PYTHONHASHSEED": str(number), "PYTHONPATH": str(ROOT)}
        done = subprocess.run(command, capture_output=True, env=environment, check=True)
        seen.add(done.stdout)
    assert len(seen) == 1


@pytest.mark.parametrize("name", ["ntriples", "nquads", "turtle", "jsonld"])
def test_an_export_is_never_whole_in_memory(name: str) -> None:
    text = "".join(
        f"- takes: K-{n}\n  in: Larkfield {n}\n  position: volume knob\n  how: photo\n  note: seen {n}\n"
        for n in range(1500)
    )
    found = graph(text)
    size = len(exported(found, name))
    writer = rdf.__dict__[name]
    tracemalloc.start()
    for _ in writer(Export(found)):
        pass
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    # What is kept are the names of the entries and which links were told, not the statements.
    assert peak < 0.75 * size, (peak, size)


def test_nothing_that_a_terminal_obeys_is_sent() -> None:
    text = '- set: A 1\n  note: "a \\e[31m \\u202e \\u2066 \\x9b \\u2028 \\U000E0041 \\ufeff b"\n'
    for name in SUFFIX:
        sent = exported(graph(text), name).decode()
        assert not [c for c in sent if c != "\n" and unicodedata.category(c) in ("Cc", "Cf", "Zl", "Zp")]
        assert meant(imported(sent.encode(), name, "rdflib")) == meant(graph(text).data)


def test_export_as_n_triples_loads_no_library_for_rdf() -> None:
    code = (
        "import sys; from kgraph.cli.main import run; "
        f"run(['--data', {str(DEMO)!r}, 'export', '--to', 'turtle', '-o', '/dev/null']); "
        "print([m for m in ('rdflib', 'pyoxigraph', 'pyshacl', 'networkx') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


# What the statements are ----------------------------------------------------------------------


def test_a_fact_is_a_node_with_its_evidence() -> None:
    found = rdflib.Graph().parse(data=flat(EVERY), format="nt")
    asked = """
        PREFIX k: <urn:kgraph:term:> PREFIX prov: <http://www.w3.org/ns/prov#>
        PREFIX skos: <http://www.w3.org/2004/02/skos/core#> PREFIX schema: <https://schema.org/>
        SELECT ?certainty ?own ?source ?date ?who WHERE {
          ?fact a k:Rebadge ; k:certainty ?certainty ; prov:wasDerivedFrom ?said .
          ?said k:certainty ?own .
          OPTIONAL { ?said prov:hadPrimarySource/skos:prefLabel ?source }
          OPTIONAL { ?said schema:dateCreated ?date }
          OPTIONAL { ?said prov:wasAttributedTo ?who }
        } ORDER BY ?own"""
    rows = [[str(v) for v in row] for row in found.query(asked)]
    person = "urn:kgraph:person:bn"
    assert rows == [
        ["0.97", "0.85", "bench book", "2021-03", person],
        ["0.97", "0.97", "parts list, LK-40", "2022", person],
    ]


def test_plain_links_stand_beside_the_facts() -> None:
    found = rdflib.Graph().parse(data=flat(EVERY), format="nt")
    asked = """
        PREFIX k: <urn:kgraph:term:> PREFIX schema: <https://schema.org/>
        ASK { <urn:kgraph:set:larkfieldlk40> k:builtOn <urn:kgraph:assembly:tn7mechanism> ;
                k:sisterOf <urn:kgraph:set:orvanek2200> ; schema:isVariantOf <urn:kgraph:set:orvanek2200> .
              <urn:kgraph:part:k114> k:takenAt <urn:kgraph:place:s:larkfieldlk40:volumeknob> ;
                schema:isAccessoryOrSparePartFor <urn:kgraph:set:larkfieldlk40> ; schema:mpn "440 1882" }"""
    assert bool(found.query(asked))


def test_a_size_is_a_number_with_its_unit() -> None:
    found = rdflib.Graph().parse(data=flat(EVERY), format="nt")
    asked = """
        PREFIX k: <urn:kgraph:term:> PREFIX qudt: <http://qudt.org/schema/qudt/>
        SELECT ?mm ?code WHERE { <urn:kgraph:part:rd1.3> k:insideLength ?length .
          ?length qudt:numericValue ?mm ; qudt:hasUnit/qudt:ucumCode ?code }"""
    # Folded 5 in is 10 in around the inside, 254 mm: 1 in = 25.4 mm exactly.
    assert [(float(mm), str(code)) for mm, code in found.query(asked)] == [(254.0, "mm")]


def test_inferred_answers_are_those_of_takers_with_their_facts() -> None:
    made = graph_of_folder(DEMO)
    lines = flat_graph(exported(made, "ntriples", inferred=True))
    told = {
        (
            str(lines.value(node, K.part)),
            str(lines.value(node, K.place)),
            str(lines.value(node, K.standing)),
            float(lines.value(node, K.best)),
            float(lines.value(node, K.certainty)),
            frozenset(str(f) for f in lines.objects(node, PROV.wasDerivedFrom)),
        )
        for node in lines.subjects(rdflib.RDF.type, K.Inferred)
    }
    wanted = {
        (
            iri("part", part),
            iri("place", "s", row.set[2:], row.position),
            row.standing,
            row.best,
            row.certainty,
            frozenset(iri("fact", f.id) for f in row.proof),
        )
        for part in made.data.known("part")
        for row in questions.takers_of_part(made, part).rows
    }
    assert len(wanted) > 1000
    assert told == wanted
    facts = set(map(str, lines.subjects(rdflib.RDF.type, K.Fact)))
    assert all(facts >= rests for *_, rests in told)


def flat_graph(data: bytes) -> rdflib.Graph:
    return rdflib.Graph(bind_namespaces="none").parse(data=data, format="nt")


def test_a_withdrawn_fact_is_no_fact() -> None:
    found = flat_graph(flat(EVERY))
    (gone,) = found.subjects(rdflib.RDF.type, K.WithdrawnFact)
    assert (gone, rdflib.RDF.type, K.Fact) not in found
    # One withdrawal takes back all of it, one what somebody said.
    assert len(list(found.subjects(K.takesBack, gone))) == 2


def test_an_entry_of_a_thing_that_was_taken_back_says_nothing_and_comes_back_so(tmp_path: Path) -> None:
    old, new = "- set: Larkfield LK-40\n  years: 1981\n", "- set: Larkfield LK-40\n  years: 1982\n"
    (thing,) = graph(old).data.entries
    assert isinstance(thing, records.Thing)
    before = graph(f"{old}{new}- withdraw: {thing_id(thing)}\n  why: misread\n")
    data = exported(before, "turtle")
    found = rdflib.Graph().parse(data=data, format="turtle")
    key = rdflib.URIRef(vocabulary.key_iri("years"))
    assert [str(v) for v in found.objects(rdflib.URIRef(iri("set", thing.name.key)), key)] == ["1982"]
    (gone,) = found.objects(None, K.takesBack)
    assert str(found.value(gone, key)) == "1981"
    assert faults_of(found) == []
    (tmp_path / "sent.ttl").write_bytes(data)
    folder = folder_of(tmp_path)
    for _ in range(2):
        assert run(["--data", str(folder), "import", str(tmp_path / "sent.ttl"), "--yes"]) == 0
        assert meant(graph_of_folder(folder).data) == meant(before.data)
        assert run(["--data", str(folder), "check"]) == 0


# The vocabulary -------------------------------------------------------------------------------


DISPUTED = "- refuses: K-114\n  in: Orvanek 2200\n  position: volume knob\n  how: guess\n"
"""It goes there by rebadge."""


def ontology() -> rdflib.Graph:
    return rdflib.Graph().parse(data=vocabulary.shipped(vocabulary.ONTOLOGY), format="turtle")


def own_terms(data: bytes) -> set[str]:
    return set(re.findall(r"<(urn:kgraph:(?:term|key):[^>]*)>", data.decode()))


def test_every_term_of_ours_is_defined_and_every_one_defined_is_used() -> None:
    found = ontology()
    defined = {str(s) for s in found.subjects(rdflib.RDF.type) if str(s) != "urn:kgraph:ontology"}
    made = graph(EVERY + DISPUTED)
    used = own_terms(exported(made, "ntriples", inferred=True, places=True))
    (row, *_) = questions.takers_of_part(made, "k114").rows
    bounded = row._replace(bounds=(0.5, 0.6), warnings=("check it first",))
    used |= own_terms("".join(Flat().lines([inferred.answer(made, "k114", bounded)])).encode())
    made_up = {str(s) for s in flat_graph(flat(EVERY)).subjects(rdflib.RDF.type, K.OwnKey)}
    assert made_up >= {"urn:kgraph:key:market", "urn:kgraph:key:FM"}
    assert used - made_up == defined
    assert not made_up & defined


def test_every_term_has_a_label_and_a_comment() -> None:
    found = ontology()
    for subject in set(found.subjects(rdflib.RDF.type)):
        for predicate in (rdflib.RDFS.label, rdflib.RDFS.comment):
            assert len(list(found.objects(subject, predicate))) == 1, subject


def test_every_term_that_the_shapes_and_queries_use_is_defined() -> None:
    defined = {str(s) for s in ontology().subjects(rdflib.RDF.type)}
    shapes = rdflib.Graph().parse(data=vocabulary.shipped(vocabulary.SHAPES), format="turtle")
    used = {str(t) for triple in shapes for t in triple if re.match("urn:kgraph:(term|key):", str(t))}
    for query in (ROOT / "queries").glob("*.rq"):
        used |= {K[name] for name in re.findall(r"\bk:(\w+)", query.read_text(encoding="utf-8"))}
    assert {str(t) for t in used} - defined == set()


def test_the_keys_that_are_defined_are_those_of_entries() -> None:
    defined = {str(s) for s in ontology().subjects() if str(s).startswith(vocabulary.KEY)}
    assert defined == {vocabulary.key_iri(key) for key in written.known_keys()}


# Shapes ---------------------------------------------------------------------------------------


def shaped() -> rdflib.Graph:
    return flat_graph(flat(EVERY, inferred=True, places=True))


def faults_of(found: rdflib.Graph) -> list[str]:
    return validating.faults_of(found.serialize(format="nt", encoding="utf-8"))


def test_an_export_keeps_to_the_shapes() -> None:
    assert faults_of(shaped()) == []
    assert validating.faults(Export(graph_of_folder(DEMO), inferred=True, places=True)) == []


def constraints() -> Iterator[tuple[str, str, str]]:
    """(shape, message, the one constraint of it) for every constraint of the shapes."""
    shapes = rdflib.Graph().parse(data=vocabulary.shipped(vocabulary.SHAPES), format="turtle")
    for shape in sorted(shapes.subjects(rdflib.RDF.type, SH.NodeShape)):
        for rule in shapes.objects(shape, SH.property):
            message = str(shapes.value(rule, SH.message))
            for kind in BROKEN:
                if shapes.value(rule, SH[kind]) is not None:
                    yield str(shape).rsplit(":", 1)[1], message, kind


def _no_value(found: rdflib.Graph, node: Any, paths: list[Any], value: Any) -> None:
    for path in paths:
        found.remove((node, path, None))


def _two_values(found: rdflib.Graph, node: Any, paths: list[Any], value: Any) -> None:
    found.add((node, paths[-1], rdflib.URIRef("urn:kgraph:part:other")))
    found.add((node, paths[-1], rdflib.URIRef("urn:kgraph:part:another")))


def _other(term: Any) -> Any:
    def put(found: rdflib.Graph, node: Any, paths: list[Any], value: Any) -> None:
        _no_value(found, node, paths, value)
        found.add((node, paths[0], term))

    return put


BROKEN: dict[str, Any] = {
    "minCount": _no_value,
    "maxCount": _two_values,
    "datatype": _other(rdflib.Literal("many", datatype=rdflib.XSD.token)),
    "in": _other(rdflib.Literal("nothing of the kind")),
    "class": _other(rdflib.URIRef("urn:kgraph:nobody")),
    "nodeKind": _other(rdflib.Literal("a text")),
    "node": _other(rdflib.URIRef("urn:kgraph:nobody")),
    "minExclusive": _other(rdflib.Literal("0.0", datatype=rdflib.XSD.double)),
    "maxInclusive": _other(rdflib.Literal("1.5", datatype=rdflib.XSD.double)),
    "minInclusive": _other(rdflib.Literal("-1", datatype=rdflib.XSD.integer)),
}
"""Kind of constraint -> what breaks it on one node."""


def _paths(shapes: rdflib.Graph, rule: Any) -> list[Any]:
    path = shapes.value(rule, SH.path)
    several = shapes.value(path, SH.alternativePath)
    return [path] if several is None else list(rdflib.collection.Collection(shapes, several))


def _first_node(whole: rdflib.Graph, shapes: rdflib.Graph, here: Any, kind: str, paths: list[Any]) -> Any:
    """The first node that a shape looks at; it has something of the path where that is to be changed."""
    targets = shapes.objects(here, SH.targetClass)
    nodes = sorted(n for t in targets for n in whole.subjects(rdflib.RDF.type, t))
    if kind in ("class", "datatype", "in", "nodeKind", "node"):
        nodes = [n for n in nodes if any((n, p, None) in whole for p in paths)]
    assert nodes, (here, kind)
    return nodes[0]


def _near(whole: rdflib.Graph, nodes: Iterable[Any], steps: int = 3) -> rdflib.Graph:
    """What is said of some nodes, of what they lead to, and so on: a small graph is soon looked through."""
    found, todo = rdflib.Graph(), set(nodes)
    for _ in range(steps):
        said = [triple for node in todo for triple in whole.triples((node, None, None))]
        for triple in said:
            found.add(triple)
        todo = {value for _, _, value in said}
    return found


@pytest.mark.parametrize("shape", sorted({shape for shape, _, _ in constraints()}))
def test_each_constraint_of_a_shape_finds_a_broken_graph(shape: str) -> None:
    shapes = rdflib.Graph().parse(data=vocabulary.shipped(vocabulary.SHAPES), format="turtle")
    here = rdflib.URIRef(f"urn:kgraph:shape:{shape}")
    whole = shaped()
    tried = 0
    for kind, broken in BROKEN.items():
        rules = [r for r in shapes.objects(here, SH.property) if shapes.value(r, SH[kind]) is not None]
        at = {rule: _first_node(whole, shapes, here, kind, _paths(shapes, rule)) for rule in rules}
        if not at:
            continue
        found = _near(whole, at.values())
        before = "\n".join(faults_of(found))
        for rule, node in at.items():
            broken(found, node, _paths(shapes, rule), shapes.value(rule, SH[kind]))
        said = "\n".join(faults_of(found))
        messages = {str(shapes.value(rule, SH.message)) for rule in rules}
        assert [m for m in messages if m in before] == [], kind
        assert [m for m in messages if m not in said] == [], kind
        tried += len(messages)
    assert tried


def test_a_saying_that_is_no_entry_is_found() -> None:
    found = shaped()
    node = next(iter(found.subjects(rdflib.RDF.type, K.Evidence)))
    found.remove((node, rdflib.RDF.type, K.Entry))
    assert [line for line in faults_of(found) if line.startswith(f"{node}: ")]


def test_validate_writes_nothing_when_the_graph_is_broken(
    tmp_path: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "x.ttl"
    words_given = ["--data", str(DEMO), "export", "-o", str(target), "--validate"]
    monkeypatch.setattr(validating, "faults", lambda export: ["urn:x: broken"])
    assert run(words_given) == 1
    assert "urn:x: broken" in capsys.readouterr().err
    assert not target.exists()


def test_validate_without_the_library_says_what_to_install(
    tmp_path: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyshacl", None)
    words_given = ["--data", str(DEMO), "export", "-o", str(tmp_path / "x.ttl"), "--validate"]
    assert run(words_given) == 3
    assert "kgraph[shapes]" in capsys.readouterr().err


# Files that others send -----------------------------------------------------------------------


def refused(data: bytes | str, suffix: str, engine: str = "rdflib", **more: Any) -> str:
    """What is said of a file that cannot be read."""
    given = data.encode() if isinstance(data, str) else data
    with pytest.raises(CannotRun) as caught:
        incoming.read(Incoming(Path(f"theirs{suffix}"), given, **more), engine)
    return str(caught.value)


ROWS = [line.split("\t") for line in (HOSTILE / "index.tsv").read_text(encoding="utf-8").splitlines()[1:]]
FILES = [(name, int(line)) for name, cls, line, *_ in ROWS if re.match(r"r.*\.(rdf|jsonld|ttl)", name)]


@pytest.mark.parametrize(("name", "line"), FILES)
def test_hostile_files_are_refused_at_their_line_and_open_nothing(
    name: str, line: int, tmp_path: Path
) -> None:
    """Every file opened and every socket made, here and in the process that reads, is written down."""
    folder = folder_of(tmp_path)
    hook = tmp_path / "hook"
    hook.mkdir()
    (hook / "sitecustomize.py").write_text(HOOK, encoding="utf-8")
    told = tmp_path / "told"
    environment = {**os.environ, "PYTHONPATH": f"{hook}{os.pathsep}{ROOT}", "KGRAPH_TEST_TOLD": str(told)}
    words_given = ["--data", str(folder), "import", str(HOSTILE / name), "--yes"]
    command = [sys.executable, "-m", "kgraph.cli.main", *words_given]
    done = subprocess.run(command, capture_output=True, text=True, env=environment, cwd=tmp_path)
    assert done.returncode == 3
    assert f"{HOSTILE / name}:{line}:" in done.stderr
    assert "Traceback" not in done.stderr
    assert not list(folder.glob("*.yaml"))
    events = [tuple(row.split("\t", 1)) for row in told.read_text(encoding="utf-8").splitlines()]
    assert [row for row in events if row[0] == "open"]
    if not name.endswith(".rdf"):
        # The process that reads is watched as well.
        assert [what for _, what in events if re.search(r"exchange/(__pycache__/)?parsing\.", what)]
    assert [what for kind, what in events if kind.startswith("socket")] == []
    allowed = (
        sys.prefix,
        sys.base_prefix,
        str(ROOT),
        str(tmp_path),
        "/dev/null",
        "/tmp",
        "/proc/self",
        "/usr/",
    )
    assert [what for kind, what in events if kind == "open" and not what.startswith(allowed)] == []


HOOK = r"""
import os, sys
_told = os.open(os.environ["KGRAPH_TEST_TOLD"], os.O_WRONLY | os.O_CREAT | os.O_APPEND)

def _note(event, args):
    if event == "open" and isinstance(args[0], (str, bytes)):
        os.write(_told, f"open\t{os.path.abspath(os.fsdecode(args[0]))}\n".encode())
    elif event.startswith("socket."):
        os.write(_told, f"{event}\t{args!r}\n".encode())

sys.addaudithook(_note)
"""


@pytest.mark.parametrize("engine", ENGINES)
def test_what_gets_past_the_judge_still_opens_nothing(engine: str, tmp_path: Path) -> None:
    """The parser itself, given a context elsewhere: no connection is made, and no file is read."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.1)
        reached: list[Any] = []
        done_asking = threading.Event()
        thread = threading.Thread(target=_accept, args=(server, reached, done_asking))
        thread.start()
        url = f"http://127.0.0.1:{server.getsockname()[1]}/context.jsonld"
        secret = tmp_path / "secret.jsonld"
        secret.write_text('{"@context": {"name": "urn:read"}}', encoding="utf-8")
        for context in (url, secret.as_uri()):
            text = json.dumps({"@context": context, "@id": "urn:a", "name": "x"})
            code = (
                "import sys; from kgraph.exchange import parsing\n"
                f"try: print(parsing.ENGINES[{engine!r}]({text!r}, 'json-ld', 'x'))\n"
                "except Exception as error: sys.exit(str(error))"
            )
            done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT)
            assert done.returncode == 1
            assert "urn:read" not in done.stdout
        done_asking.set()
        thread.join()
    assert reached == []


def _accept(server: socket.socket, reached: list[Any], done_asking: threading.Event) -> None:
    while not done_asking.is_set():
        with contextlib.suppress(TimeoutError):
            reached.append(server.accept())


@pytest.mark.parametrize(
    "context",
    [
        '"http://127.0.0.1:9/c"',
        '["http://127.0.0.1:9/c"]',
        '[{"a": "urn:a"}, "file:///etc/hostname"]',
        '{"@import": "http://127.0.0.1:9/c"}',
        '{"a": {"@id": "urn:a", "@context": "c.jsonld"}}',
        '[[ "c.jsonld" ]]',
        '""',
    ],
)
@pytest.mark.parametrize("key", ['"@context"', r'"\u0040context"', r'"@\u0063ontext" '])
def test_no_context_from_elsewhere(context: str, key: str) -> None:
    text = f'{{"a": [1, {{{key}\n: {context}, "@id": "urn:a"}}]}}'
    (problem,) = judging.json_ld(text, "x.jsonld")
    assert problem.code == "remote-context"
    assert problem.where is not None
    assert problem.where.line == 2


@pytest.mark.parametrize(
    "text",
    [
        '{"@context": {"a": "http://127.0.0.1:9/a"}, "a": "x"}',
        '{"@context": [{"a": "urn:a"}, null, {"b": "urn:b"}], "a": "@context"}',
        '{"@context": null, "a": ["@context", "http://127.0.0.1:9/a"]}',
        r'{"a": "\"@context\": \"http://127.0.0.1:9/a\""}',
    ],
)
def test_a_context_in_the_file_itself_is_let_be(text: str) -> None:
    assert judging.json_ld(text, "x.jsonld") == []


@pytest.mark.parametrize(
    ("data", "suffix", "says"),
    [
        ("<urn:a> <urn:b> <urn:c d> .\n", ".nt", "theirs.nt:1:17: '<urn:c d>' is no IRI"),
        ("<urn:a>\n<urn:b\\u0020c> <urn:c> .\n", ".ttl", "theirs.ttl:2:1: "),
        ("<urn:a> <urn:b> <urn:\\uD800> .\n", ".ttl", "theirs.ttl:1:17: "),
        ('{"@id": "urn:a b"}', ".jsonld", "theirs.jsonld:1:9: "),
        ("<< <urn:a> <urn:b> <urn:c> >> <urn:d> 1 .", ".ttl", "theirs.ttl:1:1: a statement about"),
        (b'<urn:a> <urn:b> "ok" .\n# \xff', ".ttl", "theirs.ttl:2:3: this is no UTF-8"),
        ("<urn:a> <urn:b> <urn:c> .\n\n  oh no", ".ttl", "theirs.ttl:3:"),
        ("<urn:a> <urn:b> <urn:c> .\n<urn:a> <urn:b> .\n", ".nt", "theirs.nt:2:"),
        ("<urn:a> <urn:b> <urn:c> <urn:g> .\n<urn:a> <urn:b> .\n", ".nq", "theirs.nq:2:"),
        ("<urn:g> { <urn:a> <urn:b> <urn:c> }\n<urn:g> { x", ".trig", "theirs.trig:2:"),
        ("[1,\n 2", ".jsonld", "theirs.jsonld:2:"),
        ('{"a": NaN}', ".jsonld", "theirs.jsonld:1:1: this is no JSON"),
        ("x:a <urn:b> 1 .", ".ttl", "theirs.ttl:1:"),
        ('<urn:a> <urn:b> """ open', ".ttl", "theirs.ttl:1:"),
        ("[" * 200 + "]" * 200, ".jsonld", "theirs.jsonld:1:101: brackets more than 100 deep"),
        ("(" * 200, ".ttl", "theirs.ttl:1:45: brackets more than 44 deep"),
        ("[" * 500_000, ".jsonld", "deep"),
    ],
)
@pytest.mark.parametrize("engine", ENGINES)
def test_what_cannot_be_read_is_said_at_its_place(data: Any, suffix: str, says: str, engine: str) -> None:
    said = refused(data, suffix, engine)
    assert says in said
    assert "Traceback" not in said


HEAD = "@prefix k: <urn:kgraph:term:> .\n@prefix key: <urn:kgraph:key:> .\n"
NAMED = "urn:kgraph:entry:0123456789abcdef0123456789abcdef"


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ("a k:Entry ; key:set 'A 1' .", "does not say what kind it is of"),
        ("a k:Entry ; k:entryOf 'part' ; key:set 'A 1' .", "is of the kind part and has no such key"),
        ("a k:Entry ; k:entryOf 'set' ; key:set 'A 1', 'B 2' .", "has 2 values of set"),
        ("a k:Entry ; k:entryOf 'set' ; key:set <urn:kgraph:set:a1> .", "has the IRI urn:kgraph:set:a1"),
        (
            "a k:Entry ; k:entryOf 'set' ; key:set 'A' ; key:x _:l .\n"
            "_:l <http://www.w3.org/1999/02/22-rdf-syntax-ns#first> 'a' ;"
            " <http://www.w3.org/1999/02/22-rdf-syntax-ns#rest> _:l .",
            "shares a node or list with another value in x",
        ),
        (
            "a k:Entry ; k:entryOf 'set' ; key:set 'A' ; key:x _:l .\n"
            "_:l <http://www.w3.org/1999/02/22-rdf-syntax-ns#first> 'a' .",
            "has a list that is not whole in x",
        ),
        (
            "a k:Entry ; k:entryOf 'set' ; key:set 'A' ; key:x _:n .\n_:n key:again _:n .",
            "shares a node or list with another value in again",
        ),
        (
            "a k:Entry ; k:entryOf 'set' ; key:set 'A' ; key:x " + "[ key:a " * 24 + "1" + "]" * 24 + " .",
            "is nested more than 20 deep",
        ),
    ],
)
@pytest.mark.parametrize("engine", ENGINES)
def test_a_wrong_entry_is_said_at_its_line(said: str, says: str, engine: str) -> None:
    message = refused(f"{HEAD}<{NAMED}> {said}", ".ttl", engine)
    assert message.startswith("theirs.ttl:3:1: the entry urn:kgraph:entry:0123")
    assert says in message


def test_wrong_values_are_said_at_their_lines_and_nothing_is_written(tmp_path: Path, capsys: Any) -> None:
    folder = folder_of(tmp_path)
    data = flat("- set: A 1\n- takes: K-1\n  in: A 1\n  position: p\n  certainty: 0.5\n- set: B 2\n").decode()
    data = data.replace('key:certainty> "0.5"', 'key:certainty> "5"').replace(
        'entryOf> "set"', 'entryOf> "sett"'
    )
    data = data.replace("key:set>", "key:sett>")
    sent = tmp_path / "x.nt"
    sent.write_text(data, encoding="utf-8")
    lines = [
        next(n for n, line in enumerate(data.split("\n"), 1) if line.startswith(f"<{name}"))
        for name in dict.fromkeys(re.findall(r"^<(urn:kgraph:entry:[0-9a-f]+)", data, re.M))
    ]
    assert run(["--data", str(folder), "import", str(sent), "--yes"]) == 3
    err = capsys.readouterr().err.splitlines()
    assert [line.split(" ", 1)[0] for line in err] == [f"{sent}:{n}:1:" for n in lines]
    assert ["sett" in line for line in err] == [True, False, True]
    assert not list(folder.glob("*.yaml"))


def test_a_long_list_and_numbers_of_other_kinds_are_read() -> None:
    items = " ".join(str(n) for n in range(5000))
    said = f"key:set 'A 1'@en ; key:n '012'^^<urn:x> ; key:l ({items})"
    text = f"{HEAD}<{NAMED}> a k:Entry ; k:entryOf 'set' ; {said} ."
    for engine in ENGINES:
        (pairs,) = incoming.read(Incoming(Path("x.ttl"), text.encode()), engine).entries
        assert dict(pairs) == {"set": "A 1", "n": "012", "l": [str(n) for n in range(5000)]}


def test_a_file_without_entries_says_so(tmp_path: Path, capsys: Any) -> None:
    sent = tmp_path / "x.ttl"
    sent.write_text("<urn:a> <urn:b> <urn:c> .", encoding="utf-8")
    assert run(["--data", str(DEMO), "import", str(sent), "--yes"]) == 1
    assert "kgraph:Entry" in capsys.readouterr().err


def test_a_file_that_is_too_large_is_refused(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(incoming, "MOST_BYTES", 100)
    assert "theirs.ttl:1:1: more than" in refused("# " * 51, ".ttl")
    assert disk.MOST_BYTES == 64 << 20


def test_reading_ends_at_the_time_limit() -> None:
    said = refused("<urn:a> <urn:b> ( " + "1 " * 1_000_000 + ") .", ".ttl", "rdflib", seconds=1.0)
    assert "not done after 1 s; --seconds sets the limit" in said


def test_reading_ends_at_the_bound_on_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(incoming, "MEMORY_MIB", 300)
    said = refused("<urn:a> <urn:b> ( " + "1 " * 1_000_000 + ") .", ".ttl", "rdflib", seconds=60.0)
    assert "more than 300 MiB of memory is needed" in said


def test_a_pipe_is_not_waited_for(tmp_path: Path, capsys: Any) -> None:
    os.mkfifo(tmp_path / "x.ttl")
    assert run(["--data", str(DEMO), "import", str(tmp_path / "x.ttl"), "--yes"]) == 3
    assert "not a regular file" in capsys.readouterr().err
