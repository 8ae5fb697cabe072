"""Facts in words: one small function for each kind of fact."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from kgraph.claims import FaultClaim
from kgraph.facts import Fact

if TYPE_CHECKING:
    from kgraph.collection import Collection


def says(data: Collection, fact: Fact) -> str:
    """What a fact states, as one sentence without its full stop."""
    if fact.kind == "fault":
        return _fault(data, fact)
    return _SAYS[fact.kind](data, *fact.claim)


def _but(data: Collection, names: tuple[str, ...]) -> str:
    spelt = [data.text("position", n) for n in names]
    return f", except {', '.join(spelt)}" if spelt else ""


def _at(data: Collection, owner: str, position: str) -> str:
    return f"{data.owner_text(owner)} at {data.text('position', position)}"


def _rebadge(data: Collection, one: str, other: str, names: tuple[str, ...]) -> str:
    return f"{data.owner_text(one)} and {data.owner_text(other)} are one design{_but(data, names)}"


def _uses(data: Collection, assembly: str, owner: str, names: tuple[str, ...]) -> str:
    return f"{data.owner_text(owner)} is built on {data.owner_text(assembly)}{_but(data, names)}"


def _takes(data: Collection, part: str, owner: str, position: str, role: str) -> str:
    verb = "has" if role == "original" else "takes as a substitute"
    tail = " as original" if role == "original" else ""
    return f"{_at(data, owner, position)} {verb} {data.text('part', part)}{tail}"


def _same(data: Collection, one: str, other: str) -> str:
    return f"{data.text('part', one)} and {data.text('part', other)} are one part"


def _distinct(data: Collection, one: str, other: str) -> str:
    return f"{data.owner_text(one)} and {data.owner_text(other)} are two designs"


def _replaces(data: Collection, new: str, old: str) -> str:
    return f"{data.text('part', new)} goes wherever {data.text('part', old)} goes"


def _fits(data: Collection, owner: str, position: str, to: str, at: str, both: bool, work: str) -> str:
    how = " and the other way round" if both else ""
    done = f", with work: {work}" if work else ""
    return f"what {_at(data, owner, position)} has was fitted to {_at(data, to, at)}{how}{done}"


def _refuses(data: Collection, part: str, owner: str, position: str, at: str, where: str) -> str:
    item = data.text("part", part) if part else f"what {_at(data, owner, position)} has"
    return f"{item} does not go on {_at(data, at, where)}"


def _fault(data: Collection, fact: Fact) -> str:
    owner, position, key, signs, check, cure = fact.of(FaultClaim)
    called = getattr(fact.record, "fault", None)
    tail = f", seen by: {', '.join(signs)}" if signs else ""
    tail += f"; check: {check}" if check else ""
    tail += f"; cure: {cure}" if cure else ""
    return f"{_at(data, owner, position)} goes wrong: {called.text if called else key}{tail}"


def _run(data: Collection, owner: str, position: str, pulleys: tuple[Any, ...], *rest: Any) -> str:
    return (
        f"the {data.text('position', position)} of {data.owner_text(owner)} runs over {len(pulleys)} pulleys"
    )


def _size(data: Collection, one: str, other: str) -> str:
    return f"{data.text('part', one)} is of the size of {data.text('part', other)}"


_SAYS: Mapping[str, Callable[..., str]] = {
    "rebadge": _rebadge,
    "uses": _uses,
    "takes": _takes,
    "same": _same,
    "distinct": _distinct,
    "replaces": _replaces,
    "fits": _fits,
    "refuses": _refuses,
    "run": _run,
    "size": _size,
}
