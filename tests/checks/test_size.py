"""check of a large folder: what it tells first, what is asked for, and the slips of many hands."""

from __future__ import annotations

import shlex
import subprocess
from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from tests.support import ask, folder_with

SETS = """\
- set: Larkfield LK-40
  mains: 240 V 50 Hz
- set: Larkfeild LK-40
  mains: "240"
- set: Larkfield LK-41
  mains: 240V
- set: Orvanek 2200
  mains: dto.
"""
FACTS = """\
- part: K-114
- part: K-115
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: printed
- takes: K-115
  in: Orvanek 2200
  position: volume knob
  by: '-"-'
  how: printed
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return folder_with(tmp_path, [("sets.yaml", SETS), ("facts.yaml", FACTS)])


def warned(folder: Path, capsys: Any, *words: str) -> list[dict[str, Any]]:
    _, found = ask(capsys, "--data", str(folder), "check", *words)
    warnings: list[dict[str, Any]] = found["warnings"]
    return warnings


def test_ditto_marks_are_told_with_what_mends_them(folder: Path, capsys: Any) -> None:
    found = {Path(w["file"]).name: w for w in warned(folder, capsys, "--sort", "ditto")}
    assert set(found) == {"sets.yaml", "facts.yaml"}
    assert (found["sets.yaml"]["line"], found["facts.yaml"]["line"]) == (7, 7)
    for name, key, value in (("facts.yaml", "by", "AK"), ("sets.yaml", "mains", "220 V")):
        command = found[name]["mend"].partition(": ")[2].split()
        assert command[:2] == ["kgraph", "correct"]
        assert run(["--data", str(folder), "correct", command[2], key, value, "--yes"]) == 0
    assert warned(folder, capsys, "--sort", "ditto") == []


def test_a_slip_in_a_word_is_told_and_another_number_is_none(folder: Path, capsys: Any) -> None:
    found = warned(folder, capsys, "--sort", "near-name")
    assert [w["says"].split(",")[0] for w in found] == ["set Larkfeild LK-40 is nearly Larkfield LK-40"]
    apart = ["distinct", "Larkfield LK-40", "Larkfeild LK-40", "--how", "compared", "--yes"]
    assert run(["--data", str(folder), "add", *apart]) == 0
    assert warned(folder, capsys, "--sort", "near-name") == []


def test_mains_in_several_ways_are_told_once_each(folder: Path, capsys: Any) -> None:
    found = warned(folder, capsys, "--sort", "mains-ways")
    assert [w["line"] for w in found] == [3, 5]
    assert all("written in 3 ways" in w["says"] for w in found)
    for one in found:
        words = shlex.split(one["mend"].partition(": ")[2])
        assert run(["--data", str(folder), *words[1:], "--yes"]) == 0
    assert warned(folder, capsys, "--sort", "mains-ways") == []


def test_two_frequencies_are_no_slip(tmp_path: Path, capsys: Any) -> None:
    text = SETS.replace("240V", "240 V 60 Hz")
    folder = folder_with(tmp_path, [("sets.yaml", text)])
    assert warned(folder, capsys, "--sort", "mains-ways") == []


def test_what_can_hurt_stands_first(folder: Path, capsys: Any) -> None:
    assert warned(folder, capsys)[0]["code"] == "mains-ways"


def test_errors_and_warnings_stand_on_one_stream_with_their_word(folder: Path, capsys: Any) -> None:
    (folder / "wrong.yaml").write_text("- sett: Quillon 31\n", encoding="utf-8")
    assert run(["--data", str(folder), "check"]) == 1
    out, err = capsys.readouterr()
    lines = out.splitlines()
    assert err == ""
    assert ": error: sett is not a kind of entry" in lines[0]
    assert ": warning: " in lines[1]


def test_a_file_and_a_sort_are_asked_for(folder: Path, capsys: Any) -> None:
    assert {Path(w["file"]).name for w in warned(folder, capsys, "--file", "facts.yaml")} == {"facts.yaml"}
    assert run(["--data", str(folder), "check", "--file", "fact.yaml"]) == 2
    assert "did you mean facts.yaml?" in capsys.readouterr().err
    assert run(["--data", str(folder), "check", "--sort", "near-nam"]) == 0
    assert "did you mean near-name?" in capsys.readouterr().err


def test_the_summary_counts_every_problem_once(folder: Path, capsys: Any) -> None:
    (folder / "wrong.yaml").write_text("- sett: Quillon 31\n", encoding="utf-8")
    _, found = ask(capsys, "--data", str(folder), "check", "--summary")
    numbers = sum(row["number"] for row in found["summary"])
    assert numbers == len(found["errors"]) + len(found["warnings"])
    assert run(["--data", str(folder), "check", "--summary"]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert "error\tunknown-kind\t1\t1 file" in lines
    assert any(line.endswith("wrong.yaml\t1\t0") for line in lines)


def git(folder: Path, *words: str) -> None:
    person = ["-c", "user.name=AK", "-c", "user.email=ak@example.org"]
    subprocess.run(["git", "-C", str(folder), *person, *words], check=True, capture_output=True)


def test_only_what_changed_since_a_revision(folder: Path, capsys: Any) -> None:
    git(folder, "init", "-q")
    git(folder, "add", ".")
    git(folder, "commit", "-q", "-m", "first")
    assert warned(folder, capsys, "--since", "HEAD") == []
    with (folder / "facts.yaml").open("a", encoding="utf-8") as file:
        file.write(
            "\n- part: K-200\n- takes: K-200\n  in: Quillon 31\n  position: volume knob\n  by: ditto\n"
        )
    found = warned(folder, capsys, "--since", "HEAD")
    assert {w["line"] for w in found} == {14}
    assert "ditto" in {w["code"] for w in found}
    (folder / "new.yaml").write_text("- sett: x\n", encoding="utf-8")
    assert run(["--data", str(folder), "check", "--since", "HEAD"]) == 1
    assert run(["--data", str(folder), "check", "--since", "--output=x"]) == 2
    assert "git knows no revision" in capsys.readouterr().err


def test_no_repository_is_told(folder: Path, capsys: Any) -> None:
    assert run(["--data", str(folder), "check", "--since", "HEAD"]) == 2
    assert "is in no repository of git" in capsys.readouterr().err
