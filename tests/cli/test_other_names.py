"""A thing is one thing by whichever of its names, and however they are written, an entry calls it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from tests.support import ask, caution_of_the_trade, folder_with, graph_of, places

KNOB = """\
- part: K-114
  also: [440 1882]
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: fitted
- unit: U-07
  set: Larkfield LK-40
  role: patient
  wants: [volume knob]
- stock: 440 1882
  count: 2
"""


def test_loose_parts_are_of_their_part(tmp_path: Path, capsys: Any) -> None:
    folder = folder_with(tmp_path, [("a.yaml", KNOB)])
    status, plan = ask(capsys, "--data", str(folder), "plan", "U-07")
    assert status == 0
    assert [(line["unit"], line["part"]) for line in plan["lines"]] == [("stock", "K-114")]
    given = "- restored: volume knob\n  to: U-07\n  part: 440 1882\n"
    folder_with(tmp_path, [("b.yaml", given)])
    for name in ("440 1882", "K-114"):
        _, shown = ask(capsys, "--data", str(folder), "show", name)
        assert [a["left"] for a in shown["answers"] if a["kind"] == "stock"] == [1]
    assert run(["--data", str(folder), "check"]) == 0


def test_an_assembly_comes_off_whole_by_its_other_name(tmp_path: Path, capsys: Any) -> None:
    facts = """\
- assembly: TN7 mechanism
  also: [deck]
  positions: [main belt, pinch roller]
- uses: TN7 mechanism
  in: Larkfield LK-40
- unit: U-07
  set: Larkfield LK-40
  role: patient
  wants: [deck]
- unit: U-08
  set: Larkfield LK-40
  role: donor
"""
    folder = folder_with(tmp_path, [("a.yaml", facts)])
    assert run(["--data", str(folder), "take", "deck", "--from", "U-08", "--to", "U-07"]) == 0
    assert "main belt, pinch roller" in capsys.readouterr().out
    assert run(["--data", str(folder), "take", "main belt", "--from", "U-08", "--to", "U-07"]) == 1


EXCEPT = """\
- assembly: TM mechanism
  also: [TM deck]
  positions: [belt, roller]
- rebadge: [Corr C-1, Dorn D-1]
  except: [TM mechanism]
  how: reported
- rebadge: [Corr C-1, Dorn D-1]
  except: [TM deck]
  how: reported
- takes: B-1
  in: Corr C-1
  position: belt
"""


def test_what_is_left_out_by_two_names_of_an_assembly_is_one_fact() -> None:
    graph = graph_of(EXCEPT)
    (rebadge,) = (f for f in graph.data.facts.values() if f.kind == "rebadge")
    assert rebadge.certainty == 0.6
    assert len(rebadge.evidence) == 2
    assert [link.left_out for link in graph.links["s:corrc1"]] == [
        {"belt", "roller", "tmdeck", "tmmechanism"}
    ]


@pytest.mark.parametrize("spelling", ["charged capacitors", "Charged  Capacitors", "charged-capacitors"])
def test_a_caution_of_the_trade_has_its_text_however_it_is_written(
    spelling: str, tmp_path: Path, capsys: Any
) -> None:
    facts = f"- position: power lead\n  caution: {spelling}\n"
    facts += "- takes: K-1\n  in: Larkfield LK-40\n  position: power lead\n"
    folder = folder_with(tmp_path, [("a.yaml", facts)])
    _, answer = ask(capsys, "--data", str(folder), "takers", "K-1")
    assert list(answer["caution texts"].values()) == [caution_of_the_trade("charged capacitors")]


MAINS = """\
- position: power transformer
  must match: [{needed}]
- set: Larkfield LK-40
  {one}
- set: Orvanek 2200
  {other}
- rebadge: [Larkfield LK-40, Orvanek 2200]
  how: fitted
- takes: T-1
  in: Larkfield LK-40
  position: power transformer
  how: fitted
"""


@pytest.mark.parametrize(
    ("needed", "one", "other", "goes"),
    [
        ("mains", "mains: 240 V", "mains: 117 V", False),
        ("Mains", "mains: 240 V", "mains: 117 V", False),
        ("mains", "Mains: 240 V", "mains: 117 V", False),
        ("mains", "mains: [220 V, 240 V]", "mains: 240 V", True),
        ("mains", "mains: [220 V, 240 V]", "mains: [110 V, 117 V]", False),
    ],
)
def test_what_must_match_is_compared_however_it_is_written(
    needed: str, one: str, other: str, goes: bool, tmp_path: Path, capsys: Any
) -> None:
    folder = folder_with(tmp_path, [("a.yaml", MAINS.format(needed=needed, one=one, other=other))])
    for _ in range(2):
        _, answer = ask(capsys, "--data", str(folder), "donors", "Orvanek 2200", "power transformer", "--all")
        (row,) = answer["answers"]
        assert (row["standing"] != "refused") == goes
        assert "not recorded" not in str(row["warnings"])


@pytest.mark.parametrize("how", ["bench check", "bench-check", "Bench  Check", "trial"])
@pytest.mark.parametrize("names", [("a.yaml", "b.yaml"), ("b.yaml", "a.yaml")])
def test_a_grade_is_one_however_it_is_written(
    how: str, names: tuple[str, str], tmp_path: Path, capsys: Any
) -> None:
    grade = "- grade: bench check\n  also: [trial]\n  certainty: 0.3\n"
    fact = f"- takes: K-1\n  in: Larkfield LK-40\n  position: knob\n  how: {how}\n"
    folder = folder_with(tmp_path, [(names[0], grade), (names[1], fact)])
    _, answer = ask(capsys, "--data", str(folder), "takers", "K-1")
    assert [a["certainty"] for a in answer["answers"]] == [0.3]
    assert run(["--data", str(folder), "check"]) == 0


@pytest.mark.parametrize("how", ["fitted", "tried on"])
def test_what_was_tried_by_hand_counts_by_either_name_of_its_grade(
    how: str, tmp_path: Path, capsys: Any
) -> None:
    facts = f"""\
- grade: fitted
  also: [tried on]
  certainty: 0.9
- takes: K-1
  in: Larkfield LK-40
  position: knob
  how: printed
- rebadge: [Larkfield LK-40, Orvanek 2200]
  how: photo
- fits: Larkfield LK-40
  position: knob
  to: Orvanek 2200
  how: {how}
"""
    folder = folder_with(tmp_path, [("a.yaml", facts)])
    _, found = ask(capsys, "--data", str(folder), "check", "--grades")
    assert [(g["grade"], g["tried"], g["held"]) for g in found["grades"]] == [("photo", 1, 1)]


def test_facts_that_claim_one_id_have_each_its_own(tmp_path: Path, capsys: Any) -> None:
    facts = "".join(
        f"- takes: K-{n}\n  in: Larkfield LK-40\n  position: knob {n}\n  id: note 7\n" for n in (1, 2)
    )
    folder = folder_with(tmp_path, [("a.yaml", facts)])
    given = ["--data", str(folder)]
    ids = [ask(capsys, *given, "takers", f"K-{n}")[1]["answers"][0]["proof"][0]["fact"] for n in (1, 2)]
    assert len(set(ids)) == 2
    assert run([*given, "withdraw", ids[1], "--why", "misread", "--yes"]) == 0
    assert places(ask(capsys, *given, "takers", "K-1")[1]) == [("Larkfield LK-40", "knob 1")]
    assert run([*given, "takers", "K-2"]) == 1


def test_the_sign_of_a_coordinate_is_part_of_what_a_run_says() -> None:
    run_text = """\
- run: main belt
  in: Larkfield LK-40
  pulleys:
    - {{name: motor, x: 0 mm, y: 0 mm, diameter: 9 mm}}
    - {{name: flywheel, x: {x}, y: 5 mm, diameter: 20 mm}}
"""
    both = graph_of(run_text.format(x="62 mm") + run_text.format(x="-62 mm")).data
    assert len(both.facts) == 2
    assert both.said.clashing_ids == []


def test_a_size_is_compared_however_its_key_is_written(tmp_path: Path, capsys: Any) -> None:
    facts = "- kind: shaft\n  generic: yes\n  compare: {Length: 0.5 mm}\n"
    facts += "".join(
        f"- part: S-{n}\n  kind: shaft\n  {key}: 30 mm\n" for n, key in ((1, "length"), (2, "Length"))
    )
    facts += "- takes: S-1\n  in: Larkfield LK-40\n  position: tuning shaft\n"
    folder = folder_with(tmp_path, [("a.yaml", facts)])
    for _ in range(2):
        assert len(ask(capsys, "--data", str(folder), "takers", "S-2")[1]["answers"]) == 1


FIT = """\
- fits: Aldo A-1
  position: dial
  to: Brim B-1
  at: window
  how: fitted
"""


def test_a_place_known_only_from_a_fit_is_a_place(tmp_path: Path, capsys: Any) -> None:
    folder = folder_with(tmp_path, [("a.yaml", FIT)])
    for _ in range(2):
        _, answer = ask(capsys, "--data", str(folder), "donors", "Brim B-1")
        assert [(a["for"], a["set"], a["position"]) for a in answer["answers"]] == [
            ("window", "Aldo A-1", "dial")
        ]


def test_a_feature_that_only_an_except_names_can_be_asked_for(tmp_path: Path, capsys: Any) -> None:
    facts = "- rebadge: [Aldo A-1, Brim B-1]\n  except: [line socket]\n"
    folder = folder_with(tmp_path, [("a.yaml", facts)])
    for _ in range(2):
        assert run(["--data", str(folder), "donors", "Brim B-1", "line socket"]) == 1
    assert run(["--data", str(folder), "donors", "Brim B-1", "line sockets"]) == 2


def test_a_number_of_several_parts_is_told_of(tmp_path: Path, capsys: Any) -> None:
    facts = "".join(f"- part: K-{n}\n  numbers: {{Larkfield: 5-5}}\n" for n in (1, 2))
    folder = folder_with(tmp_path, [("a.yaml", facts)])
    assert run(["--data", str(folder), "takers", "5-5"]) == 2
    assert "'5-5' is a number of several parts; ask for K-1 or K-2" in capsys.readouterr().err
