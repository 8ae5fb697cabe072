"""Faults in the small size: each figure holds, and fails against a build with one safety taken out.

The figures are those of `python -m tests.faults`; here each runs as far as a few seconds allow.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from tests.faults import __main__ as faults
from tests.faults.tally import Tally
from tests.support import tried

FIGURES = ("kill", "power", "errors", "full", "writers", "signals", "cache", "years")
BROKEN = [
    ("kill", "in_place"),
    ("kill", "no_cleaning"),
    ("power", "no_fsync"),
    ("errors", "errors_swallowed"),
    ("errors", "errors_raw"),
    ("full", "in_place"),
    ("writers", "no_lock"),
    ("writers", "no_compare"),
    ("writers", "no_cleaning"),
    ("signals", "deaf"),
    ("cache", "index_believed"),
    ("cache", "any_version"),
    ("years", "in_place"),
    ("years", "no_cleaning"),
    ("years", "no_fsync"),
]


@pytest.mark.slow
@pytest.mark.parametrize("name", FIGURES)
def test_every_fault_happens_and_is_survived(name: str) -> None:
    tally = tried(faults.run, name)
    assert tally.wrong == []
    assert tally.injected == tally.happened == tally.survived > 0


@pytest.mark.slow
@pytest.mark.parametrize(("name", "broken"), BROKEN)
def test_a_build_without_a_safety_is_found_out(name: str, broken: str) -> None:
    tally = tried(faults.run, name, broken)
    assert tally.wrong
    assert not tally.holds


def test_a_fault_that_did_not_happen_is_no_success() -> None:
    tally = Tally()
    tally.count("none", happened=False, complaint="")
    assert (tally.injected, tally.happened, tally.survived, tally.holds) == (1, 0, 0, False)
    assert not Tally().holds


def test_init_goes_on_where_it_was_cut_off(tmp_path: Path, capsys: Any) -> None:
    folder, whole = tmp_path / "mine", tmp_path / "whole"
    assert run(["init", str(folder), "--demo"]) == run(["init", str(whole), "--demo"]) == 0
    (folder / "belts.yaml").unlink()
    (folder / ".kgraph-4194305-0123456789ab.tmp").write_bytes(b"- se")
    assert run(["init", str(folder), "--demo"]) == 0
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == {
        p.name: p.read_bytes() for p in whole.iterdir()
    }


@pytest.mark.parametrize("change", ["edited", "another", "all there"])
def test_init_does_not_go_on_in_a_folder_that_is_used(change: str, tmp_path: Path, capsys: Any) -> None:
    folder = tmp_path / "mine"
    assert run(["init", str(folder), "--demo"]) == 0
    if change == "edited":
        (folder / "belts.yaml").write_text("- set: Arden 12\n", encoding="utf-8")
    if change == "another":
        (folder / "belts.yaml").rename(folder / "mine.yaml")
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    assert run(["init", str(folder), "--demo"]) == 3
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before
