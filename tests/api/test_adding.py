"""What a program adds: the same bytes as the command `add` writes, or its message and nothing."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

import kgraph
from kgraph.cli.main import run
from tests.support import folder_with

FACTS = """\
- set: Larkfield LK-40
- set: Orvanek 2200
- rebadge: [Larkfield LK-40, Orvanek 2200]
  how: compared
  id: design
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
- unit: U-1
  set: Larkfield LK-40
  role: donor
- unit: U-2
  set: Orvanek 2200
  wants: [volume knob]
"""
SHELF = "- inspected: volume knob\n  of: U-1\n  state: good\n"

GOOD: dict[str, tuple[list[str], Callable[[kgraph.Folder], str]]] = {
    "rebadge": (
        ["rebadge", "Orvanek 2200", "Quillon 31", "--except", "line socket", "--trust", "0.5"],
        lambda f: f.add("rebadge", "Orvanek 2200", "Quillon 31", except_=["line socket"], trust=0.5),
    ),
    "fits": (
        ["fits", "Quillon 31", "--position", "volume knob", "--to", "Larkfield LK-40", "--both-ways", "yes"],
        lambda f: f.add("fits", "Quillon 31", position="volume knob", to="Larkfield LK-40", both_ways=True),
    ),
    "set": (
        ["set", "Quillon 31", "--bands", "MW", "--bands", "FM", "--file", "sets.yaml"],
        lambda f: f.add("set", "Quillon 31", bands=["MW", "FM"], file="sets.yaml"),
    ),
    "unit": (
        ["unit", "U-3", "--set", "Quillon 31", "--state", "dial glass=cracked"],
        lambda f: f.add("unit", "U-3", set="Quillon 31", state={"dial glass": "cracked"}),
    ),
    "withdraw": (
        ["withdraw", "design", "--why", "misread label"],
        lambda f: f.add("withdraw", "design", why="misread label"),
    ),
    "event": (
        ["taken", "volume knob", "--from", "U-1", "--to", "U-2", "--date", "2026-01-02"],
        lambda f: f.add("taken", "volume knob", from_="U-1", to="U-2", date="2026-01-02"),
    ),
    "new place like a known one": (
        ["takes", "K-115", "--in", "Orvanek 2200", "--position", "volum knob"],
        lambda f: f.add("takes", "K-115", in_="Orvanek 2200", position="volum knob", sure=True),
    ),
}  # fmt: skip
BAD: dict[str, tuple[list[str], Callable[[kgraph.Folder], str]]] = {
    "no such kind": (["rebadges", "A 1", "B 2"], lambda f: f.add("rebadges", "A 1", "B 2")),
    "no name": (["set"], lambda f: f.add("set")),
    "no such key": (
        ["rebadge", "Orvanek 2200", "Quillon 31", "--colour", "red"],
        lambda f: f.add("rebadge", "Orvanek 2200", "Quillon 31", colour="red"),
    ),
    "no such grade": (
        ["rebadge", "Orvanek 2200", "Quillon 31", "--how", "guessing"],
        lambda f: f.add("rebadge", "Orvanek 2200", "Quillon 31", how="guessing"),
    ),
    "no such id": (["withdraw", "nothing", "--why", "x"], lambda f: f.add("withdraw", "nothing", why="x")),
    "not there": (
        ["taken", "volume knob", "--from", "U-1", "--to", "U-2", "--file", "a.yaml"],
        lambda f: f.add("taken", "volume knob", from_="U-1", to="U-2", file="a.yaml"),
    ),
    "outside": (["set", "A 1", "--file", "../x.yaml"], lambda f: f.add("set", "A 1", file="../x.yaml")),
}


@pytest.fixture
def folders(tmp_path: Path) -> tuple[Path, Path]:
    """Two folders alike: one for the command, one for the program."""
    for name in "ab":
        (tmp_path / name / "facts").mkdir(parents=True)
        folder_with(tmp_path / name / "facts", [("facts.yaml", FACTS), ("shelf.yaml", SHELF)])
    return tmp_path / "a" / "facts", tmp_path / "b" / "facts"


def _files(folder: Path) -> dict[str, bytes]:
    return {
        str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.suffix in (".yaml", ".png")
    }


@pytest.mark.parametrize("name", GOOD)
@pytest.mark.filterwarnings("ignore::kgraph.api.writing.Doubtful")
def test_the_same_is_written_as_by_the_command(name: str, folders: tuple[Path, Path]) -> None:
    mine, theirs = folders
    words, add = GOOD[name]
    before = _files(mine)
    assert run(["--data", str(mine), "add", *words, "--yes"]) == 0
    folder = kgraph.open(theirs)
    made = add(folder)
    assert _files(theirs) == _files(mine) != before
    if name == "withdraw":
        # A withdrawal is not shown by itself; by its id it can be taken back.
        assert folder.add("withdraw", made, why="right after all")
        assert folder.show("design").fact
        return
    shown = folder.show(made)
    assert made in {
        shown.answers[0].name if shown.answers else "",
        *(o.id for o in (shown.fact, shown.event) if o),
    }


@pytest.mark.parametrize("name", BAD)
def test_what_the_command_refuses_is_refused_with_its_message(
    name: str, folders: tuple[Path, Path], capsys: Any
) -> None:
    mine, theirs = folders
    if name == "not there":
        # It was taken before, and an event that is read earlier cannot have been after that.
        for folder in folders:
            folder_with(folder, [("shelf.yaml", SHELF + "- taken: volume knob\n  from: U-1\n")])
    words, add = BAD[name]
    before = _files(theirs)
    assert run(["--data", str(mine), "add", *words, "--yes"]) != 0
    said = capsys.readouterr().err.replace(str(mine), str(theirs))
    with pytest.raises(kgraph.Stop) as caught:
        add(kgraph.open(theirs))
    for line in str(caught.value).splitlines():
        assert line in said.splitlines()
    assert _files(theirs) == before


def test_a_new_place_like_a_known_one_is_refused_unless_it_is_meant(folders: tuple[Path, Path]) -> None:
    folder = kgraph.open(folders[0])
    with pytest.raises(kgraph.WrongUse, match="nearly volume knob"):
        folder.add("takes", "K-115", in_="Orvanek 2200", position="volum knob")
    assert _files(folders[0]) == _files(folders[1])


def test_what_is_doubtful_is_a_warning_of_the_line_that_adds(folders: tuple[Path, Path]) -> None:
    folder = kgraph.open(folders[0])
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        folder.add("takes", "K-114", in_="Orvanek 2201", position="volume knob")
        folder.add("takes", "K-114", in_="Orvanek 2200", position="volume knob")
    assert [w.category for w in caught] == [kgraph.Doubtful]
    assert "Orvanek 2201 (did you mean Orvanek 2200?)" in str(caught[0].message)
    assert caught[0].filename == __file__


def test_a_photograph_is_kept_as_the_command_keeps_it(folders: tuple[Path, Path], tmp_path: Path) -> None:
    Image.new("RGB", (30, 20), "teal").save(tmp_path / "front.png")
    photo = str(tmp_path / "front.png")
    assert run(["--data", str(folders[0]), "add", "set", "Quillon 31", "--photo", photo, "--yes"]) == 0
    kgraph.open(folders[1]).add("set", "Quillon 31", photo=photo)
    assert _files(folders[0]) == _files(folders[1])
    assert any(name.startswith("photos/") for name in _files(folders[1]))


def test_nothing_is_added_to_what_is_only_supposed_or_cannot_be_read(folders: tuple[Path, Path]) -> None:
    before = _files(folders[0])
    with pytest.raises(kgraph.WrongUse, match="only supposed"):
        kgraph.open(folders[0]).without("design").add("set", "A 1")
    assert _files(folders[0]) == before
    folder_with(folders[0], [("bad.yaml", "- sett: Norvane 7\n")])
    with pytest.raises(kgraph.CannotRun, match=r"bad\.yaml:1"):
        kgraph.open(folders[0]).add("set", "A 1")
