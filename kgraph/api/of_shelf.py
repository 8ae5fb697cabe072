"""Questions about the shelf: what is there, what to take from where, what to look for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from kgraph import questions
from kgraph.api import asked_shelf, replies
from kgraph.api.base import Opening, refuse_odd
from kgraph.render import owing
from kgraph.render import plan as render_plan
from kgraph.render import sheet as render_sheet
from kgraph.render import shelf as render_shelf
from kgraph.shelf import hunt as hunting
from kgraph.shelf import plan as planner
from kgraph.shelf.overview import overview
from kgraph.shelf.plan import SECONDS
from kgraph.shelf.sheet import sheet_of


class ShelfQuestions(Opening):
    """Units are named as they are declared."""

    def shelf(self, *units: str) -> replies.ShelfReply:
        """Each unit, or these: what it is, gives, waits for and is owed; and the loose parts."""
        graph = self._graph
        found = overview(graph, [asked_shelf.unit_declared(graph, u) for u in units])
        return self._reply(replies.ShelfReply, render_shelf.shelf_json(graph.data, found, units))

    def owed(self, *units: str, settled_too: bool = False) -> replies.OwedRows:
        """What units are to get back."""
        shelf, found = asked_shelf.owed(self._graph, units, settled_too)
        return self._reply(replies.OwedRows, owing.owed_json(self._graph.data, shelf, found, units))

    def sheet(self, unit: str) -> replies.SheetReply:
        """The job sheet of a unit: how it came in, what was done and fitted, what remains open."""
        made = sheet_of(self._graph, asked_shelf.unit_declared(self._graph, unit))
        return self._reply(replies.SheetReply, render_sheet.as_json(self._graph.data, made))

    def plan(
        self,
        *units: str,
        without: Iterable[str] = (),
        keep: Mapping[str, float] | None = None,
        rob: Iterable[str] = (),
        work: float = 1.0,
        doubt: float = 1.0,
        instead: int = 0,
        at_least: float = 0.0,
        seconds: float = SECONDS,
    ) -> replies.PlanReply:
        """What to take from where for the wants of these units; `instead` asks for the next best plans."""
        graph = self._graph
        wishes = asked_shelf.wishes(
            graph, without=without, keep=keep, rob=rob, work=work, doubt=doubt, instead=instead,
            at_least=at_least, seconds=seconds,
        )  # fmt: skip
        found = planner.plan(graph, [questions.name_of(graph.data, "unit", u) for u in units], wishes)
        return self._reply(replies.PlanReply, render_plan.as_json(graph.data, found))

    def hunt(
        self,
        *names: str,
        without: Iterable[str] = (),
        keep: Mapping[str, float] | None = None,
        work: float = 1.0,
        doubt: float = 1.0,
        all_wants: bool = False,
        at_least: float = 0.0,
        seconds: float = SECONDS,
        most: int | None = None,
    ) -> replies.SetsToLookFor:
        """Which sets that are not on the shelf to look for, for units or sets."""
        refuse_odd(at_least=at_least, most=most)
        graph = self._graph
        units, sets = asked_shelf.units_and_sets(graph, names)
        wishes = asked_shelf.wishes(
            graph, without=without, keep=keep, work=work, doubt=doubt, at_least=at_least, seconds=seconds
        )
        found = hunting.hunt(graph, units, sets, wishes, all_wants)
        data = graph.data
        question = {
            "command": "hunt",
            "units": [data.text("unit", u) for u in units],
            "sets": [data.text("set", s) for s in sets],
        }
        return self._reply(replies.SetsToLookFor, render_plan.hunt_json(data, question, found, most))
