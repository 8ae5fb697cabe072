"""What an entry says, typed and checked: one frozen dataclass for each kind of entry.

Names are kept as written beside their key; whom a key means (an `also` name, a set or an
assembly) is decided by :mod:`kgraph.collection`, which sees all entries.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from kgraph.names import Name
from kgraph.problems import Where
from kgraph.quantities import Pull, Section

Value = str | tuple["Value", ...] | Mapping[str, "Value"]
"""A recorded value as written: text, a list, or a mapping."""
Plain = str | list["Plain"] | dict[str, "Plain"]
"""The same as what is written anew or shown as JSON holds it."""


def plain(value: Value) -> Plain:
    """A recorded value as texts, lists and objects."""
    if isinstance(value, str):
        return value
    if isinstance(value, Mapping):
        return {key: plain(inner) for key, inner in value.items()}
    return [plain(inner) for inner in value]


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """What every entry has: its kind, where it stands, and its pairs as written."""

    kind: str
    where: Where
    pairs: tuple[tuple[str, Value], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing(Entry):
    """A declared thing: its name, its other spellings and its recorded attributes."""

    name: Name
    also: tuple[Name, ...] = ()
    attributes: tuple[tuple[str, Value], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SetModel(Thing):
    """A model of set; `badge` and `model` are its name taken apart."""

    badge: str
    model: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Assembly(Thing):
    """A design shared by sets, with the places that belong to it."""

    sort: str = ""
    positions: tuple[Name, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Part(Thing):
    """A part design. `inside_length_mm` is around the inside at rest, in mm."""

    sort: str = ""
    numbers: tuple[tuple[str, str], ...] = ()
    made: str = ""
    section: Section | None = None
    inside_length_mm: float | None = None
    hardness: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Position(Thing):
    """More about a named place."""

    must_match: tuple[str, ...] = ()
    cautions: tuple[Name, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind(Thing):
    """How parts of a kind compare; `certainty` is that of equal size meaning the same article."""

    generic: bool | None = None
    compare: tuple[tuple[str, str], ...] = ()
    certainty: float | None = None
    cautions: tuple[Name, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Source(Thing):
    """Where facts come from. `trust` scales the certainty of all that it says; None: not at all."""

    type: str = ""
    trust: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Grade(Thing):
    """The certainty that facts of a grade are given in this folder."""

    certainty: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution(Thing):
    """The text of a caution."""

    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit(Thing):
    """One physical set: `state` maps positions to what was found there."""

    set: Name
    role: str = ""
    keep: float | None = None
    state: tuple[tuple[Name, str], ...] = ()
    wants: tuple[Name, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock(Thing):
    """Loose parts: `name` is the part."""

    count: int = 1
    place: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Statement(Entry):
    """What every fact may carry beside what it states; `trust` scales the certainty of this saying."""

    how: str = ""
    certainty: float | None = None
    trust: float | None = None
    source: Name | None = None
    by: str = ""
    date: str = ""
    note: str = ""
    own_id: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rebadge(Statement):
    """One design under two badges."""

    sets: tuple[Name, ...]
    exceptions: tuple[Name, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Uses(Statement):
    """`owner` is built on `assembly`."""

    assembly: Name
    owner: Name
    exceptions: tuple[Name, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Takes(Statement):
    """At this place this part is fitted."""

    part: Name
    owner: Name
    position: Name
    role: str = "original"


@dataclass(frozen=True, slots=True, kw_only=True)
class Same(Statement):
    """One part under two numbers."""

    parts: tuple[Name, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Replaces(Statement):
    """`new` goes wherever `old` goes."""

    new: Name
    old: Name


@dataclass(frozen=True, slots=True, kw_only=True)
class Fits(Statement):
    """What `owner` has at `position` was fitted to `to` at `at`."""

    owner: Name
    position: Name
    to: Name
    at: Name
    both_ways: bool = False
    work: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Refuses(Statement):
    """A part, or what set `item` has at `item_position`, does not go at this place."""

    item: Name
    item_position: Name | None
    owner: Name
    position: Name


@dataclass(frozen=True, slots=True, kw_only=True)
class Pulley:
    """One pulley of a run; lengths in mm.

    `errors`: (measure, its error in mm, whether it was said to be `about`) for each that states one.
    """

    name: str
    x_mm: float
    y_mm: float
    diameter_mm: float
    outside: bool = False
    drives: bool = False
    rpm: float | None = None
    capstan_mm: float | None = None
    errors: tuple[tuple[str, float, bool], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Run(Statement):
    """The path of a belt; `stretch` is what is wanted when fitted, as fractions."""

    position: Name
    owner: Name
    pulleys: tuple[Pulley, ...]
    stretch: tuple[float, float] | None = None
    pull: Pull | None = None

    @property
    def pull_N_m(self) -> float | None:
        """The torque of the load, where one is recorded."""
        return self.pull.torque_nm if self.pull else None

    @property
    def pull_at(self) -> str:
        """The shaft at which that torque is measured, as written; empty where it is not said."""
        return self.pull.at if self.pull else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken(Statement):
    """A removal from a unit; `to` is where it went, if anywhere that is recorded."""

    position: Name
    unit: Name
    to: Name | None = None
    at: Name | None = None
    owed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Restored(Statement):
    """Something owed was given back to a unit."""

    position: Name
    to: Name
    part: Name | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Withdraw(Statement):
    """An earlier fact is taken back: all its evidence, or what one source said."""

    target: str
    why: str = ""
