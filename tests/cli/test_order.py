"""Every list of answers stands by certainty, then by the best proof, then by name, beside questions too."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from tests.support import ask, folder_with

# By name Arden 1 comes first, by certainty Quillon 31: it was compared, the others guessed or reported.
FACTS = """\
- set: Larkfield LK-40
- set: Arden 1
- set: Norvane 7
- set: Quillon 31
- rebadge: [Larkfield LK-40, Arden 1]
  how: guess
- rebadge: [Larkfield LK-40, Norvane 7]
  how: reported
- rebadge: [Larkfield LK-40, Quillon 31]
  how: compared
- part: SQ 1.25 x 262
  kind: belt
  section: square 1.25 mm
  inside length: 262 mm
- takes: SQ 1.25 x 262
  in: Larkfield LK-40
  position: main belt
  how: printed
- takes: K-1
  in: Larkfield LK-40
  position: volume knob
  how: guess
- takes: K-2
  in: Larkfield LK-40
  position: volume knob
  role: substitute
  how: printed
- takes: K-3
  in: Arden 1
  position: volume knob
  how: printed
- fits: Norvane 7
  position: dial glass
  to: Larkfield LK-40
  how: guess
- unit: U-1
  set: Larkfield LK-40
  role: donor
- unit: U-2
  set: Arden 1
  wants: [volume knob, dial glass]
- unit: U-3
  set: Quillon 31
  wants: [volume knob]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    facts = tmp_path / "facts"
    facts.mkdir()
    return folder_with(facts, [("facts.yaml", FACTS)])


def falls(certainties: list[float]) -> bool:
    assert len(set(certainties)) > 1
    return certainties == sorted(certainties, reverse=True)


def test_the_wants_that_a_set_would_meet(folder: Path, capsys: Any) -> None:
    _, found = ask(capsys, "--data", str(folder), "hunt", "Larkfield LK-40")
    [norvane] = found["answers"]
    assert list(norvane["wants"]) == ["dial glass", "volume knob", "main belt"]
    assert falls(list(norvane["wants"].values()))


def test_those_who_wait_for_what_a_unit_has(folder: Path, capsys: Any) -> None:
    _, found = ask(capsys, "--data", str(folder), "shelf", "U-1")
    [unit] = found["answers"]
    [knob] = [w for w in unit["waited for"] if w["position"] == "volume knob"]
    assert [w["unit"] for w in knob["for"]] == ["U-3", "U-2"]
    assert falls([w["certainty"] for w in knob["for"]])


def test_the_belts_of_a_family(folder: Path, capsys: Any) -> None:
    _, found = ask(capsys, "--data", str(folder), "belt", "family", "Arden 1", "main belt")
    assert [a["set"] for a in found["answers"]] == ["Larkfield LK-40", "Quillon 31", "Norvane 7", "Arden 1"]
    assert falls([a["certainty"] for a in found["answers"]])


def test_the_sets_that_take_a_belt_that_was_measured(folder: Path, capsys: Any) -> None:
    measured = ["--section", "square 1.25 mm", "--inside-length", "262 mm"]
    _, found = ask(capsys, "--data", str(folder), "belt", "find", *measured)
    assert found["answers"][0]["sets"] == ["Larkfield LK-40", "Quillon 31", "Norvane 7", "Arden 1"]


def test_what_a_page_shows_at_a_place(folder: Path, tmp_path: Path) -> None:
    assert run(["--data", str(folder), "book", str(tmp_path / "pages")]) == 0
    [page] = (tmp_path / "pages" / "positions").glob("volume*.html")
    text = re.sub(r"<[^>]*>", " ", page.read_text(encoding="utf-8"))
    told = [float(n) for n in re.findall(r"\b(\d\d) %", text)]
    assert falls(told)
    [page] = (tmp_path / "pages" / "sets").glob("larkfield*.html")
    text = page.read_text(encoding="utf-8")
    assert text.index("K-2") < text.index("K-1<")
