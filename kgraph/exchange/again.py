"""A table imported again: a cell that was changed since corrects what was read from it before.

What was read from it is told by its source: facts, and entries of things.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence, Set
from dataclasses import dataclass
from typing import NamedTuple

from kgraph.collection import Collection
from kgraph.collection.fact_ids import saying_id, thing_id, written_id
from kgraph.collection.sayings import FACT_TYPES
from kgraph.exchange.formats import Pairs
from kgraph.exchange.fresh import as_meant, is_own, meaning, not_yet
from kgraph.names import fold
from kgraph.records import Entry, Statement, Thing, Value, Withdraw

OF_A_ROW = frozenset({"page", "corrects", "id", "source"})
"""What says where in a table something stands, or what it put right, and nothing else."""


@dataclass(frozen=True, slots=True)
class Correction:
    """What the last import said and the new entry, by number, that takes its place."""

    old: Entry
    new: int
    changed: tuple[str, ...]
    """The keys that differ."""

    @property
    def target(self) -> str:
        """The id of what was said."""
        return id_of(self.old)

    def withdrawal(self) -> Pairs:
        """The entry that takes the old saying back."""
        was = dict(self.old.pairs)
        why = ", ".join(f"{key} was {was.get(key) or 'not said'}" for key in self.changed)
        return [("withdraw", self.target), ("why", f"{_CHANGED}: {why}")]


_CHANGED = "the table was changed"
"""How the reason of a withdrawal begins that an import wrote; any other is somebody's own."""


class Compared(NamedTuple):
    """A table beside what the folder has: which entries are new, by number, and what they put right.

    `gone`: what the table does not say any more. `kept`: which entries somebody took back here, or put right.
    """

    new: list[int]
    corrections: list[Correction]
    gone: list[Entry]
    kept: list[int]


def compare(data: Collection, sources: Set[str], come: Sequence[Entry]) -> Compared:
    """What of the entries of tables of these names is new in a folder, in whatever row they stand.

    What was taken back here stays so, whatever the table says, as long as the table does not change.
    """
    counts = live(data)
    new = not_there(counts, come)
    back = {meaning(e, OF_A_ROW): e for e in _taken_by_hand(data, counts, sources)}
    kept = [i for i in new if meaning(come[i], OF_A_ROW) in back]
    new = [i for i in new if i not in set(kept)]
    right = {i for n in kept for i in _ids(back[meaning(come[n], OF_A_ROW)])}
    had = [e for e in of_tables(data, counts, sources) if _corrects(e) not in right]
    return Compared(new, *changes(had, come, new), kept)


def _taken_by_hand(data: Collection, counts: Iterable[Entry], sources: Set[str]) -> Iterable[Entry]:
    """What came from tables of these names and was taken back otherwise than by another import."""
    withdraws = (e for e in data.of_kind("withdraw") if isinstance(e, Withdraw))
    by_tables = {w.target.strip() for w in withdraws if w.why.startswith(_CHANGED)}
    left = {id(e) for e in counts}
    return (
        e for e in of_tables(data, data.entries, sources) if id(e) not in left and id_of(e) not in by_tables
    )


def _ids(entry: Entry) -> tuple[str, ...]:
    return (id_of(entry), written_id(entry)) if isinstance(entry, Statement) else (id_of(entry),)


def _corrects(entry: Entry) -> str:
    return entry.corrects.strip() if isinstance(entry, Statement | Thing) else ""


def id_of(entry: Entry) -> str:
    """The id of one saying of a fact, or of an entry of a thing."""
    return thing_id(entry) if isinstance(entry, Thing) else saying_id(entry.pairs)


def live(data: Collection) -> list[Entry]:
    """The entries of a folder without what was taken back."""
    left = {evidence.where for fact in data.facts.values() for evidence in fact.evidence}
    return [e for e in data.standing if not isinstance(e, FACT_TYPES) or e.where in left]


def not_there(live: Sequence[Entry], come: Sequence[Entry]) -> list[int]:
    """Which of the entries of a table are new, by number: in whatever row they stand.

    An entry of a thing is there too where it stands without a source.
    """
    sourceless = {meaning(e, OF_A_ROW) for e in live if isinstance(e, Thing) and not e.sources}
    new = not_yet(live, come, OF_A_ROW - {"source"})
    return [i for i in new if not isinstance(come[i], Thing) or meaning(come[i], OF_A_ROW) not in sourceless]


def of_tables(data: Collection, live: Iterable[Entry], sources: Set[str]) -> list[Entry]:
    """What of the entries that count a folder has from tables of these names."""
    keys = {data.key("source", fold(name)) for name in sources}
    return [e for e in live if any(data.key("source", key) in keys for key in _sources(e))]


def _sources(entry: Entry) -> Iterable[str]:
    return (n.key for n in entry.sources) if isinstance(entry, (*FACT_TYPES, Thing)) else ()


def changes(
    had: Sequence[Entry], come: Sequence[Entry], new: Sequence[int]
) -> tuple[list[Correction], list[Entry]]:
    """Which new entries put right what was read before, and what the table does not say any more.

    A fact takes the place of one of the same kind that stood in the same row; or in any, where both speak of
    the same set and differ in one thing alone. An entry of a thing takes that of the one of the same thing;
    or of one in the same row, where the name alone is another.
    """
    gone = _not_among(had, come)
    found: list[Correction] = []
    free = [i for i in new if isinstance(come[i], (*FACT_TYPES, Thing))]
    for surely in (True, False):
        for i in list(free):
            best = min(
                (c for old in gone if (c := _correction(old, i, come[i], surely))),
                key=lambda c: len(c.changed),
                default=None,
            )
            if best:
                found.append(best)
                free.remove(i)
                gone = [old for old in gone if old is not best.old]
    return sorted(found, key=lambda c: c.new), gone


def _not_among(had: Sequence[Entry], come: Iterable[Entry]) -> list[Entry]:
    standing = Counter(meaning(entry, OF_A_ROW) for entry in come)
    left = []
    for old in had:
        said = meaning(old, OF_A_ROW)
        if standing[said]:
            standing[said] -= 1
        else:
            left.append(old)
    return left


def _correction(old: Entry, number: int, new: Entry, surely: bool) -> Correction | None:
    if old.kind != new.kind:
        return None
    was, now = _stated(old), _stated(new)
    keys = dict.fromkeys((*was, *now))
    changed = tuple(k for k in keys if as_meant(was.get(k, "")) != as_meant(now.get(k, "")))
    in_row = dict(old.pairs).get("page") == dict(new.pairs).get("page")
    if isinstance(old, Thing) and isinstance(new, Thing):
        fits = (
            old.name.key == new.name.key
            if surely
            else in_row and {old.kind, "badge", "model"}.issuperset(changed)
        )
        return Correction(old, number, changed) if fits else None
    about = "in" in changed and len(changed) > 1
    if surely:
        return Correction(old, number, changed) if in_row and not about else None
    return Correction(old, number, changed) if changed and len(changed) == 1 and "in" not in changed else None


def _stated(entry: Entry) -> dict[str, Value]:
    return {k: v for k, v in entry.pairs if k not in OF_A_ROW or is_own(entry, k)}
