"""Which of the entries that come in are not in the folder yet, word for word in meaning."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence, Set

from kgraph.collection.fact_ids import written_id
from kgraph.exchange.cells import whole_number
from kgraph.records import Entry, Statement, Thing, Value


def not_yet(have: Iterable[Entry], come: Sequence[Entry], ignored: Set[str] = frozenset()) -> list[int]:
    """Which of the entries that come are new, by number from 0; said twice, an entry must stand twice.

    Names are compared folded; texts by their words; the order of keys does not count. The same fact with
    other evidence is new: it is said by somebody else, or otherwise. Keys that are `ignored` do not count.
    """
    standing = Counter(meaning(entry, ignored) for entry in have)
    new = []
    for number, entry in enumerate(come):
        said = meaning(entry, ignored)
        if standing[said]:
            standing[said] -= 1
        else:
            new.append(number)
    return new


_EVIDENCE = (
    *("how", "certainty", "trust", "by", "date", "note", "photo", "page"),
    *("id", "corrects", "via"),
)


def meaning(entry: Entry, ignored: Set[str] = frozenset()) -> tuple[str, ...]:
    """What an entry says, to compare by; keys that are `ignored` left out."""
    said = {k: v for k, v in entry.pairs if k not in ignored or is_own(entry, k)}
    if isinstance(entry, Statement):
        evidence = {k: v for k, v in said.items() if k in _EVIDENCE}
        source = "" if "source" in ignored else " ".join(sorted(n.key for n in entry.sources))
        return (entry.kind, written_id(entry), source, _text(evidence))
    name = whole_number(entry.name.key) if isinstance(entry, Thing) else ""
    return (entry.kind, name, _text({k: v for k, v in said.items() if k != entry.kind}))


def is_own(entry: Entry, key: str) -> bool:
    """Whether a key is a recorded attribute of a thing, and says of a fact which it is."""
    return key == "id" and isinstance(entry, Thing)


def _text(said: Mapping[str, Value]) -> str:
    return json.dumps(as_meant(said), sort_keys=True)


def as_meant(value: Value) -> object:
    """A value to compare by: texts by their words, and whole numbers however a program writes them."""
    if isinstance(value, str):
        return whole_number(" ".join(value.split()))
    if isinstance(value, Mapping):
        return {key: as_meant(inner) for key, inner in value.items()}
    return [as_meant(inner) for inner in value]
