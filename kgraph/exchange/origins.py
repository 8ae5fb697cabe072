"""Where a merged entry came from: a mark at the end of its note, `[from NAME]`, put on once and never again.

Without the mark an entry says what it said in the folder that it came from, so that it is known again when it
comes back, by whatever way.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from kgraph import records, words
from kgraph.collection import FACT_TYPES, Collection, graded, written_id
from kgraph.names import fold

_MARK = re.compile(r"\s*\[from ([^\[\]]+)\]\s*\Z")


def split_note(note: str) -> tuple[str, str]:
    """A note without its mark, and the name in the mark; "" where it has none."""
    found = _MARK.search(note)
    return (note[: found.start()], found[1].strip()) if found else (note, "")


def marked(note: str, origin: str) -> str:
    """A note with the mark of an origin."""
    return f"{note.rstrip()} [from {origin}]".lstrip()


@dataclass(frozen=True, slots=True)
class Saying:
    """What a statement says and who says it, apart from where it came from and how far that is trusted."""

    kind: str
    states: str
    source: str
    how: str
    certainty: float
    by: str
    date: str
    note: str


def saying_of(data: Collection, record: records.Statement) -> Saying:
    """The saying of a record in its own folder; a source that merging put there is left out."""
    note, origin = split_note(record.note)
    source = record.source.key if record.source else ""
    return Saying(
        record.kind,
        written_id(record),
        "" if origin and source == fold(origin) else source,
        how_of(record),
        graded(data, record) if isinstance(record, FACT_TYPES) else 0.0,
        record.by.strip(),
        record.date,
        " ".join(note.split()),
    )


def how_of(record: records.Statement) -> str:
    """The key of the grade that a saying counts by; "" where it has a number of its own instead."""
    return fold(record.how) or ("" if record.certainty is not None else words.NO_GRADE)
