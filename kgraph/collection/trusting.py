"""How far a saying is trusted: its grade, its source, and whose folder it came by."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kgraph import records, words
from kgraph.names import fold

if TYPE_CHECKING:
    from kgraph.collection import Collection


def certainty_of(made: Collection, record: records.Statement) -> float:
    """The certainty of one saying: its own number, else that of its grade; by the trust in who says it."""
    return graded(made, record) * trust_in(made, record)


def graded(made: Collection, record: records.Statement) -> float:
    """The certainty that a saying has by itself, whoever says it."""
    if record.certainty is not None:
        return record.certainty
    usual = made.grades[made.key("grade", words.NO_GRADE)]
    return made.grades.get(made.key("grade", fold(record.how)), usual) if record.how else usual


def trust_in(made: Collection, record: records.Statement) -> float:
    """The trust in one saying: its own, in the surest of its sources, and in whose folder it came by.

    Where the note is marked with whose folder it was, the trust in it is the saying's own as long as no entry
    says another.
    """
    own = 1.0 if record.trust is None else record.trust
    source = max((source_trust(made, n.key) for n in record.sources), default=1.0)
    if not record.via:
        return own * source
    by_folder = via_trust(made, record.via[0].key)
    if not record.states("via"):
        return source * (own if by_folder is None else by_folder)
    return own * source * (1.0 if by_folder is None else by_folder)


def via_trust(made: Collection, key: str) -> float | None:
    """The trust in what came by somebody's folder, as it was last said: by date, then as read."""
    entries = made.things["via"].get(made.key("via", key), ())
    said = [(e.date, n, e.trust) for n, e in enumerate(entries) if isinstance(e, records.Via)]
    return max(((d, n, t) for d, n, t in said if t is not None), default=("", 0, None))[2]


def source_trust(made: Collection, key: str) -> float:
    """The trust in a source, 1 where none is said; of two that disagree the more careful one holds."""
    if key not in made.trusts:
        entries = made.things["source"].get(made.key("source", key), ())
        said = (e.trust for e in entries if isinstance(e, records.Source) and e.trust is not None)
        made.trusts[key] = min(said, default=1.0)
    return made.trusts[key]
