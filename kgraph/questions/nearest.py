"""The surest few answers of a question, each by its surest way alone: for whoever asks about every place.

A walk goes the most certain ways first and ends at the last of the answers wanted, so that its cost hangs on
how many are wanted and not on the size of the folder. What is said against an answer is looked for as always.
"""

from __future__ import annotations

from typing import NamedTuple

from kgraph.fits.graph import Graph, Place
from kgraph.questions.answer import BEST_ONLY, Row
from kgraph.questions.asked import Asked, budget_of
from kgraph.reason import refusals
from kgraph.reason.rules import State

BESIDE = 6
"""So many answers more are looked at where some may be refused."""


class Nearest(NamedTuple):
    """The surest rows, refused ones among them, and whether there may be more."""

    rows: tuple[Row, ...]
    more: bool


def nearest_donors(graph: Graph, set_key: str, position: str, wanted: int) -> Nearest:
    """The other sets that can most surely give what a set wants at a position."""
    here = Place(f"s:{set_key}", position)
    doubtful = refusals.refused_near(graph, here) or graph.data.position_rules(position).must_match
    most = wanted + BESIDE if doubtful else wanted
    asked = Asked(
        graph,
        BEST_ONLY,
        budget_of(BEST_ONLY),
        State("goes", *here),
        "is",
        leave_out=here.owner,
        host=here,
        nearest=most,
    )
    return _cut(asked, wanted)


def nearest_takers(graph: Graph, part: str, wanted: int) -> Nearest:
    """The sets and positions that most surely take a part."""
    asked = Asked(
        graph,
        BEST_ONLY,
        budget_of(BEST_ONLY),
        State("asked", part),
        "goes",
        part=part,
        nearest=wanted + BESIDE,
    )
    return _cut(asked, wanted)


def _cut(asked: Asked, wanted: int) -> Nearest:
    rows = sorted(asked.rows(), key=lambda r: (-r.best, asked.data.owner_text(r.set), r.position))
    good = [r for r in rows if r.standing != "refused"]
    refused = [r for r in rows if r.standing == "refused"]
    more = bool(asked.network.unexplored) or len(good) > wanted
    return Nearest((*good[:wanted], *refused), more)
