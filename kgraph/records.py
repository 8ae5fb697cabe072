"""What an entry says, typed and checked: one frozen class for each kind of entry.

Names are kept as written beside their key; whom a key means (an `also` name, a set or an
assembly) is decided by :mod:`kgraph.collection`, which sees all entries.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, ClassVar, Self, dataclass_transform

from kgraph.names import Name
from kgraph.problems import Where

if TYPE_CHECKING:
    from kgraph.belt_sizes import Section
    from kgraph.forces import Pull
    from kgraph.money import Money

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


@dataclass_transform(kw_only_default=True, frozen_default=True)
class Record:
    """Named values, given by keyword; what is left out has the default of its class. Equal by value.

    A type checker takes it for a frozen dataclass. Python does not make it one: to make so many costs
    more than to read a file.
    """

    _fields: ClassVar[tuple[str, ...]] = ()

    def __init_subclass__(cls) -> None:
        cls._fields = tuple(dict.fromkeys([*cls._fields, *cls.__annotations__]))

    def __init__(self, **given: Any) -> None:
        object.__setattr__(self, "__dict__", given)

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError(f"{type(self).__name__}.{name} cannot be changed")

    def changed(self, **new: Any) -> Self:
        """The same with other values of some fields."""
        return type(self)(**{**{k: v for k, v in vars(self).items() if k in self._fields}, **new})

    def _values(self) -> tuple[Any, ...]:
        return tuple([getattr(self, name) for name in self._fields])

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Record) and type(self) is type(other) and self._values() == other._values()

    def __hash__(self) -> int:
        return hash(self._values())

    def __repr__(self) -> str:
        pairs = zip(self._fields, self._values(), strict=True)
        return f"{type(self).__name__}({', '.join(f'{name}={value!r}' for name, value in pairs)})"


class Entry(Record):
    """What every entry has: its kind, where it stands, and its pairs as written."""

    kind: str
    where: Where
    pairs: tuple[tuple[str, Value], ...] = ()

    def states(self, key: str) -> bool:
        """Whether a key is written, be it with nothing: `must match: []` says that nothing must match."""
        return any(written == key for written, _ in self.pairs)


KEPT_PHOTO = re.compile(r"photos/([0-9a-f]{16})\.(?:jpg|png|webp)\Z")
"""The path of a picture as it is kept: under the first 16 hex digits of its SHA-256."""


def photos_of(entry: Entry) -> tuple[str, ...]:
    """The pictures that an entry names, whatever kind of entry it is."""
    found: list[str] = []
    for key, value in entry.pairs:
        if key == "photo":
            found += [value] if isinstance(value, str) else [v for v in value if isinstance(v, str)]
    return tuple(p for p in found if p.strip())


SAID_BESIDE = frozenset({"source", "by", "date", "page", "photo"})
"""Keys of an entry of a thing that tell who says it and where it stands, and nothing of the thing itself."""


class Thing(Entry):
    """A declared thing: its name, its other spellings and its recorded attributes.

    `sources` are what the entry stands in, `via` is whose folder it came by.
    `called` is the name that it is shown by since it was renamed at `date`; it is in `also` too.
    `corrects` is the id of the entry that was taken back for it.
    """

    name: Name
    also: tuple[Name, ...] = ()
    called: Name | None = None
    sources: tuple[Name, ...] = ()
    via: tuple[Name, ...] = ()
    corrects: str = ""
    date: str = ""
    attributes: tuple[tuple[str, Value], ...] = ()


class SetModel(Thing):
    """A model of set; `badge` and `model` are its name taken apart."""

    badge: str
    model: str


class Assembly(Thing):
    """A design shared by sets, with the places that belong to it."""

    sort: str = ""
    positions: tuple[Name, ...] = ()


class Part(Thing):
    """A part design.

    `inside_length_mm` is around the inside at rest, in mm, where one is written. Of a part that is no belt
    it means nothing, which :meth:`kgraph.collection.Collection.inside_length_mm` can tell.
    """

    sort: str = ""
    numbers: tuple[tuple[str, str], ...] = ()
    made: str = ""
    section: Section | None = None
    inside_length_mm: float | None = None
    hardness: float | None = None


class Position(Thing):
    """More about a named place; `perishable`: what is there spoils with age, used or not."""

    must_match: tuple[str, ...] = ()
    cautions: tuple[Name, ...] = ()
    perishable: bool | None = None


class Kind(Thing):
    """How parts of a kind compare; `certainty` is that of equal size meaning the same article.

    `perishable`: parts of it spoil with age, used or not. `sound`: how surely one that nobody looked at is
    sound.
    """

    generic: bool | None = None
    perishable: bool | None = None
    sound: float | None = None
    compare: tuple[tuple[str, str], ...] = ()
    certainty: float | None = None
    cautions: tuple[Name, ...] = ()


class Source(Thing):
    """Where facts come from. `trust` scales the certainty of all that it says; None: not at all."""

    type: str = ""
    trust: float | None = None


class Via(Thing):
    """Somebody whose folder was merged. `trust` scales the certainty of all that came by it."""

    trust: float | None = None


class Grade(Thing):
    """The certainty that facts of a grade are given in this folder."""

    certainty: float


class Caution(Thing):
    """The text of a caution."""

    text: str


class Unit(Thing):
    """One physical set: `state` maps positions to what was found there, `seen` keys to what was seen of it.

    `set` is None while nobody knows what it is. `cost`: what was paid for it.
    """

    set: Name | None = None
    seen: tuple[tuple[Name, tuple[str, ...]], ...] = ()
    role: str = ""
    keep: float | None = None
    state: tuple[tuple[Name, str], ...] = ()
    wants: tuple[Name, ...] = ()
    cost: Money | None = None
    hours: float | None = None


class Stock(Thing):
    """Loose parts: `name` is the part."""

    count: int = 1
    place: str = ""


class Statement(Entry):
    """What every fact may carry beside what it states; `trust` scales the certainty of this saying.

    `sources` are all that the saying stands in. `via` is whose folder it came by, and then from whom that
    folder had it.
    `corrects` is the id that was withdrawn for it: a withdrawal of that id does not take this saying back.
    """

    how: str = ""
    certainty: float | None = None
    trust: float | None = None
    sources: tuple[Name, ...] = ()
    by: str = ""
    date: str = ""
    note: str = ""
    photos: tuple[str, ...] = ()
    page: str = ""
    own_id: str = ""
    corrects: str = ""
    via: tuple[Name, ...] = ()


class Rebadge(Statement):
    """One design under two badges."""

    sets: tuple[Name, ...]
    exceptions: tuple[Name, ...] = ()


class Uses(Statement):
    """`owner` is built on `assembly`."""

    assembly: Name
    owner: Name
    exceptions: tuple[Name, ...] = ()


class Takes(Statement):
    """At this place this part is fitted."""

    part: Name
    owner: Name
    position: Name
    role: str = "original"


class Same(Statement):
    """One part under two numbers."""

    parts: tuple[Name, ...]


class Replaces(Statement):
    """`new` goes wherever `old` goes."""

    new: Name
    old: Name


class Fits(Statement):
    """What `owner` has at `position` was fitted to `to` at `at`."""

    owner: Name
    position: Name
    to: Name
    at: Name
    both_ways: bool = False
    work: str = ""


class Refuses(Statement):
    """A part, or what set `item` has at `item_position`, does not go at this place."""

    item: Name
    item_position: Name | None
    owner: Name
    position: Name


class Distinct(Statement):
    """Two sets that were compared and are two designs."""

    sets: tuple[Name, ...]


class Fault(Statement):
    """What goes wrong with `position` of `owner`: its signs, what to check first, and what cures it."""

    fault: Name
    owner: Name
    position: Name
    signs: tuple[str, ...] = ()
    check: str = ""
    cure: str = ""


class Pulley(Record):
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


class Done(Statement):
    """What happened at a place of a unit, what it cost and how many hours it took."""

    position: Name
    cost: Money | None = None
    hours: float | None = None


class Taken(Done):
    """A removal from a unit; `to` is where it went, if anywhere that is recorded."""

    unit: Name
    to: Name | None = None
    at: Name | None = None
    owed: bool = False


class Restored(Done):
    """Something owed was given back to a unit."""

    to: Name
    part: Name | None = None


class Fitted(Done):
    """A loose part was put in a unit at a place."""

    to: Name
    part: Name


class Inspected(Done):
    """What was found at a place of a unit when somebody looked."""

    unit: Name
    state: str


class Withdraw(Statement):
    """An earlier fact is taken back: all its evidence, or what one source, person or folder said.

    What the one who withdraws (`by`) said, if that is part of it; all of it where `every` is set.
    """

    target: str
    why: str = ""
    every: bool = False
