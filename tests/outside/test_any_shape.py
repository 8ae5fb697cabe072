"""Folders of shapes that nobody planned for: every question ends, and what it says of certainty holds.

The folders are those of :mod:`tests.bench.shapes`, facts of all kinds at random; the small ones are those
that ProbLog is asked about elsewhere. Drawn certainties are forced by a bound on the facts of a diagram.
"""

from __future__ import annotations

import math
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kgraph import collection, questions
from kgraph.fits import graph as graphs
from kgraph.fits.graph import Graph
from kgraph.folder import schema
from kgraph.questions import Row, Wanted
from kgraph.reason import exact
from tests.bench import shapes
from tests.outside.folders import random_folder, write
from tests.support import ROOT, graph_of_folder

EVERYTHING = Wanted(refused_too=True)


def dense(facts: int, sets: int, seed: int) -> Graph:
    """The graph of so many random facts on so many sets."""
    text = "".join(shapes.dense(facts, sets)(shapes.random.Random(seed)))
    entries, problems = schema.entries_of(text.encode(), "dense.yaml")
    assert not [p for p in problems if p.severity == "error"]
    return graphs.build(collection.build(entries))


def check(row: Row) -> None:
    """What holds of every answer, however it was weighed."""
    distinct = {f.id: f.certainty for f in row.proof}
    assert math.prod(distinct.values()) == pytest.approx(row.best, abs=1e-12)
    if row.weighed == "exact":
        assert row.bounds is None
        assert row.best - 1e-12 <= row.certainty <= 1.0
    else:
        assert row.weighed == "drawn"
        assert row.bounds is not None
        low, high = row.bounds
        assert row.best <= low + 1e-12
        assert low <= row.certainty <= high <= 1.0


def answers_hold(sets: int, share: float, seed: int) -> int:
    """Ask a question of each sort; how many answers there were."""
    graph = dense(int(sets * share), sets, seed)
    count = 0
    for _, ask in shapes.asks(graph, 5, seed):
        for row in ask(graph).rows:
            check(row)
            count += 1
    return count


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(sets=st.integers(20, 120), share=st.floats(1.0, 4.0), seed=st.integers(0, 10_000))
def test_small_dense_folders(sets: int, share: float, seed: int) -> None:
    answers_hold(sets, share, seed)


@pytest.mark.slow
@settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck))
@given(sets=st.integers(20, 500), share=st.floats(1.0, 5.0), seed=st.integers(0, 100_000))
def test_many_dense_folders(sets: int, share: float, seed: int) -> None:
    answers_hold(sets, share, seed)


def rows_of(graph: Graph) -> dict[tuple[str, ...], Row]:
    """All answers of all takers and donors of a small folder, by what was asked and answered."""
    found: dict[tuple[str, ...], Row] = {}
    for part in sorted(graph.data.known("part")):
        for row in questions.takers_of_part(graph, part, EVERYTHING).rows:
            found["part", part, row.set, row.position] = row
    for key in sorted(graph.data.known("set")):
        positions = sorted(graph.data.known_keys("position"))
        for row in questions.donors(graph, key, positions, EVERYTHING).rows:
            found["donor", key, row.wanted, row.set, row.position] = row
    return found


def compare_drawn(seeds: range, monkeypatch: pytest.MonkeyPatch) -> int:
    """Assert that each drawn answer has the exact one within its bounds; how many were drawn."""
    drawn = 0
    for seed in seeds:
        with tempfile.TemporaryDirectory() as scratch:
            folder = write(random_folder(seed, 30), Path(scratch)).parent
            certain = rows_of(graph_of_folder(folder))
            with monkeypatch.context() as patch:
                patch.setattr(exact, "MOST_FACTS", 0)
                forced = rows_of(graph_of_folder(folder))
        assert forced.keys() == certain.keys()
        for key, row in forced.items():
            check(row)
            assert row.best == pytest.approx(certain[key].best, abs=1e-12)
            if row.bounds:
                assert row.bounds[0] <= certain[key].certainty + 1e-12
                assert certain[key].certainty <= row.bounds[1] + 1e-12
                assert row.bounds[1] - row.bounds[0] < 0.03
                drawn += 1
    return drawn


def test_drawn_answers_hold_the_exact_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    assert compare_drawn(range(12), monkeypatch) > 50


@pytest.mark.slow
def test_two_thousand_drawn_answers_hold_the_exact_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    assert compare_drawn(range(100, 400), monkeypatch) > 2_000


@pytest.mark.slow
@pytest.mark.parametrize("shape", ["engines", "dense 700 200"])
def test_a_shape_in_one_gigabyte(shape: str) -> None:
    """Each question ends in a process that may use 1 GB of addresses; the benchmark says how long it took."""
    run = subprocess.run(
        [sys.executable, "-m", "tests.bench.shapes", shape, "5"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
    )
    assert run.returncode == 0, run.stderr
    assert f"{shape}: 5 questions" in run.stdout
