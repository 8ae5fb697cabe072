"""Rows about belts."""

from __future__ import annotations

from kgraph.api.decoding import value_class
from kgraph.api.rows.proofs import NO_PROOF, Interval, Proof


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
