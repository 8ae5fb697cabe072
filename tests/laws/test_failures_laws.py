"""What is left of an answer without a fact: worked out along with it, and asked again without the fact."""

from __future__ import annotations

import itertools
import random
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest

from kgraph import questions
from kgraph.doubts import WEIGHED
from kgraph.fits import blocks
from kgraph.fits import graph as graphs
from kgraph.fits.graph import Graph
from kgraph.questions import Answer, Wanted
from tests.outside.folders import random_folder, write
from tests.support import graph_of_folder

EVERYTHING = Wanted(refused_too=True)


def without(graph: Graph, fact: str) -> Graph:
    """The graph as if a fact had not been said."""
    return graphs.build(replace(graph.data, facts={i: f for i, f in graph.data.facts.items() if i != fact}))


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
        lambda g, w, s=s: questions.donors(g, s, sorted(questions.known_positions(g.data)), w)
        for s in sorted(graph.data.known("set"))
    ]
    for ask in asks:
        for row in ask(graph, weighed).rows:
            assert row.failures or row.proofs or all(f.certainty == 1.0 for f in row.proof)
            for fact, left in row.failures:
                if fact.kind == "size":
                    continue
                if fact.id not in smaller:
                    smaller[fact.id] = without(graph, fact.id)
                again = chances(ask(smaller[fact.id], EVERYTHING))
                expected = again.get((row.set, row.position, row.wanted), 0.0)
                assert left == pytest.approx(expected, abs=1e-9), (fact.id, row.set, row.position)


@pytest.mark.parametrize("seed", range(40))
def test_what_is_left_without_an_edge_is_the_network_without_it(seed: int) -> None:
    """Every edge of random networks, by one pass for all and by leaving it out."""
    chance = random.Random(seed)
    members = chance.randint(3, 7)
    pairs = chance.sample(list(itertools.combinations(range(members), 2)), min(members + 2, 3))
    pairs += chance.sample(list(itertools.combinations(range(members), 2)), chance.randint(0, 2))
    edges = [(a, b, chance.choice([0.4, 0.6, 0.9])) for a, b in pairs]
    tables = blocks.Tables()
    for block in blocks.take_apart(edges, 0).blocks:
        found = tables.without_each(block, 100_000)
        assert found.exact
        for number, row in enumerate(found.left):
            rest = [e for i, e in enumerate(block.edges) if i != number]
            again = tables.all_of(blocks.take_apart(rest, 0), 100_000)
            expected = [again[m].low if m in again else 0.0 for m in range(block.size)]
            assert row == pytest.approx(expected, abs=1e-12)
