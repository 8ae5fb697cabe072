"""The page to read before the back comes off, on paper: one side of A4 (ISO 216), in a real browser."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from tests.questions.test_faults import FOLDER
from tests.support import DEMO, folder_with


@pytest.mark.parametrize("of", ["U-1", "Orvanek 2200", "Quillon 31"])
def test_a_small_folder_is_one_side_of_a4(browser: Any, tmp_path: Path, of: str) -> None:
    folder = folder_with(tmp_path, [("a.yaml", FOLDER)])
    assert sides(browser, ["--data", str(folder), "arrive", of], tmp_path) == 1


@pytest.mark.parametrize("unit", ["U-01", "U-05", "U-11"])
def test_a_unit_of_the_demo_is_one_side_of_a4(browser: Any, tmp_path: Path, unit: str) -> None:
    assert sides(browser, ["--data", str(DEMO), "arrive", unit], tmp_path) == 1


def sides(browser: Any, command: list[str], tmp_path: Path) -> int:
    """How many sides of paper a page takes."""
    made = tmp_path / "arrival.html"
    assert run([*command, "-o", str(made)]) == 0
    page = browser.new_page()
    page.goto(made.as_uri())
    paper = page.pdf(prefer_css_page_size=True)
    page.close()
    return len(re.findall(rb"/Type\s*/Page\b", paper))
