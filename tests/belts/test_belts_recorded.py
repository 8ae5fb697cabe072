"""A belt is a belt by whatever name its kind goes, and has one length in whatever way it is written."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from kgraph.belts.recorded import belt_of
from kgraph.cli.loading import load
from kgraph.cli.main import run
from kgraph.cli.settings import Settings
from kgraph.collection import Collection
from kgraph.exchange.merge import MergeWishes, merge

TAKES = """
- takes: B-1
  in: Larkfield LK-40
  position: main belt
"""
OTHER_NAME = """
- kind: belt
  also: [drive belt]
- part: B-1
  kind: drive belt
  section: square 1.25 mm
  inside length: 262 mm
- part: B-2
  kind: belt
  section: square 1.25 mm
  folded: 131 mm
- part: B-3
  kind: drive belt
  section: square 1.25 mm
  folded: 131 mm
"""
NAMED_SO = """
- kind: drive belt
  also: [belt]
- part: B-1
  kind: belt
  section: square 1.25 mm
  inside length: 262 mm
- part: B-2
  kind: drive belt
  section: square 1.25 mm
  folded: 131 mm
"""


@pytest.fixture(params=["index", "no index"])
def kept(request: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], Path]:
    """Writes a folder, which is asked from its index or from its files."""
    monkeypatch.setenv("KGRAPH_CACHE", "off" if request.param == "no index" else str(tmp_path / "cache"))

    def write(text: str) -> Path:
        (tmp_path / "facts").mkdir()
        (tmp_path / "facts" / "a.yaml").write_text(text, encoding="utf-8")
        return tmp_path / "facts"

    return write


def told(folder: Path, capsys: Any, *words: str) -> Any:
    capsys.readouterr()
    run(["--data", str(folder), *words, "--json"])
    return json.loads(capsys.readouterr().out)


def taken(folder: Path, capsys: Any, part: str) -> list[str]:
    """The bases on which the sets take a part, asked twice: of a new index, and of one that stands."""
    answers = [told(folder, capsys, "takers", part)["answers"] for _ in range(2)]
    assert answers[0] == answers[1]
    return [f"{a['set']} {' '.join(a['basis'])}" for a in answers[0]]


def checked(folder: Path, capsys: Any) -> list[tuple[str, int]]:
    """The codes of what `check` finds about belts, each with its line."""
    found = told(folder, capsys, "check")
    codes = ("belt-sizes", "wrong-quantity", "lengths-disagree", "unread-size", "entries-disagree")
    return [(p["code"], p["line"]) for p in (*found["errors"], *found["warnings"]) if p["code"] in codes]


def data_of(folder: Path) -> Collection:
    return load(Settings((folder,))).graph.data


def length(folder: Path, part: str) -> float:
    belt = belt_of(data_of(folder), part)
    assert belt is not None
    return belt.inside_length_mm


# The name of the kind ---------------------------------------------------------------------------


@pytest.mark.parametrize("text", [OTHER_NAME, NAMED_SO])
def test_a_kind_with_another_name_is_that_of_belts(
    kept: Callable[[str], Path], capsys: Any, text: str
) -> None:
    folder = kept(text + TAKES)
    for part in data_of(folder).known("part").values():
        assert length(folder, part.replace("-", "").lower()) == 262
        basis = "stated facts" if part == "B-1" else "size"
        (found,) = taken(folder, capsys, part)
        assert found.startswith("Larkfield LK-40")
        assert basis in found
    assert checked(folder, capsys) == []
    (answer,) = told(folder, capsys, "belt", "family", "Larkfield LK-40")["answers"]
    assert answer["belt"] == "B-1"
    doubts = told(folder, capsys, "doubts")["answers"]
    assert any(a["to do"].startswith("measure the main belt of") for a in doubts)


def test_a_belt_without_sizes_is_told_of_by_any_name(kept: Callable[[str], Path], capsys: Any) -> None:
    folder = kept(NAMED_SO + "- part: B-3\n  kind: belt\n- part: B-4\n  kind: drive belt\n")
    assert checked(folder, capsys) == [("belt-sizes", 12), ("belt-sizes", 14)]


def test_parts_said_to_be_the_same_are_compared_as_belts(kept: Callable[[str], Path], capsys: Any) -> None:
    folder = kept(NAMED_SO.replace("131 mm", "120 mm") + "- same: [B-1, B-2]\n")
    found = told(folder, capsys, "check")
    (says,) = [p["says"] for p in found["warnings"] if p["code"] == "same-but-differ"]
    assert "inside length" in says


def test_a_length_without_its_unit_is_refused_of_every_kind(kept: Callable[[str], Path], capsys: Any) -> None:
    folder = kept("- part: S-1\n  kind: drive belt\n  inside length: 262\n")
    assert run(["--data", str(folder), "takers", "S-1", "--strict"]) == 3
    assert "did you mean 262 mm?" in capsys.readouterr().err


PLAIN = """
- part: C-1
  kind: cloth
  folded: twice
- part: C-2
  kind: tube
  inside length: 40 mm
  inside diameter: 2 mm
- part: C-3
  kind: label
  folded: [once, twice]
- part: C-4
  kind: tube
  inside length: 40 mm
  inside diameter: 30 mm
- part: C-4
  inside length: 50 mm
- part: C-5
  kind: bag
  folded: 3
"""


def test_other_kinds_keep_what_they_call_so_as_it_is(kept: Callable[[str], Path], capsys: Any) -> None:
    folder = kept(PLAIN)
    data = data_of(folder)
    assert all(data.inside_length_mm(t) is None for things in data.things["part"].values() for t in things)
    assert data.attribute("part", "c1", "folded") == ["twice"]
    # The two lengths of one tube are two sizes; two entries of it that disagree are told of, key by key.
    assert checked(folder, capsys) == [("entries-disagree", 16)]


def test_other_kinds_are_compared_by_each_size_as_written(kept: Callable[[str], Path], capsys: Any) -> None:
    tubes = """
- kind: tube
  generic: yes
  compare: {inside length: same, inside diameter: 0.1 mm}
- part: B-1
  kind: tube
  inside length: 40 mm
  inside diameter: 4 mm
- part: B-2
  kind: tube
  inside diameter: 4.05 mm
  inside length: 40 mm
- part: B-3
  kind: tube
  inside length: 40 mm
"""
    folder = kept(tubes + TAKES)
    assert len(taken(folder, capsys, "B-2")) == 1
    assert taken(folder, capsys, "B-3") == []


BY_ANOTHER_NAME = """
- kind: belt
  also: [drive belt]
- part: B-1
  kind: drive belt
  section: square 1.25 mm
  folded: loosely
  inside length: 262 mm
- part: B-2
  kind: drive belt
  section: square 1.25 mm
  folded: 131 mm
  inside diameter: 90 mm
- part: B-3
  kind: drive belt
  section: square 1.25 mm
  inside length: [262 mm]
- part: B-3
  kind: tube
  folded: twice
"""


def test_a_length_that_only_the_folder_shows_to_be_a_belts_is_checked(
    kept: Callable[[str], Path], capsys: Any
) -> None:
    folder = kept(BY_ANOTHER_NAME)
    assert [f for f in checked(folder, capsys) if f[0] != "entries-disagree"] == [
        ("wrong-quantity", 4),
        ("wrong-quantity", 14),
        ("lengths-disagree", 9),
        ("belt-sizes", 14),
    ]
    assert length(folder, "b1") == 262


def test_a_belt_of_another_folder_is_one_by_our_other_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("KGRAPH_CACHE", "off")
    belt = "- part: B-1\n  kind: drive belt\n  section: square 1.25 mm\n"
    for name, text in (
        ("ours", f"- kind: belt\n  also: [drive belt]\n{belt}  inside length: 262 mm\n"),
        ("theirs", f"{belt}  folded: 131 mm\n- part: T-1\n  kind: tube\n  folded: 131 mm\n"),
    ):
        (tmp_path / name).mkdir()
        (tmp_path / name / "a.yaml").write_text(text, encoding="utf-8")
    ours, theirs = (data_of(tmp_path / name) for name in ("ours", "theirs"))
    merged = merge(ours, theirs, MergeWishes(origin="theirs"))
    assert merged.conflicts == []
    assert [p["part"] for pairs in merged.entries if "part" in (p := dict(pairs))] == ["T-1"]


# The ways to write its length -------------------------------------------------------------------

ORDERS = """
- part: B-1
  kind: belt
  section: square 1.25 mm
  folded: 129 mm
  inside length: 263 mm
- part: B-2
  kind: belt
  section: square 1.25 mm
  inside length: 263 mm
  folded: 129 mm
- part: B-3
  kind: belt
  section: square 1.25 mm
  folded: about 130 mm
  inside diameter: 83 mm
"""


def test_of_several_ways_to_write_a_length_one_counts_in_any_order(kept: Callable[[str], Path]) -> None:
    folder = kept(ORDERS)
    assert [length(folder, part) for part in ("b1", "b2")] == [263, 263]
    belt = belt_of(data_of(folder), "b3")
    assert belt is not None
    assert belt.inside_length_mm == pytest.approx(260.7522)
    assert not belt.about
    for things in data_of(folder).things["part"].values():
        for thing in things:
            assert data_of(folder).inside_length_mm(thing) == length(folder, thing.name.key)


def test_two_entries_are_compared_by_the_way_that_counts(kept: Callable[[str], Path], capsys: Any) -> None:
    again = "- part: B-1\n  inside length: 263.4 mm\n  folded: 129 mm\n- part: B-2\n  folded: 131 mm\n"
    folder = kept(ORDERS + again)
    assert ("entries-disagree", 17) in checked(folder, capsys)
    assert ("entries-disagree", 20) not in checked(folder, capsys)


COMPARED = """
- kind: belt
  compare: {{section: 0.1 mm, {rule}}}
- part: B-1
  kind: belt
  section: square 1.25 mm
  {one}
- part: B-2
  kind: belt
  section: square 1.25 mm
  {other}
"""


@pytest.mark.parametrize(
    ("rule", "one", "other", "equal"),
    [
        ("folded: 1 mm", "folded: 131 mm", "folded: 131.8 mm", True),
        ("folded: 1 mm", "folded: 131 mm", "inside length: 263.6 mm", True),
        ("folded: 1 mm", "folded: 131 mm", "folded: 132.2 mm", False),
        ("inside diameter: 1 mm", "inside diameter: 83 mm", "inside length: 260.75 mm", True),
        ("inside diameter: 1 mm", "inside diameter: 83 mm", "inside length: 263.5 mm", True),
        ("inside diameter: 1 mm", "inside diameter: 83 mm", "folded: 133 mm", False),
        ("inside diameter: same", "inside diameter: 83 mm", "inside diameter: 83 mm", True),
        ("inside length: 1 mm", "folded: 131 mm", "folded: 131.8 mm", False),
        ("inside length: 1 mm", "folded: 131 mm", "folded: 131.4 mm", True),
    ],
)
def test_the_length_is_compared_in_the_way_that_the_rule_names(
    kept: Callable[[str], Path], capsys: Any, rule: str, one: str, other: str, equal: bool
) -> None:
    folder = kept(COMPARED.format(rule=rule, one=one, other=other) + TAKES)
    assert len(taken(folder, capsys, "B-2")) == equal


# Its run ----------------------------------------------------------------------------------------

RUN = """
- run: main belt
  in: {name}
  how: measured
  pulleys:
    - {{name: motor, x: 0 mm, y: 0 mm, diameter: 9.2 mm, drives: yes}}
    - {{name: flywheel, x: {x} mm, y: 5 mm, diameter: 58 mm}}
"""
DESIGN = "- rebadge: [Larkfield LK-40, Orvanek 2200]\n- rebadge: [Quillon 31, Orvanek 2200]\n"


@pytest.mark.parametrize(("third", "says"), [(62, ""), (63, "2 different runs are recorded here")])
def test_the_same_run_of_two_sets_is_one(
    kept: Callable[[str], Path], capsys: Any, third: int, says: str
) -> None:
    runs = [("Larkfield LK-40", 62), ("Orvanek 2200", 62), ("Quillon 31", third)]
    folder = kept(DESIGN + "".join(RUN.format(name=name, x=x) for name, x in runs))
    run(["--data", str(folder), "belt", "path", "Larkfield LK-40", "--section", "square 1.25 mm"])
    shown = "".join(capsys.readouterr())
    assert "path along the mid-line" in shown
    assert ("different runs" in shown) == bool(says)
    assert says in shown
