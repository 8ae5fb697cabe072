"""plan: what it takes from where, what it costs, what it says of the rest, and what it writes."""

from __future__ import annotations

import math
import os
from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from kgraph.problems import CannotRun
from kgraph.render.plan import as_text
from kgraph.render.plan_picture import shelf_picture
from kgraph.shelf import solve
from kgraph.shelf import task as tasks
from kgraph.shelf.plan import Plan, Wishes, plan
from kgraph.shelf.solve import best_plans
from kgraph.shelf.task import Article, Offer, Task, Want
from tests.support import DEMO, ask, folder_with, graph_of

FACTS = """\
- set: Larkfield LK-40
  mains: 240 V 50 Hz
- set: Orvanek 2200
  mains: 240 V 50 Hz
- set: Quillon 31
  mains: 110 V 60 Hz
- rebadge: [Larkfield LK-40, Orvanek 2200]
  certainty: 0.9
- rebadge: [Larkfield LK-40, Quillon 31]
  certainty: 0.8
- assembly: LF4 front
  kind: front
  positions: [front, speaker grille, cassette lamp]
- uses: LF4 front
  in: Larkfield LK-40
  certainty: 1
- position: mains fuse
  must match: [mains]
  caution: mains
- part: K-114
  kind: knob
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  certainty: 0.95
"""
PATIENT = """\
- unit: P-1
  set: Larkfield LK-40
  role: patient
  wants: [{wants}]
"""


GOOD = "{volume knob: good, front: good, speaker grille: good, cassette lamp: good, mains fuse: good}"


def shelf(wants: str, *more: str) -> str:
    """The facts, a patient that wants these, and more entries."""
    return FACTS + PATIENT.format(wants=wants) + "".join(more)


def unit(name: str, of: str, role: str = "donor", **more: str) -> str:
    """A unit's entry; nothing is said of a donor but that it is good, unless another state is."""
    if role == "donor":
        more.setdefault("state", GOOD)
    text = f"- unit: {name}\n  set: {of}\n  role: {role}\n"
    return text + "".join(f"  {k}: {v}\n" for k, v in more.items())


def planned(text: str, *patients: str, **wishes: Any) -> Plan:
    return plan(graph_of(text), patients or ["p1"], Wishes(**wishes))


def taken(found: Plan) -> dict[str, tuple[str, str]]:
    """Want -> (unit, place) of the plan."""
    return {line.want.position: (line.unit, line.position) for line in found.best.lines}


# The choice -----------------------------------------------------------------------------------


def test_the_demo_as_its_readme_says(capsys: Any) -> None:
    status, answer = ask(capsys, "--data", str(DEMO), "plan", "U-09")
    assert status == 0
    lines = {line["want"]: line for line in answer["lines"]}
    assert set(lines) == {"mains fuse", "idler tyre"}
    assert {line["unit"] for line in lines.values()} == {"U-10"}
    assert lines["mains fuse"]["cautions"] == ["mains"]
    assert lines["mains fuse"]["proof"][0]["says"] == "Drummelwick DW 210 and Halvingarth 210 are one design"
    assert (answer["met"], answer["optimal"], answer["gap"]) == (2, True, 0.0)
    assert answer["parts of cost"]["opened"] == 8
    assert answer["cost"] == pytest.approx(8 - 2 * math.log(0.95) - math.log(0.2))
    assert (lines["idler tyre"]["goes"], lines["idler tyre"]["sound"]) == (pytest.approx(0.95), 0.2)
    assert lines["idler tyre"]["settle"] == "kgraph inspect U-10 'idler tyre' STATE"
    assert [(u["for"], u["want"], u["route"]) for u in answer["unmet"]] == [("U-09", "dial pointer", "make")]
    assert "pointer.svg" in answer["unmet"][0]["says"]
    assert "mains" in answer["caution texts"]


def test_a_unit_that_is_kept_is_not_opened(capsys: Any) -> None:
    _, answer = ask(capsys, "--data", str(DEMO), "plan", "U-08")
    assert "U-06" not in {line["unit"] for line in answer["lines"]}
    left = {u["want"]: u for u in answer["unmet"]}
    assert left["tape counter"]["route"] == "hunt"
    assert "U-06 is kept" in left["tape counter"]["why"]


def test_the_cheaper_donor_gives_and_a_robbed_one_costs_half() -> None:
    two = unit("D-1", "Larkfield LK-40", keep="4") + unit("D-2", "Larkfield LK-40", keep="5")
    assert taken(planned(shelf("volume knob", two))) == {"volumeknob": ("d1", "volumeknob")}
    robbed = two + "- taken: front\n  from: D-2\n"
    found = planned(shelf("volume knob", robbed))
    assert taken(found) == {"volumeknob": ("d2", "volumeknob")}
    assert found.best.cost.opened == 2.5


def test_the_same_place_of_the_same_set_is_certain() -> None:
    found = planned(shelf("volume knob", unit("D-1", "Larkfield LK-40")))
    assert found.best.cost.total == 5.0
    line = found.best.lines[0]
    assert (line.row.certainty, line.row.proof, line.row.warnings) == (1.0, (), ())
    text = as_text(graph_of(shelf("volume knob")).data, found, True, True)
    assert "the same place of the same set" in text


@pytest.mark.parametrize("state", ["missing", "broken", "snapped", "worn out", "altered"])
def test_what_a_donor_has_no_longer_whole_it_does_not_give(state: str) -> None:
    spoilt = unit("D-1", "Larkfield LK-40", state=f"{{volume knob: {state}}}")
    assert taken(planned(shelf("volume knob", spoilt))) == {}
    good = unit("D-1", "Larkfield LK-40", state="{volume knob: scratched}")
    assert taken(planned(shelf("volume knob", good))) == {"volumeknob": ("d1", "volumeknob")}


@pytest.mark.parametrize("role", ["patient", "keep"])
def test_patients_and_kept_units_give_nothing(role: str) -> None:
    assert taken(planned(shelf("volume knob", unit("D-1", "Larkfield LK-40", role)))) == {}


def test_a_unit_without_a_role_gives() -> None:
    text = shelf("volume knob", "- unit: D-1\n  set: Larkfield LK-40\n")
    assert taken(planned(text)) == {"volumeknob": ("d1", "volumeknob")}


def test_a_planned_unit_does_not_give_to_another() -> None:
    two = unit("P-2", "Larkfield LK-40", wants="[speaker grille]") + unit("D-1", "Larkfield LK-40", keep="9")
    found = planned(shelf("volume knob", two), "p1", "p2")
    assert {line.unit for line in found.best.lines} == {"d1"}


def test_what_must_match_and_differs_is_never_taken() -> None:
    fuse = "- takes: F-1\n  in: Larkfield LK-40\n  position: mains fuse\n  certainty: 0.9\n"
    assert taken(planned(shelf("mains fuse", fuse, unit("D-1", "Quillon 31")))) == {}
    good = planned(shelf("mains fuse", fuse, unit("D-1", "Orvanek 2200")))
    assert taken(good) == {"mainsfuse": ("d1", "mainsfuse")}


def test_a_refused_part_is_never_taken() -> None:
    no = "- refuses: Orvanek 2200\n  from: volume knob\n  in: Larkfield LK-40\n  position: volume knob\n"
    text = shelf("volume knob", unit("D-1", "Orvanek 2200"))
    assert taken(planned(text)) == {"volumeknob": ("d1", "volumeknob")}
    assert taken(planned(text + no + "  certainty: 0.99\n")) == {}


def test_another_place_of_another_unit_of_the_set_gives() -> None:
    both = "- takes: K-114\n  in: Larkfield LK-40\n  position: tone knob\n  certainty: 0.9\n"
    donor = unit("D-1", "Larkfield LK-40", state="{volume knob: missing}")
    found = planned(shelf("volume knob", both, donor))
    assert taken(found) == {"volumeknob": ("d1", "toneknob")}
    assert found.best.lines[0].row.certainty == pytest.approx(0.9 * 0.95 * 0.8)


def test_loose_parts_cost_no_opening_and_are_used_once_each() -> None:
    wants = unit("P-2", "Larkfield LK-40", "patient", wants="[volume knob]")
    text = shelf("volume knob", wants, "- stock: K-114\n  where: drawer 4\n")
    found = planned(text, "p1", "p2")
    assert [(line.want.unit, line.unit, line.position) for line in found.best.lines] == [("p1", "", "k114")]
    assert found.best.cost.opened == 0
    assert found.best.cost.total == pytest.approx(-math.log(0.95))
    two = planned(text.replace("where:", "count: 2\n  where:"), "p1", "p2")
    assert len(two.best.lines) == 2


def test_an_article_that_was_put_in_is_given_by_what_it_is() -> None:
    # D-1's own knob is refused; what it holds now came from P-9, a set whose knob goes.
    facts = "- set: Velmoor 10\n"
    units = unit("D-1", "Velmoor 10") + unit("E-1", "Orvanek 2200", "keep")
    assert taken(planned(shelf("volume knob", facts, units))) == {}
    moved = "- taken: volume knob\n  from: E-1\n  to: D-1\n"
    found = planned(shelf("volume knob", facts, units, moved))
    assert taken(found) == {"volumeknob": ("d1", "volumeknob")}
    assert found.best.lines[0].row.set == "s:orvanek2200"
    put_in = "- restored: volume knob\n  to: D-1\n  part: K-114\n"
    assert taken(planned(shelf("volume knob", facts, units, put_in))) == {"volumeknob": ("d1", "volumeknob")}


# Whole assemblies -----------------------------------------------------------------------------

TWO_FRONTS = unit("P-2", "Larkfield LK-40", "patient", wants="[speaker grille]")


def test_a_whole_assembly_meets_several_wants_of_one_unit() -> None:
    found = planned(shelf("front, speaker grille", unit("D-1", "Larkfield LK-40")))
    assert taken(found) == {"front": ("d1", "front"), "speakergrille": ("d1", "speakergrille")}
    assert found.best.cost.total == 5.0
    by_want = {line.want.position: line for line in found.best.lines}
    assert by_want["front"].brings == ("cassettelamp", "speakergrille")
    assert (by_want["front"].along, by_want["speakergrille"].along) == (False, True)


def test_what_went_with_a_whole_assembly_is_not_there_for_others() -> None:
    one = unit("D-1", "Larkfield LK-40", keep="1")
    found = planned(shelf("front", TWO_FRONTS, one), "p1", "p2")
    assert len(found.best.lines) == 1
    other = unit("D-2", "Orvanek 2200", keep="9", state="{front: broken}")
    found = planned(shelf("front", TWO_FRONTS, one, other), "p1", "p2")
    assert {(line.want.unit, line.unit) for line in found.best.lines} == {("p1", "d1"), ("p2", "d2")}


# What is weighed ------------------------------------------------------------------------------

WORK = """\
- fits: Velmoor 10
  position: volume knob
  to: Larkfield LK-40
  work: ream the bore
  certainty: 1
"""


def test_work_and_doubt_are_weighed_as_asked() -> None:
    units = unit("D-1", "Velmoor 10", keep="3") + unit("D-2", "Quillon 31", keep="3")
    text = shelf("volume knob", WORK, units)
    found = planned(text)
    assert taken(found) == {"volumeknob": ("d2", "volumeknob")}
    assert found.best.cost.doubt == pytest.approx(-math.log(found.best.lines[0].row.certainty))
    cheap = planned(text, work=0.0)
    assert taken(cheap) == {"volumeknob": ("d1", "volumeknob")}
    assert (cheap.best.cost.work, cheap.best.cost.total) == (0.0, 3.0)
    assert taken(planned(text, doubt=10.0)) == {"volumeknob": ("d1", "volumeknob")}
    assert planned(text, without=frozenset({"d2"})).best.cost.work == 1.0
    assert taken(planned(text, keep={"d2": 9.0})) == {"volumeknob": ("d1", "volumeknob")}


def test_equal_plans_are_told_apart_by_name() -> None:
    many = "".join(unit(f"D-{n}", "Larkfield LK-40") for n in (7, 3, 5))
    assert {line.unit for line in planned(shelf("volume knob, speaker grille", many)).best.lines} == {"d3"}


def test_the_next_best_plans_use_other_articles() -> None:
    three = "".join(unit(f"D-{n}", "Larkfield LK-40", keep=f"{n}") for n in (2, 4, 3))
    found = planned(shelf("volume knob", three), instead=5)
    courses = [found.best, *found.instead]
    assert [c.cost.total for c in courses] == [2.0, 3.0, 4.0]
    assert [c.lines[0].unit for c in courses] == ["d2", "d3", "d4"]


def test_without_time_a_plan_is_shown_and_said_not_to_be_proven() -> None:
    two = unit("D-1", "Larkfield LK-40", keep="4") + unit("D-2", "Larkfield LK-40", keep="5")
    found = planned(shelf("volume knob, speaker grille", two), seconds=0.0)
    assert len(found.best.lines) == 2
    assert not found.optimal
    assert found.gap > 0
    assert any("ran out" in n for n in found.notes)


# What is left ---------------------------------------------------------------------------------

BELT = """\
- part: SQ 1.25 x 262
  kind: belt
  numbers: {Larkfield: "440 1882"}
  section: square 1.25 mm
  inside length: 262 mm
- takes: SQ 1.25 x 262
  in: Larkfield LK-40
  position: main belt
"""
RUN = """\
- run: main belt
  in: Larkfield LK-40
  pulleys:
    - {name: motor, x: 0 mm, y: 0 mm, diameter: 10 mm, drives: yes}
    - {name: flywheel, x: 80 mm, y: 0 mm, diameter: 60 mm}
"""


def left(found: Plan, position: str) -> Any:
    return next(u for u in found.unmet if u.want.position == position)


def test_a_belt_is_to_be_bought_by_its_size() -> None:
    unmet = left(planned(shelf("main belt", BELT)), "mainbelt")
    assert unmet.route == "buy"
    assert "SQ 1.25 x 262 (section square 1.25 mm, inside length 262 mm; known as Larkfield 440 1882)" in (
        unmet.says
    )
    assert "moving mechanism" in unmet.cautions


def test_with_a_run_the_lengths_that_do_are_told() -> None:
    unmet = left(planned(shelf("main belt", BELT, RUN)), "mainbelt")
    assert "with an inside length of " in unmet.says
    bare = left(planned(shelf("main belt", RUN)), "mainbelt")
    assert bare.route == "buy"
    assert "kgraph belt path" in bare.says
    round_belt = BELT.replace("square 1.25", "round 2.62")
    assert "O-ring" in left(planned(shelf("main belt", round_belt, RUN)), "mainbelt").says


def test_a_generic_part_is_to_be_bought_and_another_is_not() -> None:
    part = "- part: F-1\n  kind: badge pin\n  rating: 500 mA\n"
    part += "- takes: F-1\n  in: Larkfield LK-40\n  position: dial lamp\n"
    kind = "- kind: badge pin\n  generic: yes\n  compare: {rating: same}\n"
    unmet = left(planned(shelf("dial lamp", part, kind)), "diallamp")
    assert (unmet.route, unmet.says) == ("buy", "buy badge pin F-1 (rating 500 mA)")
    assert left(planned(shelf("dial lamp", part)), "diallamp").route == "hunt"


def test_what_was_made_before_is_to_be_made_again() -> None:
    part = "- part: pointer, ours\n  made: brass wire, drawing pointer.svg\n"
    part += "- takes: pointer, ours\n  in: Orvanek 2200\n  position: dial pointer\n"
    unmet = left(planned(shelf("dial pointer", part)), "dialpointer")
    assert (unmet.route, unmet.says) == ("make", "make it: brass wire, drawing pointer.svg (pointer, ours)")


def test_else_the_sets_that_would_give_it_are_named_best_first() -> None:
    unmet = left(planned(shelf("volume knob")), "volumeknob")
    assert unmet.route == "hunt"
    assert unmet.says == "look for Orvanek 2200 (90 %), Quillon 31 (80 %)"
    assert [s for s, _ in unmet.sets] == ["s:orvanek2200", "s:quillon31"]
    alone = "- unit: P-9\n  set: Velmoor 10\n  wants: [compass]\n"
    nobody = left(planned(shelf("compass", alone), "p9"), "compass")
    assert nobody.says == "no other set is known to give it; look for another Velmoor 10"


def test_why_the_shelf_cannot_is_told() -> None:
    units = (
        unit("D-1", "Larkfield LK-40", state="{volume knob: broken}")
        + unit("D-2", "Orvanek 2200", "keep")
        + unit("D-3", "Orvanek 2200", "patient")
        + unit("D-4", "Orvanek 2200")
    )
    found = planned(shelf("volume knob", units), without=frozenset({"d4"}))
    assert left(found, "volumeknob").why == ("D-2 is kept, D-4 is to be left out, D-1's is broken")
    spent = planned(
        shelf(
            "volume knob",
            unit("P-2", "Larkfield LK-40", wants="[volume knob]"),
            unit("D-1", "Larkfield LK-40", state="{volume knob: good}"),
        ),
        "p1",
        "p2",
    )
    assert left(spent, "volumeknob").why == "D-1's goes to P-1"


# The command ----------------------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    two = unit("D-1", "Larkfield LK-40", state=GOOD.replace("{", "{main belt: worn out, "))
    two += unit("D-2", "Velmoor 10", keep="0")
    second = unit("P-2", "Larkfield LK-40", "patient", wants="[volume knob]")
    text = shelf("front, speaker grille, volume knob, main belt", two, second, WORK, BELT)
    return folder_with(tmp_path, [("facts.yaml", text + "- stock: K-114\n  where: drawer 4\n")])


PRINTED = """\
for  want            take from             its place       certainty
───  ──────────────  ────────────────────  ──────────────  ─────────
P-1  front           D-1, Larkfield LK-40  front           100 %
    taken whole, with: cassette lamp, speaker grille
P-1  speaker grille  D-1, Larkfield LK-40  speaker grille  100 %
    comes off with the whole assembly taken from the same unit
P-1  volume knob     stock, drawer 4       K-114           95 %
P-2  volume knob     D-1, Larkfield LK-40  volume knob     100 %

for  still wanted  what to do
───  ────────────  ──────────
P-1  main belt     buy
    buy belt SQ 1.25 x 262 (section square 1.25 mm, inside length 262 mm; known as Larkfield 440
      1882)
    on the shelf: D-1's is worn out

4 of 5 wants met; cost 5.05 = 5.00 opened + 0.00 work + 0.05 doubt (opening D-1 5)
Proven the least: no plan meets more, and none that meets as many costs less.
"""


def test_the_whole_page_as_printed(folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    assert run(["--data", str(folder), "plan", "P-1", "P-2", "--cautions"]) == 0
    out = capsys.readouterr().out
    table, _, cautions = out.partition("\nCaution, ")
    assert table == PRINTED
    assert cautions.startswith("mains: Mains voltage can kill.")
    assert "licensed to do it" in cautions


def test_taking_writes_all_and_then_nothing_is_wanted(folder: Path, capsys: Any) -> None:
    status, answer = ask(
        capsys, "--data", str(folder), "plan", "P-1", "P-2", "--take", "--by", "MT", "--date", "2026-03-01"
    )
    assert (status, len(answer["written"])) == (0, 3)
    tail = "  by: MT\n  date: 2026-03-01\n"
    assert (folder / "bench.yaml").read_text() == (
        f"- taken: front\n  from: D-1\n  to: P-1\n{tail}"
        f"- fitted: K-114\n  to: P-1\n  at: volume knob\n{tail}"
        f"- taken: volume knob\n  from: D-1\n  to: P-2\n{tail}"
    )
    status, answer = ask(capsys, "--data", str(folder), "plan", "P-1", "P-2")
    assert (status, answer["lines"]) == (1, [])
    assert [u["want"] for u in answer["unmet"]] == ["main belt"]
    assert run(["--data", str(folder), "check"]) == 0


def test_taking_refuses_a_folder_that_was_changed(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from kgraph.folder import writing

    done = writing.append

    def saved_meanwhile(*args: Any, **more: Any) -> Any:
        with (folder / "facts.yaml").open("a") as file:
            file.write("- taken: front\n  from: D-1\n")
        return done(*args, **more)

    monkeypatch.setattr(writing, "append", saved_meanwhile)
    assert run(["--data", str(folder), "plan", "P-1", "--take"]) == 3
    assert sorted(os.listdir(folder)) == [".kgraph.lock", "facts.yaml"]


def test_a_bad_date_writes_nothing(folder: Path, capsys: Any) -> None:
    assert run(["--data", str(folder), "plan", "P-1", "--take", "--date", "yesterday"]) == 2
    assert "date" in capsys.readouterr().err
    assert not (folder / "bench.yaml").exists()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["P-7"], "P-7"),
        (["P-1", "--keep", "D-1"], "is not UNIT=N"),
        (["P-1", "--keep", "D-1=eleven"], "--keep"),
        (["P-1", "--keep", "D-9=1"], "D-9"),
        (["P-1", "--without-unit", "D-9"], "D-9"),
        (["P-1", "--work", "much"], "much"),
        (["P-1", "--at-least", "2"], "2"),
        ([], "UNIT"),
    ],
)
def test_wrong_use_is_told(folder: Path, capsys: Any, words: list[str], says: str) -> None:
    assert run(["--data", str(folder), "plan", *words]) == 2
    assert says in capsys.readouterr().err


def test_a_unit_that_is_only_named_is_no_unit(tmp_path: Path, capsys: Any) -> None:
    text = shelf("volume knob", "- taken: front\n  from: Z-9\n")
    assert run(["--data", str(folder_with(tmp_path, [("a.yaml", text)])), "plan", "Z-9"]) == 2
    assert "Z-9" in capsys.readouterr().err


def test_no_open_want_is_nothing_found(folder: Path, capsys: Any) -> None:
    assert run(["--data", str(folder), "plan", "D-1"]) == 1
    assert "no want of D-1 is open" in capsys.readouterr().err


# The solver -----------------------------------------------------------------------------------


def _offer(patient: str, unit_key: str, place: str, cost: float = 0.0) -> Offer:
    return Offer(Want(patient, place), Article(unit_key, place), cost)


def test_a_plan_of_the_solver_is_checked_before_it_is_believed(monkeypatch: pytest.MonkeyPatch) -> None:
    offers = (_offer("p", "d", "knob"), _offer("q", "d", "knob"), _offer("r", "e", "knob"))
    task = Task(offers, {"d": 1.0, "e": 1.0})
    assert len(best_plans(task, 60.0)[0].chosen) == 2
    monkeypatch.setattr(solve._Programme, "chosen", lambda self: offers)
    with pytest.raises(CannotRun, match="clash"):
        best_plans(task, 60.0)


def test_faults_name_what_is_wrong() -> None:
    one, two = _offer("p", "d", "knob"), _offer("q", "d", "knob")
    task = Task((one, two), {"d": 1.0})
    assert tasks.faults(task, [one]) == []
    assert any("clash" in f for f in tasks.faults(task, [one, two]))
    assert any("no offer" in f for f in tasks.faults(task, [_offer("p", "z", "knob")]))
    loose = [Offer(Want(p, "knob"), Article("", "k"), 0.0) for p in "abc"]
    assert any("3 times" in f for f in tasks.faults(Task(tuple(loose), {}, {Article("", "k"): 2}), loose))


def test_costs_that_differ_by_little_are_told_apart() -> None:
    # CBC left alone would let pass a plan that is dearer by 1e-5.
    offers = tuple(_offer("p", f"d{i}", "knob", 1.0 + (9 - i) * 2e-6) for i in range(10))
    found = best_plans(Task(offers, {f"d{i}": 3.0 for i in range(10)}), 60.0)[0]
    assert found.chosen == (offers[9],)


def test_a_missing_solver_is_said(monkeypatch: pytest.MonkeyPatch, folder: Path, capsys: Any) -> None:
    monkeypatch.setitem(__import__("sys").modules, "pulp", None)
    assert run(["--data", str(folder), "plan", "P-1"]) == 3
    assert "pip install pulp" in capsys.readouterr().err


def test_a_solver_that_cannot_work_is_said(
    monkeypatch: pytest.MonkeyPatch, folder: Path, capsys: Any, tmp_path: Path
) -> None:
    blank = tmp_path / "a b"
    blank.mkdir()
    monkeypatch.setenv("TMPDIR", str(blank))
    two = unit("D-3", "Larkfield LK-40")
    (folder / "more.yaml").write_text(two)
    assert run(["--data", str(folder), "plan", "P-1"]) == 3
    assert "TMPDIR" in capsys.readouterr().err


# The picture ----------------------------------------------------------------------------------


def test_the_picture_shows_givers_wants_and_what_is_left(folder: Path) -> None:
    graph = graph_of((folder / "facts.yaml").read_text())
    text = shelf_picture(plan(graph, ["p1", "p2"]), graph)
    for label in ("D-1\\nLarkfield LK-40\\nopening it costs 5", "K-114\\nstock, drawer 4", "main belt\\nbuy"):
        assert f'label="{label}"' in text
    assert text.count("->") == 4 + 5
    assert "4 of 5 wants met, cost 5.05, proven the least" in text


def test_no_name_is_markup_in_the_picture() -> None:
    bad = '<b>"x\\\\N'
    text = FACTS + PATIENT.format(wants="volume knob").replace("P-1", f"'{bad}'")
    graph = graph_of(text + unit("D-1", "Larkfield LK-40"))
    drawn = shelf_picture(plan(graph, list(graph.data.things["unit"])[:1]), graph)
    assert "label=<" not in drawn
    assert '\\"x\\\\\\\\N' in drawn


WHOLE = """\
- assembly: BK front
  kind: front
  positions: [front, speaker grille, cassette lamp]
- set: Aldo A-1
- set: Brim B-1
- uses: BK front
  in: Aldo A-1
  how: fitted
- rebadge: [Aldo A-1, Brim B-1]
  how: compared
- unit: U-1
  set: Aldo A-1
  role: donor
  state: {front: scratched}
- unit: U-2
  set: Brim B-1
  role: patient
  state: {speaker grille: broken, front: broken}
  wants: [speaker grille, front]
- unit: U-5
  set: Brim B-1
  role: patient
  wants: [speaker grille]
- taken: speaker grille
  from: U-1
  to: U-5
"""


def test_what_is_gone_does_not_come_off_with_its_assembly(tmp_path: Path, capsys: Any) -> None:
    folder = folder_with(tmp_path, [("facts.yaml", WHOLE)])
    _, found = ask(capsys, "--data", str(folder), "plan", "U-2")
    (line,) = found["lines"]
    assert (line["want"], line["brings"], line["condition"]) == ("front", ["cassette lamp"], "scratched")
    (unmet,) = found["unmet"]
    assert (
        unmet["says"]
        == "what the shelf has of Aldo A-1 gives none; look for another of them, or another Brim B-1"
    )
    assert run(["--data", str(folder), "plan", "U-2"]) == 0
    assert "recorded of it: scratched" in capsys.readouterr().out


def test_a_hunt_says_what_is_on_the_shelf_and_what_was_left_out(tmp_path: Path, capsys: Any) -> None:
    folder = folder_with(tmp_path, [("facts.yaml", WHOLE)])
    status, found = ask(capsys, "--data", str(folder), "hunt", "U-2", "--at-least", "0.5")
    assert (status, found["answers"]) == (1, [])
    assert "Sets of which a unit may be opened are on the shelf and left out: Aldo A-1." in found["notes"]
    assert "What is less certain than 0.5 is left out." in found["notes"]


def test_another_plan_says_what_must_be_known_of_its_lines(tmp_path: Path, capsys: Any) -> None:
    facts = """\
- position: fuse
  must match: [mains]
- set: Aldo A-1
  mains: 240 V 50 Hz
- set: Dorn D-1
- set: Brim B-1
- rebadge: [Aldo A-1, Dorn D-1]
  how: fitted
- fits: Brim B-1
  position: fuse
  to: Aldo A-1
  work: file the clip
  how: fitted
- takes: F-1
  in: Aldo A-1
  position: fuse
- unit: U-1
  set: Aldo A-1
  role: patient
  wants: [fuse]
- unit: U-3
  set: Dorn D-1
  role: donor
- unit: U-4
  set: Brim B-1
  role: donor
"""
    folder = folder_with(tmp_path, [("facts.yaml", facts)])
    assert run(["--data", str(folder), "plan", "U-1", "--instead", "5"]) == 0
    instead = capsys.readouterr().out.partition("Instead")[2]
    assert "mains is not recorded on Brim B-1: check it first" in instead
    assert "file the clip" in instead


def test_a_loose_part_of_a_set_for_another_mains_is_told_with_both_values() -> None:
    text = (
        "- set: Larkfield LK-40\n  mains: 240 V 50 Hz\n- set: Orvanek 2200\n  mains: 220 V 50 Hz\n"
        "- rebadge: [Larkfield LK-40, Orvanek 2200]\n  how: compared\n"
        "- takes: T-1\n  in: Orvanek 2200\n  position: power transformer\n- stock: T-1\n"
        "- unit: P-1\n  set: Larkfield LK-40\n  role: patient\n  wants: [mains trafo]\n"
    )
    (unmet,) = plan(graph_of(text), ["p1"]).unmet
    assert unmet.why == (
        "T-1 in stock is refused: "
        "mains must match: 240 V 50 Hz on Larkfield LK-40 but 220 V 50 Hz on Orvanek 2200"
    )
