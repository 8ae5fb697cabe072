"""What checks take for granted: that a folder is read as it stands, and that ids hang on what is said alone.

Slow on purpose: every file is read once more by the parser of all YAML, and every fact is written anew.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from kgraph import records
from kgraph.collection.fact_ids import written_id
from kgraph.folder import plain
from kgraph.folder.reading import by_yaml
from kgraph.folder.schema import entries_of
from kgraph.folder.writing import entry_text
from kgraph.problems import Problem, Where


def read_twice(data: bytes, file: str) -> Problem | None:
    """What is wrong where the quick reader of plain files and the parser of all YAML read not alike."""
    quick = plain.entries(data)
    if quick is None:
        return None
    whole = by_yaml(data, file)
    if quick == whole.entries and not whole.problems:
        return None
    number = next((i for i, (a, b) in enumerate(zip(quick, whole.entries, strict=False)) if a != b), None)
    line = 1 if number is None else whole.entries[number].line
    says = "the two readers do not agree on what stands from here"
    return Problem(Where(file, line, 1), "deep-reading", says, "tell the maintainers, with this file")


def ids_written_anew(entries: Iterable[records.Entry]) -> Iterator[tuple[records.Statement, Problem | None]]:
    """Each fact of the folder, and what is wrong where it has another id when it is written anew and read."""
    for entry in entries:
        if isinstance(entry, records.Statement):
            text = entry_text([(key, records.plain(value)) for key, value in entry.pairs])
            again, _ = entries_of(text.encode(), entry.where.file)
            old = written_id(entry)
            new = [written_id(e) for e in again if isinstance(e, records.Statement)]
            if new == [old]:
                yield entry, None
            else:
                says = f"this fact is {old}, and {', '.join(new) or 'none'} when it is written anew"
                yield entry, Problem(entry.where, "deep-id", says, "tell the maintainers, with this entry")
