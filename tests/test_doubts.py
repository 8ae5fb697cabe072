"""Doubts against their definition: the question asked again with the fact certain, and without it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from kgraph import doubts, questions
from kgraph.cli.main import run
from kgraph.facts import Fact
from kgraph.fits import graph as graphs
from kgraph.fits.graph import Graph
from tests.support import DEMO, ask, folder_with, graph_of

FAMILY = """\
- rebadge: [A 1, B 2]
  how: compared
- rebadge: [B 2, C 3]
  how: photo
- rebadge: [A 1, C 3]
  how: guess
- uses: TN mechanism
  in: C 3
  certainty: 0.9
- uses: TN mechanism
  in: D 4
  how: reported
- assembly: TN mechanism
  positions: [knob]
- takes: K-1
  in: A 1
  position: knob
  how: printed
- takes: K-2
  in: D 4
  position: knob
  how: guess
- same: [K-1, K-2]
  how: measured
- fits: A 1
  position: knob
  to: E 5
  how: certain of it
  certainty: 1
"""


def _with(graph: Graph, changed: Fact | None, gone: str) -> Graph:
    facts = {k: f for k, f in graph.data.facts.items() if k != gone}
    if changed is not None:
        facts[changed.id] = changed
    return graphs.build(graph.data.with_facts(facts.values()))


def _entropy(graph: Graph) -> float:
    answers = questions.donors(graph, "a1", ["knob"], doubts.WEIGHED).rows
    return sum(doubts.entropy(r.certainty) for r in answers)


def test_binary_entropy() -> None:
    """Exact by definition: 1 bit at one half; at 1/4, 2 - (3/4) log2 3."""
    assert doubts.entropy(0.5) == 1.0
    assert doubts.entropy(0.25) == pytest.approx(2 - 0.75 * 1.584962500721156, abs=1e-12)
    assert doubts.entropy(0.0) == doubts.entropy(1.0) == 0.0


def test_falls_are_those_of_asking_again() -> None:
    graph = graph_of(FAMILY)
    found = doubts.weigh(questions.donors(graph, "a1", ["knob"], doubts.WEIGHED).rows)
    assert found.entropy_bits == pytest.approx(_entropy(graph), abs=1e-12)
    by_id = {d.fact.id: d.fall_bits for d in found.found}
    assert len(by_id) >= 6
    for fact in graph.data.facts.values():
        holds = _entropy(_with(graph, fact._replace(certainty=1.0), ""))
        fails = _entropy(_with(graph, None, fact.id))
        fall = found.entropy_bits - (fact.certainty * holds + (1 - fact.certainty) * fails)
        assert by_id.get(fact.id, 0.0) == pytest.approx(fall, abs=1e-9), fact


def test_ranked_and_a_certain_fact_is_no_doubt() -> None:
    found = doubts.of_folder(graph_of(FAMILY)).found
    falls = [d.fall_bits for d in found]
    assert falls == sorted(falls, reverse=True)
    assert all(d.fact.certainty < 1 and d.fall_bits > 0 for d in found)


def test_a_single_doubt_settles_all_its_entropy() -> None:
    graph = graph_of("- rebadge: [A 1, B 2]\n  certainty: 0.5\n- position: knob\n")
    found = doubts.weigh(questions.donors(graph, "a1", ["knob"], doubts.WEIGHED).rows)
    assert [(d.fall_bits, len(d.rows)) for d in found.found] == [(1.0, 1)]


def test_command_for_a_unit_asks_its_wants_only(tmp_path: Path, capsys: Any) -> None:
    unit = "- unit: U-1\n  set: A 1\n  role: patient\n  wants: [knob]\n"
    other = "- takes: BELT-9\n  in: B 2\n  position: main belt\n- part: BELT-9\n  kind: belt\n"
    data = str(folder_with(tmp_path, [("facts.yaml", FAMILY + unit + other)]))
    status, answer = ask(capsys, "--data", data, "doubts", "U-1")
    assert status == 0
    assert answer["question"] == {"command": "doubts", "unit": "U-1"}
    assert {"fact", "says", "fall_bits", "answers", "to do"} <= set(answer["answers"][0])
    assert not [a for a in answer["answers"] if "BELT-9" in a["says"]]
    _, of_set = ask(capsys, "--data", data, "doubts", "A 1", "--most", "30")
    _, everything = ask(capsys, "--data", data, "doubts", "--most", "30")
    assert "main belt" not in str(answer)
    assert len(everything["answers"]) > len(answer["answers"])
    assert of_set["entropy_bits"] > answer["entropy_bits"]
    measure = [a["to do"] for a in everything["answers"] if "BELT-9" in a["says"]]
    assert measure == ["measure the main belt of B 2 (is it BELT-9?): 3 answers hang on it"]


def test_what_a_unit_has_got_already_is_not_weighed(tmp_path: Path, capsys: Any) -> None:
    facts = "- rebadge: [Alpha 1, Beta 2]\n- takes: K-1\n  in: Alpha 1\n  position: knob\n"
    facts += "- unit: U-1\n  set: Alpha 1\n  wants: [knob]\n- unit: U-2\n  set: Beta 2\n"
    folder = folder_with(tmp_path, [("a.yaml", facts)])
    assert len(ask(capsys, "--data", str(folder), "doubts", "U-1")[1]["answers"]) > 0
    folder_with(tmp_path, [("b.yaml", "- taken: knob\n  from: U-2\n  to: U-1\n")])
    assert ask(capsys, "--data", str(folder), "doubts", "U-1")[1]["answers"] == []


def test_proof_tells_where_the_fact_stands(tmp_path: Path, capsys: Any) -> None:
    data = str(folder_with(tmp_path, [("facts.yaml", FAMILY)]))
    _, answer = ask(capsys, "--data", data, "doubts", "A 1")
    first = answer["answers"][0]
    (fact,) = first["proof"]
    assert (fact["fact"], fact["says"]) == (first["fact"], first["says"])
    assert run(["--data", data, "doubts", "A 1", "--proof"]) == 0
    assert f" {fact['file']}:{fact['line']}\n" in capsys.readouterr().out


def test_command_in_words(tmp_path: Path, capsys: Any) -> None:
    data = str(folder_with(tmp_path, [("facts.yaml", FAMILY)]))
    assert run(["--data", data, "doubts", "A 1", "--most", "1"]) == 0
    said = capsys.readouterr()
    assert len(said.out.splitlines()) == 1
    assert "settles 3 answers" in said.out
    assert "more facts are in doubt" in said.err
    assert run(["--data", data, "doubts", "Z 99"]) == 2


def test_the_demo_is_weighed() -> None:
    status = run(["--data", str(DEMO), "doubts", "--most", "3"])
    assert status == 0
