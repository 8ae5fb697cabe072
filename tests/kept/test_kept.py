"""Folders of every version are read as that version read them. They and their answers are never changed.

The certainties were worked out by hand: printed 0.95, compared 0.85, reported 0.6; by two facts their
product; what came by somebody trusted 0.5 counts half.
"""

from __future__ import annotations

import json
import shlex
from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from tests.support import ROOT, ask

KEPT = sorted(path.parent for path in (ROOT / "tests" / "kept").glob("*/answers.json"))


def test_a_folder_is_kept_of_each_version() -> None:
    assert [folder.name for folder in KEPT] == ["0.1", "0.2"]


@pytest.mark.parametrize("folder", KEPT, ids=lambda folder: folder.name)
def test_a_kept_folder_gives_the_answers_of_its_time(folder: Path, capsys: Any) -> None:
    expected = json.loads((folder / "answers.json").read_text(encoding="utf-8"))
    for words, rows in expected.items():
        _, found = ask(capsys, "--data", str(folder), *shlex.split(words))
        assert len(found["answers"]) == len(rows), words
        for answer, row in zip(found["answers"], rows, strict=True):
            certain = {key: pytest.approx(value) for key, value in row.items() if key == "certainty"}
            assert {key: answer[key] for key in row} == {**row, **certain}, words


@pytest.mark.parametrize("folder", KEPT, ids=lambda folder: folder.name)
def test_a_kept_folder_has_no_error(folder: Path, capsys: Any) -> None:
    assert run(["--data", str(folder), "check"]) == 0
