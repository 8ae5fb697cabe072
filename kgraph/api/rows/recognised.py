"""Rows about what a set may be, what may be one design, and what is in doubt."""

from __future__ import annotations

from collections.abc import Mapping

from kgraph.api.decoding import called, value_class
from kgraph.api.rows.proofs import Proof


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
    proof: Proof
    """The fact itself, with where it stands."""


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
