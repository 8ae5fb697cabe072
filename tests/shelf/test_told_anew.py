"""What was taken back and happens again: the event counts, however it is recorded."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

import kgraph
from kgraph.cli.main import run
from tests.support import ask, folder_with

FACTS = """\
- set: Larkfield LK-40
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: printed
- unit: U-1
  set: Larkfield LK-40
  role: donor
- unit: U-2
  set: Larkfield LK-40
  role: patient
  wants: [volume knob]
- stock: K-114
  count: 5
"""
TAKE = ["take", "volume knob", "--from", "U-1", "--to", "U-2"]
FIT = ["fit", "K-114", "--to", "U-2"]
INSPECT = ["inspect", "U-2", "volume knob", "broken"]
ADD = ["add", "fitted", "K-114", "--to", "U-2", "--at", "volume knob", "--yes"]
PLAN = ["plan", "U-2", "--take"]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return folder_with(tmp_path, [("facts.yaml", FACTS)])


def history(folder: Path, capsys: Any) -> list[dict[str, Any]]:
    """The events of the unit that still count."""
    _, answer = ask(capsys, "--data", str(folder), "show", "U-2")
    found: list[dict[str, Any]] = answer["answers"][0]["history"]
    return found


@pytest.mark.parametrize("words", [TAKE, FIT, INSPECT, ADD, PLAN], ids=lambda words: words[0])
def test_an_event_that_happens_again_counts(words: list[str], folder: Path, capsys: Any) -> None:
    data, ids = ["--data", str(folder)], set()
    for _ in range(3):
        assert run([*data, *words]) == 0
        (event,) = history(folder, capsys)
        ids.add(event["id"])
        assert run([*data, "withdraw", event["id"], "--why", "not yet", "--yes"]) == 0
        assert history(folder, capsys) == []
    assert len(ids) == 3
    assert run([*data, "check"]) == 0


def test_it_is_recorded_again_with_another_way(folder: Path, capsys: Any) -> None:
    data = ["--data", str(folder)]
    assert run([*data, *FIT, "--date", "2026-03-01"]) == 0
    (event,) = history(folder, capsys)
    assert run([*data, "withdraw", event["id"], "--why", "not yet", "--yes"]) == 0
    kgraph.open(folder).add("fitted", "K-114", to="U-2", at="volume knob", date="2026-04-01")
    (event,) = history(folder, capsys)
    assert event["date"] == "2026-04-01"
    assert run([*data, "correct", event["id"], "date", "2026-04-02", "--yes"]) == 0
    (event,) = history(folder, capsys)
    assert event["date"] == "2026-04-02"
    _, shelf = ask(capsys, *data, "shelf")
    assert shelf["stock"][0]["count"] == 4


def test_the_first_time_needs_no_id(folder: Path) -> None:
    assert run(["--data", str(folder), *TAKE]) == 0
    assert (folder / "bench.yaml").read_text() == "- taken: volume knob\n  from: U-1\n  to: U-2\n"


@pytest.mark.parametrize(
    "words", [["withdraw", "{}", "--why", "x"], ["correct", "{}", "by", "EV"]], ids=lambda words: words[0]
)
def test_that_several_events_go_together_is_told(words: list[str], folder: Path, capsys: Any) -> None:
    data = ["--data", str(folder)]
    for date in ("2026-03-01", "2026-04-01"):
        assert run([*data, *INSPECT, "--date", date]) == 0
    one = history(folder, capsys)[0]["id"]
    assert run([*data, *(w.format(one) for w in words), "--yes"]) == 0
    said = capsys.readouterr().err
    assert "warning: it happened 2 times, and all of them are taken back: " in said
    assert f"{folder}/bench.yaml:1:3, {folder}/bench.yaml:5:3" in said
