"""What each question of a folder gives: rows, remarks, and the object that `--json` prints.

A reply with rows is gone through like a tuple: `for row in folder.takers("K-114")`.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator, Mapping
from dataclasses import field
from typing import Any, Generic, TypeVar, overload

from kgraph.api import rows
from kgraph.api.decoding import called, value_class
from kgraph.api.rows import BeltSection, FileFault, Interval, Proof

R = TypeVar("R")


@value_class
class Reply:
    """What every answer has."""

    question: Mapping[str, Any] = field(default_factory=dict)
    """What was asked, in the folder's own spelling."""
    notes: tuple[str, ...] = ()
    caution_texts: Mapping[str, str] = field(default_factory=dict)
    """Each caution of the rows in full."""
    left_out: tuple[FileFault, ...] = ()
    """What of the folder cannot be read, and is left out of this answer."""
    said: Mapping[str, Any] = field(default_factory=dict, repr=False, compare=False)

    def as_json(self) -> dict[str, Any]:
        """The object that the command prints with `--json`."""
        return copy.deepcopy(dict(self.said))


@value_class
class Rows(Reply, Generic[R]):
    """A reply that is a row of answers, the best first."""

    answers: tuple[R, ...] = ()

    def __iter__(self) -> Iterator[R]:
        return iter(self.answers)

    def __len__(self) -> int:
        return len(self.answers)

    @overload
    def __getitem__(self, number: int) -> R: ...

    @overload
    def __getitem__(self, number: slice) -> tuple[R, ...]: ...

    def __getitem__(self, number: int | slice) -> R | tuple[R, ...]:
        return self.answers[number]


@value_class
class SetRows(Rows[rows.SetRow]):
    """What takers, donors, parts, sisters and shares give."""

    answers: tuple[rows.SetRow, ...] = ()
    refused: int = 0
    """So many answers were refused, shown or not."""


@value_class
class WhyNotReply(Rows[rows.WhyNotRow]):
    """Why a set is not among the answers, for each place that was asked about."""

    answers: tuple[rows.WhyNotRow, ...] = called("why not", default=())
    others: tuple[rows.SetRow, ...] = called("answers", default=())
    """The sets that are among the answers."""
    refused: int = 0


@value_class
class FaultRows(Rows[rows.FaultyPlace]):
    """What goes wrong with a set, or what explains signs."""

    answers: tuple[rows.FaultyPlace, ...] = ()


@value_class
class PossibleSets(Rows[rows.PossibleSet]):
    """What a set may be; all probabilities sum to 1."""

    answers: tuple[rows.PossibleSet, ...] = ()
    look_next: tuple[rows.NextLook, ...] = called("look at next", default=())
    differ: rows.DifferingShares | None = None


@value_class
class LikelyPairs(Rows[rows.LikelyPair]):
    """What may be one design though nobody said so."""

    answers: tuple[rows.LikelyPair, ...] = ()


@value_class
class DoubtfulFacts(Rows[rows.DoubtfulFact]):
    """What to look at next."""

    answers: tuple[rows.DoubtfulFact, ...] = ()
    entropy_bits: float = 0.0
    of_answers: int = 0
    alike: tuple[rows.AlikeDoubts, ...] = ()


@value_class
class FoundNames(Rows[rows.FoundName]):
    """Names near a text."""

    answers: tuple[rows.FoundName, ...] = ()


@value_class
class ThingsShown(Rows[rows.ThingShown]):
    """All that is known of whatever has a name; where an id was asked for, the fact or event instead."""

    answers: tuple[rows.ThingShown, ...] = ()
    fact: rows.StatedFact | None = None
    event: rows.ShelfEvent | None = None


@value_class
class ArrivalReply(Reply):
    """One page to read before the back comes off."""

    title: str
    about: tuple[rows.ArrivalKey, ...]
    sections: tuple[rows.ArrivalSection, ...]
    photos: tuple[str, ...]


@value_class
class TriedLooks(Rows[rows.LooksTried]):
    """How often sets and families are found by their looks, each hidden in turn."""

    answers: tuple[rows.LooksTried, ...] = ()


@value_class
class TriedRebadges(Rows[rows.RebadgesTried]):
    """How often recorded rebadges come back, each hidden in turn."""

    answers: tuple[rows.RebadgesTried, ...] = ()


@value_class
class ListedRows(Rows[Mapping[str, Any]]):
    """What matches, each row by its columns; what nothing is recorded of is left out of a row."""

    answers: tuple[Mapping[str, Any], ...] = ()
    columns: tuple[str, ...] = ()


@value_class
class QueryReply(Rows[Mapping[str, Any]]):
    """What a query finds, each row by its variables."""

    answers: tuple[Mapping[str, Any], ...] = ()
    form: str
    """`select`, `ask` or `graph`."""
    variables: tuple[str, ...] = ()


@value_class
class QueriesShipped(Rows[rows.QueryShipped]):
    """The queries that come with the program."""

    answers: tuple[rows.QueryShipped, ...] = ()


@value_class
class GradesHeld(Rows[rows.GradeTried]):
    """How often each grade held."""

    answers: tuple[rows.GradeTried, ...] = called("grades", default=())


@value_class
class BeltReply(Reply):
    """What every answer about a belt has."""

    assumed: tuple[rows.Assumption, ...] = ()
    cautions: tuple[str, ...] = ()


@value_class
class BeltPathReply(BeltReply):
    """The path of a belt; `path_mm` is None where no run is recorded."""

    set: str
    position: str
    section: BeltSection | None = None
    path_mm: float | None
    wraps_deg: Mapping[str, float]
    wanted_stretch: tuple[float, ...] = ()
    window_mm: Interval | None
    belts: tuple[rows.BeltThere, ...]
    o_rings: tuple[rows.ORingThere, ...]
    path_error_mm: float | None = None
    as_sold: rows.AsSold | None = None
    proof: Proof = rows.NO_PROOF


@value_class
class BeltFitReply(BeltReply):
    """What a belt does in a set."""

    belt: str
    set: str
    position: str
    verdict: str
    stretch: float | None
    tension_n: float | None = called("tension_N")
    tension_range_n: Interval | None = called("tension_range_N")
    shaft_load_n: Mapping[str, float] = called("shaft_load_N")
    shaft_load_vector_n: Mapping[str, tuple[float, float]] = called("shaft_load_vector_N")
    pull_limit_n: float | None = called("pull_limit_N")
    pull_limit_range_n: Interval | None = called("pull_limit_range_N")
    pull_needed_n: float | None = called("pull_needed_N")
    speed_ratios: Mapping[str, float]
    speed_change: float | None
    tape_speed_cm_s: float | None
    tape_speed_error: float | None
    tape_speed_within: bool | None
    speed_tolerance: Mapping[str, Any]
    stretch_range: Interval | None
    as_sold: rows.AsSold | None
    path_mm: float | None
    recorded_belt: str | None
    reasons: tuple[str, ...]
    proof: Proof


@value_class
class PossibleBelts(BeltReply, Rows[rows.PossibleBelt]):
    """Which recorded belts a measured one can be."""

    answers: tuple[rows.PossibleBelt, ...] = ()


@value_class
class BeltFamily(BeltReply, Rows[rows.BeltOfSet]):
    """The belts of all sets that share a place."""

    answers: tuple[rows.BeltOfSet, ...] = ()


@value_class
class BeltSpeedReply(BeltReply):
    """The error of speed that a test tone tells."""

    error: float
    tape_speed_cm_s: float
    within_tolerance: bool
    speed_tolerance: Mapping[str, Any]
    other_tape_hz: float | None
    other_error: float | None
    thickness_mm: float | None
    motor_change: float
    motor_rpm: float | None
    run_speed_cm_s: float | None
    says: tuple[str, ...]
    proof: Proof


@value_class
class PlanReply(Reply):
    """What to take from where, and what cannot be met."""

    lines: tuple[rows.PlanLine, ...]
    met: int
    cost: float
    parts_of_cost: rows.CostParts
    opened: tuple[rows.OpenedUnit, ...]
    wants: int
    optimal: bool
    gap: float
    met_at_most: int
    unmet: tuple[rows.UnmetWant, ...]
    possible: tuple[rows.PlanLine, ...]
    instead: tuple[rows.PlanCourse, ...]

    def __iter__(self) -> Iterator[rows.PlanLine]:
        return iter(self.lines)

    def __len__(self) -> int:
        return len(self.lines)


@value_class
class SetsToLookFor(Rows[rows.SetToLookFor]):
    """Which sets to look for."""

    answers: tuple[rows.SetToLookFor, ...] = ()
    sought: int = 0
    met: int = 0


@value_class
class ShelfReply(Rows[rows.UnitOnShelf]):
    """The units, and the loose parts."""

    answers: tuple[rows.UnitOnShelf, ...] = ()
    stock: tuple[rows.LooseParts, ...] = ()


@value_class
class OwedRows(Rows[rows.OwedBack]):
    """What units are to get back."""

    answers: tuple[rows.OwedBack, ...] = ()


@value_class
class SheetReply(Reply):
    """The job sheet of a unit."""

    unit: str
    set: str | None
    role: str | None
    found: Mapping[str, str]
    done: tuple[rows.ShelfEvent, ...]
    fitted: tuple[rows.FittedThing, ...]
    open: rows.StillOpen
    doubtful: tuple[rows.DoubtfulPlace, ...]
    spent: tuple[rows.MoneySpent, ...]
    cost: tuple[str, ...]
    hours: float
    cautions: tuple[str, ...]
    defer: str


@value_class
class CheckReply(Reply):
    """What is wrong and what is doubtful in the folder's files."""

    errors: tuple[FileFault, ...]
    warnings: tuple[FileFault, ...]
