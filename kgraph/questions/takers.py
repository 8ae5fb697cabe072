"""Which other sets take this part, or what this set has at this place."""

from __future__ import annotations

from kgraph.fits.graph import Graph, Place
from kgraph.questions.answer import DEFAULT, Answer, Row, Wanted, answered, asked_place
from kgraph.questions.asked import Asked, budget_of, left_over_note
from kgraph.reason.budget import Budget
from kgraph.reason.rules import State


def takers_of_part(
    graph: Graph,
    part: str,
    wanted: Wanted = DEFAULT,
    only: frozenset[str] | None = None,
    budget: Budget | None = None,
) -> Answer:
    """Every set and position that takes this part; `only`: the sets (owner keys) that are asked about."""
    question = {"command": "takers", "part": graph.data.text("part", part)}
    asked = _of_part(graph, part, wanted, budget or budget_of(wanted), only)
    return answered(question, asked.rows(), wanted, graph.data, left_over_note(asked.left_over))


def rows_of_part(graph: Graph, part: str, wanted: Wanted, budget: Budget) -> list[Row]:
    """The same as rows alone, refused ones too; with a budget that several questions share."""
    return _of_part(graph, part, wanted, budget).rows()


def _of_part(
    graph: Graph, part: str, wanted: Wanted, budget: Budget, only: frozenset[str] | None = None
) -> Asked:
    return Asked(graph, wanted, budget, State("asked", part), "goes", only=only, part=part)


def takers_of_place(graph: Graph, set_key: str, position: str, wanted: Wanted = DEFAULT) -> Answer:
    """Every other set and position that takes what this set has at this position."""
    here = Place(f"s:{set_key}", position)
    asked = Asked(
        graph, wanted, budget_of(wanted), State("is", *here), "goes", leave_out=here.owner, host=here
    )
    question = asked_place(graph.data, "takers", set_key, position)
    rows = asked.rows()
    return answered(question, rows, wanted, graph.data, left_over_note(asked.left_over))
