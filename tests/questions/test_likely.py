"""likely: published weights, and the command itself."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from kgraph.cli.main import run
from kgraph.questions.likely import likely_sets, tried, weighing_of_sets
from kgraph.recognition.pairs import Had, Weighing, agreement, disagreement, probability
from tests.bench import folders
from tests.support import graph_of, graph_of_folder

ALIKE = """
- set: Larkfield LK-40
  stamp: TN7
  mains: 240 V 50 Hz
- set: Orvanek 2200
  stamp: TN7
  mains: 240 V 50 Hz
  knobs: 5
- set: Quillon 31
  knobs: 4
  stamp: QX1
  mains: 120 V 60 Hz
- set: Quillon 32
  stamp: QX1
  mains: 120 V 60 Hz
- set: Larkfield LK-50
  stamp: LB2
  mains: 240 V 50 Hz
"""


@pytest.mark.parametrize(
    ("m", "u", "agree", "apart"),
    [
        (0.996, 0.004, 7.9600, -7.9600),
        (0.97, 0.007, 7.1145, -5.0488),
        (0.97, 0.03, 5.0150, -5.0150),
        (0.999, 0.001, 9.9643, -9.9643),
    ],
)
def test_weights_are_those_of_the_published_table(m: float, u: float, agree: float, apart: float) -> None:
    # "Understanding the Master Index Match Engine", table 17, docs.oracle.com/cd/E19509-01/820-4000.
    assert agreement(m, u) == pytest.approx(agree, abs=5e-5)
    assert disagreement(m, u) == pytest.approx(apart, abs=5e-5)


@pytest.mark.parametrize(("bits", "p"), [(0, 0.5), (2, 0.8), (3, 8 / 9), (4, 16 / 17), (9.47, 0.998592)])
def test_probability_of_a_weight(bits: float, p: float) -> None:
    # splink, docs/topic_guides/theory/fellegi_sunter.md, commit e22dacdd.
    assert probability(bits) == pytest.approx(p, abs=1e-6)


def test_rare_values_weigh_more_and_what_one_lacks_weighs_nothing() -> None:
    # Value shares 40, 8 and 2 of 50, as in splink's tests/test_term_frequencies.py: u = 0.8, 0.16, 0.04.
    of = {f"r{i}": Had(frozenset({"a" if i < 40 else "b" if i < 48 else "c"})) for i in range(50)}
    weighing = Weighing({"key": of, "other": {"r0": Had(frozenset({"x"}))}}, {}, 0.0, ())
    for one, other, u in (("r0", "r1", 0.8), ("r40", "r41", 0.16), ("r48", "r49", 0.04)):
        assert weighing.pair(one, other).bits == pytest.approx(agreement(0.9, u))


def test_a_key_that_exceptions_name_says_less() -> None:
    folder = "".join(f"- takes: K-11{n % 2}\n  in: Quillon {n}\n  position: volume knob\n" for n in range(4))
    folder += "- rebadge: [Quillon 0, Larkfield LK-40]\n"
    usual = weighing_of_sets(graph_of(folder))
    excepted = weighing_of_sets(graph_of(f"{folder}  except: [volume knob]\n"))
    assert usual.m["volumeknob"] == pytest.approx(10 / 11)
    assert excepted.m["volumeknob"] == pytest.approx(9 / 11)
    # Without that rebadge nothing is known of the key again.
    assert excepted.agreeing(excepted.known[0])["volumeknob"] == pytest.approx(0.9)
    assert excepted.informative("volumeknob") < usual.informative("volumeknob")


def test_the_likeliest_pair_comes_first_and_one_badge_never() -> None:
    found = likely_sets(graph_of(ALIKE)).pairs
    assert {found[0].pair.one, found[0].pair.other} == {"s:larkfieldlk40", "s:orvanek2200"}
    assert all({f.pair.one, f.pair.other} != {"s:quillon31", "s:quillon32"} for f in found)
    assert found[0].settle == "compare the knobs"


@pytest.mark.parametrize("fact", ["distinct", "rebadge"])
def test_what_is_joined_or_told_apart_does_not_come_back(fact: str) -> None:
    graph = graph_of(ALIKE + f"- {fact}: [Larkfield LK-40, Orvanek 2200]\n  how: compared\n")
    pairs = [{f.pair.one, f.pair.other} for f in likely_sets(graph).pairs]
    assert {"s:larkfieldlk40", "s:orvanek2200"} not in pairs


def test_a_hidden_rebadge_comes_back() -> None:
    graph = graph_of(ALIKE + "- rebadge: [Larkfield LK-40, Orvanek 2200]\n  how: compared\n")
    found = tried(graph)
    assert (found.hidden, found.joined) == (1, 0)
    assert dict(found.first) == {1: 1, 3: 1, 10: 1}


@pytest.mark.parametrize("facts", [2_000, pytest.param(12_000, marks=pytest.mark.slow)])
def test_nine_of_ten_hidden_rebadges_of_a_made_up_folder_come_back_among_three(
    tmp_path: Path, facts: int
) -> None:
    """Seven things are recorded of sets here and there, now and then otherwise than on a sister."""
    folders.write(tmp_path, facts, looks=True)
    found = tried(graph_of_folder(tmp_path))
    assert found.hidden >= 200
    assert found.first[3] >= 0.9 * found.hidden
    given, true = found.bands[9]
    assert true >= 0.95 * given


def test_what_the_budget_leaves_out_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("kgraph.recognition.pairs.MOST_PAIRS", 1)
    (tmp_path / "a.yaml").write_text(ALIKE)
    run(["--data", str(tmp_path), "likely"])
    assert "groups that share a value were not compared" in capsys.readouterr().err


def test_the_command_prints_what_to_run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "a.yaml").write_text(ALIKE)
    assert run(["--data", str(tmp_path), "likely", "Orvanek 2200", "--json"]) == 0
    first = json.loads(capsys.readouterr().out)["answers"][0]
    assert first.keys() >= {"sets", "probability", "bits", "for", "against", "would settle it"}
    assert run(["--data", str(tmp_path), "likely"]) == 0
    said = capsys.readouterr().out
    assert "kgraph add rebadge 'Larkfield LK-40' 'Orvanek 2200' --how compared" in said
    line = next(row for row in said.splitlines() if "kgraph add" in row)
    import shlex

    assert run(["--data", str(tmp_path), *shlex.split(line)[1:], "--yes"]) == 0


def test_parts_that_may_be_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    parts = "".join(f"- part: P-{i}\n  kind: knob\n  bore: {i} mm\n" for i in range(1, 9))
    twin = "- part: K-114\n  kind: knob\n  bore: 6 mm\n  shade: ivory\n"
    other = "- part: K-115\n  kind: knob\n  bore: 6 mm\n  shade: ivory\n"
    (tmp_path / "a.yaml").write_text(parts + twin + other)
    assert run(["--data", str(tmp_path), "likely", "--parts", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["answers"][0]["parts"] == ["K-114", "K-115"]


def test_check_remarks_on_a_rebadge_that_agrees_in_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "a.yaml").write_text(ALIKE + "- rebadge: [Larkfield LK-40, Quillon 31]\n  how: compared\n")
    run(["--data", str(tmp_path), "check"])
    assert "nothing-agrees" in "".join(capsys.readouterr())
