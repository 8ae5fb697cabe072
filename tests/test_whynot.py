"""Why not: what is not known is kept apart from what is known not to go."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from kgraph import whynot
from kgraph.cli.main import run
from kgraph.collection.sayings import FACT_TYPES
from tests.support import ask, folder_with, graph_of

ORIGINAL = "- takes: K-1\n  in: A 1\n  position: knob\n  how: printed\n"
SISTER = "- rebadge: [A 1, B 2]\n  how: compared\n"


def test_an_answer_is_said_to_be_one() -> None:
    found = whynot.takers_of_part(graph_of(ORIGINAL + SISTER), "k1", "b2")
    assert (found.verdict, found.reasons) == (whynot.GOES, ())


def test_refused_gives_both_proofs() -> None:
    graph = graph_of(ORIGINAL + SISTER + "- refuses: K-1\n  in: B 2\n  position: knob\n  how: fitted\n")
    found = whynot.takers_of_part(graph, "k1", "b2")
    assert found.verdict == whynot.REFUSED
    assert found.row is not None
    assert {f.kind for f in found.row.proof} == {"rebadge", "takes"}
    assert [[f.kind for f in r.facts] for r in found.reasons] == [["refuses"]]


def test_attributes_that_must_match_name_both_values() -> None:
    sets = "- set: A 1\n  mains: 240 V\n- set: B 2\n  mains: 110 V\n- position: knob\n  must match: [mains]\n"
    found = whynot.takers_of_place(graph_of(sets + ORIGINAL + SISTER), "a1", "knob", "b2")
    assert found.verdict == whynot.REFUSED
    assert "240 V" in found.reasons[0].says
    assert "110 V" in found.reasons[0].says


def test_a_refusal_that_no_rule_speaks_for_is_still_known_not_to_go() -> None:
    graph = graph_of(ORIGINAL + "- refuses: K-1\n  in: C 3\n  position: knob\n  how: fitted\n")
    for found in (
        whynot.takers_of_part(graph, "k1", "c3"),
        whynot.takers_of_place(graph, "a1", "knob", "c3"),
        whynot.donors(graph, "c3", "knob", "a1"),
    ):
        assert found.verdict == whynot.REFUSED
        assert found.row is None
        assert [f.kind for f in found.reasons[0].facts][:1] == ["refuses"]


def test_no_link() -> None:
    graph = graph_of(ORIGINAL + SISTER + "- set: C 3\n")
    found = whynot.takers_of_place(graph, "a1", "knob", "c3")
    assert found.verdict == whynot.UNKNOWN
    assert [r.says for r in found.reasons] == ["no rebadge or shared assembly links A 1 and C 3"]
    assert "rebadge: [A 1, C 3]" in found.reasons[0].settle


def test_an_exception_is_named_with_its_fact() -> None:
    graph = graph_of(ORIGINAL + "- rebadge: [A 1, B 2]\n  except: [knob]\n  id: the-rebadge\n")
    for found in (
        whynot.takers_of_place(graph, "a1", "knob", "b2"),
        whynot.donors(graph, "b2", "knob", "a1"),
    ):
        assert found.verdict == whynot.UNKNOWN
        assert found.reasons[0].says == "A 1 and B 2 are alike, but knob is excepted by fact the-rebadge"


def test_an_assembly_that_does_not_declare_the_place() -> None:
    text = "- assembly: TN\n  positions: [belt]\n- uses: TN\n  in: A 1\n- uses: TN\n  in: B 2\n"
    found = whynot.takers_of_place(graph_of(ORIGINAL + text), "a1", "knob", "b2")
    assert "TN does not declare knob" in found.reasons[0].says


def test_another_part_is_recorded_there() -> None:
    graph = graph_of(ORIGINAL + "- takes: K-9\n  in: C 3\n  position: knob\n")
    found = whynot.donors(graph, "a1", "knob", "c3")
    assert found.verdict == whynot.UNKNOWN
    assert found.reasons[0].settle == "same: [K-1, K-9]"


def test_replaces_does_not_run_backwards() -> None:
    graph = graph_of(ORIGINAL + "- takes: K-2\n  in: C 3\n  position: knob\n- replaces: K-2\n  old: K-1\n")
    found = whynot.takers_of_part(graph, "k1", "c3")
    assert (found.verdict, found.reasons[0].rule) == (whynot.UNKNOWN, "newer")
    assert found.reasons[0].says == "K-2 goes where K-1 goes, not the reverse"
    assert whynot.takers_of_part(graph, "k2", "a1").verdict == whynot.GOES


def test_no_place_is_recorded_for_the_part() -> None:
    graph = graph_of("- part: K-7\n  kind: knob\n- set: C 3\n")
    found = whynot.takers_of_part(graph, "k7", "c3")
    assert found.reasons[0].says == "no place is recorded that takes K-7"


def test_the_fact_that_would_settle_it_settles_it() -> None:
    """Each suggested `same` or `rebadge`, once added, makes the set an answer."""
    text = ORIGINAL + "- takes: K-9\n  in: C 3\n  position: knob\n"
    found = whynot.takers_of_place(graph_of(text), "a1", "knob", "c3")
    for reason in found.reasons:
        more = "- " + reason.settle.split(", or ")[0] + "\n"
        graph = graph_of(text + more)
        assert len([e for e in graph.data.entries if isinstance(e, FACT_TYPES)]) == 3
        assert whynot.takers_of_place(graph, "a1", "knob", "c3").verdict == whynot.GOES


def test_command(tmp_path: Path, capsys: Any) -> None:
    data = str(folder_with(tmp_path, [("f.yaml", ORIGINAL + SISTER + "- set: C 3\n")]))
    status, answer = ask(capsys, "--data", data, "takers", "A 1", "knob", "--why-not", "C 3")
    assert status == 0
    assert len(answer["answers"]) == 1
    assert [(w["set"], w["verdict"]) for w in answer["why not"]] == [("C 3", "not known")]
    assert answer["why not"][0]["reasons"][0]["settle"].startswith("rebadge: [A 1, C 3]")
    assert run(["--data", data, "donors", "A 1", "knob", "--why-not", "C 3"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("C 3 for knob: not known\n")
    assert "would settle it: rebadge: [A 1, C 3]" in said
    assert run(["--data", data, "donors", "A 1", "knob", "--why-not", "A 1"]) == 2
    assert run(["--data", data, "takers", "K-1", "--why-not", "Z 9"]) == 2


def test_the_fit_that_would_settle_a_donor_settles_it() -> None:
    """It leads from the set asked about to the one that wants, not the other way."""
    text = "- rebadge: [Alpha 1, Beta 2]\n  except: [knob]\n- takes: K-1\n  in: Alpha 1\n  position: knob\n"
    text += "- takes: K-2\n  in: Beta 2\n  position: knob\n"
    found = whynot.donors(graph_of(text), "alpha1", "knob", "beta2")
    (settle,) = (r.settle for r in found.reasons if r.settle.startswith("fits"))
    assert settle == "fits: Beta 2, position: knob, to: Alpha 1"
    more = "".join(
        f"{lead}{part}\n" for lead, part in zip(("- ", "  ", "  "), settle.split(", "), strict=True)
    )
    assert whynot.donors(graph_of(text + more), "alpha1", "knob", "beta2").verdict == whynot.GOES
