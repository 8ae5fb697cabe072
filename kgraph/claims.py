"""What each kind of fact states, by the resolved keys of the things in it.

Sets and assemblies are owners: `s:` or `a:` and the key. A claim is a tuple too, so that equal claims of one
kind are equal and sort alike.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple


class RebadgeClaim(NamedTuple):
    """Two sets are one design; the keys of what is left out, in order."""

    one: str
    other: str
    left_out: tuple[str, ...]


class UsesClaim(NamedTuple):
    """A set or assembly is built on an assembly; the keys of what is left out, in order."""

    assembly: str
    owner: str
    left_out: tuple[str, ...]


class TakesClaim(NamedTuple):
    """A part is at a place, as `original` or `substitute`."""

    part: str
    owner: str
    position: str
    role: str


class SameClaim(NamedTuple):
    """Two numbers of one part."""

    one: str
    other: str


class ReplacesClaim(NamedTuple):
    """The new number goes wherever the old one goes."""

    new: str
    old: str


class FitsClaim(NamedTuple):
    """What is at one place was fitted to another."""

    owner: str
    position: str
    to: str
    at: str
    both_ways: bool
    work: str


class RefusesClaim(NamedTuple):
    """A part, or what is at a place (the part is then ""), does not go at another place."""

    part: str
    item_owner: str
    item_position: str
    owner: str
    position: str


class DistinctClaim(NamedTuple):
    """Two sets are two designs."""

    one: str
    other: str


class FaultClaim(NamedTuple):
    """What goes wrong with a place of a design, by which signs, what to check first and what cures it."""

    owner: str
    position: str
    fault: str
    signs: tuple[str, ...]
    check: str
    cure: str


class RunClaim(NamedTuple):
    """The path of a belt: measures of its pulleys, the wanted stretch, the pull in N m and where it is."""

    owner: str
    position: str
    pulleys: tuple[Any, ...]
    stretch: Any
    pull_nm: float | None
    pull_at: str = ""


class SizeClaim(NamedTuple):
    """One part is of equal size as another that is wanted."""

    offered: str
    wanted: str


Claim = (
    RebadgeClaim
    | UsesClaim
    | TakesClaim
    | SameClaim
    | ReplacesClaim
    | FitsClaim
    | RefusesClaim
    | DistinctClaim
    | FaultClaim
    | RunClaim
    | SizeClaim
)

WITH_EXCEPTIONS = (RebadgeClaim, UsesClaim)
"""The claims that say of two what they leave out, last of all."""


def about(claim: Claim) -> tuple[Any, ...]:
    """What a claim speaks of, whatever it leaves out."""
    return claim[:-1] if isinstance(claim, WITH_EXCEPTIONS) else claim


CLAIMS: dict[str, Callable[..., Claim]] = {
    "rebadge": RebadgeClaim,
    "uses": UsesClaim,
    "takes": TakesClaim,
    "same": SameClaim,
    "replaces": ReplacesClaim,
    "fits": FitsClaim,
    "refuses": RefusesClaim,
    "distinct": DistinctClaim,
    "fault": FaultClaim,
    "run": RunClaim,
    "size": SizeClaim,
}
"""Kind of fact -> what it states."""
