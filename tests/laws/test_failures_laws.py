"""What is left of an answer without a fact: worked out along with it, and asked again without the fact."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest

from kgraph import questions
from kgraph.doubts import WEIGHED
from kgraph.fits import graph as graphs
from kgraph.fits.graph import Graph
from kgraph.questions import Answer, Wanted
from tests.outside.folders import random_folder, write
from tests.support import graph_of_folder

EVERYTHING = Wanted(refused_too=True)


def without(graph: Graph, fact: str) -> Graph:
    """The graph as if a fact had not been said."""
    return graphs.build(graph.data.with_facts(f for i, f in graph.data.facts.items() if i != fact))


def chances(answer: Answer) -> dict[tuple[str, str, str], float]:
    return {(r.set, r.position, r.wanted): r.certainty for r in answer.rows}


@pytest.mark.parametrize("seed", range(60))
def test_failures_are_those_of_asking_again_without_the_fact(seed: int) -> None:
    """Takers of every part, and the donors of every set, in random folders."""
    with tempfile.TemporaryDirectory() as folder:
        write(random_folder(seed), Path(folder))
        graph = graph_of_folder(Path(folder))
    weighed = WEIGHED._replace(refused_too=True)
    smaller: dict[str, Graph] = {}
    asks = [lambda g, w, p=p: questions.takers_of_part(g, p, w) for p in sorted(graph.data.known("part"))] + [
        lambda g, w, s=s: questions.donors(g, s, sorted(g.data.known_keys("position")), w)
        for s in sorted(graph.data.known("set"))
    ]
    for ask in asks:
        for row in ask(graph, weighed).rows:
            assert row.failures or all(f.certainty == 1.0 for f in row.proof)
            if not row.failures_exact:
                continue
            for fact, left in row.failures:
                if fact.kind == "size":
                    continue
                if fact.id not in smaller:
                    smaller[fact.id] = without(graph, fact.id)
                again = chances(ask(smaller[fact.id], EVERYTHING))
                expected = again.get((row.set, row.position, row.wanted), 0.0)
                assert left == pytest.approx(expected, abs=1e-9), (fact.id, row.set, row.position)
