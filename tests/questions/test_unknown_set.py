"""A unit of which nobody knows yet what set it is: it stands on the shelf with what was seen of it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from kgraph.collection import NOT_KNOWN_YET
from kgraph.folder import schema
from tests.support import ask, folder_with

FACTS = """\
- set: Larkfield LK-40
  mains: 240 V 50 Hz
- set: Orvanek 2200
  mains: 240 V 50 Hz
- rebadge: [Larkfield LK-40, Orvanek 2200]
  how: compared
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: printed
- position: dial glass
- position: tape counter
- position: line socket
- position: mains fuse
  must match: [mains]
  caution: mains
- unit: U-1
  seen: {bands: [LW, MW], stamp: TN7, dial glass: yes, line socket: no, volume knob: worn}
  role: donor
  state: {tape counter: good, mains fuse: good}
- unit: U-2
  set: Orvanek 2200
  role: patient
  wants: [dial glass, tape counter, mains fuse]
- unit: U-3
  role: patient
  wants: [volume knob, tape counter]
- unit: U-4
  set: Larkfield LK-40
  role: donor
"""
COMMANDS = [
    ["shelf"],
    ["shelf", "U-1"],
    ["plan", "U-3"],
    ["plan", "U-2", "U-3"],
    ["hunt", "U-3"],
    ["sheet", "U-1"],
    ["doubts", "U-3"],
    ["check"],
    ["show", "U-1"],
    ["export", "--to", "turtle"],
    ["export", "--to", "graphml"],
    ["draw", "shelf", "U-3"],
    ["draw", "shelf", "U-2"],
]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    facts = tmp_path / "facts"
    facts.mkdir()
    return folder_with(facts, [("a.yaml", FACTS)])


@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
def test_every_command_lives_with_it(folder: Path, capsys: Any, words: list[str]) -> None:
    assert run(["--data", str(folder), *words]) in (0, 1)
    said = capsys.readouterr()
    assert "?u" not in said.out + said.err


def test_its_places_are_what_was_seen_and_found(folder: Path, capsys: Any) -> None:
    _, found = ask(capsys, "--data", str(folder), "shelf", "U-1")
    [unit] = found["answers"]
    assert unit["set"] is None
    assert {p["position"]: p["condition"] for p in unit["places"]} == {
        "dial glass": None, "mains fuse": "good", "tape counter": "good", "volume knob": "worn",
    }  # fmt: skip
    for words in (["shelf"], ["show", "U-1"], ["sheet", "U-3"], ["plan", "U-3"], ["hunt", "U-3"]):
        run(["--data", str(folder), *words])
        said = capsys.readouterr()
        assert NOT_KNOWN_YET in said.out + said.err, words


def test_two_of_them_are_not_taken_for_one_set(folder: Path, capsys: Any) -> None:
    """Else one would give the other whatever it has."""
    _, found = ask(capsys, "--data", str(folder), "plan", "U-3")
    assert found["lines"] == []
    assert {u["route"] for u in found["unmet"]} == {"hunt"}


def test_something_may_be_taken_from_it_and_put_in(folder: Path, capsys: Any) -> None:
    take = ["--data", str(folder), "take", "tape counter", "--from", "U-1", "--to", "U-3"]
    assert run(take) == 0
    assert "no fact says that it goes on U-3" in capsys.readouterr().out
    assert run(take) == 1
    _, found = ask(capsys, "--data", str(folder), "shelf", "U-3")
    assert found["answers"][0]["wants"] == ["volume knob"]
    run(["--data", str(folder), "show", "U-3"])
    assert "tape counter: good, from U-1, of a set not known yet" in capsys.readouterr().out


def test_once_it_is_known_it_is_as_any_other(folder: Path, capsys: Any) -> None:
    folder_with(folder, [("b.yaml", "- unit: U-3\n  set: Orvanek 2200\n")])
    _, found = ask(capsys, "--data", str(folder), "plan", "U-3", "--rob", "U-2")
    assert [line["unit"] for line in found["lines"]] == ["U-4", "U-4"]


def test_the_book_says_it(folder: Path, tmp_path: Path, capsys: Any) -> None:
    assert run(["--data", str(folder), "book", str(tmp_path / "pages")]) == 0
    pages = "".join(p.read_text(encoding="utf-8") for p in (tmp_path / "pages").rglob("*.html"))
    assert pages.count(NOT_KNOWN_YET) == 5
    assert "?u" not in pages


@pytest.mark.parametrize("form", ["turtle", "csv", "xlsx"])
def test_what_was_seen_comes_back_from_every_format(
    folder: Path, tmp_path: Path, capsys: Any, form: str
) -> None:
    sent = tmp_path / {"turtle": "all.ttl", "csv": "tables", "xlsx": "all.xlsx"}[form]
    assert run(["--data", str(folder), "export", "--to", form, "-o", str(sent)]) == 0
    other = tmp_path / "other"
    other.mkdir()
    folder_with(other, [("a.yaml", "- set: Quillon 31\n")])
    assert run(["--data", str(other), "import", str(sent), "--yes"]) == 0
    _, here = ask(capsys, "--data", str(folder), "show", "U-1")
    _, there = ask(capsys, "--data", str(other), "show", "U-1")
    assert [e["entry"] for e in here["answers"][0]["entries"]] == [
        e["entry"] for e in there["answers"][0]["entries"]
    ]


def test_the_shapes_allow_it(folder: Path) -> None:
    pytest.importorskip("pyshacl")
    assert run(["--data", str(folder), "export", "--to", "turtle", "--validate"]) == 0


@pytest.mark.parametrize(
    ("seen", "says"),
    [
        ("TN7", "text where a mapping belongs"),
        ("{bands: {LW: yes}}", "a mapping where one text belongs"),
        ("{stamp: }", "the value is empty"),
        ("{'?': x}", "no letter and no digit"),
    ],
)
def test_what_cannot_have_been_seen_is_refused(seen: str, says: str) -> None:
    entries, problems = schema.entries_of(f"- unit: U-1\n  seen: {seen}\n".encode(), "a.yaml")
    assert entries == []
    assert any(says in p.says for p in problems)
