"""Rows about sets, their places and what goes wrong there."""

from __future__ import annotations

from kgraph.api.decoding import value_class
from kgraph.api.rows.proofs import NO_PROOF, Interval, Proof, StatedFact


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
