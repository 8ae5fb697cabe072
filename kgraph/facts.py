"""A fact with all its evidence: what every question walks over, and nothing that takes long to load."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, TypeVar

from kgraph.claims import WITH_EXCEPTIONS, Claim
from kgraph.problems import Where

if TYPE_CHECKING:
    from kgraph.names import Name
    from kgraph.records import Statement

SomeClaim = TypeVar("SomeClaim")


class Evidence(NamedTuple):
    """One saying of a fact: where, by which grade, how certain; `trust` is in the certainty already."""

    where: Where
    how: str
    certainty: float
    source: str = ""
    by: str = ""
    date: str = ""
    note: str = ""
    trust: float = 1.0
    photos: tuple[str, ...] = ()
    page: str = ""
    via: str = ""

    @property
    def grade(self) -> str:
        """The grade in words, with the trust where it is not whole."""
        trust = "" if self.trust == 1 else f"trust {self.trust:.4g}"
        return ", ".join(v for v in (self.how, trust) if v)


class Fact(NamedTuple):
    """One fact with all its evidence."""

    id: str
    kind: str
    claim: Claim
    certainty: float
    evidence: tuple[Evidence, ...] = ()
    record: Statement | None = None
    ids: tuple[str, ...] = ()

    def of(self, sort: type[SomeClaim]) -> SomeClaim:
        """What the fact states, which must be of this sort."""
        assert isinstance(self.claim, sort), (self.kind, sort)
        return self.claim

    @property
    def left_out(self) -> tuple[str, ...]:
        """The keys of what a rebadge or a use leaves out."""
        return self.claim.left_out if isinstance(self.claim, WITH_EXCEPTIONS) else ()

    @property
    def where(self) -> Where | None:
        """Where the strongest saying of the fact stands."""
        return max(self.evidence, key=lambda e: e.certainty).where if self.evidence else None


class PlaceRules(NamedTuple):
    """What must match at a position, its cautions, and whether either holds by its name alone."""

    must_match: tuple[str, ...] = ()
    cautions: tuple[Name, ...] = ()
    by_name: bool = False
