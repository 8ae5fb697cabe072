"""donors SET -o FILE: places down, own units across, as one page for print."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import html5lib
import pytest

from kgraph.cli.main import run
from tests.support import caution_of_the_trade, folder_with

FACTS = """\
- rebadge: [Larkfield LK-40, Orvanek 2200]
  certainty: 0.9
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
- takes: F-1
  in: Larkfield LK-40
  position: mains fuse
- rebadge: [Larkfield LK-40, Quillon 31]
  certainty: 0.5
- unit: U-10
  set: Orvanek 2200
  role: donor
  state: {volume knob: good}
- unit: U-2
  set: Larkfield LK-40
  role: donor
  state: {volume knob: cracked}
- unit: U-3
  set: Larkfield LK-40
  role: keep
"""


def cells(page: str) -> list[list[str]]:
    """The rows of the table, each cell as its words."""
    tree = html5lib.parse(page, namespaceHTMLElements=False)
    rows = tree.findall(".//tr")
    return [[" ".join(" ".join(c.itertext()).split()) for c in row if c.tag in ("td", "th")] for row in rows]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three sets of one design, two units that may be opened."""
    return folder_with(tmp_path, [("facts.yaml", FACTS)])


def test_the_grid_says_what_each_unit_gives(folder: Path, capsys: Any) -> None:
    target = folder / "grid.html"
    assert run(["--data", str(folder), "donors", "Larkfield LK-40", "volume knob", "-o", str(target)]) == 0
    assert capsys.readouterr().out == f"written: {target}\n"
    page = target.read_text()
    html5lib.HTMLParser(strict=True).parse(page)
    assert cells(page) == [
        ["place", "U-2 Larkfield LK-40", "U-10 Orvanek 2200", "best set besides"],
        ["volume knob", "cracked", "90 % good", "Quillon 31 50 %"],
    ]


def test_what_nobody_looked_at_and_the_mains_side_are_said(folder: Path) -> None:
    target = folder / "grid.html"
    assert run(["--data", str(folder), "donors", "Larkfield LK-40", "-o", str(target)]) == 0
    page = target.read_text()
    rows = {row[0]: row[1:] for row in cells(page)}
    assert rows["mains fuse caution: mains"][:2] == ["80 % not inspected", "72 % not inspected"]
    assert f"<bdi>{caution_of_the_trade('mains')}</bdi>" in page


def test_another_form_is_refused(folder: Path, capsys: Any) -> None:
    assert run(["--data", str(folder), "donors", "Larkfield LK-40", "-o", str(folder / "g.pdf")]) == 2
    assert "name it like donors.html" in capsys.readouterr().err
