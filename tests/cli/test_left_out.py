"""Entries that cannot be read: a question is answered without them, and says so; nothing is written."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import WRITING, run
from tests.support import ask, folder_with, places

GOOD = """\
- set: Larkfield LK-40
- set: Orvanek 2200
- rebadge: [Larkfield LK-40, Orvanek 2200]
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
- set: Quillon 31
- fits: Quillon 31
  position: volume knob
  to: Larkfield LK-40
- unit: U-1
  set: Larkfield LK-40
  role: donor
- unit: U-2
  set: Orvanek 2200
  wants: [volume knob]
"""
BAD = "- sett: Norvane 7\n- takes: K-9\n  in: Norvane 7\n  place: foot\n- part: K-9\n"
REMARK = "2 entries cannot be read and are left out, in {file}; `kgraph check` lists them"
QUESTIONS = [
    ["takers", "K-114"],
    ["takers", "Larkfield LK-40", "volume knob", "--why-not", "Orvanek 2200"],
    ["donors", "Orvanek 2200", "volume knob"],
    ["sisters", "Orvanek 2200"],
    ["show", "K-9"],
    ["find", "lk40"],
    ["shelf"],
    ["plan", "U-2"],
    ["sheet", "U-2"],
    ["hunt", "Larkfield LK-40"],
    ["query", "sisters", "--set", "Orvanek 2200"],
]
WRITES = [
    ["add", "set", "Norvane 7", "--yes"],
    ["withdraw", "0123456789abcdef", "--why", "x", "--yes"],
    ["correct", "0123456789abcdef", "how", "fitted", "--yes"],
    ["take", "volume knob", "--from", "U-1", "--to", "U-2"],
    ["plan", "U-2", "--take"],
    ["inspect", "U-1", "volume knob", "good"],
    ["fit", "K-114", "--to", "U-2", "--at", "volume knob"],
    ["import", "{there}/more.csv", "--kind", "set", "--yes"],
    ["merge", "{there}"],
    ["rename", "K-9", "K-10", "--yes"],
]


@pytest.fixture
def facts(tmp_path: Path) -> Path:
    folder = tmp_path / "facts"
    folder.mkdir()
    return folder_with(folder, [("bad.yaml", BAD), ("good.yaml", GOOD)])


@pytest.mark.parametrize("words", QUESTIONS, ids=lambda words: words[0])
def test_a_question_is_answered_without_them_and_says_so(facts: Path, capsys: Any, words: list[str]) -> None:
    said = REMARK.format(file=facts / "bad.yaml")
    assert run(["--data", str(facts), *words]) == 0
    assert capsys.readouterr().err.splitlines().count(said) == 1
    status, found = ask(capsys, "--data", str(facts), *words)
    assert status == 0
    assert said in found["notes"]
    assert [(p["line"], p["code"]) for p in found["left out"]] == [
        (1, "unknown-kind"),
        (2, "missing-key"),
        (4, "unknown-key"),
    ]


def test_the_second_question_says_the_same_as_the_first(facts: Path, capsys: Any) -> None:
    """Of a folder with faults no index is made that would forget them; of a mended one it is."""
    first = ask(capsys, "--data", str(facts), "takers", "K-114")
    assert first == ask(capsys, "--data", str(facts), "takers", "K-114")
    assert ("Orvanek 2200", "volume knob") in places(first[1])
    (facts / "bad.yaml").write_text("- part: K-9\n", encoding="utf-8")
    for _ in range(2):
        assert "left out" not in ask(capsys, "--data", str(facts), "takers", "K-114")[1]
    (facts / "bad.yaml").write_text(BAD, encoding="utf-8")
    assert ask(capsys, "--data", str(facts), "takers", "K-114") == first


@pytest.mark.parametrize("words", [["--strict", "takers", "K-114"], ["takers", "K-114", "--strict"],
                                   ["draw", "family", "Orvanek 2200", "--strict"]])  # fmt: skip
def test_strict_refuses_and_prints_the_first_twenty(facts: Path, capsys: Any, words: list[str]) -> None:
    assert run(["--data", str(facts), *words]) == 3
    said = capsys.readouterr()
    assert said.out == ""
    places = [line.split(": ")[0] for line in said.err.splitlines()]
    assert places == [f"{facts / 'bad.yaml'}:{at}" for at in ("1:3", "2:3", "4:3")]
    (facts / "bad.yaml").write_text(BAD + "- sett: x\n" * 297, encoding="utf-8")
    assert run(["--data", str(facts), *words]) == 3
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 21
    assert lines[-1] == "280 more faults; `kgraph check` lists them all"
    assert run(["--data", str(facts), *(w for w in words if w != "--strict")]) == 0
    assert "299 entries cannot be read and are left out" in capsys.readouterr().err


@pytest.mark.parametrize("words", WRITES, ids=lambda words: words[0])
def test_what_writes_refuses(facts: Path, tmp_path: Path, capsys: Any, words: list[str]) -> None:
    there = tmp_path / "there"
    there.mkdir()
    folder_with(there, [("more.yaml", "- set: Norvane 7\n"), ("more.csv", "set\nNorvane 7\n")])
    before = {p: p.read_bytes() for p in facts.iterdir()}
    assert run(["--data", str(facts), *(word.format(there=there) for word in words)]) == 3
    assert f"{facts / 'bad.yaml'}:1:3: " in capsys.readouterr().err
    assert {p: p.read_bytes() for p in facts.iterdir()} == before


def test_every_command_that_writes_is_tried_here() -> None:
    assert {words[0] for words in WRITES} == WRITING | {"plan"}


@pytest.mark.parametrize(
    "data", [b"\xff\xfe- \0s\0", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\x80\x81", b"- set: caf\xe9 9\n"]
)
def test_a_file_that_is_no_text_stops_a_question(facts: Path, capsys: Any, data: bytes) -> None:
    (facts / "odd.yaml").write_bytes(data)
    assert run(["--data", str(facts), "takers", "K-114"]) == 3
    assert f"{facts / 'odd.yaml'}:1:" in capsys.readouterr().err


def test_an_entry_of_another_coding_is_left_out_beside_others(facts: Path, capsys: Any) -> None:
    (facts / "bad.yaml").write_bytes(b"- set: caf\xe9 9\n- set: Norvane 7\n")
    assert run(["--data", str(facts), "show", "Norvane 7"]) == 0
    assert "1 entry cannot be read and is left out, in " in capsys.readouterr().err


def test_many_files_are_counted(facts: Path, capsys: Any) -> None:
    folder_with(facts, [(f"x{number:02}.yaml", "- sett: x\n") for number in range(20)])
    assert run(["--data", str(facts), "takers", "K-114"]) == 0
    said = capsys.readouterr().err.splitlines()[0]
    assert said.startswith("22 entries cannot be read and are left out, in ")
    assert said.endswith(f"{facts / 'x06.yaml'} and 13 more files; `kgraph check` lists them")
