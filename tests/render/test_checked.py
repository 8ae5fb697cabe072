"""How `check` tells what it found: the serious things first, bounded on a screen, counted by sort."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from kgraph.render.checked import MOST_WARNINGS
from tests.support import ask, folder_with

DOUBTFUL = """\
- set: Larkfield LK-40
  mains: 240 V 50 Hz
- set: Orvanek 2200
- rebadge: [Larkfield LK-40, Orvanek 2200]
  how: compared
- position: mains fuse
  must match: [mains]
- takes: K-7
  in: Larkfield LK-40
  position: mains fuse
  how: printed
- takes: K-8
  in: Larkfield LK-40
  position: mains fuse
  how: printed
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    many = "".join(f"- part: Z-{number}\n" for number in range(60))
    return folder_with(tmp_path, [("a.yaml", many), ("b.yaml", DOUBTFUL)])


def codes(lines: list[str], found: dict[str, Any]) -> list[str]:
    """The sort of each line that tells a warning."""
    by_text = {
        f"{p['file']}:{p['line']}:{p['column']}: warning: {p['says']}": p["code"] for p in found["warnings"]
    }
    told = (text for text in lines if ": warning: " in text)
    return [next(code for known, code in by_text.items() if text.startswith(known)) for text in told]


def test_the_serious_things_come_first_and_all_are_counted(folder: Path, capsys: Any) -> None:
    status, found = ask(capsys, "--data", str(folder), "check")
    assert (status, len(found["warnings"])) == (0, 64)
    run(["--data", str(folder), "check"])
    lines = capsys.readouterr().out.splitlines()
    told = codes(lines, found)
    assert told[:2] == ["must-match-missing", "two-originals"]
    assert told[2:] == ["undeclared"] * 2 + ["unused"] * (MOST_WARNINGS - 4)
    assert lines[-3:] == [
        "54 more warnings; --all shows all",
        "warnings: 60 unused, 2 undeclared, 1 must-match-missing, 1 two-originals",
        "66 entries: 0 errors, 64 warnings",
    ]


def test_all_are_shown_where_all_are_asked_for(folder: Path, capsys: Any) -> None:
    run(["--data", str(folder), "check", "--all"])
    lines = capsys.readouterr().out.splitlines()
    assert sum(": warning: " in line for line in lines) == 64
    assert "more warnings" not in "".join(lines)


def test_errors_are_all_told_and_counted(folder: Path, capsys: Any) -> None:
    (folder / "c.yaml").write_text("- sett: x\n" * 30 + "- takes: K-7\n", encoding="utf-8")
    assert run(["--data", str(folder), "check"]) == 1
    out, err = capsys.readouterr()
    assert err == ""
    assert sum(": error: " in line for line in out.splitlines()) == 32
    assert "errors: 30 unknown-kind, 2 missing-key" in out.splitlines()
    assert out.splitlines()[-1].endswith("entries: 32 errors, 64 warnings")
