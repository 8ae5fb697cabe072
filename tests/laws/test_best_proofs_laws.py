"""The best proof, against a search that remembers every fact which stands on more than one step."""

from __future__ import annotations

import math
import tempfile
from pathlib import Path

import pytest

from kgraph import questions
from kgraph.fits import proofs, rules
from kgraph.fits.graph import Graph
from kgraph.reason.rules import State
from tests.outside.folders import random_folder, write
from tests.support import DEMO, graph_of_folder


def repeated(walked: proofs.Walked) -> frozenset[int]:
    """The facts on steps between more than one pair of states, each phase a state of its own."""
    seen: dict[int, set[frozenset[int]]] = {}
    for state, out in enumerate(walked.steps):
        for to, label in out:
            if label >= 0:
                seen.setdefault(label, set()).add(frozenset((state, to)))
    return frozenset(label for label, ends in seen.items() if len(ends) > 1)


def compare(walked: proofs.Walked) -> tuple[int, int]:
    """Assert that both find the same best cost for each answer; the answers, and the facts not remembered."""
    remembered = repeated(walked)
    expected = proofs._search(walked, remembered, math.inf)
    found = proofs.best_proofs(walked)
    assert found.keys() == expected.keys()
    phase = "is" if walked.states[0].phase == "goes" else "goes"
    answers = [state for state in expected if walked.states[state].phase == phase]
    for state in answers:
        best = expected[state]
        assert found[state].cost == pytest.approx(best.cost, abs=1e-12), walked.states[state]
        assert proofs.verify(found[state].labels, walked, state)
    return len(answers), len(remembered - proofs.repeatable(walked))


def walks(graph: Graph) -> list[proofs.Walked]:
    """Both directions from every place of every set, and from every part."""
    made = []
    for key in sorted(graph.data.known("set")):
        for position in sorted(questions.known_positions(graph.data)):
            start = f"s:{key}", position
            made.append(proofs.explore(State("is", *start), lambda s: rules.forward(graph, s)))
            made.append(proofs.explore(State("goes", *start), lambda s: rules.backward(graph, s)))
    for part in sorted(graph.data.known("part")):
        made.append(proofs.explore(State("asked", part), lambda s: rules.forward(graph, s)))
    return made


def test_the_demo() -> None:
    graph = graph_of_folder(DEMO)
    by_part = [
        proofs.explore(State("asked", part), lambda s: rules.forward(graph, s))
        for part in sorted(graph.data.known("part"))
    ]
    assert sum(compare(walked)[0] for walked in by_part) > 100


def test_random_folders() -> None:
    answers = spared = 0
    for seed in range(300):
        with tempfile.TemporaryDirectory() as scratch:
            graph = graph_of_folder(write(random_folder(seed, 24), Path(scratch)).parent)
            for walked in walks(graph):
                more, fewer = compare(walked)
                answers, spared = answers + more, spared + fewer
    assert answers > 10_000
    assert spared > 1_000
