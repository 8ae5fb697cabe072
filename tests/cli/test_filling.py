"""`add` on a terminal asks for what the trade records, field by field, and `add KIND --help` lists it."""

from __future__ import annotations

import io
import shlex
import sys
from pathlib import Path
from typing import Any

import pytest

from kgraph import words
from kgraph.cli import adding
from kgraph.cli.filling import Pairs, joined, mapping
from kgraph.cli.main import run
from kgraph.folder import entry_keys, schema, writing
from kgraph.usual_keys import PARTS, Key, of_kind, of_part
from tests.support import folder_with, graph_of_folder

FACTS = """\
- set: Larkfield LK-40
  mains: 240 V 50 Hz
- position: volume knob
- kind: knob
  compare: {shaft: same, knurls: same}
- unit: U-1
  set: Larkfield LK-40
"""


class Terminal(io.StringIO):
    """What is typed, as a terminal gives it."""

    def isatty(self) -> bool:
        return True


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return folder_with(tmp_path, [("facts.yaml", FACTS)])


def typed(folder: Path, monkeypatch: pytest.MonkeyPatch, *lines: str) -> int:
    monkeypatch.setattr(sys, "stdin", Terminal("".join(f"{line}\n" for line in lines)))
    return run(["--data", str(folder), "add"])


def written(folder: Path) -> str:
    return (folder / "bench.yaml").read_text(encoding="utf-8")


def test_a_set_is_asked_what_is_read_off_it(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    fields = ["Orvanek 2200", "", "DE", "1982", "220 V 50 Hz", "LW; MW", "line socket", "", ""]
    assert typed(folder, monkeypatch, "set", *fields, "y") == 0
    assert written(folder) == (
        "- set: Orvanek 2200\n  market: DE\n  years: 1982\n  mains: 220 V 50 Hz\n"
        "  bands: [LW, MW]\n  features: line socket\n"
    )
    said = capsys.readouterr()
    asked = [said.out.index(f"{key}, like ") for key in ("market", "years", "mains (as on the type plate)")]
    assert asked == sorted(asked)
    assert "no mains is said" not in said.err


def test_a_set_without_mains_is_warned_of_once_at_the_end(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    assert typed(folder, monkeypatch, "set", "Orvanek 2200", *[""] * 8, "y") == 0
    said = capsys.readouterr()
    assert said.err.count("no mains is said") == 1
    assert written(folder) == "- set: Orvanek 2200\n"


def test_a_belt_is_asked_its_section_and_length_and_a_wrong_one_again(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    fields = ["SQ 1.25 x 262", "", "belt", "Larkfield=440 1882"]
    belt = ["square 1.25", "square 1.25 mm", "262", "262 mm", ""]
    assert typed(folder, monkeypatch, "part", *fields, *belt, "", "", "y") == 0
    assert written(folder) == (
        "- part: SQ 1.25 x 262\n  kind: belt\n  numbers: {Larkfield: 440 1882}\n"
        "  section: square 1.25 mm\n  inside length: 262 mm\n"
    )
    said = capsys.readouterr().err
    assert "did you mean 1.25 mm?" in said
    assert "did you mean 262 mm?" in said


def test_a_knob_is_asked_what_the_folder_compares_as_well(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    keys = [key.name for key in of_part("Knob", ("shaft", "knurls"))]
    assert keys == ["shaft", "bore", "depth", "diameter", "height", "colour", "knurls"]
    values = ["6 mm D", "", "14 mm", "", "", "", "18"]
    assert typed(folder, monkeypatch, "part", "K-114", "", "knob", "", *values, "", "", "y") == 0
    assert written(folder) == "- part: K-114\n  kind: knob\n  shaft: 6 mm D\n  depth: 14 mm\n  knurls: 18\n"


def test_a_unit_is_asked_its_state_wants_and_what_was_seen(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    fields = ["U-9", "", "patient", "volume knob; x", "volume knob=missing", "volume knob"]
    seen = ["bands=LW; bands=MW; stamp=TN7", "11", "", ""]
    assert typed(folder, monkeypatch, "unit", *fields, *seen, "y") == 0
    assert written(folder) == (
        "- unit: U-9\n  role: patient\n  state: {volume knob: missing}\n  wants: [volume knob]\n"
        "  seen: {bands: [LW, MW], stamp: TN7}\n"
    )
    said = capsys.readouterr().err
    assert "state: 'volume knob' is not NAME=VALUE" in said
    assert "keep: " in said


def test_a_word_that_is_not_allowed_gets_those_that_are(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    fields = ["K-114", "Larkfield LK-40", "volume knob", "orignal", "original", "sure", "printed"]
    assert typed(folder, monkeypatch, "takes", *fields, "", "", "yesterday", "2026-03-01", "", "y") == 0
    said = capsys.readouterr().err
    assert "orignal is not a role of a part; use one of original, substitute" in said
    assert "sure is not a grade; use one of fitted, measured, printed," in said
    assert "yesterday is not a date; write it like 2026-03-31" in said
    assert written(folder).count("\n") == 6


def test_what_the_folder_refuses_is_asked_again_with_what_was_typed(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    """U-1 is another set by the folder: Enter keeps what was typed, only the set is typed anew."""
    first = ["U-1", "Norvane 7", "donor", "", "", "", "3", "a note"]
    again = ["", "Larkfield LK-40", "", "", "", "", "", ""]
    assert typed(folder, monkeypatch, "unit", *first, *again, "y") == 0
    assert (
        written(folder) == "- unit: U-1\n  set: Larkfield LK-40\n  role: donor\n  keep: 3\n  note: a note\n"
    )
    assert "Enter keeps what was typed" in capsys.readouterr().err


def test_a_run_is_asked_its_pulleys(folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    one = "name=motor, x=0 mm, y=0 mm, diameter=9.2 mm"
    other = "name=flywheel, x=62 mm, y=5 mm, diameter=58 mm"
    fields = ["main belt", "Larkfield LK-40", "name=motor, x=0", f"{one}; {other}", "", ""]
    assert typed(folder, monkeypatch, "run", *fields, "measured", "", "", "", "", "y") == 0
    assert "diameter: 58 mm" in written(folder)
    assert "'0' has no unit; did you mean 0 mm?" in capsys.readouterr().err


# The table ------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", words.KINDS)
def test_the_table_has_every_key_of_a_kind(kind: str) -> None:
    assert {key.name for key in of_kind(kind)} >= set(entry_keys.keys_of(kind)) - {"section", "hardness"}
    assert of_kind(kind)[0].name == kind


def value_of(kind: str, key: Key) -> Any:
    each = [one.strip() for one in key.example.split(";")]
    if key.name == "pulleys":
        return [mapping("", one, ",") for one in each]
    if words.is_mapping(kind, key.name):
        return joined(mapping("", one) for one in each)
    return each if key.name in words.LISTS and not key.name == kind == "caution" else key.example


@pytest.mark.parametrize(
    ("kind", "sort"), [*((kind, "") for kind in words.KINDS), *(("part", s) for s in PARTS)]
)
def test_every_example_is_right(kind: str, sort: str) -> None:
    more = of_part(sort) if sort else ()
    pairs: Pairs = [(key.name, value_of(kind, key)) for key in of_kind(kind)]
    if sort:
        pairs = [("part", "X"), ("kind", sort), *((key.name, value_of(kind, key)) for key in more)]
    entries, problems = schema.entries_of(writing.entry_text(pairs).encode(), "x.yaml")
    assert problems == []
    assert len(entries) == 1


@pytest.mark.parametrize("kind", words.KINDS)
def test_the_help_of_a_kind_lists_its_keys_with_an_example_that_runs(
    folder: Path, capsys: Any, kind: str
) -> None:
    assert run(["add", kind, "--help"]) == 0
    said = capsys.readouterr().out
    for key in of_kind(kind)[1:]:
        assert f"--{'pulley' if key.name == 'pulleys' else key.name.replace(' ', '-')} " in said
    assert "kgraph add " + kind in " ".join(said.split())
    words_given = shlex.split(adding._example(kind))[1:]
    if kind == "withdraw":
        assert run(["--data", str(folder), "add", "same", "K-114", "440 1882", "--yes"]) == 0
        words_given[2] = next(iter(graph_of_folder(folder).data.facts))
    assert run(["--data", str(folder), *words_given, "--yes"]) in (
        (0, 1) if kind in ("taken", "restored") else (0,)
    )


def test_the_help_without_a_kind_says_how_to_see_the_keys(capsys: Any) -> None:
    assert run(["add", "--help"]) == 0
    assert "kgraph add KIND --help" in " ".join(capsys.readouterr().out.split())
