"""Who watches a walk is told all that it came to, also where it is remembered from an earlier question."""

from __future__ import annotations

from kgraph import questions
from kgraph.reason.walk import watched
from tests.support import graph_of

FOLDER = """
- rebadge: [Larkfield LK-40, Orvanek 2200]
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
"""


def test_a_walk_that_is_remembered_is_watched_as_well() -> None:
    graph = graph_of(FOLDER)
    came = []
    for _ in range(2):
        with watched() as seen:
            questions.donors(graph, "orvanek2200", ["volumeknob"])
        came.append(set(seen))
    assert came[0] == came[1]
    assert {s.owner for s in came[0]} >= {"s:larkfieldlk40", "s:orvanek2200"}
