"""query: what it lists, takes and prints, and all that a query may not do."""

from __future__ import annotations

import http.server
import json
import shutil
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from kgraph.exchange import apart, endpoint, engines, guard, results, sparql
from kgraph.exchange.terms import iri
from kgraph.names import fold
from kgraph.problems import CannotRun, WrongUse
from tests.support import DEMO, ROOT, ask, folder_with, places

HOSTILE = ROOT / "tests" / "hostile"
BOTH = ["rdflib", "pyoxigraph"]
PREFIX = "PREFIX k: <urn:kgraph:term:>\n"


def own(tmp_path: Path, text: str, name: str = "own.rq") -> str:
    """A query of the user's own, in a file."""
    file = tmp_path / name
    file.write_bytes(text.encode())
    return str(file)


def asked(capsys: Any, *words: str) -> tuple[int, dict[str, Any]]:
    """A query of the demo with --json."""
    return ask(capsys, "--data", str(DEMO), "query", *words)


def said(capsys: Any, *words: str) -> tuple[int, str, str]:
    """A query of the demo in a pipe: status, output, errors."""
    capsys.readouterr()
    status = run(["--data", str(DEMO), "query", *words])
    out, err = capsys.readouterr()
    return status, out, err


INFERRED = f"{PREFIX}SELECT ?part ?place ?certainty {{ ?a a k:Inferred ; k:part ?part ; k:place ?place ; "
INFERRED += "k:certainty ?certainty }"


def test_certainties_are_asked_within_a_query(tmp_path: Path, capsys: Any) -> None:
    _, takers = ask(capsys, "--data", str(DEMO), "takers", "KZ 41-207C")
    part = iri("part", fold("KZ 41-207C"))
    query = own(tmp_path, INFERRED.replace("?part ;", f"<{part}> ;").replace("?part", "", 1))
    status, found = asked(capsys, query, "--inferred")
    assert status == 0
    assert found["notes"] == []
    assert takers["answers"]
    assert sorted(row["certainty"] for row in found["answers"]) == sorted(
        row["certainty"] for row in takers["answers"]
    )


def test_an_empty_answer_for_want_of_inferred_is_told(tmp_path: Path, capsys: Any) -> None:
    query = own(tmp_path, INFERRED)
    status, _, err = said(capsys, query)
    assert status == 1
    assert err == "nothing found\nk:Inferred is known only with --inferred\n"
    assert asked(capsys, query)[1]["notes"] == ["k:Inferred is known only with --inferred"]
    other = own(tmp_path, f"{PREFIX}# k:Inferred\nSELECT ?x {{ ?x a k:Nothing , 'k:Inferred' }}", "b.rq")
    assert said(capsys, other)[2] == "nothing found\n"


def test_rdflib_says_before_that_it_will_take_long(tmp_path: Path, capsys: Any, monkeypatch: Any) -> None:
    from kgraph.cli import querying

    words = ("sisters", "--set", "Halvern HZ-340", "--engine", "rdflib")
    assert "rdflib needs" not in said(capsys, *words)[2]
    monkeypatch.setattr(querying, "LONG_S", 0.1)
    err = said(capsys, *words)[2]
    assert "rdflib needs about" in err
    assert "quicker: pip install 'kgraph[fast]', or `kgraph takers`" in err
    assert "rdflib needs" not in said(capsys, *words[:-1], "pyoxigraph")[2]


def test_a_shipped_query_has_no_place_for_what_is_not_given() -> None:
    text = (ROOT / "queries" / "disputed.rq").read_bytes()
    query = sparql.read("disputed", "disputed.rq", text, shipped=True)
    assert sparql.bound(query, {}).count("UNDEF") == 0
    assert sparql.bound(query, {"part": "urn:kgraph:part:k1"}).count("VALUES") == 1
    assert sparql.bound(sparql.read("own", "own.rq", text), {}) == query.text


def test_inferred_is_not_asked_of_an_endpoint(tmp_path: Path, capsys: Any) -> None:
    query = own(tmp_path, INFERRED)
    assert said(capsys, query, "--inferred", "--endpoint", "http://127.0.0.1:9/")[0] == 2


# What is shipped ------------------------------------------------------------------------------


def test_every_shipped_query_has_a_title_and_says_what_it_asks(capsys: Any) -> None:
    status, found = asked(capsys)
    files = {p.stem for p in (ROOT / "queries").glob("*.rq")}
    assert status == 0
    assert {row["query"] for row in found["answers"]} == files
    assert len(files) >= 9
    assert all(row["title"] and row["asks"] for row in found["answers"])


def test_the_list_names_the_options(capsys: Any) -> None:
    _, out, _ = said(capsys)
    lines = {line.split("\t")[0]: line.split("\t")[2] for line in out.splitlines()}
    assert lines["takers"] == "--part [--position]"
    assert lines["donors"] == "--set --position"


@pytest.mark.parametrize("query", sorted((ROOT / "queries").glob("*.rq")), ids=lambda p: p.stem)
def test_a_shipped_query_is_a_whole_query_by_itself(query: Path) -> None:
    """As it stands, UNDEF and all, it is SPARQL 1.1 by rdflib's grammar and passes the guard."""
    assert guard.faults(query.read_text(encoding="utf-8"), query.name) == []


@pytest.mark.parametrize("engine", BOTH)
def test_the_answers_are_those_of_takers(engine: str, capsys: Any) -> None:
    _, by_command = ask(capsys, "--data", str(DEMO), "takers", "KZ 41-207C", "--all")
    _, by_query = asked(capsys, "takers", "--part", "kz41-207c", "--engine", engine)
    found = [(row["set_name"], row["position_name"]) for row in by_query["answers"]]
    assert sorted(found) == places(by_command)
    assert by_query["question"]["given"] == {"part": "KZ 41-207C"}


def test_an_option_that_may_be_left_out_narrows_the_answer(capsys: Any) -> None:
    _, whole = asked(capsys, "no-part")
    _, narrow = asked(capsys, "no-part", "--set", "Ystrane YN-1")
    assert 0 < len(narrow["answers"]) < len(whole["answers"])
    assert {row["set_name"] for row in narrow["answers"]} == {"Ystrane YN-1"}


def test_what_must_match_and_what_to_watch_for_is_told(capsys: Any) -> None:
    words = ("donors", "--set", "Vessimorn 5510", "--position", "mains transformer")
    _, found = asked(capsys, *words)
    unlike = {row["set_name"] for row in found["answers"] if row["unlike"]}
    assert "Hidzumara HZ-300" in unlike
    assert "Drummelwick DW 510" not in unlike
    remarks = "caution: charged capacitors; caution: mains; must match: mains"
    assert {row["remarks"] for row in found["answers"]} == {remarks}
    assert set(found["caution texts"]) == {"charged capacitors", "mains"}
    assert "Caution, mains: Mains voltage can kill." in said(capsys, *words)[1]


# What is wrong use ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["takers"], "takers wants --part: the part asked about"),
        (
            ["takers", "--prat", "x", "--part", "D2-101"],
            "takers takes no --prat; it takes --part, [--position]",
        ),
        (["donors", "--set", "Ystrane YN-1"], "donors wants --position"),
        (["takers", "--part", "D2-1O1"], "no part is called 'D2-1O1'; did you mean D2-"),
        (["takers", "--part"], "--part wants a value"),
        (["takers", "--part", "a", "--part", "b"], "--part is given twice"),
        (["taker", "--part", "a"], "there is no query 'taker'; did you mean takers"),
        (["takers", "sisters"], "one query at a time"),
        (["--part", "D2-101"], "which query is that for?"),
        (
            ["sisters", "--set", "Ystrane YN-1", "--endpoint", "file:///etc/hostname"],
            "no address of an endpoint",
        ),
    ],
)
def test_wrong_use(words: list[str], says: str, capsys: Any) -> None:
    status, out, err = said(capsys, *words)
    assert status == 2
    assert says in err
    assert out == ""


def test_a_file_that_is_not_there(capsys: Any) -> None:
    status, _, err = said(capsys, "nowhere/own.rq")
    assert (status, err) == (3, "nowhere/own.rq: No such file or directory\n")


# A query of one's own -------------------------------------------------------------------------


@pytest.mark.parametrize("engine", BOTH)
def test_every_form_of_query(engine: str, tmp_path: Path, capsys: Any) -> None:
    known = "<urn:kgraph:set:ystraneyn1>"
    status, out, _ = said(capsys, own(tmp_path, f"ASK {{ {known} ?p ?o }}"), "--engine", engine)
    assert (status, out) == (0, "yes\n")
    status, out, _ = said(capsys, own(tmp_path, "ASK { <urn:none> ?p ?o }"), "--engine", engine)
    assert (status, out) == (1, "no\n")
    text = f"CONSTRUCT {{ ?s a ?o }} WHERE {{ VALUES ?s {{ {known} }} ?s a ?o }}"
    status, out, _ = said(capsys, own(tmp_path, text), "--engine", engine)
    kind = "<http://www.w3.org/1999/02/22-rdf-syntax-ns#type>"
    assert (status, out) == (0, f"{known} {kind} <https://schema.org/ProductModel> .\n")
    status, found = asked(capsys, own(tmp_path, f"DESCRIBE {known}"), "--engine", engine)
    assert status == 0
    assert {"subject": known, "predicate": kind, "object": "<https://schema.org/ProductModel>"} in found[
        "answers"
    ]
    status, found = asked(capsys, own(tmp_path, "SELECT ?x { ?x a <urn:none> }"), "--engine", engine)
    assert (status, found["answers"], found["variables"]) == (1, [], ["x"])


@pytest.mark.parametrize("engine", BOTH)
def test_values_keep_their_kind(engine: str, tmp_path: Path, capsys: Any) -> None:
    text = "SELECT (1 AS ?i) (0.5 AS ?d) (true AS ?b) ('a\\tb' AS ?t) (<urn:x> AS ?u) ?none {}"
    file = own(tmp_path, text)
    _, found = asked(capsys, file, "--engine", engine)
    row = {"i": 1, "d": 0.5, "b": True, "t": "a\tb", "u": "urn:x", "none": None}
    assert found["answers"] == [row]
    assert said(capsys, file, "--engine", engine)[1] == "1\t0.5\tyes\ta\\tb\turn:x\t\n"


def test_a_query_of_ones_own_takes_options_too(tmp_path: Path, capsys: Any) -> None:
    head = "# title: Facts that are sure\n# parameter: least (number, needed): the certainty wanted\n"
    text = (
        head
        + PREFIX
        + "SELECT ?id { VALUES ?least { UNDEF } ?f k:id ?id ; k:certainty ?c FILTER(?c >= ?least) }"
    )
    file = own(tmp_path, text)
    assert asked(capsys, file, "--least", "0.98")[1]["answers"]
    assert asked(capsys, file, "--least", "1")[0] == 1
    status, _, err = said(capsys, file, "--least", "most")
    assert status == 2
    assert "most" in err


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("# parameter: part\nASK {}", "own.rq:1:1: this parameter cannot be read"),
        ("\n# parameter: a (thing): x\nASK {}", "own.rq:2:1: no parameter is of the kind 'thing'"),
        ("# parameter: a (part): x\nASK { ?a ?b ?c }", "the query has no place for its parameter 'a'"),
        (
            "# parameter: a (place): x\n# parameter: set (set): x\nASK { VALUES (?a ?set) {(UNDEF UNDEF)} }",
            "two parameters take --set",
        ),
        ("SELECT * {\n ?s ?p }", "own.rq:2:"),
        ("SELECT ?x { ?x a nowhere:Part }", "no SPARQL 1.1 query: Unknown namespace prefix : nowhere"),
        ("", "own.rq:1:1: this is no SPARQL 1.1 query"),
    ],
)
def test_a_faulty_query(text: str, says: str, tmp_path: Path, capsys: Any) -> None:
    status, _, err = said(capsys, own(tmp_path, text))
    assert status == 3
    assert says in err
    assert "Traceback" not in err


def test_a_file_that_is_no_text(tmp_path: Path, capsys: Any) -> None:
    file = tmp_path / "latin.rq"
    file.write_bytes(b"# caf\xc3\xa9\nASK { ?s ?p 'caf\xe9' }")
    status, _, err = said(capsys, str(file))
    assert status == 3
    assert f"{file}:2:17: this is no UTF-8" in err


# Values go in as terms ------------------------------------------------------------------------


@pytest.mark.parametrize(
    "value",
    [
        "urn:a> } DELETE WHERE { <urn:b",
        "urn:a\\u003e",
        "a b",
        "'",
        "urn:é",
        "urn:a\n",
        "1e9 . ?s ?p ?o",
        "-1",
        "",
    ],
)
def test_nothing_that_could_end_a_term_gets_in(value: str) -> None:
    query = sparql.read("q", "q.rq", b"# parameter: a (set): x\nASK { VALUES ?a { UNDEF } ?a ?p ?o }")
    with pytest.raises(ValueError, match="neither an IRI"):
        sparql.bound(query, {"a": value})


def test_a_value_goes_only_where_it_belongs() -> None:
    text = """# parameter: a (set): x
SELECT * { # VALUES ?a { UNDEF }
  VALUES (?b ?a) { (UNDEF UNDEF) } values ?a { undef }
  ?a ?p "VALUES ?a { UNDEF }" . ?a ?q <urn:VALUES> VALUES ?b { UNDEF } VALUES ?a { <urn:z> } }"""
    bound = sparql.bound(sparql.read("q", "q.rq", text.encode()), {"a": "urn:x"})
    changed = text.replace("(UNDEF UNDEF)", "(UNDEF <urn:x>)").replace("{ undef }", "{ <urn:x> }")
    assert bound == changed


def test_hostile_names_are_found_by_name(tmp_path: Path, capsys: Any) -> None:
    """Names made to break out of a literal or an IRI, asked for by option, on both engines."""
    names = [
        'a" . } DELETE WHERE { ?s ?p ?o } #',
        "x> . <urn:evil> <urn:p> <urn:o",
        "50 % {c} ^d` |e|",
        "ß+ﬁ",
    ]
    entries = [{"takes": n, "in": "Velmoor 10", "position": "volume knob"} for n in names]
    data = folder_with(tmp_path, [("facts.yaml", "\n".join(f"- {json.dumps(e)}" for e in entries))])
    for engine in BOTH:
        for name in names:
            words = ["--data", str(data), "query", "takers", f"--part={name}", "--engine", engine]
            status, found = ask(capsys, *words)
            assert (status, [r["set_name"] for r in found["answers"]]) == (0, ["Velmoor 10"]), name


# The guard ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("SELECT * { SERVICE <http://127.0.0.1:9/> { ?s ?p ?o } }", "1:12"),
        ("SELECT * { service silent ?x { ?s ?p ?o } }", "1:12"),
        ("SELECT * {\n ?s ?p ?o FILTER NOT EXISTS { { SELECT ?s { SERVICE <urn:x> {} } } } }", "2:45"),
        ("SELECT * { { ?s ?p 1SERVICE<urn:x>{?a ?b ?c} } }", "1:21"),
        ("SELECT * { ?s ?p '#'\nSERVICE <urn:x> {} }", "2:1"),
        ('SELECT * { ?s ?p """" # \'""" . SERVICE <urn:x> {} }', "1:32"),
        ("SELECT (EXISTS { SERVICE <urn:x> {} } AS ?y) {}", "1:18"),
        ("CONSTRUCT { ?s ?p ?o } WHERE { OPTIONAL { SERVICE <urn:x> { ?s ?p ?o } } }", "1:43"),
        ("SELECT * FROM <file:///etc/hostname> WHERE {}", "1:10"),
        ("ASK FROM NAMED <http://127.0.0.1:9/> { GRAPH ?g {} }", "1:5"),
        ("DESCRIBE <urn:a> FROM <urn:b>", "1:18"),
        ("LOAD <file:///etc/hostname>", "1:1"),
        ("PREFIX a: <urn:a:> INSERT DATA { a:b a:c a:d }", "1:20"),
        ("DELETE WHERE { ?s ?p ?o }", "1:1"),
        ("CLEAR ALL", "1:1"),
        ("SELECT * {} ; DROP ALL", "1:15"),
    ],
)
def test_refused(text: str, place: str) -> None:
    found = guard.faults(text, "q.rq")
    assert [str(p).split(": ")[0] for p in found] == [f"q.rq:{place}"]
    assert found[0].code == "refused-query"


@pytest.mark.parametrize(
    "text", ["SELECT * { SERVICE <urn:x> {} }", "ASK { FILTER EXISTS { { SELECT * { SERVICE ?x {} } } } }"]
)
def test_the_grammar_alone_would_refuse_it_too(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """With the reader of tokens asleep, so that one does not hide behind the other."""
    monkeypatch.setattr(guard, "_SAID_BY_TOKENS", frozenset())
    assert [p.code for p in guard.faults(text, "q.rq")] == ["refused-query"]


@pytest.mark.parametrize(
    "text",
    [
        "SELECT * { ?s ?p 'SERVICE <urn:x> { LOAD }' } # SERVICE FROM",
        "PREFIX service: <urn:SERVICE:> SELECT ?load { ?load service:from 'a'@from }",
        "SELECT * { GRAPH <urn:g> { ?s ?p '''it's \" SERVICE''' } }",
        'SELECT * { ?service <urn:a#SERVICE> "\\"SERVICE" }',
    ],
)
def test_the_word_alone_is_no_fault(text: str) -> None:
    assert guard.faults(text, "q.rq") == []


@pytest.mark.parametrize(
    ("text", "says"),
    [
        # To rdflib this opens a long string, which hides SERVICE; to others it does not.
        ('ASK { FILTER("\\u0022" != "") SERVICE <urn:x> {} FILTER("" != "\\u0022") }', "1:15"),
        ("ASK { \\u0053ERVICE <urn:x> {} }", "1:7"),
        # To rdflib this comment goes on to the next line feed; to others it ends here.
        ("ASK { # \rSERVICE <urn:x> {} \n }", "1:9"),
        ("ASK { ?s ?p '\x00' }", "1:14"),
        ("ASK " + "{ " * 60 + "} " * 60, "brackets more than 40 deep"),
        ("ASK { FILTER(" + "(" * 5000 + "1" + ")" * 5000 + ") }", "brackets more than 40 deep"),
        ("ASK { ?s ?p " + "!" * 5000 + "1 }", "SPARQL"),
        ("ASK {} #" + "x" * guard.LONGEST, "a query of more than"),
    ],
)
def test_what_two_readers_may_read_in_two_ways_is_refused(text: str, says: str) -> None:
    found = guard.faults(text, "q.rq")
    assert len(found) == 1
    assert says in str(found[0])


def test_a_carriage_return_ends_a_line_as_in_the_standard(tmp_path: Path, capsys: Any) -> None:
    status, _, err = said(capsys, own(tmp_path, "ASK { # \rSERVICE <urn:x> {} \n }"))
    assert status == 3
    assert "own.rq:2:1: SERVICE" in err


# Hostile files --------------------------------------------------------------------------------

ROWS = [line.split("\t") for line in (HOSTILE / "index.tsv").read_text(encoding="utf-8").splitlines()]
REFUSED = [
    (row[0], int(row[2])) for row in ROWS if row[0] in ("r05-service.rq", "r06-load.ru", "r07-from.rq")
]


@pytest.mark.parametrize("engine", BOTH)
@pytest.mark.parametrize(("name", "line"), REFUSED)
def test_a_hostile_query_is_refused(name: str, line: int, engine: str, capsys: Any) -> None:
    status, out, err = said(capsys, str(HOSTILE / name), "--engine", engine)
    assert status == 3
    assert f"{HOSTILE / name}:{line}:" in err
    assert (out, "Traceback" in err) == ("", False)


def test_no_hostile_query_connects_or_opens_what_it_names() -> None:
    """Every system call of the command and its processes, by strace: none connects, none opens."""
    if shutil.which("strace") is None:
        pytest.skip("strace is not installed")
    for name, _ in REFUSED:
        command = [sys.executable, "-m", "kgraph", "--data", str(DEMO), "query", str(HOSTILE / name)]
        traced = ["strace", "-f", "-e", "trace=openat,open,connect,socket", *command]
        done = subprocess.run(traced, cwd=ROOT, capture_output=True, text=True, timeout=120, check=False)
        assert done.returncode == 3
        assert "openat(" in done.stderr
        assert "/etc/hostname" not in done.stderr.replace(str(HOSTILE), "")
        assert "connect(" not in done.stderr
        assert "socket(" not in done.stderr


def full_graph(nodes: int) -> list[bytes]:
    """Statements from each of the nodes to each other."""
    pairs = [(a, b) for a in range(nodes) for b in range(nodes) if a != b]
    return [f"<urn:n{a}> <urn:p> <urn:n{b}> .\n".encode() for a, b in pairs]


SLOW = """SELECT (COUNT(*) AS ?n) { ?a ?p1 ?b1 . ?b ?p2 ?b2 . ?c ?p3 ?b3 . ?d ?p4 ?b4 . ?e ?p5 ?b5 .
  ?f ?p6 ?b6 . ?g ?p7 ?b7 . ?h ?p8 ?b8 }"""


@pytest.mark.parametrize("engine", BOTH)
@pytest.mark.parametrize(
    "text", [(HOSTILE / "r08-path-blowup.rq").read_text(encoding="utf-8"), SLOW], ids=["r08", "join"]
)
def test_a_query_without_end_is_ended(text: str, engine: str) -> None:
    begun = time.monotonic()
    with pytest.raises(CannotRun, match=r"slow.rq:1:1: not done after 1.5 s; --seconds sets the limit"):
        apart.run(apart.Job(text, "slow.rq", 1.5, engine), full_graph(60))
    assert time.monotonic() - begun < 30


@pytest.mark.parametrize("engine", BOTH)
def test_a_query_may_not_take_all_memory(engine: str) -> None:
    text = "SELECT ?a ?b ?c ?d { ?a ?p1 ?x . ?b ?p2 ?y . ?c ?p3 ?z . ?d ?p4 ?v } ORDER BY ?d"
    with pytest.raises(CannotRun, match=r"q.rq:1:1: more than 1024 MiB of memory is needed"):
        apart.run(apart.Job(text, "q.rq", 60.0, engine, memory_mib=1024), full_graph(40))


def test_a_result_may_not_be_without_end() -> None:
    text = f"SELECT ?a ?b ('{'x' * 2000}' AS ?c) {{ ?a <urn:p> ?x . ?b <urn:p> ?y }} LIMIT 40000"
    with pytest.raises(CannotRun, match=r"q.rq:1:1: a result of more than 64 MiB"):
        apart.run(apart.Job(text, "q.rq", 60.0, "pyoxigraph"), full_graph(40))


@contextmanager
def listening() -> Iterator[tuple[int, list[Any]]]:
    """A port on loopback, and whoever connected to it."""
    met: list[Any] = []
    server = socket.create_server(("127.0.0.1", 0))
    server.settimeout(0.2)
    done = threading.Event()

    def accept() -> None:
        while not done.is_set():
            try:
                met.append(server.accept()[1])
            except TimeoutError:
                continue

    thread = threading.Thread(target=accept)
    thread.start()
    try:
        yield server.getsockname()[1], met
    finally:
        time.sleep(0.3)
        done.set()
        thread.join()
        server.close()


PAST_THE_GUARD = """
import io, sys
from kgraph import system
from kgraph.exchange import engines
close = system.open_nothing_more if sys.argv[3] == "closed" else lambda: None
print(engines.run(sys.argv[1], io.BytesIO(b"<urn:a> <urn:b> <urn:c> .\\n"), sys.argv[2], close))
"""


@pytest.mark.parametrize("engine", BOTH)
def test_what_got_past_the_guard_would_reach_nothing(engine: str) -> None:
    """The process has no descriptor left for a socket; the same query does connect where it has."""
    with listening() as (port, met):
        text = f"SELECT * {{ SERVICE <http://127.0.0.1:{port}/> {{ ?s ?p ?o }} }}"
        for state in ("closed", "open"):
            command = [sys.executable, "-c", PAST_THE_GUARD, engine, text, state]
            try:
                done = subprocess.run(command, cwd=ROOT, capture_output=True, timeout=10, check=False)
                assert done.returncode != 0
            except subprocess.TimeoutExpired:
                assert state == "open"  # It waits for an answer that never comes.
            time.sleep(0.5)
            assert bool(met) == (state == "open"), state


FUNCTIONS = """SELECT (NOW() AS ?a) (UUID() AS ?b) (STRUUID() AS ?c) (RAND() AS ?d) (SHA512("x") AS ?e)
  (MD5("x") AS ?f) (REPLACE("ab", "b$", "c", "i") AS ?g) (ENCODE_FOR_URI("é ") AS ?h)
  (STRLANG("a", "en") AS ?i)
  (STRDT("<a/>", <http://www.w3.org/1999/02/22-rdf-syntax-ns#XMLLiteral>) AS ?j) (TZ(NOW()) AS ?k)
  (STRDT("2026-01-01", <http://www.w3.org/2001/XMLSchema#date>) AS ?l) (UCASE("ß") AS ?m) (ROUND(2.5) AS ?n)
  (BNODE() AS ?o) (IRI("urn:x") AS ?p) (LANGMATCHES("en-GB", "en") AS ?q) (MONTH(NOW()) AS ?r)
  (COALESCE(?none, 1/0, "z") AS ?s) (REGEX("abc", "^A", "i") AS ?t) (CONCAT("a", "b") AS ?u) (ABS(-1.5) AS ?v)
  (SUBSTR("abc", 2) AS ?w) (STRBEFORE("abc", "b") AS ?x) (CEIL(1.2) AS ?y) (1e0 + 1 AS ?z) {}"""


@pytest.mark.parametrize("engine", BOTH)
def test_every_function_works_where_nothing_can_be_opened(engine: str) -> None:
    """A library that loads a module late would fail here, since it could not open it."""
    (row,) = results.answers(apart.run(apart.Job(FUNCTIONS, "q.rq", 30.0, engine), []))
    assert [k for k, v in row.items() if v is None] == []
    assert (row["g"], row["h"], row["s"], row["t"], row["z"]) == ("ac", "%C3%A9%20", "z", True, 2.0)


@pytest.mark.parametrize("engine", BOTH)
def test_a_long_chain_of_sets_is_followed_to_its_end(engine: str) -> None:
    """rdflib follows a path by calls inside calls: 3,000 of them need more room than a thread usually has."""
    chain = [f"<urn:n{i}> <urn:p> <urn:n{i + 1}> .\n".encode() for i in range(3000)]
    text = "SELECT DISTINCT ?b { <urn:n0> <urn:p>* ?b }"
    assert len(apart.run(apart.Job(text, "q.rq", 60.0, engine), chain)["rows"]) == 3001


def test_a_plain_command_loads_no_rdf_library() -> None:
    code = (
        "import sys; from kgraph.cli.main import run; run(['--data', 'data', 'query']); "
        "print([m for m in ('rdflib', 'pyoxigraph', 'pyparsing') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


# Somebody's endpoint --------------------------------------------------------------------------

Handler = Callable[[http.server.BaseHTTPRequestHandler, bytes], None]


@contextmanager
def serving(handle: Handler) -> Iterator[str]:
    """A server on loopback that answers each POST by a function."""

    class Server(http.server.BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            handle(self, self.rfile.read(int(self.headers["Content-Length"])))

        def log_message(self, *args: Any) -> None:
            """Says nothing."""

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Server)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_address[1]}/sparql"
    finally:
        server.shutdown()
        server.server_close()


def reply(body: bytes, kind: str = endpoint.ROWS, status: int = 200, **headers: str) -> Handler:
    """A handler that always answers so."""

    def handle(request: http.server.BaseHTTPRequestHandler, _: bytes) -> None:
        request.send_response(status)
        request.send_header("Content-Type", kind)
        for name, value in headers.items():
            request.send_header(name.replace("_", "-"), value)
        request.end_headers()
        request.wfile.write(body)

    return handle


def at(url: str, text: str = "SELECT * { ?s ?p ?o }", seconds: float = 20.0) -> engines.Result:
    """What an endpoint answers, as the command asks it."""
    return apart.run(apart.Job(text, "q.rq", seconds, url=url), [])


def test_an_endpoint_is_asked_as_the_protocol_says() -> None:
    """SPARQL 1.1 Protocol, 2.1.3: the query itself is the body of a POST."""
    seen: list[tuple[str, str | None, str | None, bytes]] = []
    answer = {"head": {"vars": ["a", "b"]}, "results": {"bindings": [
        {"a": {"type": "uri", "value": "urn:x"}},
        {"a": {"type": "literal", "value": "y", "xml:lang": "en"}, "b": {"type": "bnode", "value": "n"}},
        {"b": {"type": "literal", "value": "2", "datatype": "http://www.w3.org/2001/XMLSchema#integer"}},
    ]}}  # fmt: skip

    def handle(request: http.server.BaseHTTPRequestHandler, body: bytes) -> None:
        seen.append((request.path, request.headers["Content-Type"], request.headers["Accept"], body))
        reply(json.dumps(answer).encode())(request, body)

    with serving(handle) as url:
        found = results.answers(at(url + "?x=1"))
    assert seen == [("/sparql?x=1", "application/sparql-query", endpoint.ROWS, b"SELECT * { ?s ?p ?o }")]
    assert found == [{"a": "urn:x", "b": None}, {"a": "y", "b": "_:n"}, {"a": None, "b": 2}]


def test_an_endpoint_gives_yes_or_no_and_statements() -> None:
    with serving(reply(b'{"head": {}, "boolean": true}')) as url:
        assert at(url, "ASK { ?s ?p ?o }") == {"form": "ask", "answer": True}
    with serving(reply(b'<urn:a> <urn:b> "c"@en .\n', endpoint.TRIPLES)) as url:
        assert "".join(results.lines(at(url, "DESCRIBE <urn:a>"))) == '<urn:a> <urn:b> "c"@en .\n'


@pytest.mark.parametrize(
    ("handler", "says"),
    [
        (reply(b"", status=307, Location="http://127.0.0.2:9/x"), "sends on to http://127.0.0.2:9/x"),
        (reply(b"", status=302, Location="/other"), "sends on to /other"),
        (reply(b"no such\x1b[31m graph", "text/plain", 400), "400 Bad Request; it says: no such"),
        (reply(b"<html>", "text/html"), "answers with text/html"),
        (reply(b"{}"), "no SPARQL 1.1 Query Results JSON"),
        (reply(b"[" * 200_000), "no SPARQL 1.1 Query Results JSON"),
        (
            reply(b'{"head": {"vars": ["a"]}, "results": {"bindings": [{"a": 1}]}}'),
            "no SPARQL 1.1 Query Results JSON",
        ),
        (reply(b"\xff"), "no SPARQL 1.1 Query Results JSON"),
        (reply(b"x", Content_Encoding="gzip"), "the answer is packed"),
    ],
)
def test_what_an_endpoint_may_not_answer(handler: Handler, says: str, capsys: Any, tmp_path: Path) -> None:
    with serving(handler) as url:
        status, out, err = said(capsys, own(tmp_path, "SELECT * { ?s ?p ?o }"), "--endpoint", url)
    assert (status, out) == (3, "")
    assert says in err
    assert "\x1b" not in err
    assert "Traceback" not in err


def test_an_answer_without_end_is_cut_off() -> None:
    def handle(request: http.server.BaseHTTPRequestHandler, _: bytes) -> None:
        reply(b"")(request, b"")
        try:
            while True:
                request.wfile.write(b" " * (1 << 20))
        except OSError:
            return

    with serving(handle) as url, pytest.raises(CannotRun, match="the answer is larger than 64 MiB"):
        at(url, seconds=60.0)


def test_an_endpoint_that_drips_is_left_at_the_limit() -> None:
    def handle(request: http.server.BaseHTTPRequestHandler, _: bytes) -> None:
        reply(b"")(request, b"")
        try:
            for _ in range(100):
                request.wfile.write(b" ")
                request.wfile.flush()
                time.sleep(0.1)
        except OSError:
            return

    with serving(handle) as url, pytest.raises(CannotRun, match=r"not done after 2 s|the time is up"):
        at(url, seconds=2.0)


def test_nobody_there() -> None:
    with pytest.raises(CannotRun, match=r"127.0.0.1:9: no answer"):
        at("http://127.0.0.1:9/")


def test_a_refused_query_is_not_sent() -> None:
    with listening() as (port, met):
        with pytest.raises(CannotRun, match="SERVICE"):
            at(f"http://127.0.0.1:{port}/", "SELECT * { SERVICE <urn:x> {} }")
        with pytest.raises(CannotRun, match="an update"):
            at(f"http://127.0.0.1:{port}/", "DROP ALL")
    assert met == []


@pytest.mark.parametrize(
    "url",
    [
        "127.0.0.1/x",
        "ftp://h/x",
        "http://",
        "http://a b/",
        "http://u:p@h/",
        "http://h/#x",
        "http://h:99999/",
        "http://[/",
        "http://h/\n",
    ],
)
def test_what_is_no_address(url: str) -> None:
    with pytest.raises(WrongUse):
        endpoint.address(url)
