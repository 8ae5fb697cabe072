"""Rows about names, entries, files, grades and queries of a folder; and the page of an arrival."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field

from kgraph.api.decoding import value_class
from kgraph.api.rows.proofs import EntryWritten, Interval, StatedFact
from kgraph.api.rows.shelf import PlaceNow, ShelfEvent


@value_class
class FoundName:
    """A name near a text: of what kind of thing, and how it was met."""

    kind: str
    name: str
    met: str
    by: str


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


@value_class
class ThingShown:
    """All that is known of one thing, one fact or one event of the shelf; what does not apply is left out."""

    kind: str
    name: str = ""
    also: tuple[str, ...] = ()
    entries: tuple[EntryWritten, ...] = ()
    withdrawn_entries: tuple[EntryWritten, ...] = ()
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
