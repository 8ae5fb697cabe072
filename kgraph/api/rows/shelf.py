"""Rows about the shelf, plans and job sheets."""

from __future__ import annotations

from collections.abc import Mapping

from kgraph.api.decoding import value_class
from kgraph.api.rows.proofs import NO_PROOF, EntryWritten, Interval, Proof


@value_class
class ShelfEvent:
    """Something taken, put in, put back or inspected."""

    event: str
    id: str
    position: str
    from_: str | None
    to: str | None
    by: str
    date: str
    note: str
    file: str
    line: int
    at: str | None = None
    owed: bool | None = None
    of: str | None = None
    state: str | None = None
    part: str | None = None
    cost: str | None = None
    hours: float | None = None
    withdraw: EntryWritten | None = None


@value_class
class OpenWant:
    """A want of a unit, and how certainly something would meet it."""

    unit: str
    want: str
    certainty: float | None = None


@value_class
class WaitedFor:
    """A place of a unit, and whose wants what is there would meet."""

    position: str
    for_: tuple[OpenWant, ...]


@value_class
class OwedBack:
    """What a unit is to get back."""

    unit: str
    set: str | None
    position: str
    to: str | None
    still_there_at: str | None
    by: str
    date: str
    note: str
    file: str
    line: int
    settle: str | None
    give_back: str | None
    settled: ShelfEvent | None


@value_class
class PlaceNow:
    """What is at a place of a unit now."""

    position: str
    condition: str | None
    usable: bool
    part: str | None
    made_for: str | None
    made_for_position: str | None
    event: ShelfEvent | None
    inspected: ShelfEvent | None


@value_class
class UnitOnShelf:
    """A unit: what it gives, what it waits for, what it is owed."""

    unit: str
    set: str | None
    role: str | None
    keep: float
    opened: bool
    gives: tuple[str, ...]
    waited_for: tuple[WaitedFor, ...]
    wants: tuple[str, ...]
    met: tuple[str, ...]
    owed: tuple[OwedBack, ...]
    owes: tuple[OwedBack, ...]
    places: tuple[PlaceNow, ...]


@value_class
class LooseParts:
    """Loose parts of one number."""

    part: str
    count: int
    counted: int
    where: str | None
    waited_for: tuple[OpenWant, ...]


@value_class
class PlanLine:
    """One thing to take: from where, for which want, and why it goes there."""

    for_: str
    want: str
    unit: str
    set: str | None
    position: str | None
    part: str | None
    certainty: float
    goes: float
    sound: float
    bounds: Interval | None
    standing: str
    work: tuple[str, ...]
    proof: Proof
    cautions: tuple[str, ...]
    warnings: tuple[str, ...]
    differs: tuple[str, ...]
    basis: tuple[str, ...]
    counted_on: tuple[str, ...] = ()
    against: Proof = NO_PROOF
    settle: str | None = None
    brings: tuple[str, ...] = ()
    along: bool | None = None
    condition: str | None = None
    where: str | None = None
    without: tuple[OpenWant, ...] = ()
    """The wants of other units that would then go without."""


@value_class
class CostParts:
    """What a plan costs, in its parts."""

    opened: float
    work: float
    doubt: float


@value_class
class OpenedUnit:
    """A unit that a plan opens, and what that costs."""

    unit: str
    cost: float


@value_class
class PlanCourse:
    """One way to meet wants."""

    lines: tuple[PlanLine, ...]
    met: int
    cost: float
    parts_of_cost: CostParts
    opened: tuple[OpenedUnit, ...]


@value_class
class SetWithCertainty:
    """A set, and how certainly it would do."""

    set: str
    certainty: float


@value_class
class UnmetWant:
    """A want that the shelf cannot meet, and what to do about it."""

    for_: str
    want: str
    route: str
    says: str
    why: str
    parts: tuple[str, ...]
    sets: tuple[SetWithCertainty, ...]
    cautions: tuple[str, ...]


@value_class
class SetToLookFor:
    """A set to look for: each want that it would meet, with its certainty, warnings and proof."""

    set: str
    expected_wants: float
    wants: Mapping[str, float]
    sound: Mapping[str, float]
    """How surely what nobody has looked at is sound; in the certainties already."""
    warnings: Mapping[str, tuple[str, ...]]
    proofs: Mapping[str, Proof]


@value_class
class FittedThing:
    """What was fitted in a unit, from where, and on what evidence."""

    position: str
    from_: str | None
    made_for: str | None
    part: str | None
    condition: str | None
    event: ShelfEvent
    standing: str | None
    certainty: float | None
    work: tuple[str, ...]
    proof: Proof
    against: Proof
    warnings: tuple[str, ...]


@value_class
class StillOpen:
    """What a unit still wants, and what is missing on it."""

    wants: tuple[str, ...]
    lacks: Mapping[str, str]


@value_class
class DoubtfulPlace:
    """A place of a unit about which something is not sure."""

    position: str
    says: str


@value_class
class MoneySpent:
    """What was spent on a unit."""

    for_: str
    cost: str | None
    hours: float | None
    file: str
    line: int
