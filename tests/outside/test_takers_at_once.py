"""The quick answers for many parts against the walk through all rules, which has an oracle of its own."""

from __future__ import annotations

import math
import tempfile
from pathlib import Path

import pytest

from kgraph import questions
from kgraph.fits import proofs
from kgraph.fits.rules import State
from kgraph.fits.takers import Takers
from kgraph.fits.ways import ways
from kgraph.questions import Wanted
from kgraph.source.facts import Facts
from tests.holders import Holder, on_both_holders
from tests.outside.folders import random_folder, write
from tests.support import DEMO, graph_of_folder

EVERYTHING = Wanted(refused_too=True)


def random_graph(seed: int, holder: Holder = graph_of_folder) -> Facts:
    """The graph of a random folder."""
    with tempfile.TemporaryDirectory() as scratch:
        return holder(write(random_folder(seed, 24), Path(scratch)).parent)


def compare(graph: Facts) -> int:
    """Assert that both give the same places, certainties and refusals for every part; how many there were."""
    taking, places = Takers(graph), 0
    for part in graph.data.known("part"):
        rows = {(r.set, r.position): r for r in questions.takers_of_part(graph, part, EVERYTHING).rows}
        found = {tuple(t.place): t for t in taking.of(part)}
        assert set(found) == set(rows), part
        for key, taker in found.items():
            assert taker.best == pytest.approx(rows[key].best, abs=1e-12), (part, key)
            assert taker.no == pytest.approx(rows[key].no, abs=1e-12), (part, key)
            distinct = {f.id: f.certainty for f in taker.proof}
            assert math.prod(distinct.values()) == pytest.approx(taker.best, abs=1e-12)
            if not any("must match" in w for w in rows[key].warnings):
                assert taker.refused == (rows[key].standing == "refused"), (part, key)
        places += len(found)
    return places


@on_both_holders
def test_every_part_of_the_demo(holder: Holder) -> None:
    assert compare(holder(DEMO)) > 1000


@on_both_holders
def test_random_folders(holder: Holder) -> None:
    assert sum(compare(random_graph(seed, holder)) for seed in range(150)) > 500


def test_ways_among_like_places_against_the_search_of_all_rules() -> None:
    graph, checked = graph_of_folder(DEMO), 0
    for set_key in graph.data.known("set"):
        owner, position = f"s:{set_key}", "mainbelt"
        walked = proofs.explore(
            State("goes", owner, position),
            lambda s: [(State("goes", o, s.position), f) for o, f in graph.like(s.owner, s.position)],
        )
        best = proofs.best_proofs(walked)
        found = ways(graph, {owner: 1.0}, position)
        assert set(found.certainty) == {s.owner for s in walked.states}
        for number, state in enumerate(walked.states):
            assert found.certainty[state.owner] == pytest.approx(best[number].certainty, abs=1e-12)
            assert found.start(state.owner) == owner
            assert len(found.facts(state.owner)) == len(best[number].labels)
            checked += 1
    assert checked > 300
