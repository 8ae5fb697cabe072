"""What several tests need: a folder from text, and a command run as its user runs it."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest

from kgraph import trade
from kgraph.cli.main import run
from kgraph.fits.graph import Graph
from kgraph.folder import reading, schema
from kgraph.source import memory
from tests.faults.tally import Tally

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "data"


def caution_of_the_trade(name: str) -> str:
    """The text of a caution of the trade's ground, in which a name is its own key."""
    return trade.cautions()[name.replace(" ", "")].text


def graph_of(text: str) -> Graph:
    """The graph of facts written as YAML; they must be without errors."""
    entries, problems = schema.entries_of(text.encode(), "facts.yaml")
    errors = [p for p in problems if p.severity == "error"]
    assert not errors, errors
    return memory.held(entries)


def graph_of_folder(folder: Path) -> Graph:
    """The graph of a folder of facts."""
    return memory.held(e for read in reading.read_folder(folder) for e in schema.check_file(read)[0])


def ask(capsys: Any, *words: str) -> tuple[int, dict[str, Any]]:
    """Run a command with --json: its exit status and its object."""
    capsys.readouterr()
    status = run([*words, "--json"])
    out = capsys.readouterr().out
    return status, json.loads(out) if out else {}


def places(answer: dict[str, Any]) -> list[tuple[str, str]]:
    """The (set, position) pairs of an answer, sorted."""
    return sorted((a["set"], a["position"]) for a in answer["answers"])


def tried(run: Callable[[str, str, str], Tally], name: str, broken: str = "") -> Tally:
    """One figure in the small size; the test is left out where the machine does not allow it."""
    tally = run(name, "small", broken)
    if tally.skipped:
        pytest.skip(tally.skipped)
    return tally


def folder_with(tmp_path: Path, files: Iterable[tuple[str, str]]) -> Path:
    """A folder with these files."""
    for name, text in files:
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path
