"""The surest few answers, against all answers of the same question by their best proofs."""

from __future__ import annotations

import random
from itertools import pairwise

import pytest

from kgraph import questions
from kgraph.fits.graph import Graph
from kgraph.questions import BEST_ONLY, Row
from kgraph.questions.nearest import nearest_donors, nearest_takers
from tests.support import DEMO, graph_of, graph_of_folder

ALL = BEST_ONLY._replace(refused_too=True)


@pytest.fixture(scope="module")
def demo() -> Graph:
    return graph_of_folder(DEMO)


def told(rows: tuple[Row, ...]) -> list[tuple[object, ...]]:
    found = [(r.set, r.position, round(r.best, 12), r.standing, r.warnings, r.cautions, r.work) for r in rows]
    return sorted(found, key=str)


def test_asked_for_enough_they_are_all_answers(demo: Graph) -> None:
    chance = random.Random(3)
    sets = sorted(demo.data.known("set"))
    for key in chance.sample(sets, 12):
        for position in chance.sample(questions.places_of(demo, key), 5):
            every = questions.donors(demo, key, [position], ALL).rows
            found = nearest_donors(demo, key, position, 10_000)
            assert told(found.rows) == told(every), (key, position)
            assert not found.more


def test_the_surest_few_are_no_less_sure_than_any_other(demo: Graph) -> None:
    chance = random.Random(4)
    several = 0
    for key in chance.sample(sorted(demo.data.known("set")), 20):
        for position in chance.sample(questions.places_of(demo, key), 5):
            every = [r for r in questions.donors(demo, key, [position], ALL).rows if r.standing != "refused"]
            good = [r for r in nearest_donors(demo, key, position, 3).rows if r.standing != "refused"]
            best = sorted((r.best for r in every), reverse=True)[:3]
            assert [round(r.best, 12) for r in good] == [round(b, 12) for b in best], (key, position)
            several += len(every) > 3
    assert several > 20


def test_takers_of_a_part(demo: Graph) -> None:
    for part in random.Random(5).sample(sorted(demo.data.known("part")), 40):
        every = questions.takers_of_part(demo, part, ALL).rows
        assert told(nearest_takers(demo, part, 10_000).rows) == told(every)
        some = nearest_takers(demo, part, 2)
        assert {r.set for r in some.rows} <= {r.set for r in every}
        assert some.more or len(some.rows) == len(every)


def test_what_a_far_sister_refuses_is_known_to_a_walk_that_ends_early() -> None:
    """The refusal lies beyond the nearest answer, and still speaks against it."""
    sets = [f"Larkfield LK-{n}" for n in range(12)]
    facts = [f"- rebadge: [{a}, {b}]\n  certainty: 0.9\n" for a, b in pairwise(sets)]
    facts.append("- takes: K-114\n  in: Larkfield LK-1\n  position: volume knob\n  certainty: 0.9\n")
    facts.append("- refuses: K-114\n  in: Larkfield LK-11\n  position: volume knob\n  certainty: 1.0\n")
    graph = graph_of("".join(facts))
    key = next(iter(k for k, text in graph.data.known("set").items() if text == "Larkfield LK-0"))
    first = nearest_donors(graph, key, "volumeknob", 1).rows[0]
    (same,) = [r for r in questions.donors(graph, key, ["volumeknob"], ALL).rows if r.set == first.set]
    assert first.against == same.against != ()
    assert first.standing == same.standing == "disputed"
