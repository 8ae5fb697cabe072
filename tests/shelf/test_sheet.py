"""sheet: what was found, done and fitted, on what evidence, as text, Markdown, HTML and JSON."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import html5lib
import pytest

from kgraph.cli.main import run
from tests.support import DEMO, ask, folder_with

FACTS = """\
- rebadge: [Larkfield LK-40, Orvanek 2200]
  except: [line socket]
  how: compared
  source: bench book
- fits: Quillon 31
  position: tone knob
  to: Orvanek 2200
  work: ream the bore
- set: Orvanek 2200
  mains: 220 V 50 Hz
- unit: D-1
  set: Larkfield LK-40
  state: {handle: scratched}
- unit: Q-1
  set: Quillon 31
- unit: P-1
  set: Orvanek 2200
  role: patient
  note: came with a letter
  state: {handle: missing, tone knob: missing, front: altered, play key: broken}
  wants: [handle, tone knob, speaker grille]
- position: handle
  caution: springs
- taken: handle
  from: D-1
  to: P-1
  owed: yes
  by: EV
  date: 2024-05-01
- taken: tone knob
  from: Q-1
  to: P-1
- taken: front screw
  from: Q-1
  to: P-1
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return folder_with(tmp_path, [("facts.yaml", FACTS)])


def test_the_sheet_as_text(folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    # From within, so that no line is broken for the length of a folder's name.
    monkeypatch.chdir(folder)
    assert run(["--data", ".", "sheet", "P-1"]) == 0
    said = capsys.readouterr().out
    said = re.sub(r"\n {4,8}(?=\S)", " ", said)
    for line in (
        "Job sheet of P-1\n================\n",
        "role: patient: is being restored\nmains: 220 V 50 Hz\nnote: came with a letter\n",
        "  springs: A spring under load flies off when it is let go.",
        "Local codes come before anything written here",
        "  handle: missing\n  tone knob: missing\n  front: altered\n  play key: broken\n",
        "  2024-05-01: handle taken from D-1, put in P-1, owed back (by EV)\n",
        "  handle: from D-1, the handle of Larkfield LK-40, scratched goes there: inferred, 85 %: (1)",
        "  (1) Larkfield LK-40 and Orvanek 2200 are one design, except line socket (85 %, compared, bench",
        "  tone knob: from Q-1, the tone knob of Quillon 31 goes there: stated, 60 %: (2) work: ream",
        "  [ ] wanted: speaker grille\n",
        "  [ ] owes D-1: handle",
        "  [ ] in doubt: front screw: no fact says that it goes there\n",
        "  [ ] in doubt: front: altered by somebody before: what is there is not what the set had\n",
    ):
        assert line in said, (line, said)


def test_where_it_stands_is_told_when_asked(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder)
    assert run(["--data", ".", "sheet", "P-1"]) == 0
    assert "facts.yaml:" not in capsys.readouterr().out
    assert run(["--data", ".", "sheet", "P-1", "--proof"]) == 0
    said = capsys.readouterr().out
    assert re.search(r"written in: facts.yaml:\d+\n", said)
    assert "bench book; facts.yaml:1)" in re.sub(r"\n +", " ", said)


def test_every_fact_stands_there_once(folder: Path, capsys: Any) -> None:
    more = "- taken: volume knob\n  from: D-1\n  to: P-1\n- taken: dial glass\n  from: D-1\n  to: P-1\n"
    (folder / "more.yaml").write_text(more)
    assert run(["--data", str(folder), "sheet", "P-1"]) == 0
    said = capsys.readouterr().out
    assert said.count("Larkfield LK-40 and Orvanek 2200 are one design") == 1
    assert said.count(": (1)\n") == 3


def test_money_and_hours_are_summed_by_currency(folder: Path, capsys: Any) -> None:
    more = (
        "- unit: P-1\n  cost: 20 GBP\n- stock: K-114\n- fitted: K-114\n  to: P-1\n  at: volume knob\n"
        "  cost: 4.50 EUR\n  hours: 0.5\n- inspected: record head\n  of: P-1\n  state: good\n  hours: 1.25\n"
        "- restored: handle\n  to: D-1\n  cost: 9 EUR\n- fitted: K-114\n  to: P-1\n  at: tone knob\n"
        "  cost: 0.75 EUR\n"
    )
    (folder / "more.yaml").write_text(more)
    assert run(["--data", str(folder), "sheet", "P-1"]) == 0
    said = capsys.readouterr().out
    assert "  the set itself: 20 GBP\n" in said
    assert "  K-114 fitted to P-1 as volume knob: 4.50 EUR, 0.5 hours\n" in said
    assert "  in all: 5.25 EUR, 20 GBP, 1.75 hours\n" in said
    _, found = ask(capsys, "--data", str(folder), "sheet", "P-1")
    assert (found["cost"], found["hours"], len(found["spent"])) == (["5.25 EUR", "20 GBP"], 1.75, 4)


def test_there_are_boxes_to_tick_and_lines_for_the_pen(folder: Path, capsys: Any) -> None:
    for form, box, line in (
        ("text", "[ ] ", "_" * 90),
        ("markdown", "- [ ] ", "---"),
        ("html", 'class="box"', 'class="pen"'),
    ):
        assert run(["--data", str(folder), "sheet", "P-1", "--to", form]) == 0
        said = capsys.readouterr().out
        assert (said.count(box), said.count(line)) >= (4, 4), form


def test_a_sheet_of_the_demo_is_valid_html_that_asks_for_nothing(tmp_path: Path, capsys: Any) -> None:
    target = tmp_path / "sheet.html"
    assert run(["--data", str(DEMO), "sheet", "U-05", "-o", str(target)]) == 0
    assert capsys.readouterr().out == f"written: {target}\n"
    page = target.read_text(encoding="utf-8")
    html5lib.HTMLParser(strict=True).parse(page)
    assert "default-src 'none'" in page
    assert not re.search(r"(?:src|href|action|url)\s*[=(]|@import|<script", page)


HOSTILE = "<img src=x onerror=alert(1)> *b* [c](javascript:d) \u202e"


def test_texts_of_the_data_stay_texts(tmp_path: Path, capsys: Any) -> None:
    facts = f'- unit: P-1\n  set: Orvanek 2200\n  state: {{handle: "{HOSTILE}"}}\n'
    words = ["--data", str(folder_with(tmp_path, [("facts.yaml", facts)])), "sheet", "P-1", "--to"]
    assert run([*words, "html"]) == 0
    page = capsys.readouterr().out
    tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(page)
    assert tree.findall(".//img") == []
    assert "\\u202e" in page
    assert run([*words, "markdown"]) == 0
    said = capsys.readouterr().out
    assert r"\<img src=x onerror=alert(1)\> \*b\* \[c\](javascript:d)" in said
    assert run([*words, "text"]) == 0
    assert "\u202e" not in capsys.readouterr().out


@pytest.mark.parametrize(
    ("name", "begins"),
    [("s.md", "# Job sheet"), ("s.txt", "Job sheet"), ("s.HTML", "<!doctype html>"), ("s", "Job sheet")],
)
def test_the_form_follows_the_name_of_the_file(folder: Path, name: str, begins: str) -> None:
    assert run(["--data", str(folder), "sheet", "P-1", "-o", str(folder / name)]) == 0
    assert (folder / name).read_text().startswith(begins)


def test_the_sheet_as_json(folder: Path, capsys: Any) -> None:
    status, found = ask(capsys, "--data", str(folder), "sheet", "P-1")
    fitted = {f["position"]: f for f in found["fitted"]}
    assert (status, found["unit"], len(found["done"])) == (0, "P-1", 3)
    assert (fitted["handle"]["from"], fitted["handle"]["certainty"]) == ("D-1", 0.85)
    assert fitted["tone knob"]["work"] == ["ream the bore"]
    assert (fitted["front screw"]["standing"], fitted["front screw"]["proof"]) == (None, [])
    assert found["open"]["wants"] == ["speaker grille"]
    assert set(found["cautions"]) == {"mains", "charged capacitors", "springs"}


def test_wrong_use(folder: Path, capsys: Any) -> None:
    assert run(["--data", str(folder), "sheet", "P-7"]) == 2
    assert "no unit is called 'P-7'" in capsys.readouterr().err
    assert run(["--data", str(folder), "sheet", "P-1", "-o", str(folder / "none" / "s.html")]) == 3
    assert "nothing was written" in capsys.readouterr().err
