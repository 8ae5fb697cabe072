"""From the object that `--json` prints to typed values: each field of a class is a key of the object.

A key that Python cannot have as a name stands with `_` for each blank (`best proven` is `best_proven`), and
with one behind it where it is a word of Python's (`for` is `for_`).
"""

from __future__ import annotations

import types
import typing
from collections.abc import Mapping
from dataclasses import Field, dataclass, field, fields, is_dataclass
from functools import cache
from typing import Any, TypeVar, cast, dataclass_transform

T = TypeVar("T")

KEY = "key"
"""Where it is said of a field that its key in JSON is called otherwise."""
LISTED = "listed"
"""Where it is said of a field that the object is a list in JSON, and this field holds it."""


def called(key: str, **more: Any) -> Any:
    """A field whose key in JSON has another name."""
    return field(metadata={KEY: key}, **more)


@dataclass_transform(frozen_default=True, kw_only_default=True, field_specifiers=(field, called))
def value_class(cls: type[T]) -> type[T]:
    """A class of values that do not change, made by the names of their fields."""
    return dataclass(frozen=True, kw_only=True)(cls)


def key_of(one: Field[Any], said: Mapping[str, Any]) -> str:
    """The key of JSON that a field stands for."""
    if KEY in one.metadata:
        return str(one.metadata[KEY])
    plain = one.name.rstrip("_")
    return plain if plain in said else plain.replace("_", " ")


@cache
def _hints(cls: Any) -> dict[str, Any]:
    return typing.get_type_hints(cls)


def decoded(cls: type[T], said: Any, /, **more: Any) -> T:
    """An object of a class from what JSON has; what JSON leaves out has the default of its field."""
    hints = _hints(cast("Any", cls))
    given = dict(more)
    for one in fields(cast("Any", cls)):
        if one.name in given or not one.init:
            continue
        if LISTED in one.metadata:
            given[one.name] = value(hints[one.name], said)
            continue
        key = key_of(one, said)
        if key in said:
            given[one.name] = value(hints[one.name], said[key])
    return cls(**given)


def value(hint: Any, said: Any) -> Any:
    """What JSON has, as a type asks for it."""
    origin, arguments = typing.get_origin(hint), typing.get_args(hint)
    if origin in (typing.Union, types.UnionType):
        return None if said is None else value(next(a for a in arguments if a is not type(None)), said)
    if origin is tuple:
        each = arguments[0] if arguments[-1] is Ellipsis else None
        kinds = [each] * len(said) if each is not None else arguments
        return tuple(value(kind, one) for kind, one in zip(kinds, said, strict=True))
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return {key: value(arguments[1], one) for key, one in said.items()}
    if isinstance(origin, type) and is_dataclass(origin):
        raise TypeError(f"{hint} has a type that is not known")
    return decoded(hint, said) if isinstance(hint, type) and is_dataclass(hint) else said
