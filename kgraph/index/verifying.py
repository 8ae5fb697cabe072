"""What an index holds against what the files say now."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from kgraph.index.compiling import File, read
from kgraph.index.entries import FEW, StoredEntries, few_named, is_short
from kgraph.index.naming import Noted
from kgraph.problems import Damaged


def differences(stored: StoredEntries, files: Sequence[File]) -> Iterator[tuple[str, str]]:
    """Of each file and each name that is used what is wrong with it in the index, "" where nothing is.

    Raises Damaged where the index cannot even list what it has, and Faulty for a file with faults.
    """
    noted = Noted()
    if [file.inside for file in files] != [row.path for row in stored.files]:
        raise Damaged
    for file, row in zip(files, stored.files, strict=True):
        entries = read(file)
        noted.add_file(entries, row.start)
        yield f"file {file.name}", _fault_of_file(stored, entries, range(row.start, row.start + row.entries))
    few = {kind: set(stored.keys(kind, kind, f"{kind} declared", f"{kind} also")) for kind in FEW}
    for (how, key), numbers in noted.names.items():
        kind = few_named(how)
        few.get(kind, set()).discard(key)
        yield f"name {key!r}", _fault_of_name(stored, kind, key, how, numbers)
    for kind, those in few.items():
        for key in those:
            if any(stored.named(kind, key, how) for how in (kind, f"{kind} declared", f"{kind} also")):
                yield f"name {key!r}", "stands for nothing in the files"


def _fault_of_file(stored: StoredEntries, entries: Sequence[object], numbers: range) -> str:
    try:
        found = stored.entries(numbers)
    except Damaged:
        return "is torn"
    return "" if found == list(entries) else "says something else than the index"


def _fault_of_name(stored: StoredEntries, kind: str, key: str, how: str, numbers: Sequence[int]) -> str:
    try:
        found = stored.named(kind, key, how)
    except Damaged:
        return "is torn"
    expected = stored.in_order(numbers)
    alike = found[:1] == expected[:1] if is_short(how) else found == expected
    return "" if alike else "is used by other entries"
