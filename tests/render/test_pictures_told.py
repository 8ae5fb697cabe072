"""What no file of a picture may lose: warnings, cautions, what was left out, what is only supposed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from kgraph import questions
from kgraph.cli.main import run
from kgraph.fits.graph import Graph
from kgraph.questions import Row, Wanted
from kgraph.render import dot
from kgraph.render.answers import each_once
from kgraph.render.pictures import told
from kgraph.render.plan_picture import shelf_picture
from kgraph.shelf.plan import plan
from tests.support import folder_with, graph_of

FUSE = """\
- position: fuse
  must match: [mains]
  caution: mains
- set: Aldo A-1
  mains: 240 V 50 Hz
- set: Dorn D-1
- set: Brim B-1
  mains: 110 V 60 Hz
- rebadge: [Aldo A-1, Dorn D-1]
  how: fitted
- rebadge: [Aldo A-1, Brim B-1]
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
"""
NOT_RECORDED = "warning: mains is not recorded on Dorn D-1: check it first"
MAINS = "Caution, mains: Mains voltage can kill."


def _labels(text: str) -> list[str]:
    """The labels of boxes and lines, each in one line, as a PNG or a PDF shows them."""
    found = [line.split('label="', 1)[1].split('"', 1)[0] for line in text.splitlines() if 'label="' in line]
    return [" ".join(label.replace("\\n", " ").replace("\\l", " ").split()) for label in found]


def _box(text: str, name: str) -> str:
    (label,) = [label for label in _labels(text) if label.startswith(name)]
    return label


def _takers(graph: Graph, part: str, **wanted: Any) -> str:
    answer = questions.takers_of_part(graph, part, Wanted(**wanted))
    return dot.takers(graph, dot.PicturedQuestion(part=part), answer)


def test_a_taker_s_box_shows_its_warning_and_its_caution() -> None:
    text = _takers(graph_of(FUSE), "f1")
    assert _box(text, "Dorn D-1") == f"Dorn D-1 at fuse inferred, 59 % {NOT_RECORDED} caution: mains"
    assert _box(text, "Aldo A-1") == "Aldo A-1 at fuse stated, 60 % caution: mains"


def test_a_box_refused_by_what_must_match_says_why() -> None:
    text = _takers(graph_of(FUSE), "f1", refused_too=True)
    why = "warning: mains must match: 110 V 60 Hz on Brim B-1 but 240 V 50 Hz on Aldo A-1"
    assert _box(text, "Brim B-1") == f"Brim B-1 at fuse refused, 59 % {why} caution: mains"


def test_the_cautions_of_takers_and_of_a_proof_stand_in_words() -> None:
    graph = graph_of(FUSE)
    answer = questions.takers_of_part(graph, "f1", Wanted(proofs=True))
    for text in (
        _takers(graph, "f1"),
        dot.proof_of_taker(graph, dot.PicturedQuestion(part="f1"), answer.rows[0]),
    ):
        assert _labels(text)[0].startswith(MAINS)
        assert "caution: mains (read at the foot)" in _labels(text)[1]
    plain = _takers(graph_of(FUSE.replace("  caution: mains\n", "  caution: []\n")), "f1")
    assert _labels(plain)[0].startswith("Legend")
    assert "aution" not in plain


def test_folded_takers_tell_of_their_warnings() -> None:
    sisters = "".join(f"- set: Brim {i}\n- rebadge: [Aldo A-1, Brim {i}]\n" for i in range(70))
    text = _takers(graph_of(FUSE + sisters), "f1")
    assert "70 with a warning" in " ".join(_labels(text))
    assert "71 folded answers with a warning: read it in `kgraph takers`" in " ".join(_labels(text))


def test_the_line_of_a_plan_shows_its_warning_and_its_caution() -> None:
    graph = graph_of(FUSE)
    text = shelf_picture(plan(graph, ["u1"]), graph)
    assert any(label.endswith(f"% {NOT_RECORDED} caution: mains") for label in _labels(text))
    assert _labels(text)[0].startswith(MAINS)
    assert "Caution, charged capacitors: " in _labels(text)[0]
    assert _labels(text)[1].endswith("cautions: mains, charged capacitors (read at the foot)")


def test_a_plan_that_goes_by_equal_size_says_measure_first() -> None:
    text = """\
- part: R-1
  kind: belt
  inside length: 200 mm
  section: square 1.2 mm
- part: R-2
  kind: belt
  inside length: 200 mm
  section: square 1.2 mm
- takes: R-1
  in: Aldo A-1
  position: main belt
- takes: R-2
  in: Dorn D-1
  position: main belt
- unit: U-1
  set: Aldo A-1
  role: patient
  wants: [main belt]
- unit: U-3
  set: Dorn D-1
  role: donor
"""
    graph = graph_of(text)
    found = plan(graph, ["u1"])
    assert ["size" in line.row.basis for line in found.best.lines] == [True]
    assert [s for s in _labels(shelf_picture(found, graph)) if s.endswith("by equal size: measure first")]


def test_many_and_long_remarks_are_cut_and_counted() -> None:
    row = Row("s:x", warnings=tuple(f"w{i} {'x' * 700}" for i in range(9)), cautions=("a", "b"))
    said = told.remarks(row)
    assert [len(s) for s in said[:6]] == [len("warning: ") + 600] * 6
    assert said[6:] == ["+ 3 more warnings", "cautions: a, b"]
    data = graph_of(FUSE).data
    foot = told.caution_foot(data, [f"c{i}" for i in range(10)])
    assert len(foot) == 9
    assert foot[0] == "Caution, c0: No text is recorded for this caution."
    assert foot[8] == "Cautions as well: c8, c9"
    assert each_once(["Mains", "mains", "springs"]) == ["Mains", "springs"]


def test_where_a_name_makes_the_box_wide_its_remarks_are_as_wide() -> None:
    name = "Aldo and Dorn Recorder of the Eastern Works"
    text = _takers(graph_of(FUSE.replace("Dorn D-1", name)), "f1")
    assert (
        "\\nwarning: mains is not recorded on Aldo and\\nDorn Recorder of the Eastern Works: check\\n" in text
    )


SHARED = """\
- uses: TN7 mechanism
  in: Larkfield LK-40
  how: printed
- uses: TN7 mechanism
  in: Vorsen 7
  how: printed
- uses: B2 board
  in: Larkfield LK-40
  how: printed
- uses: B2 board
  in: Quillon 31
  how: guess
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: printed
- rebadge: [Larkfield LK-40, Orvanek 2200]
  how: guess
  id: one-design
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return folder_with(tmp_path, [("facts.yaml", SHARED)])


def _draw(capsys: Any, folder: Path, *words: str) -> str:
    """The heading of a picture."""
    assert run(["--data", str(folder), "draw", *words]) == 0
    return _labels(capsys.readouterr().out)[1]


@pytest.mark.parametrize(
    ("words", "head", "less"),
    [
        (("takers", "K-114"), "who takes K-114: 1 place", "1 answer is"),
        (("family", "Larkfield LK-40"), "Larkfield LK-40 and its rebadges: 1 set", "1 answer is"),
        (("shares", "Larkfield LK-40"), "Larkfield LK-40 shares 1 assembly with 1 set", "3 answers are"),
    ],
)
def test_the_heading_says_what_is_less_certain_and_left_out(
    capsys: Any, folder: Path, words: tuple[str, ...], head: str, less: str
) -> None:
    said = f"{less} less certain than 0.8 and left out."
    assert _draw(capsys, folder, *words, "--at-least", "0.8") == f"{head} {said}"
    assert "left out" not in _draw(capsys, folder, *words)
    assert "left out" not in _draw(capsys, folder, *words, "--at-least", "0.01")


WORDS = [
    ("takers", "K-114"),
    ("family", "Larkfield LK-40"),
    ("shares", "Larkfield LK-40"),
    ("proof", "takers", "K-114"),
]


@pytest.mark.parametrize("words", WORDS)
def test_the_heading_says_which_fact_is_left_out_by_supposition(
    capsys: Any, folder: Path, words: tuple[str, ...]
) -> None:
    said = "supposed without: Larkfield LK-40 and Orvanek 2200 are one design (one-design)"
    assert said in _draw(capsys, folder, *words, "--without", "one-design")
    assert said in _draw(capsys, folder, *words, "--without", "one-design", "--title", "Mine")
    assert "supposed" not in _draw(capsys, folder, *words)


@pytest.mark.parametrize("words", WORDS)
def test_the_heading_says_what_is_supposed_as_well(capsys: Any, folder: Path, words: tuple[str, ...]) -> None:
    fact, entry = (
        "{rebadge: [Larkfield LK-40, Vorsen 7], how: compared}",
        "{set: Vorsen 7, mains: 240 V 50 Hz}",
    )
    head = _draw(capsys, folder, *words, "--suppose", fact, "--suppose", entry)
    assert (
        "supposed as well: Larkfield LK-40 and Vorsen 7 are one design supposed as well: set: Vorsen 7"
        in head
    )


def test_who_cannot_see_the_picture_is_told_it_is_supposed(capsys: Any, folder: Path) -> None:
    assert run(["--data", str(folder), "draw", "takers", "K-114", "--without", "one-design"]) == 0
    assert (
        'tooltip="supposed without: Larkfield LK-40 and Orvanek'
        in capsys.readouterr().out.split("subgraph")[0]
    )


def test_what_is_left_out_that_is_no_fact_is_named_by_its_id_and_many_are_counted() -> None:
    data = graph_of(SHARED + "- withdraw: one-design\n  why: misread\n  id: taken-back\n").data
    assert told.supposed(data, (), ["taken-back"]) == ("supposed without: entry taken-back",)
    many = told.supposed(data, (), ["taken-back"] * 8)
    assert (len(many), many[-1]) == (7, "+ 2 more supposed")


def test_a_supposed_fact_that_is_withdrawn_is_said_to_count_for_nothing() -> None:
    text = "- rebadge: [Aldo A-1, Brim B-1]\n  how: fitted\n"
    data = graph_of(text).data
    (fact,) = data.facts.values()
    data = graph_of(text + f"- withdraw: {fact.id}\n  why: misread\n").data
    (said,) = told.supposed(data, [e for e in data.entries if e.kind == "rebadge"], ())
    assert said.endswith("are one design (withdrawn, and counts for nothing)")
