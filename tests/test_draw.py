"""Pictures of families: the DOT text whole, hostile names drawn letter for letter, a missing `dot`."""

from __future__ import annotations

import shutil
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest

from kgraph import collection
from kgraph.fits import graph
from kgraph.folder.reading import read_bytes
from kgraph.folder.schema import check_file
from kgraph.names import fold
from kgraph.problems import CannotRun, WrongUse
from kgraph.render import dot

HOSTILE = Path(__file__).parent / "hostile" / "n07-dot.yaml"
SVG = "{http://www.w3.org/2000/svg}"

needs_dot = pytest.mark.skipif(not shutil.which("dot"), reason="the program `dot` is not installed")

SMALL = """
- set: Larkfield RC-40
  market: UK
  years: 1981-1984
  builder: Larkfield
- set: Ostmark 2200
  years: 1983
- set: Quillon 31
- rebadge: [Larkfield RC-40, Ostmark 2200]
  except: [microphones, strap lugs]
  how: fitted
- rebadge: [Ostmark 2200, Quillon 31]
  how: guess
"""

SMALL_DOT = r"""digraph family {
	graph [fontname="sans-serif" fontsize=16 label="Ostmark 2200 and its rebadges: 3 sets" labelloc=t nodesep=0.3 rankdir=LR ranksep=0.6 tooltip="Ostmark 2200 and its rebadges: 3 sets, joined by 2 stated rebadge facts"]
	node [fontname="sans-serif" fontsize=12 margin="0.15,0.08" penwidth=2.5]
	edge [dir=none fontname="sans-serif" fontsize=10 penwidth=1.5]
	n1 [label="Larkfield RC-40\n1981-1984, UK\n(built by its own badge)" color="#0072B2" peripheries=2 shape=box tooltip="Larkfield RC-40, built by its own badge"]
	n2 [label="Ostmark 2200\n1983" color="#D55E00" shape=ellipse tooltip="Ostmark 2200"]
	n3 [label="Quillon 31" color="#009E73" shape=octagon tooltip="Quillon 31"]
	{
		graph [rank=same]
		y1981 [label=1981 shape=plaintext tooltip="first year recorded"]
		n1
	}
	{
		graph [rank=same]
		y1983 [label=1983 shape=plaintext tooltip="first year recorded"]
		n2
	}
	{
		graph [rank=same]
		y [label="year not recorded" shape=plaintext tooltip="first year recorded"]
		n3
	}
	y1981 -> y1983 [style=invis]
	y1983 -> y [style=invis]
	n1 -> n2 [label="microphones, strap lugs\n " labeltooltip="rebadge, certainty 0.98, except microphones, strap lugs" style=solid tooltip="rebadge, certainty 0.98, except microphones, strap lugs"]
	n2 -> n3 [labeltooltip="rebadge, certainty 0.4" style=dotted tooltip="rebadge, certainty 0.4"]
	subgraph cluster_legend {
		color="#808080" fontsize=10 label="line: a stated rebadge; its words: what differs\nshape and colour: one for each badge\ndouble outline: where the design comes from" labelloc=b tooltip=legend
		node [fontsize=10 height=0.25 penwidth=1.5 shape=box tooltip=legend]
		k1 [label="certainty 0.9 or more" style=solid]
		k2 [label="certainty 0.7 to 0.9" style=dashed]
		k3 [label="certainty less than 0.7" style=dotted]
	}
}
"""  # noqa: E501


def _data(text: str) -> collection.Collection:
    entries, problems = check_file(read_bytes(text.encode(), "t.yaml"))
    assert problems == []
    return collection.build(entries)


def _family(text: str, name: str) -> str:
    data = _data(text)
    return dot.family(data, graph.build(data), fold(name))


def _svg(source: str) -> ElementTree.Element:
    return ElementTree.fromstring(dot.render(source, Path("x.svg")))


def _nodes(svg: ElementTree.Element) -> dict[str, list[str]]:
    """Id of each node (its `title`) -> the texts in it; a run of spaces is drawn as no-break spaces."""
    groups = (g for g in svg.iter(f"{SVG}g") if g.get("class") == "node")
    return {
        g.findtext(f"{SVG}title", ""): [(t.text or "").replace("\xa0", " ") for t in g.iter(f"{SVG}text")]
        for g in groups
    }


def test_the_whole_text_of_a_small_family() -> None:
    assert _family(SMALL, "Ostmark 2200") == SMALL_DOT


def test_the_order_of_entries_changes_nothing() -> None:
    entries = ["- " + e for e in SMALL.strip().removeprefix("- ").split("\n- ")]
    assert _family("\n".join(reversed(entries)) + "\n", "Ostmark 2200") == SMALL_DOT


def test_an_unknown_set_is_wrong_use() -> None:
    with pytest.raises(WrongUse, match="there is no set nobody9"):
        _family(SMALL, "Nobody 9")


@pytest.mark.parametrize(
    ("certainty", "style"),
    [("0.9", "solid"), ("0.89", "dashed"), ("0.7", "dashed"), ("0.69", "dotted"), ("0.01", "dotted")],
)
def test_certainty_is_the_style_of_the_line(certainty: str, style: str) -> None:
    text = _family(f"- rebadge: [A 1, B 2]\n  certainty: {certainty}\n", "A 1")
    assert f'n1 -> n2 [labeltooltip="rebadge, certainty {certainty}" style={style} ' in text


def test_past_six_differences_the_rest_are_counted() -> None:
    names = ", ".join(f"place {letter}" for letter in "abcdefghi")
    text = _family(f"- rebadge: [A 1, B 2]\n  except: [{names}]\n", "A 1")
    edge = next(line for line in text.splitlines() if "n1 -> n2" in line)
    label = edge.split('label="')[1].split('"')[0]
    assert label.split(r"\n") == ["place a, place b, place c,", "place d, place e, place f", "+ 3 more", " "]
    assert f"except {names}" in edge


def test_the_root_is_the_builder_that_others_name_else_the_earliest() -> None:
    named = "- set: A 1\n  builder: B 2\n  years: 1980\n- rebadge: [A 1, B 2]\n"
    assert '"B 2\\n(named as builder by 1 set)"' in _family(named, "A 1")
    dated = "- set: A 1\n  years: 1984\n- set: B 2\n  years: 1983\n- rebadge: [A 1, B 2]\n"
    assert '"B 2\\n1983\\n(the earliest year recorded)"' in _family(dated, "A 1")
    assert "peripheries" not in _family("- rebadge: [A 1, B 2]\n", "A 1")


def test_past_sixty_sets_a_family_is_folded_by_badge() -> None:
    pairs = [f"- rebadge: [Lark 0, {'Lark' if i % 2 else 'Ost'} {i}]\n" for i in range(1, 60)]
    whole = _family("".join(pairs), "Lark 0")
    assert "n60 " in whole
    assert "folded" not in whole
    folded = _family("".join(pairs) + "- rebadge: [Lark 0, Quill 1]\n", "Lark 0")
    assert '"Lark\\n31 sets folded into one"' in folded
    assert '"Ost\\n29 sets folded into one"' in folded
    assert '"Quill 1"' in folded
    assert "n4 " not in folded
    assert '"29 facts\\n "' in folded


def test_where_badges_are_too_many_the_smallest_share_a_box() -> None:
    folded = _family("".join(f"- rebadge: [Mid 0, Badge{i} {i}]\n" for i in range(1, 80)), "Mid 0")
    assert f'"n{dot.MOST_BOXES + 1} ' not in folded
    assert "other badges" in folded
    assert folded.count("shape=") <= dot.MOST_BOXES + 2


# Letter for letter: texts -> what is to be read in the drawing.
TEXTS = {
    "a &lt; b &amp; &amp;lt; &#60;": "a &lt; b &amp; &amp;lt; &#60;",
    "back\\": "back\\",
    "\\N \\G \\E \\l \\n": "\\N \\G \\E \\l \\n",
    "<b>x</b>": "<b>x</b>",
    '\\"': '\\"',
    "a\x00b\x1b[31m\x85": "a\\x00b\\x1b[31m\\x85",
    "two\nlines\t": "two\\x0alines\\x09",
    "\u202egnp.exe\u2066\u200f": "\\u202egnp.exe\\u2066\\u200f",
    "\ud800\uffff\U000e0041": "\\ud800\\uffff\\U000e0041",
    "Größe 7½ 漢字": "Größe 7½ 漢字",
}


@needs_dot
@pytest.mark.parametrize(("text", "drawn"), TEXTS.items())
def test_a_label_is_drawn_letter_for_letter(text: str, drawn: str) -> None:
    import graphviz

    picture = graphviz.Digraph()
    picture.node("n1", label=dot.label_text(text), tooltip=dot.tip_text(text))
    svg = _svg(picture.source)
    assert _nodes(svg) == {"n1": [drawn]}
    assert [a.get("{http://www.w3.org/1999/xlink}title") for a in svg.iter(f"{SVG}a")] == [drawn]


@needs_dot
def test_hostile_names_are_one_node_each_and_nothing_else() -> None:
    # `//x` and `#x` fold to one name, and so do the two that end in backslashes: 15 sets of 17 entries.
    names = [found[0].name.text for found in _data(HOSTILE.read_text()).things["set"].values()]
    assert len(names) == 15
    quoted = ["'" + n.replace("'", "''") + "'" for n in names]
    joined = "".join(f"- rebadge: ['Hub 1', {n}]\n  except: [{n}]\n" for n in quoted)
    svg = _svg(_family(HOSTILE.read_text().rstrip("\n") + "\n" + joined, "Hub 1"))
    nodes = {i: texts for i, texts in _nodes(svg).items() if i.startswith("n")}
    assert sorted(nodes.values()) == sorted([n] for n in [*names, "Hub 1"])
    tags = {e.tag.removeprefix(SVG) for e in svg.iter()}
    assert tags <= {"svg", "g", "title", "text", "polygon", "polyline", "ellipse", "path", "a"}
    tips = {e.get("{http://www.w3.org/1999/xlink}title") for e in svg.iter(f"{SVG}a")}
    assert tips >= set(names)
    attributes = {name for e in svg.iter() for name in e.attrib}
    assert not [a for a in attributes if a.endswith("href") or a.lower().startswith("on")]


@needs_dot
def test_each_format_is_what_its_suffix_says_and_the_same_each_time() -> None:
    starts = {"svg": b"<?xml", "png": b"\x89PNG\r\n\x1a\n", "PDF": b"%PDF-", "dot": b"digraph family"}
    for suffix, start in starts.items():
        made = dot.render(SMALL_DOT, Path(f"family.{suffix}"))
        assert made.startswith(start)
        assert dot.render(SMALL_DOT, Path(f"family.{suffix}")) == made
    assert b"CreationDate (D:00000000" in dot.render(SMALL_DOT, Path("x.pdf"))


def test_without_the_program_it_is_said_how_to_get_it(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(CannotRun) as stopped:
        dot.render(SMALL_DOT, Path("family.svg"))
    assert str(stopped.value) == dot.NO_DOT
    assert dot.render(SMALL_DOT, Path("family.dot")) == SMALL_DOT.encode()


@pytest.mark.parametrize("name", ["family.gif", "family", "svg"])
def test_another_suffix_is_wrong_use(name: str) -> None:
    with pytest.raises(WrongUse, match=r"write one of \.svg, \.png, \.pdf, \.dot"):
        dot.render(SMALL_DOT, Path(name))


@needs_dot
def test_a_text_that_dot_refuses_is_said_in_one_line() -> None:
    with pytest.raises(CannotRun, match=r"`dot` could not draw the picture: .*syntax error"):
        dot.render("digraph {", Path("x.svg"))
