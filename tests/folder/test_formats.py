"""`- format: 1` at the beginning of a file: read, refused elsewhere; of a later one what is known counts."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from tests.support import ROOT, ask, folder_with

FACTS = """\
- set: Larkfield LK-40
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: printed
"""
LATER = f"""\
- format: 2
{FACTS}\
- grown: Larkfield LK-40
- takes: K-114
  in: Orvanek 2200
  position: volume knob
  season: winter
"""


def sets(folder: Path, capsys: Any) -> tuple[list[str], dict[str, Any]]:
    _, found = ask(capsys, "--data", str(folder), "takers", "K-114")
    return [row["set"] for row in found["answers"]], found


def test_a_file_of_format_1_says_what_it_says_without(tmp_path: Path, capsys: Any) -> None:
    folder = folder_with(tmp_path, [("facts.yaml", f"- format: 1\n{FACTS}")])
    names, found = sets(folder, capsys)
    assert (names, found["notes"].count("left out")) == (["Larkfield LK-40"], 0)
    assert "left out" not in found
    assert ask(capsys, "--data", str(folder), "check")[1]["errors"] == []
    more = ["takes", "K-115", "--in", "Larkfield LK-40", "--position", "tone knob", "--how", "printed"]
    assert run(["--data", str(folder), "add", *more, "--file", "facts.yaml", "--yes"]) == 0
    assert (folder / "facts.yaml").read_text(encoding="utf-8").startswith(f"- format: 1\n{FACTS}")


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (f"{FACTS}- format: 1\n", 6),
        (f"- format: 1\n- format: 1\n{FACTS}", 2),
        (f"- format: one\n{FACTS}", 1),
        (f"- format: 0\n{FACTS}", 1),
        (f"- format: [1]\n{FACTS}", 1),
        (f"- format: 1\n  by: AK\n{FACTS}", 1),
    ],
)
def test_a_format_that_is_none_or_stands_elsewhere_is_an_error(
    tmp_path: Path, capsys: Any, text: str, line: int
) -> None:
    folder = folder_with(tmp_path, [("facts.yaml", text)])
    status, found = ask(capsys, "--data", str(folder), "check")
    assert status == 1
    assert [(p["code"], p["line"]) for p in found["errors"]] == [("format", line)]
    assert sets(folder, capsys)[0] == ["Larkfield LK-40"]


def test_what_a_known_format_does_not_know_is_an_error(tmp_path: Path, capsys: Any) -> None:
    folder = folder_with(tmp_path, [("facts.yaml", LATER.replace("format: 2", "format: 1"))])
    _, found = ask(capsys, "--data", str(folder), "check")
    assert [p["code"] for p in found["errors"]] == ["unknown-kind", "unknown-key"]


def test_what_a_later_format_alone_knows_is_left_out_and_counted(tmp_path: Path, capsys: Any) -> None:
    folder = folder_with(tmp_path, [("later.yaml", LATER)])
    for _ in range(2):
        # Asked again, no index hides what is left out.
        names, found = sets(folder, capsys)
        assert names == ["Larkfield LK-40"]
        assert [p["line"] for p in found["left out"]] == [7, 8]
    assert run(["--data", str(folder), "takers", "K-114"]) == 0
    assert "2 entries cannot be read and are left out" in capsys.readouterr().err
    status, checked = ask(capsys, "--data", str(folder), "check", "--sort", "later-format")
    assert (status, len(checked["warnings"])) == (0, 2)
    assert "of format 2" in checked["warnings"][0]["says"]


def test_upgrade_tells_the_format_of_each_file_and_writes_nothing(tmp_path: Path, capsys: Any) -> None:
    folder = folder_with(tmp_path, [("a.yaml", FACTS), ("b.yaml", "- format: 1\n- part: K-9\n")])
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    status, found = ask(capsys, "--data", str(folder), "upgrade")
    told = [(Path(row["file"]).name, row["format"], row["named"]) for row in found["answers"]]
    assert (status, told) == (0, [("a.yaml", 1, False), ("b.yaml", 1, True)])
    assert run(["--data", str(folder), "upgrade"]) == 0
    assert "there is nothing to write" in capsys.readouterr().err
    (folder / "later.yaml").write_text(LATER, encoding="utf-8")
    assert run(["--data", str(folder), "upgrade"]) == 1
    (folder / "later.yaml").unlink()
    assert {path.name: path.read_bytes() for path in folder.iterdir() if path.suffix == ".yaml"} == before


def test_the_readme_says_how_an_id_is_made(tmp_path: Path, capsys: Any) -> None:
    page = (ROOT / "README.md").read_text(encoding="utf-8")
    found = re.search(r"printf '%s' '(\{.*\})' \| sha256sum \| cut -c1-16   # (\w+)", page)
    assert found is not None
    assert hashlib.sha256(found[1].encode()).hexdigest()[:16] == found[2]
    folder = folder_with(tmp_path, [("facts.yaml", FACTS)])
    _, listed = ask(capsys, "--data", str(folder), "list", "facts")
    assert [row["fact"] for row in listed["answers"]] == [found[2]]
