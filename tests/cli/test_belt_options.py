"""Belt commands: measures that are about, tolerances, pulls, what is left out, what is supposed, widths."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from kgraph.belt_sizes import section
from kgraph.belts import runs
from kgraph.belts.identify import Hypothesis, candidates, measured
from kgraph.belts.recorded import run_of
from kgraph.belts.runs import BeltRun, LooseMeasure, RunPulley
from kgraph.cli.belting import run_picture
from kgraph.cli.main import run
from kgraph.cli.settings import Settings
from kgraph.render import belt_changes
from kgraph.render import run_picture as picture
from kgraph.render.terminal import width
from tests.support import DEMO, ask, folder_with, graph_of, graph_of_folder

HERE = ["--data", str(DEMO)]
NO_SOURCE = "common practice, no source"
FIND = ("find", "--section", "square 1.6 mm", "--inside-length", "226 mm")
EVERY = (
    ("path", "Kazumorei KZR-8"),
    ("fit", "SQ 1.3 x 73 ID", "Kazumorei KZR-8"),
    ("family", "Teskilda 380"),
    (*FIND, "--worn"),
    ("speed", "Teskilda 380", "--tone", "3150", "--heard", "3000"),
)


def said(capsys: Any, *words: str) -> tuple[int, str, str]:
    """Exit status, standard output, standard error."""
    capsys.readouterr()
    status = run([*HERE, "belt", *words])
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return status, out, err


# About ----------------------------------------------------------------------------------------


def test_about_widens_the_error_of_what_was_measured(capsys: Any) -> None:
    _, plain = ask(capsys, *HERE, "belt", *FIND)
    words = ("find", "--section", "square about 1.6 mm", "--inside-length", "about 226 mm")
    _, about = ask(capsys, *HERE, "belt", *words)
    assert plain["question"]["length_error_mm"] == pytest.approx(2.26)
    assert about["question"]["length_error_mm"] == pytest.approx(0.03 * 226)
    assert about["question"]["section_error_mm"] == pytest.approx(0.2)
    assert about["answers"][0]["probability"] < plain["answers"][0]["probability"]
    assumed = {a["what"]: a for a in about["assumed"]}
    assert assumed["inside length, about"]["value"] == "± 6.78 mm"
    assert all(NO_SOURCE in a["source"] for a in about["assumed"])
    assert not any("about" in a["what"] for a in plain["assumed"])
    # An error that is given holds, whatever `about` says.
    _, given = ask(capsys, *HERE, "belt", *words, "--length-error", "1 mm", "--section-error", "0.1 mm")
    assert given["question"]["length_error_mm"] == 1.0
    assert not any(", about" in a["what"] for a in given["assumed"])


def test_the_error_of_a_recorded_belt_adds_to_that_of_the_measurement() -> None:
    cut = section("square 1.2 mm")
    loose = [Hypothesis("a", cut, 200.0, 3.0), Hypothesis("b", cut, 210.0)]
    tight = [Hypothesis("a", cut, 200.0), Hypothesis("b", cut, 210.0)]
    seen = measured(cut, 206.0, length_error_mm=4.0)
    one, other = ({c.key: c.probability for c in candidates(seen, hs)} for hs in (loose, tight))
    # By hand: errors of 3 and 4 mm together are 5 mm.
    ratio = math.exp(-0.5 * (6 / 5) ** 2) / 5 / (math.exp(-0.5 * (4 / 4) ** 2) / 4)
    assert one["a"] / one["b"] == pytest.approx(ratio)
    assert one["a"] > other["a"]


ABOUT = """
- part: A
  kind: belt
  section: square 1.2 mm
  inside length: about 200 mm
- run: main belt
  in: Larkfield LK-40
  pulleys:
    - {name: motor, x: 0 mm, y: 0 mm, diameter: 20 mm, drives: yes}
    - {name: flywheel, x: about 80 mm, y: 0 mm, diameter: 20 +- 0.5 mm}
  pull: 40 g cm
- takes: A
  in: Larkfield LK-40
  position: main belt
"""


def test_about_in_a_record_is_carried_to_the_stretch_and_named(capsys: Any, tmp_path: Path) -> None:
    data = ["--data", str(folder_with(tmp_path, [("f.yaml", ABOUT)]))]
    _, path = ask(capsys, *data, "belt", "path", "Larkfield LK-40")
    # Two equal pulleys: the path grows by twice the distance, and by half a turn for each pulley's radius.
    wanted = math.hypot(2 * 2.4, math.pi / 2 * 0.5)
    assert path["path_error_mm"] == pytest.approx(wanted, rel=1e-6)
    assert any(a["what"] == "x of flywheel, about" and a["value"] == "± 2.4 mm" for a in path["assumed"])
    _, fit = ask(capsys, *data, "belt", "fit", "A", "Larkfield LK-40")
    rest, length = 200 + math.pi * 1.2, 160 + math.pi * 21.2
    error = math.hypot(wanted / length, 6.0 / rest) * length / rest
    assert fit["stretch_range"] == pytest.approx([length / rest - 1 - error, length / rest - 1 + error])
    assert any(a["what"] == "inside length, about" for a in fit["assumed"])
    _, found = ask(capsys, *data, "belt", "find", "--section", "square 1.2 mm", "--folded", "100 mm")
    assert any(a["value"] == "1 belt has a size that is about" for a in found["assumed"])
    _, family = ask(capsys, *data, "belt", "family", "Larkfield LK-40")
    assert any(a["what"] == "sizes of A" for a in family["assumed"])


def test_where_a_measure_cannot_shrink_the_other_side_is_looked_at() -> None:
    touching = BeltRun(
        (RunPulley("a", 0, 0, 20), RunPulley("i", 50, -20, 20, side="outside"), RunPulley("b", 100, 0, 20)),
        loose=(LooseMeasure(1, "y", 0.2), LooseMeasure(1, "diameter", 0.2)),
    )
    assert 0 <= runs.path_error_mm(touching, 0.0) < 1e-3
    assert runs.path_error_mm(BeltRun(touching.pulleys), 0.0) == 0.0


# Pull -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pull", "shaft"),
    [("40 g cm", "flywheel"), ("40 g cm at flywheel", "flywheel"), ("40 g cm at Motor", "motor")],
)
def test_the_pull_is_the_torque_of_the_named_shaft_or_else_of_the_driven_one(
    capsys: Any, tmp_path: Path, pull: str, shaft: str
) -> None:
    text = ABOUT.replace("pull: 40 g cm", f"pull: {pull}").replace("20 +- 0.5 mm", "30 mm")
    data = ["--data", str(folder_with(tmp_path, [("f.yaml", text)]))]
    _, fit = ask(capsys, *data, "belt", "fit", "A", "Larkfield LK-40")
    radius = {"motor": 10.6, "flywheel": 15.6}[shaft]
    # 40 g cm is 40 times 9.80665e-5 N m (standard gravity).
    assert fit["pull_needed_N"] == pytest.approx(40 * 9.80665e-5 / radius * 1000)
    assert any(f"the load at {shaft} needs" in r for r in fit["reasons"])
    assert any(a["what"] == "shaft of the pull" for a in fit["assumed"]) == (" at " not in pull)


def test_a_pull_at_no_pulley_is_not_compared_and_the_pulleys_are_named(capsys: Any, tmp_path: Path) -> None:
    for at, severity in (("take-up", "warnings"), ("flywheal", "errors")):
        folder = folder_with(tmp_path, [("f.yaml", ABOUT.replace("40 g cm", f"40 g cm at {at}"))])
        _, fit = ask(capsys, "--data", str(folder), "belt", "fit", "A", "Larkfield LK-40")
        assert fit["pull_needed_N"] is None
        assert any(at in r and "motor, flywheel" in r for r in fit["reasons"])
        _, checked = ask(capsys, "--data", str(folder), "check")
        found = [p for p in checked[severity] if p["code"] == "unknown-pulley"]
        assert len(found) == 1
        assert "flywheel" in str(found[0])


def test_two_runs_that_differ_in_the_shaft_of_the_pull_are_two_facts() -> None:
    one, other = (graph_of(ABOUT.replace("40 g cm", f"40 g cm at {at}")) for at in ("motor", "flywheel"))
    ids = [{f.id for f in g.data.facts.values() if f.kind == "run"} for g in (one, other)]
    assert ids[0].isdisjoint(ids[1])
    run_fact = next(f.record for f in other.data.facts.values() if f.kind == "run")
    assert run_of(run_fact).pull_at == "flywheel"  # type: ignore[arg-type]


def test_every_fault_of_a_run_is_said(capsys: Any, tmp_path: Path) -> None:
    text = ABOUT.replace("diameter: 20 mm, drives: yes", "diameter: 0 mm, drives: yes, rpm: -3")
    folder = folder_with(tmp_path, [("f.yaml", text.replace("x: about 80 mm", "x: 80"))])
    capsys.readouterr()
    assert run(["--data", str(folder), "check"]) == 1
    told = capsys.readouterr().out
    assert "from 0.5 to 500 mm" in told
    assert "from 1 to 30000" in told
    assert "did you mean 80 mm?" in told


# Tolerances -----------------------------------------------------------------------------------


def test_what_a_belt_as_sold_may_be_off_stands_with_path_and_fit(capsys: Any) -> None:
    _, path = ask(capsys, *HERE, "belt", "path", "Kazumorei KZR-8")
    sold = path["as_sold"]
    # ISO 3302-1 Table 1, M3 fixed by the mould: 1.6 mm ± 0.25; some 72 mm across ± 1.00, times π round.
    assert (sold["class"], sold["thickness_plus_minus_mm"]) == ("M3", 0.25)
    assert sold["length_plus_minus_mm"] == pytest.approx(math.pi)
    assert path["window_mm"][0] < sold["window_mm"][0] < sold["window_mm"][1] < path["window_mm"][1]
    _, fit = ask(capsys, *HERE, "belt", "fit", "SQ 1.3 x 73 ID", "Kazumorei KZR-8", "--tolerance", "e1")
    # The table of extrusions has 0.15 mm for 1.3 mm in E1, and nothing for the cut length.
    assert (fit["as_sold"]["class"], fit["as_sold"]["thickness_plus_minus_mm"]) == ("E1", 0.15)
    assert fit["as_sold"]["length_plus_minus_mm"] is fit["as_sold"]["stretch"] is None
    assert any("sold to class E1" in r for r in fit["reasons"])
    assert not any(a["what"] == "class of tolerance" for a in fit["assumed"])


def test_a_tape_speed_stands_beside_the_tolerance_and_its_source(capsys: Any) -> None:
    """DIN 45500 by way of tonbandmuseum.info: mean speed within 1.5 %."""
    for belt, within in (("SQ 1.6 x 226", True), ("SQ 1.3 x 73 ID", False)):
        _, fit = ask(capsys, *HERE, "belt", "fit", belt, "Kazumorei KZR-8")
        assert fit["tape_speed_within"] is within is (abs(fit["tape_speed_error"]) <= 0.015)
        assert fit["speed_tolerance"]["fraction"] == 0.015
        assert "DIN 45500" in fit["speed_tolerance"]["source"]
        _, out, _ = said(capsys, "fit", belt, "Kazumorei KZR-8")
        row = next(line for line in out.splitlines() if line.startswith("tape speed error"))
        assert ("within 1.5 % (DIN 45500)" in row) is within
        assert ("adjust the motor" in out) is not within
    _, speed = ask(capsys, *HERE, "belt", "speed", "Teskilda 380", "--tone", "3150", "--heard", "3000")
    assert "DIN 45500" in speed["speed_tolerance"]["source"]


# Thickness ------------------------------------------------------------------------------------


def test_a_thickness_of_its_own_keeps_the_form_of_the_recorded_section(capsys: Any) -> None:
    _, square = ask(capsys, *HERE, "belt", "path", "Kazumorei KZR-8", "--thickness", "1.2 mm")
    _, same = ask(capsys, *HERE, "belt", "path", "Kazumorei KZR-8", "--section", "square 1.2 mm")
    assert square["path_mm"] == same["path_mm"]
    _, flat = ask(capsys, *HERE, "belt", "path", "Hidzumara HZ-340", "--thickness", "0.6 mm")
    assert flat["section"] == {"form": "flat", "sizes_mm": [4.0, 0.6]}


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--thickness", "1.2"), "did you mean 1.2 mm?"),
        (("--thickness", "0 mm"), "from 0.2 to 20 mm"),
        (("--thickness", "-1 mm"), "negative"),
        (("--thickness", "nan mm"), "not a number"),
        (("--thickness", "3 in"), "from 0.2 to 20 mm"),
        (("--thickness", "1 mm", "--section", "square 1 mm"), "given twice"),
        (("--thickness", "5 mm"), "4 mm wide"),
        (("--tolerance", "M9"), "M1, M2, M3, M4, E1, E2, E3"),
    ],
)
def test_a_thickness_or_class_that_cannot_be_is_wrong_use(
    capsys: Any, words: tuple[str, ...], says: str
) -> None:
    status, _, err = said(capsys, "path", "Hidzumara HZ-340", *words)
    assert (status, says in err) == (2, True), err


def test_a_hardness_outside_the_range_of_the_relation_carries_a_warning(capsys: Any, tmp_path: Path) -> None:
    """Gent (1958) holds from 20 to 80 Shore A (from memory)."""
    for hardness, warned in (("80 Shore A", False), ("90 Shore A", True), ("15 IRHD", True)):
        text = (
            f"- part: A\n  kind: belt\n  section: square 1.6 mm\n  folded: 113 mm\n  hardness: {hardness}\n"
        )
        folder = folder_with(tmp_path, [("f.yaml", text)])
        _, fit = ask(capsys, *HERE, "--data", str(folder), "belt", "fit", "A", "Kazumorei KZR-8")
        assert any("outside 20 to 80" in r for r in fit["reasons"]) is warned


# Left out, supposed ---------------------------------------------------------------------------


@pytest.mark.parametrize("words", EVERY)
def test_what_is_less_certain_than_asked_for_is_counted(capsys: Any, words: tuple[str, ...]) -> None:
    _, out, err = said(capsys, *words, "--at-least", "0.96")
    assert re.search(r"^\d+ (run|belt|place|set)s? .*less certain than 0\.96.*left out", out + err, re.M)
    _, out, err = said(capsys, *words)
    assert "left out" not in out + err


SUPPOSED = "{takes: SQ 1.3 x 73 ID, in: Kazumorei KZR-8, position: main belt, how: fitted}"


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (EVERY[1], "different: compared with: SQ 1.6 x 226, then SQ 1.3 x 73 ID"),
        (EVERY[2], "gained: Kazumorei KZR-8, SQ 1.3 x 73 ID: stated"),
        (EVERY[2], "lost: Kazumorei KZR-8, SQ 1.6 x 226"),
        (FIND, "gained: SQ 1.3 x 73 ID in Kazumorei KZR-8: takes it"),
        (("path", "Kazumorei KZR-8"), "different: path: 246.5 mm, then"),
        (EVERY[4], "different: belt thickness that would explain it: 1.00 mm, then 0.72 mm"),
    ],
)
def test_what_a_supposed_fact_changes_is_said(capsys: Any, words: tuple[str, ...], line: str) -> None:
    status, out, err = said(capsys, *words, "--suppose", SUPPOSED)
    assert status == 0
    assert "Supposed only: nothing is written." in err
    assert line in out
    _, found = ask(capsys, *HERE, "belt", *words, "--suppose", SUPPOSED)
    assert set(found["changed"]) == {"gained", "lost", "different"}
    _, plain = ask(capsys, *HERE, "belt", *words)
    assert "changed" not in plain


def test_a_fact_of_another_matter_changes_nothing(capsys: Any) -> None:
    other = "{rebadge: [Larkfield LK-40, Orvanek 2200]}"
    for words in EVERY:
        _, out, _ = said(capsys, *words, "--suppose", other)
        assert out.endswith("no change\n"), words


def test_without_the_run_the_path_is_lost(capsys: Any) -> None:
    graph = graph_of_folder(DEMO)
    _, out = ask(capsys, *HERE, "belt", "path", "Drummelwick DW 210")
    fact = out["proof"][-1]["fact"]
    assert graph.data.facts[fact].kind == "run"
    status, text, err = said(capsys, "path", "Drummelwick DW 210", "--without", fact)
    assert (status, "no run is recorded" in err) == (1, True)
    assert "lost: path: 225.9 mm" in text
    status, text, err = said(
        capsys, "speed", "Drummelwick DW 210", "--tone", "3150", "--heard", "3100", "--without", fact
    )
    assert "different: motor speed that would explain it" in text


def test_a_fact_supposed_of_no_set_is_wrong_use(capsys: Any) -> None:
    words = ("speed", "--tone", "3150", "--heard", "3100", "--suppose", "{rebadge: [A 1, B 2]}")
    status, _, err = said(capsys, *words)
    assert (status, "name the set" in err) == (2, True)


def test_a_name_known_only_by_what_is_supposed(capsys: Any) -> None:
    fact = "{rebadge: [Kazumorei KZR-8, Larkfield LK-40]}"
    status, out, _ = said(capsys, "fit", "SQ 1.6 x 226", "Larkfield LK-40", "--suppose", fact)
    assert status == 0
    assert "gained: verdict: fits" in out


# Width ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("columns", [60, 80])
@pytest.mark.parametrize("words", EVERY)
def test_no_line_is_wider_than_the_terminal_and_no_name_is_cut(
    capsys: Any, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], columns: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    _, out, err = said(capsys, *words)
    for line in (out + err).splitlines():
        assert width(line) <= columns, line
        assert "…" not in line
    assert "Caution" in out


def test_a_number_and_its_unit_are_not_parted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    text = belt_changes.changed_text(
        {}, {"a word or two more": (1, "of a length that is now 226 mm and ± 3 %")}, True
    )
    assert "226 mm" in text
    assert "± 3 %" in text


@pytest.mark.parametrize("words", EVERY)
def test_cautions_stand_with_every_belt_command(capsys: Any, words: tuple[str, ...]) -> None:
    _, out = ask(capsys, *HERE, "belt", *words)
    wanted = {"find": {"solvents"}, "speed": {"moving mechanism", "mains"}}
    assert wanted.get(words[0], {"moving mechanism", "mains", "solvents"}) <= set(out["cautions"])
    assert all(out["caution texts"].values())


# The picture ----------------------------------------------------------------------------------


def drawn(target: Path) -> bytes:
    """What `draw run` writes into a file."""
    words = ["Drummelwick DW 210", "-o", str(target)]
    done = CliRunner().invoke(run_picture, words, obj=Settings((DEMO,)), standalone_mode=False)
    assert done.return_value == 0, done.exception
    return target.read_bytes()


def test_the_picture_in_every_format_is_the_same_for_the_same_data(tmp_path: Path) -> None:
    starts = {"svg": b"<?xml", "png": b"\x89PNG\r\n\x1a\n", "pdf": b"%PDF-"}
    for form in picture.FORMATS:
        one, other = (drawn(tmp_path / f"{n}.{form}") for n in "ab")
        assert one == other
        assert one.startswith(starts[form])
    assert b"(D:00000000" in drawn(tmp_path / "a.pdf")


def test_png_and_pdf_have_the_size_of_the_drawing(tmp_path: Path) -> None:
    sheet = drawn(tmp_path / "a.svg").decode()
    wide, high = (float(n) for n in re.search(r'viewBox="0 0 (\S+) (\S+)"', sheet).groups())  # type: ignore[union-attr]
    png = drawn(tmp_path / "a.png")
    assert int.from_bytes(png[16:20], "big") == pytest.approx(wide / 25.4 * picture.PNG_DPI, abs=2)
    box = re.search(rb"/MediaBox \[ 0 0 (\S+) (\S+) \]", drawn(tmp_path / "a.pdf"))
    assert box is not None
    assert [float(n) for n in box.groups()] == pytest.approx([wide / 25.4 * 72, high / 25.4 * 72], abs=0.01)


def test_the_picture_says_in_words_what_it_shows(tmp_path: Path) -> None:
    sheet = drawn(tmp_path / "a.svg").decode()
    assert "<title>Belt run: Drummelwick DW 210, main belt</title>" in sheet
    words = re.search(r"<desc>(.*?)</desc>", sheet)
    assert words is not None
    assert "path along the mid-line 225.9 mm" in words[1]
    assert "3 outer idler: 9 mm" in words[1]
    assert "50 mm: measure it in print" in sheet


def test_without_the_library_svg_is_still_written(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    import sys

    monkeypatch.setitem(sys.modules, "cairosvg", None)
    assert drawn(tmp_path / "a.svg")
    words = ["Drummelwick DW 210", "-o", str(tmp_path / "a.pdf")]
    done = CliRunner().invoke(run_picture, words, obj=Settings((DEMO,)), standalone_mode=False)
    assert "svg needs nothing" in str(done.exception)
    assert not (tmp_path / "a.pdf").exists()
