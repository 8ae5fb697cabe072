"""Certainty against the reliability literature, the enumeration of all worlds, and its own bounds.

Rows E4 to E7 of the published check values: the bridge network (R. Barlow, *Engineering Reliability*,
after Eq. 6.1.3), the five-edge network with a direct edge, and the complete graph on four nodes, each to
the digits given there.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kgraph import questions
from kgraph.fits import certainty, families, proofs, rules
from kgraph.fits.graph import Graph
from kgraph.reason.rules import State
from kgraph.questions import Wanted
from tests.support import graph_of

Edges = Sequence[tuple[str, str, float]]


def network(edges: Edges) -> Graph:
    return graph_of("".join(f"- rebadge: [Set {a}, Set {b}]\n  certainty: {p}\n" for a, b, p in edges))


def between(edges: Edges, one: str, other: str, effort: int = 1) -> questions.Row:
    rows = questions.sisters(network(edges), f"set{one}", Wanted(effort=effort)).rows
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
    found = certainty.of_proofs([frozenset({0, 1}), frozenset({0, 2})], [0.9, 0.8, 0.7])
    assert found == pytest.approx(0.846)


def random_edges(members: int, edges: int, seed: int) -> list[tuple[str, str, float]]:
    chosen = random.Random(seed)
    pairs = chosen.sample(list(itertools.combinations(range(members), 2)), edges)
    return [(str(a), str(b), chosen.choice([0.4, 0.6, 0.7, 0.85, 0.95])) for a, b in sorted(pairs)]


def by_states(edges: Edges, effort: int = 1) -> tuple[proofs.Walked, dict[int, certainty.Bounds]]:
    graph = network(edges)
    walked = proofs.explore(State("set", f"s:set{edges[0][0]}"), lambda s: rules.rebadged(graph, s))
    return walked, families.all_members(walked, range(1, len(walked.states)), effort) or {}


@pytest.mark.parametrize("seed", range(12))
def test_a_family_at_once_against_all_worlds(seed: int) -> None:
    """All members by one pass, one by one by states, and by going through all 2^12 worlds."""
    edges = random_edges(7, 12, seed)
    walked, found = by_states(edges)
    assert found
    for target, bounds in found.items():
        other = walked.states[target].owner.removeprefix("s:set")
        expected = all_worlds(edges, edges[0][0], other)
        assert bounds.exact
        assert bounds.low == pytest.approx(expected, abs=1e-12)
        assert certainty.of_walk(walked, target).low == pytest.approx(expected, abs=1e-12)


def test_bounds_hold_the_exact_value_and_narrow(monkeypatch: pytest.MonkeyPatch) -> None:
    """With few states kept the bounds are wide, hold the exact value, and narrow as more are kept."""
    edges = random_edges(9, 20, 3)
    _, exact = by_states(edges)
    assert all(b.exact for b in exact.values())
    monkeypatch.setattr(families, "LEAST", 1)
    widths = []
    for work in (60, 400, 4000):
        monkeypatch.setattr(families, "WORK", work)
        _, found = by_states(edges)
        for target, bounds in found.items():
            assert bounds.low - 1e-12 <= exact[target].low <= bounds.high + 1e-12
        widths.append(sum(b.high - b.low for b in found.values()))
    assert widths[0] > widths[1] > widths[2]


def test_forty_sets_and_a_hundred_and_twenty_facts() -> None:
    """In reach: proven bounds that more effort narrows, the best proof within them."""
    edges = random_edges(40, 120, 40)
    graph = network(edges)
    first = {r.set: r for r in questions.sisters(graph, "set1").rows}
    more = {r.set: r for r in questions.sisters(graph, "set1", Wanted(effort=4)).rows}
    assert len(first) >= 35
    for owner, row in first.items():
        low, high = row.bounds or (row.certainty, row.certainty)
        assert row.best <= low + 1e-12 <= high + 2e-12 <= 1 + 3e-12
        closer = more[owner].bounds or (more[owner].certainty,) * 2
        assert closer[0] <= high + 1e-12
        assert low <= closer[1] + 1e-12
    width = {
        k: sum(r.bounds[1] - r.bounds[0] for r in rows.values() if r.bounds)
        for k, rows in ((1, first), (4, more))
    }
    assert width[4] < width[1]


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
