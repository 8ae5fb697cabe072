"""plan: what another unit counts on is left alone, told as possible, and taken only where that is allowed."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import click
import pytest

from kgraph.cli.main import run
from kgraph.questions import asked
from kgraph.reason.budget import Budget
from kgraph.shelf import plan as planner
from tests.support import ask, folder_with

FACTS = """\
- set: Larkfield LK-40
- set: Orvanek 2200
- rebadge: [Larkfield LK-40, Orvanek 2200]
  how: compared
- part: K-114
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: printed
- takes: D-9
  in: Larkfield LK-40
  position: dial glass
  how: printed
- part: D-9
- unit: U-01
  set: Larkfield LK-40
  role: patient
  wants: [volume knob]
- unit: U-02
  set: Larkfield LK-40
  role: patient
  wants: [volume knob]
"""
DONOR = "- unit: {0}\n  set: Larkfield LK-40\n  role: donor\n  state: {{volume knob: good}}\n"
OTHER = "- unit: {0}\n  set: Orvanek 2200\n  role: donor\n  state: {{volume knob: good}}\n"
STOCK = "- stock: K-114\n  count: {0}\n"


def shelf(tmp_path: Path, *more: str) -> list[str]:
    """The words that come before every command on this shelf."""
    return ["--data", str(folder_with(tmp_path, [("shelf.yaml", FACTS + "".join(more))]))]


def planned(capsys: Any, data: list[str], *words: str) -> tuple[list[str], list[dict[str, Any]]]:
    """The units that a plan takes from, and what is possible beside it."""
    _, answer = ask(capsys, *data, "plan", *words)
    assert answer["optimal"]
    return [line["unit"] for line in answer["lines"]], answer["possible"]


def test_the_only_one_that_another_unit_waits_for_is_told_and_not_planned(
    tmp_path: Path, capsys: Any
) -> None:
    data = shelf(tmp_path, DONOR.format("U-09"))
    lines, (possible,) = planned(capsys, data, "U-01")
    assert lines == []
    assert (possible["unit"], possible["position"], possible["certainty"]) == ("U-09", "volume knob", 1.0)
    assert possible["without"] == [{"unit": "U-02", "want": "volume knob"}]
    assert run([*data, "plan", "U-01"]) == 1
    said = capsys.readouterr().out
    assert "possible: U-09, Larkfield LK-40, volume knob, 100 %" in said
    assert "then nothing is left to give U-02 its volume knob; --rob U-02 allows it" in said
    assert "Caution, mains" in said


def test_rob_allows_it_for_the_unit_that_is_named(tmp_path: Path, capsys: Any) -> None:
    third = "- unit: U-03\n  set: Orvanek 2200\n  role: patient\n  wants: [volume knob]\n"
    data = shelf(tmp_path, DONOR.format("U-09"), third)
    assert planned(capsys, data, "U-01", "--rob", "U-02")[0] == []
    lines, possible = planned(capsys, data, "U-01", "--rob", "U-02", "--rob", "U-03")
    assert (lines, possible) == (["U-09"], [])
    run([*data, "plan", "U-01", "--rob", "U-02", "--rob", "U-03"])
    assert "U-02 counts on it: nothing else on the shelf could be its volume knob" in capsys.readouterr().out


def test_with_another_for_the_other_it_is_planned(tmp_path: Path, capsys: Any) -> None:
    assert planned(capsys, shelf(tmp_path, DONOR.format("U-09"), DONOR.format("U-10")), "U-01") == (
        ["U-09"],
        [],
    )


def test_units_of_one_plan_rob_each_other_of_nothing(tmp_path: Path, capsys: Any) -> None:
    data = shelf(tmp_path, DONOR.format("U-09"))
    assert planned(capsys, data, "U-01", "U-02") == (["U-09"], [])


def test_what_is_in_stock_counts(tmp_path: Path, capsys: Any) -> None:
    assert planned(capsys, shelf(tmp_path, STOCK.format(2)), "U-01") == (["stock"], [])
    lines, (possible,) = planned(capsys, shelf(tmp_path, STOCK.format(1)), "U-01")
    assert lines == []
    assert (possible["unit"], possible["part"]) == ("stock", "K-114")


def test_two_lines_together_leave_one(tmp_path: Path, capsys: Any) -> None:
    """Either of the two could be taken by itself; both would leave U-02 without."""
    third = "- unit: U-03\n  set: Larkfield LK-40\n  role: patient\n  wants: [volume knob]\n"
    data = shelf(tmp_path, DONOR.format("U-09"), DONOR.format("U-10"), third)
    lines, possible = planned(capsys, data, "U-01", "U-03")
    assert lines == ["U-09"]
    assert [(p["for"], p["unit"]) for p in possible] == [("U-03", "U-10")]
    assert planned(capsys, data, "U-01", "U-03", "--rob", "U-02")[0] == ["U-09", "U-10"]


def test_a_dearer_donor_is_taken_where_the_cheaper_one_is_counted_on(tmp_path: Path, capsys: Any) -> None:
    """U-02 wants the dial glass that U-09 alone still has, and the whole front would take it along."""
    front = (
        "- assembly: LF2 front\n  kind: front\n  positions: [front, dial glass, grille]\n"
        "- uses: LF2 front\n  in: Larkfield LK-40\n  certainty: 1\n"
        "- unit: U-05\n  set: Larkfield LK-40\n  role: patient\n  wants: [front]\n"
        "- unit: U-06\n  set: Larkfield LK-40\n  role: patient\n  wants: [dial glass]\n"
    )
    one = DONOR.format("U-09")
    data = shelf(tmp_path, front, one)
    lines, (possible,) = planned(capsys, data, "U-05")
    assert lines == []
    assert possible["brings"] == ["dial glass", "grille"]
    assert possible["without"] == [{"unit": "U-06", "want": "dial glass"}]
    two = DONOR.format("U-10").replace("{", "{front: broken, ") + "  keep: 9\n"
    assert planned(capsys, shelf(tmp_path, front, one, two), "U-05") == (["U-09"], [])


def test_a_unit_of_the_plan_is_no_comfort_for_others(tmp_path: Path, capsys: Any) -> None:
    """U-07 has a knob and no role; but it is itself planned for, so its own is not left for U-02."""
    own = "- unit: U-07\n  set: Larkfield LK-40\n  wants: [dial glass]\n  state: {volume knob: good}\n"
    data = shelf(tmp_path, own, DONOR.format("U-09"))
    assert planned(capsys, data, "U-01")[0] == ["U-07"]
    assert planned(capsys, data, "U-01", "U-07")[1][0]["without"][0]["unit"] == "U-02"


# Taken ----------------------------------------------------------------------------------------

SURER = (DONOR.format("U-09"), OTHER.format("U-10") + "  keep: 9\n")
"""Of two knobs that U-02 could have the plan takes the surer, which is cheaper too."""


def test_taking_what_is_the_surest_for_another_is_refused_without_a_terminal(
    tmp_path: Path, capsys: Any
) -> None:
    data = shelf(tmp_path, *SURER)
    before = (tmp_path / "shelf.yaml").read_bytes()
    assert run([*data, "plan", "U-01", "--take"]) == 2
    said = capsys.readouterr()
    assert "U-09, Larkfield LK-40, volume knob, for U-01 volume knob: U-02 counts on it" in said.err
    assert "nothing was written; --rob UNIT" in said.err
    assert (tmp_path / "shelf.yaml").read_bytes() == before
    assert run([*data, "plan", "U-01", "--take", "--rob", "U-02"]) == 0
    assert "written: " in capsys.readouterr().out


@pytest.mark.parametrize("answer", [True, False])
def test_on_a_terminal_it_asks(
    tmp_path: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch, answer: bool
) -> None:
    asked: list[str] = []

    def confirm(text: str, **_: object) -> bool:
        asked.append(text)
        return answer

    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr(click, "confirm", confirm)
    data = shelf(tmp_path, *SURER)
    assert run([*data, "plan", "U-01", "--take"]) == (0 if answer else 1)
    assert asked == ["take all of the plan?"]
    said = capsys.readouterr()
    assert "U-02 counts on it: it is the surest for its volume knob (100 %)" in said.err
    assert ("written: " in said.out) == answer


def test_on_a_terminal_nothing_is_asked_where_nothing_is_doubtful(
    tmp_path: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr(click, "confirm", lambda *_, **__: pytest.fail("asked"))
    data = shelf(tmp_path, DONOR.format("U-09"), DONOR.format("U-10"))
    assert run([*data, "plan", "U-01", "--take"]) == 0


@pytest.mark.parametrize(
    ("late", "says"),
    [
        (
            "_with_counting",
            "U-02 may count on it for its volume knob: the time was up before",
        ),
        ("_counted_on", "the time was up before all that other units want was looked at"),
    ],
)
def test_where_the_time_is_up_before_others_are_looked_at_nothing_is_taken(
    tmp_path: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch, late: str, says: str
) -> None:
    monkeypatch.setattr(asked, "ALWAYS_TOLD", 0)
    right = getattr(planner, late)

    def too_late(*given: Any) -> Any:
        monkeypatch.setattr(Budget, "over", property(lambda _: True))
        return right(*given)

    monkeypatch.setattr(planner, late, too_late)
    data = shelf(tmp_path, *SURER)
    assert run([*data, "plan", "U-01", "--take"]) == 2
    assert says in capsys.readouterr().err


def test_a_solver_that_takes_long_takes_nothing_of_the_time_to_look_at_others(
    tmp_path: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The solver is another process, and has a time of its own (`--seconds`)."""
    right = planner.best_plans

    def slow(*given: Any) -> Any:
        real = time.monotonic
        monkeypatch.setattr("time.monotonic", lambda: real() + 3600)
        return right(*given)

    monkeypatch.setattr(planner, "best_plans", slow)
    assert run([*shelf(tmp_path, *SURER), "plan", "U-01", "--take"]) == 2
    assert "U-02 counts on it" in capsys.readouterr().err


def test_a_unit_that_is_not_known_cannot_be_robbed(tmp_path: Path, capsys: Any) -> None:
    assert run([*shelf(tmp_path), "plan", "U-01", "--rob", "U-99"]) == 2
    assert "no unit is called 'U-99'" in capsys.readouterr().err
