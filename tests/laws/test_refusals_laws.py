"""What is refused, from the place back to the items and from the items to the places: one relation."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest

from kgraph.fits.graph import Graph, Place
from kgraph.reason import refusals
from kgraph.reason.budget import Budget
from tests.outside.folders import random_folder, write
from tests.support import DEMO, graph_of_folder


def compare(graph: Graph) -> int:
    """Assert that both directions agree on every item at every place, and proofs multiply up; how many."""
    checked = 0
    places = [
        Place(f"s:{key}", position)
        for key in graph.data.known("set")
        for position in graph.data.known_keys("position")
    ]
    said = refusals.said_at(graph, {p for place in places for p in graph.alike_places(place)})
    from_item: dict[object, dict[Place, refusals.Against]] = {}
    for place in places:
        for item, against in refusals.refused_items(graph, place, Budget()).items():
            if item not in from_item:
                from_item[item] = refusals.refused_places(graph, said, [item], Budget())
            other = from_item[item][place]
            assert other.certainty == pytest.approx(against.certainty, abs=1e-12), (place, item)
            for found in (against, other):
                product = 1.0
                for fact in {f.id: f for f in found.facts}.values():
                    product *= fact.certainty
                assert product == pytest.approx(found.certainty, abs=1e-12)
            assert item in refusals.bearing_on(graph, said, Budget())
            checked += 1
    return checked


def test_the_demo() -> None:
    assert compare(graph_of_folder(DEMO)) > 50


def test_random_folders() -> None:
    checked = 0
    for seed in range(60):
        with tempfile.TemporaryDirectory() as scratch:
            checked += compare(graph_of_folder(write(random_folder(seed, 24), Path(scratch)).parent))
    assert checked > 200
