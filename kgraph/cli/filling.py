"""add on a terminal: the fields of an entry asked one by one, each again until it is right.

What was typed is kept whatever is wrong with one field: only that field is asked again.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator

import click

from kgraph import checks, records, words
from kgraph.api.loaded import Loaded
from kgraph.events import Event
from kgraph.folder import entry_keys, schema, writing
from kgraph.names import fold, nearest
from kgraph.problems import Problem, WrongUse
from kgraph.render.terminal import visible, visible_lines
from kgraph.usual_keys import Key, of_kind, of_part
from kgraph.words import LISTS, is_mapping

Value = str | list["Value"] | dict[str, "Value"]
Pairs = list[tuple[str, Value]]

LEFT_OUT = "-"
"""What is typed to leave out again what was typed before."""
NO_MAINS = (
    "warning: no mains is said, so nothing on the mains side of it can be compared;"
    " read it off the type plate and say mains: ..."
)


def ask_for_entry(loaded: Loaded) -> Pairs:
    """The pairs of a new entry, as they are typed; raises WrongUse where there is no terminal."""
    if not sys.stdin.isatty():
        raise WrongUse("add needs a KIND, or a terminal to ask on; see `kgraph add --help`")
    for kind, sentence in words.KINDS.items():
        click.echo(f"  {kind:10} {sentence}")
    kind = click.prompt("kind", type=click.Choice(list(words.KINDS)), show_choices=False)
    click.echo("Enter leaves a field out; several values are divided by ;")
    typed: dict[str, str] = {}
    while True:
        pairs = _fields(loaded, kind, typed)
        faults = _faults_beside(loaded, pairs)
        if not faults:
            break
        _tell(faults)
        click.echo(f"Once more, please: Enter keeps what was typed, {LEFT_OUT} leaves it out.", err=True)
    if kind == "set" and "mains" not in dict(pairs):
        click.echo(NO_MAINS, err=True)
    return pairs


def _fields(loaded: Loaded, kind: str, typed: dict[str, str]) -> Pairs:
    """All fields of an entry; `typed` is what was typed before, and takes up what is typed now."""
    pairs: Pairs = []
    todo = [key for key in of_kind(kind) if key.asked]
    while todo:
        key = todo.pop(0)
        value = _field(loaded, kind, key, pairs, typed)
        if value:
            pairs.append((key.name, value))
        if kind == "part" and key.name == "numbers":
            sort = dict(pairs).get("kind", "")
            more = of_part(sort, _compared(loaded, sort)) if isinstance(sort, str) else ()
            todo = [*more, *todo]
    return pairs


def _compared(loaded: Loaded, sort: str) -> tuple[str, ...]:
    """By which keys the folder compares parts of a kind."""
    found = loaded.data.things["kind"].get(loaded.data.key("kind", fold(sort)), ())
    return tuple(key for kind in found if isinstance(kind, records.Kind) for key, _ in kind.compare)


def _field(loaded: Loaded, kind: str, key: Key, pairs: Pairs, typed: dict[str, str]) -> Value:
    """What is typed for one field, asked again until nothing is wrong with it; empty for nothing."""
    must = key.name in entry_keys.required_of(kind)
    while True:
        text = click.prompt(
            _asks(key), default=typed.get(key.name, ""), show_default=key.name in typed
        ).strip()
        if text == LEFT_OUT and not must:
            typed.pop(key.name, None)
            return ""
        if not text and not must:
            return ""
        try:
            value = _value(loaded, kind, key, text)
        except WrongUse as wrong:
            _tell(wrong.problems)
            continue
        faults = [*_faults_of(kind, pairs, key.name, value), *_unknown_grade(loaded, key.name, value)]
        if not faults:
            typed[key.name] = text
            return value
        _tell(faults)


def _asks(key: Key) -> str:
    example = f", like {key.example}" if key.example else ""
    says = f" ({key.says})" if key.says else ""
    return f"{key.name}{says}{example}"


def _value(loaded: Loaded, kind: str, key: Key, text: str) -> Value:
    """A typed text as the value that it stands for; raises WrongUse where it cannot be one."""
    each = [t.strip() for t in text.split(";") if t.strip()] if key.many else [text]
    if key.name == "pulleys":
        return [mapping(key.name, one, ",") for one in each]
    if is_mapping(kind, key.name):
        return joined(mapping(key.name, one) for one in each)
    is_list = key.name in LISTS and not key.name == kind == "caution"
    named: list[Value] = [known_name(loaded, kind, key.name, one) for one in each]
    return named if is_list or len(named) > 1 else named[0] if named else ""


def mapping(key: str, text: str, divide: str = "") -> dict[str, Value]:
    """`NAME=VALUE`, or several of them divided by a sign, as a mapping; raises WrongUse."""
    out: dict[str, Value] = {}
    for piece in text.split(divide) if divide else [text]:
        name, sign, value = piece.partition("=")
        if not sign or not name.strip():
            raise WrongUse(f"{key}: {text!r} is not NAME=VALUE")
        out[name.strip()] = value.strip()
    return out


def joined(mappings: Iterable[dict[str, Value]]) -> dict[str, Value]:
    """Several mappings as one; what is said of one name more than once becomes a list."""
    out: dict[str, Value] = {}
    for one in mappings:
        for name, value in one.items():
            before = out.get(name)
            if before is None:
                out[name] = value
            else:
                out[name] = [*(before if isinstance(before, list) else [before]), value]
    return out


# What is wrong --------------------------------------------------------------------------------


def _faults_of(kind: str, pairs: Pairs, key: str, value: Value) -> Iterator[Problem]:
    """What a further pair makes wrong with an entry that is not whole yet."""
    text = writing.entry_text([*pairs, (key, value)])
    for problem in schema.entries_of(text.encode(), "new entry")[1]:
        if problem.code == "says-nothing" or (problem.severity == "error" and problem.code != "missing-key"):
            yield problem


def _unknown_grade(loaded: Loaded, key: str, value: Value) -> Iterator[Problem]:
    data = loaded.data
    if key == "how" and isinstance(value, str) and data.key("grade", fold(value)) not in data.grades:
        names = ", ".join(data.text("grade", grade) for grade in data.grades)
        yield Problem(None, "unknown-grade", f"how: {value} is not a grade", f"use one of {names}")


def _faults_beside(loaded: Loaded, pairs: Pairs) -> list[Problem]:
    """What is wrong with the whole entry, or with it beside the folder."""
    entries, problems = schema.entries_of(writing.entry_text(pairs).encode(), "new entry")
    errors = [p for p in problems if p.severity == "error"]
    if not errors and entries and not isinstance(entries[0], Event):
        errors = [p for p in checks.problems_of_new(loaded.data, entries[0]) if p.severity == "error"]
    return errors


def _tell(problems: Iterable[Problem]) -> None:
    for problem in problems:
        click.echo(visible_lines(f"    {problem._replace(where=None)!s}"), err=True)


# Names that are known -------------------------------------------------------------------------


def known_name(loaded: Loaded, kind: str, key: str, text: str) -> str:
    """The text, or one of the nearest known names if the user takes it."""
    sorts = _NAMED_BY.get((kind, key)) or _NAMED_BY.get(("", key))
    if not text or not sorts or (key == kind and kind in words.THINGS):
        return text
    data = loaded.data
    known = {n for s in sorts for n in data.known(s).values()}
    if any(data.key(s, fold(text)) in data.known(s) for s in sorts):
        return text
    near = nearest(text, known)
    for number, name in enumerate(near, 1):
        click.echo(f"    {number}: {visible(name)}")
    if not near:
        return text
    taken = click.prompt(
        "    not known yet; take a number, or Enter for a new name", default="", show_default=False
    )
    return near[int(taken) - 1] if taken.isdigit() and 0 < int(taken) <= len(near) else text


_NAMED_BY: dict[tuple[str, str], tuple[str, ...]] = {
    ("rebadge", "rebadge"): ("set",),
    ("uses", "uses"): ("assembly",),
    ("takes", "takes"): ("part",),
    ("same", "same"): ("part",),
    ("replaces", "replaces"): ("part",),
    ("replaces", "old"): ("part",),
    ("fits", "fits"): ("set", "assembly"),
    ("refuses", "refuses"): ("part", "set"),
    ("refuses", "from"): ("position",),
    ("run", "run"): ("position",),
    ("unit", "set"): ("set",),
    ("unit", "wants"): ("position",),
    ("stock", "stock"): ("part",),
    ("taken", "taken"): ("position",),
    ("taken", "from"): ("unit",),
    ("taken", "to"): ("unit",),
    ("restored", "restored"): ("position",),
    ("restored", "to"): ("unit",),
    ("fitted", "fitted"): ("part",),
    ("fitted", "to"): ("unit",),
    ("inspected", "inspected"): ("position",),
    ("inspected", "of"): ("unit",),
    ("", "in"): ("set", "assembly"),
    ("", "to"): ("set", "assembly"),
    ("", "position"): ("position",),
    ("", "at"): ("position",),
    ("", "except"): ("position", "assembly"),
    ("", "source"): ("source",),
    ("", "caution"): ("caution",),
    ("", "kind"): ("kind",),
}
