"""An entry as a row of an index: what is written, and what cannot be told from that at a glance.

The fields of a record that are its written texts and names are read off the pairs again; what took a parser
(a length, a certainty, a belt's section) stands beside them. Which these are is tried out when a row is made,
so that a row always gives back the entry that it was made of.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from kgraph import records
from kgraph.collection.fact_ids import KEPT
from kgraph.names import Name, name
from kgraph.problems import Where

Keys = Mapping[str, tuple[str, Mapping[str, str]]]
"""Kind of entry -> the name of its class, and key as written -> field."""


def _name(value: Any) -> Name | None:
    return name(value) if isinstance(value, str) else None


def _names(value: Any) -> tuple[Name, ...]:
    return (name(value),) if isinstance(value, str) else tuple([name(v) for v in value if isinstance(v, str)])


def _texts(value: Any) -> tuple[str, ...]:
    return (value,) if isinstance(value, str) else tuple(value)


_READ: Mapping[str, Callable[[Any], Any]] = {
    "str": lambda value: value,
    "Name": _name,
    "Name | None": _name,
    "tuple[Name, ...]": _names,
    "tuple[str, ...]": _texts,
}
"""How a field is read off its written value, by its type as it stands in the class."""


def _types(cls: type[records.Record]) -> dict[str, str]:
    found: dict[str, str] = {}
    for base in reversed(cls.__mro__):
        found |= vars(base).get("__annotations__", {})
    return found


_BESIDE = ("kind", "where", "pairs", KEPT)
"""What a row holds of an entry beside its fields."""
_Plan = tuple[type[records.Entry], dict[str, tuple[str, Callable[[Any], Any] | None]], bool]
"""The class of a kind; key -> field, and how it is read; whether it keeps all other keys."""


class RowCodec:
    """Entries to rows and back; `keys`: which key as written sets which field."""

    def __init__(self, keys: Keys) -> None:
        self.keys = keys
        self._plans: dict[str, _Plan] = {}

    def _plan(self, kind: str) -> _Plan:
        found = self._plans.get(kind)
        if found is None:
            cls_name, fields = self.keys[kind]
            cls = getattr(records, cls_name)
            if not issubclass(cls, records.Entry):
                raise TypeError(cls_name)
            types = _types(cls)
            plan = {key: (field, _READ.get(types[field])) for key, field in fields.items()}
            found = self._plans[kind] = cls, plan, "attributes" in types
        return found

    def row(self, entry: records.Entry, one: str = "") -> list[Any]:
        """An entry as JSON holds it; `one` is its id as written."""
        read = self._read(entry.kind, entry.pairs)
        more = {
            field: _packed(value)
            for field, value in vars(entry).items()
            if field not in _BESIDE and (field not in read or read[field] != value)
        }
        gone = [field for field in read if field not in vars(entry)]
        where = entry.where
        pairs = [[k, v if type(v) is str else _packed(v)] for k, v in entry.pairs]
        return [entry.kind, where.line, where.column, one, pairs, more, gone]

    def entry(self, row: Sequence[Any], file: str) -> records.Entry:
        """The entry of a row; raises whatever a row out of order leads to."""
        kind, line, column, one, written, more, gone = row
        pairs = tuple([(k, v if type(v) is str else _unpacked(v)) for k, v in written])
        given = self._read(kind, pairs)
        for field, value in more.items():
            given[field] = value if type(value) is str else _unpacked(value)
        for field in gone:
            del given[field]
        made = self._plan(kind)[0](kind=kind, where=Where(file, line, column), pairs=pairs, **given)
        if one:
            vars(made)[KEPT] = one
        return made

    def _read(self, kind: str, pairs: Iterable[tuple[str, Any]]) -> dict[str, Any]:
        """The fields that can be read off the pairs."""
        _, plan, is_thing = self._plan(kind)
        given: dict[str, Any] = {}
        rest = []
        for key, value in pairs:
            found = plan.get(key)
            if found is None:
                rest.append((key, value))
            elif found[1] is not None:
                given[found[0]] = found[1](value)
        if is_thing:
            given["attributes"] = tuple(rest)
        return given


def _packed(value: Any) -> Any:
    """A value of a record as JSON holds it; an object is marked by what it is."""
    if value is None or isinstance(value, str | bool | int | float):
        return value
    if isinstance(value, Name):
        return {"name": value.text}
    if isinstance(value, records.Record):
        return {type(value).__name__: {k: _packed(v) for k, v in vars(value).items()}}
    if isinstance(value, Mapping):
        return {"": [[k, _packed(v)] for k, v in value.items()]}
    if isinstance(value, tuple):
        made = [_packed(v) for v in value]
        return made if type(value) is tuple else {type(value).__name__: made}
    return {type(value).__name__: str(value)}


def _unpacked(value: Any) -> Any:
    if isinstance(value, list):
        return tuple([v if type(v) is str else _unpacked(v) for v in value])
    if not isinstance(value, dict):
        return value
    ((what, held),) = value.items()
    if what == "name":
        return name(held)
    if what == "":
        return {k: _unpacked(v) for k, v in held}
    if what == "Pulley":
        return records.Pulley(**{k: _unpacked(v) for k, v in held.items()})
    made = _class_of(what)
    return made(held) if isinstance(held, str) else made(*[_unpacked(v) for v in held])


def _class_of(what: str) -> Callable[..., Any]:
    """The class of a value that takes a parser; loaded where one is met."""
    if what == "Decimal":
        from decimal import Decimal

        return Decimal
    from kgraph import belt_sizes, forces, money, quantities

    classes = (belt_sizes.Section, forces.Pull, money.Money, quantities.Length)
    return {cls.__name__: cls for cls in classes}[what]
