"""What if: a supposed fact gives what the fact would give if it were written; nothing is written."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from kgraph.cli.main import run
from tests.support import ask, folder_with, places

FACTS = """\
- rebadge: [A 1, B 2]
  how: compared
  id: family
- takes: K-1
  in: A 1
  position: knob
  how: printed
"""
MORE = "{rebadge: [B 2, C 3], how: photo}"


def _folder(tmp_path: Path, text: str = FACTS) -> str:
    tmp_path.mkdir(exist_ok=True)
    return str(folder_with(tmp_path, [("facts.yaml", text)]))


def test_supposed_equals_written(tmp_path: Path, capsys: Any) -> None:
    data = _folder(tmp_path / "one")
    written = _folder(tmp_path / "two", FACTS + f"- {MORE}\n")
    for words in (["takers", "A 1", "knob"], ["donors", "A 1"], ["sisters", "A 1"], ["takers", "K-1"]):
        status, answer = ask(capsys, "--data", data, *words, "--suppose", MORE)
        _, expected = ask(capsys, "--data", written, *words)
        assert status == 0
        shown = [(a["set"], a["certainty"], a["standing"]) for a in answer["answers"]]
        assert shown == [(a["set"], a["certainty"], a["standing"]) for a in expected["answers"]]
        assert [a["set"] for a in answer["changed"]["gained"]] == ["C 3"]
        assert answer["changed"]["lost"] == answer["changed"]["different"] == []
    assert (tmp_path / "one" / "facts.yaml").read_text() == FACTS


def test_without_takes_the_fact_back(tmp_path: Path, capsys: Any) -> None:
    data = _folder(tmp_path)
    status, answer = ask(capsys, "--data", data, "takers", "K-1", "--without", "family")
    assert status == 0
    assert places(answer) == [("A 1", "knob")]
    assert [(a["set"], a["position"]) for a in answer["changed"]["lost"]] == [("B 2", "knob")]
    status, answer = ask(capsys, "--data", data, "takers", "A 1", "knob", "--without", "family")
    assert status == 1
    assert answer["answers"] == []


def test_more_evidence_is_a_difference(tmp_path: Path, capsys: Any) -> None:
    data = _folder(tmp_path)
    again = "{rebadge: [A 1, B 2], how: fitted, id: family}"
    _, answer = ask(capsys, "--data", data, "sisters", "A 1", "--suppose", again)
    changed = answer["changed"]["different"]
    assert [(c["before"]["certainty"], c["after"]["certainty"]) for c in changed] == [(0.85, 0.98)]


def test_a_supposed_refusal_takes_an_answer_away(tmp_path: Path, capsys: Any) -> None:
    data = _folder(tmp_path)
    no = "{refuses: K-1, in: B 2, position: knob, how: fitted}"
    _, answer = ask(capsys, "--data", data, "takers", "K-1", "--suppose", no)
    assert [c["set"] for c in answer["changed"]["lost"]] == ["B 2"]
    assert answer["refused"] == 1


def test_supposing_and_leaving_out_together_and_in_words(tmp_path: Path, capsys: Any) -> None:
    data = _folder(tmp_path)
    other = "{rebadge: [A 1, New 9], how: photo}"
    words = ["--data", data, "sisters", "A 1", "--suppose", other, "--without", "family"]
    assert run(words) == 0
    said = capsys.readouterr()
    assert "gained: New 9: stated, 70 %" in said.out
    assert "lost: B 2: stated, 85 %" in said.out
    assert "nothing is written" in said.err
    assert run(["--data", data, "sisters", "New 9", "--suppose", other]) == 0
    capsys.readouterr()
    assert run(["--data", data, "shares", "A 1", "--suppose", "{uses: TN, in: A 1}"]) == 0
    assert "gained: B 2 through TN: inferred, 51 %" in capsys.readouterr().out


def test_wrong_use(tmp_path: Path, capsys: Any) -> None:
    data = _folder(tmp_path)
    for bad in ("{rebadge: [A 1]}", "{rebadge", "nonsense", "", "{unheard: of}"):
        assert run(["--data", data, "sisters", "A 1", "--suppose", bad]) == 2, bad
        assert "--suppose" in capsys.readouterr().err
    assert run(["--data", data, "sisters", "A 1", "--without", "0123456789abcdef"]) == 2
    assert "no fact has the id" in capsys.readouterr().err
