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


# A unit where a set may stand -------------------------------------------------------------------

RUN = """\
- run: main belt
  in: Larkfield LK-40
  pulleys:
    - {name: motor, x: 0 mm, y: 0 mm, diameter: 9.2 mm, drives: yes}
    - {name: flywheel, x: 62 mm, y: 5 mm, diameter: 58 mm}
"""


def test_the_takers_of_what_a_unit_has_are_those_of_its_set(folder: Path, capsys: Any) -> None:
    status, of_unit = ask(capsys, "--data", str(folder), "takers", "D-1", "volume knob")
    _, of_set = ask(capsys, "--data", str(folder), "takers", "Larkfield LK-40", "volume knob")
    assert status == 0
    assert of_unit["answers"] == of_set["answers"]
    assert of_unit["question"]["unit"] == "D-1"


def test_what_was_put_in_a_unit_counts_and_is_said(folder: Path, capsys: Any) -> None:
    with (folder / "facts.yaml").open("a") as file:
        file.write("- takes: Z-9\n  in: Quillon 31\n  position: tone knob\n- stock: Z-9\n" + RUN)
        file.write("- part: SQ 1.4 x 250\n  kind: belt\n  section: square 1.4 mm\n  inside length: 250 mm\n")
        file.write("- stock: SQ 1.4 x 250\n")
    assert called(folder, "fit", "Z-9", "--to", "D-1", "--at", "volume knob") == 0
    assert called(folder, "fit", "SQ 1.4 x 250", "--to", "P-1", "--at", "main belt") == 0
    capsys.readouterr()
    _, found = ask(capsys, "--data", str(folder), "takers", "D-1", "volume knob")
    assert [a["set"] for a in found["answers"]] == ["Quillon 31"]
    assert found["notes"][0].startswith("At volume knob D-1 has Z-9 (")
    _, parts = ask(capsys, "--data", str(folder), "parts", "D-1", "volume knob")
    assert [a["part"] for a in parts["answers"]] == ["K-114"]
    assert parts["notes"][0].startswith("At volume knob D-1 has Z-9 (")
    _, path = ask(capsys, "--data", str(folder), "belt", "path", "P-1")
    assert (path["set"], path["section"]["sizes_mm"]) == ("Orvanek 2200", [1.4])
    _, fits = ask(capsys, "--data", str(folder), "belt", "fit", "SQ 1.25 x 262", "P-1")
    assert fits["set"] == "Orvanek 2200"


def test_a_unit_whose_set_is_not_known_is_refused_in_a_question(folder: Path, capsys: Any) -> None:
    with (folder / "facts.yaml").open("a") as file:
        file.write("- unit: X-1\n")
    assert called(folder, "parts", "X-1", "volume knob") == 2
    assert "its set is not known yet" in capsys.readouterr().err


# Not inspected is not good ----------------------------------------------------------------------

OLD = """\
- unit: D-2
  set: Orvanek 2200
  role: donor
  keep: 0
"""


def line_of(folder: Path, capsys: Any) -> dict[str, Any]:
    """The one line of the plan for P-1."""
    _, found = ask(capsys, "--data", str(folder), "plan", "P-1")
    (line,) = found["lines"]
    return dict(line)


def test_a_new_belt_comes_before_one_that_nobody_looked_at(folder: Path, capsys: Any) -> None:
    # The old belt is of the very set, and free to take; the new one is surely less than the same set's.
    with (folder / "facts.yaml").open("a") as file:
        file.write(OLD)
    line = line_of(folder, capsys)
    assert (line["unit"], line["part"], line["sound"]) == ("stock", "SQ 1.25 x 262", 1.0)
    assert line["certainty"] == line["goes"]


def test_what_nobody_looked_at_is_said_with_the_command_that_settles_it(folder: Path, capsys: Any) -> None:
    text = (
        (folder / "facts.yaml")
        .read_text()
        .replace("- stock: SQ 1.25 x 262\n  count: 1\n  where: drawer 4\n", "")
    )
    (folder / "facts.yaml").write_text(text + OLD)
    line = line_of(folder, capsys)
    assert (line["unit"], line["goes"], line["sound"], line["certainty"]) == ("D-2", 1.0, 0.2, 0.2)
    assert line["settle"] == "kgraph inspect D-2 'main belt' STATE"
    assert called(folder, "plan", "P-1") == 0
    said = capsys.readouterr()
    assert "nobody looked at it: goes there 100 %, sound 20 %" in said.out
    assert "`sound:` of a kind overrides it" in said.err
    assert called(folder, "inspect", "D-2", "main belt", "supple") == 0
    capsys.readouterr()
    line = line_of(folder, capsys)
    assert (line["sound"], line["certainty"], "settle" in line) == (1.0, 1.0, False)
    assert called(folder, "inspect", "D-2", "main belt", "good?") == 0
    capsys.readouterr()
    assert line_of(folder, capsys)["sound"] == 0.2


@pytest.mark.parametrize(
    ("entry", "sound"),
    [
        ("- kind: belt\n  sound: 0.5\n", 0.5),
        ("- kind: belt\n  perishable: no\n- position: main belt\n  perishable: no\n", 0.8),
        ("", 0.2),
    ],
)
def test_how_surely_it_is_sound_is_of_its_kind(entry: str, sound: float) -> None:
    assert graph_of(FACTS + entry).data.soundness("mainbelt", "belt") == sound
    assert graph_of(FACTS + entry).data.soundness("volumeknob", "knob") == 0.8
