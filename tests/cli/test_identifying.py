"""identify at a terminal and with its proof."""

from __future__ import annotations

import json
import os
import pty
import select
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run

FOLDER = """\
- set: Larkfield LK-40
  stamp: TN7
  knobs: 4
- set: Orvanek 2200
  knobs: 4
- set: Quillon 31
  stamp: QX1
  knobs: 5
- set: Quillon 32
  stamp: QX2
  knobs: 5
- rebadge: [Larkfield LK-40, Orvanek 2200]
  how: compared
  source: bench book
- unit: U-13
  seen: {stamp: TN7}
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "a.yaml").write_text(FOLDER)
    return tmp_path


def _at_a_terminal(folder: Path, answers: list[str], *more: str) -> tuple[str, int]:
    """What is shown on a pseudo-terminal where these answers are typed, each after its question."""
    ours, theirs = pty.openpty()
    words = [sys.executable, "-m", "kgraph", "--data", str(folder), "identify", "--ask", *more]
    started = subprocess.Popen(words, stdin=theirs, stdout=theirs, stderr=theirs)
    os.close(theirs)
    shown, ends = b"", time.monotonic() + 60
    try:
        while time.monotonic() < ends:
            if not select.select([ours], [], [], 1)[0]:
                continue
            try:
                got = os.read(ours, 65536)
            except OSError:  # The other end is closed.
                break
            shown += got
            if answers and shown.endswith(b": "):
                os.write(ours, answers.pop(0).encode() + b"\n")
        code = started.wait(10)
    finally:
        started.kill()
        started.wait()
        os.close(ours)
    return shown.decode().replace("\r\n", "\n"), code


def test_questions_are_asked_one_after_another_with_a_summary(folder: Path) -> None:
    shown, code = _at_a_terminal(folder, ["TN7", ""])
    assert code == 0
    assert shown.startswith("answer, `?` for not looked at, `back` for the question before")
    assert "stamp (QX1, QX2, TN7): TN7\n" in shown
    assert "\n  stamp: TN7\n" in shown
    first = next(line for line in shown.split("\n") if "the family of" in line)
    assert first.endswith("the family of Larkfield LK-40")


def test_back_asks_again_and_a_question_mark_says_nothing(folder: Path) -> None:
    shown, code = _at_a_terminal(folder, ["QX1", "back", "?", "5", ""])
    assert code == 0
    assert shown.count("stamp (QX1, QX2, TN7): ") == 2
    assert "\n  stamp: ?\n  knobs: 5\n" in shown
    assert "stamp: nobody looked" in shown
    assert "for: stamp" not in shown


def test_an_answer_that_no_set_has_is_told_at_once(folder: Path) -> None:
    shown, _ = _at_a_terminal(folder, ["QX3", "back", "QX1", ""])
    assert "no set has 'QX3' for stamp; did you mean QX1" in shown
    assert "`back` to answer again" in shown
    assert "for: stamp QX1" in shown


def test_back_at_the_first_question_asks_it_again(folder: Path) -> None:
    shown, code = _at_a_terminal(folder, ["back", "TN7", ""])
    assert code == 0
    assert shown.count("stamp (QX1, QX2, TN7): ") == 2


def test_what_the_unit_has_written_is_not_asked_again(folder: Path) -> None:
    shown, code = _at_a_terminal(folder, [""], "U-13")
    assert code == 0
    assert "stamp (" not in shown
    assert "kgraph correct U-13 set 'Larkfield LK-40'" in shown


def test_without_a_terminal_there_is_nobody_to_ask(folder: Path, capsys: Any) -> None:
    assert run(["--data", str(folder), "identify", "--ask"]) == 2
    assert "--ask needs a terminal" in capsys.readouterr().err


def test_each_reason_names_its_facts_in_json_and_not_on_the_screen(folder: Path, capsys: Any) -> None:
    words = ["--data", str(folder), "identify", "--seen", "stamp=TN7", "--seen", "knobs=4", "--most", "3"]
    assert run([*words, "--json"]) == 0
    answers = json.loads(capsys.readouterr().out)["answers"]
    through = next(a for a in answers if a["set"] == "Orvanek 2200")
    [reason] = [r for r in through["for"] if r["key"] == "stamp"]
    assert reason["on"] == "Larkfield LK-40"
    assert reason["recorded"] == ["TN7"]
    [fact] = reason["facts"]
    assert run(words) == 0
    assert fact not in capsys.readouterr().out


def test_the_proof_of_what_comes_through_a_sister_is_its_rebadge(folder: Path, capsys: Any) -> None:
    """The likeliest set of a family is explained: here one of which only its sister has the stamp."""
    (folder / "a.yaml").write_text(FOLDER.replace("  knobs: 4\n- set: Orvanek", "  knobs: 6\n- set: Orvanek"))
    words = [
        "--data",
        str(folder),
        "identify",
        "--prior",
        "1,0,0",
        "--seen",
        "stamp=TN7",
        "--seen",
        "knobs=4",
    ]
    assert run([*words, "--proof"]) == 0
    shown = capsys.readouterr().out
    assert "stamp TN7, by Larkfield LK-40 at 0.85" in shown
    assert f"a.yaml:{FOLDER.split(chr(10)).index('- rebadge: [Larkfield LK-40, Orvanek 2200]') + 1}" in shown


def test_looking_inside_comes_with_its_cautions(capsys: Any, folder: Path) -> None:
    inside = (
        "- assembly: LC4 chassis\n  kind: chassis\n- uses: LC4 chassis\n  in: Quillon 31\n  how: printed\n"
    )
    inside += (
        "- assembly: LC5 chassis\n  kind: chassis\n- uses: LC5 chassis\n  in: Quillon 32\n  how: printed\n"
    )
    words = ["--data", str(folder), "identify", "--seen", "knobs=5"]
    assert run([*words, "--json"]) == 0
    assert "caution texts" not in json.loads(capsys.readouterr().out)
    (folder / "b.yaml").write_text(inside)
    assert run([*words, "--json"]) == 0
    assert "mains" in json.loads(capsys.readouterr().out)["caution texts"]
    assert run(words) == 0
    assert "Caution, mains: " in capsys.readouterr().out
