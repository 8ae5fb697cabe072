"""What must be known of an answer before anything is fitted: cautions, and attributes that must match."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache
from typing import TYPE_CHECKING

from kgraph import words
from kgraph.fits.graph import sort_of
from kgraph.names import compared, fold

if TYPE_CHECKING:
    from kgraph.collection import Collection


def cautions_of(data: Collection, positions: Iterable[str], parts: Iterable[str]) -> tuple[str, ...]:
    """The names of the cautions of these places and of the kinds of these parts, each once."""
    names: dict[str, str] = {}
    for position in positions:
        names.update((n.key, n.text) for n in data.position_rules(position)[1])
    for part in parts:
        names.update(part_cautions(data, part))
    keys = {k: data.key("caution", k) for k in names}
    called = (
        data.text("caution", keys[k]) if data.knows("caution", keys[k]) else t for k, t in names.items()
    )
    return tuple(dict.fromkeys(called))


@cache
def trade_cautions() -> Mapping[str, str]:
    """Key -> text of the cautions of the trade, which need no entry."""
    return {fold(name): text for name, text in words.CAUTIONS.items()}


def part_cautions(data: Collection, part: str) -> dict[str, str]:
    """Key -> name of the cautions of the kind that a part is of."""
    return {n.key: n.text for n in data.kind_cautions(sort_of(data, part))}


def unmatched(
    data: Collection, one: str, other: str, positions: Iterable[str]
) -> list[tuple[bool | None, str]]:
    """The attributes that must match at these places and do not (False) or are not recorded (None), in words.

    `one` and `other` are the owners of two sets.
    """
    attributes = {compared(a): a for p in sorted(positions) for a in data.position_rules(p)[0]}
    verdicts = [_compare_attribute(data, one, other, a) for a in attributes.values()]
    return [(verdict, says) for verdict, says in verdicts if not verdict]


def _compare_attribute(data: Collection, one: str, other: str, attribute: str) -> tuple[bool | None, str]:
    values = {owner: _recorded(data, owner, attribute) for owner in (one, other)}
    missing = [data.owner_text(o) for o, v in values.items() if not v]
    if missing:
        return None, f"{attribute} is not recorded on {' or '.join(missing)}: check it first"
    if _folded(values[one]) & _folded(values[other]):
        return True, ""
    says = " but ".join(f"{', '.join(v)} on {data.owner_text(o)}" for o, v in values.items())
    return False, f"{attribute} must match: {says}"


def _recorded(data: Collection, owner: str, attribute: str) -> list[str]:
    """What is recorded of a set: each item of a list is a value of its own."""
    found = (v if isinstance(v, list | tuple) else (v,) for v in data.attribute("set", owner[2:], attribute))
    return [v if isinstance(v, str) else ", ".join(map(str, v)) for values in found for v in values]


def _folded(values: list[str]) -> set[str]:
    return {compared(v) for v in values}
