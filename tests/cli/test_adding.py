"""What `add` and `withdraw` tell before they write, and what they refuse."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from tests.support import ask, folder_with, places

FACTS = """\
- set: Aldo A-1
- set: Brim B-1
- rebadge: [Aldo A-1, Brim B-1]
  how: fitted
  source: joe
- rebadge: [Aldo A-1, Brim B-1]
  how: compared
  source: jim
- takes: R-1
  in: Aldo A-1
  position: roller
  certainty: 1
- part: B-9
  length: 3 mm
- grade: photo
  certainty: 0.3
- unit: U-1
  set: Aldo A-1
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return folder_with(tmp_path, [("facts.yaml", FACTS)])


def said(capsys: Any) -> str:
    out = capsys.readouterr()
    return str(out.out + out.err)


def id_of(folder: Path, capsys: Any) -> str:
    _, answer = ask(capsys, "--data", str(folder), "sisters", "Aldo A-1")
    return str(answer["answers"][0]["proof"][0]["fact"])


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (
            ["takes", "P-1", "--in", "Aldo A-1", "--position", "knob", "--how", "fited"],
            "fited is not a grade",
        ),
        (["unit", "U-1", "--set", "Brim B-1"], "set is Brim B-1 here and Aldo A-1 at"),
        (["part", "B-9", "--length", "4 mm"], "length is 4 mm here and 3 mm at"),
        (["grade", "photo", "--certainty", "0.9"], "certainty is 0.9 here and 0.3 at"),
        (["set", "Corr C-1", "--also", "Aldo A-1"], "is itself a set"),
    ],
)
def test_what_would_be_wrong_beside_others_is_not_written(
    words: list[str], says: str, folder: Path, capsys: Any
) -> None:
    before = (folder / "facts.yaml").read_bytes()
    assert run(["--data", str(folder), "add", *words, "--yes"]) == 2
    told = said(capsys)
    assert says in told
    assert "nothing was written" in told
    assert [p.name for p in folder.iterdir()] == ["facts.yaml"]
    assert (folder / "facts.yaml").read_bytes() == before


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["replaces", "P-1", "--old", "P-1"], "warning: a circle of replaces"),
        (
            ["takes", "R-2", "--in", "Brim B-1", "--position", "roller"],
            "warning: the roller of Brim B-1 has two",
        ),
        (
            ["rebadge", "Aldo A-1", "Brim B-1", "--except", "roller"],
            "warning: this rebadge is told otherwise",
        ),
        (
            ["rebadge", "Aldo A-1", "Corr C-1", "--except", "lid, roller"],
            "is taken for one; for several say --except",
        ),
        (["set", "Dorn D-1", "--bands", "LW, MW"], "is taken for one; for several say --bands"),
        (["unit", "U-2", "--set", "Aldo A-1", "--state", "lid=misisng"], "misisng counts as there and whole"),
    ],
)
def test_what_is_doubtful_beside_others_is_told_and_written(
    words: list[str], says: str, folder: Path, capsys: Any
) -> None:
    assert run(["--data", str(folder), "add", *words, "--yes"]) == 0
    assert says in said(capsys)
    assert (folder / "bench.yaml").exists()


def test_a_source_takes_back_only_what_it_said(folder: Path, capsys: Any) -> None:
    given, fact = ["--data", str(folder)], id_of(folder, capsys)
    assert run([*given, "withdraw", fact, "--why", "x", "--source", "ann", "--yes"]) == 2
    assert "'ann' has not said this; it is said by jim, joe" in said(capsys)
    assert run([*given, "withdraw", fact, "--why", "x", "--source", "joe", "--yes"]) == 0
    assert "this makes 0 new answers; 2 become less certain" in said(capsys)
    _, answer = ask(capsys, *given, "sisters", "Aldo A-1")
    assert [a["certainty"] for a in answer["answers"]] == [0.85]


def test_the_way_back_that_add_names_works(folder: Path, capsys: Any) -> None:
    given = ["--data", str(folder)]
    assert run([*given, "withdraw", id_of(folder, capsys), "--why", "wrong", "--yes"]) == 0
    assert "it takes 2 answers away" in said(capsys)
    assert run([*given, "add", "rebadge", "Aldo A-1", "Brim B-1", "--how", "fitted", "--yes"]) == 2
    found = re.search(r"kgraph withdraw (\w+) --why", said(capsys))
    assert found is not None
    assert run([*given, "withdraw", found[1], "--why", "it was right", "--yes"]) == 0
    assert "this makes 2 new answers" in said(capsys)
    assert places(ask(capsys, *given, "takers", "R-1")[1]) == [("Aldo A-1", "roller"), ("Brim B-1", "roller")]
    assert run([*given, "withdraw", found[1], "--why", "again", "--yes"]) == 2
    assert "is withdrawn already" in said(capsys)


def test_a_stronger_refusal_contradicts_what_was_disputed(tmp_path: Path, capsys: Any) -> None:
    facts = "- takes: K-1\n  in: Aldo A-1\n  position: knob\n  certainty: 0.9\n"
    facts += "- refuses: K-1\n  in: Aldo A-1\n  position: knob\n  certainty: 0.2\n"
    folder = folder_with(tmp_path, [("facts.yaml", facts)])
    words = ["refuses", "K-1", "--in", "Aldo A-1", "--position", "knob", "--certainty", "0.95"]
    assert run(["--data", str(folder), "add", *words, "--yes"]) == 0
    _, answer = ask(capsys, "--data", str(folder), "takers", "K-1", "--all")
    assert [a["standing"] for a in answer["answers"]] == ["refused"]


def test_more_evidence_makes_more_certain(folder: Path, capsys: Any) -> None:
    words = ["takes", "R-3", "--in", "Aldo A-1", "--position", "roller", "--certainty", "0.5", "--role"]
    assert run(["--data", str(folder), "add", *words, "substitute", "--yes"]) == 0
    capsys.readouterr()
    assert run(["--data", str(folder), "add", "same", "R-3", "R-1", "--certainty", "1", "--yes"]) == 0
    assert re.search(r"\d+ become more certain", said(capsys))


def test_a_file_outside_is_wrong_use(folder: Path, capsys: Any) -> None:
    for name in ("../x.yaml", "x.txt"):
        assert run(["--data", str(folder), "add", "set", "Corr C-1", "--yes", "--file", name]) == 2
        assert "is not a fact file of" in said(capsys)


def test_supposed_answers_name_parts_as_they_are_written(folder: Path, capsys: Any) -> None:
    entry = "{takes: R-1, in: Corr C-1, position: roller, how: fitted}"
    _, answer = ask(capsys, "--data", str(folder), "takers", "R-1", "--suppose", entry)
    assert [g["parts"] for g in answer["changed"]["gained"]] == [["R-1"]]


def test_a_feature_is_shown_and_found(tmp_path: Path, capsys: Any) -> None:
    facts = "- rebadge: [Aldo A-1, Brim B-1]\n  except: [line socket]\n"
    folder = folder_with(tmp_path, [("facts.yaml", facts)])
    _, shown = ask(capsys, "--data", str(folder), "show", "line socket")
    assert [(a["kind"], len(a["facts"])) for a in shown["answers"]] == [("feature", 1)]
    _, found = ask(capsys, "--data", str(folder), "find", "line sock")
    assert [(a["kind"], a["name"]) for a in found["answers"]] == [("feature", "line socket")]


def test_a_list_without_brackets_is_doubted(tmp_path: Path, capsys: Any) -> None:
    for written, doubted in (("lid, roller", True), ('"lid, roller"', False), ("[lid, roller]", False)):
        facts = f"- rebadge: [Aldo A-1, Brim B-1]\n  except: {written}\n"
        folder = folder_with(tmp_path, [("facts.yaml", facts)])
        _, found = ask(capsys, "--data", str(folder), "check")
        assert ("comma-in-name" in {w["code"] for w in found["warnings"]}) == doubted


def test_what_would_have_no_effect_is_refused(folder: Path, capsys: Any) -> None:
    given, fact = ["--data", str(folder)], id_of(folder, capsys)
    assert run([*given, "withdraw", fact, "--why", "x", "--source", "joe", "--yes"]) == 0
    words = ["rebadge", "Aldo A-1", "Brim B-1", "--how", "measured", "--source", "joe"]
    assert run([*given, "add", *words, "--yes"]) == 2
    assert "what joe says of this was withdrawn" in said(capsys)
    assert run([*given, "withdraw", fact, "--why", "y", "--yes"]) == 0
    entry = (folder / "bench.yaml").read_text(encoding="utf-8")
    assert run([*given, "add", "rebadge", "Aldo A-1", "Brim B-1", "--how", "fitted", "--yes"]) == 2
    found = re.search(r"kgraph withdraw (\w+) --why", said(capsys))
    assert found is not None
    assert run([*given, "withdraw", found[1], "--why", "it was right", "--yes"]) == 0
    assert run([*given, "withdraw", fact, "--why", "y", "--yes"]) == 2
    assert "say why in other words" in said(capsys)
    assert (folder / "bench.yaml").read_text(encoding="utf-8").startswith(entry)


def test_nothing_is_doubted_for_what_is_withdrawn(folder: Path, capsys: Any) -> None:
    given = ["--data", str(folder)]
    assert run([*given, "withdraw", id_of(folder, capsys), "--why", "wrong", "--yes"]) == 0
    capsys.readouterr()
    assert run([*given, "add", "rebadge", "Aldo A-1", "Brim B-1", "--except", "lid", "--yes"]) == 0
    assert "told otherwise" not in said(capsys)


def test_a_withdrawn_fact_is_shown_as_one(folder: Path, capsys: Any) -> None:
    fact = id_of(folder, capsys)
    assert run(["--data", str(folder), "withdraw", fact, "--why", "misread", "--yes"]) == 0
    _, shown = ask(capsys, "--data", str(folder), "show", "Brim B-1")
    (answer,) = shown["answers"]
    assert (answer["facts"], [g["fact"] for g in answer["withdrawn facts"]]) == ([], [fact])
    assert run(["--data", str(folder), "show", "Brim B-1"]) == 0
    assert f"{fact}  withdrawn (misread) at " in said(capsys)


def test_a_folder_named_twice_is_read_once(tmp_path: Path, capsys: Any) -> None:
    (tmp_path / "sub").mkdir()
    folder_with(tmp_path / "sub", [("s.yaml", "- stock: AK-1\n  count: 1\n")])
    for words in (
        ["--data", str(tmp_path / "sub")],
        ["--data", str(tmp_path), "--data", str(tmp_path / "sub")],
    ):
        _, shelf = ask(capsys, *words, "shelf")
        assert [s["count"] for s in shelf["stock"]] == [1]
