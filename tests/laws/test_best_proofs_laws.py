"""The best proof, against a search that remembers every fact which stands on more than one step."""

from __future__ import annotations

import heapq
import tempfile
from pathlib import Path

import pytest

from kgraph.fits.graph import Graph
from kgraph.reason import rules
from kgraph.reason.proofs import verify
from kgraph.reason.rules import State
from kgraph.reason.walk import Network, explore
from kgraph.reason.weigh import best_proofs
from tests.outside.folders import random_folder, write
from tests.support import DEMO, graph_of_folder


def every_fact_in_hand(network: Network) -> dict[int, float]:
    """The cost of the best proof of each state, by a search that remembers all facts which serve twice."""
    ends: dict[int, set[frozenset[int]]] = {}
    for state, out in enumerate(network.steps):
        for to, label in out:
            if label >= 0:
                ends.setdefault(label, set()).add(frozenset((state, to)))
    shared = {label for label, pairs in ends.items() if len(pairs) > 1}
    held: dict[int, list[tuple[float, frozenset[int]]]] = {}
    found: dict[int, float] = {}
    queue: list[tuple[float, int, tuple[int, ...], int]] = [(0.0, 0, (), 0)]
    while queue:
        cost, length, path, state = heapq.heappop(queue)
        hand = frozenset(shared.intersection(path))
        here = held.setdefault(state, [])
        if any(c + sum(network.costs[n] for n in hand - h) <= cost + 1e-15 for c, h in here):
            continue
        here.append((cost, hand))
        found.setdefault(state, cost)
        for to, label in network.steps[state]:
            again = label < 0 or label in path
            paid, way = (0.0, path) if again else (network.costs[label], (*path, label))
            heapq.heappush(queue, (cost + paid, length + 1, way, to))
    return found


def compare(network: Network) -> int:
    """Assert that both find the same best cost for each answer; how many answers there are."""
    expected = every_fact_in_hand(network)
    phase = "is" if network.states[0].phase == "goes" else "goes"
    answers = [state for state in expected if network.states[state].phase == phase]
    found = best_proofs(network, answers)
    for state in answers:
        cost = sum(network.costs[n] for n in found[state].labels)
        assert found[state].proven
        assert cost == pytest.approx(expected[state], abs=1e-12), network.states[state]
        assert verify(found[state].labels, network, state)
    return len(answers)


def walks(graph: Graph) -> list[Network]:
    """Both directions from every place of every set, and from every part."""
    made = []
    for key in sorted(graph.data.known("set")):
        for position in sorted(graph.data.known_keys("position")):
            start = f"s:{key}", position
            made.append(explore(State("is", *start), lambda s: rules.forward(graph, s)))
            made.append(explore(State("goes", *start), lambda s: rules.backward(graph, s)))
    for part in sorted(graph.data.known("part")):
        made.append(explore(State("asked", part), lambda s: rules.forward(graph, s)))
    return made


def test_the_demo() -> None:
    graph = graph_of_folder(DEMO)
    by_part = [
        explore(State("asked", part), lambda s: rules.forward(graph, s))
        for part in sorted(graph.data.known("part"))
    ]
    assert sum(compare(network) for network in by_part) > 100


def test_random_folders() -> None:
    answers = 0
    for seed in range(150):
        with tempfile.TemporaryDirectory() as scratch:
            graph = graph_of_folder(write(random_folder(seed, 24), Path(scratch)).parent)
            answers += sum(compare(network) for network in walks(graph))
    assert answers > 5_000
