"""What comes in by add, import and merge: no wrong row, and no new name that nobody was told of."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click
import pytest

from kgraph.cli.main import run
from tests.support import folder_with

FACTS = """\
- set: Larkfield LK-40
- set: Orvanek 2200
- part: K-114
- position: volume knob
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: printed
"""
HEAD = "takes,in,position,how\n"
GOOD = "K-114,Orvanek 2200,volume knob,compared\n"
SLIP = "K-114,Orvanek 2200,vollume knob,compared\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "facts").mkdir()
    return folder_with(tmp_path / "facts", [("facts.yaml", FACTS)])


def files(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.glob("*.yaml")}


def imported(folder: Path, rows: str, *words: str) -> int:
    table = folder.parent / "rows.csv"
    table.write_text(HEAD + rows, encoding="utf-8")
    return run(["--data", str(folder), "import", str(table), "--kind", "takes", *words])


# Wrong rows -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("K-115,Orvanek 2200,volume knob,sure\n", "how: sure is not a grade"),
        ("K-115,Orvanek 2200,,fitted\n", "takes has no position"),
    ],
)
def test_one_wrong_row_writes_nothing(folder: Path, capsys: Any, row: str, says: str) -> None:
    """All that `add` would refuse is refused before anything is written, at its row."""
    before = files(folder)
    assert imported(folder, GOOD + row, "--yes") == 3
    said = capsys.readouterr().err
    assert says in said
    assert "rows.csv:3" in said
    assert files(folder) == before


def test_what_contradicts_the_folder_is_wrong_too(folder: Path, capsys: Any) -> None:
    table = folder.parent / "sets.csv"
    table.write_text("set,mains\nOrvanek 2200,220 V 50 Hz\nQuillon 31,110 V 60 Hz\n", encoding="utf-8")
    (folder / "more.yaml").write_text("- set: Orvanek 2200\n  mains: 240 V 50 Hz\n", encoding="utf-8")
    before = files(folder)
    words = ["--data", str(folder), "import", str(table), "--kind", "set", "--yes"]
    assert run(words) == 3
    assert "mains is 220 V 50 Hz here and 240 V 50 Hz at" in capsys.readouterr().err
    assert files(folder) == before
    assert run([*words, "--skip-bad"]) == 0
    said = capsys.readouterr()
    assert "skipped: " in said.err
    assert "new: 1 set" in said.out


def test_skip_bad_leaves_out_the_wrong_rows_and_lists_them(folder: Path, capsys: Any) -> None:
    rows = GOOD + "K-115,Orvanek 2200,volume knob,sure\n" + "K-116,Orvanek 2200,,fitted\n"
    assert imported(folder, rows, "--yes", "--skip-bad") == 0
    said = capsys.readouterr()
    assert "skipped: " in said.err
    assert said.err.count("rows.csv:3") == said.err.count("rows.csv:4") == 1
    written = (folder / "import-rows.yaml").read_text(encoding="utf-8")
    assert "K-115" not in written
    assert "K-116" not in written
    assert written.count("- takes: K-114\n") == 1
    assert run(["--data", str(folder), "check"]) == 0


def test_where_every_row_is_wrong_nothing_is_written(folder: Path, capsys: Any) -> None:
    before = files(folder)
    assert imported(folder, "K-115,Orvanek 2200,volume knob,sure\n", "--yes", "--skip-bad") == 1
    assert files(folder) == before


def test_what_was_withdrawn_is_not_said_again_in_vain(folder: Path, capsys: Any) -> None:
    run(["--data", str(folder), "takers", "K-114", "--json"])
    answer = json.loads(capsys.readouterr().out)["answers"][0]
    one = answer["proof"][0]["fact"]
    assert run(["--data", str(folder), "withdraw", one, "--why", "misread", "--yes"]) == 0
    assert imported(folder, "K-114,Larkfield LK-40,volume knob,fitted\n", "--yes") == 3
    assert "this takes was withdrawn at" in capsys.readouterr().err


def test_what_only_the_whole_file_shows_to_be_wrong_is_found(folder: Path, capsys: Any) -> None:
    table = folder.parent / "parts.csv"
    table.write_text("part,kind\nD-9,glass\nD-9,knob\n", encoding="utf-8")
    before = files(folder)
    assert run(["--data", str(folder), "import", str(table), "--kind", "part", "--yes"]) == 3
    assert "part D-9: kind is knob here and glass at" in capsys.readouterr().err
    assert files(folder) == before


# New names ------------------------------------------------------------------------------------


def test_every_new_place_and_part_is_told_with_the_nearest_known_name(folder: Path, capsys: Any) -> None:
    assert imported(folder, "K-115,Orvanek 2200,side lamp shade,fitted\n", "--yes") == 0
    said = capsys.readouterr().err
    assert "new part: K-115 (did you mean K-114?)" in said
    assert "new position: side lamp shade\n" in said
    assert "vol" not in said


def test_many_new_names_stand_on_one_line(folder: Path, capsys: Any) -> None:
    rows = "".join(f"{c}-{c}{c},Orvanek 2200,{c * 6},fitted\n" for c in "abcdefghijmnopqr")
    assert imported(folder, rows, "--yes") == 0
    (line,) = [x for x in capsys.readouterr().err.splitlines() if x.startswith("new position")]
    assert line.startswith("new position: (16) aaaaaa, bbbbbb")


def add(folder: Path, *words: str) -> int:
    slip = ["takes", "K-114", "--in", "Orvanek 2200", "--position", "vollume knob", "--how", "compared"]
    return run(["--data", str(folder), "add", *slip, *words])


def merge(folder: Path, *words: str) -> int:
    theirs = folder.parent / "theirs"
    theirs.mkdir(exist_ok=True)
    text = "- takes: K-114\n  in: Orvanek 2200\n  position: vollume knob\n  how: compared\n"
    (theirs / "theirs.yaml").write_text(text, encoding="utf-8")
    return run(["--data", str(folder), "merge", str(theirs), *words])


def import_slip(folder: Path, *words: str) -> int:
    return imported(folder, SLIP, *words)


WAYS = [add, import_slip, merge]


@pytest.mark.parametrize("way", WAYS)
def test_a_place_that_is_nearly_a_known_one_is_refused_without_a_terminal(
    folder: Path, capsys: Any, way: Any
) -> None:
    before = files(folder)
    assert way(folder) == 2
    said = capsys.readouterr().err
    assert way is import_slip or "vollume knob names no known place and is nearly volume knob" in said
    assert "nothing was written" in said
    assert files(folder) == before


@pytest.mark.parametrize("way", WAYS)
def test_with_yes_it_is_written_and_said_and_check_lists_it(folder: Path, capsys: Any, way: Any) -> None:
    assert way(folder, "--yes") == 0
    said = capsys.readouterr().err
    assert "new position: vollume knob (did you mean volume knob?)" in said
    assert "vollume knob is written as another place than volume knob; `check` lists it" in said
    run(["--data", str(folder), "check"])
    assert "position vollume knob is used only here; did you mean volume knob?" in capsys.readouterr().out


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("answer", [True, False])
def test_on_a_terminal_it_is_asked_about(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch, way: Any, answer: bool
) -> None:
    asked: list[str] = []

    def confirm(text: str, **_: object) -> bool:
        asked.append(text)
        return answer or "another place" not in text

    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr(click, "confirm", confirm)
    before = files(folder)
    assert way(folder) == (0 if answer else 1)
    assert "is vollume knob another place than volume knob?" in asked
    assert (files(folder) == before) != answer


def test_an_exception_that_is_nearly_a_place_is_one_of_them(folder: Path, capsys: Any) -> None:
    words = ["rebadge", "Larkfield LK-40", "Orvanek 2200", "--except", "volume knobb", "--yes"]
    assert run(["--data", str(folder), "add", *words]) == 0
    assert "except: volume knobb is written as another place than volume knob" in capsys.readouterr().err


def test_another_name_of_a_place_is_known_too(folder: Path, capsys: Any) -> None:
    (folder / "facts.yaml").write_text(
        FACTS.replace("- position: volume knob\n", "- position: volume knob\n  also: [loudness control]\n"),
        encoding="utf-8",
    )
    assert imported(folder, "K-114,Orvanek 2200,loudness controll,fitted\n", "--yes") == 0
    said = capsys.readouterr().err
    assert "loudness controll is written as another place than volume knob" in said


def test_a_dry_run_tells_and_asks_nothing(folder: Path, capsys: Any) -> None:
    assert merge(folder, "--dry-run", "--json") == 0
    said = capsys.readouterr()
    found = json.loads(said.out)["new names"]
    assert {"kind": "position", "name": "vollume knob", "near": "volume knob"} in found
    assert "new position: vollume knob (did you mean volume knob?)" in said.err


def test_another_name_that_comes_along_is_no_new_thing(folder: Path, capsys: Any) -> None:
    theirs = folder.parent / "theirs"
    theirs.mkdir()
    (theirs / "a.yaml").write_text(
        "- set: Orvanek 2200\n  also: [OV 2200]\n- set: Quillon 31\n  also: [Q31]\n"
        "- rebadge: [OV 2200, Q31]\n  how: compared\n",
        encoding="utf-8",
    )
    assert run(["--data", str(folder), "merge", str(theirs), "--yes"]) == 0
    assert "new set" not in capsys.readouterr().err
