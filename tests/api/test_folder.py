"""A folder as a program has it: opened, asked again when it changed, supposed, handed on, drawn."""

from __future__ import annotations

import dataclasses
import io
import json
import pickle
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import networkx
import pytest
import rdflib
from rdflib.compare import isomorphic

import kgraph
from kgraph.cli.main import run
from kgraph.render.pictures import drawing
from tests.support import DEMO, ROOT, folder_with

FACTS = """\
- set: Larkfield LK-40
- set: Orvanek 2200
- set: Quillon 31
- rebadge: [Larkfield LK-40, Orvanek 2200]
  how: compared
  except: line socket
  id: design
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: fitted
"""


@pytest.fixture
def folder(tmp_path: Path) -> kgraph.Folder:
    return kgraph.open(folder_with(tmp_path, [("bench.yaml", FACTS)]))


def _sets(reply: kgraph.replies.SetRows) -> list[str]:
    return sorted(row.set for row in reply)


def test_certainties_are_exact_and_proofs_name_their_places(folder: kgraph.Folder) -> None:
    (row,) = folder.takers("Larkfield LK-40", "volume knob")
    assert row.set == "Orvanek 2200"
    by_id = {fact.id: fact for fact in row.proof}
    assert by_id["design"].says == "Larkfield LK-40 and Orvanek 2200 are one design, except line socket"
    file = folder.folders[0] / "bench.yaml"
    assert by_id["design"].place == f"{file}:4"
    assert row.proof.places == (f"{file}:4",)
    # Of one proof alone the certainty is the product of those of its facts.
    assert row.certainty == by_id["design"].certainty


def test_nothing_is_read_before_a_question_and_a_changed_file_is_read_again(tmp_path: Path) -> None:
    folder = kgraph.open(tmp_path / "mine")
    assert repr(folder) == f"kgraph.open({str(tmp_path / 'mine')!r})"
    with pytest.raises(kgraph.CannotRun):
        folder.takers("K-114")
    (tmp_path / "mine").mkdir()
    folder_with(tmp_path / "mine", [("bench.yaml", FACTS)])
    before = folder.takers("K-114")
    assert _sets(before) == ["Larkfield LK-40", "Orvanek 2200"]
    more = "- takes: K-114\n  in: Quillon 31\n  position: volume knob\n"
    folder_with(tmp_path / "mine", [("more.yaml", more)])
    assert _sets(folder.takers("K-114")) == ["Larkfield LK-40", "Orvanek 2200", "Quillon 31"]
    assert len(before) == 2


def test_answers_do_not_change(folder: kgraph.Folder) -> None:
    reply = folder.takers("K-114")
    with pytest.raises(dataclasses.FrozenInstanceError):
        reply[0].certainty = 1.0  # type: ignore[misc]
    assert pickle.loads(pickle.dumps(reply)) == reply
    reply.as_json()["answers"].clear()
    assert len(reply.as_json()["answers"]) == len(reply) == 2


def test_what_cannot_be_asked_says_so_as_the_command_does(folder: kgraph.Folder, capsys: Any) -> None:
    with pytest.raises(kgraph.WrongUse) as caught:
        folder.takers("Larkfeld LK-40", "volume knob")
    assert run(["--data", str(folder.folders[0]), "takers", "Larkfeld LK-40", "volume knob"]) == 2
    assert capsys.readouterr().err == f"{caught.value}\n"
    assert isinstance(caught.value, kgraph.Stop)
    with pytest.raises(kgraph.WrongUse, match="a certainty is 0 to 1"):
        folder.takers("K-114", at_least=93)
    with pytest.raises(kgraph.WrongUse, match="one row at least"):
        folder.takers("K-114", most=0)


def test_what_cannot_be_read_is_left_out_and_told_or_refused(tmp_path: Path) -> None:
    folder_with(tmp_path, [("bench.yaml", FACTS), ("bad.yaml", "- sett: Norvane 7\n")])
    reply = kgraph.open(tmp_path).takers("K-114")
    assert _sets(reply) == ["Larkfield LK-40", "Orvanek 2200"]
    (fault,) = reply.left_out
    assert (fault.file, fault.line, fault.code) == (str(tmp_path / "bad.yaml"), 1, "unknown-kind")
    with pytest.raises(kgraph.CannotRun, match=r"bad\.yaml:1"):
        kgraph.open(tmp_path, strict=True).takers("K-114")


def test_a_fact_is_supposed_or_left_out_and_nothing_is_written(folder: kgraph.Folder) -> None:
    path = folder.folders[0] / "bench.yaml"
    one_more = folder.supposing("rebadge", "Orvanek 2200", "Quillon 31", how="compared")
    assert _sets(one_more.takers("K-114")) == ["Larkfield LK-40", "Orvanek 2200", "Quillon 31"]
    assert _sets(one_more.without("design").takers("K-114")) == ["Larkfield LK-40"]
    assert _sets(folder.takers("K-114")) == ["Larkfield LK-40", "Orvanek 2200"]
    assert path.read_text(encoding="utf-8") == FACTS
    with pytest.raises(kgraph.WrongUse, match="rebadges"):
        folder.supposing("rebadges", "Orvanek 2200", "Quillon 31")
    with pytest.raises(kgraph.WrongUse, match="no fact has the id"):
        folder.without("0123456789abcdef").takers("K-114")


# Handed on ------------------------------------------------------------------------------------


def test_a_list_is_asked_for_as_the_command_asks(folder: kgraph.Folder) -> None:
    found = folder.list("sets", columns=["set", "model"])
    assert [row["set"] for row in found] == ["Larkfield LK-40", "Orvanek 2200", "Quillon 31"]
    by_rule = folder.list("sets", {"part": "K-114"}, at_least=0.5)
    assert [row["set"] for row in by_rule] == ["Larkfield LK-40", "Orvanek 2200"]
    assert 0.5 < by_rule[1]["certainty by part"] < 1.0
    with pytest.raises(kgraph.WrongUse, match="'knobs' is nothing that is listed; ask for sets"):
        folder.list("knobs")
    with pytest.raises(kgraph.WrongUse, match="at_least is 7"):
        folder.list("sets", at_least=7.0)


@pytest.mark.parametrize("engine", ["rdflib", "pyoxigraph"])
def test_a_query_asks_the_folder_as_it_is_supposed(
    folder: kgraph.Folder, tmp_path: Path, engine: str
) -> None:
    pytest.importorskip(engine)
    assert {row["set_name"] for row in folder.query("takers", {"part": "K-114"}, engine=engine)} == {
        "Larkfield LK-40",
        "Orvanek 2200",
    }
    supposed = folder.without("design")
    assert [row["set_name"] for row in supposed.query("takers", {"part": "K-114"}, engine=engine)] == [
        "Larkfield LK-40"
    ]
    own = tmp_path / "own.rq"
    own.write_text("ASK { ?s ?p ?o }")
    reply = folder.query(str(own), engine=engine)
    assert (reply.form, reply[0]["answer"], reply.notes) == ("ask", True, ())


def test_a_large_folder_is_asked_over_its_store(
    folder: kgraph.Folder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("pyoxigraph")
    from kgraph.exchange import standing

    monkeypatch.setenv("KGRAPH_CACHE", str(tmp_path / "cache"))
    monkeypatch.setattr(standing, "LEAST_BYTES", 1)
    first = folder.query("takers", {"part": "K-114"})
    (store,) = (p for p in (tmp_path / "cache").glob("*.statements") if p.is_dir())
    for file in store.iterdir():
        file.write_bytes(b"")
    # One that is out of order is dropped, and the folder itself is asked.
    assert folder.query("takers", {"part": "K-114"}) == first
    assert not store.exists()


@pytest.mark.parametrize(
    ("name", "given", "more", "says"),
    [
        ("takerz", {}, {}, "there is no query 'takerz'; did you mean takers"),
        ("takers", {}, {}, "takers wants --part"),
        ("takers", {"part": "K-9999"}, {}, "no part is called 'K-9999'"),
        ("takers", {"part": "K-114", "colour": "red"}, {}, "takers takes no --colour"),
        ("takers", {"part": "K-114"}, {"engine": "steam"}, "there is no engine 'steam'"),
        ("takers", {"part": "K-114"}, {"seconds": 0.0}, "seconds is 0.0"),
        ("disputed", {}, {"endpoint": "ftp://127.0.0.1"}, "ftp"),
    ],
)
def test_a_query_that_cannot_be_asked_so_says_why(
    folder: kgraph.Folder, name: str, given: dict[str, str], more: dict[str, Any], says: str
) -> None:
    with pytest.raises(kgraph.WrongUse, match=says):
        folder.query(name, given, **more)


def test_networkx_has_each_thing_and_each_fact_once(folder: kgraph.Folder) -> None:
    graph = folder.to_networkx()
    assert set(graph) == {
        *(("set", name) for name in ("Larkfield LK-40", "Orvanek 2200", "Quillon 31")),
        ("part", "K-114"),
    }
    assert graph.nodes["set", "Quillon 31"] == {"kind": "set", "name": "Quillon 31", "key": "quillon31"}
    (edge,) = graph.get_edge_data(("set", "Larkfield LK-40"), ("set", "Orvanek 2200")).items()
    assert edge[0] == "design"
    assert edge[1]["kind"] == "rebadge"
    assert edge[1]["except"] == "line socket"
    assert edge[1]["line"] == 4
    assert edge[1]["both_ways"] is True
    families = sorted(map(len, networkx.weakly_connected_components(graph)))
    assert families == [1, 3]


def test_every_fact_of_the_demo_is_an_edge_of_networkx() -> None:
    folder = kgraph.open(DEMO)
    graph = folder.to_networkx()
    ids = {key for *_, key in graph.edges(keys=True)}
    assert len(ids) == graph.number_of_edges()
    for name in ("Ystrane YN-1", "HU-3002"):
        assert {fact.id for fact in folder.show(name)[0].facts} <= ids


def test_rdflib_has_what_export_writes(folder: kgraph.Folder, tmp_path: Path) -> None:
    out = tmp_path / "out.ttl"
    assert run(["--data", str(folder.folders[0]), "export", "--to", "turtle", "-o", str(out)]) == 0
    exported = rdflib.Graph().parse(out, format="turtle")
    assert isomorphic(folder.to_rdflib(), exported)
    assert len(folder.to_rdflib(inferred=True)) > len(exported)


def test_a_family_draws_itself(folder: kgraph.Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    family = folder.family("larkfield lk40")
    assert family.set == "Larkfield LK-40"
    assert _sets(family.sisters) == ["Orvanek 2200"]
    drawn = family._repr_svg_()
    assert drawn is not None
    texts = "".join(ElementTree.parse(io.StringIO(drawn)).getroot().itertext())
    assert "Larkfield LK-40" in texts
    assert "Orvanek 2200" in texts
    assert "Quillon 31" not in texts

    def refuse(text: str, target: Path) -> bytes:
        raise kgraph.CannotRun("nothing can draw")

    monkeypatch.setattr(drawing, "render", refuse)
    assert family._repr_svg_() is None
    with pytest.raises(kgraph.CannotRun):
        family.svg()


# What is public -------------------------------------------------------------------------------


def test_importing_it_loads_next_to_nothing() -> None:
    asked = "import sys; before = set(sys.modules); import kgraph; print(*sorted(set(sys.modules) - before))"
    done = subprocess.run([sys.executable, "-c", asked], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["kgraph"]


def test_what_is_public_is_there_and_nothing_else_is() -> None:
    for name in kgraph.__all__:
        assert getattr(kgraph, name) is not None
        assert name in dir(kgraph)
    with pytest.raises(AttributeError, match="no attribute 'takers'"):
        kgraph.takers  # type: ignore[attr-defined]  # noqa: B018
    assert (Path(kgraph.__file__).parent / "py.typed").exists()


def test_what_is_left_out_is_told_as_the_command_tells_it(tmp_path: Path) -> None:
    later = "- format: 2\n- set: Arden 1\n  newly: [[1]]\n- newkind: x\n"
    folder_with(tmp_path, [("bench.yaml", FACTS + "- rebadge: Arden 1\n"), ("later.yaml", later)])
    reply = kgraph.open(tmp_path).takers("K-114")
    done = subprocess.run(
        [sys.executable, "-m", "kgraph", "--data", str(tmp_path), "takers", "K-114", "--json"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert reply.notes == tuple(json.loads(done.stdout)["notes"])
    assert any("cannot be read and are left out" in note for note in reply.notes)


def test_a_folder_that_lies_in_another_is_read_once(tmp_path: Path) -> None:
    (tmp_path / "inner").mkdir()
    folder_with(tmp_path / "inner", [("stock.yaml", "- stock: K-114\n- unit: U-01\n  set: Quillon 31\n")])
    folder_with(tmp_path, [("bench.yaml", FACTS)])
    alone = kgraph.open(tmp_path).shelf()
    assert kgraph.open(tmp_path, tmp_path / "inner").shelf() == alone


@pytest.mark.parametrize(
    ("ask", "says"),
    [
        (lambda f: f.takers("K-114", seconds=float("nan")), "seconds is nan"),
        (lambda f: f.takers("K-114", seconds=-1.0), "seconds is -1"),
        (lambda f: f.doubts(seconds=float("inf")), "seconds is inf"),
        (lambda f: f.doubts(most=0), "most is 0"),
        (lambda f: f.find("knob", most=-1), "most is -1"),
        (lambda f: f.likely(at_least=2.0), "at_least is 2"),
        (lambda f: f.identify({"mains": "240 V"}, at_least=float("nan")), "at_least is nan"),
        (lambda f: f.hunt("Larkfield LK-40", most=0), "most is 0"),
    ],
)
def test_a_wish_that_cannot_be_is_refused(
    folder: kgraph.Folder, ask: Callable[[kgraph.Folder], object], says: str
) -> None:
    with pytest.raises(kgraph.WrongUse, match=says):
        ask(folder)
