"""Answers after a file was changed, where other entries say how it counts: they are those of the files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.support import ask, folder_with

FACTS = """\
- rebadge: [Larkfield LK-40, Orvanek 2200]
  how: compared
- rebadge: [Orvanek 2200, Quillon 31]
  how: compared
- set: Larkfield LK-40
  mains: 240 V 50 Hz
"""
DISTINCT = "- distinct: [Larkfield LK-40, Quillon 31]\n  how: {}\n"


@pytest.mark.parametrize(
    ("before", "after", "standing"),
    [
        (DISTINCT.format("guess"), DISTINCT.format("fitted"), "refused"),
        (DISTINCT.format("fitted"), DISTINCT.format("guess"), "disputed"),
        ("", DISTINCT.format("guess"), "disputed"),
        (DISTINCT.format("guess"), "", "inferred"),
    ],
    ids=["surer", "less sure", "new", "gone"],
)
def test_a_changed_distinct_counts_as_it_stands(
    before: str, after: str, standing: str, tmp_path: Path, capsys: Any
) -> None:
    folder = folder_with(tmp_path, [("facts.yaml", FACTS + before)])
    question = ["--data", str(folder), "sisters", "Larkfield LK-40", "--all"]
    ask(capsys, *question)
    folder_with(tmp_path, [("facts.yaml", FACTS + after)])
    _, answer = ask(capsys, *question)
    assert {a["set"]: a["standing"] for a in answer["answers"]}["Quillon 31"] == standing


def test_the_last_trust_counts_also_after_an_earlier_file_was_changed(tmp_path: Path, capsys: Any) -> None:
    takes = "- takes: K-114\n  in: Larkfield LK-40\n  position: volume knob\n  via: anna\n  how: {}\n"
    first, last = "- via: anna\n  trust: 0.6\n", "- via: anna\n  trust: 0.4\n"
    folder = folder_with(tmp_path, [("a.yaml", first + takes.format("photo")), ("b.yaml", last)])
    question = ["--data", str(folder), "takers", "K-114"]
    _, answer = ask(capsys, *question)
    assert answer["answers"][0]["certainty"] == pytest.approx(0.4 * 0.7)
    folder_with(tmp_path, [("a.yaml", first + takes.format("fitted"))])
    _, answer = ask(capsys, *question)
    assert answer["answers"][0]["certainty"] == pytest.approx(0.4 * 0.98)
