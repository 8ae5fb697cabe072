"""A check of what is refused: whether something is said to go where it is refused."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from kgraph.checks.facts import correction
from kgraph.checks.ground import Check, CheckGround, at, warning
from kgraph.facts import Fact
from kgraph.fits.graph import Place
from kgraph.problems import Problem, command, shown

MOST_TOLD = 20
"""So many facts that stand against one refusal are told each by itself; the rest are counted."""


def no_fact_is_refused_as_well(ground: CheckGround) -> Iterator[Problem]:
    """A part or a place's item that is said to go at a place, or at one alike, is not also refused there."""
    for place, refused in ground.graph.refused_at.items():
        here = sorted(Place(o, place.position) for o in ground.alike(*place))
        ways = _Ways(ground, place)
        for item, fact in refused:
            found = [said for one in here for said in _said_to_go(ground, item, one)]
            for number, (where, said) in enumerate(found[:MOST_TOLD], 1):
                text = ground.place_text(item) if isinstance(item, Place) else ground.data.text("part", item)
                alike = "" if where == place else f" for {ground.place_text(where)}, which facts make alike"
                refusal = f"{shown(text, 150)} is refused at {ground.place_text(place)}"
                says = f"{refusal}, and goes by {at(said.where)}{alike}"
                say = " or ".join(command("withdraw", f.id, "--why", "...") for f in (fact, said))
                mend = f"both are kept and the answer is disputed; one that is wrong: {say}"
                if number == MOST_TOLD < len(found):
                    says += f"; and it goes by {len(found) - MOST_TOLD} more facts"
                if where != place and (rebadge := ways.to_be_excepted(where.owner)):
                    left_out = [*rebadge.left_out, place.position]
                    mend = f"an exception would explain both: {correction(ground, rebadge, left_out)}"
                yield warning(fact.where, "fact-and-refuses", says, mend)


class _Ways:
    """The shortest ways from a place to those alike: by any facts, and by uses facts alone."""

    def __init__(self, ground: CheckGround, place: Place) -> None:
        self._ground, self._place = ground, place
        self._before: dict[str, dict[str, tuple[str, Fact] | None]] = {}

    def to_be_excepted(self, owner: str) -> Fact | None:
        """The least certain rebadge on the way to one; None where it needs no rebadge."""
        if owner in self._found("rebadge"):
            return None
        before, found = self._found(""), list[Fact]()
        while (came := before.get(owner)) is not None:
            owner, fact = came
            found += [fact] if fact.kind == "rebadge" else []
        return min(found, key=lambda f: (f.certainty, f.id), default=None)

    def _found(self, not_by: str) -> dict[str, tuple[str, Fact] | None]:
        """For each owner that is reached the one before it, and the fact between them."""
        if not_by not in self._before:
            before: dict[str, tuple[str, Fact] | None] = {self._place.owner: None}
            todo = [self._place.owner]
            for owner in todo:
                for to, fact in self._ground.graph.like(owner, self._place.position):
                    if to not in before and fact.kind != not_by:
                        before[to] = owner, fact
                        todo.append(to)
            self._before[not_by] = before
        return self._before[not_by]


def _said_to_go(ground: CheckGround, item: str | Place, place: Place) -> list[tuple[Place, Fact]]:
    if isinstance(item, Place):
        like = ground.alike(*item)
        fits = ground.graph.fits_to.get(place, ())
        return [(place, f) for s, f in fits if s.position == item.position and s.owner in like]
    taken, alike = ground.graph.taken_at.get(place, ()), ground.graph.alike_parts(item)
    return [(place, fact) for part, _, fact in taken if part in alike]


CHECKS: Sequence[Check] = (no_fact_is_refused_as_well,)
