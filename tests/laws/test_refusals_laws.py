"""The strongest refusal looked up for a whole class of like places, against rule `no` walked from each."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest

from kgraph import questions
from kgraph.fits import proofs, rules
from kgraph.fits.graph import Graph, Place
from kgraph.fits.refusals import Refusals
from kgraph.reason.rules import State
from tests.outside.folders import random_folder, write
from tests.support import DEMO, graph_of_folder


def by_walk(graph: Graph, place: Place) -> dict[str | Place, float]:
    """Each item refused at a place and the certainty of its strongest proof, by the rule alone."""
    walked = proofs.explore(State("no", *place), lambda s: rules.against(graph, s))
    found: dict[str | Place, float] = {}
    for number, best in proofs.best_proofs(walked).items():
        item = rules.refused_item(walked.states[number])
        if item is not None:
            found[item] = max(found.get(item, 0.0), proofs.product(walked, best.labels))
    return found


def compare(graph: Graph) -> int:
    """Assert that both agree on every item at every place, and that each proof multiplies up; how many."""
    refusals, checked = Refusals(graph), 0
    for owner in [f"s:{k}" for k in graph.data.known("set")]:
        for position in questions.known_positions(graph.data):
            place = Place(owner, position)
            expected = by_walk(graph, place)
            for item, sure in expected.items():
                placed = isinstance(item, Place)
                asked = (frozenset[str](), frozenset({item})) if placed else (frozenset({item}), frozenset())
                found, facts = refusals.strongest(place, *asked)  # type: ignore[arg-type]
                assert found == pytest.approx(sure, abs=1e-12), (place, item)
                walked = {f.id: f.certainty for f in facts}
                product = 1.0
                for certainty in walked.values():
                    product *= certainty
                assert product == pytest.approx(found, abs=1e-12), (place, item)
                checked += 1
            everything = frozenset(p for p in graph.data.known("part") if p not in expected)
            assert refusals.strongest(place, everything, frozenset())[0] == 0.0
    return checked


def test_the_demo() -> None:
    assert compare(graph_of_folder(DEMO)) > 50


def test_random_folders() -> None:
    checked = 0
    for seed in range(150):
        with tempfile.TemporaryDirectory() as scratch:
            checked += compare(graph_of_folder(write(random_folder(seed, 24), Path(scratch)).parent))
    assert checked > 500
