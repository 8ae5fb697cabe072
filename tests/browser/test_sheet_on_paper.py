"""A job sheet on paper, in a real browser: one side of A4 (ISO 216: 210 mm by 297 mm) for a common job."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from tests.support import DEMO, folder_with

JOB = """\
- unit: U-05
  set: Halvingarth 720
  cost: 35 EUR
- stock: K-114
  count: 3
- fitted: K-114
  to: U-05
  at: tone knob
  date: 2026-03-02
  cost: 4.50 EUR
  hours: 0.5
- inspected: record head
  of: U-05
  state: good
  date: 2026-03-02
- taken: cassette door
  from: U-04
  to: U-05
  by: EV
  date: 2026-03-03
- taken: play key
  from: U-04
  to: U-05
  date: 2026-03-03
  hours: 1
"""


@pytest.mark.parametrize("more", ["", JOB])
def test_a_common_job_is_one_side_of_a4(browser: Any, tmp_path: Path, more: str) -> None:
    folders = ["--data", str(DEMO)]
    folders += ["--data", str(folder_with(tmp_path, [("more.yaml", more)]))] if more else []
    sheet = tmp_path / "sheet.html"
    assert run([*folders, "sheet", "U-05", "-o", str(sheet)]) == 0
    page = browser.new_page()
    page.goto(sheet.as_uri())
    paper = page.pdf(prefer_css_page_size=True)
    page.close()
    # A PDF names each page object and its size in points; 210 mm are 595.28, 297 mm 841.89 points.
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) == 1
    width, height = re.findall(rb"/MediaBox\s*\[\s*0\s+0\s+([\d.]+)\s+([\d.]+)", paper)[0]
    assert (abs(float(width) - 595.28) < 1, abs(float(height) - 841.89) < 1) == (True, True)
