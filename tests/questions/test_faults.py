"""What goes wrong with a set: of like places, counted on units, and by signs."""

from __future__ import annotations

import itertools
import json
from pathlib import Path

import pytest
from scipy import stats

from kgraph import beta, collection
from kgraph.cli.main import run
from kgraph.fits import graph as graphs
from kgraph.fits.graph import Graph
from kgraph.folder import schema
from kgraph.questions.faults import SAFETY_NOTE, faults, is_of, says_sign
from kgraph.trade.faults import common

FOLDER = """
- set: Larkfield LK-40
- set: Orvanek 2200
- set: Quillon 31
- rebadge: [Larkfield LK-40, Orvanek 2200]
  how: compared
- assembly: TN7 mechanism
  positions: [record switch, counter belt]
- uses: TN7 mechanism
  in: Larkfield LK-40
  how: printed
- fault: slide switch oxidised
  in: TN7 mechanism
  position: record switch
  signs: [oscillates while recording, one side weak]
  cure: contact cleaner, then work it to and fro
  how: fitted
- fault: slide switch oxidised
  in: Orvanek 2200
  position: record switch
  how: photo
- unit: U-1
  set: Larkfield LK-40
  state: {counter belt: perished, dial glass: cracked}
- unit: U-2
  set: Orvanek 2200
  state: {counter belt: good}
- unit: U-3
  set: Orvanek 2200
  state: {counter belt: missing}
- unit: U-4
  set: Quillon 31
  state: {counter belt: perished}
"""


def graph_of(text: str) -> Graph:
    entries, problems = schema.entries_of(text.encode(), "a.yaml")
    assert problems == []
    return graphs.build(collection.build(entries))


def found(name: str, *signs: str):  # type: ignore[no-untyped-def]
    return {(r.fault, r.position): r for r in faults(graph_of(FOLDER), name, signs).rows}


def test_a_fault_of_a_mechanism_is_known_of_every_set_that_has_it() -> None:
    rows = found("orvanek2200")
    row = rows["slide switch oxidised", "recordswitch"]
    # All worlds of the four facts: its own saying, or the rebadge, the uses and the fault of the mechanism.
    chances = (0.85, 0.95, 0.98, 0.70)
    whole = 0.0
    for world in itertools.product((True, False), repeat=4):
        weight = 1.0
        for holds, chance in zip(world, chances, strict=True):
            weight *= chance if holds else 1 - chance
        whole += weight * (all(world[:3]) or world[3])
    assert row.certainty == pytest.approx(whole, abs=1e-12)
    assert row.signs == ("oscillates while recording", "one side weak")
    assert row.cure == "contact cleaner, then work it to and fro"
    assert len(row.proof) == 3


def test_a_set_that_does_not_share_it_has_only_what_every_bench_knows() -> None:
    rows = found("quillon31")
    assert all(r.certainty is None for r in rows.values())
    assert {r.basis for r in rows.values()} == {"common practice, no source"}


def test_units_are_counted_at_like_places_and_a_missing_part_says_nothing() -> None:
    row = found("larkfieldlk40")["belt stretched or perished", "counterbelt"]
    assert row.counted == (1, 2)
    assert row.interval == pytest.approx(stats.beta.ppf([0.025, 0.975], 2, 2), abs=1e-12)
    alone = found("larkfieldlk40")["cracked", "dialglass"]
    assert (alone.counted, alone.basis) == ((1, 1), "counted")


def test_what_inspections_found_is_counted_once_for_each_unit() -> None:
    inspected = "- inspected: counter belt\n  of: {}\n  state: {}\n  date: 2026-0{}-01\n"
    said = [
        ("U-2", "perished", 1),
        ("U-2", "perished", 2),
        ("U-2", "good", 3),
        ("U-3", "good", 4),
        ("U-4", "good", 5),
    ]
    graph = graph_of(FOLDER + "".join(inspected.format(*one) for one in said))
    rows = {(r.fault, r.position): r for r in faults(graph, "larkfieldlk40").rows}
    # U-1 came in with it, U-2 was found with it and put right, U-3 came in without; U-4 is of another design.
    assert rows["belt stretched or perished", "counterbelt"].counted == (2, 3)


def test_a_condition_that_only_asks_is_neither_found_nor_looked_at() -> None:
    asked = "- inspected: {}\n  of: U-3\n  state: {}\n"
    said = [("counter belt", "perished?"), ("dial glass", "cracked ?"), ("handle", "good?")]
    rows = found("larkfieldlk40")
    graph = graph_of(FOLDER + "".join(asked.format(*one) for one in said))
    told = {(r.fault, r.position): r for r in faults(graph, "larkfieldlk40").rows}
    assert told.keys() == rows.keys()
    assert {k: r.counted for k, r in told.items()} == {k: r.counted for k, r in rows.items()}


def test_an_inspection_that_was_taken_back_or_corrected_is_not_counted() -> None:
    said = (
        "- inspected: counter belt\n  of: U-2\n  state: perished\n  id: E-1\n"
        "- withdraw: E-1\n  why: the wrong unit\n"
        "- inspected: handle\n  of: U-2\n  state: cracked\n  id: E-2\n"
        "- withdraw: E-2\n  why: corrected\n- inspected: handle\n  of: U-2\n  state: bent\n"
    )
    rows = {(r.fault, r.position): r for r in faults(graph_of(FOLDER + said), "larkfieldlk40").rows}
    assert rows["belt stretched or perished", "counterbelt"].counted == (1, 2)
    assert ("cracked", "handle") not in rows
    assert rows["bent", "handle"].counted == (1, 1)


@pytest.mark.parametrize(("k", "n"), [(0, 1), (1, 1), (4, 6), (0, 40), (39, 40), (500, 1000)])
def test_the_interval_is_that_of_scipy(k: int, n: int) -> None:
    assert beta.interval(k, n) == pytest.approx(stats.beta.ppf([0.025, 0.975], k + 1, n - k + 1), abs=1e-9)


def test_signs_are_weighed_by_bayes_with_none_of_these() -> None:
    signs = ("oscillates while recording", "hum")
    rows = faults(graph_of(FOLDER), "larkfieldlk40", signs).rows
    assert sum(r.probability or 0 for r in rows) == pytest.approx(1.0, abs=1e-12)
    assert rows[0].fault == "slide switch oxidised"
    assert rows[0].probability is not None
    # Over all worlds of (fault, each sign seen or not): the joint chance of the world that was seen.
    joint = {}
    for row in rows:
        prior = (row.counted[0] + 1) / (row.counted[1] + 2)
        for seen in itertools.product((True, False), repeat=2):
            chance = prior
            for yes, sign in zip(seen, signs, strict=True):
                likely = 0.9 if any(says_sign(sign, s) for s in row.signs) else 0.05
                chance *= likely if yes else 1 - likely
            joint[row.fault, row.position, seen] = chance
    evidence = sum(v for (_, _, seen), v in joint.items() if all(seen))
    for row in rows:
        expected = joint[row.fault, row.position, (True, True)] / evidence
        assert row.probability == pytest.approx(expected, abs=1e-12)
    assert any(r.fault is None for r in rows)


def test_a_sign_nobody_lists_is_best_explained_by_none_of_these_or_what_is_often_found() -> None:
    rows = faults(graph_of("- set: Larkfield LK-40\n"), "larkfieldlk40", ["smells of violets"]).rows
    none = next(r for r in rows if r.fault is None)
    assert none.probability == max(r.probability or 0 for r in rows)


@pytest.mark.parametrize(
    ("sign", "note"),
    [
        ("smells of violets", "No fault lists the sign 'smells of violets', so it tells none apart."),
        (
            "osillates while recordin",
            "No fault lists the sign 'osillates while recordin', so it tells none apart; "
            "did you mean oscillates while recording?",
        ),
        ("weak", ""),
    ],
)
def test_a_sign_nobody_lists_is_told(sign: str, note: str) -> None:
    notes = faults(graph_of(FOLDER), "larkfieldlk40", [sign]).notes
    assert [n for n in notes if n.startswith("No fault lists")] == ([note] if note else [])


@pytest.mark.parametrize("sign", ["", " ", "the", "?"])
def test_a_sign_without_a_word_is_refused(
    sign: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "a.yaml").write_text(FOLDER, encoding="utf-8")
    assert run(["--data", str(tmp_path), "faults", "Larkfield LK-40", "--sign", sign]) == 2
    assert "has no word in it" in capsys.readouterr().err


def test_a_state_is_matched_by_what_is_wrong_and_not_by_the_name_of_the_place() -> None:
    assert is_of("perished", "belt stretched or perished", "counter belt")
    assert not is_of("switch snapped", "slide switch oxidised", "record switch")
    assert not is_of("good", "good for nothing")


def test_what_every_bench_knows_has_signs_checks_and_cures() -> None:
    assert len(common()) >= 12
    for one in common():
        assert all((one.fault, one.positions, one.signs, one.check, one.cure))


def test_the_command_tells_faults_as_the_contract_has_them(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "a.yaml").write_text(FOLDER)
    asked = ["--data", str(tmp_path), "faults", "U-2", "--sign", "one side weak", "--json"]
    assert run(asked) == 0
    said = json.loads(capsys.readouterr().out)
    first = said["answers"][0]
    keys = {"fault", "in", "position", "signs", "cure", "certainty", "counted", "probability", "cautions"}
    assert keys | {"proof"} <= set(first)
    assert (first["fault"], first["in"], first["position"]) == (
        "slide switch oxidised",
        "TN7 mechanism",
        "record switch",
    )
    assert SAFETY_NOTE in said["notes"]
    assert any(a["fault"] is None for a in said["answers"])


def test_a_photo_outside_the_folder_is_refused_with_its_line() -> None:
    for path in ("../x.jpg", "/etc/x.jpg", "photos/../../x.jpg", "photos\\x.jpg"):
        text = f"- same: [K-114, 440 1882]\n  photo: {path}\n"
        entries, problems = schema.entries_of(text.encode(), "a.yaml")
        assert entries == []
        assert [p.code for p in problems] == ["photo-outside"]
        assert str(problems[0].where).startswith("a.yaml:2")


INNER = """
- set: Larkfield LK-40
- set: Orvanek 2200
- set: Quillon 31
- rebadge: [Larkfield LK-40, Orvanek 2200]
  how: compared
- rebadge: [Larkfield LK-40, Quillon 31]
  except: [TN7 mechanism]
- assembly: TN7 mechanism
  positions: [main belt]
- assembly: TN7 drive
  positions: [pinch roller]
- uses: TN7 mechanism
  in: Larkfield LK-40
  how: printed
- uses: TN7 drive
  in: TN7 mechanism
  how: printed
  except: [clutch]
- fault: bearing dry
  in: TN7 drive
  position: flywheel
  how: fitted
- fault: felt gone
  in: TN7 drive
  position: clutch
- fault: rim scored
  in: Larkfield LK-40
  position: flywheel
"""


@pytest.mark.parametrize(
    ("of", "certainty"),
    [("larkfieldlk40", 0.95 * 0.95 * 0.98), ("orvanek2200", 0.85 * 0.95 * 0.95 * 0.98), ("quillon31", None)],
)
def test_a_fault_within_an_assembly_is_one_of_every_set_built_on_it(of: str, certainty: float | None) -> None:
    """The flywheel is not among the positions of the drive, so no part is of it; it breaks all the same."""
    graph = graph_of(INNER)
    rows = {r.fault: r for r in faults(graph, graph.data.key("set", of)).rows if r.certainty is not None}
    assert "felt gone" not in rows
    assert ("bearing dry" in rows) == (certainty is not None)
    if certainty is not None:
        assert rows["bearing dry"].certainty == pytest.approx(certainty)


def test_a_fault_of_a_set_does_not_go_through_an_assembly_that_does_not_list_its_place() -> None:
    graph = graph_of(INNER + "- uses: TN7 mechanism\n  in: Pellow 9\n  how: printed\n")
    said = {r.fault for r in faults(graph, "pellow9").rows if r.certainty is not None}
    assert said == {"bearing dry"}
