"""How many rows a screen and JSON show: thirty and all, another number with --most, and the rest counted."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from tests.support import ask, folder_with

SISTERS = 40
FACTS = (
    "- set: Larkfield LK-40\n  mains: 240 V 50 Hz\n  stamp: TN7\n"
    "- takes: K-114\n  in: Larkfield LK-40\n  position: volume knob\n  how: printed\n"
    + "".join(f"- set: Quillon {n}\n  mains: 240 V 50 Hz\n  stamp: TN7\n" for n in range(1, SISTERS + 1))
    + "".join(f"- same: [A {n}, K-114]\n  certainty: 0.{n:02}\n" for n in range(1, SISTERS + 1))
)
REBADGED = FACTS + "".join(
    f"- rebadge: [Larkfield LK-40, Quillon {n}]\n  certainty: 0.{50 + n}\n" for n in range(1, SISTERS + 1)
)
LARKFIELD = "Larkfield LK-40"
BELTS = FACTS + "".join(
    f"- part: BELT-{n}\n  kind: belt\n  section: square 1.2 mm\n  inside length: 240 mm\n"
    f"- takes: BELT-{n}\n  in: Quillon {n}\n  position: main belt\n"
    f"- rebadge: [Quillon 1, Quillon {n}]\n"
    for n in range(1, SISTERS + 1)
).replace("- rebadge: [Quillon 1, Quillon 1]\n", "")
DIFFERING = (
    f"- set: {LARKFIELD}\n  mains: 240 V 50 Hz\n  stamp: TN7\n"
    "- set: Orvanek 2200\n  mains: 240 V 50 Hz\n  stamp: TN7\n"
    "- set: Quillon 31\n  mains: 240 V 50 Hz\n  stamp: QX1\n- set: Quillon 32\n  stamp: QX2\n"
)


@pytest.mark.parametrize(
    ("facts", "words", "every"),
    [
        (REBADGED, ["doubts", LARKFIELD], 40),
        (REBADGED, ["hunt", LARKFIELD], 40),
        (FACTS, ["likely", LARKFIELD], 40),
        (REBADGED, ["find", "quillon"], 40),
        (BELTS, ["belt", "family", "Quillon 1", "main belt"], 40),
    ],
    ids=["doubts", "hunt", "likely", "find", "belt family"],
)
def test_json_holds_all_and_a_screen_thirty(
    facts: str, words: list[str], every: int, tmp_path: Path, capsys: Any
) -> None:
    data = ["--data", str(folder_with(tmp_path, [("facts.yaml", facts)]))]
    _, whole = ask(capsys, *data, *words)
    assert len(whole["answers"]) == every
    assert not any("more" in note for note in whole["notes"])
    _, seven = ask(capsys, *data, *words, "--most", "7")
    assert seven["answers"] == whole["answers"][:7]
    assert any(f"{every - 7} more" in note for note in seven["notes"])
    run([*data, *words])
    assert f"{every - 30} more" in capsys.readouterr().err


def test_doubts_that_are_alike_are_counted_one_by_one(tmp_path: Path, capsys: Any) -> None:
    alike = REBADGED.split("- rebadge")[0] + "".join(
        f"- rebadge: [{LARKFIELD}, Quillon {n}]\n" for n in range(1, 9)
    )
    data = ["--data", str(folder_with(tmp_path, [("facts.yaml", alike)]))]
    _, three = ask(capsys, *data, "doubts", LARKFIELD, "--most", "3")
    assert len(three["answers"]) == 3
    assert any(note.startswith("5 more facts are in doubt") for note in three["notes"])


def test_identify_counts_what_it_does_not_show(tmp_path: Path, capsys: Any) -> None:
    data = ["--data", str(folder_with(tmp_path, [("facts.yaml", REBADGED)]))]
    seen = ["identify", "--seen", "stamp=TN7"]
    _, whole = ask(capsys, *data, *seen)
    family = [a for a in whole["answers"] if a["family"] == LARKFIELD]
    run([*data, *seen])
    rest = sum(a["probability"] for a in family[3:])
    assert f"{rest:.4f}  {len(family) - 3} more of this family\n" in capsys.readouterr().out
    _, two = ask(capsys, *data, *seen, "--most", "2")
    assert two["answers"] == whole["answers"][:2]
    assert f"{len(whole['answers']) - 2} more answers are not shown; --most N shows N." in two["notes"]


def test_identify_counts_the_families_that_it_does_not_show(tmp_path: Path, capsys: Any) -> None:
    data = ["--data", str(folder_with(tmp_path, [("facts.yaml", FACTS)]))]
    run([*data, "identify", "--seen", "stamp=TN7"])
    out = capsys.readouterr().out
    assert out.count("the family of") == 4
    assert " 37 more families; --json has all\n" in out


@pytest.mark.parametrize("words", [["likely"], ["identify", "--seen", "stamp=TN7"]], ids=lambda w: w[0])
def test_what_is_less_certain_is_left_out_and_counted(words: list[str], tmp_path: Path, capsys: Any) -> None:
    data = ["--data", str(folder_with(tmp_path, [("facts.yaml", DIFFERING)]))]
    _, whole = ask(capsys, *data, *words)
    least = sorted({a["probability"] for a in whole["answers"]})[1]
    kept = [a for a in whole["answers"] if a["probability"] >= least]
    assert 0 < len(kept) < len(whole["answers"])
    more = len(whole["answers"]) - len(kept)
    note = f"{more} {'answer is' if more == 1 else 'answers are'} less certain than {least} and left out."
    _, few = ask(capsys, *data, *words, "--at-least", f"{least:.20f}")
    assert few["answers"] == kept
    assert note in few["notes"]
    run([*data, *words, "--at-least", f"{least:.20f}"])
    assert note in capsys.readouterr().err
    status, none = ask(capsys, *data, *words, "--at-least", "1")
    assert (status, none["answers"]) == (1, [])


def test_likely_says_what_is_a_scale_of_our_own(tmp_path: Path, capsys: Any) -> None:
    data = ["--data", str(folder_with(tmp_path, [("facts.yaml", DIFFERING)]))]
    _, answer = ask(capsys, *data, "likely")
    assert any("a scale of our own" in note for note in answer["notes"])
    run([*data, "likely"])
    assert "a scale of our own" in capsys.readouterr().err
    _, none = ask(capsys, *data, "likely", "--at-least", "1")
    assert not any("a scale of our own" in note for note in none["notes"])


def test_the_sets_of_one_belt_are_counted_beyond_thirty(tmp_path: Path, capsys: Any) -> None:
    find = ["belt", "find", "--section", "square 1.2 mm", "--inside-length", "240 mm"]
    data = ["--data", str(folder_with(tmp_path, [("facts.yaml", BELTS)]))]
    run([*data, *find])
    assert capsys.readouterr().out.count("and 10 more") == 2
    run([*data, *find, "--most", "40"])
    assert "more" not in capsys.readouterr().out
