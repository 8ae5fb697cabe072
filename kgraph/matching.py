"""What two sets must agree on at a place: which attributes, whether they do, and how it is said."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from kgraph import mains
from kgraph.names import compared

if TYPE_CHECKING:
    from kgraph.collection import Collection

BY_NAME = "the place is taken to be on the mains side by its name"
_DIFFERS = " must match: "
Verdict = tuple[bool | None, str]
"""Whether an attribute agrees (None: it is to be checked), and what is to be said of it."""


def unmatched(data: Collection, one: str, other: str, positions: Iterable[str]) -> list[Verdict]:
    """The attributes that must match at these places and do not (False), or are to be checked (None).

    `one` and `other` are the owners of two sets.
    """
    verdicts = [(_compare(data, one, other, a), said) for a, said in _needed(data, positions)]
    return [(agrees, f"{says}{said}") for (agrees, says), said in verdicts if says]


def unmatched_alone(data: Collection, owner: str, positions: Iterable[str]) -> list[str]:
    """What must match at these places where no set is known for which a part was made, in words."""
    return [
        f"{attribute} must match, and it is not recorded for which the part was made: compare it with "
        f"{' or '.join(recorded(data, owner, attribute)) or 'what is read'} on {data.owner_text(owner)}{said}"
        for attribute, said in _needed(data, positions)
    ]


def _needed(data: Collection, positions: Iterable[str]) -> list[tuple[str, str]]:
    """Each attribute that must match at one of these places, and what is to be added where it is told."""
    found: dict[str, tuple[str, str]] = {}
    for position in sorted(positions):
        rules = data.position_rules(position)
        for attribute in rules.must_match:
            found.setdefault(compared(attribute), (attribute, f" ({BY_NAME})" if rules.by_name else ""))
    return list(found.values())


def _compare(data: Collection, one: str, other: str, attribute: str) -> Verdict:
    values = {owner: recorded(data, owner, attribute) for owner in (one, other)}
    missing = [data.owner_text(o) for o, v in values.items() if not v]
    if missing:
        return None, f"{attribute} is not recorded on {' or '.join(missing)}: check it first"
    both = " but ".join(f"{', '.join(v)} on {data.owner_text(o)}" for o, v in values.items())
    if not _keys(attribute, values[one]) & _keys(attribute, values[other]):
        return False, f"{attribute}{_DIFFERS}{both}"
    doubt = mains.doubt(attribute, values[one], values[other])
    return (None, f"{attribute}: {both}; {doubt}: check it first") if doubt else (True, "")


def differs(says: str) -> bool:
    """Whether this was said of values that must match and do not."""
    return _DIFFERS in says


def _keys(attribute: str, values: Iterable[str]) -> frozenset[str]:
    return frozenset().union(*(mains.keys(attribute, v) for v in values))


def recorded(data: Collection, owner: str, attribute: str) -> list[str]:
    """What is recorded of a set: each item of a list is a value of its own."""
    found = (v if isinstance(v, list | tuple) else (v,) for v in data.attribute("set", owner[2:], attribute))
    return [v if isinstance(v, str) else ", ".join(map(str, v)) for values in found for v in values]


def guarded_by_name(data: Collection, positions: Iterable[str]) -> list[str]:
    """A remark for each of these places that is taken to be on the mains side by its name."""
    named = {data.text("position", p) for p in positions if p and data.position_rules(p).by_name}
    return [
        f"{name}: {BY_NAME}; `must match: []` in an entry `- position: {name}` says otherwise."
        for name in sorted(named)
    ]
