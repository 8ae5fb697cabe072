"""The shipped queries against the program's own answers, on three SPARQL engines.

rdflib and pyoxigraph run in this process and, by the command, in one of their own; a third engine
stands behind a real HTTP endpoint on loopback: Comunica over random folders, and over the demo, for
which it is too slow, the JavaScript build of Oxigraph. Both come from npm; without them those tests
are skipped. The answers are those of `kgraph.questions`, refused ones among them.
"""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from kgraph import questions
from kgraph.exchange import apart, engines, formats, rdf, results, sparql
from kgraph.exchange.engines import Result
from kgraph.exchange.terms import iri
from kgraph.fits.graph import Graph, Place
from kgraph.names import fold
from kgraph.questions import Row, Wanted
from kgraph.reason.budget import Budget
from kgraph.reason.refusals import refused_items
from tests.outside.folders import random_folder, write
from tests.support import DEMO, ROOT, graph_of_folder

EVERYTHING = Wanted(refused_too=True, seconds=0.0)
QUERIES = {p.stem: sparql.read(p.stem, p.name, p.read_bytes()) for p in (ROOT / "queries").glob("*.rq")}
MODULES = Path(os.environ.get("KGRAPH_NODE_MODULES", ROOT / "node_modules"))

Ask = Callable[[str], Result]
"""From the text of a query to its result."""
Question = tuple[str, dict[str, str]]
"""A query's name, and the IRI of each parameter."""
Rows = set[tuple[Any, ...]]


def ntriples(graph: Graph) -> bytes:
    """What `query` asks: the export with the links by place."""
    return b"".join(rdf.ntriples(formats.Export(graph, places=True)))


def by_rdflib(graph: Graph) -> Ask:
    """rdflib, in this process."""
    import rdflib

    store = rdflib.Graph(bind_namespaces="none")
    store.parse(data=ntriples(graph), format="nt")
    return lambda text: engines.rdflib_result(store, text)


def by_pyoxigraph(graph: Graph) -> Ask:
    """pyoxigraph, in this process."""
    pyoxigraph = pytest.importorskip("pyoxigraph")
    store = pyoxigraph.Store()
    store.load(ntriples(graph), format=pyoxigraph.RdfFormat.N_TRIPLES)
    return lambda text: engines.pyoxigraph_result(store, text)


def by_process(graph: Graph, engine: str) -> Ask:
    """An engine as the command runs it."""
    data = ntriples(graph)
    return lambda text: apart.run(apart.Job(text, "test.rq", 60.0, engine), [data])


def by_endpoint(url: str) -> Ask:
    """Whatever answers at an address."""
    return lambda text: apart.run(apart.Job(text, "test.rq", 60.0, url=url), [])


# What the program itself answers --------------------------------------------------------------


def expected(graph: Graph, question: Question) -> Rows:
    """The rows that a shipped query must give, by the rules of the program."""
    name, given = question
    keys = {k: v.split(":")[3:] for k, v in given.items()}
    return _EXPECTED[name](graph, **{k: v[-1] if k != "here" else tuple(v[1:]) for k, v in keys.items()})


def _where(graph: Graph, row: Row) -> tuple[str, str]:
    return graph.data.owner_text(row.set), graph.data.text("position", row.position)


def _unlike(row: Row) -> bool:
    return any("must match" in warning for warning in row.warnings)


def _against(graph: Graph, row: Row, host: Place, place: Place | None) -> bool:
    """Whether any fact says that it does not go.

    A query tells of a trial on a sister's badge too, which does not dispute what a set's own fact says.
    `place`: that of the item, where it is known by one.
    """
    if row.no > 0 or not any(f.kind == "takes" and f.claim[1:3] == host for f in row.proof):
        return row.no > 0
    like = graph.alike_places(place) if place else frozenset()
    items: set[object] = {*row.parts, *(like if host in like else ())}
    return bool(items & set(refused_items(graph, host, Budget())))


def _takers(graph: Graph, part: str) -> Rows:
    found = questions.takers_of_part(graph, part, EVERYTHING).rows
    return {(*_where(graph, row), _against(graph, row, Place(row.set, row.position), None)) for row in found}


def _takers_of_place(graph: Graph, here: tuple[str, str]) -> Rows:
    found = questions.takers_of_place(graph, *here, EVERYTHING).rows
    asked = Place(f"s:{here[0]}", here[1])
    return {
        (*_where(graph, row), _against(graph, row, Place(row.set, row.position), asked), _unlike(row))
        for row in found
    }


def _donors(graph: Graph, here: tuple[str, str]) -> Rows:
    found = questions.donors(graph, here[0], [here[1]], EVERYTHING).rows
    asked = Place(f"s:{here[0]}", here[1])
    return {
        (*_where(graph, row), _against(graph, row, asked, Place(row.set, row.position)), _unlike(row))
        for row in found
    }


def _sisters(graph: Graph, set: str) -> Rows:
    return {(graph.data.owner_text(r.set),) for r in questions.sisters(graph, set, EVERYTHING).rows}


def _shares(graph: Graph, set: str) -> Rows:
    found = questions.shares(graph, set, EVERYTHING).rows
    return {(graph.data.owner_text(r.assembly), graph.data.owner_text(r.set)) for r in found}


def _belts(graph: Graph, here: tuple[str, str]) -> Rows:
    """Like places found by a plain search, and what is stated at any of them."""
    if (f"s:{here[0]}", here[1]) not in _linked(graph):
        return set()
    found, todo = {f"s:{here[0]}"}, [f"s:{here[0]}"]
    while todo:
        new = {o for o, _ in graph.like(todo.pop(), here[1])} - found
        found |= new
        todo += new
    stated = {owner: {p for p, _, _ in graph.taken_at.get((owner, here[1]), ())} for owner in found}
    parts = {p for at in stated.values() for p in at}
    sets = [owner for owner in found if owner[0] == "s"]
    data = graph.data
    if not parts:
        return {(data.owner_text(owner), None, None) for owner in sets}
    return {(data.owner_text(s), data.text("part", p), p in stated[s]) for s in sets for p in parts}


def _facts_of_source(graph: Graph, source: str) -> Rows:
    data = graph.data
    said = {
        fact.id: (fact.kind, evidence.certainty)
        for fact in data.facts.values()
        for evidence in fact.evidence
        if evidence.source and data.key("source", fold(evidence.source)) == source
    }
    return {(id, kind) for id, (kind, _) in said.items()}


def _goes(graph: Graph) -> dict[str, tuple[Row, ...]]:
    return {p: questions.takers_of_part(graph, p, EVERYTHING).rows for p in graph.data.known("part")}


def _disputed(graph: Graph) -> Rows:
    data = graph.data
    return {
        (data.text("part", part), *_where(graph, row))
        for part, rows in _goes(graph).items()
        for row in rows
        if _against(graph, row._replace(parts=(part,)), Place(row.set, row.position), None)
    }


def _no_part(graph: Graph) -> Rows:
    """Places that something links to others, at which none of all takers of all parts is."""
    taken = {(row.set, row.position) for rows in _goes(graph).values() for row in rows}
    data = graph.data
    return {(data.owner_text(s), data.text("position", p)) for s, p in _linked(graph) - taken}


def _linked(graph: Graph) -> set[tuple[str, str]]:
    """The places of sets that any fact links to a part or to another place."""
    positions = graph.data.known("position")
    found = {(o, p) for o in graph.links for p in positions if any(True for _ in graph.like(o, p))}
    for links in (graph.taken_at, graph.fits_from, graph.fits_to, graph.refused_at):
        found |= {tuple(place) for place in links}
    refused = (item for items in graph.refused_at.values() for item, _ in items)
    found |= {tuple(item) for item in refused if not isinstance(item, str)}
    return {(owner, position) for owner, position in found if owner[0] == "s"}


_EXPECTED: dict[str, Callable[..., Rows]] = {
    "takers": _takers,
    "takers-of-place": _takers_of_place,
    "donors": _donors,
    "sisters": _sisters,
    "shares": _shares,
    "belts": _belts,
    "facts-of-source": _facts_of_source,
    "disputed": _disputed,
    "no-part": _no_part,
}
_COMPARED = {"takers": 3, "takers-of-place": 4, "donors": 4, "facts-of-source": 2}
"""How many columns of a query are compared with the program's own answers; all, where none is named."""


def rows(ask: Ask, question: Question, columns: int | None = None) -> list[tuple[Any, ...]]:
    """The rows of a query as plain values, remarks in one order."""
    name, given = question
    found = results.answers(ask(sparql.bound(QUERIES[name], given)))
    return [tuple(_sorted(k, v) for k, v in row.items())[:columns] for row in found]


def _sorted(column: str, value: Any) -> Any:
    return tuple(sorted(value.split("; "))) if column == "remarks" else value


def agree(ask: Ask, graph: Graph, question: Question) -> int:
    """Assert that an engine and the program say the same, each row once; how many rows there are."""
    return agrees(rows(ask, question), graph, question)


def agrees(found: list[tuple[Any, ...]], graph: Graph, question: Question) -> int:
    """The same of the rows that an engine gave."""
    assert len(found) == len(set(found)), question
    compared = {row[: _COMPARED.get(question[0])] for row in found}
    assert compared == expected(graph, question), question
    return len(found)


def every_question(graph: Graph) -> list[Question]:
    """Every shipped query with every value that its needed parameters can have in a folder."""
    known = graph.data.known
    places = [{"here": iri("place", "s", s, p)} for s in known("set") for p in known("position")]
    return [
        *(("takers", {"part": iri("part", p)}) for p in known("part")),
        *((name, {"set": iri("set", s)}) for name in ("sisters", "shares") for s in known("set")),
        *((name, here) for name in ("donors", "takers-of-place", "belts") for here in places),
        *(("facts-of-source", {"source": iri("source", s)}) for s in known("source")),
        ("disputed", {}),
        ("no-part", {}),
    ]


def folder(seed: int, where: Path) -> Graph:
    """A random folder of up to thirty facts."""
    write(random_folder(seed, 30), where)
    return graph_of_folder(where)


# The tests ------------------------------------------------------------------------------------


def test_every_query_is_asked_here() -> None:
    assert set(QUERIES) == set(_EXPECTED)


@pytest.mark.parametrize("seeds", [range(n, n + 10) for n in range(0, 80, 10)], ids=str)
def test_pyoxigraph_agrees_on_random_folders(seeds: range, tmp_path: Path) -> None:
    """Every query with every value, on 80 random folders."""
    found = dict.fromkeys(QUERIES, 0)
    for seed in seeds:
        graph = folder(seed, tmp_path / str(seed))
        ask = by_pyoxigraph(graph)
        for question in every_question(graph):
            found[question[0]] += agree(ask, graph, question)
    assert min(found.values()) > 0, found


def test_rdflib_agrees_on_random_folders(tmp_path: Path) -> None:
    """Every query with every value, on six random folders."""
    found = dict.fromkeys(QUERIES, 0)
    for seed in range(100, 106):
        graph = folder(seed, tmp_path / str(seed))
        ask = by_rdflib(graph)
        for question in every_question(graph):
            found[question[0]] += agree(ask, graph, question)
    assert min(found.values()) > 0, found


def _spread(asked: list[Question], each: int) -> list[Question]:
    """At most so many of the questions of each query, spread over all of them."""
    by_name: dict[str, list[Question]] = {}
    for question in asked:
        by_name.setdefault(question[0], []).append(question)
    return [q for of in by_name.values() for q in of[:: max(1, len(of) // each)][:each]]


DEMO_QUESTIONS: list[Question] = [
    # Refused, of equal size, replaced, fitted to another set, and with mains that must match.
    ("takers", {"part": iri("part", "kz60-11")}),
    ("takers", {"part": iri("part", "sq1.6x246")}),
    ("takers", {"part": iri("part", "kz41-207c")}),
    ("takers-of-place", {"here": iri("place", "s", "skarnholtsn11", "toneknob")}),
    ("donors", {"here": iri("place", "s", "vessimorn5510", "mainstransformer")}),
    ("belts", {"here": iri("place", "s", "kazumoreikzr8", "mainbelt")}),
]
LONG_QUESTION: Question = ("donors", {"here": iri("place", "s", "wexelbrunnwz500", "balanceknob")})
"""Half of what rdflib needs for all of the demo; so it is asked once."""


def test_pyoxigraph_agrees_on_the_demo() -> None:
    graph = graph_of_folder(DEMO)
    ask = by_pyoxigraph(graph)
    for question in [*DEMO_QUESTIONS, LONG_QUESTION]:
        assert agree(ask, graph, question) > 0, question
    for question in _spread(every_question(graph), 6):
        agree(ask, graph, question)


def test_rdflib_agrees_on_the_demo() -> None:
    graph = graph_of_folder(DEMO)
    ask = by_rdflib(graph)
    for question in [*DEMO_QUESTIONS, LONG_QUESTION, *_spread(every_question(graph), 2)]:
        agree(ask, graph, question)


@pytest.mark.parametrize("engine", ["rdflib", "pyoxigraph"])
def test_the_process_of_its_own_gives_the_same(engine: str) -> None:
    """As the command runs them: rows in the same order too, for every query is told how to order."""
    if engine == "pyoxigraph":
        pytest.importorskip("pyoxigraph")
    graph = graph_of_folder(DEMO)
    ask = by_process(graph, engine)
    for question in [*DEMO_QUESTIONS[3:], ("disputed", {})]:
        assert agree(ask, graph, question) > 0, question


# Somebody's endpoint --------------------------------------------------------------------------


@contextmanager
def _running(command: list[str], port: int) -> Iterator[str]:
    """A server of npm that listens on a port, from its start to its end; gives its address."""
    server = subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        env={**os.environ, "NODE_PATH": str(MODULES)}, start_new_session=True,
    )  # fmt: skip
    try:
        _wait_for(port)
        yield f"http://127.0.0.1:{port}/sparql"
    finally:
        os.killpg(server.pid, signal.SIGKILL)
        server.wait()


def _wait_for(port: int) -> None:
    ends = time.monotonic() + 60
    while True:
        try:
            socket.create_connection(("127.0.0.1", port), 1).close()
            return
        except OSError:
            if time.monotonic() > ends:
                raise
            time.sleep(0.1)


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port: int = free.getsockname()[1]
    return port


def _node(needs: str) -> str:
    node = shutil.which("node")
    if node is None or not (MODULES / needs).exists():
        pytest.skip(f"node or the npm package {needs} is missing (KGRAPH_NODE_MODULES names its folder)")
    return node


@contextmanager
def comunica(file: Path) -> Iterator[str]:
    """Comunica's own server over a file of N-Triples."""
    node, port = _node("@comunica/query-sparql-file"), _free_port()
    program = MODULES / ".bin" / "comunica-sparql-file-http"
    with _running([node, str(program), str(file), "-p", str(port)], port) as url:
        yield url


@contextmanager
def oxigraph(file: Path) -> Iterator[str]:
    """The JavaScript build of Oxigraph over a file of N-Triples."""
    node, port = _node("oxigraph"), _free_port()
    script = Path(__file__).with_name("endpoint.cjs")
    with _running([node, str(script), str(file), str(port)], port) as url:
        yield url


def _all_three_agree(graph: Graph, url: str, asked: Iterable[Question]) -> dict[str, int]:
    """Assert that two engines here, an endpoint and the program agree; how many rows each query gave."""
    engines_here = (by_rdflib(graph), by_pyoxigraph(graph))
    found: dict[str, int] = {}
    for question in asked:
        at_endpoint = rows(by_endpoint(url), question)
        for ask in engines_here:
            assert sorted(rows(ask, question), key=str) == sorted(at_endpoint, key=str), question
        found[question[0]] = found.get(question[0], 0) + agrees(at_endpoint, graph, question)
    return found


@pytest.mark.parametrize("seed", [5, 7, 9])
def test_comunica_agrees_on_random_folders(seed: int, tmp_path: Path) -> None:
    """Folders that Comunica answers in seconds; of others a query of two free places takes it a minute."""
    graph = folder(seed, tmp_path / "facts")
    file = tmp_path / "facts.nt"
    file.write_bytes(ntriples(graph))
    with comunica(file) as url:
        _all_three_agree(graph, url, _spread(every_question(graph), 1))


def test_an_endpoint_agrees_on_the_demo(tmp_path: Path) -> None:
    graph = graph_of_folder(DEMO)
    file = tmp_path / "demo.nt"
    file.write_bytes(ntriples(graph))
    with oxigraph(file) as url:
        found = _all_three_agree(graph, url, [*DEMO_QUESTIONS, *_spread(every_question(graph), 1)])
    assert min(found.values()) > 0, found


def test_an_endpoint_gives_statements_too(tmp_path: Path) -> None:
    graph = graph_of_folder(DEMO)
    file = tmp_path / "demo.nt"
    file.write_bytes(ntriples(graph))
    text = "CONSTRUCT { ?s ?p ?o } WHERE { VALUES ?s { <urn:kgraph:set:drummelwickdw210> } ?s ?p ?o }"
    with oxigraph(file) as url:
        found = results.answers(by_endpoint(url)(text))
    assert found == results.answers(by_pyoxigraph(graph)(text))
    assert len(found) > 3
