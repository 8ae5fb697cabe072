"""The id of a fact, by every name that its things have or had; of one saying, and of one entry of a thing."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from itertools import islice, product
from typing import TYPE_CHECKING, Any, NamedTuple

from kgraph import records
from kgraph.collection.resolving import exception_key, own_exception_key
from kgraph.names import Name, compared, fold

if TYPE_CHECKING:
    from kgraph.collection import Collection

_UNSAID = {
    *("how", "certainty", "trust", "source", "by", "date", "note", "photo", "page"),
    *("id", "corrects", "via"),
}
_SYMMETRIC = {"rebadge", "same", "distinct", "except"}
_WORDS_NOT_NAMES = {
    *("role", "both ways", "work", "signs", "check", "cure", "why", "stretch", "pull", "owed"),
    "all sayings",
}
_DEFAULTS = {"role": "original", "both ways": "no", "owed": "no"}


LENGTH = 16
"""How many hex digits an id has that is made of what is said."""
KEPT = "written id"
"""Under which a record that was fetched from an index keeps its id, so that it is not made again."""


def written_id(record: records.Statement) -> str:
    """The id that a statement has by what is written: SHA-256 over canonical JSON, 16 hex digits.

    Names are folded, keys sorted, evidence left out; the two names of a `rebadge`, `same` or `distinct` and
    the names of an `except` are sorted; a default said aloud is as if not said.
    """
    return vars(record).get(KEPT) or _digest(_canonical({k: v for k, v in record.pairs if k not in _UNSAID}))


def saying_id(pairs: Iterable[tuple[str, records.Value]]) -> str:
    """An id for one saying of a fact: made as :func:`written_id`, with the evidence in it."""
    return _digest(_canonical({k: v for k, v in pairs if k != "id"}))


def thing_id(thing: records.Thing) -> str:
    """The id of one entry of a thing: of all that it says, for none of that is evidence apart."""
    return _digest(_canonical(dict(thing.pairs)))


def _canonical(said: Mapping[str, records.Value]) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for key, value in said.items():
        folded = _folded(key, value)
        if _DEFAULTS.get(key) == folded or (key == "except" and not folded):
            continue
        if key == "at" and folded == _folded("position", said.get("position", "")):
            continue
        out[key] = sorted(folded) if key in _SYMMETRIC and isinstance(folded, list) else folded
    return out


def _folded(key: str, value: records.Value) -> Any:
    if isinstance(value, str):
        plain = " ".join(value.split())
        if key in _DEFAULTS:
            return plain.lower()
        if key in _WORDS_NOT_NAMES:
            return plain
        # The sign of a coordinate is no dash of a name.
        sign = "-" if key in ("x", "y") and plain.startswith(("-", "\N{MINUS SIGN}")) else ""
        return sign + fold(value) or plain
    if isinstance(value, tuple):
        return [_folded(key, v) for v in value]
    return {compared(k): _folded(k, v) for k, v in value.items()}


_CANONICAL = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False)
"""Made once: `json.dumps` would make one for each fact."""


def _digest(said: Mapping[str, Any]) -> str:
    # Loaded here: it takes a tenth of the time of a question that needs no id.
    import hashlib

    text = _CANONICAL.encode(said)
    return hashlib.sha256(text.encode()).hexdigest()[:LENGTH]


_MOST_NAMINGS = 4096
"""So many ways of naming all that a fact speaks of are tried, and no more."""


def ids_by_other_names(made: Collection, record: records.Statement) -> Iterator[str]:
    """The ids that a statement has or had, by every name of each thing in it."""
    said = {k: v for k, v in record.pairs if k not in _UNSAID}
    ways = [_namings(made, record.kind, k, v) for k, v in said.items()]
    if all(len(way) == 1 for way in ways):
        return
    for values in islice(product(*ways), _MOST_NAMINGS):
        yield _digest(_canonical(dict(zip(said, values, strict=True))))


def _namings(made: Collection, kind: str, key: str, value: records.Value) -> list[records.Value]:
    """A value of a key of a statement, in every way in which its things can be named."""
    slots = _SLOTS.get(key, ("part", "set", "assembly") if key == "refuses" else ())
    slots = ("position", "assembly") if key == "except" else slots
    if isinstance(value, tuple):
        each = product(*(_namings(made, kind, key, v) for v in value))
        return list(islice(each, _MOST_NAMINGS))
    if not isinstance(value, str) or not slots:
        return [value]
    found: list[records.Value] = [value]
    for slot in slots:
        meant = made.key(slot, fold(value))
        things = (*made.things[slot].get(meant, ()), *made.ground(slot, meant))
        found += [n.key for t in things for n in (t.name, *t.also)]
        found += [
            n.key for key in dict.fromkeys((fold(value), meant)) for n in made.names_had.get((slot, key), ())
        ]
        found += [meant] if meant != fold(value) else []
    by_key = {fold(v): v for v in reversed(found) if isinstance(v, str)}
    return [value, *(v for k, v in by_key.items() if k != fold(value))]


def named_by_ground(made: Collection, record: Any) -> bool:
    """Whether a statement names a position by a name that the ground alone gives it."""
    named = (getattr(record, slot, None) for slot in ("position", "at", "item_position"))
    keys = [n.key for n in (*named, *getattr(record, "exceptions", ())) if n is not None]
    return any(made.key("position", k) != made.own_key("position", k) for k in keys)


def resolved_id(made: Collection, record: records.Statement, by_ground: bool = False) -> str:
    """The written id, with every `also` name of the folder in it replaced by the name of its thing.

    The ground has no part in the id that is shown, which must not change with the version of the program; but
    a fact is found by the id too that it has with the names of the ground (`by_ground`).
    """
    said = {k: v for k, v in record.pairs if k not in _UNSAID}
    named = _Naming(made, by_ground)
    return _digest(_canonical({k: named.resolved(record.kind, k, v) for k, v in said.items()}))


_SLOTS = {
    "rebadge": ("set",),
    "uses": ("assembly",),
    "takes": ("part",),
    "same": ("part",),
    "distinct": ("set",),
    "replaces": ("part",),
    "old": ("part",),
    "in": ("set", "assembly"),
    "to": ("set", "assembly"),
    "fits": ("set", "assembly"),
    "position": ("position",),
    "at": ("position",),
    "from": ("position",),
    "except": (),
    "run": ("position",),
}


NAMING_KEYS = frozenset({*_SLOTS, "refuses", "source"})
"""The keys of statements whose values are names of things."""


class _Naming(NamedTuple):
    """Names in what a statement says, replaced by those of their things."""

    made: Collection
    by_ground: bool

    def resolved(self, kind: str, key: str, value: records.Value) -> records.Value:
        """A value of a key of a statement."""
        if isinstance(value, tuple):
            return tuple(self.resolved(kind, key, v) for v in value)
        if not isinstance(value, str):
            return value
        if key == "except":
            left_out = exception_key if self.by_ground else own_exception_key
            return left_out(self.made, Name(value, fold(value)))
        for slot in _SLOTS.get(key, ("part", "set") if key == "refuses" else ()):
            meant = (self.made.key if self.by_ground else self.made.own_key)(slot, fold(value))
            if meant != fold(value):
                return meant
        return value
