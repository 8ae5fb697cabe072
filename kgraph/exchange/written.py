"""Every entry as it was written, key by key: the part of an export that `import` reads back.

An entry is a node; each key is a property of the key's own name (`urn:kgraph:key:both%20ways`), a text a
plain literal, a list an RDF list, a mapping a node without a name. Nothing is resolved or folded here.
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any
from urllib.parse import quote, unquote

from kgraph import words
from kgraph.collection import Collection
from kgraph.exchange.statements import Block, LiteralText, Nested, Object, Pair, TermList, whole
from kgraph.exchange.terms import RDFS, TERM, iri
from kgraph.exchange.vocabulary import KEY, NESTED_KEYS, TYPE, key_iri
from kgraph.folder.entry_keys import keys_of
from kgraph.problems import Where
from kgraph.records import Entry, Value

ENTRY = TERM + "Entry"
ENTRY_OF = TERM + "entryOf"
ORDER = TERM + "order"
KEY_ORDER = TERM + "keyOrder"


def iris(data: Collection) -> dict[Where, str]:
    """The IRI of each entry, by where it stands: made of what it says, so the same wherever that is."""
    seen: Counter[str] = Counter()
    found = {}
    for entry in data.entries:
        digest = _digest(entry)
        seen[digest] += 1
        again = (str(seen[digest]),) if seen[digest] > 1 else ()
        found[entry.where] = iri("entry", digest, *again)
    return found


def _digest(entry: Entry) -> str:
    text = json.dumps([entry.kind, _plain(dict(entry.pairs))], sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:32]


def _plain(value: Value) -> Any:
    if isinstance(value, Mapping):
        return {k: _plain(v) for k, v in value.items()}
    return value if isinstance(value, str) else [_plain(v) for v in value]


def blocks(data: Collection, named: Mapping[Where, str]) -> Iterator[Block]:
    """Every entry, in the order in which they were read; then the keys that are the user's own.

    `named` as `iris` gives it.
    """
    used: set[str] = set()
    for number, entry in enumerate(data.entries, 1):
        head: list[Pair] = [(TYPE, ENTRY), (ENTRY_OF, LiteralText(entry.kind)), (ORDER, whole(number))]
        yield Block(named[entry.where], (*head, *_pairs(entry.pairs, keys_of(entry.kind))))
        used.update(_keys(dict(entry.pairs)))
    for key in sorted(used - known_keys()):
        yield Block(key_iri(key), ((TYPE, TERM + "OwnKey"), (RDFS + "label", LiteralText(key))))


def known_keys() -> set[str]:
    """Every key that has a meaning of its own: those that `kgraph.ttl` defines."""
    return {*NESTED_KEYS, *(key for kind in words.KINDS for key in keys_of(kind))}


def _keys(value: Value) -> Iterator[str]:
    if isinstance(value, Mapping):
        yield from value
        yield from (key for inner in value.values() for key in _keys(inner))
    elif not isinstance(value, str):
        yield from (key for inner in value for key in _keys(inner))


def _pairs(pairs: Sequence[tuple[str, Value]], usual: Sequence[str] = ()) -> Iterator[Pair]:
    keys = [key for key, _ in pairs]
    yield from ((key_iri(key), _object(value)) for key, value in pairs)
    # A graph has no order. Where the keys stand as they usually do, none need be told.
    if keys != keys_in_order(keys, usual):
        yield KEY_ORDER, LiteralText(" ".join(quote(key, safe="") for key in keys))


def _object(value: Value) -> Object:
    if isinstance(value, str):
        return LiteralText(value)
    if isinstance(value, Mapping):
        return Nested(tuple(_pairs(list(value.items()))))
    return TermList(tuple(map(_object, value)))


def keys_in_order(keys: Iterable[str], told: Iterable[str]) -> list[str]:
    """Keys by the order told; those that it does not name come last, by the alphabet."""
    place = {key: number for number, key in enumerate(told)}
    return sorted(keys, key=lambda k: (place.get(k, len(place)), k))


def told_order(text: str) -> list[str]:
    """The keys that a `keyOrder` names, one after the other."""
    return [unquote(key) for key in text.split(" ")]


def key_of(predicate: str) -> str | None:
    """The key that a property stands for; None for any other property."""
    return unquote(predicate[len(KEY) :]) if predicate.startswith(KEY) else None
