"""A table imported again: a cell that was changed since corrects what was read from it before."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence, Set
from dataclasses import dataclass

from kgraph.collection import Collection
from kgraph.collection.fact_ids import saying_id
from kgraph.collection.sayings import FACT_TYPES
from kgraph.exchange.formats import Pairs
from kgraph.exchange.fresh import meaning
from kgraph.names import fold
from kgraph.problems import Problem
from kgraph.records import Entry, Statement, Value

OF_A_ROW = frozenset({"page", "corrects", "id", "source"})
"""What says where in a table something stands, or what it put right, and nothing else."""


@dataclass(frozen=True, slots=True)
class Correction:
    """A saying of the last import and the new entry, by number, that takes its place."""

    old: Statement
    new: int
    changed: tuple[str, ...]
    """The keys that differ."""

    @property
    def target(self) -> str:
        """The id of the old saying."""
        return saying_id(self.old.pairs)

    def withdrawal(self) -> Pairs:
        """The entry that takes the old saying back."""
        was = dict(self.old.pairs)
        why = ", ".join(f"{key} was {was.get(key) or 'not said'}" for key in self.changed)
        return [("withdraw", self.target), ("why", f"the table was changed: {why}")]


def by_hand(problem: Problem) -> Problem:
    """A problem with what to do about it where an entry of a thing says otherwise than what comes in.

    Only facts and events can be taken back: a thing has no id, and what its entry says stays until its text
    is changed by the one who wrote it.
    """
    if problem.code != "entries-disagree":
        return problem
    return problem._replace(mend="if what comes in is right, change it there in an editor, and import again")


def live(data: Collection) -> list[Entry]:
    """The entries of a folder without the sayings of facts that were taken back."""
    left = {evidence.where for fact in data.facts.values() for evidence in fact.evidence}
    return [e for e in data.entries if not isinstance(e, FACT_TYPES) or e.where in left]


def of_tables(data: Collection, sources: Set[str]) -> list[Statement]:
    """What the folder has from tables of these names and still counts."""
    keys = {data.key("source", fold(name)) for name in sources}
    return [
        e
        for e in live(data)
        if isinstance(e, FACT_TYPES) and any(data.key("source", n.key) in keys for n in e.sources)
    ]


def changes(
    had: Sequence[Statement], come: Sequence[Entry], new: Sequence[int]
) -> tuple[list[Correction], list[Statement]]:
    """Which new entries put right what was read before, and what the table does not say any more.

    An entry takes the place of one of the same kind that stood in the same row; or in any, where both speak
    of the same set and differ in one thing alone.
    """
    gone = _not_among(had, come)
    found: list[Correction] = []
    free = [i for i in new if isinstance(come[i], FACT_TYPES)]
    for same_row in (True, False):
        for i in list(free):
            best = min(
                (c for old in gone if (c := _correction(old, i, come[i], same_row))),
                key=lambda c: len(c.changed),
                default=None,
            )
            if best:
                found.append(best)
                free.remove(i)
                gone = [old for old in gone if old is not best.old]
    return sorted(found, key=lambda c: c.new), gone


def _not_among(had: Sequence[Statement], come: Iterable[Entry]) -> list[Statement]:
    standing = Counter(meaning(entry, OF_A_ROW) for entry in come)
    left = []
    for old in had:
        said = meaning(old, OF_A_ROW)
        if standing[said]:
            standing[said] -= 1
        else:
            left.append(old)
    return left


def _correction(old: Statement, number: int, new: Entry, same_row: bool) -> Correction | None:
    if old.kind != new.kind:
        return None
    was, now = _stated(old), _stated(new)
    changed = tuple(k for k in dict.fromkeys((*was, *now)) if was.get(k) != now.get(k))
    in_row = dict(old.pairs).get("page") == dict(new.pairs).get("page")
    about = "in" in changed and len(changed) > 1
    if same_row:
        return Correction(old, number, changed) if in_row and not about else None
    return Correction(old, number, changed) if changed and len(changed) == 1 and "in" not in changed else None


def _stated(entry: Entry) -> dict[str, Value]:
    return {k: v for k, v in entry.pairs if k not in OF_A_ROW}
