"""What a statement says and who says it, apart from whose folder it came by: how it is known again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from kgraph import records, words
from kgraph.collection import Collection
from kgraph.collection.sayings import FACT_TYPES
from kgraph.collection.trusting import graded
from kgraph.names import fold


@dataclass(frozen=True, slots=True)
class Saying:
    """What a statement says and who says it, apart from whose folder it came by."""

    states: tuple[object, ...]
    sources: frozenset[str]
    how: str
    certainty: float
    by: str
    date: str
    note: str


def saying_of(
    data: Collection, record: records.Statement, states: Callable[[records.Statement], tuple[object, ...]]
) -> Saying:
    """The saying of a record in its own folder; a source that merging once put there is left out."""
    sources = frozenset(n.key for n in record.sources)
    marked = bool(record.via) and not record.states("via")
    return Saying(
        states(record),
        sources - {record.via[0].key} if marked else sources,
        how_of(record),
        round(graded(data, record), 9) if isinstance(record, FACT_TYPES) else 0.0,
        record.by.strip(),
        record.date,
        " ".join(record.note.split()),
    )


def how_of(record: records.Statement) -> str:
    """The key of the grade that a saying counts by; "" where it has a number of its own instead."""
    return fold(record.how) or ("" if record.certainty is not None else words.NO_GRADE)
