"""Things are renamed, and facts are still found by every id that they ever had."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kgraph.cli.main import run
from kgraph.collection.sayings import unknown_withdraws
from tests.support import ask, folder_with, graph_of, graph_of_folder

SETS = "- set: Larkfield LK-40\n- set: Orvanek 2200\n- assembly: TN7 mechanism\n"
REBADGE = "- rebadge: [Larkfield LK-40, Orvanek 2200]\n  except: [line socket]\n  how: compared\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return folder_with(tmp_path, [("a.yaml", SETS + REBADGE)])


def the_id(folder: Path) -> str:
    (fact,) = graph_of_folder(folder).data.facts.values()
    return fact.id


def kgraph(folder: Path, *words: str) -> int:
    return run(["--data", str(folder), *words])


def sisters(folder: Path, capsys: Any, name: str) -> list[str]:
    _, found = ask(capsys, "--data", str(folder), "sisters", name)
    return [a["set"] for a in found.get("answers", [])]


def test_a_renamed_set_is_shown_by_its_new_name_and_known_by_both(folder: Path, capsys: Any) -> None:
    before = the_id(folder)
    assert kgraph(folder, "rename", "Larkfield LK-40", "Larkfield LK-41", "--yes") == 0
    assert the_id(folder) == before
    assert sisters(folder, capsys, "Orvanek 2200") == ["Larkfield LK-41"]
    assert sisters(folder, capsys, "Larkfield LK-40") == ["Orvanek 2200"]
    assert sisters(folder, capsys, "Larkfield LK-41") == ["Orvanek 2200"]


def test_renamed_again_and_back(folder: Path, capsys: Any) -> None:
    for number, (old, new) in enumerate([("LK-40", "LK-41"), ("LK-41", "LK-42"), ("LK-42", "LK-40")], 1):
        words = ["rename", f"Larkfield {old}", f"Larkfield {new}", "--date", f"2026-01-0{number}", "--yes"]
        assert kgraph(folder, *words) == 0
        assert sisters(folder, capsys, "Orvanek 2200") == [f"Larkfield {new}"]


@pytest.mark.parametrize("mark", ["withdraw", "correct"])
def test_what_was_taken_back_stays_so_after_a_renaming(folder: Path, capsys: Any, mark: str) -> None:
    words = ["--why", "misread"] if mark == "withdraw" else ["how", "guess"]
    one = the_id(folder)
    assert kgraph(folder, mark, one, *words, "--yes") == 0
    before = {f.certainty for f in graph_of_folder(folder).data.facts.values()}
    assert kgraph(folder, "rename", "Larkfield LK-40", "Larkfield LK-41", "--yes") == 0
    assert {f.certainty for f in graph_of_folder(folder).data.facts.values()} == before
    assert kgraph(folder, "check") == 0


def test_what_was_taken_back_stays_so_after_a_renaming_by_hand(folder: Path, capsys: Any) -> None:
    """The name is changed in the entry itself, and the old one put into `also`."""
    one = the_id(folder)
    assert kgraph(folder, "withdraw", one, "--why", "misread", "--yes") == 0
    for text in (SETS + REBADGE, SETS + REBADGE.replace("LK-40", "LK-41")):
        changed = text.replace("set: Larkfield LK-40", "set: Larkfield LK-41\n  also: [Larkfield LK-40]")
        folder_with(folder, [("a.yaml", changed)])
        assert graph_of_folder(folder).data.facts == {}
        assert sisters(folder, capsys, "Orvanek 2200") == []
        assert kgraph(folder, "check") == 0
    assert kgraph(folder, "show", one) == 0


NAMES = (
    st.sampled_from(["A 1", "A 2", "A 3"]),
    st.sampled_from(["B 1", "B 2"]),
    st.sampled_from(["back", "lid"]),
)


@settings(max_examples=60, deadline=None)
@given(*NAMES, *NAMES, st.booleans())
def test_a_fact_is_found_under_every_name_of_its_things(
    a: str, b: str, place: str, a2: str, b2: str, place2: str, excepted: bool
) -> None:
    things = "- set: A 1\n  also: [A 2, A 3]\n- set: B 1\n  also: [B 2]\n- position: back\n  also: [lid]\n"
    line = "- rebadge: [{}, {}]\n" + ("  except: [{}, shell]\n" if excepted else "")
    (then,) = graph_of(line.format(a, b, place)).data.facts.values()
    now = things + line.format(a2, b2, place2) + f"- withdraw: {then.id}\n  why: misread\n"
    data = graph_of(now).data
    assert data.facts == {}
    assert unknown_withdraws(data) == []


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["Larkfield LK-40", "Orvanek 2200"], "is another set already"),
        (["Larkfield LK-40", "Larkfield LK-40"], "already; nothing was written"),
        (["Larkfield LK-4", "X 1"], "Larkfield LK-40"),
        (["Larkfield LK-40", "--"], "no letter and no digit"),
    ],
)
def test_what_cannot_be_renamed_is_told(folder: Path, capsys: Any, more: list[str], says: str) -> None:
    before = (folder / "a.yaml").read_bytes()
    assert kgraph(folder, "rename", "--yes", "--", *more) == 2
    told = capsys.readouterr()
    assert says in told.out + told.err
    assert [p.read_bytes() for p in folder.glob("*.yaml")] == [before]


@pytest.mark.parametrize("key", ["withdraw", "corrects"])
def test_an_id_that_no_fact_has_is_an_error_with_the_nearest_fact(
    folder: Path, capsys: Any, key: str
) -> None:
    one = the_id(folder)
    slip = one[:-1] + ("0" if one[-1] != "0" else "1")
    entry = f"- withdraw: {slip}\n" if key == "withdraw" else f"{REBADGE}  corrects: {slip}\n"
    folder_with(folder, [("b.yaml", entry)])
    status, found = ask(capsys, "--data", str(folder), "check")
    assert status == 1
    (problem,) = [p for p in found["errors"] if p["code"] == "unknown-withdraw"]
    assert one in str(problem)
