"""Which part numbers go at a place: what to ask a seller for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, cached_property

from kgraph.claims import TakesClaim
from kgraph.fits.graph import Graph, Place
from kgraph.questions.answer import DEFAULT, Answer, Row, Wanted, answered, asked_place
from kgraph.questions.asked import Asked, budget_of, left_over_note
from kgraph.reason.budget import Budget
from kgraph.reason.rules import State


def parts(
    graph: Graph, set_key: str, position: str, wanted: Wanted = DEFAULT, budget: Budget | None = None
) -> Answer:
    """Every part that goes there, with its role; parts that no set is known to have too.

    `budget`: one that several questions share.
    """
    here = Place(f"s:{set_key}", position)
    asked = _PartEnds(graph, wanted, budget or budget_of(wanted), State("goes", *here), "asked", host=here)
    having = _SetsWith(graph)
    rows = [
        row._replace(
            set=here.owner,
            position=position,
            role=role_of(row),
            sets=having.of(row.part or ""),
        )
        for row in asked.rows()
    ]
    question = asked_place(graph.data, "parts", set_key, position)
    answer = answered(question, rows, wanted, graph.data, left_over_note(asked.left_over))
    ordered = sorted(
        answer.rows, key=lambda r: (-r.certainty, -r.best, graph.data.text("part", r.part or ""))
    )
    return answer._replace(rows=tuple(ordered))


def role_of(row: Row) -> str:
    """How a part comes to go there, by its best proof."""
    kinds = [f.kind for f in row.proof]
    if "fits" in kinds:
        return "fitted from elsewhere"
    if "replaces" in kinds:
        return "newer"
    if "size" in kinds:
        return "equal size"
    takes = next((f for f in row.proof if f.kind == "takes"), None)
    if takes is not None and takes.of(TakesClaim).role == "substitute":
        return "substitute"
    return "alike" if "same" in kinds else "original"


class _SetsWith:
    """The owners of the sets that are known to have a part, or one alike it, as original; by name.

    Parts alike have the same sets, and so have parts that are original at places of the same classes.
    """

    def __init__(self, graph: Graph) -> None:
        self.graph = graph
        self._called = cache(graph.data.owner_text)
        self._of_part: dict[str, tuple[str, ...]] = {}
        self._at: dict[frozenset[frozenset[Place]], tuple[str, ...]] = {}

    def of(self, part: str) -> tuple[str, ...]:
        """The owners, as keys."""
        if part not in self._of_part:
            names = self.graph.alike_parts(part)
            taken = (t for one in names for t in self.graph.takes_of.get(one, ()))
            places = {self.graph.alike_places(place) for place, role, _ in taken if role == "original"}
            self._of_part.update(dict.fromkeys(names, self._owners(frozenset(places))))
        return self._of_part[part]

    def _owners(self, classes: frozenset[frozenset[Place]]) -> tuple[str, ...]:
        if classes not in self._at:
            owners = {place.owner for places in classes for place in places if place.owner[0] == "s"}
            self._at[classes] = tuple(sorted(owners, key=self._called))
        return self._at[classes]


@dataclass
class _PartEnds(Asked):
    """The ends are parts, and not places."""

    @cached_property
    def targets(self) -> dict[int, State]:
        """The states that are answers: the parts that go there."""
        return {i: s for i, s in enumerate(self.network.states) if s.phase == self.phase}

    def _one_end(self, row: Row) -> str:
        return self.host.owner if self.host else row.set

    def _says_exactly(self, state: State) -> bool:
        host = self.host
        return host is not None and any(p == state.owner for p, _, _ in self.graph.taken_at.get(host, ()))

    def _named_part(self, state: State, takes: Sequence[TakesClaim]) -> str | None:
        return state.owner

    def _counterparts(self, row: Row, takes: Sequence[TakesClaim]) -> list[str]:
        """The sets whose part the best proof starts from."""
        host = self.host.owner if self.host else ""
        return [o for o in dict.fromkeys(t.owner for t in takes) if o[0] == "s" and o != host]
