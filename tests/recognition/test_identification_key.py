"""identify --key and draw key: every way leads to the right set, and no key is shorter than it can be."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from kgraph.cli.main import run
from kgraph.recognition import traits
from kgraph.recognition.key import KeyStep, key_for, mean_questions
from kgraph.render.key import numbered
from tests.support import DEMO, graph_of, graph_of_folder


def _binary(n: int) -> str:
    rows = []
    for i in range(n):
        bits = "".join(f"  switch {b}: {'up' if i >> b & 1 else 'down'}\n" for b in range(6))
        rows.append(f"- set: Quillon {i}\n{bits}")
    return "".join(rows)


@pytest.mark.parametrize("n", [2, 5, 8, 60])
def test_the_mean_number_of_yes_no_questions_is_within_its_bound(n: int) -> None:
    # Bound for n equally likely sets and two answers: k + 2r/n with n = 2^k + r.
    graph = graph_of(_binary(n))
    step = key_for(graph, traits.sets_of(graph.data))
    k = int(math.log2(n))
    least = k + 2 * (n - 2**k) / n
    assert least - 1e-9 <= mean_questions(step) <= least + 1.0


def test_a_set_of_which_nothing_is_known_stands_under_each_answer() -> None:
    text = "- set: Larkfield LK-40\n  knobs: 4\n- set: Orvanek 2200\n  knobs: 5\n- set: Quillon 31\n"
    graph = graph_of(text)
    step = key_for(graph, traits.sets_of(graph.data))
    assert [a for a, _ in step.answers] == ["4", "5"]
    assert all("s:quillon31" in then.sets for _, then in step.answers)


def _reached(graph: object, step: KeyStep, owner: str) -> bool:
    if not step.answers:
        return owner in step.sets
    return any(_reached(graph, then, owner) for _, then in step.answers if owner in then.sets)


def test_every_set_of_the_demo_is_at_an_end() -> None:
    graph = graph_of_folder(DEMO)
    owners = traits.sets_of(graph.data)
    step = key_for(graph, owners)
    assert len(numbered(step)) > 5
    assert all(_reached(graph, step, owner) for owner in owners)


def test_what_is_seen_from_outside_comes_first_and_papers_last() -> None:
    """Three keys tell two sets apart alike: the knobs are asked; without them the chassis, then the years."""
    sets = "- set: Larkfield LK-40\n  years: 1978\n{}- set: Quillon 31\n  years: 1981\n{}"
    chassis = "".join(
        f"- assembly: {name}\n  kind: chassis\n- uses: {name}\n  in: {owner}\n  how: printed\n"
        for name, owner in (("LC4 chassis", "Larkfield LK-40"), ("LC5 chassis", "Quillon 31"))
    )
    knobs = ("  knobs: 4\n", "  knobs: 5\n")
    for text, asked in (
        (sets.format(*knobs) + chassis, "knobs"),
        (sets.format("", "") + chassis, "chassis"),
        (sets.format("", ""), "years"),
    ):
        graph = graph_of(text)
        assert key_for(graph, traits.sets_of(graph.data)).key == asked


def test_the_commands(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "a.yaml").write_text(_binary(4))
    assert run(["--data", str(tmp_path), "identify", "--key", "Quillon 1", "Quillon 2"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("1. switch 1?\n   down: Quillon 1\n   up: Quillon 2\n")
    assert run(["--data", str(tmp_path), "identify", "--key", "--markdown"]) == 0
    assert "## 1. switch 1?" in capsys.readouterr().out
    assert run(["--data", str(tmp_path), "draw", "key"]) == 0
    assert capsys.readouterr().out.startswith("digraph")


def test_the_key_as_a_picture_has_every_question_and_set(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from xml.etree import ElementTree

    (tmp_path / "a.yaml").write_text(_binary(4))
    target = tmp_path / "key.svg"
    assert run(["--data", str(tmp_path), "draw", "key", "-o", str(target)]) == 0
    root = ElementTree.fromstring(target.read_bytes())
    texts = ["".join(t.itertext()).strip() for t in root.iter("{http://www.w3.org/2000/svg}text")]
    assert {f"Quillon {i}" for i in range(4)} <= set(texts)
    assert [t for t in texts if t.endswith("?")].count("switch 1?") == 1
    assert texts.count("up") == texts.count("down") == 3
    assert "What is this set?" in texts


def test_a_key_that_asks_for_what_lies_inside_says_what_to_beware_of(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["--data", str(DEMO), "identify", "--key"]) == 0
    assert "Caution, mains: " in capsys.readouterr().out
    (tmp_path / "a.yaml").write_text(_binary(4))
    assert run(["--data", str(tmp_path), "identify", "--key"]) == 0
    assert "Caution" not in capsys.readouterr().out
