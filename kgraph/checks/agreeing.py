"""A check of rebadges: two sets that are said to be one design agree in something."""

from __future__ import annotations

from collections.abc import Iterator

from kgraph.checks.ground import Check, CheckGround, warning
from kgraph.claims import RebadgeClaim
from kgraph.problems import Problem
from kgraph.questions.likely import disagreeing


def sisters_agree_in_something(ground: CheckGround) -> Iterator[Problem]:
    """Two sets that a rebadge joins, with several keys recorded on both, agree in one of them at least."""
    for fact in disagreeing(ground.graph):
        if fact.where is not None:
            one, other = (ground.data.owner_text(owner) for owner in fact.of(RebadgeClaim)[:2])
            says = f"{one} and {other} are said to be one design, and nothing recorded of both agrees"
            mend = "compare them, or withdraw the fact; `kgraph likely` tells which sets agree"
            yield warning(fact.where, "nothing-agrees", says, mend)


CHECKS: tuple[Check, ...] = (sisters_agree_in_something,)
