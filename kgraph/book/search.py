"""The index that the search of a book reads: a script that hands over a list, so that no server is needed."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping

from kgraph import records
from kgraph.book.addresses import Ref
from kgraph.collection import Collection
from kgraph.render.terminal import visible

INDEX = "index.js"
KINDS = ("set", "part", "assembly", "position", "unit")


def index_script(data: Collection, refs: Mapping[tuple[str, str], Ref]) -> bytes:
    """One row for each thing: [kind as a number, name, address, other spellings...]; UTF-8 JavaScript.

    `<`, U+2028 and all else that is not ASCII are written as escapes: the script is letters alone, whatever
    a name holds.
    """
    rows = [_row(data, kind, key, ref) for (kind, key), ref in refs.items() if kind in KINDS]
    lines = ",\n".join(json.dumps(row, separators=(",", ":")).replace("<", "\\u003c") for row in rows)
    return f"bookIndex({json.dumps(KINDS)},[\n{lines}\n]);\n".encode("ascii")


def _row(data: Collection, kind: str, key: str, ref: Ref) -> list[str | int]:
    return [KINDS.index(kind), visible(ref.name), ref.href, *_spellings(data, kind, key, ref.name)]


def _spellings(data: Collection, kind: str, key: str, name: str) -> Iterable[str]:
    found: dict[str, None] = {}
    for thing in data.things[kind].get(key, ()):
        found |= dict.fromkeys(n.text for n in (thing.name, *thing.also))
        if isinstance(thing, records.SetModel):
            found[thing.model] = None
        if isinstance(thing, records.Part):
            found |= dict.fromkeys(number for _, number in thing.numbers)
    found.pop(name, None)
    return map(visible, found)
