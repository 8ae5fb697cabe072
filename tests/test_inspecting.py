"""inspect and fit: findings with their dates, loose parts put in, and what is refused."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from kgraph.checks import check_all
from kgraph.cli.main import run
from kgraph.shelf.ledger import shelf_now
from tests.support import ask, folder_with, graph_of, graph_of_folder

FACTS = """\
- set: Larkfield LK-40
- set: Orvanek 2200
- rebadge: [Larkfield LK-40, Orvanek 2200]
  how: fitted
- takes: SQ 1.25 x 262
  in: Larkfield LK-40
  position: main belt
- part: SQ 1.25 x 262
  kind: belt
  section: square 1.25 mm
  inside length: 262 mm
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
- unit: D-1
  set: Larkfield LK-40
  role: donor
- unit: P-1
  set: Orvanek 2200
  role: patient
  wants: [main belt]
- stock: SQ 1.25 x 262
  count: 1
  where: drawer 4
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A donor, a patient, one new belt."""
    return folder_with(tmp_path, [("facts.yaml", FACTS)])


def called(folder: Path, *words: str) -> int:
    """A command on the folder."""
    return run(["--data", str(folder), *words])


def test_a_finding_is_written_with_its_date_and_told_in_the_history(folder: Path, capsys: Any) -> None:
    said = ["--date", "2026-03-01", "--by", "EV", "--note", "edge chipped"]
    assert called(folder, "inspect", "D-1", "volume knob", "cracked", *said) == 0
    assert (folder / "bench.yaml").read_text() == (
        "- inspected: volume knob\n  of: D-1\n  state: cracked\n  by: EV\n  date: 2026-03-01\n"
        "  note: edge chipped\n"
    )
    out = capsys.readouterr().out
    assert "volume knob of D-1: cracked; not inspected before\nit gives nothing now\n" in out
    assert called(folder, "show", "D-1") == 0
    shown = capsys.readouterr().out
    assert "2026-03-01: volume knob of D-1 inspected: cracked (by EV, edge chipped)" in shown
    assert "volume knob: cracked" in shown


def test_of_two_findings_the_last_counts(folder: Path, capsys: Any) -> None:
    assert called(folder, "inspect", "D-1", "volume knob", "broken", "--date", "2026-03-01") == 0
    assert called(folder, "inspect", "D-1", "volume knob", "good", "--date", "2026-03-02") == 0
    assert "before: broken" in capsys.readouterr().out
    held = shelf_now(graph_of_folder(folder)).units["d1"].places["volumeknob"]
    assert (held.condition, held.usable, held.looked) == ("good", True, True)
    assert called(folder, "check") == 0


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["D-9", "volume knob", "good"], "no unit is called 'D-9'"),
        (["D-1", "volum knob", "good"], "did you mean volume knob?"),
        (["D-1", "volume knob", "good", "--date", "1.3.26"], "is not a date"),
        (["D-1", "volume knob", "good", "--cost", "4.50"], "has no currency"),
        (["D-1", "volume knob", "good", "--cost", "4.50 EUX"], "no currency of ISO 4217"),
        (["D-1", "volume knob", "good", "--hours", "long"], "hours"),
        (["D-1", "volume knob", ""], "empty"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_written(
    folder: Path, capsys: Any, words: list[str], says: str
) -> None:
    assert called(folder, "inspect", *words) == 2
    assert says in capsys.readouterr().err
    assert not (folder / "bench.yaml").exists()


def test_what_was_taken_cannot_be_found_good(folder: Path, capsys: Any) -> None:
    assert called(folder, "take", "volume knob", "--from", "D-1") == 0
    before = (folder / "bench.yaml").read_bytes()
    assert called(folder, "inspect", "D-1", "volume knob", "good") == 3
    assert "cannot be good: it was taken at" in capsys.readouterr().err
    assert (folder / "bench.yaml").read_bytes() == before
    assert called(folder, "inspect", "D-1", "volume knob", "missing") == 0


def test_a_want_that_was_met_is_open_again_when_what_met_it_is_found_spoilt() -> None:
    events = "- fitted: SQ 1.25 x 262\n  to: P-1\n  at: main belt\n"
    found = "- inspected: main belt\n  of: P-1\n  state: snapped\n"
    assert shelf_now(graph_of(FACTS + events)).units["p1"].wants == ()
    assert shelf_now(graph_of(FACTS + events + found)).units["p1"].wants == ("mainbelt",)


def test_a_belt_from_the_drawer_is_fitted_and_told_as_fitted(folder: Path, capsys: Any) -> None:
    assert called(folder, "fit", "SQ 1.25 x 262", "--to", "P-1", "--date", "2026-03-01") == 0
    assert (folder / "bench.yaml").read_text() == (
        "- fitted: SQ 1.25 x 262\n  to: P-1\n  at: main belt\n  date: 2026-03-01\n"
    )
    assert "SQ 1.25 x 262 from stock to P-1, at main belt; 0 left\n" in capsys.readouterr().out
    for words in (["show", "P-1"], ["sheet", "P-1"], ["shelf", "P-1"]):
        assert called(folder, *words) == 0
        out = capsys.readouterr().out
        assert "given back" not in out
        assert "fitted" in out
    shelf = shelf_now(graph_of_folder(folder))
    assert (list(shelf.stock.values()), shelf.units["p1"].wants, shelf.problems) == ([0], (), ())
    # The drawer is empty now.
    assert called(folder, "fit", "SQ 1.25 x 262", "--to", "P-1", "--at", "main belt") == 1
    assert "no SQ 1.25 x 262 is left in stock; nothing was written" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "status", "says"),
    [
        (["K-114", "--to", "P-1"], 1, "no K-114 is left in stock"),
        (["SQ 1.25 x 262", "--to", "P-9"], 2, "no unit is called"),
        (["SQ 1.25 x 262", "--to", "P-1", "--at", "main bellt"], 2, "did you mean main belt?"),
        (["SQ 1.25 x 99", "--to", "P-1"], 2, "no part is called"),
    ],
)
def test_what_cannot_be_fitted_is_refused(
    folder: Path, capsys: Any, words: list[str], status: int, says: str
) -> None:
    assert called(folder, "fit", *words) == status
    assert says in capsys.readouterr().err
    assert not (folder / "bench.yaml").exists()


def test_a_part_whose_place_nobody_knows_is_asked_for(folder: Path, capsys: Any) -> None:
    with (folder / "facts.yaml").open("a") as file:
        file.write("- stock: Z-9\n")
    assert called(folder, "fit", "Z-9", "--to", "P-1") == 2
    assert "say it with --at POSITION" in capsys.readouterr().err
    status, found = ask(capsys, "--data", str(folder), "fit", "Z-9", "--to", "P-1", "--at", "handle")
    assert (status, found["answers"][0]["standing"]) == (0, None)
    assert found["answers"][0]["warnings"] == ["no fact says that it goes on P-1, at handle"]
    assert {"mains", "charged capacitors"} <= found["caution texts"].keys()


def test_what_is_fitted_and_is_not_in_stock_is_warned_of() -> None:
    facts = FACTS + "- fitted: K-114\n  to: P-1\n  at: volume knob\n"
    assert [p.code for p in shelf_now(graph_of(facts)).problems] == ["stock-used-up"]


def test_a_finding_of_no_known_unit_and_an_unclear_word_are_checked() -> None:
    facts = FACTS + "- inspected: handle\n  of: D-7\n  state: good\n"
    facts += "- inspected: volume knob\n  of: D-1\n  state: broken off\n"
    graph = graph_of(facts)
    codes = {p.code for p in check_all(graph.data, graph)}
    assert {"unknown-unit", "unclear-condition"} <= codes
