"""Which of the entries that come in are not in the folder yet, word for word in meaning."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from kgraph.collection import written_id
from kgraph.records import Entry, Statement, Thing, Value


def not_yet(have: Iterable[Entry], come: Sequence[Entry]) -> list[int]:
    """Which of the entries that come are new, by number from 0; said twice, an entry must stand twice.

    Names are compared folded; texts by their words; the order of keys does not count. The same fact with
    other evidence is new: it is said by somebody else, or otherwise.
    """
    standing = Counter(map(_meaning, have))
    new = []
    for number, entry in enumerate(come):
        meaning = _meaning(entry)
        if standing[meaning]:
            standing[meaning] -= 1
        else:
            new.append(number)
    return new


_EVIDENCE = (
    *("how", "certainty", "trust", "by", "date", "note", "photo", "page"),
    *("id", "corrects", "via"),
)


def _meaning(entry: Entry) -> tuple[str, ...]:
    said = dict(entry.pairs)
    if isinstance(entry, Statement):
        evidence = {k: v for k, v in said.items() if k in _EVIDENCE}
        source = " ".join(sorted(n.key for n in entry.sources))
        return (entry.kind, written_id(entry), source, _text(evidence))
    name = entry.name.key if isinstance(entry, Thing) else ""
    return (entry.kind, name, _text({k: v for k, v in said.items() if k != entry.kind}))


def _text(said: Mapping[str, Value]) -> str:
    return json.dumps(_plain(said), sort_keys=True)


def _plain(value: Value) -> object:
    if isinstance(value, str):
        return " ".join(value.split())
    if isinstance(value, Mapping):
        return {key: _plain(inner) for key, inner in value.items()}
    return [_plain(inner) for inner in value]
