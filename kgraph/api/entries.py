"""An entry as a program says it, and the same as it is written in a folder."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from kgraph import records, words
from kgraph.folder import schema, writing
from kgraph.folder.writing import Value
from kgraph.names import did_you_mean
from kgraph.photographs import Picture, taken
from kgraph.problems import Problem, WrongUse
from kgraph.words import LISTS

Pairs = list[tuple[str, Value]]
Said = str | int | float | bool | Sequence["Said"] | Mapping[str, "Said"]
"""What the value of a key can be said as; yes and no may be said as True and False."""


def pairs_of(kind: str, names: Sequence[str], keys: Mapping[str, Said]) -> Pairs:
    """The keys of an entry with their values, the one that says its kind first; raises WrongUse.

    A key is a name of Python: `both_ways` is `both ways`, `except_` is `except`.
    """
    first = kind_and_names(kind, names)
    return [first, *((key.rstrip("_").replace("_", " "), _value(said)) for key, said in keys.items())]


def kind_and_names(kind: str, names: Sequence[str]) -> tuple[str, Value]:
    """The key that says the kind of an entry, with the names it is of; raises WrongUse."""
    if kind not in words.KINDS:
        mend = did_you_mean(kind, words.KINDS) or f"use one of {', '.join(words.KINDS)}"
        raise WrongUse(f"{kind!r} is not a kind of entry; {mend}")
    if not names:
        raise WrongUse(f"add {kind} needs a name; see `kgraph add --help`")
    if kind in LISTS - {"caution"}:
        return kind, list(names)
    return kind, " ".join(names)


def _value(said: Said) -> Value:
    if isinstance(said, bool):
        return "yes" if said else "no"
    if isinstance(said, str | int | float):
        return str(said)
    if isinstance(said, Mapping):
        return {key: _value(one) for key, one in said.items()}
    return [_value(one) for one in said]


def checked(text: str) -> tuple[records.Entry, list[Problem]]:
    """The entry of a text, with what is doubtful in it; raises WrongUse with every error."""
    found, every = schema.entries_of(text.encode(), "new entry")
    if not found or any(p.severity == "error" for p in every):
        raise WrongUse(*(Problem(None, p.code, p.says, p.mend, p.severity) for p in every))
    return found[0], every


def entry_of(kind: str, names: Sequence[str], keys: Mapping[str, Said]) -> records.Entry:
    """An entry that is written nowhere; raises WrongUse with every error in it."""
    return checked(writing.entry_text(pairs_of(kind, names, keys)))[0]


def with_pictures(pairs: Pairs, folder: Path, full: bool) -> tuple[Pairs, list[Picture]]:
    """The pairs of an entry with its photos named as they are kept, and the pictures that are to be kept.

    Raises CannotRun for a picture that cannot be taken; nothing is written yet.
    """
    pictures: list[Picture] = []
    named: Pairs = []
    for key, value in pairs:
        if key == "photo" and value:
            paths, found = taken(value, folder, full)
            pictures += found
            named.append((key, paths[0] if len(paths) == 1 else list(paths)))
        else:
            named.append((key, value))
    return named, pictures
