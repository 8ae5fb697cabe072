"""What a set has by its sisters, where nothing is recorded of it."""

from __future__ import annotations

import pytest

from kgraph.questions.likely import weighing_of_sets
from kgraph.recognition import spreading
from kgraph.recognition.pairs import Had
from kgraph.recognition.pooled import pooled
from tests.support import graph_of

FAMILY = """
- set: Larkfield LK-40
  stamp: TN7
- set: Quillon 31
  stamp: QX1
- rebadge: [Larkfield LK-40, Orvanek 2200]
  certainty: 0.9
  except: [line socket]
- rebadge: [Orvanek 2200, Quillon 31]
  certainty: 0.5
- rebadge: [Orvanek 2200, Pellow 9]
  certainty: 0.8
"""
SETS = ("s:larkfieldlk40", "s:orvanek2200", "s:quillon31", "s:pellow9")
TN7, QX1 = frozenset({"tn7"}), frozenset({"qx1"})


def test_the_surest_sister_tells_what_a_set_lacks() -> None:
    ties = spreading.ties(graph_of(FAMILY))
    own = {SETS[0]: {"stamp": Had(TN7)}, SETS[2]: {"stamp": Had(QX1)}}
    found = pooled(ties, own, SETS, {"stamp": 0.7})
    assert found[SETS[0]]["stamp"] == Had(TN7)
    assert found[SETS[2]]["stamp"] == Had(QX1)
    assert found[SETS[1]]["stamp"] == (TN7, pytest.approx(0.9 * 0.7))
    # Sisters agree or do not at a key once, however many facts lie between them.
    assert found[SETS[3]]["stamp"] == (TN7, pytest.approx(0.9 * 0.8 * 0.7))


def test_an_exception_and_a_set_that_is_left_out_tell_nothing() -> None:
    ties = spreading.ties(graph_of(FAMILY))
    own = {SETS[0]: {"linesocket": Had(frozenset({"yes"})), "stamp": Had(TN7)}}
    found = pooled(ties, own, SETS, {"linesocket": 0.7, "stamp": 0.7})
    assert all("linesocket" not in found[owner] for owner in SETS[1:])
    apart = pooled(ties, own, (SETS[0], SETS[3]), {"linesocket": 0.7, "stamp": 0.7})
    assert apart[SETS[3]] == {}


def test_two_sets_of_which_nothing_is_recorded_are_compared_by_their_sisters() -> None:
    text = "".join(f"- set: Quillon {n}\n  stamp: T{n % 30}\n  knobs: {n % 5}\n" for n in range(60))
    text += "- rebadge: [Quillon 3, Larkfield LK-40]\n- rebadge: [Quillon 33, Orvanek 2200]\n"
    weighing = weighing_of_sets(graph_of(text))
    pair = weighing.pair("s:larkfieldlk40", "s:orvanek2200")
    assert [(w.key, w.agrees) for w in pair.weights] == [("stamp", True), ("knobs", True)]
    sure = weighing.pair("s:quillon3", "s:quillon33")
    assert weighing.prior < pair.bits < sure.bits
