"""What questions may ask of a folder's entries and facts, whoever holds them.

:class:`Names` is whom a name means and what the entries of a thing say; :class:`Facts` is what leads from
one thing to another. Two holders answer: :mod:`kgraph.source.memory` has read the whole folder,
:mod:`kgraph.source.fetched` fetches through the index what a question comes to. What is asked here key by
key must not depend on what was asked before: so there is no way to go through "all facts".
Owners are written `s:KEY` (a set) and `a:KEY` (an assembly).
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol, TypeVar

from kgraph import mains, records, trade, words
from kgraph.facts import Fact, PlaceRules
from kgraph.names import Name, compared, name

_Said = TypeVar("_Said", bound=records.Thing)

if TYPE_CHECKING:
    # Nothing of it is there at run time: to make a protocol takes a hundredth of the time of a question.
    K = TypeVar("K", contravariant=True)
    V = TypeVar("V", covariant=True)
    D = TypeVar("D")

    class Lookup(Protocol[K, V]):
        """What is asked key by key."""

        def __getitem__(self, key: K, /) -> V:
            """What is under a key; raises KeyError."""

        def __contains__(self, key: object, /) -> bool:
            """Whether anything is under a key."""

        def get(self, key: K, default: D, /) -> V | D:
            """What is under a key, or the default."""


class Place(NamedTuple):
    """A position on a set or assembly."""

    owner: str
    position: str


class Link(NamedTuple):
    """A `rebadge` or `uses` seen from one of its ends: what lies at the other, and what it leaves out."""

    other: str
    fact: Fact
    left_out: frozenset[str]
    to_assembly: str
    """For `uses`, the assembly whose declared places the link carries; else ""."""


class KindRules(NamedTuple):
    """How parts of a kind compare by size (see `records.Kind`), and its cautions."""

    generic: bool = False
    compare: tuple[tuple[str, str], ...] = ()
    certainty: float | None = None
    cautions: tuple[Name, ...] = ()
    perishable: bool = False


UNKNOWN_SET = "?"
"""What the key begins with by which a unit stands for its set while nobody knows that; no name folds so."""

Stated = tuple[Fact, records.Withdraw | None]
"""A fact, and the withdrawal that took it back, if one did."""


class Names(ABC):
    """Whom a name means (an `also` name stands for its thing), and what the entries of a thing say."""

    things: Mapping[str, Lookup[str, list[records.Thing]]]
    """Kind -> key -> the entries that declare the thing; loose parts by whichever name of the part."""
    aliases: Mapping[str, Lookup[str, str]]
    ambiguous: Mapping[str, Lookup[str, set[str]]]
    spelt: Mapping[str, Lookup[str, str]]
    """Kind -> key -> the name as it is first used."""
    features: Lookup[str, str]
    """Key -> name as written of what an `except` names: a position, an assembly or a feature."""
    assemblies: Container[str]
    """The keys of what is used as an assembly."""
    grades: Lookup[str, float]
    """Key -> certainty of every grade, those that need no entry among them."""
    has_other_names: bool
    """Whether any `also` name stands for a thing."""
    laid: Lookup[str, trade.Laid]
    """Kind -> the ground as it lies under the folder, for the kinds that it has."""
    told_otherwise: Mapping[str, tuple[Fact, ...]]
    """Id of a fact -> the facts that were said, where one pair is said with unlike exceptions."""

    def __init__(self) -> None:
        self._rules: dict[str, PlaceRules] = {}

    # What only the holder can tell.

    @abstractmethod
    def known(self, kind: str) -> dict[str, str]:
        """Key -> name of every thing of a kind, declared or used."""

    @abstractmethod
    def parts_numbered(self, number: str) -> set[str]:
        """The parts that have this maker's number (its key)."""

    @abstractmethod
    def declared_all(self, kind: str) -> Mapping[str, list[records.Thing]]:
        """Key -> entries of every declared thing of a kind of which a folder has few: units, loose parts."""

    @abstractmethod
    def events(self) -> Sequence[records.Statement]:
        """Every event of the shelf, in the order of the entries."""

    @abstractmethod
    def withdrawals(self, *targets: str) -> Sequence[records.Withdraw]:
        """The withdrawals of what has one of these ids, in the order of the entries."""

    @abstractmethod
    def with_id(self, text: str) -> Sequence[records.Statement]:
        """The statements with this id, of their own or of what they say, in the order of the entries."""

    @abstractmethod
    def fact_with_id(self, text: str) -> Stated | None:
        """The fact with this id; of several one that nothing took back, if there is one."""

    @abstractmethod
    def naming(self, kind: str, key: str) -> Sequence[records.Entry]:
        """The entries that name a thing, their own name left out, in the order of the entries."""

    @abstractmethod
    def leaving_out(self, key: str) -> Sequence[records.Entry]:
        """The entries whose `except` names it, in the order of the entries."""

    @abstractmethod
    def stated(self, entries: Iterable[records.Entry]) -> Iterator[Stated]:
        """The facts that any of these entries say, whole, each once, in the order of the entries."""

    @abstractmethod
    def spellings(self, loose: str) -> Iterator[tuple[str, str, str]]:
        """(kind, name, one spelling of it) of what is spelt with these letters and digits in a row."""

    @abstractmethod
    def spelt_loosely(self) -> Iterable[str]:
        """The letters and digits of every spelling, perhaps of some that there were."""

    # What follows from it.

    def key(self, kind: str, key: str) -> str:
        """The key of the thing that a folded name stands for, through `also` names of folder and ground.

        Stock is of parts.
        """
        own = self.own_key(kind, key)
        laid = self.laid.get(kind, None) if own == key and kind in trade.KINDS else None
        return laid.names.get(key, key) if laid else own

    def own_key(self, kind: str, key: str) -> str:
        """The same through `also` names of the folder alone."""
        return self.aliases["part" if kind == "stock" else kind].get(key, key)

    def ground(self, kind: str, key: str) -> tuple[records.Thing, ...]:
        """The entries of the ground that hold of a thing."""
        laid = self.laid.get(kind, None) if kind in trade.KINDS else None
        return laid.under.get(key, ()) if laid else ()

    def owner(self, key: str) -> str:
        """The owner that `in:` means: a declared set, else an assembly, else a set."""
        set_key, assembly = self.key("set", key), self.key("assembly", key)
        if set_key in self.things["set"]:
            return f"s:{set_key}"
        if assembly in self.things["assembly"] or assembly in self.assemblies:
            return f"a:{assembly}"
        return f"s:{set_key}"

    def text(self, kind: str, key: str) -> str:
        """The name of a thing as first written where it is declared, else where it is used."""
        declared = self.things[kind].get(key, ())
        if declared:
            return declared[0].name.text
        if kind == "set" and key.startswith(UNKNOWN_SET):
            return "a set not known yet"
        if used := self.spelt[kind].get(key, "") or self.features.get(key, ""):
            return used
        below = self.ground(kind, key)
        return below[0].name.text if below else key

    def owner_text(self, owner: str) -> str:
        """The name of a set or assembly from its owner key."""
        return self.text("set" if owner[0] == "s" else "assembly", owner[2:])

    def declared(self, kind: str, key: str) -> records.Thing | None:
        """The first entry that declares a thing, or None."""
        found = self.things[kind].get(key, ())
        return found[0] if found else None

    def attribute(self, kind: str, key: str, attribute: str) -> list[records.Value]:
        """All values recorded for an attribute of a thing, in the order of the entries.

        An attribute is one however it is written: Mains is mains.
        """
        found: list[records.Value] = []
        wanted = compared(attribute)
        for thing in self.things[kind].get(key, ()):
            found += [v for k, v in thing.attributes if compared(k) == wanted and v not in found]
        return found

    def is_named(self, kind: str, key: str) -> bool:
        """Whether a thing of a kind is declared or used."""
        return key in self.things[kind] or key in self.spelt[kind]

    def knows(self, kind: str, key: str) -> bool:
        """Whether a thing of a kind is declared or used, or the ground knows it."""
        return self.is_named(kind, key) or bool(self.ground(kind, key))

    def leaves_out(self, key: str) -> bool:
        """Whether some `except` names it, be it a position or any feature, but no assembly."""
        return key in self.features and not self.knows("assembly", key)

    def meanings(self, kind: str, key: str) -> set[str]:
        """The things that an `also` name may mean, where there are several."""
        return self.ambiguous[kind].get(key, set())

    def position_rules(self, key: str) -> PlaceRules:
        """What must match at a position, and its cautions, each once.

        By the entries of the folder; what they do not state by the ground; what neither knows by its name.
        """
        if key not in self._rules:
            self._rules[key] = self._position_rules(key)
        return self._rules[key]

    def _position_rules(self, key: str) -> PlaceRules:
        own = [p for p in self.things["position"].get(key, ()) if isinstance(p, records.Position)]
        below = [p for p in self.ground("position", key) if isinstance(p, records.Position)]
        matching, warning = _stating("must match", own, below), _stating("caution", own, below)
        match = {compared(a): a for p in reversed(matching) for a in reversed(p.must_match)}
        cautions = {n.key: n for p in warning for n in p.cautions}
        said = PlaceRules(tuple(reversed(match.values())), tuple(cautions.values()))
        guarded = not below and not (matching and not match) and not (matching and warning)
        if not guarded or not any(map(mains.speaks_of_mains, self._names_of_position(key))):
            return said
        return PlaceRules(
            said.must_match if matching else (mains.ATTRIBUTE,),
            said.cautions if warning else (name(mains.CAUTION),),
            by_name=True,
        )

    def _names_of_position(self, key: str) -> Iterable[str]:
        yield self.text("position", key)
        yield from (n.text for t in self.things["position"].get(key, ()) for n in (t.name, *t.also))

    def kind_of(self, part: str) -> str:
        """The key of the kind that a part is of, or ""."""
        for thing in self.things["part"].get(part, ()):
            if isinstance(thing, records.Part) and thing.sort:
                return self.key("kind", name(thing.sort).key)
        return ""

    def belt_kind(self) -> str:
        """The key of the kind that belts are of, also where that is another name of a kind."""
        return self.key("kind", words.FITS_LIKE_BELT)

    def inside_length_mm(self, thing: records.Thing) -> float | None:
        """The inside length that an entry gives to a belt, or to a part of no known kind."""
        if not isinstance(thing, records.Part) or thing.inside_length_mm is None:
            return None
        said = self.key("kind", name(thing.sort).key) if thing.sort else self.kind_of(thing.name.key)
        return thing.inside_length_mm if said in ("", self.belt_kind()) else None

    def kind_rules(self, kind: str) -> KindRules:
        """How parts of a kind compare, and its cautions: by the folder, else by the ground, key by key.

        Of entries that disagree (`check` says so) the more careful one holds.
        """
        own = [k for k in self.things["kind"].get(kind, ()) if isinstance(k, records.Kind)]
        below = [k for k in self.ground("kind", kind) if isinstance(k, records.Kind)]
        said = {key: _stating(key, own, below) for key in ("generic", "compare", "certainty", "caution")}
        certain = [k.certainty for k in said["certainty"] if k.certainty is not None]
        return KindRules(
            generic=bool(said["generic"]) and all(k.generic for k in said["generic"]),
            compare=tuple({a: r for k in said["compare"] for a, r in k.compare}.items()),
            certainty=min(certain, default=None),
            cautions=tuple({n.key: n for k in said["caution"] for n in k.cautions}.values()),
            perishable=any(k.perishable for k in _stating("perishable", own, below)),
        )

    def is_perishable(self, position: str, kind: str = "") -> bool:
        """Whether what is at a position, or a part of a kind, spoils with age, used or not."""
        own = [p for p in self.things["position"].get(position, ()) if isinstance(p, records.Position)]
        below = [p for p in self.ground("position", position) if isinstance(p, records.Position)]
        stated = any(p.perishable for p in _stating("perishable", own, below))
        return stated or self.kind_rules(kind).perishable

    def kind_cautions(self, kind: str) -> tuple[Name, ...]:
        """The cautions of a kind of part, each once."""
        return self.kind_rules(kind).cautions

    def caution_text(self, key: str) -> str | None:
        """What the folder says of a caution, else the ground."""
        of = self.key("caution", key)
        entries = (*self.things["caution"].get(of, ()), *self.ground("caution", of))
        return next((e.text for e in entries if isinstance(e, records.Caution)), None)

    def assembly_kind(self, key: str) -> str | None:
        """What kind of assembly it is, as written."""
        entries = (t for t in self.things["assembly"].get(key, ()) if isinstance(t, records.Assembly))
        return next((t.sort for t in entries if t.sort), None)


def _stating(key: str, own: list[_Said], below: list[_Said]) -> list[_Said]:
    """The entries of the folder that state a key, else those of the ground that do."""
    return [e for e in own if e.states(key)] or [e for e in below if e.states(key)]


class Adjacency:
    """What leads from one thing to another. Every list is in an order that file order does not change."""

    links: Lookup[str, Sequence[Link]]
    taken_at: Lookup[Place, Sequence[tuple[str, str, Fact]]]
    """Place -> (part, role, fact)."""
    takes_of: Lookup[str, Sequence[tuple[Place, str, Fact]]]
    """Part -> (place, role, fact)."""
    same: Lookup[str, Sequence[tuple[str, Fact]]]
    older: Lookup[str, Sequence[tuple[str, Fact]]]
    newer: Lookup[str, Sequence[tuple[str, Fact]]]
    fits_from: Lookup[Place, Sequence[tuple[Place, Fact]]]
    fits_to: Lookup[Place, Sequence[tuple[Place, Fact]]]
    refused_at: Lookup[Place, Sequence[tuple[str | Place, Fact]]]
    """Place -> (the part or place that does not go there, fact)."""
    distinct: Lookup[str, Sequence[tuple[str, Fact]]]
    runs_at: Lookup[Place, Sequence[Fact]]
    """Place -> the recorded paths of its belt."""


class Facts(Adjacency, ABC):
    """Facts as links between places and parts."""

    data: Names
    declares: Lookup[str, frozenset[str]]
    """Assembly -> the places that belong to it."""
    parts_of_kind: Lookup[str, Sequence[str]]
    """Kind -> the parts that are of it, in order."""

    def __init__(self) -> None:
        self.remembered: dict[str, Any] = {}
        """What was worked out once for the whole graph, each under the name of who keeps it."""
        self._equal: dict[tuple[str, bool], list[tuple[str, Fact]]] = {}

    @abstractmethod
    def compare_sizes(self, part: str, forward: bool) -> list[tuple[str, Fact]]:
        """The parts whose size a part agrees with (`forward`), or that agree with it."""

    def like(self, owner: str, position: str) -> Iterable[tuple[str, Fact]]:
        """The owners that one fact makes alike at this position."""
        for link in self.links.get(owner, ()):
            if position in link.left_out:
                continue
            if link.to_assembly and position not in self.declares.get(link.to_assembly, ()):
                continue
            yield link.other, link.fact

    def alike_places(self, place: Place) -> frozenset[Place]:
        """The place and all like it."""
        known: dict[Place, frozenset[Place]] = self.remembered.setdefault("alike places", {})
        if place not in known:
            found, todo = {place}, [place]
            while todo:
                here = todo.pop()
                new = {Place(o, here.position) for o, _ in self.like(*here)} - found
                found |= new
                todo += new
            whole = frozenset(found)
            known.update(dict.fromkeys(whole, whole))
        return known[place]

    def equal_size(self, part: str) -> list[tuple[str, Fact]]:
        """The parts q with size(part, q): part goes where q goes, by one step of equal size."""
        return self._sized(part, True)

    def equal_size_back(self, part: str) -> list[tuple[str, Fact]]:
        """The parts p with size(p, part)."""
        return self._sized(part, False)

    def _sized(self, part: str, forward: bool) -> list[tuple[str, Fact]]:
        asked = part, forward
        if asked not in self._equal:
            self._equal[asked] = self.compare_sizes(*asked)
        return self._equal[asked]
