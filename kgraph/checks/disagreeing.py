"""Checks of what two entries say of one thing: it must be the same."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from kgraph import belt_sizes, quantities, records, words
from kgraph.checks.ground import Check, CheckGround, at, error
from kgraph.collection.fact_ids import thing_id
from kgraph.names import compared, fold
from kgraph.problems import Problem, command, shown

ADDS_UP = {"also", "positions", "numbers", "caution", "must match", "wants", "note", "photo"}
"""Keys of which two entries of one thing each add to the other, and none can disagree."""

OF_THE_ENTRY = records.SAID_BESIDE - {"photo"} | {"via", "corrects"}
"""Keys that tell of an entry and not of its thing."""


LENGTHS = tuple(belt_sizes.BELT_MEASURES)


LENGTHS_APART = belt_sizes.MEASURES_APART


def entries_that_disagree(ground: CheckGround) -> Iterator[Problem]:
    """What two entries say of one thing must agree.

    Lists such as `positions` add up, and one part may lie in two drawers.
    """
    for kind, by_key in ground.data.things.items():
        for things in by_key.values():
            for group in _groups(kind, things) if len(things) > 1 else ():
                yield from _disagreements(ground, group)


def _groups(kind: str, things: Sequence[records.Thing]) -> Sequence[Sequence[records.Thing]]:
    if kind != "stock":
        return [things]
    drawers: dict[str, list[records.Thing]] = defaultdict(list)
    for thing in things:
        drawers[fold(thing.place) if isinstance(thing, records.Stock) else ""].append(thing)
    return list(drawers.values())


def _disagreements(ground: CheckGround, things: Sequence[records.Thing]) -> Iterator[Problem]:
    first: dict[str, tuple[records.Value, records.Thing]] = {}
    for thing in things:
        for key, value in _said(ground, thing):
            before, other = first.setdefault(compared(key), (value, thing))
            if other is not thing and meaning(key, before) != meaning(key, value):
                yield _disagree(thing, other, key, _show(value), _show(before))
    yield from _lengths_that_disagree(ground, things)


def _disagree(thing: records.Thing, other: records.Thing, key: str, here: str, there: str) -> Problem:
    says = (
        f"{thing.kind} {shown(thing.name.text)}: {shown(key)} is {here} here and {there} at {at(other.where)}"
    )
    back = command("withdraw", thing_id(other), "--why", "...")
    mend = f"find out which is right; if this one, take the other back: {back}"
    return error(thing.where, "entries-disagree", says, mend)


def _said(ground: CheckGround, thing: records.Thing) -> Iterator[tuple[str, records.Value]]:
    left_out = {*ADDS_UP, *(LENGTHS if ground.data.inside_length_mm(thing) else ())}
    # Of several new names the last one is shown.
    left_out |= {"called", "date"} if thing.called else set()
    left_out |= {"trust"} if thing.kind == "via" else set()
    left_out |= OF_THE_ENTRY - ({"date"} if thing.kind == "source" else set())
    for key, value in thing.pairs[1:]:
        if key in left_out:
            continue
        if isinstance(value, Mapping):
            yield from ((f"{key}, {compared(k)}", v) for k, v in value.items())
        else:
            yield key, value


def _show(value: records.Value) -> str:
    if isinstance(value, str):
        return shown(value)
    return ", ".join(_show(v) for v in value) or "an empty list"


def meaning(key: str, value: records.Value) -> Any:
    """What a value of a key means: equal where two ways to write it say the same."""
    if isinstance(value, tuple):
        return tuple(meaning(key, v) for v in value)
    if isinstance(value, Mapping):
        return sorted((fold(k), repr(meaning(key, v))) for k, v in value.items())
    if key == "generic":
        return value.strip().lower() in words.TRUE_WORDS
    try:
        if key == "section":
            return belt_sizes.section(value)
        return float(value) if key in {"certainty", "keep"} else quantities.length(value).mm
    except ValueError:
        return fold(value) or " ".join(value.split())


def recorded(value: records.Plain) -> records.Value:
    """Texts, lists and objects as a recorded value."""
    if isinstance(value, str):
        return value
    if isinstance(value, dict):
        return {key: recorded(inner) for key, inner in value.items()}
    return tuple(map(recorded, value))


def _lengths_that_disagree(ground: CheckGround, things: Sequence[records.Thing]) -> Iterator[Problem]:
    """The three ways to write a belt's length are one size; written in different ways, within 2 %."""
    measured = [(thing, mm) for thing in things if (mm := ground.data.inside_length_mm(thing)) is not None]
    for thing, mm in measured[1:]:
        other, before = measured[0]
        alike = length_key(thing) == length_key(other)
        if abs(mm - before) > (1e-9 if alike else LENGTHS_APART * max(mm, before)):
            yield _disagree(thing, other, "inside length", f"{mm:.6g} mm", f"{before:.6g} mm")


def length_key(thing: records.Thing) -> str:
    """The way to write a belt's length that counts of those in an entry, or ""."""
    return next(iter(belt_sizes.belt_measures(thing.pairs)), "")


CHECKS: Sequence[Check] = (entries_that_disagree,)
