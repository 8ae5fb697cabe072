"""Which other sets can give what a set wants at its places."""

from __future__ import annotations

from collections.abc import Iterable

from kgraph.fits.graph import Graph, Place
from kgraph.questions.answer import DEFAULT, Answer, Row, Wanted, answered
from kgraph.questions.asked import Asked, budget_of, left_over_note, unasked_note
from kgraph.reason.budget import Budget
from kgraph.reason.rules import State

MOST_SHARES = 4
"""Of many places each may use a part of what is left of the work, one in so many: most need little of it."""
SPARED_SECONDS = 2.0
"""A question about many places ends earlier than one about a single place, where no time was named."""


def donors(
    graph: Graph,
    set_key: str,
    positions: Iterable[str],
    wanted: Wanted = DEFAULT,
    own_too: bool = False,
    only: frozenset[str] | None = None,
    budget: Budget | None = None,
) -> Answer:
    """Every other set, and which of its places, that can give what is wanted at these positions.

    With `own_too` the set itself as well, as another unit of it can give: its place by an empty proof. Where
    not all answers are wanted, `only` are the sets (owner keys) that are. A budget may be shared.
    """
    owner = f"s:{set_key}"
    rows: list[Row] = []
    given = list(positions)
    # What is equal by its size has donors everywhere, and may take all the time: it is looked at last.
    asked = sorted(given, key=lambda position: _is_generic(graph, Place(owner, position)))
    left_over = 0
    unasked: list[str] = []
    if budget is None:
        budget = budget_of(wanted, SPARED_SECONDS if len(asked) > 1 else 0.0)
    for number, position in enumerate(asked):
        if number and budget.late:
            unasked = [graph.data.text("position", p) for p in asked[number:]]
            break
        here = Place(owner, position)
        with budget.share(min(len(asked) - number, MOST_SHARES)) as share:
            one = Asked(
                graph,
                wanted,
                share,
                State("goes", *here),
                "is",
                leave_out="" if own_too else owner,
                only=only,
                host=here,
                questions=len(asked),
            )
            rows += [r._replace(wanted=position) for r in one.rows()]
        left_over += one.left_over
    question = {
        "command": "donors",
        "set": graph.data.text("set", set_key),
        "positions": [graph.data.text("position", p) for p in given],
    }
    notes = [*left_over_note(left_over), *unasked_note(unasked, "ask about them by name")]
    return answered(question, rows, wanted, graph.data, notes)


def _is_generic(graph: Graph, place: Place) -> bool:
    """Whether what is known there, or one fact away, is one article with all of its size."""
    near = (place, *(Place(owner, place.position) for owner, _ in graph.like(*place)))
    taken = (part for at in near for part, _, _ in graph.taken_at.get(at, ()))
    return any(graph.data.kind_rules(graph.data.kind_of(part)).generic for part in taken)
