"""Where a folder contradicts itself: something goes by some facts, and is refused by others.

Every contradiction comes from a `refuses` fact, so only what such a fact refuses is asked about.
Attributes that must match and differ are no contradiction: they only refuse an answer.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import NamedTuple

from kgraph import questions
from kgraph.facts import Fact
from kgraph.fits import graph as graphs
from kgraph.fits.graph import Graph, Place
from kgraph.questions import Row, Wanted
from kgraph.questions.asked import budget_of
from kgraph.reason.budget import Budget
from kgraph.reason.conflicts import Conflict, smallest

_Ask = Callable[[Graph], tuple[Row, ...]]
_EVERYTHING = Wanted(refused_too=True, proofs=True)


class Conflicts(NamedTuple):
    """Smallest sets of facts that cannot all be true, each once, the strongest first."""

    found: list[Conflict]
    not_looked_at: int
    """So many questions about what is refused were not asked to the end, for want of time."""


def of_folder(graph: Graph, limit: Budget | None = None) -> Conflicts:
    """Where a folder contradicts itself, as far as there is time: that of one question, or of the limit."""
    found: dict[frozenset[str], Conflict] = {}
    seen: dict[frozenset[str], bool] = {}
    limit = limit or budget_of(_EVERYTHING)
    asks = list(_questions(graph))
    looked = 0
    for ask in asks:
        if limit.late:
            break
        for row in ask(graph):
            if not row.against or not row.proof or limit.late:
                continue
            conflict = _of_row(graph, ask, row, seen)
            if conflict:
                found.setdefault(frozenset(f.id for f in conflict.facts), conflict)
        looked += not limit.late
    conflicts = sorted(found.values(), key=lambda c: (-_strength(c), sorted(f.id for f in c.facts)))
    return Conflicts(conflicts, len(asks) - looked)


def _strength(conflict: Conflict) -> float:
    return math.prod(f.certainty for f in conflict.facts)


def _questions(graph: Graph) -> Iterator[_Ask]:
    """One question for each item that is refused somewhere."""
    items = {item for refused in graph.refused_at.values() for item, _ in refused}
    for item in sorted(items, key=str):
        if not isinstance(item, Place):
            yield _about_part(item)
        elif item.owner[0] == "s":
            yield _about_place(item)
        else:
            yield from (_about_place(Place(s, item.position)) for s in _built_on(graph, item))


def _about_part(part: str) -> _Ask:
    return lambda graph: questions.takers_of_part(graph, part, _EVERYTHING).rows


def _about_place(place: Place) -> _Ask:
    return lambda graph: questions.takers_of_place(graph, place.owner[2:], place.position, _EVERYTHING).rows


def _built_on(graph: Graph, place: Place) -> list[str]:
    """The sets that one fact makes like an assembly at this position."""
    return sorted({other for other, _ in graph.like(*place) if other[0] == "s"})


def _of_row(graph: Graph, ask: _Ask, row: Row, seen: dict[frozenset[str], bool]) -> Conflict | None:
    """The conflict behind one answer, None where it was seen before.

    Of its proofs, the shortest first, the first one that the refusal contradicts: the best proof may be
    about another part than the refused one (two originals at one place). Facts that only carry a
    contradiction on to like sets are not in it.
    """

    def contradicts(facts: tuple[Fact, ...]) -> bool:
        small = graphs.with_facts(graph, (f for f in facts if f.kind != "size"))
        return any(r.against and r.proof for r in ask(small))

    for proof in sorted((row.proof, *row.proofs), key=len):
        facts = (*proof, *row.against)
        key = frozenset(f.id for f in facts)
        if seen.get(key):
            return None
        if key not in seen:
            conflict = smallest(facts, contradicts)
            seen[key] = conflict is not None
            if conflict:
                return conflict
    return None
