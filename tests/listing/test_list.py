"""list: which things and facts match, what follows by the rules, and the tables in files."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from kgraph.cli.main import run
from kgraph.listing.conditions import condition
from kgraph.problems import WrongUse
from tests.support import ask, folder_with

FACTS = """\
- set: Larkfield LK-40
  years: 1981-1984
  mains: 240 V 50 Hz
- set: Orvanek 2200
  also: [OV 2200]
  years: "1983"
  mains: 220 V 50 Hz
- set: Quillon 31
  years: 1979-81
  remark: "=1+1"
- assembly: LT mechanism
  kind: tape mechanism
  positions: [main belt]
- part: K-114
  kind: knob
- part: B-7
  kind: belt
  section: square 1.2 mm
  inside diameter: 70 mm
- unit: U-07
  set: Orvanek 2200
- uses: LT mechanism
  in: Larkfield LK-40
  how: printed
  by: AK
- rebadge: [Larkfield LK-40, Orvanek 2200]
  how: compared
  by: EV
  date: 2026-03-01
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: fitted
  by: AK
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: reported
  by: EV
  date: 2025-11-30
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return folder_with(tmp_path, [("facts.yaml", FACTS)])


def rows(folder: Path, capsys: Any, *words: str) -> list[dict[str, Any]]:
    _, found = ask(capsys, "--data", str(folder), "list", *words)
    answers: list[dict[str, Any]] = found["answers"]
    return answers


def names(folder: Path, capsys: Any, what: str, *where: str) -> list[str]:
    each = [w for one in where for w in ("--where", one)]
    key = {"sets": "set", "units": "unit", "parts": "part", "assemblies": "assembly"}[what]
    return [row[key] for row in rows(folder, capsys, what, *each)]


@pytest.mark.parametrize(
    ("where", "expected"),
    [
        (["years=1983..1990"], ["Larkfield LK-40", "Orvanek 2200"]),
        (["years=..1980"], ["Quillon 31"]),
        (["years=1981"], ["Larkfield LK-40", "Quillon 31"]),
        (["mains=220V"], ["Orvanek 2200"]),
        (["mains="], ["Quillon 31"]),
        (["set=ov2200"], ["Orvanek 2200"]),
        (["years=1983", "mains=240"], ["Larkfield LK-40"]),
    ],
)
def test_sets_are_found_by_what_is_recorded(
    folder: Path, capsys: Any, where: list[str], expected: list[str]
) -> None:
    assert names(folder, capsys, "sets", *where) == expected


def test_what_follows_by_the_rules_is_listed_with_its_certainty(folder: Path, capsys: Any) -> None:
    # Printed is 0.95, compared 0.85: the second set stands on both facts.
    found = rows(folder, capsys, "sets", "--where", "assembly=LT mechanism")
    sure = {row["set"]: row["certainty by assembly"] for row in found}
    assert sure == {"Larkfield LK-40": pytest.approx(0.95), "Orvanek 2200": pytest.approx(0.95 * 0.85)}
    found = rows(folder, capsys, "sets", "--where", "assembly=LT mechanism", "--at-least", "0.9")
    assert [row["set"] for row in found] == ["Larkfield LK-40"]


def test_the_answers_for_a_part_are_those_of_takers(folder: Path, capsys: Any) -> None:
    _, takers = ask(capsys, "--data", str(folder), "takers", "K-114")
    expected = {a["set"]: a["certainty"] for a in takers["answers"]}
    found = rows(folder, capsys, "sets", "--where", "part=K-114")
    assert {row["set"]: row["certainty by part"] for row in found} == expected
    assert len(expected) == 2


def test_units_parts_and_assemblies_follow_too(folder: Path, capsys: Any) -> None:
    assert names(folder, capsys, "units", "part=K-114", "mains=220") == ["U-07"]
    assert names(folder, capsys, "units", "set=OV 2200") == ["U-07"]
    assert names(folder, capsys, "parts", "set=Orvanek 2200") == ["K-114"]
    assert names(folder, capsys, "assemblies", "set=Orvanek 2200") == ["LT mechanism"]


def test_parts_are_found_by_size(folder: Path, capsys: Any) -> None:
    # Round the inside of a ring of 70 mm: pi times 70 is 219.9 mm.
    assert names(folder, capsys, "parts", "inside length=219..221 mm") == ["B-7"]
    assert names(folder, capsys, "parts", "inside diameter=7 cm") == ["B-7"]
    assert names(folder, capsys, "parts", "section=..1.1 mm") == []


@pytest.mark.parametrize(
    ("where", "kinds"),
    [
        (["by=AK"], ["uses", "takes"]),
        (["by=EV", "date=2026"], []),
        (["by=EV", "date=2026.."], ["rebadge"]),
        (["by=AK", "grade=reported"], []),
        (["by=EV", "how=reported"], ["takes"]),
        (["file=facts.yaml", "kind=uses"], ["uses"]),
        (["position=volume knob", "certainty=0.5.."], ["takes"]),
        (["date=", "kind=takes"], ["takes"]),
    ],
)
def test_facts_are_found_by_one_saying_that_meets_all(
    folder: Path, capsys: Any, where: list[str], kinds: list[str]
) -> None:
    each = [w for one in where for w in ("--where", one)]
    assert [row["kind"] for row in rows(folder, capsys, "facts", *each)] == kinds


def test_facts_are_listed_with_all_evidence_that_matches(folder: Path, capsys: Any) -> None:
    found = rows(folder, capsys, "facts", "--where", "kind=takes")
    assert found[0]["by"] == ["AK", "EV"]
    assert found[0]["says"] == "Larkfield LK-40 at volume knob has K-114 as original"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["sets", "--where", "yeers=1981"], "did you mean years?"),
        (["sets", "--where", "years"], "write KEY=VALUE"),
        (["sets", "--where", "years=1984..1981"], "begins above its end"),
        (["sets", "--where", "years=old..new"], "is no range"),
        (["sets", "--where", "assembly=LT mechanisn"], "did you mean LT mechanism?"),
        (["sets", "--columns", "set,mainz"], "did you mean mains?"),
        (["sets", "--at-least", "0.5"], "assembly or part=NAME"),
        (["facts", "--where", "autor=AK"], "nothing here has the key"),
        (["sets", "-o", "sets.doc"], ".csv, .xlsx, .html"),
    ],
)
def test_what_is_not_known_is_told(folder: Path, capsys: Any, words: list[str], says: str) -> None:
    assert run(["--data", str(folder), "list", *words]) == 2
    assert says in capsys.readouterr().err


def test_nothing_found_has_status_1(folder: Path, capsys: Any) -> None:
    assert run(["--data", str(folder), "list", "sets", "--where", "years=1950"]) == 1
    assert "no set matches" in capsys.readouterr().err


def test_csv_and_workbook_hold_the_rows_and_no_formula(folder: Path, tmp_path: Path, capsys: Any) -> None:
    words = ["--data", str(folder), "list", "sets", "--columns", "set,years,remark"]
    assert run([*words, "-o", str(tmp_path / "sets.csv")]) == 0
    assert run([*words, "-o", str(tmp_path / "sets.xlsx")]) == 0
    with (tmp_path / "sets.csv").open(encoding="utf-8", newline="") as file:
        table = list(csv.reader(file))
    expected = [
        ["set", "years", "remark"],
        ["Larkfield LK-40", "1981-1984", ""],
        ["Orvanek 2200", "1983", ""],
    ]
    assert table == [*expected, ["Quillon 31", "1979-81", "'=1+1"]]
    sheet = openpyxl.load_workbook(tmp_path / "sets.xlsx").worksheets[0]
    cells = [["" if c.value is None else c.value for c in row] for row in sheet.iter_rows()]
    assert cells == [*expected, ["Quillon 31", "1979-81", "=1+1"]]
    assert sheet["C4"].data_type == "s"


def test_the_page_for_print_escapes_what_is_recorded(tmp_path: Path, capsys: Any) -> None:
    folder = folder_with(tmp_path, [("facts.yaml", FACTS + "- set: <b>Orvanek</b> 9\n")])
    assert run(["--data", str(folder), "list", "sets", "-o", str(tmp_path / "sets.html")]) == 0
    page = (tmp_path / "sets.html").read_text(encoding="utf-8")
    assert "&lt;b&gt;Orvanek&lt;/b&gt; 9" in page
    assert "<b>Orvanek" not in page
    assert "4 sets" in page


@pytest.mark.parametrize(
    ("text", "recorded", "met"),
    [
        ("x=70..75 mm", "7.2 cm", True),
        ("x=70 mm..75", "76 mm", False),
        ("x=50..65", "60 Shore A", True),
        ("x=50..65 Shore D", "60 Shore A", False),
        ("date=2026-03..2026-04", "2026-03-31", True),
        ("date=2026-03..2026-04", "2026-05-01", False),
        ("date=..2026", "2026-12-31", True),
        ("x=1978..1980", "about 1979", True),
        ("x=1978..1980", "1500 g", False),
    ],
)
def test_ranges(text: str, recorded: str, met: bool) -> None:
    assert condition(text).met_by(recorded) is met


def test_a_range_needs_an_end() -> None:
    assert condition("x=..").met_by("..")
    with pytest.raises(WrongUse, match="no range"):
        condition("x=a..b")


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (["parts", "--where", "kind=deck button"], ["K-1", "K-2"]),
        (["units", "--where", "wants=drive belt"], ["U-08"]),
        (["units", "--where", "state=wind tyre: worn"], ["U-07"]),
        (["units", "--where", "state=winding tyre"], ["U-07", "U-08"]),
        (["assemblies", "--where", "positions=wind tyre"], ["LT mechanism"]),
        (["facts", "--where", "grade=handled", "--columns", "by"], ["EV"]),
        (["facts", "--where", "how=touched", "--columns", "by"], ["EV"]),
    ],
    ids=lambda words: " ".join(words),
)
def test_a_thing_is_meant_by_any_of_its_names(
    words: list[str], found: list[str], tmp_path: Path, capsys: Any
) -> None:
    facts = (
        "- kind: tape knob\n  also: [deck button]\n- part: K-1\n  kind: deck button\n"
        "- part: K-2\n  kind: tape knob\n- part: K-3\n  kind: knob\n"
        "- position: winding tyre\n  also: [wind tyre]\n"
        "- grade: handled\n  also: [touched]\n  certainty: 0.9\n"
        "- assembly: LT mechanism\n  positions: [winding tyre]\n"
        "- unit: U-07\n  state: {wind tyre: worn}\n- unit: U-08\n  state: {wind tyre: good}\n"
        "  wants: [main belt]\n"
        "- takes: K-1\n  in: Larkfield LK-40\n  position: tone knob\n  how: touched\n  by: EV\n"
        "- takes: K-2\n  in: Quillon 31\n  position: tone knob\n  how: printed\n  by: MT\n"
    )
    _, answer = ask(capsys, "--data", str(folder_with(tmp_path, [("a.yaml", facts)])), "list", *words)
    assert [next(iter(row.values())) for row in answer["answers"]] == found
