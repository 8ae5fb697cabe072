"""Facts and proofs: what an answer rests on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import field
from typing import Any

from kgraph.api.decoding import LISTED, called, value_class

Interval = tuple[float, float]


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
    """An entry of the folder as it is written, and where; of a thing with its id."""

    entry: Mapping[str, Any]
    file: str
    line: int
    id: str = ""
    withdraw: EntryWritten | None = None
    """The entry that took it back, where one did."""


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
