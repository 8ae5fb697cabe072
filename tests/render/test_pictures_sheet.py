"""The sheet of every picture: texts letter for letter, links of our own alone, the same bytes each time."""

from __future__ import annotations

import shutil
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest

from kgraph.cli.drawing import draw
from kgraph.cli.main import run
from kgraph.problems import CannotRun, WrongUse
from kgraph.render import dot
from kgraph.render.pictures import drawing, sheet
from kgraph.render.pictures.sheet import Box, Drawing, Edge
from kgraph.render.terminal import visible
from tests.support import folder_with, graph_of

SVG = "{http://www.w3.org/2000/svg}"
HREF = "{http://www.w3.org/1999/xlink}href"

needs_dot = pytest.mark.skipif(not shutil.which("dot"), reason="the program `dot` is not installed")

# Letter for letter: texts -> what is to be read in the drawing.
TEXTS = {
    "a &lt; b &amp; &amp;lt; &#60; &#160;": "a &lt; b &amp; &amp;lt; &#60; &#160;",
    "back\\": "back\\",
    "\\N \\G \\E \\l \\n": "\\N \\G \\E \\l \\n",
    "<b>x</b>": "<b>x</b>",
    '\\"': '\\"',
    "a  b": "a  b",
    "no\u00a0break": "no\u00a0break",
    "a\x00b\x1b[31m\x85": "a\\x00b\\x1b[31m\\x85",
    "two\nlines\t": "two\\nlines\\t",
    "\u202egnp.exe\u2066\u200f": "\\u202egnp.exe\\u2066\\u200f",
    "\ud800\uffff\U000e0041": "\\ud800\\uffff\\U000e0041",
    "Größe 7½ 漢字": "Größe 7½ 漢字",
}


def _sheet(*boxes: Box, lines: tuple[Edge, ...] = (), **more: object) -> str:
    return sheet.source(Drawing("family", "a title", boxes, lines, ("what a line is",), **more))  # type: ignore[arg-type]


def _svg(source: str) -> ElementTree.Element:
    return ElementTree.fromstring(dot.render(source, Path("x.svg")))


def _texts(svg: ElementTree.Element, kind: str) -> list[list[str]]:
    """The title and the lines of each box of a kind."""
    groups = [g for g in svg.iter(f"{SVG}g") if (g.get("class") or "").split() == ["node", kind]]
    return [[g.findtext(f"{SVG}title", ""), *(t.text or "" for t in g.iter(f"{SVG}text"))] for g in groups]


@needs_dot
@pytest.mark.parametrize(("text", "drawn"), TEXTS.items())
def test_a_text_is_drawn_letter_for_letter(text: str, drawn: str) -> None:
    assert visible(text) == drawn
    assert _texts(_svg(_sheet(Box("a", (text,), text))), "set") == [[drawn, drawn]]


@needs_dot
def test_who_cannot_see_it_is_told_title_and_content() -> None:
    svg = _svg(_sheet(Box("a", ("A 1",), "A 1"), says="one set."))
    assert svg.get("role") == "img"
    assert [(e.tag, e.text) for e in list(svg)[:2]] == [
        (f"{SVG}title", "a title"),
        (f"{SVG}desc", "one set."),
    ]
    assert not [e for e in svg.iter() if e.get("id")]
    assert "Legend" in [t.text for t in svg.iter(f"{SVG}text")]


@needs_dot
def test_a_link_is_one_of_our_own_and_makes_the_picture_a_group() -> None:
    svg = _svg(_sheet(Box("a", ("A 1",), link="sets/a-1.html"), Box("b", ("B 2",))))
    assert [e.get(HREF) for e in svg.iter(f"{SVG}a")] == ["sets/a-1.html"]
    assert svg.get("role") == "group"


@pytest.mark.parametrize(
    "url", ["javascript:alert(1)", "//elsewhere/x", "/etc/x", "http://x.example/", 'a"b', "a b", "data:x"]
)
def test_another_link_is_refused(url: str) -> None:
    with pytest.raises(ValueError, match="no relative link"):
        _sheet(Box("a", ("A 1",), link=url))


@pytest.mark.parametrize(
    ("certainty", "style"),
    [(0.9, "solid"), (0.89, "dashed"), (0.7, "dashed"), (0.69, "dotted"), (0.01, "dotted")],
)
def test_certainty_is_the_style_of_the_line(certainty: float, style: str) -> None:
    line = Edge(("a", "b"), certainty=certainty)
    assert f'n1 -> n2 [dir=none labeltooltip=" " style={style} ' in _sheet(
        Box("a", ("A",)), Box("b", ("B",)), lines=(line,)
    )


@needs_dot
def test_a_tip_longer_than_dot_reads_is_cut() -> None:
    tips = _texts(_svg(_sheet(Box("a", ("A 1",), "\\" * 20_000))), "set")
    assert len(tips[0][0]) == sheet.TIP_LENGTH
    assert tips[0][0].endswith("\\…")


@needs_dot
def test_each_format_is_what_its_suffix_says_and_the_same_each_time() -> None:
    source = _sheet(Box("a", ("A 1",)), Box("b", ("B 2",)), lines=(Edge(("a", "b"), ("x",)),))
    starts = {"svg": b"<?xml", "png": b"\x89PNG\r\n\x1a\n", "PDF": b"%PDF-", "dot": b"digraph family"}
    for suffix, start in starts.items():
        made = dot.render(source, Path(f"family.{suffix}"))
        assert made.startswith(start)
        assert dot.render(source, Path(f"family.{suffix}")) == made
    assert b"CreationDate (D:00000000" in dot.render(source, Path("x.pdf"))
    # A PNG with a date has a chunk named tIME (PNG specification, 11.3.6).
    assert b"tIME" not in dot.render(source, Path("x.png"))


@needs_dot
def test_several_are_drawn_at_once_each_as_alone() -> None:
    told = (_sheet(Box("a", ("A 1",))), _sheet(Box("b", ("<?xml B 2",)), Box("c", ("\n<?xml ",))))
    assert dot.svgs(told) == [dot.render(source, Path("x.svg")) for source in told]
    assert dot.svgs([]) == []
    with pytest.raises(CannotRun, match=r"`dot` could not draw the picture: "):
        dot.svgs([*told, "digraph {"])
    with pytest.raises(CannotRun, match=r"`dot` drew 2 of 1 pictures"):
        dot.svgs(["digraph {} digraph {}"])


def test_without_the_program_it_is_said_how_to_get_it(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setattr(drawing, "stand_in", lambda: None)
    source = _sheet(Box("a", ("A 1",)))
    with pytest.raises(CannotRun) as stopped:
        dot.render(source, Path("family.svg"))
    assert str(stopped.value) == dot.NO_DOT
    assert [line.split(":")[0].strip() for line in dot.NO_DOT.splitlines()[1:5]] == [
        "Debian, Ubuntu", "Fedora", "macOS", "Windows",
    ]  # fmt: skip
    assert dot.render(source, Path("family.dot")) == source.encode()


@pytest.mark.parametrize("name", ["family.gif", "family", "svg"])
def test_another_suffix_is_wrong_use(name: str) -> None:
    with pytest.raises(WrongUse, match=r"write one of \.svg, \.png, \.pdf, \.dot"):
        dot.render("digraph {}", Path(name))


@needs_dot
def test_a_text_that_dot_refuses_is_said_in_one_line() -> None:
    with pytest.raises(CannotRun, match=r"`dot` could not draw the picture: .*syntax error"):
        dot.render("digraph {", Path("x.svg"))


def test_the_colours_are_those_of_okabe_and_ito() -> None:
    # Okabe & Ito, "Color Universal Design" (2008); the values from memory. Yellow, #F0E442, is left out.
    assert set(sheet.COLOURS) == {
        "#000000", "#E69F00", "#56B4E9", "#009E73", "#0072B2", "#D55E00", "#CC79A7",
    }  # fmt: skip


def test_the_stand_in_draws_what_dot_would(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    names = [t for t in TEXTS if t != "a  b"]
    source = _sheet(*(Box(str(i), (t,), t) for i, t in enumerate(names)))
    svg = _svg(source)
    assert sorted(_texts(svg, "set")) == sorted([TEXTS[t], TEXTS[t]] for t in names)


FACTS = """\
- set: Larkfield LK-40
  years: 1981-1984
- set: Orvanek 2200
  years: 1982-1984
- set: Quillon 31
  years: 1983
- rebadge: [Larkfield LK-40, Orvanek 2200]
  except: [line socket]
  how: compared
- rebadge: [Orvanek 2200, Quillon 31]
  how: reported
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: printed
- refuses: K-114
  in: Quillon 31
  position: volume knob
  how: guess
- assembly: TN7 mechanism
  positions: [main belt]
- uses: TN7 mechanism
  in: Larkfield LK-40
  how: printed
- run: main belt
  in: TN7 mechanism
  pulleys:
    - {name: motor, x: 0 mm, y: 0 mm, diameter: 9.2 mm}
    - {name: flywheel, x: 62 mm, y: 5 mm, diameter: 58 mm}
- unit: U-1
  set: Larkfield LK-40
  role: donor
- unit: U-2
  set: Orvanek 2200
  wants: [volume knob, dial glass]
"""
PICTURES = {
    "family": ["Larkfield LK-40"],
    "takers": ["K-114", "--all"],
    "shares": ["Larkfield LK-40"],
    "proof": ["takers", "K-114", "--set", "Quillon 31"],
    "shelf": ["U-2"],
    "key": [],
    "run": ["Larkfield LK-40", "main belt", "--section", "square 1.2 mm"],
}


def test_every_picture_is_tried_without_dot() -> None:
    assert set(PICTURES) == set(draw.commands)


@pytest.mark.parametrize("name", PICTURES)
def test_every_picture_is_drawn_in_every_format_without_dot(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, name: str
) -> None:
    empty = tmp_path / "no programs"
    empty.mkdir()
    folder_with(tmp_path, [("facts.yaml", FACTS)])
    monkeypatch.setenv("PATH", str(empty))
    for suffix, start in {"svg": b"<", "png": b"\x89PNG\r\n\x1a\n", "pdf": b"%PDF-"}.items():
        made = [tmp_path / f"{number}.{suffix}" for number in (1, 2)]
        for file in made:
            assert run(["--data", str(tmp_path), "draw", name, *PICTURES[name], "-o", str(file)]) == 0
        assert made[0].read_bytes().startswith(start)
        assert made[0].read_bytes() == made[1].read_bytes()


def test_letters_of_a_wider_font_are_made_smaller(monkeypatch: pytest.MonkeyPatch) -> None:
    drawn = b'<svg><text font-size="12.00">a</text></svg>'
    monkeypatch.setattr(drawing, "_width_of_sample", lambda: 6.836 * 1.2)
    assert drawing._as_wide_as_measured(drawn) == drawn.replace(b"12.00", b"10.00")
    monkeypatch.setattr(drawing, "_width_of_sample", lambda: 6.836)
    assert drawing._as_wide_as_measured(drawn) == drawn


@pytest.mark.parametrize("program", ["dot", "graphviz-pure"])
def test_headings_stand_above_their_columns(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, program: str
) -> None:
    if program != "dot":
        monkeypatch.setenv("PATH", str(tmp_path))
    elif not shutil.which("dot"):
        pytest.skip("dot is not installed")
    graph = graph_of(FACTS)
    svg = _svg(dot.family(graph.data, graph, "larkfieldlk40"))
    heights: dict[str, list[float]] = {"node head": [], "node set": []}
    for group in svg.iter(f"{SVG}g"):
        texts = [float(text.get("y", "0")) for text in group.iter(f"{SVG}text")]
        heights.setdefault(group.get("class") or "", []).append(max(texts, default=0.0))
    assert len(heights["node head"]) == len(heights["node set"]) == 3
    # Of one column each, so that a heading is compared with its own box.
    assert all(head < box for head, box in zip(heights["node head"], heights["node set"], strict=True))
