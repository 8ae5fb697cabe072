"""A table imported again: a cell that was changed since corrects what was read from it before.

What was read from it is told by its source: facts, and entries of things.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass
from typing import NamedTuple

from kgraph.collection import Collection
from kgraph.collection.fact_ids import saying_id, thing_id, written_id
from kgraph.collection.sayings import FACT_TYPES
from kgraph.exchange.formats import Pairs
from kgraph.exchange.fresh import as_meant, is_own, meaning
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
    in_row: bool
    """Whether they stand in the same row."""

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
    `anew`: by number the ids of what imports took back and the table says again.
    """

    new: list[int]
    corrections: list[Correction]
    gone: list[Entry]
    kept: list[int]
    anew: Mapping[int, str]


def compare(data: Collection, sources: Set[str], come: Sequence[Entry]) -> Compared:
    """What of the entries of tables of these names is new in a folder, in whatever row they stand.

    What was taken back here stays so, whatever the table says, as long as the table does not change.
    """
    counts = live(data)
    said = {id(e): meaning(e, OF_A_ROW) for e in (*counts, *come)}
    new = _not_there(counts, come, said)
    back = {meaning(e, OF_A_ROW): e for e in _taken_by_hand(data, counts, sources)}
    kept = [i for i in new if said[id(come[i])] in back]
    new = [i for i in new if said[id(come[i])] not in back]
    right = {one for i in kept for one in _ids(back[said[id(come[i])]])}
    had = [e for e in _of_tables(data, counts, sources) if _corrects(e) not in right]
    gone = [had[i] for i in _missing([said[id(e)] for e in come], [said[id(e)] for e in had])]
    corrections, left = _changes(gone, come, new)
    taken = _taken_by_tables(data)
    others = set(new) - {c.new for c in corrections}
    anew = {i: target for i in others if (target := _said_again(come[i], taken))}
    return Compared(new, corrections, left, kept, anew)


def _said_again(entry: Entry, taken: Set[str]) -> str:
    """The id that an entry must correct so as to be another than what was taken back; "" where it is one."""
    target, one = "", id_of(entry)
    while one in taken:
        target, one = one, id_of(entry.changed(pairs=(*entry.pairs, ("corrects", one))))
    return target


def _taken_by_tables(data: Collection) -> Set[str]:
    """The ids that imports took back."""
    withdraws = (e for e in data.of_kind("withdraw") if isinstance(e, Withdraw))
    return {w.target.strip() for w in withdraws if w.why.startswith(_CHANGED)}


def _taken_by_hand(data: Collection, counts: Iterable[Entry], sources: Set[str]) -> Iterable[Entry]:
    """What came from tables of these names and was taken back otherwise than by another import."""
    by_tables, left = _taken_by_tables(data), {id(e) for e in counts}
    return (
        e for e in _of_tables(data, data.entries, sources) if id(e) not in left and id_of(e) not in by_tables
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


_Meant = tuple[str, ...]
"""What an entry says, but for the row and the table that it stands in."""


def _not_there(counts: Sequence[Entry], come: Sequence[Entry], said: Mapping[int, _Meant]) -> list[int]:
    """Which of the entries of a table are new, by number.

    Said by another source it is new; but an entry of a thing is there too where it stands without a source.
    """
    sourceless = {said[id(e)] for e in counts if isinstance(e, Thing) and not e.sources}
    new = _missing(
        [(said[id(e)], sorted(_sources(e))) for e in counts],
        [(said[id(e)], sorted(_sources(e))) for e in come],
    )
    return [i for i in new if not isinstance(come[i], Thing) or said[id(come[i])] not in sourceless]


def _missing(have: Iterable[object], come: Iterable[object]) -> list[int]:
    """Which of what comes is not there yet, by number; what comes twice must be there twice."""
    standing = Counter(map(repr, have))
    left = []
    for number, one in enumerate(map(repr, come)):
        if standing[one]:
            standing[one] -= 1
        else:
            left.append(number)
    return left


def _of_tables(data: Collection, entries: Iterable[Entry], sources: Set[str]) -> list[Entry]:
    """What among some entries a folder has of facts and things from tables of these names."""
    keys = {data.key("source", fold(name)) for name in sources}
    return [
        e
        for e in entries
        if isinstance(e, (*FACT_TYPES, Thing)) and any(data.key("source", key) in keys for key in _sources(e))
    ]


def _sources(entry: Entry) -> Iterable[str]:
    return (n.key for n in entry.sources) if isinstance(entry, Statement | Thing) else ()


def _changes(
    gone: Sequence[Entry], come: Sequence[Entry], new: Sequence[int]
) -> tuple[list[Correction], list[Entry]]:
    """Which new entries put right what was read before, and what the table does not say any more.

    A fact takes the place of one of the same kind about the same set, where they stood in one row or differ
    in one thing alone; an entry of a thing that of one of the same thing. What is left takes the place of
    what stood in the same row, where the set or the name alone is another.
    """
    found: list[Correction] = []
    free = [i for i in new if isinstance(come[i], (*FACT_TYPES, Thing))]
    left = {id(old): old for old in gone}
    for surely in (True, False):
        near: dict[tuple[str, str], list[Entry]] = defaultdict(list)
        for old in left.values():
            near[_place(old, surely)].append(old)
        for i in list(free):
            olds = (old for old in near.get(_place(come[i], surely), ()) if id(old) in left)
            best = min(
                (c for old in olds if (c := _correction(old, i, come[i], surely))),
                key=lambda c: (len(c.changed), not c.in_row),
                default=None,
            )
            if best:
                found.append(best)
                free.remove(i)
                del left[id(best.old)]
    return sorted(found, key=lambda c: c.new), list(left.values())


def _place(entry: Entry, surely: bool) -> tuple[str, str]:
    """What two entries have in common of which one may take the place of the other."""
    if isinstance(entry, Thing) and surely:
        return entry.kind, entry.name.key
    return entry.kind, repr(dict(entry.pairs).get("in" if surely else "page"))


def _correction(old: Entry, number: int, new: Entry, surely: bool) -> Correction | None:
    """A new entry in the place of an old one with which it has the place in common; None where it has not."""
    was, now = _stated(old), _stated(new)
    keys = dict.fromkeys((*was, *now))
    changed = tuple(k for k in keys if as_meant(was.get(k, "")) != as_meant(now.get(k, "")))
    made = Correction(old, number, changed, dict(old.pairs).get("page") == dict(new.pairs).get("page"))
    if isinstance(old, Thing):
        fits = surely or {old.kind, "badge", "model"}.issuperset(changed)
    else:
        fits = made.in_row or len(changed) == 1 if surely else changed == ("in",)
    return made if fits else None


def _stated(entry: Entry) -> dict[str, Value]:
    return {k: v for k, v in entry.pairs if k not in OF_A_ROW or is_own(entry, k)}
