"""Facts that cannot all be true: the smallest such set within a given one, and its weakest member.

Pure: what counts as a contradiction is a function of a set of facts, given by the caller.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from kgraph.facts import Fact


@dataclass(frozen=True, slots=True)
class Conflict:
    """Facts of which at least one is wrong; none can be left out. In the order of the two proofs."""

    facts: tuple[Fact, ...]

    @property
    def weakest(self) -> Fact:
        """The least certain fact; of equals, the one that stands last in the files."""
        return min(self.facts, key=lambda f: (f.certainty, *_last_first(f)))


def _last_first(fact: Fact) -> tuple[int, str]:
    return (-fact.where.line if fact.where else 0, fact.id)


def smallest(facts: Iterable[Fact], contradicts: Callable[[tuple[Fact, ...]], bool]) -> Conflict | None:
    """A conflict from which no fact can be left out, or None if the facts do not contradict.

    `contradicts` must be monotone: more facts never undo a contradiction. Facts are left out one
    after another, the most certain first, so that what remains names the doubtful ones; equal
    size is derived from what is recorded, and stays. One pass is enough because of monotony.
    """
    kept = tuple({f.id: f for f in facts}.values())
    if not contradicts(kept):
        return None
    for fact in sorted(kept, key=lambda f: (-f.certainty, f.id)):
        fewer = tuple(f for f in kept if f.id != fact.id)
        if fact.kind != "size" and contradicts(fewer):
            kept = fewer
    return Conflict(kept)
