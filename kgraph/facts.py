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
    sources: tuple[str, ...] = ()
    by: str = ""
    date: str = ""
    note: str = ""
    trust: float = 1.0
    photos: tuple[str, ...] = ()
    page: str = ""
    via: str = ""

    @property
    def source(self) -> str:
        """What it stands in, all on one line."""
        return ", ".join(self.sources)

    @property
    def told(self) -> str:
        """How it is known, where it stands and with which page, by whom, by whose folder, and when."""
        via = f"via {self.via}" if self.via else ""
        said = (self.grade, self.source, self.page_text, self.who, via, self.date)
        return ", ".join(v for v in said if v)

    @property
    def who(self) -> str:
        """Who says it, but where a source such as "bench book, EV" has said so already."""
        return "" if self.by in self.source.split(", ") else self.by

    @property
    def page_text(self) -> str:
        """Where in the source it stands."""
        return f"page {self.page}" if self.page.isdigit() else self.page

    @property
    def pictured(self) -> str:
        """The photographs that it rests on, by their paths; "" where there is none."""
        return f"photo {', '.join(self.photos)}" if self.photos else ""

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


class KindRules(NamedTuple):
    """How parts of a kind compare by size (see `records.Kind`), and its cautions."""

    generic: bool = False
    compare: tuple[tuple[str, str], ...] = ()
    certainty: float | None = None
    cautions: tuple[Name, ...] = ()
    perishable: bool = False
    sound: float | None = None


class PlaceRules(NamedTuple):
    """What must match at a position, its cautions, and whether either holds by its name alone."""

    must_match: tuple[str, ...] = ()
    cautions: tuple[Name, ...] = ()
    by_name: bool = False
