"""The beginning of an id stands for it, where no other begins so; doubts that are alike are told as one."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from kgraph import collection, lookup
from kgraph.cli.main import run
from kgraph.problems import WrongUse
from tests.support import ask, folder_with, graph_of

FACTS = "- rebadge: [Larkfield LK-40, Orvanek 2200]\n  how: compared\n" + "".join(
    f"- takes: K-{n}\n  in: Larkfield LK-40\n  position: knob {n}\n  how: reported\n" for n in range(6)
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return folder_with(tmp_path, [("facts.yaml", FACTS)])


def test_show_withdraw_and_correct_take_the_beginning_that_doubts_prints(folder: Path, capsys: Any) -> None:
    data = ["--data", str(folder)]
    ids = sorted(graph_of(FACTS).data.facts)
    assert run([*data, "show", ids[0][:8]]) == 0
    assert ids[0] in capsys.readouterr().out
    assert run([*data, "withdraw", ids[1][:6], "--why", "misread label", "--yes"]) == 0
    assert run([*data, "correct", ids[2][:8], "how", "fitted", "--yes"]) == 0
    written = "".join(path.read_text(encoding="utf-8") for path in folder.glob("*.yaml"))
    assert f"- withdraw: {ids[1]}\n" in written
    assert f"corrects: {ids[2]}\n" in written


@pytest.mark.parametrize("corrected", [False, True])
def test_without_takes_the_beginning_of_an_id_also_of_what_was_corrected(
    corrected: bool, folder: Path, capsys: Any
) -> None:
    data = ["--data", str(folder)]
    one = next(f.id for f in graph_of(FACTS).data.facts.values() if f.kind == "rebadge")
    if corrected:
        assert run([*data, "correct", one, "how", "fitted", "--yes"]) == 0
    for name in (one, one[:8]):
        status, answer = ask(capsys, *data, "sisters", "Larkfield LK-40", "--without", name)
        assert (status, answer["answers"]) == (1, [])
        assert [row["set"] for row in answer["changed"]["lost"]] == ["Orvanek 2200"]


def test_too_short_and_unknown_beginnings_are_refused(folder: Path, capsys: Any) -> None:
    data = ["--data", str(folder)]
    one = next(iter(graph_of(FACTS).data.facts))
    assert run([*data, "withdraw", one[:5], "--why", "x", "--yes"]) == 2
    assert run([*data, "show", "0" * 8]) == 2
    assert [path.name for path in folder.glob("*.yaml")] == ["facts.yaml"]


def test_a_beginning_of_several_ids_is_refused_with_them() -> None:
    data = graph_of(FACTS).data
    one, other = list(data.facts.values())[:2]
    alike = [one._replace(id="abcdef" + "0" * 10, ids=()), other._replace(id="abcdef" + "1" * 10, ids=())]
    data.facts.clear()
    data.facts.update({f.id: f for f in alike})
    with pytest.raises(
        WrongUse, match="2 ids begin with abcdef; say which: abcdef0000000000, abcdef1111111111"
    ):
        lookup.whole_id(data, "abcdef")
    assert lookup.whole_id(data, "abcdef0") == alike[0].id


def test_a_whole_id_and_any_other_text_stay_as_they_are() -> None:
    data = graph_of(FACTS).data
    assert isinstance(data, collection.Collection)
    for text in (*data.facts, "K-114", "bench-17", ""):
        assert lookup.whole_id(data, text) == text


def test_a_name_is_no_beginning_of_an_id(tmp_path: Path, capsys: Any) -> None:
    one = next(iter(graph_of(FACTS).data.facts))
    folder = folder_with(tmp_path, [("facts.yaml", f"{FACTS}- part: {one[:8]}\n")])
    _, found = ask(capsys, "--data", str(folder), "show", one[:8])
    assert one[:8] in str(found)
    assert one not in str(found)


def test_doubts_that_are_alike_are_told_as_one(folder: Path, capsys: Any) -> None:
    assert run(["--data", str(folder), "doubts"]) == 0
    out, err = capsys.readouterr()
    assert "one of 6 facts on which 2 answers hang each, of 60 %" in out
    assert len(out.splitlines()) == 2
    assert "in doubt" not in err
    assert run(["--data", str(folder), "doubts", "--most", "1"]) == 0
    assert "1 more fact is in doubt (1 fact on which 6 answers hang each)" in capsys.readouterr().err
    _, found = ask(capsys, "--data", str(folder), "doubts")
    assert len(found["answers"]) == 7
    assert [len(group["facts"]) for group in found["alike"]] == [6]


def test_show_says_that_the_certainties_are_a_scale_of_our_own(folder: Path, capsys: Any) -> None:
    note = "Certainties come from the grades, a scale of our own; a folder can override each."
    for name, told in (("Larkfield LK-40", [note]), (sorted(graph_of(FACTS).data.facts)[0], [note])):
        assert ask(capsys, "--data", str(folder), "show", name)[1]["notes"] == told
        assert run(["--data", str(folder), "show", name]) == 0
        assert capsys.readouterr().err == f"{note}\n"
    assert ask(capsys, "--data", str(folder), "show", "mains fuse")[1]["notes"] == []
