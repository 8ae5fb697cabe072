"""Pictures of takers, shares and proofs: what they show is what the questions answer, folded or not."""

from __future__ import annotations

import re
import shutil
import xml.etree.ElementTree as ElementTree
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from kgraph import questions
from kgraph.cli.main import run
from kgraph.fits.graph import Graph
from kgraph.questions import Wanted
from kgraph.reason import rules
from kgraph.reason.rules import State
from kgraph.render import dot
from kgraph.render.pictures.trails import Steps, trail
from kgraph.render.terminal import visible
from tests.support import DEMO, folder_with, graph_of, graph_of_folder

SVG = "{http://www.w3.org/2000/svg}"
needs_dot = pytest.mark.skipif(not shutil.which("dot"), reason="the program `dot` is not installed")

FACTS = """\
- set: Larkfield LK-40
- assembly: TN7 mechanism
  kind: tape mechanism
  positions: [main belt]
- assembly: B2 board
  kind: board
- uses: TN7 mechanism
  in: Larkfield LK-40
  how: printed
- uses: TN7 mechanism
  in: Vorsen 7
  how: photo
- uses: B2 board
  in: Larkfield LK-40
- uses: B2 board
  in: Vorsen 7
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: printed
  source: parts list, LK-40
- same: [K-114, 440 1882]
- replaces: K-114B
  old: 440 1882
- rebadge: [Larkfield LK-40, Orvanek 2200]
  except: [line socket]
  how: fitted
- fits: Orvanek 2200
  position: volume knob
  to: Quillon 31
  at: tone knob
  work: ream the bore
- refuses: K-114
  in: Quillon 31
  position: tone knob
  how: guess
"""


def _svg(source: str) -> ElementTree.Element:
    return ElementTree.fromstring(dot.render(source, Path("x.svg")))


def _boxes(svg: ElementTree.Element, kind: str) -> list[list[str]]:
    groups = [g for g in svg.iter(f"{SVG}g") if (g.get("class") or "").split() == ["node", kind]]
    return [[t.text or "" for t in g.iter(f"{SVG}text")] for g in groups]


def _named(graph: Graph, answer: questions.Answer) -> set[tuple[str, str]]:
    """The sets and positions of an answer, by name."""
    return {(graph.data.owner_text(r.set), graph.data.text("position", r.position)) for r in answer.rows}


def _takers(graph: Graph, part: str, **wanted: Any) -> tuple[questions.Answer, str]:
    answer = questions.takers_of_part(graph, part, Wanted(**wanted))
    return answer, dot.takers(graph, dot.PicturedQuestion(part=part), answer)


@needs_dot
def test_takers_shows_each_answer_and_the_facts_on_the_way() -> None:
    graph = graph_of(FACTS)
    answer, text = _takers(graph, "k114b")
    svg = _svg(text)
    sets = {(b[0], b[1].removeprefix("at ")) for b in _boxes(svg, "set")}
    assert sets == {
        (graph.data.owner_text(r.set), graph.data.text("position", r.position)) for r in answer.rows
    }
    assert {b[0] for b in _boxes(svg, "part")} == {"K-114B", "440 1882", "K-114"}
    words = " ".join(t.text or "" for t in svg.iter(f"{SVG}text"))
    assert "replaces, 60 %" in words
    assert "one part, 60 %" in words
    assert "original, 95 %" in words
    assert "except line socket" in words


def test_takers_of_a_place_begins_at_the_place() -> None:
    graph = graph_of(FACTS)
    answer = questions.takers_of_place(graph, "larkfieldlk40", "volumeknob", Wanted(refused_too=True))
    asked = dot.PicturedQuestion(set_key="larkfieldlk40", position="volumeknob")
    text = dot.takers(graph, asked, answer)
    assert re.search(r'n1 \[label="Larkfield LK-40\\nat volume knob" .*fillcolor', text)
    assert "work: ream the bore" in text.replace("\\n", " ")


def test_what_speaks_against_an_answer_is_drawn_at_it() -> None:
    graph = graph_of(FACTS)
    answer = questions.takers_of_place(graph, "larkfieldlk40", "volumeknob", Wanted())
    assert [(r.set, r.standing) for r in answer.rows if r.against] == [("s:quillon31", "disputed")]
    text = dot.takers(graph, dot.PicturedQuestion(set_key="larkfieldlk40", position="volumeknob"), answer)
    assert text.count('label="against:') == 1
    assert "disputed, " in text
    assert "arrowhead=tee" in text


@needs_dot
@pytest.mark.parametrize("part", ["kz60-11", "hu3001", "sq1.6x226"])
def test_the_demo_s_takers_are_all_drawn(part: str) -> None:
    graph = graph_of_folder(DEMO)
    answer, text = _takers(graph, part, refused_too=True)
    drawn = {(b[0], b[1].removeprefix("at ")) for b in _boxes(_svg(text), "set")}
    assert answer.rows
    assert _named(graph, answer) <= drawn


def _many(sets: int) -> str:
    text = "- assembly: T1 mechanism\n  positions: [main belt]\n"
    text += "- takes: K-1\n  in: T1 mechanism\n  position: main belt\n"
    for i in range(sets):
        name = f"Badge{i % 30} {i}"
        text += f"- uses: T1 mechanism\n  in: {name}\n- rebadge: [{name}, Sister{i % 7} {i}]\n"
    return text


@pytest.mark.parametrize("sets", [40, 1000])
def test_many_takers_are_folded_and_none_is_lost(sets: int) -> None:
    answer, text = _takers(graph_of(_many(sets)), "k1")
    assert len(answer.rows) == 2 * sets
    boxes = len(re.findall(r"^\s+n\d+ \[", text, re.M))
    assert boxes <= dot.MOST_BOXES
    assert f"{2 * sets:,} of the {2 * sets:,} answers are folded" in text
    inside = sum(int(n.replace(",", "")) for n in re.findall(r"([\d,]+) sets? in one", text))
    assert inside == 2 * sets


@needs_dot
def test_shares_shows_every_set_with_what_it_shares() -> None:
    graph = graph_of(FACTS)
    answer = questions.shares(graph, "larkfieldlk40")
    svg = _svg(dot.shares(graph.data, "larkfieldlk40", answer))
    assert {b[0] for b in _boxes(svg, "assembly")} == {"TN7 mechanism", "B2 board"}
    (box,) = _boxes(svg, "group")
    assert box == ["2 sets share all 2:", "Orvanek 2200", "Vorsen 7"]


def test_many_sharing_sets_are_counted_in_their_box() -> None:
    graph = graph_of("".join(f"- uses: A{i % 3} board\n  in: Mid {i}\n" for i in range(300)) + "".join(
        f"- uses: A{k} board\n  in: Lark 1\n" for k in range(3)
    ))  # fmt: skip
    text = dot.shares(graph.data, "lark1", questions.shares(graph, "lark1"))
    assert text.count("+ 95 more") == 3
    assert "285 of the 300 sets are counted in their box and not named" in text
    assert len(re.findall(r"^\s+n\d+ -> n\d+ ", text, re.M)) == 6


@pytest.mark.parametrize("part", ["kz60-11", "hu3001"])
def test_a_trail_uses_the_facts_of_its_proof_and_no_other(part: str) -> None:
    graph = graph_of_folder(DEMO)
    steps = Steps(lambda state: rules.forward(graph, state))
    rows = questions.takers_of_part(graph, part, Wanted(refused_too=True)).rows
    assert rows
    for row in rows:
        hops = trail(steps, State("asked", part), State("goes", row.set, row.position), row.proof)
        # A best proof is minimal, so that its way needs every fact of it.
        assert {fact.id for _, fact, _ in hops} == {fact.id for fact in row.proof}
        assert all(one[2] == other[0] for one, other in pairwise(hops))
        assert hops[-1][2] == ("place", row.set, row.position)


@needs_dot
def test_a_proof_shows_each_fact_with_source_place_and_certainty() -> None:
    graph = graph_of(FACTS)
    answer = questions.takers_of_part(graph, "k114", Wanted(proofs=True))
    row = next(r for r in answer.rows if r.set == "s:orvanek2200")
    facts = _boxes(_svg(dot.proof_of_taker(graph, dot.PicturedQuestion(part="k114"), row)), "fact")
    assert facts == [
        [
            "Larkfield LK-40 at volume knob has K-114 as original",
            "95 %, printed, parts list, LK-40", "facts.yaml:17",
        ],
        [
            "Larkfield LK-40 and Orvanek 2200 are one design, except line", "socket",
            "98 %, fitted", "facts.yaml:25",
        ],
    ]  # fmt: skip


@needs_dot
def test_a_disputed_answer_shows_both_sides() -> None:
    graph = graph_of(FACTS)
    row = next(
        r
        for r in questions.takers_of_place(graph, "larkfieldlk40", "volumeknob").rows
        if r.set == "s:quillon31"
    )
    svg = _svg(
        dot.proof_of_taker(graph, dot.PicturedQuestion(set_key="larkfieldlk40", position="volumeknob"), row)
    )
    assert len(_boxes(svg, "fact")) == len(row.proof)
    (against,) = _boxes(svg, "against")
    assert against[:2] == ["against:", "K-114 does not go on Quillon 31 at tone knob"]
    assert against[-1].startswith("facts.yaml:")


def _draw(capsys: Any, folder: Path, *words: str) -> tuple[int, str, str]:
    status = run(["--data", str(folder), "draw", *words])
    said = capsys.readouterr()
    return status, said.out, said.err


def test_the_commands_of_proofs(tmp_path: Path, capsys: Any) -> None:
    folder = folder_with(tmp_path, [("facts.yaml", FACTS)])
    status, out, _ = _draw(capsys, folder, "proof", "takers", "K-114", "--set", "Orvanek 2200")
    assert (status, 'label="K-114 on Orvanek 2200 at volume knob' in out) == (0, True)
    status, out, _ = _draw(capsys, folder, "proof", "donors", "Orvanek 2200", "volume knob")
    assert (status, "from Larkfield LK-40 at volume knob to Orvanek 2200" in out) == (0, True)
    status, out, _ = _draw(capsys, folder, "proof", "sisters", "Orvanek 2200")
    assert (status, "from Orvanek 2200 to Larkfield LK-40" in out) == (0, True)
    assert _draw(capsys, folder, "proof", "sisters", "Vorsen 7") == (1, "", "nothing found\n")
    assert _draw(capsys, folder, "proof", "takers", "K-114", "--set", "Nobody 9")[0] == 2
    assert _draw(capsys, folder, "proof", "owners", "K-114")[0] == 2


def test_nothing_found_writes_nothing(tmp_path: Path, capsys: Any) -> None:
    folder = folder_with(tmp_path, [("facts.yaml", FACTS)])
    target = tmp_path / "x.dot"
    assert _draw(capsys, folder, "takers", "K-114", "--at-least", "1", "-o", str(target))[0] == 1
    assert _draw(capsys, folder, "shares", "Quillon 31", "-o", str(target))[0] == 1
    assert not target.exists()


HOSTILE = [
    'a"]; x [URL="javascript:alert(1)"',
    "back\\",
    "\\N \\G \\E",
    "<b>x</b>",
    "<<TABLE>x</TABLE>>",
    "a:b:nw",
]


@needs_dot
def test_hostile_names_are_text_in_every_kind(tmp_path: Path) -> None:
    def quoted(name: str) -> str:
        return "'" + name.replace("'", "''") + "'"

    text = "".join(
        f"- uses: {quoted(f'{n} asm')}\n  in: {quoted(n)}\n- uses: {quoted(f'{n} asm')}\n  in: Mid 1\n"
        f"- takes: {quoted(f'{n} part')}\n  in: {quoted(n)}\n  position: {quoted(f'{n} place')}\n"
        f"  source: {quoted(n)}\n- rebadge: [{quoted(n)}, Mid 1]\n"
        for n in HOSTILE
    )
    graph = graph_of(text)
    pictures = [dot.shares(graph.data, "mid1", questions.shares(graph, "mid1"))]
    for key in graph.data.known("part"):
        answer, picture = _takers(graph, key)
        proof = dot.proof_of_taker(graph, dot.PicturedQuestion(part=key), answer.rows[-1])
        pictures += [picture, proof]
    seen = ""
    for picture in pictures:
        svg = _svg(picture)
        assert {e.tag.removeprefix(SVG) for e in svg.iter()} <= {
            "svg", "g", "title", "desc", "text", "polygon", "polyline", "ellipse", "path",
        }  # fmt: skip
        assert not [a for e in svg.iter() for a in e.attrib if a.endswith("href") or a.startswith("on")]
        seen += "\n".join(t.text or "" for t in svg.iter(f"{SVG}text")) + "\n"
    lines = set(seen.splitlines())
    for name in HOSTILE:
        assert {visible(name), f"{visible(name)} part", f"{visible(name)} asm"} <= lines
