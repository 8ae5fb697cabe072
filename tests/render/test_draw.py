"""Pictures of families: the DOT text whole, hostile names letter for letter, folding, columns."""

from __future__ import annotations

import random
import re
import shutil
import xml.etree.ElementTree as ElementTree
from pathlib import Path
from typing import Any

import pytest

from kgraph import questions
from kgraph.cli.main import run
from kgraph.names import fold
from kgraph.problems import WrongUse
from kgraph.render import dot
from kgraph.render.terminal import visible
from tests.support import DEMO, ROOT, folder_with, graph_of, graph_of_folder

HOSTILE = ROOT / "tests" / "hostile"
SVG = "{http://www.w3.org/2000/svg}"

needs_dot = pytest.mark.skipif(not shutil.which("dot"), reason="the program `dot` is not installed")

SMALL = """
- set: Larkfield LK-40
  market: UK
  years: 1981-1984
  builder: Larkfield
- set: Orvanek 2200
  years: 1983
- set: Quillon 31
- rebadge: [Larkfield LK-40, Orvanek 2200]
  except: [line socket, dial scale]
  how: fitted
- rebadge: [Orvanek 2200, Quillon 31]
  how: guess
"""

SMALL_BODY = r"""		y1 [label=1981 class=head shape=plaintext]
		y2 [label=1983 class=head shape=plaintext]
		y3 [label="year not recorded" class=head shape=plaintext]
		n1 [label="Larkfield LK-40\n1981-1984, UK\n(built by its own badge)" class=set color="#0072B2" peripheries=2 shape=box tooltip="Larkfield LK-40, built by its own badge"]
		n2 [label="Orvanek 2200\n1983" class=set color="#D55E00" fillcolor="#E4E4E4" shape=box style="rounded,filled" tooltip="Orvanek 2200"]
		n3 [label="Quillon 31" class=set color="#009E73" margin="0,0" shape=octagon tooltip="Quillon 31"]
		{
			graph [rank=same]
			y1
			n1
		}
		n1 -> y1 [style=invis]
		{
			graph [rank=same]
			y2
			n2
		}
		n2 -> y2 [style=invis]
		{
			graph [rank=same]
			y3
			n3
		}
		n3 -> y3 [style=invis]
		y1 -> y2 [minlen=2 style=invis weight=100]
		y2 -> y3 [minlen=2 style=invis weight=100]
		w1 [label="dial scale, line\nsocket" class=words fontsize=10 height=0.1 margin="0.03,0.01" shape=plaintext tooltip="rebadge, certainty 0.98, except dial scale, line socket" width=0.1]
		n1 -> w1 [dir=none labeltooltip="rebadge, certainty 0.98, except dial scale, line socket" style=solid tooltip="rebadge, certainty 0.98, except dial scale, line socket"]
		w1 -> n2 [dir=none labeltooltip="rebadge, certainty 0.98, except dial scale, line socket" style=solid tooltip="rebadge, certainty 0.98, except dial scale, line socket"]
		n2 -> n3 [dir=none labeltooltip="rebadge, certainty 0.4" style=dotted tooltip="rebadge, certainty 0.4"]
"""  # noqa: E501


def _family(text: str, name: str, **more: Any) -> str:
    graph = graph_of(text)
    return dot.family(graph.data, graph, fold(name), **more)


def _lines(text: str) -> list[tuple[str, str, str]]:
    """(one end, other end, words) of each line of a family, from the DOT text, with words or without."""
    words = dict(re.findall(r'^\s+(w\d+) \[label="?([^"]*?)"? class=words', text, re.M))
    ends: dict[str, list[str]] = {w: [] for w in words}
    found = []
    for one, other in re.findall(r"^\s+([nw]\d+) -> ([nw]\d+) ", text, re.M):
        if {one, other} & set(words):
            through = one if one in words else other
            ends[through].append(other if one in words else one)
        else:
            found.append((one, other, ""))
    assert all(len(pair) == 2 for pair in ends.values())
    return found + [(pair[0], pair[1], " ".join(words[w].split(r"\n"))) for w, pair in ends.items()]


def _svg(source: str) -> ElementTree.Element:
    return ElementTree.fromstring(dot.render(source, Path("x.svg")))


def _boxes(svg: ElementTree.Element, kind: str = "set") -> list[list[str]]:
    """The lines of each box of a kind."""
    groups = [g for g in svg.iter(f"{SVG}g") if (g.get("class") or "").split() == ["node", kind]]
    return [[t.text or "" for t in g.iter(f"{SVG}text")] for g in groups]


def test_the_whole_text_of_a_small_family() -> None:
    text = _family(SMALL, "Orvanek 2200")
    assert SMALL_BODY in text
    assert 'label="Orvanek 2200 and its rebadges: 3 sets"' in text
    assert "double outline: where the" in text.replace("\\l", " ")


def test_the_order_of_entries_changes_nothing() -> None:
    entries = ["- " + e for e in SMALL.strip().removeprefix("- ").split("\n- ")]
    assert _family("\n".join(reversed(entries)) + "\n", "Orvanek 2200") == _family(SMALL, "Orvanek 2200")


def test_an_unknown_set_is_wrong_use() -> None:
    with pytest.raises(WrongUse, match="there is no set nobody9"):
        _family(SMALL, "Nobody 9")


def test_past_six_differences_the_rest_are_counted() -> None:
    names = ", ".join(f"place {letter}" for letter in "abcdefghi")
    text = _family(f"- rebadge: [A 1, B 2]\n  except: [{names}]\n", "A 1")
    ((_, _, words),) = _lines(text)
    edge = next(line for line in text.splitlines() if "n1 -> w1" in line)
    assert words == "place a, place b, place c, place d, place e, place f + 3 more"
    assert f"except {names}" in edge


def test_the_root_is_the_builder_that_others_name_else_the_earliest() -> None:
    named = "- set: A 1\n  builder: B 2\n  years: 1980\n- rebadge: [A 1, B 2]\n"
    assert '"B 2\\n(named as builder by 1 set)"' in _family(named, "A 1")
    dated = "- set: A 1\n  years: 1984\n- set: B 2\n  years: 1983\n- rebadge: [A 1, B 2]\n"
    assert '"B 2\\n1983\\n(the earliest year recorded)"' in _family(dated, "A 1")
    assert "peripheries=2" not in _family("- rebadge: [A 1, B 2]\n", "A 1")


def _columns(text: str) -> dict[str, int]:
    """Node -> the number of its column, from the DOT text."""
    blocks = re.findall(r"\[rank=same\]\s+y(\d+)((?:\s+n\d+)*)", text)
    return {node: int(column) for column, nodes in blocks for node in nodes.split()}


def test_of_two_that_have_as_much_to_say_for_it_none_is_called_the_first() -> None:
    """The order of their names says nothing."""
    dated = "- set: A 1\n  years: 1983\n- set: B 2\n  years: 1983-1985\n- rebadge: [A 1, B 2]\n"
    assert "peripheries=2" not in _family(dated, "A 1")
    own = "- set: A 1\n  builder: A\n- set: B 2\n  builder: B\n- rebadge: [A 1, B 2]\n"
    assert "peripheries=2" not in _family(own, "A 1")
    named = "- set: A 1\n  builder: B 2\n- set: B 2\n  builder: A 1\n- rebadge: [A 1, B 2]\n"
    assert "peripheries=2" not in _family(named, "A 1")


@pytest.mark.parametrize("seed", range(5))
def test_a_year_heads_one_column_and_no_line_runs_inside_a_column(seed: int) -> None:
    chance = random.Random(seed)
    years = {i: chance.randint(1978, 1984) for i in range(25)}
    text = "".join(f"- set: Badge{i % 7} {i}\n  years: {y}\n" for i, y in years.items())
    text += "".join(
        f"- rebadge: [Badge{i % 7} {i}, Badge{j % 7} {j}]\n" for i in years if i for j in [i // 3]
    )
    picture = _family(text, "Badge0 0")
    column = _columns(picture)
    lines = _lines(picture)
    assert len(lines) == 24
    assert all(column[one] <= column[other] for one, other, _ in lines)
    direct = re.findall(r"^\s+(n\d+) -> (n\d+) ", picture, re.M)
    assert all(column[one] < column[other] for one, other in direct)
    year = {node: int(found) for node, found in re.findall(r'(n\d+) \[label="[^"]*\\n(\d{4})', picture)}
    heads = dict(re.findall(r'y(\d+) \[label="?([\d-]+)', picture))
    assert len(set(heads.values())) == len(heads)
    for node, number in column.items():
        first, _, last = heads[str(number)].partition("-")
        assert int(first) <= year[node] <= int(last or first)


@needs_dot
def test_the_words_of_a_line_stand_on_it() -> None:
    """Where `dot` put them: each half of the line ends at the height of the words."""
    svg = _svg(_family(SMALL, "Orvanek 2200"))
    groups = [(g, (g.get("class") or "").split()) for g in svg.iter(f"{SVG}g")]
    (words,) = [g for g, kinds in groups if kinds == ["node", "words"]]
    heights = [float(t.get("y") or 0) for t in words.iter(f"{SVG}text")]
    halves = [g for g, kinds in groups if "edge" in kinds and "0.98" in "".join(g.itertext())]
    assert len(halves) == 2
    for half in halves:
        (path,) = half.iter(f"{SVG}path")
        ends = [float(y) for _, y in re.findall(r"(-?[\d.]+),(-?[\d.]+)", path.get("d") or "")]
        assert min(abs(y - sum(heights) / len(heights)) for y in (ends[0], ends[-1])) < 15


def test_past_sixty_sets_a_family_is_folded_by_badge_and_the_set_asked_about_stays() -> None:
    pairs = [f"- rebadge: [Lark 0, {'Lark' if i % 2 else 'Orv'} {i}]\n" for i in range(1, 60)]
    whole = _family("".join(pairs), "Lark 0")
    assert "n60 " in whole
    assert "folded" not in whole
    folded = _family("".join(pairs) + "- rebadge: [Lark 0, Quill 1]\n", "Lark 0")
    assert '"Lark\\n30 sets in one\\n' in folded
    assert '"Orv\\n29 sets in one\\n' in folded
    assert '"Lark 0" class=set' in folded
    assert '"Quill 1" class=set' in folded
    assert "n5 " not in folded
    assert "29 rebadges" in folded
    assert "59 of the 61 sets are folded into 2 boxes by badge" in folded
    assert "too much to look for what is disputed" in folded
    assert "what is disputed" not in whole


def test_where_badges_are_too_many_the_smallest_share_a_box() -> None:
    folded = _family("".join(f"- rebadge: [Mid 0, Badge{i} {i}]\n" for i in range(1, 80)), "Mid 0")
    assert f" n{dot.MOST_BOXES} " in folded.replace("\t", " ")
    assert f" n{dot.MOST_BOXES + 1} " not in folded.replace("\t", " ")
    assert "other badges" in folded


@pytest.mark.parametrize("sets", [70, 2000])
def test_a_folded_family_has_hardly_more_lines_than_boxes_and_says_what_is_not_drawn(sets: int) -> None:
    chance = random.Random(1)
    text = "".join(
        f"- rebadge: [Badge{i % 40} {i}, Badge{j % 40} {j}]\n"
        for i in range(1, sets)
        for j in {chance.randrange(i), chance.randrange(i)}
    )
    picture = _family(text, "Badge0 0")
    boxes = len(re.findall(r"^\s+n\d+ \[", picture, re.M))
    lines = len(_lines(picture))
    assert boxes <= dot.MOST_BOXES
    assert boxes - 1 <= lines <= 1.3 * boxes + 5
    assert "only the surest way to each box is drawn" in picture
    # Of the lines left out a reader is told how many; every set is in some box.
    assert sum(int(n) - 1 for n in re.findall(r"(\d+) sets in one", picture)) + boxes == sets


def test_a_contradiction_marks_the_line_and_only_that_one() -> None:
    text = _family((DEMO / "family-kzr8.yaml").read_text(), "Kazumorei KZR-8")
    assert [words.partition(" ")[0] for _, _, words in _lines(text)].count("disputed") == 1
    disputed = [line for line in text.splitlines() if ":white:" in line]
    assert len(disputed) == 2  # The two halves of one line.
    assert all("certainty 0.6" in half for half in disputed)
    assert "double line" in text


def test_links_come_from_the_caller_alone() -> None:
    text = _family(SMALL.replace("  market: UK", "  URL: 'javascript:alert(1)'"), "Orvanek 2200")
    assert "URL=" not in text
    linked = _family(SMALL, "Orvanek 2200", links={"s:quillon31": "sets/q-31.html", "s:other": "x.html"})
    assert re.findall(r'URL="?([^" ]+)', linked) == ["sets/q-31.html"]


@needs_dot
@pytest.mark.parametrize("file", ["n06-html", "n07-dot"])
def test_hostile_names_are_one_box_each_and_nothing_else(file: str) -> None:
    text = (HOSTILE / f"{file}.yaml").read_text(encoding="utf-8")
    names = [found[0].name.text for found in graph_of(text).data.things["set"].values()]
    assert len(names) >= 3
    graph = graph_of(text.rstrip("\n") + "\n" + "".join(_joined(name) for name in names))
    svg = _svg(dot.family(graph.data, graph, "hub1"))
    sisters = [graph.data.owner_text(r.set) for r in questions.sisters(graph, "hub1").rows]
    assert sorted("".join(lines) for lines in _boxes(svg)) == sorted(visible(n) for n in [*sisters, "Hub 1"])
    tags = {e.tag.removeprefix(SVG) for e in svg.iter()}
    assert tags <= {"svg", "g", "title", "desc", "text", "polygon", "polyline", "ellipse", "path"}
    attributes = {name.rpartition("}")[2] for e in svg.iter() for name in e.attrib}
    assert not {a for a in attributes if a == "href" or a.lower().startswith("on")}


def _joined(name: str) -> str:
    quoted = '"' + "".join(f"\\U{ord(c):08x}" for c in name) + '"'
    return f"- rebadge: [Hub 1, {quoted}]\n  except: [{quoted}]\n"


@needs_dot
def test_the_sets_of_the_demo_are_those_of_sisters() -> None:
    graph = graph_of_folder(DEMO)
    for key in ("hidzumarahz300", "kazumoreikzr8", "teskilda380"):
        names = {graph.data.owner_text(r.set) for r in questions.sisters(graph, key).rows}
        drawn = {lines[0] for lines in _boxes(_svg(dot.family(graph.data, graph, key)))}
        assert drawn == names | {graph.data.text("set", key)}


def test_less_certain_sisters_can_be_left_out_and_facts_supposed(tmp_path: Path, capsys: Any) -> None:
    folder = str(folder_with(tmp_path, [("facts.yaml", SMALL)]))
    assert run(["--data", folder, "draw", "family", "Larkfield LK-40", "--at-least", "0.5"]) == 0
    text = capsys.readouterr().out
    assert "Orvanek 2200" in text
    assert "Quillon 31" not in text
    more = ["--suppose", "{rebadge: [Larkfield LK-40, Vorsen 7], how: compared}", "--title", "What if"]
    assert run(["--data", folder, "draw", "family", "Larkfield LK-40", *more]) == 0
    said = capsys.readouterr()
    assert "supposed" in [words for _, _, words in _lines(said.out)]
    assert r'label="What if\nsupposed as well: Larkfield LK-40 and Vorsen 7 are one design" ' in said.out
    assert said.err == "Supposed only: no fact is written.\n"


def test_a_wrong_suffix_is_said_before_anything_is_read(tmp_path: Path, capsys: Any) -> None:
    assert run(["--data", str(tmp_path / "none"), "draw", "family", "X", "-o", str(tmp_path / "x.gif")]) == 2
    assert "cannot be written as .gif" in capsys.readouterr().err
