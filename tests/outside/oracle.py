"""The rules of the contract, stated a second and a third time, apart from the package's own.

The input is a list of plain entries as they stand in the YAML text: dictionaries whose first key is
the kind of entry, whose values are texts, lists or dictionaries. Three engines answer a question:

* ProbLog (problog 2.3, an outside engine) from a logic program: `certainty`, exact;
* sets of minimal proofs (why-provenance, Green, Karvounarakis, Tannen, PODS 2007): `best` and `no`;
* all 2^n worlds of n facts, each either so or not so: everything, by brute force (`worlds`).

The first has its rules as text, the other two share one statement of the rules in Python, with
different values put in for the facts. Of the package only the folding of names is used.

What is fixed here beyond the letter of the contract: a statement is compared after `also` names are
resolved and defaults are filled in; a `withdraw` reaches the entries that carry its `id:`;
`must match` is left out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import combinations
from pathlib import Path
from typing import Any, Generic, Literal, Protocol, TypeVar

import numpy as np
import yaml
from problog import get_evaluatable
from problog.program import PrologString

from kgraph.names import fold

Entry = dict[str, Any]
Owner = tuple[Literal["set", "assembly"], str]
Place = tuple[Owner, str]
Item = tuple[Literal["part"], str] | tuple[Literal["place"], Owner, str]
Key = tuple[str, str]
Question = tuple[str, ...]
"""("takers_part", part), ("takers_place", set, position), ("donors", set, position), ("sisters", set)."""

T = TypeVar("T")

FACT_KINDS = ("rebadge", "uses", "takes", "same", "replaces", "fits", "refuses")
EVIDENCE = ("how", "certainty", "source", "by", "date", "note", "id", "corrects")
GRADES = {
    "fitted": 0.98,
    "measured": 0.95,
    "printed": 0.95,
    "compared": 0.85,
    "photo": 0.70,
    "reported": 0.60,
    "guess": 0.40,
}
SIZE_CERTAINTY = 0.90
BELT = {"section": "0.1 mm", "inside length": "2 %"}
ROUND = {"inside length": Fraction(1), "inside diameter": Fraction(math.pi), "folded": Fraction(2)}
"""How often each way to write the length of a belt goes round it, the one that counts first."""
MOST_WORLDS = 20
"""The most facts for which all worlds are gone through: 2^20 of them take some seconds."""
NEAR = 1e-12


@dataclass(frozen=True)
class Result:
    """One answer: exact probability, best single proof, best `no`, and what follows from the two."""

    certainty: float
    best: float
    no: float
    refused: bool
    disputed: bool


@dataclass(frozen=True)
class Fact:
    """A statement with the highest certainty that any evidence gives it.

    `says` is the folded statement, its first member the kind; `entries` are the indexes of the entries
    that make it, empty for an equality of sizes; `ways` are the pairs (goes, in place of) of the latter.
    """

    says: tuple[Any, ...]
    certainty: float
    entries: tuple[int, ...] = ()
    ways: tuple[tuple[str, str], ...] = ()


def load(folder: Path) -> list[Entry]:
    """All entries of all `*.yaml` files under a folder, every scalar a text."""
    entries: list[Entry] = []
    for path in sorted(folder.rglob("*.yaml")):
        # The base loader makes nothing but texts, lists and dictionaries, so it is as safe as the safe one.
        entries += yaml.load(path.read_text(encoding="utf-8"), Loader=yaml.BaseLoader) or []  # noqa: S506
    return entries


# ---------------------------------------------------------------------------------------------
# Names and things
# ---------------------------------------------------------------------------------------------


def kind_of(entry: Mapping[str, Any]) -> str:
    """What kind of entry it is: its first key."""
    return next(iter(entry))


def listed(value: object) -> list[str]:
    """A list of texts, whether one or several were written."""
    if value is None or value == "":
        return []
    return [str(v) for v in value] if isinstance(value, list) else [str(value)]


class Names:
    """Which thing a name means, by kind of thing."""

    def __init__(self, entries: Sequence[Entry]) -> None:
        self.known: dict[tuple[str, str], str] = {}
        for entry in entries:
            kind, key = kind_of(entry), fold(str(entry[kind_of(entry)]))
            if kind in ("set", "assembly", "part", "position", "kind"):
                self.known[kind, key] = key
        for entry in entries:
            kind = kind_of(entry)
            for other in listed(entry.get("also")):
                self.known.setdefault((kind, fold(other)), fold(str(entry[kind])))
        self.built_on = {self.key("assembly", str(e["uses"])) for e in entries if kind_of(e) == "uses"}

    def key(self, kind: str, name: str) -> str:
        """The key of the thing of that kind, through `also`; an unknown name is its own thing."""
        return self.known.get((kind, fold(name)), fold(name))

    def owner(self, name: str) -> Owner:
        """A declared set; else an assembly, if declared or built on; else a set."""
        if ("set", fold(name)) in self.known:
            return "set", self.key("set", name)
        key = self.key("assembly", name)
        if ("assembly", fold(name)) in self.known or key in self.built_on:
            return "assembly", key
        return "set", fold(name)

    def excepted(self, name: str) -> str:
        """A name in `except`: of a position, an assembly or a feature."""
        for kind in ("position", "assembly"):
            if (kind, fold(name)) in self.known:
                return self.key(kind, name)
        return fold(name)


# ---------------------------------------------------------------------------------------------
# Statements
# ---------------------------------------------------------------------------------------------

Says = tuple[Any, ...]


def _set(names: Names, name: str) -> Owner:
    return "set", names.key("set", name)


def _except(names: Names, entry: Entry) -> frozenset[str]:
    return frozenset(names.excepted(e) for e in listed(entry.get("except")))


def _rebadge(names: Names, entry: Entry) -> Says:
    pair = frozenset(_set(names, n) for n in entry["rebadge"])
    return "rebadge", pair, _except(names, entry)


def _uses(names: Names, entry: Entry) -> Says:
    built: Owner = ("assembly", names.key("assembly", entry["uses"]))
    return "uses", names.owner(entry["in"]), built, _except(names, entry)


def _takes(names: Names, entry: Entry) -> Says:
    place = names.owner(entry["in"]), names.key("position", entry["position"])
    return "takes", names.key("part", entry["takes"]), *place, fold(entry.get("role", "original"))


def _same(names: Names, entry: Entry) -> Says:
    return "same", frozenset(names.key("part", n) for n in entry["same"])


def _replaces(names: Names, entry: Entry) -> Says:
    return "replaces", names.key("part", entry["replaces"]), names.key("part", entry["old"])


def _fits(names: Names, entry: Entry) -> Says:
    giver = names.owner(entry["fits"]), names.key("position", entry["position"])
    taker = names.owner(entry["to"]), names.key("position", entry.get("at") or entry["position"])
    return "fits", *giver, *taker, fold(entry.get("both ways", "no")) in ("yes", "true")


def _refuses(names: Names, entry: Entry) -> Says:
    item: Item = ("part", names.key("part", entry["refuses"]))
    if "from" in entry:
        item = "place", names.owner(entry["refuses"]), names.key("position", entry["from"])
    return "refuses", item, names.owner(entry["in"]), names.key("position", entry["position"])


READ: dict[str, tuple[Callable[[Names, Entry], Says], tuple[str, ...]]] = {
    "rebadge": (_rebadge, ("rebadge", "except")),
    "uses": (_uses, ("uses", "in", "except")),
    "takes": (_takes, ("takes", "in", "position", "role")),
    "same": (_same, ("same",)),
    "replaces": (_replaces, ("replaces", "old")),
    "fits": (_fits, ("fits", "position", "to", "at", "both ways")),
    "refuses": (_refuses, ("refuses", "in", "position", "from")),
}


def statement(names: Names, entry: Entry) -> tuple[Says, Says]:
    """What an entry states, and whatever else it says that tells it from another statement."""
    read, keys = READ[kind_of(entry)]
    rest = {k: v for k, v in entry.items() if k not in keys and k not in EVIDENCE}
    return read(names, entry), tuple(sorted((k, fold(str(v))) for k, v in rest.items()))


def grades(entries: Sequence[Entry]) -> dict[str, float]:
    """The certainty of each grade, with what the folder says otherwise."""
    own = {fold(e["grade"]): float(e["certainty"]) for e in entries if kind_of(e) == "grade"}
    return {**GRADES, **own}


def _withdrawn(entry: Entry, withdrawals: Sequence[Entry]) -> bool:
    """Whether a `withdraw` of its id reaches this evidence: all of it, or that of one source."""
    return any(
        entry.get("id") == w["withdraw"]
        and ("source" not in w or fold(w["source"]) == fold(entry.get("source", "")))
        for w in withdrawals
    )


def stated(entries: Sequence[Entry], names: Names) -> list[Fact]:
    """Every statement that stands, once, with the highest certainty of its evidence."""
    scale = grades(entries)
    withdrawals = [e for e in entries if kind_of(e) == "withdraw"]
    found: dict[tuple[Says, Says], tuple[float, tuple[int, ...]]] = {}
    for index, entry in enumerate(entries):
        if kind_of(entry) not in FACT_KINDS or _withdrawn(entry, withdrawals):
            continue
        certainty = float(entry.get("certainty", scale[fold(entry.get("how", "reported"))]))
        says = statement(names, entry)
        before, where = found.get(says, (0.0, ()))
        found[says] = max(before, certainty), (*where, index)
    return union_of_exceptions(
        Fact(says, certainty, where) for (says, _), (certainty, where) in found.items()
    )


def union_of_exceptions(facts: Iterable[Fact]) -> list[Fact]:
    """The facts, those that differ in their exceptions alone as one with all of these."""
    found: dict[Says, Fact] = {}
    for fact in facts:
        excepting = fact.says[0] in ("rebadge", "uses")
        about = fact.says[:-1] if excepting else (*fact.says, fact.entries)
        other = found.get(about, fact)
        says = (*about, fact.says[-1] | other.says[-1]) if excepting else fact.says
        entries = tuple(sorted({*fact.entries, *other.entries}))
        found[about] = Fact(says, max(fact.certainty, other.certainty), entries, fact.ways)
    return list(found.values())


# ---------------------------------------------------------------------------------------------
# Sizes
# ---------------------------------------------------------------------------------------------


def number(text: str) -> Fraction | None:
    """A length such as `1.25 mm`, in mm exactly; None for anything else."""
    words = text.split()
    if len(words) != 2 or words[1] != "mm":
        return None
    try:
        return Fraction(words[0])
    except ValueError:
        return None


def section(text: str) -> tuple[str, list[Fraction]]:
    """The form of a section and its sizes in mm, the largest first."""
    form, *rest = text.replace("mm", " ").replace(" x ", " ").split()
    return form, sorted((Fraction(size) for size in rest), reverse=True)


def inside_length(attributes: Mapping[str, str]) -> Fraction | None:
    """The inside length in mm however it was written, or None."""
    for key, scale in ROUND.items():
        value = number(attributes.get(key, ""))
        if value is not None:
            return value * scale
    return None


def near(goes: Fraction, named: Fraction, rule: str) -> bool:
    """Whether two sizes are equal by a rule: `same`, `0.1 mm`, `2 %` of the larger, or `at least`."""
    if rule == "same":
        return goes == named
    if rule == "at least":
        return goes >= named
    amount, unit = rule.split()
    allowed = Fraction(amount) * (max(goes, named) / 100 if unit == "%" else 1)
    return abs(goes - named) <= allowed


def equal_size(
    key: str, goes: Mapping[str, str], named: Mapping[str, str], rule: str, belts: bool
) -> bool | None:
    """Whether one size is equal; None if neither part has it."""
    if belts and key in ROUND:
        a, b = (None if mm is None else mm / ROUND[key] for mm in map(inside_length, (goes, named)))
    elif key not in goes or key not in named:
        return None if key not in goes and key not in named else False
    elif key == "section":
        (form, sizes), (other, others) = section(goes[key]), section(named[key])
        pairs = zip(sizes, others, strict=False)
        return form == other and len(sizes) == len(others) and all(near(x, y, rule) for x, y in pairs)
    else:
        a, b = number(goes[key]), number(named[key])
        if a is None and b is None:
            return rule == "same" and fold(goes[key]) == fold(named[key])
    if a is None or b is None:
        return None if a is b else False
    return near(a, b, rule)


def merged(entries: Sequence[Entry], names: Names, kind: str) -> dict[str, Entry]:
    """The things of a kind by key, with what all their entries say."""
    things: dict[str, Entry] = {}
    for entry in entries:
        if kind_of(entry) == kind:
            things.setdefault(names.key(kind, entry[kind]), {}).update(entry)
    return things


def sizes(entries: Sequence[Entry], names: Names) -> list[Fact]:
    """One fact for each two parts that their sizes make the same article, in one or both directions."""
    kinds = merged(entries, names, "kind")
    parts = merged(entries, names, "part")
    belt = names.key("kind", "belt")
    facts = []
    for p, q in combinations(sorted(parts), 2):
        kind = names.key("kind", parts[p].get("kind", ""))
        if not kind or kind != names.key("kind", parts[q].get("kind", "")):
            continue
        rule = kinds.get(kind, {})
        if fold(rule.get("generic", "yes" if kind == belt else "no")) not in ("yes", "true"):
            continue
        compare = rule.get("compare") or (BELT if kind == belt else {})
        ways = tuple((g, n) for g, n in ((p, q), (q, p)) if _equal(parts[g], parts[n], compare, kind == belt))
        if ways:
            certainty = float(rule.get("certainty", SIZE_CERTAINTY))
            facts.append(Fact(("size", frozenset((p, q))), certainty, (), ways))
    return facts


def _equal(goes: Entry, named: Entry, compare: Mapping[str, str], belts: bool) -> bool:
    verdicts = [equal_size(key, goes, named, rule, belts) for key, rule in compare.items()]
    return True in verdicts and False not in verdicts


# ---------------------------------------------------------------------------------------------
# The folder as a whole
# ---------------------------------------------------------------------------------------------


@dataclass
class Book:
    """All that the rules need of a folder, for one question."""

    names: Names
    facts: list[Fact]
    declares: dict[str, frozenset[str]]
    owners: list[Owner]
    parts: list[str]
    positions: list[str]

    def excepts(self, fact: Fact, position: str) -> bool:
        """Whether the position, or an assembly that declares it, is among the fact's exceptions."""
        return any(e == position or position in self.declares.get(e, ()) for e in fact.says[-1])

    def of(self, kind: str) -> Iterator[tuple[int, Fact]]:
        """The facts of a kind, each with its number."""
        return ((n, f) for n, f in enumerate(self.facts) if f.says[0] == kind)


def _within(value: Any) -> Iterator[Owner]:
    """The sets and assemblies anywhere in a statement."""
    if isinstance(value, tuple) and len(value) == 2 and value[0] in ("set", "assembly"):
        yield value
    elif isinstance(value, tuple | frozenset):
        for inner in value:
            yield from _within(inner)


def _parts(fact: Fact) -> list[str]:
    kind, *rest = fact.says
    if kind == "takes":
        return [rest[0]]
    if kind in ("same", "size"):
        return sorted(rest[0])
    if kind == "refuses":
        return [rest[0][1]] if rest[0][0] == "part" else []
    return list(rest) if kind == "replaces" else []


def _positions(fact: Fact) -> list[str]:
    kind, *rest = fact.says
    if kind == "takes":
        return [rest[2]]
    if kind == "fits":
        return [rest[1], rest[3]]
    if kind == "refuses":
        return [rest[2]] + ([rest[0][2]] if rest[0][0] == "place" else [])
    return []


def book(entries: Sequence[Entry], question: Question) -> tuple[Book, Question]:
    """The folder read for a question, and the question with its names resolved to keys."""
    names = Names(entries)
    facts = stated(entries, names) + sizes(entries, names)
    declares = {
        key: frozenset(names.key("position", p) for p in listed(thing.get("positions")))
        for key, thing in _assemblies(entries, names).items()
    }
    kinds = {"takers_part": ("part",), "sisters": ("set",), "no": ("position",)}.get(
        question[0], ("set", "position")
    )
    asked = (question[0], *(names.key(k, n) for k, n in zip(kinds, question[1:], strict=True)))
    here: set[Owner] = {("set", asked[1])} if "set" in kinds else set()
    owners = {o for f in facts for o in _within(f.says)} | here
    parts = {p for f in facts for p in _parts(f)} | ({asked[1]} if "part" in kinds else set())
    positions = {p for f in facts for p in _positions(f)}
    positions |= {n for k, n in zip(kinds, asked[1:], strict=True) if k == "position"}
    return Book(names, facts, declares, sorted(owners), sorted(parts), sorted(positions)), asked


def _assemblies(entries: Sequence[Entry], names: Names) -> dict[str, Entry]:
    """Assemblies by key; entries that say different positions of one assembly add up."""
    things: dict[str, Entry] = {}
    for entry in entries:
        if kind_of(entry) == "assembly":
            thing = things.setdefault(names.key("assembly", entry["assembly"]), {"positions": []})
            thing["positions"] = thing["positions"] + listed(entry.get("positions"))
    return things


# ---------------------------------------------------------------------------------------------
# The rules in Python, over any values for which + and * make sense
# ---------------------------------------------------------------------------------------------


class Ring(Protocol[T]):
    """What the rules need of the values of facts; + must swallow what adds nothing."""

    zero: T
    one: T

    def fact(self, number: int) -> T:
        """The value of a fact that is said."""

    def plus(self, a: T, b: T) -> T:
        """One or the other holds."""

    def times(self, a: T, b: T) -> T:
        """Both hold."""


class Worlds:
    """A value is the set of worlds in which a thing holds, one bit for each of the 2^n worlds."""

    def __init__(self, facts: int) -> None:
        self.zero = 0
        self.one = (1 << (1 << facts)) - 1

    def fact(self, number: int) -> int:
        """The worlds in which fact `number` holds: those whose index has that bit."""
        width = 1 << number
        block = ((1 << width) - 1) << width
        return self.one // ((1 << 2 * width) - 1) * block

    def plus(self, a: int, b: int) -> int:
        """The worlds in which one or the other holds."""
        return a | b

    def times(self, a: int, b: int) -> int:
        """The worlds in which both hold."""
        return a & b


Proof = frozenset[int]
Proofs = frozenset[Proof]


class Why:
    """A value is the set of minimal proofs, each the numbers of its facts."""

    zero: Proofs = frozenset()
    one: Proofs = frozenset({frozenset()})

    def fact(self, number: int) -> Proofs:
        """One proof: the fact itself."""
        return frozenset({frozenset({number})})

    def plus(self, a: Proofs, b: Proofs) -> Proofs:
        """The minimal ones of both."""
        return minimal(a | b)

    def times(self, a: Proofs, b: Proofs) -> Proofs:
        """The minimal ones of all unions; a fact used twice counts once."""
        return minimal(x | y for x in a for y in b)


def minimal(proofs: Iterable[Proof]) -> Proofs:
    """Those that hold no other: a proof with facts to spare says nothing more."""
    kept: list[Proof] = []
    for proof in sorted(set(proofs), key=len):
        if not any(other <= proof for other in kept):
            kept.append(proof)
    return frozenset(kept)


@dataclass
class Rules(Generic[T]):
    """The rules of section 2 of the contract. All relations are read off finite tables."""

    book: Book
    ring: Ring[T]
    _like: dict[str, dict[tuple[Owner, Owner], T]] = field(default_factory=dict)
    _origin: dict[str, dict[tuple[Owner, str], T]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.alike = self._closure(self.book.parts, self._same_steps())
        self.newer = self._newer()
        self.serves = self._serves()

    def total(self, values: Iterable[T]) -> T:
        """At least one of them."""
        result = self.ring.zero
        for value in values:
            result = self.ring.plus(result, value)
        return result

    def both(self, *values: T) -> T:
        """All of them; stops where there is nothing left."""
        result = self.ring.one
        for value in values:
            if value == self.ring.zero:
                return value
            result = self.ring.times(result, value)
        return result

    def _gather(self, found: Iterable[tuple[Any, T]]) -> dict[Any, T]:
        table: dict[Any, T] = {}
        for key, value in found:
            if value != self.ring.zero:
                table[key] = self.ring.plus(table.get(key, self.ring.zero), value)
        return table

    def _closure(self, nodes: Iterable[Any], steps: Mapping[tuple[Any, Any], T]) -> dict[tuple[Any, Any], T]:
        """Reflexive and transitive; the steps go both ways already where they should."""
        reach = {(n, n): self.ring.one for n in nodes}
        while True:
            longer = [
                ((x, y), self.both(v, w))
                for (x, z), v in reach.items()
                for (z2, y), w in steps.items()
                if z == z2
            ]
            grown = self._gather([*reach.items(), *longer])
            if grown == reach:
                return reach
            reach = grown

    def _same_steps(self) -> dict[Any, T]:
        same = ((list(fact.says[1]), self.ring.fact(n)) for n, fact in self.book.of("same"))
        return self._gather((way, value) for pair, value in same for way in _both_ways(pair))

    def like(self, position: str) -> dict[tuple[Owner, Owner], T]:
        """Which owners have the same place at a position."""
        if position not in self._like:
            steps = self._gather([*self._rebadge_steps(position), *self._uses_steps(position)])
            self._like[position] = self._closure(self.book.owners, steps)
        return self._like[position]

    def _rebadge_steps(self, position: str | None) -> Iterator[tuple[tuple[Owner, Owner], T]]:
        for n, fact in self.book.of("rebadge"):
            if position is None or not self.book.excepts(fact, position):
                for way in _both_ways(list(fact.says[1])):
                    yield way, self.ring.fact(n)

    def _uses_steps(self, position: str) -> Iterator[tuple[tuple[Owner, Owner], T]]:
        for n, fact in self.book.of("uses"):
            _, owner, built, _ = fact.says
            if position in self.book.declares.get(built[1], ()) and not self.book.excepts(fact, position):
                for way in _both_ways([owner, built]):
                    yield way, self.ring.fact(n)

    def _newer(self) -> dict[tuple[str, str], T]:
        """`replaces`, its two ends up to `alike`, chained."""
        alike = self.alike
        once = self._gather(
            ((new, old), self.both(v, self.ring.fact(n), w))
            for n, fact in self.book.of("replaces")
            for (new, a), v in alike.items()
            if a == fact.says[1]
            for (b, old), w in alike.items()
            if b == fact.says[2]
        )
        chained = self._closure(self.book.parts, once)
        steps = [
            ((x, y), self.both(v, w))
            for (x, z), v in once.items()
            for (z2, y), w in chained.items()
            if z == z2
        ]
        return self._gather(steps)

    def _serves(self) -> dict[tuple[str, str], T]:
        """(p, q): p goes where a `takes` names q."""
        by_size = [(way, self.ring.fact(n)) for n, fact in self.book.of("size") for way in fact.ways]
        return self._gather([*self.alike.items(), *self.newer.items(), *by_size])

    def origin(self, position: str) -> dict[tuple[Owner, str], T]:
        """Which part is original at a position, by owner."""
        if position not in self._origin:
            self._origin[position] = self._gather(
                ((x, p), self.both(v, self.ring.fact(n), w))
                for n, q, y in self._takes(position, "original")
                for (x, y2), v in self.like(position).items()
                if y2 == y
                for (q2, p), w in self.alike.items()
                if q2 == q
            )
        return self._origin[position]

    def _takes(self, position: str, *roles: str) -> Iterator[tuple[int, str, Owner]]:
        for n, fact in self.book.of("takes"):
            _, part, owner, at, role = fact.says
            if at == position and role in roles:
                yield n, part, owner

    def is_(self, item: Item, owner: Owner, position: str) -> T:
        """The item is what is original at the place."""
        if item[0] == "part":
            return self.origin(position).get((owner, item[1]), self.ring.zero)
        if item[2] != position:
            return self.ring.zero
        return self.like(position).get((item[1], owner), self.ring.zero)

    def items(self) -> list[Item]:
        """Everything that could be asked for: parts and places."""
        places: list[Item] = [("place", o, p) for o in self.book.owners for p in self.book.positions]
        return [*(("part", p) for p in self.book.parts), *places]

    def goes(self, item: Item, owner: Owner, position: str) -> T:
        """The four ways in which an item goes at a place (`both ways` being the fourth)."""
        like = self.like(position)
        ways = [self.is_(item, owner, position)]
        if item[0] == "part":
            for n, q, y in self._takes(position, "original", "substitute"):
                near_place = like.get((owner, y), self.ring.zero)
                serves = self.serves.get((item[1], q), self.ring.zero)
                ways.append(self.both(near_place, serves, self.ring.fact(n)))
        for n, (giver, at), (taker, to) in self._fits():
            if to == position:
                reached = like.get((taker, owner), self.ring.zero)
                ways.append(self.both(self.is_(item, giver, at), reached, self.ring.fact(n)))
        return self.total(ways)

    def _fits(self) -> Iterator[tuple[int, Place, Place]]:
        for n, fact in self.book.of("fits"):
            _, giver, at, taker, to, both = fact.says
            yield n, (giver, at), (taker, to)
            if both:
                yield n, (taker, to), (giver, at)

    def no(self, item: Item, owner: Owner, position: str) -> T:
        """Something says that the item does not go at the place."""
        found = []
        for n, fact in self.book.of("refuses"):
            _, refused, where, at = fact.says
            if at == position:
                reached = self.like(position).get((where, owner), self.ring.zero)
                found.append(self.both(self.ring.fact(n), reached, self._counts_as(item, refused)))
        return self.total(found)

    def _counts_as(self, item: Item, refused: Item) -> T:
        """`j is i, or alike(i,j), or one is a place whose origin is the other`."""
        if item == refused:
            return self.ring.one
        if item[0] == "part" and refused[0] == "part":
            return self.alike.get((item[1], refused[1]), self.ring.zero)
        if item[0] == "part" and refused[0] == "place":
            return self.origin(refused[2]).get((refused[1], item[1]), self.ring.zero)
        if item[0] == "place" and refused[0] == "part":
            return self.origin(item[2]).get((item[1], refused[1]), self.ring.zero)
        return self.ring.zero

    def sisters(self, owner: Owner) -> dict[Key, T]:
        """The sets reached by rebadge, whatever is excepted."""
        reach = self._closure(self.book.owners, self._gather(self._rebadge_steps(None)))
        return {(y[1], ""): v for (x, y), v in reach.items() if x == owner and y != owner}


def _both_ways(pair: Sequence[Any]) -> list[tuple[Any, Any]]:
    first, last = pair[0], pair[-1]
    return [(first, last), (last, first)]


def derive(rules: Rules[T], question: Question) -> dict[Key, tuple[T, list[T]]]:
    """For each answer its value, and the value of the `no` of each of its items."""
    if question[0] == "sisters":
        return {key: (value, []) for key, value in rules.sisters(("set", question[1])).items()}
    found: dict[Key, tuple[T, list[T]]] = {}
    for key, item, value, no in _each(rules, question):
        if value != rules.ring.zero:
            before, noes = found.get(key, (rules.ring.zero, []))
            found[key] = rules.ring.plus(before, value), [*noes, no(item)]
    return found


def _each(rules: Rules[T], question: Question) -> Iterator[tuple[Key, Item, T, Callable[[Item], T]]]:
    """Every answer that an item could give, with its value and the way to its `no`."""
    kind, *asked = question
    sets = [o for o in rules.book.owners if o[0] == "set"]
    places = [(o, p) for o in sets for p in rules.book.positions]
    if kind == "takers_part":
        part: Item = ("part", asked[0])
        for owner, p in places:
            yield (owner[1], p), part, rules.goes(part, owner, p), _no_at(rules, owner, p)
        return
    here: Owner = ("set", asked[0])
    there = [(o, p) for o, p in places if o != here]
    for item in rules.items():
        if kind == "takers_place":
            given = rules.is_(item, here, asked[1])
            if given == rules.ring.zero:
                continue
            for owner, p in there:
                value = rules.both(given, rules.goes(item, owner, p))
                yield (owner[1], p), item, value, _no_at(rules, owner, p)
        else:
            wanted = rules.goes(item, here, asked[1])
            for owner, p in there if wanted != rules.ring.zero else []:
                value = rules.both(rules.is_(item, owner, p), wanted)
                yield (owner[1], p), item, value, _no_at(rules, here, asked[1])


def _no_at(rules: Rules[T], owner: Owner, position: str) -> Callable[[Item], T]:
    return lambda item: rules.no(item, owner, position)


# ---------------------------------------------------------------------------------------------
# The rules as a ProbLog program
# ---------------------------------------------------------------------------------------------

PROGRAM = """
said(none) :- fail.            set(none) :- fail.             owner(none) :- fail.
part(none) :- fail.            position(none) :- fail.        declares(none,none) :- fail.
rebadge(none,none,none) :- fail.   uses(none,none,none) :- fail.   except(none,none) :- fail.
same(none,none,none) :- fail.      replaces(none,none,none) :- fail.   size(none,none,none) :- fail.
takes(none,none,none,none,none) :- fail.   fits(none,none,none,none,none) :- fail.
refuses(none,none,none,none) :- fail.
badge(X,Y,F) :- rebadge(F,X,Y).
badge(X,Y,F) :- rebadge(F,Y,X).
spared(F,P) :- except(F,P).
spared(F,P) :- except(F,A), declares(A,P).
step(X,Y,P) :- badge(X,Y,F), \\+ spared(F,P), said(F).
step(X,A,P) :- uses(F,X,A), declares(A,P), \\+ spared(F,P), said(F).
step(A,X,P) :- uses(F,X,A), declares(A,P), \\+ spared(F,P), said(F).
like(X,X,P) :- owner(X), position(P).
like(X,Y,P) :- like(X,Z,P), step(Z,Y,P).
number(P,Q) :- same(F,P,Q), said(F).
number(P,Q) :- same(F,Q,P), said(F).
alike(P,P) :- part(P).
alike(P,Q) :- alike(P,R), number(R,Q).
newer(N,O) :- alike(N,A), replaces(F,A,B), said(F), alike(B,O).
newer(N,O) :- newer(N,M), replaces(F,M,B), said(F), alike(B,O).
origin(X,P,I) :- like(X,Y,P), takes(F,Q,Y,P,original), said(F), alike(Q,I).
is(part(I),X,P) :- origin(X,P,I).
is(place(D,P),X,P) :- like(X,D,P).
serves(I,Q) :- alike(I,Q).
serves(I,Q) :- newer(I,Q).
serves(I,Q) :- size(F,I,Q), said(F).
goes(I,X,P) :- is(I,X,P).
goes(part(I),X,P) :- like(X,Y,P), takes(F,Q,Y,P,_), said(F), serves(I,Q).
goes(I,X,P) :- like(X,E,P), fits(F,D,Q,E,P), said(F), is(I,D,Q).
kin(X,X) :- owner(X).
kin(X,Y) :- kin(X,Z), badge(Z,Y,F), said(F).
takers_part(I,X,P) :- set(X), position(P), goes(part(I),X,P).
takers_place(S,A,X,P) :- set(X), X \\= S, position(P), is(I,S,A), goes(I,X,P).
donors(S,A,D,Q) :- goes(I,S,A), set(D), D \\= S, position(Q), is(I,D,Q).
sisters(S,X) :- kin(S,X), X \\= S.
counts(part(I),part(J)) :- alike(J,I).
counts(place(D,Q),place(D,Q)) :- owner(D), position(Q).
counts(part(I),place(D,Q)) :- origin(D,Q,I).
counts(place(D,Q),part(J)) :- owner(D), position(Q), origin(D,Q,J).
no(P,I,X) :- refuses(F,J,Y,P), said(F), like(Y,X,P), counts(I,J).
"""


class Atoms:
    """Short plain atoms for keys, since a key may hold any letter or digit of any script."""

    def __init__(self) -> None:
        self.of: dict[tuple[str, Any], str] = {}
        self.key: dict[str, Any] = {}

    def __call__(self, kind: str, key: Any) -> str:
        atom = self.of.setdefault((kind, key), f"{kind}{len(self.of)}")
        self.key[atom] = key
        return atom


def program(entries: Sequence[Entry], question: Question) -> tuple[str, Atoms]:
    """The ProbLog program for one question, and the meaning of its atoms."""
    whole, asked = book(entries, question)
    atoms = Atoms()
    lines = [f"owner({atoms('o', o)})." for o in whole.owners]
    lines += [f"set({atoms('o', o)})." for o in whole.owners if o[0] == "set"]
    lines += [f"part({atoms('p', p)})." for p in whole.parts]
    lines += [f"position({atoms('x', x)})." for x in whole.positions]
    for a, positions in sorted(whole.declares.items()):
        lines += [f"declares({atoms('o', ('assembly', a))},{atoms('x', x)})." for x in sorted(positions)]
    for n, fact in enumerate(whole.facts):
        lines += [f"{fact.certainty!r}::said(f{n}).", *_clauses(f"f{n}", fact, atoms)]
    kinds = {"takers_part": "p", "no": "x"}.get(asked[0], "ox")
    keys = [("set", asked[1]), *asked[2:]] if kinds == "ox" else list(asked[1:])
    terms = [atoms(kind, key) for kind, key in zip(kinds, keys, strict=False)]
    wanted = ["_"] if asked[0] == "sisters" else ["_", "_"]
    lines.append(f"query({asked[0]}({','.join([*terms, *wanted])})).")
    return PROGRAM + "\n".join(lines) + "\n", atoms


def _clauses(name: str, fact: Fact, atoms: Atoms) -> list[str]:
    """What one fact says, as ground clauses."""
    kind, *rest = fact.says
    if kind in ("rebadge", "same"):
        letter = "o" if kind == "rebadge" else "p"
        pair = sorted(rest[0])
        ends = ",".join(atoms(letter, end) for end in (pair[0], pair[-1]))
        return [f"{kind}({name},{ends}).", *(_spared(name, rest[1], atoms) if kind == "rebadge" else [])]
    if kind == "uses":
        return [f"uses({name},{atoms('o', rest[0])},{atoms('o', rest[1])}).", *_spared(name, rest[2], atoms)]
    if kind == "takes":
        part, owner, position, role = rest
        return [f"takes({name},{atoms('p', part)},{atoms('o', owner)},{atoms('x', position)},{role})."]
    if kind == "replaces":
        return [f"replaces({name},{atoms('p', rest[0])},{atoms('p', rest[1])})."]
    if kind == "size":
        return [f"size({name},{atoms('p', p)},{atoms('p', q)})." for p, q in fact.ways]
    if kind == "fits":
        giver, taker = ((atoms("o", rest[i]), atoms("x", rest[i + 1])) for i in (0, 2))
        ways = [(*giver, *taker), *([(*taker, *giver)] if rest[4] else [])]
        return [f"fits({name},{','.join(way)})." for way in ways]
    item, owner, position = rest
    refused = f"part({atoms('p', item[1])})" if item[0] == "part" else _place(item, atoms)
    return [f"refuses({name},{refused},{atoms('o', owner)},{atoms('x', position)})."]


def _place(item: Item, atoms: Atoms) -> str:
    return f"place({atoms('o', item[1])},{atoms('x', item[-1])})"


def _spared(name: str, names: Iterable[str], atoms: Atoms) -> list[str]:
    """An exception may be a position or an assembly; it is written down as both."""
    return [
        f"except({name},{atom})."
        for e in sorted(names)
        for atom in (atoms("x", e), atoms("o", ("assembly", e)))
    ]


def _probabilities(text: str) -> Iterator[tuple[Any, float]]:
    """Each ground query of a program with its probability."""
    for term, probability in get_evaluatable().create_from(PrologString(text)).evaluate().items():
        if term.is_ground():
            yield term.args, float(probability)


def certainties(entries: Sequence[Entry], question: Question) -> dict[Key, float]:
    """The exact probability of each answer by ProbLog; answers that cannot be are left out."""
    text, atoms = program(entries, question)
    found: dict[Key, float] = {}
    for args, probability in _probabilities(text):
        if question[0] == "sisters":
            found[atoms.key[str(args[-1])][1], ""] = probability
        else:
            found[atoms.key[str(args[-2])][1], atoms.key[str(args[-1])]] = probability
    return found


def noes(entries: Sequence[Entry], position: str) -> dict[tuple[Item, Owner], float]:
    """The exact probability by ProbLog that something says of an item that it does not go there."""
    text, atoms = program(entries, ("no", position))
    found: dict[tuple[Item, Owner], float] = {}
    for (_, item, owner), probability in _probabilities(text):
        inner = [atoms.key[str(arg)] for arg in item.args]
        found[(item.functor, *inner), atoms.key[str(owner)]] = probability
    return found


# ---------------------------------------------------------------------------------------------
# Answers
# ---------------------------------------------------------------------------------------------


def standing(certainty: float, best: float, no: float) -> Result:
    """The result with its two verdicts: refused by a `no` at least as strong, disputed by a weaker one."""
    refused = no > 0 and no >= best - NEAR
    return Result(certainty, best, no, refused, no > 0 and not refused)


def proofs(entries: Sequence[Entry], question: Question) -> dict[Key, list[frozenset[Fact]]]:
    """The minimal proofs of every answer, the strongest first."""
    whole, asked = book(entries, question)
    table = derive(Rules(whole, Why()), asked)
    return {
        key: [frozenset(whole.facts[n] for n in proof) for proof in _strongest_first(whole, value)]
        for key, (value, _) in table.items()
    }


def _strongest_first(whole: Book, value: Proofs) -> list[Proof]:
    return sorted(value, key=lambda proof: (-_product(whole, proof), sorted(proof)))


def _product(whole: Book, proof: Proof) -> float:
    return math.prod(whole.facts[n].certainty for n in sorted(proof))


def _best(whole: Book, value: Proofs) -> float:
    return max((_product(whole, proof) for proof in value), default=0.0)


def answer(entries: Sequence[Entry], question: Question) -> dict[Key, Result]:
    """Every answer: certainty by ProbLog, best and no by minimal proofs. Refused ones are among them."""
    whole, asked = book(entries, question)
    exact = certainties(entries, question)
    table = derive(Rules(whole, Why()), asked)
    if exact.keys() != table.keys():
        raise AssertionError(f"the two engines differ in what follows: {exact.keys() ^ table.keys()}")
    return {
        key: standing(exact[key], _best(whole, value), max((_best(whole, no) for no in noes), default=0.0))
        for key, (value, noes) in table.items()
    }


def takers_part(entries: Sequence[Entry], part: str) -> dict[Key, Result]:
    """Every set and position that takes the part."""
    return answer(entries, ("takers_part", part))


def takers_place(entries: Sequence[Entry], set: str, position: str) -> dict[Key, Result]:
    """Every other set and position that takes what the set has there."""
    return answer(entries, ("takers_place", set, position))


def donors(entries: Sequence[Entry], set: str, position: str) -> dict[Key, Result]:
    """Every other set and position that can give the set what it wants there."""
    return answer(entries, ("donors", set, position))


def sisters(entries: Sequence[Entry], set: str) -> dict[Key, Result]:
    """Every set reached by rebadge; the position of each key is empty."""
    return answer(entries, ("sisters", set))


class AllWorlds:
    """The probability of every world of some facts, and the product of the facts that hold in it."""

    def __init__(self, facts: Sequence[Fact]) -> None:
        if len(facts) > MOST_WORLDS:
            raise ValueError(f"{len(facts)} facts are too many to go through all worlds")
        self.weight, self.held = np.ones(1), np.ones(1)
        for fact in facts:
            c = fact.certainty
            self.weight = np.concatenate([self.weight * (1 - c), self.weight * c])
            self.held = np.concatenate([self.held, self.held * c])

    def probability(self, value: int) -> float:
        """Of the worlds whose bits are set, together."""
        return float(np.sum(self.weight * _bits(value, len(self.weight))))

    def strongest(self, value: int) -> float:
        """The highest product of the facts of any of these worlds: that of the best proof.

        No search for proofs is needed, since a fact more never makes the product greater.
        """
        return float(np.max(self.held * _bits(value, len(self.held))))


def worlds(entries: Sequence[Entry], question: Question) -> dict[Key, Result]:
    """The same by going through all 2^n worlds; ValueError above MOST_WORLDS facts."""
    whole, asked = book(entries, question)
    every = AllWorlds(whole.facts)
    found: dict[Key, Result] = {}
    for key, (value, no) in derive(Rules(whole, Worlds(len(whole.facts))), asked).items():
        strongest_no = max((every.strongest(n) for n in no), default=0.0)
        found[key] = standing(every.probability(value), every.strongest(value), strongest_no)
    return found


def noes_in_worlds(entries: Sequence[Entry], position: str) -> dict[tuple[Item, Owner], float]:
    """What `noes` gives, by going through all worlds."""
    whole, asked = book(entries, ("no", position))
    every, rules = AllWorlds(whole.facts), Rules(whole, Worlds(len(whole.facts)))
    values = {(i, o): rules.no(i, o, asked[1]) for i in rules.items() for o in whole.owners}
    return {key: every.probability(value) for key, value in values.items() if value}


def _bits(value: int, size: int) -> Any:
    """The bits of a number as an array of 0 and 1, the lowest first."""
    raw = np.frombuffer(value.to_bytes((size + 7) // 8, "little"), dtype=np.uint8)
    return np.unpackbits(raw, bitorder="little")[:size]


def questions(entries: Sequence[Entry]) -> list[Question]:
    """Every question that can be asked of a folder, by the keys of its sets, parts and positions."""
    whole, _ = book(entries, ("takers_part", "none"))
    declared = {p for positions in whole.declares.values() for p in positions}
    keys = [o[1] for o in whole.owners if o[0] == "set"]
    parts = [p for p in whole.parts if p != "none"]
    positions = sorted({*whole.positions, *declared})
    places = [(kind, s, p) for kind in ("takers_place", "donors") for s in keys for p in positions]
    return [*(("takers_part", p) for p in parts), *(("sisters", s) for s in keys), *places]
