"""Certainty against the reliability literature, the enumeration of all worlds, and its own bounds.

Rows E4 to E7 of the published check values: the bridge network (R. Barlow, *Engineering Reliability*,
after Eq. 6.1.3), the five-edge network with a direct edge, and the complete graph on four nodes, each to
the digits given there.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence

import networkx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kgraph import questions
from kgraph.fits.graph import Graph
from kgraph.questions import Wanted
from kgraph.reason import drawn, rules, weigh
from kgraph.reason.budget import Budget
from kgraph.reason.rules import State
from kgraph.reason.walk import Network, components, cut, entries_of, explore
from tests.support import graph_of

Edges = Sequence[tuple[str, str, float]]


def network(edges: Edges) -> Graph:
    return graph_of("".join(f"- rebadge: [Set {a}, Set {b}]\n  certainty: {p}\n" for a, b, p in edges))


def between(edges: Edges, one: str, other: str) -> questions.Row:
    rows = questions.sisters(network(edges), f"set{one}").rows
    return next(r for r in rows if r.set == f"s:set{other}")


def all_worlds(edges: Edges, one: str, other: str) -> float:
    total = 0.0
    for holds in itertools.product((True, False), repeat=len(edges)):
        weight = 1.0
        for (_, _, p), here in zip(edges, holds, strict=True):
            weight *= p if here else 1 - p
        reached, grown = {one}, True
        while grown:
            grown = False
            for (a, b, _), here in zip(edges, holds, strict=True):
                if here and (a in reached) != (b in reached):
                    reached |= {a, b}
                    grown = True
        total += weight * (other in reached)
    return total


BRIDGE = [("a", "c"), ("a", "d"), ("c", "d"), ("c", "b"), ("d", "b")]


@pytest.mark.parametrize(
    ("p", "value"), [(0.5, 0.5), (0.8, 0.91136), (0.9, 0.97848), (0.95, 0.9947806), (0.99, 0.9997980)]
)
def test_the_bridge_network(p: float, value: float) -> None:
    assert between([(a, b, p) for a, b in BRIDGE], "a", "b").certainty == pytest.approx(value, abs=5e-8)


def test_five_edges_and_a_direct_one() -> None:
    """The best proof has three steps and beats both of two steps and the direct edge."""
    edges = [
        ("a", "c", 0.9),
        ("c", "b", 0.8),
        ("a", "d", 0.7),
        ("d", "b", 0.95),
        ("c", "d", 0.99),
        ("a", "b", 0.68),
    ]
    row = between(edges, "a", "b")
    assert row.certainty == pytest.approx(0.98712288, abs=5e-9)
    assert row.best == pytest.approx(0.846450, abs=5e-7)
    assert len(row.proof) == 3


def test_the_complete_graph_on_four() -> None:
    edges = [(a, b, 0.9) for a, b in itertools.combinations("abcd", 2)]
    assert between(edges, "a", "d").certainty == pytest.approx(0.997848, abs=5e-7)


def test_shared_evidence_is_counted_once() -> None:
    """Row E7: x with y or z is 0.846, not the 0.8964 of two proofs taken as independent."""
    edges = [("a", "x", 0.9), ("x", "y", 0.8), ("x", "z", 0.7), ("y", "b", 1.0), ("z", "b", 1.0)]
    assert between(edges, "a", "b").certainty == pytest.approx(0.846)


def random_edges(members: int, edges: int, seed: int) -> list[tuple[str, str, float]]:
    chosen = random.Random(seed)
    pairs = chosen.sample(list(itertools.combinations(range(members), 2)), edges)
    return [(str(a), str(b), chosen.choice([0.4, 0.6, 0.7, 0.85, 0.95])) for a, b in sorted(pairs)]


def weighed(edges: Edges, nodes: int) -> tuple[Network, dict[int, weigh.Weighed]]:
    """All sets of a network weighed, with so many nodes of decision diagrams at the most."""
    graph = network(edges)
    walked = explore(State("set", f"s:set{edges[0][0]}"), lambda s: rules.rebadged(graph, s))
    targets = range(1, len(walked.states))
    budget = Budget()
    budget.nodes = nodes
    return walked, weigh.weigh(walked, cut(walked, targets), targets, budget, {}, weigh.Aims())


@pytest.mark.parametrize("seed", range(12))
def test_both_ways_of_weighing_against_all_worlds(seed: int) -> None:
    """Every set of a network of twelve edges: exactly, and drawn, by going through all 2^12 worlds."""
    edges = random_edges(7, 12, seed)
    for nodes, how in ((100_000, "exact"), (1, "drawn")):
        walked, found = weighed(edges, nodes)
        assert found
        for target, one in found.items():
            other = walked.states[target].owner.removeprefix("s:set")
            expected = all_worlds(edges, edges[0][0], other)
            if one.how == "exact":
                assert one.certainty == pytest.approx(expected, abs=1e-12)
                assert one.bounds is None
            else:
                assert one.bounds is not None
                assert one.bounds[0] <= expected <= one.bounds[1]
                assert one.bounds[1] - one.bounds[0] < 0.03
        assert how in {one.how for one in found.values()}


def test_no_interval_of_two_thousand_misses() -> None:
    """Intervals drawn over networks whose exact values are known: none lies outside."""
    checked = 0
    for seed in range(300):
        edges = random_edges(9, 14, seed)
        _, exact = weighed(edges, 1_000_000)
        _, drawn_too = weighed(edges, 1)
        for target, one in drawn_too.items():
            if one.how == "drawn":
                low, high = one.bounds or (0.0, 0.0)
                assert low <= exact[target].certainty <= high
                checked += 1
    assert checked > 2_000


def test_each_world_is_walked_as_networkx_walks_it() -> None:
    """Bit w of every state is whether networkx reaches it in world w: 100 worlds of 100 networks."""
    for seed in range(100):
        edges = random_edges(12, 20, seed)
        graph = network(edges)
        walked = explore(State("set", f"s:set{edges[0][0]}"), lambda s, g=graph: rules.rebadged(g, s))
        steps = cut(walked, range(1, len(walked.states)))
        found, holds = drawn.DrawnNetwork(steps, walked.facts).reached(0, 100)
        for world in range(100):
            standing = networkx.DiGraph()
            standing.add_nodes_from(range(len(steps)))
            standing.add_edges_from(
                (s, to) for s, out in enumerate(steps) for to, n in out if n < 0 or holds[n] >> world & 1
            )
            there = networkx.descendants(standing, 0) | {0}
            assert {s for s, bits in enumerate(found) if bits >> world & 1} == there


def test_components_are_those_of_networkx_and_follow_what_leads_to_them() -> None:
    """300 random directed graphs, from loose to dense, of which a part is reached from the start."""
    several = 0
    for seed in range(300):
        chance = random.Random(seed)
        size = chance.randint(1, 25)
        steps: list[list[tuple[int, int]]] = [[] for _ in range(size)]
        for _ in range(chance.randint(0, 3 * size)):
            steps[chance.randrange(size)].append((chance.randrange(size), -1))
        found = list(components(steps, entries_of(steps)))
        whole = networkx.DiGraph([(s, to) for s, out in enumerate(steps) for to, _ in out])
        whole.add_node(0)
        reached = whole.subgraph(networkx.descendants(whole, 0) | {0})
        expected = {frozenset(c) for c in networkx.strongly_connected_components(reached)}
        assert {frozenset(c) for c in found} == expected
        assert len(found) == len(expected)
        place = {state: i for i, one in enumerate(found) for state in one}
        assert all(place[s] <= place[to] for s, to in reached.edges)
        several += len(found) > 1 and any(len(c) > 1 for c in found)
    assert several > 50


def test_the_same_folder_gives_the_same_digits() -> None:
    """A dense network is drawn, and drawn alike again and in another order of its facts."""
    edges = random_edges(40, 160, 40)
    first = {r.set: (r.certainty, r.bounds) for r in questions.sisters(network(edges), "set1").rows}
    again = {r.set: (r.certainty, r.bounds) for r in questions.sisters(network(edges[::-1]), "set1").rows}
    assert first == again
    assert any(bounds for _, bounds in first.values())
    for certainty, bounds in first.values():
        if bounds:
            assert bounds[0] <= certainty <= bounds[1]
            assert bounds[1] - bounds[0] < 0.03


def test_more_seconds_narrow_the_bounds() -> None:
    edges = random_edges(40, 160, 40)

    def width(seconds: float) -> float:
        rows = questions.sisters(network(edges), "set1", Wanted(seconds=seconds)).rows
        return max(r.bounds[1] - r.bounds[0] for r in rows if r.bounds)

    assert width(0.001) > width(2.0)


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10_000), count=st.integers(3, 9))
def test_best_certainty_and_union_bound_are_in_order(seed: int, count: int) -> None:
    edges = random_edges(5, count, seed)
    for row in questions.sisters(network(edges), f"set{edges[0][0]}", questions.Wanted(proofs=True)).rows:
        each = [1.0] * len(row.proofs)
        for i, proof in enumerate(row.proofs):
            for fact in proof:
                each[i] *= fact.certainty
        assert row.best <= row.certainty + 1e-12
        assert row.certainty <= sum(each) + 1e-12


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_a_supporting_fact_never_lowers_and_withdrawing_restores(seed: int) -> None:
    edges = random_edges(5, 7, seed)
    one, other = edges[0][0], edges[-1][1]
    before = {r.set: r.certainty for r in questions.sisters(network(edges), f"set{one}").rows}
    added = "".join(f"- rebadge: [Set {a}, Set {b}]\n  certainty: {p}\n" for a, b, p in edges)
    more = f"- rebadge: [Set {one}, Set {other} x]\n  id: extra\n- rebadge: [Set {other} x, Set {other}]\n"
    after = {r.set: r.certainty for r in questions.sisters(graph_of(added + more), f"set{one}").rows}
    assert all(after[s] >= c - 1e-12 for s, c in before.items())
    back = graph_of(added + more + "- withdraw: extra\n  why: wrong\n")
    restored = {r.set: r.certainty for r in questions.sisters(back, f"set{one}").rows}
    assert {s: restored[s] for s in before} == before
