"""Facts that cannot all be true, and how often the grades held against what was tried by hand."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

import pytest

from kgraph import beta, calibration, contradictions, questions
from kgraph.cli.main import run
from kgraph.facts import Fact
from kgraph.fits import graph as graphs
from kgraph.fits.graph import Graph
from kgraph.questions import Wanted
from kgraph.reason.conflicts import smallest
from tests.support import ask, folder_with, graph_of

DISPUTE = """\
- takes: K-1
  in: A 1
  position: knob
  how: printed
  id: original
- rebadge: [A 1, B 2]
  how: reported
  id: family
- rebadge: [B 2, C 3]
  how: compared
  id: further
- refuses: K-1
  in: B 2
  position: knob
  how: photo
  id: refusal
"""


def _ids(graph: Graph) -> list[set[str]]:
    return [{f.id for f in c.facts} for c in contradictions.of_folder(graph).found]


def test_the_conflict_behind_a_family_is_given_once_and_without_what_only_carries_it_on() -> None:
    """C 3 is refused too, but `further` has no part in the contradiction."""
    graph = graph_of(DISPUTE)
    answers = questions.takers_of_part(graph, "k1", Wanted(refused_too=True)).rows
    # A 1 says so itself, and what is against it comes by its sister's badge.
    assert {r.set for r in answers if r.against} == {"s:b2", "s:c3"}
    found = contradictions.of_folder(graph).found
    assert [{f.id for f in c.facts} for c in found] == [{"original", "family", "refusal"}]
    assert found[0].weakest.id == "family"


def test_nothing_can_be_left_out_by_brute_force() -> None:
    """Of all sets of facts that contradict, the smallest ones are those that are reported."""
    extra = "- same: [K-1, K-9]\n  id: alike\n- takes: K-9\n  in: D 4\n  position: knob\n  id: more\n"
    extra += "- rebadge: [D 4, B 2]\n  id: second\n"
    graph = graph_of(DISPUTE + extra)

    def contradicts(facts: tuple[Fact, ...]) -> bool:
        small = graphs.build(graph.data.with_facts(facts))
        rows = questions.takers_of_part(small, "k1", Wanted(refused_too=True)).rows
        return any(r.against for r in rows)

    every = list(graph.data.facts.values())
    wrong = [
        frozenset(f.id for f in chosen)
        for size in range(1, len(every) + 1)
        for chosen in itertools.combinations(every, size)
        if contradicts(chosen)
    ]
    least = {w for w in wrong if not any(o < w for o in wrong)}
    found = {frozenset(ids) for ids in _ids(graph)}
    assert found
    assert found <= least
    assert frozenset({"original", "family", "refusal"}) in found


def test_no_conflict_where_another_part_is_refused() -> None:
    """Two originals at one place: that one of them is refused does not speak against the other."""
    text = "- takes: K-1\n  in: A 1\n  position: knob\n- takes: K-2\n  in: A 1\n  position: knob\n"
    assert _ids(graph_of(text + "- refuses: K-3\n  in: A 1\n  position: knob\n")) == []
    both = text + "- refuses: K-2\n  in: A 1\n  position: knob\n  how: fitted\n"
    (conflict,) = contradictions.of_folder(graph_of(both)).found
    assert {f.claim[0] for f in conflict.facts} == {"k2"}


def test_a_refused_place_is_a_conflict_with_a_fit() -> None:
    text = "- fits: A 1\n  position: knob\n  to: B 2\n  id: letter\n"
    text += "- refuses: A 1\n  from: knob\n  in: B 2\n  position: knob\n  how: fitted\n  id: bench\n"
    (conflict,) = contradictions.of_folder(graph_of(text)).found
    assert ({f.id for f in conflict.facts}, conflict.weakest.id) == ({"letter", "bench"}, "letter")


def test_smallest_of_facts_that_agree_is_none() -> None:
    graph = graph_of(DISPUTE)
    assert smallest(graph.data.facts.values(), lambda facts: False) is None


def test_check_prints_it_once_with_its_weakest(tmp_path: Path, capsys: Any) -> None:
    data = str(folder_with(tmp_path, [("facts.yaml", DISPUTE)]))
    status, found = ask(capsys, "--data", data, "check")
    (said,) = [w for w in found["warnings"] if w["code"] == "conflict"]
    assert status == 0
    assert said["line"] == 6
    assert said["says"].startswith("these 3 facts cannot all be true")
    assert "weakest is: A 1 and B 2 are one design" in said["mend"]
    assert run(["--data", data, "check"]) == 0
    assert capsys.readouterr().out.count("cannot all be true") == 1


# Grades ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("v1", "v2", "critical"),
    [(10, 10, 2.978), (4, 10, 3.478), (2, 10, 4.103), (10, 4, 5.964)],
)
def test_incomplete_beta_against_the_table_of_f(v1: int, v2: int, critical: float) -> None:
    """Upper 5 % points of F: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.3 (from memory).

    By Abramowitz and Stegun 26.6.2, Q(F | v1, v2) = I_x(v2/2, v1/2) with x = v2 / (v2 + v1 F).
    """
    x = v2 / (v2 + v1 * critical)
    assert beta.incomplete_beta(x, v2 // 2, v1 // 2) == pytest.approx(0.05, abs=3e-5)


def test_quantiles_in_closed_form_and_by_symmetry() -> None:
    """I_x(a, 1) = x^a; I_x(a, b) = 1 - I_(1-x)(b, a) (Abramowitz and Stegun 26.5.2)."""
    for a in (1, 2, 7, 400):
        assert beta.quantile(0.025, a, 1) == pytest.approx(0.025 ** (1 / a), rel=1e-12)
        assert beta.quantile(0.025, a, 5) == pytest.approx(1 - beta.quantile(0.975, 5, a), abs=1e-12)
    assert beta.quantile(0.5, 9, 9) == pytest.approx(0.5, abs=1e-14)


TRIED = """\
- takes: K-1
  in: A 1
  position: knob
  how: printed
- rebadge: [A 1, B 2]
  how: photo
- rebadge: [A 1, C 3]
  how: guess
- takes: K-1
  in: B 2
  position: knob
  how: fitted
- refuses: K-1
  in: C 3
  position: knob
  how: fitted
- fits: Z 9
  position: back
  to: A 1
  how: fitted
"""


def test_what_was_tried_counts_for_the_weakest_grade_that_had_said_it() -> None:
    """The fit of Z 9 had not been said before, so it says nothing about a grade."""
    found = {g.grade: g for g in calibration.of_folder(graph_of(TRIED))}
    assert {k: (g.tried, g.held) for k, g in found.items()} == {"photo": (1, 1), "guess": (1, 0)}
    assert found["photo"].said == pytest.approx(0.95 * 0.70, rel=1e-12)
    assert found["photo"].mean == pytest.approx(2 / 3)
    assert found["guess"].mean == pytest.approx(1 / 3)
    assert found["photo"].low == pytest.approx(0.025**0.5, rel=1e-12)


def test_a_fact_said_before_and_then_fitted_counts_by_its_earlier_grade() -> None:
    said = "- takes: K-1\n  in: A 1\n  position: knob\n  how: {}\n"
    found = calibration.of_folder(graph_of(said.format("reported") + said.format("fitted")))
    assert [(g.grade, g.tried, g.held, g.said) for g in found] == [("reported", 1, 1, 0.6)]
    assert calibration.of_folder(graph_of(said.format("fitted"))) == ()


def test_what_was_said_after_a_trial_had_not_been_said_before_it() -> None:
    """A saying dated after the trial is no forecast of it; one without a date counts as earlier."""
    trial = "- refuses: K-1\n  in: A 1\n  position: knob\n  date: 2024-05-02\n"
    said = "- takes: K-1\n  in: A 1\n  position: knob\n  how: {}\n  date: {}\n"
    assert calibration.of_folder(graph_of(trial + said.format("photo", "2024-06"))) == ()
    text = trial + said.format("photo", "2024-06") + said.format("guess", "2023")
    found = calibration.of_folder(graph_of(text))
    assert [(g.grade, g.tried, g.held, g.said) for g in found] == [("guess", 1, 0, 0.4)]


def test_command(tmp_path: Path, capsys: Any) -> None:
    data = str(folder_with(tmp_path, [("facts.yaml", TRIED)]))
    status, found = ask(capsys, "--data", data, "check", "--grades")
    assert status == 0
    assert [g["grade"] for g in found["grades"]] == ["guess", "photo"]
    assert found["grades"][0]["interval"][0] < found["grades"][0]["mean"] < found["grades"][0]["interval"][1]
    assert run(["--data", data, "check", "--grades"]) == 0
    assert capsys.readouterr().out.splitlines()[1].startswith("photo\t1\t1\t")
