"""Every printed proof leads where it says, and the two directions of the rules are one relation."""

from __future__ import annotations

from functools import partial

import pytest

from kgraph.fits.graph import Graph
from kgraph.reason import rules
from kgraph.reason.proofs import minimal_proofs, verify
from kgraph.reason.rules import State
from kgraph.reason.walk import cut, explore
from kgraph.reason.weigh import best_proofs
from tests.outside.folders import random_folder, write
from tests.support import DEMO, graph_of_folder


@pytest.fixture(scope="module")
def graphs(tmp_path_factory: pytest.TempPathFactory) -> list[Graph]:
    made = [graph_of_folder(DEMO)]
    for seed in range(8):
        folder = tmp_path_factory.mktemp(f"seed{seed}")
        write(random_folder(seed), folder)
        made.append(graph_of_folder(folder))
    return made


def starts(graph: Graph) -> list[State]:
    parts = [State("asked", p) for p in sorted(graph.takes_of)[:25]]
    return [*parts, *(State("is", *place) for place in sorted(graph.taken_at)[:25])]


def test_every_proof_leads_to_its_answer_and_no_fact_can_be_left_out(graphs: list[Graph]) -> None:
    checked = 0
    for graph in graphs:
        for start in starts(graph):
            walked = explore(start, partial(rules.forward, graph))
            goals = [i for i, s in enumerate(walked.states) if s.phase == "goes" and s.owner[0] == "s"]
            best = best_proofs(walked, goals)
            for target, found in minimal_proofs(walked, cut(walked, goals, rules.IMPLIED), goals).items():
                assert verify(best[target].labels, walked, target)
                for proof in found.found:
                    assert verify(proof, walked, target)
                    assert not any(verify(proof - {fact}, walked, target) for fact in proof)
                    checked += 1
    assert checked > 500


def test_forward_and_backward_are_one_relation(graphs: list[Graph]) -> None:
    for graph in graphs:
        states = {s for start in starts(graph) for s in explore(start, partial(rules.forward, graph)).states}
        for state in states:
            for other, fact in rules.forward(graph, state):
                assert (state, fact) in rules.backward(graph, other), (state, other)
            for other, fact in rules.backward(graph, state):
                assert (state, fact) in rules.forward(graph, other), (other, state)
