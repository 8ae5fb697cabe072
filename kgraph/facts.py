"""A fact with all its evidence: what every question walks over, and nothing that takes long to load."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from kgraph.problems import Where

if TYPE_CHECKING:
    from kgraph.names import Name
    from kgraph.records import Statement


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

    @property
    def grade(self) -> str:
        """The grade in words, with the trust where it is not whole."""
        trust = "" if self.trust == 1 else f"trust {self.trust:.4g}"
        return ", ".join(v for v in (self.how, trust) if v)


class Fact(NamedTuple):
    """One fact with all its evidence; `args` are the resolved keys of what it states.

    args by kind: rebadge (owner, owner, except keys); uses (assembly owner, owner, except keys);
    takes (part, owner, position, role); same (part, part); distinct (owner, owner); replaces (new, old); fits
    (owner,
    position, owner, position); refuses (part key or "", owner or "", position or "", owner,
    position); run (owner, position); size (part, part).
    """

    id: str
    kind: str
    args: tuple[Any, ...]
    certainty: float
    evidence: tuple[Evidence, ...] = ()
    record: Statement | None = None
    ids: tuple[str, ...] = ()

    @property
    def where(self) -> Where | None:
        """Where the strongest saying of the fact stands."""
        return max(self.evidence, key=lambda e: e.certainty).where if self.evidence else None


class PlaceRules(NamedTuple):
    """What must match at a position, its cautions, and whether either holds by its name alone."""

    must_match: tuple[str, ...] = ()
    cautions: tuple[Name, ...] = ()
    by_name: bool = False
