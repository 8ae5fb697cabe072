"""How much of the cautions and assumptions an answer prints: first words always, all where work begins."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from kgraph.render.cautions import block, first_words
from tests.support import DEMO, caution_of_the_trade, folder_with

FACTS = """\
- rebadge: [Larkfield LK-40, Orvanek 2200]
  how: fitted
- takes: T 250 mA
  in: Larkfield LK-40
  position: mains fuse
- unit: D-1
  set: Larkfield LK-40
  role: donor
- unit: P-1
  set: Orvanek 2200
  wants: [mains fuse]
- stock: T 250 mA
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two sets that share a place on the mains side."""
    return folder_with(tmp_path, [("facts.yaml", FACTS)])


SHORT = "Caution, mains: Mains voltage can kill. Unplug the set, and wait, before the back comes off.\n"


@pytest.mark.parametrize(
    "words",
    [
        ["takers", "Larkfield LK-40", "mains fuse"],
        ["donors", "Larkfield LK-40", "mains fuse"],
        ["plan", "P-1"],
        ["takers", "T 250 mA"],
    ],
)
def test_an_answer_has_the_first_words_and_all_when_asked(
    folder: Path, capsys: Any, words: list[str]
) -> None:
    run(["--data", str(folder), *words])
    said = capsys.readouterr().out
    assert SHORT in said
    assert said.endswith("--cautions gives the cautions whole.\n")
    run(["--data", str(folder), *words, "--cautions"])
    said = capsys.readouterr().out
    assert f"Caution, mains: {caution_of_the_trade('mains')}\n" in said
    assert "--cautions" not in said


@pytest.mark.parametrize(
    "words",
    [
        ["take", "mains fuse", "--from", "D-1", "--to", "P-1"],
        ["plan", "P-1", "--take"],
        ["fit", "T 250 mA", "--to", "P-1"],
        ["inspect", "D-1", "mains fuse", "good"],
        ["sheet", "P-1"],
    ],
)
def test_where_work_begins_they_stand_whole(folder: Path, capsys: Any, words: list[str]) -> None:
    assert run(["--data", str(folder), *words]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert caution_of_the_trade("mains") in said


@pytest.mark.parametrize(
    ("text", "more"),
    [
        ("Mains kills. Unplug it, and wait before the back comes off.", " More."),
        ("One long sentence that says all that there is to be said.", " Two."),
        ("Short.", ""),
        ("First line.", "\nSecond line."),
    ],
)
def test_the_first_words_say_enough(text: str, more: str) -> None:
    assert first_words(text + more) == text


def test_what_is_whole_has_no_hint() -> None:
    assert block({"springs": "Hold it."}, terminal=False, whole=False) == "\nCaution, springs: Hold it.\n"
    assert block({}, terminal=False, whole=False) == ""


def test_assumptions_are_one_line_unless_asked_for(capsys: Any) -> None:
    path = ["--data", str(DEMO), "belt", "path", "Ystrane YN-1"]
    assert run(path) == 0
    (short,) = [x for x in capsys.readouterr().out.splitlines() if x.startswith("assumed")]
    assert short.endswith("; --assumed tells why")
    assert run([*path, "--assumed"]) == 0
    whole = [x for x in capsys.readouterr().out.splitlines() if x.startswith("assumed")]
    assert len(whole) == 2
    assert all(x.endswith(")") for x in whole)


def test_doubts_tell_bits_only_when_asked(capsys: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    assert run(["--data", str(DEMO), "doubts", "U-09"]) == 0
    said = capsys.readouterr().out
    assert " bit" not in said
    assert "settles 6 answers" in said
    assert run(["--data", str(DEMO), "doubts", "U-09", "--bits"]) == 0
    assert " bit\t" in capsys.readouterr().out
    monkeypatch.setenv("COLUMNS", "60")
    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    assert run(["--data", str(DEMO), "doubts", "U-09"]) == 0
    said = capsys.readouterr().out
    assert "compare Drummelwick DW 210 and Vessimorn 5210 side by" in said
    assert "…" not in said
