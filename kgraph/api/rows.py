"""The rows of answers as values that do not change: what `--json` prints, by name and type.

Certainties, probabilities and lengths are never rounded. A name is as the folder spells it, and None where
there is none.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import field
from typing import Any

from kgraph.api.decoding import LISTED, called, value_class

Interval = tuple[float, float]


# Facts and proofs -----------------------------------------------------------------------------


@value_class
class FactEvidence:
    """One saying of a fact: where it stands, by which grade, how certain."""

    file: str
    line: int
    certainty: float
    how: str = ""
    sources: tuple[str, ...] = called("source", default=())
    page: str = ""
    by: str = ""
    via: str = ""
    date: str = ""
    note: str = ""
    photos: tuple[str, ...] = called("photo", default=())
    trust: float = 1.0


@value_class
class EntryWritten:
    """An entry of the folder as it is written, and where."""

    entry: Mapping[str, Any]
    file: str
    line: int


@value_class
class StatedFact:
    """A fact: its id, what it says in words, how certain it is, and where its strongest saying stands."""

    id: str = called("fact")
    says: str
    certainty: float
    file: str | None
    line: int | None
    evidence: tuple[FactEvidence, ...] = ()
    kind: str = ""
    """Where the fact itself was asked for."""
    withdraw: EntryWritten | None = None
    """The entry that took it back, where one did."""
    told_otherwise: tuple[StatedFact, ...] = ()
    """What was said of the same two, with other exceptions."""

    @property
    def place(self) -> str | None:
        """FILE:LINE of its strongest saying; None of what no entry says, like an equal size."""
        return f"{self.file}:{self.line}" if self.file else None


@value_class
class Proof:
    """Facts in the order in which they lead to an answer."""

    facts: tuple[StatedFact, ...] = field(default=(), metadata={LISTED: True})

    def __iter__(self) -> Iterator[StatedFact]:
        return iter(self.facts)

    def __len__(self) -> int:
        return len(self.facts)

    def __repr__(self) -> str:
        return f"<proof of {len(self)} {'fact' if len(self) == 1 else 'facts'}>"

    @property
    def places(self) -> tuple[str, ...]:
        """FILE:LINE of each fact that an entry says."""
        return tuple(fact.place for fact in self.facts if fact.place)


NO_PROOF = Proof()


# Places, parts and sets -----------------------------------------------------------------------


@value_class
class OwnUnit:
    """A unit of one's own that is of the set, and its state at the place."""

    unit: str
    state: str


@value_class
class SetRow:
    """One answer of takers, donors, parts, sisters or shares."""

    set: str
    position: str = ""
    for_: str = ""
    """Of donors: the wanted position."""
    part: str | None = None
    parts: tuple[str, ...] = ()
    assembly: str = ""
    """Of shares."""
    kind: str | None = None
    """Of shares: the recorded kind of the assembly."""
    role: str = ""
    """Of parts: how the part comes to go there."""
    sets: tuple[str, ...] = ()
    """Of parts: the sets that are known to have it."""
    standing: str
    best: float
    certainty: float
    bounds: Interval | None
    """Of a certainty that was drawn at random."""
    weighed: str
    best_proven: bool
    basis: tuple[str, ...]
    work: tuple[str, ...]
    cautions: tuple[str, ...]
    warnings: tuple[str, ...]
    differs: tuple[str, ...]
    proof: Proof
    """The best proof."""
    proofs: tuple[Proof, ...] = ()
    """All that are minimal, where they were asked for."""
    all_proofs: bool | None = None
    """Whether these are all there are; None where they were not asked for."""
    against: Proof = NO_PROOF
    no: float = 0.0
    """How certain it is that it does not go."""
    units: tuple[OwnUnit, ...] = ()


@value_class
class WhyNotReason:
    """One reason why a set is not among the answers, and what would settle it."""

    rule: str
    says: str
    settle: str | None
    facts: tuple[StatedFact, ...]


@value_class
class WhyNotRow:
    """Why a set is not among the answers, at one place."""

    set: str
    verdict: str
    for_: str = ""
    reasons: tuple[WhyNotReason, ...]
    position: str = ""
    certainty: float | None = None
    proof: Proof = NO_PROOF
    against: Proof = NO_PROOF


@value_class
class FoundName:
    """A name near a text: of what kind of thing, and how it was met."""

    kind: str
    name: str
    met: str
    by: str


@value_class
class FaultyPlace:
    """A fault that a set may have; `fault` is None for none of these."""

    fault: str | None
    in_: str | None
    position: str | None
    signs: tuple[str, ...]
    check: str
    cure: str
    certainty: float | None
    weighed: str | None
    basis: str
    counted: tuple[int, ...]
    """How often it was found, of how many that were looked at."""
    interval: Interval | None
    probability: float | None = None
    """Where signs were given."""
    cautions: tuple[str, ...]
    proof: Proof


# Which set is it, which are one design --------------------------------------------------------


@value_class
class LookedAt:
    """What one thing that was seen says for or against a set."""

    key: str
    seen: str
    recorded: tuple[str, ...]
    on: str
    certainty: float
    bits: float
    facts: tuple[str, ...]
    """Ids."""


@value_class
class PossibleSet:
    """A set that it may be; without `set` a sister that is not recorded, without `family` none of these."""

    set: str | None
    family: str | None
    probability: float
    fit: float
    for_: tuple[LookedAt, ...]
    against: tuple[LookedAt, ...]
    unknown: int


@value_class
class NextLook:
    """Where it is worth to look next."""

    key: str
    bits: float
    tells_apart: int
    of: int
    says: str


@value_class
class PairKey:
    """What one key says for or against two being one."""

    key: str
    bits: float


@value_class
class LikelyPair:
    """Two sets, or two parts, that may be one design."""

    sets: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    probability: float
    bits: float
    for_: tuple[PairKey, ...]
    against: tuple[PairKey, ...]
    would_settle_it: str
    add: str
    """The command that would say so."""
    others_of_the_two_families: int


@value_class
class DoubtfulFact:
    """A fact that is worth looking at: by how many bits the doubt would fall, and what to do."""

    id: str = called("fact")
    says: str
    fall_bits: float
    answers: int
    certainty: float
    to_do: str
    cautions: tuple[str, ...]


@value_class
class AlikeDoubts:
    """Facts that are as doubtful as each other, each of as many answers."""

    facts: tuple[str, ...]
    """Ids."""
    answers: int


@value_class
class DifferingShares:
    """How often two sisters, and two other sets, differ in a key; of sisters also key by key."""

    sisters: float
    others: float
    sisters_by_key: Mapping[str, float] = called("sisters by key")


@value_class
class LooksTried:
    """How often, of so many tries, what was right came first, and what was given 0.9 or more."""

    tried: str
    """What was hidden and looked for: `sets`, `families`, `sister`, `kin` or `gone`."""
    tries: int
    first: int
    sure: int
    sure_and_right: int = called("sure_and_right")


@value_class
class ChanceBand:
    """How often what was given a chance in a band was true."""

    from_: float
    to: float
    given: int
    true: int


@value_class
class RebadgesTried:
    """How often hidden rebadges came back."""

    hidden: int
    joined_otherwise: int
    """So many more hide nothing, as others join their sets."""
    first: Mapping[str, int]
    """How many came back among the first so many."""
    bands: tuple[ChanceBand, ...]


@value_class
class GradeTried:
    """How often a grade held, where it was tried by hand."""

    grade: str
    tried: int
    held: int
    said: float
    """The mean certainty that had been said."""
    mean: float
    interval: Interval


# A page, a query ------------------------------------------------------------------------------


@value_class
class ArrivalKey:
    """One thing recorded of a set that is to be opened."""

    key: str
    value: str


@value_class
class ArrivalLine:
    """What is said in a line, the smaller lines below it, and the photographs that it rests on."""

    says: str
    below: tuple[str, ...]
    photos: tuple[str, ...]


@value_class
class ArrivalSection:
    """A heading and its lines."""

    title: str
    lines: tuple[ArrivalLine, ...]


@value_class
class QueryParameter:
    """What a query may be given."""

    name: str
    kind: str
    needed: bool
    says: str


@value_class
class QueryShipped:
    """A query that comes with the program."""

    query: str
    title: str
    asks: str
    parameters: tuple[QueryParameter, ...]


# Belts ----------------------------------------------------------------------------------------


@value_class
class BeltSection:
    """The section of a belt."""

    form: str
    sizes_mm: tuple[float, ...]


@value_class
class BeltThere:
    """A recorded belt that goes on a path."""

    belt: str
    section: BeltSection
    inside_length_mm: float
    stretch: float


@value_class
class ORingThere:
    """An O-ring of a standard size that goes on a path."""

    size: str
    inside_diameter_mm: float
    section_mm: float
    inside_length_mm: float
    length_plus_minus_mm: float


@value_class
class AsSold:
    """What a belt may be off as it is sold, by its class of tolerance."""

    class_: str = ""
    thickness_plus_minus_mm: float | None = None
    length_plus_minus_mm: float | None = None
    stretch: Interval | None = None
    speed_change: Interval | None = None
    source: str = ""
    window_mm: Interval | None = None


@value_class
class Assumption:
    """What was assumed, and why."""

    what: str
    value: str
    source: str


@value_class
class BeltPlaceFound:
    """A place that takes a belt that was found."""

    set: str
    position: str
    standing: str
    best: float
    basis: tuple[str, ...]
    proof: Proof = NO_PROOF


@value_class
class PossibleBelt:
    """A recorded belt that a measured one can be; `belt` is None for none of these."""

    belt: str | None
    also: tuple[str, ...]
    probability: float
    sets: tuple[str, ...]
    places: tuple[BeltPlaceFound, ...]


@value_class
class BeltOfSet:
    """The belt of one set of a family, and whether it agrees with the others."""

    set: str
    position: str
    belt: str | None
    standing: str
    certainty: float
    stretch: float | None
    off_mm: float | None
    agrees: bool | None
    proof: Proof


# The shelf ------------------------------------------------------------------------------------


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


# Things and faults ----------------------------------------------------------------------------


@value_class
class ThingShown:
    """All that is known of one thing, one fact or one event of the shelf; what does not apply is left out."""

    kind: str
    name: str = ""
    also: tuple[str, ...] = ()
    entries: tuple[EntryWritten, ...] = ()
    facts: tuple[StatedFact, ...] = ()
    withdrawn_facts: tuple[StatedFact, ...] = ()
    mentions: tuple[EntryWritten, ...] = ()
    ground: tuple[EntryWritten, ...] = ()
    """What the trade's ground says of it."""
    from_: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Of each key, whether it is of the folder, of the ground, or holds by the name alone."""
    history: tuple[ShelfEvent, ...] = ()
    withdrawn: tuple[ShelfEvent, ...] = ()
    places: tuple[PlaceNow, ...] = ()
    wants: tuple[str, ...] = ()
    met: tuple[str, ...] = ()
    left: int | None = None
    where: str | None = None


@value_class
class FileFault:
    """What is wrong or doubtful in a file of the folder, and what would be right."""

    file: str | None
    line: int | None
    column: int | None
    code: str
    says: str
    mend: str
