"""A collection whose entries are fetched from an index when they are asked for.

It has the mappings of :class:`kgraph.collection.Collection`, each of which works out what is under a key from
the entries that speak of it, by the rules of :mod:`kgraph.collection`; nothing that was derived is kept in an
index. Whoever goes through a whole mapping has it filled from all entries.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from functools import cached_property
from typing import Any, TypeVar

from kgraph import collection, records, trade, words
from kgraph.claims import Claim, ReplacesClaim, SameClaim, about
from kgraph.collection import Collection
from kgraph.collection.fact_ids import LENGTH as ID_LENGTH
from kgraph.collection.model import Gone
from kgraph.collection.resolving import claim_of, exception_key, names_used
from kgraph.collection.sayings import FACT_TYPES, Claimed, FactsLeft, by_claim, sayings_left, shown_id
from kgraph.collection.taken_back import GoneThing
from kgraph.facts import Fact
from kgraph.index.entries import FEW, MOST_FACTS, NOTED, StoredEntries
from kgraph.problems import Where

V = TypeVar("V")


class Fetching(Mapping[str, V]):
    """A mapping that works out what is under a key when it is asked for; `fill` makes all of it."""

    def __init__(
        self,
        fetch: Callable[[str], V | None],
        fill: Callable[[], Mapping[str, V]],
        some: Callable[[], bool] | None = None,
        has: Callable[[str], bool] | None = None,
    ) -> None:
        """`some`: whether there is anything at all; `has`: whether there is something under a key."""
        self._fetch, self._fill, self._some, self._has = fetch, fill, some, has
        self._known: dict[str, V | None] = {}
        self._whole: Mapping[str, V] | None = None

    def get(self, key: Any, default: Any = None) -> Any:
        """What is under a key, or the default."""
        if key not in self._known:
            self._known[key] = self._fetch(key) if self._whole is None else self._whole.get(key)
        found = self._known[key]
        return default if found is None else found

    def __getitem__(self, key: str) -> V:
        found: V | None = self.get(key)
        if found is None:
            raise KeyError(key)
        return found

    def __contains__(self, key: object) -> bool:
        if key in self._known or self._has is None or self._whole is not None:
            return self.get(key) is not None
        return isinstance(key, str) and self._has(key)

    def __bool__(self) -> bool:
        return bool(self._all()) if self._some is None else self._some()

    def _all(self) -> Mapping[str, V]:
        if self._whole is None:
            self._whole = self._fill()
        return self._whole

    def __iter__(self) -> Iterator[str]:
        return iter(self._all())

    def __len__(self) -> int:
        return len(self._all())


class FetchedCollection(Collection):
    """A collection over the entries of an index."""

    def __init__(self, stored: StoredEntries) -> None:
        super().__init__()
        self.stored = stored
        self._facts: dict[str, Fact] = {}
        self._withdraws = [e for e in self.of_kind("withdraw") if isinstance(e, records.Withdraw)]
        self._gone = stored.take_back(self._withdraws)
        self.things = {kind: self._declared(kind) for kind in words.THINGS}
        self.aliases = {kind: self._others(kind, "aliases") for kind in words.THINGS}
        self.ambiguous = {kind: self._others(kind, "ambiguous") for kind in words.THINGS}
        self.spelt = {kind: self._spelt(kind) for kind in words.THINGS}
        self.features = Fetching(self._feature, lambda: self._whole.features)
        self.assemblies = _Assemblies(self)

    # All of it ----------------------------------------------------------------------------------

    @cached_property
    def entries(self) -> Sequence[records.Entry]:
        """Every entry, in the order of reading."""
        return tuple(self.stored.all())

    @cached_property
    def _whole(self) -> Collection:
        return collection.build(self.entries)

    @cached_property
    def said(self) -> FactsLeft:
        """What is left of all that was said."""
        return self._whole.said

    def of_kind(self, *kinds: str) -> Iterable[records.Entry]:
        """The entries of these kinds, in the order of reading."""
        if "entries" in vars(self) or not MOST_FACTS.isdisjoint(kinds):
            return super().of_kind(*kinds)
        return self._in_order(n for kind in kinds for n in self.stored.of_kind(kind))

    def with_notes(self) -> Iterable[records.Entry]:
        """The statements that have a note."""
        return self.stored.entries(self.stored.of_kind(NOTED))

    def reading_order(self, where: Where) -> tuple[int, int, int]:
        """What to sort places in files by, so that they stand as they are read."""
        if not self._read_as:
            self._read_as.update(self.stored.ranks())
        return self._read_as[where.file], where.line, where.column

    # Things and their names ---------------------------------------------------------------------

    def _declared(self, kind: str) -> Mapping[str, Sequence[records.Thing]]:
        if kind == "stock":
            return Fetching(self._stock, lambda: self._grouped(kind, lambda n: self.key("stock", n)))
        return Fetching(
            lambda key: self._things(kind, key, "declared"),
            lambda: self._grouped(kind, lambda key: key),
            lambda: self.stored.any_of(kind),
            lambda key: bool(self.stored.named(kind, key, f"{kind} declared")),
        )

    def _things(self, kind: str, key: str, how: str) -> list[records.Thing] | None:
        found = self._entries(kind, key, f"{kind} {how}")
        return [e for e in found if isinstance(e, records.Thing)] or None

    def _entries(self, kind: str, key: str, how: str) -> list[records.Entry]:
        return self.stored.entries(self.stored.named(kind, key, how))

    def _grouped(self, kind: str, key_of: Callable[[str], str]) -> dict[str, list[records.Thing]]:
        by_name: dict[str, list[records.Thing]] = {}
        for entry in self.of_kind(kind):
            if isinstance(entry, records.Thing):
                by_name.setdefault(entry.name.key, []).append(entry)
        found: dict[str, list[records.Thing]] = {}
        for key, things in by_name.items():
            found.setdefault(key_of(key), []).extend(things)
        return found

    def _stock(self, part: str) -> list[records.Thing] | None:
        names = [k for k in self.names_of("part", part) if self.key("stock", k) == part]
        found = [things for k in names if (things := self._things("stock", k, "declared"))]
        found.sort(key=lambda things: self.reading_order(things[0].where))
        return [thing for things in found for thing in things] or None

    def _others(self, kind: str, which: str) -> Mapping[str, Any]:
        some = self.stored.any_of(f"{kind} also")

        def fetch(name: str) -> Any:
            if not some or name in self.things[kind]:
                return None
            meant = {t.name.key for t in self._things(kind, name, "also") or () if t.name.key != name}
            if which == "aliases":
                return next(iter(meant)) if len(meant) == 1 else None
            return meant if len(meant) > 1 else None

        return Fetching(
            fetch,
            lambda: collection.other_names(self.things[kind])[which != "aliases"],
            lambda: some,
        )

    def names_of(self, kind: str, key: str) -> list[str]:
        """The keys of all names that stand for a thing, its own first."""
        if kind not in trade.KINDS and not self.stored.any_of(f"{kind} also"):
            return [key]
        things = (*self.things[kind].get(key, ()), *self.ground(kind, key))
        names = dict.fromkeys([key, *(n.key for t in things for n in (t.name, *t.also))])
        names |= dict.fromkeys(self._by_ground.get(kind, {}).get(key, ()))
        return [name for name in names if self.key(kind, name) == key]

    @cached_property
    def _by_ground(self) -> Mapping[str, Mapping[str, list[str]]]:
        """Kind -> key of a thing -> the names that the ground gives it."""
        found: dict[str, dict[str, list[str]]] = {}
        for kind, laid in self.laid.items():
            of_kind = found.setdefault(kind, {})
            for named, key in laid.names.items():
                of_kind.setdefault(key, []).append(named)
        return found

    def known_keys(self, kind: str) -> AbstractSet[str]:
        """The keys of every thing of a kind, declared or used."""
        if "_whole" in vars(self):
            return self._whole.known_keys(kind)
        hows = (kind, "owner") if kind in ("set", "assembly") else (kind,)
        keys = {self.key(kind, name) for name in self.stored.keys(kind, *hows, f"{kind} declared")}
        return {key for key in keys if key in self.things[kind] or key in self.spelt[kind]}

    def _spelt(self, kind: str) -> Mapping[str, str]:
        hows = [kind, *(["owner"] if kind in ("set", "assembly") else [])]

        def fetch(key: str) -> str | None:
            names = self.names_of(kind, key)
            for entry in self._one_by_one(
                n for k in names for how in hows for n in self.stored.named(kind, k, how)
            ):
                for used_as, used in names_used(self, entry):
                    if used_as == kind and self.key(kind, used.key) == key:
                        return used.text
            return None

        return Fetching(fetch, lambda: self._whole.spelt[kind])

    def _feature(self, key: str) -> str | None:
        names = {*self.names_of("position", key), *self.names_of("assembly", key), key}
        for entry in self._one_by_one(n for k in names for n in self.stored.named("position", k, "except")):
            for named in entry.exceptions if isinstance(entry, records.Rebadge | records.Uses) else ():
                if exception_key(self, named) == key:
                    return named.text
        return None

    def _one_by_one(self, numbers: Iterable[int]) -> Iterator[records.Entry]:
        """These entries in the order of reading, each fetched when it is wanted."""
        for number in self.stored.in_order(numbers):
            yield from self.stored.entries([number])

    def parts_numbered(self, number: str) -> set[str]:
        """The parts that have this maker's number (its key)."""
        found = self._entries("part", number, "number")
        return {e.name.key for e in found if isinstance(e, records.Part)}

    def parts(self, numbers: Sequence[int]) -> list[records.Part]:
        """The entries of these numbers that declare parts."""
        return [e for e in self.stored.entries(numbers) if isinstance(e, records.Part)]

    def owners_in(self, entry: records.Entry) -> set[str]:
        """The sets and assemblies that an entry names."""
        used = names_used(self, entry)
        return {f"{kind[0]}:{self.key(kind, n.key)}" for kind, n in used if kind in ("set", "assembly")}

    def naming(self, kind: str, key: str) -> list[records.Entry]:
        """The entries that use a thing by any of its names, in the order of reading."""
        if kind in (*FEW, "source"):
            # Of the uses of these an index has the first of each file alone.
            return super().naming(kind, key)
        found = self._using(kind, key)
        return [
            e for e in found if any(k == kind and self.key(k, n.key) == key for k, n in names_used(self, e))
        ]

    # Facts --------------------------------------------------------------------------------------

    def _using(self, kind: str, key: str) -> list[records.Entry]:
        """The entries that use a set, an assembly or a part by any of its names, in the order of reading."""
        hows = (kind, "owner") if kind in ("set", "assembly") else (kind,)
        return self._in_order(
            n for k in self.names_of(kind, key) for how in hows for n in self.stored.named(kind, k, how)
        )

    def _in_order(self, numbers: Iterable[int]) -> list[records.Entry]:
        return self.stored.entries(self.stored.in_order(numbers))

    def facts_of(self, kind: str, key: str) -> list[Fact]:
        """The facts that hold and speak of a set, an assembly or a part, in the order of their ids."""
        facts, _ = self._left_of(self._claimed(kind, key))
        return [self._facts.setdefault(fact.id, fact) for fact in facts]

    def _claimed(self, kind: str, key: str) -> Claimed:
        """All that is claimed of a thing, with everyone who does."""
        claimed: Claimed = {}
        for entry in self._using(kind, key):
            if isinstance(entry, FACT_TYPES) and _speaks_of(claim := claim_of(self, entry), kind, key):
                claimed.setdefault((entry.kind, claim), []).append(entry)
        return claimed

    def told_by(self, kind: str, naming: Iterable[records.Entry]) -> tuple[list[Fact], list[Gone]]:
        """What the entries that name a thing of a kind state: facts, as read, and those taken back."""
        if kind not in ("set", "assembly", "part"):
            # Others may say the same and not name it.
            return super().told_by(kind, naming)
        facts, withdrawn = self._left_of(by_claim(self, naming))
        return self.in_reading_order(facts), sorted(withdrawn, key=lambda g: self.first_said(g[0]))

    def leaving_out(self, key: str) -> list[Fact]:
        """The facts whose `except` names a position, an assembly or a feature."""
        names = {*self.names_of("position", key), *self.names_of("assembly", key), key}
        entries = self._in_order(n for k in names for n in self.stored.every_use("position", k, "except"))
        owners = {o for entry in entries for o in self.owners_in(entry)}
        facts = {f.id: f for o in owners for f in self.facts_of("set" if o[0] == "s" else "assembly", o[2:])}
        return self.in_reading_order(f for f in facts.values() if key in f.left_out)

    def facts_of_kind(self, kind: str) -> list[Fact]:
        """The facts of a kind that hold, in the order of their ids."""
        if kind in MOST_FACTS:
            return super().facts_of_kind(kind)
        return self._left_of(by_claim(self, self.of_kind(kind)))[0]

    def by_id(self, one: str) -> Fact | None:
        """The fact with an id that is shown or written, one that was taken back too."""
        claimed = by_claim(self, self._entries("", one, "id"))
        if not claimed:
            # It may be that of a fact by other names of its things, which nobody wrote so, or of one saying.
            made = len(one) == ID_LENGTH and set(one) <= set("0123456789abcdef")
            return super().by_id(one) if made else None
        found: dict[tuple[str, str], None] = {}
        for said in claimed.values():
            found[self._thing_in(said[0])] = None
        told = [self._left_of(self._claimed(kind, key)) for kind, key in found]
        every = [*(f for facts, _ in told for f in facts), *(f for _, gone in told for f, _ in gone)]
        return next((fact for fact in every if one == fact.id or one in fact.ids), None)

    def _left_of(self, claimed: Claimed) -> tuple[list[Fact], list[Gone]]:
        """What is left of some claims, in the order of ids, and what was taken back."""
        mine = {(kind, *about(claim)) for kind, claim in claimed}
        self._add_rivals(claimed)
        left = sayings_left(self, claimed, self._withdraws, self._sought)
        facts = [f for f in left.facts.values() if (f.kind, *about(f.claim)) in mine]
        gone = [(f, by) for f, by in left.withdrawn.values() if (f.kind, *about(f.claim)) in mine]
        return sorted(facts, key=lambda f: f.id), gone

    def _add_rivals(self, claimed: Claimed) -> None:
        """Add what other facts say that claim the id of one of these, so that each gets an id of its own."""
        todo = list(claimed)
        while todo:
            kind, claim = todo.pop()
            # Of other kinds nothing but an id that is written by hand can be that of two facts.
            if kind != "run" and not self._own_ids:
                continue
            one = shown_id(self, claimed[kind, claim])
            if kind != "run" and one not in self._own_ids:
                continue
            for pair, said in by_claim(self, self._entries("", one, "id")).items():
                if pair not in claimed:
                    claimed[pair] = self._all_saying(*pair, said[0])
                    todo.append(pair)

    def _all_saying(self, kind: str, claim: Claim, one: records.Statement) -> list[records.Statement]:
        """Everyone who states a claim, as one statement does."""
        return by_claim(self, self._using(*self._thing_in(one)))[kind, claim]

    def _thing_in(self, one: records.Entry) -> tuple[str, str]:
        """The kind and key of the first set, assembly or part that a statement names."""
        used = ((kind, n) for kind, n in names_used(self, one) if kind in ("set", "assembly", "part"))
        kind, named = next(used)
        return kind, self.key(kind, named.key)

    @cached_property
    def _own_ids(self) -> AbstractSet[str]:
        return set(self.stored.own_ids())

    @cached_property
    def _sought(self) -> AbstractSet[str]:
        """The ids that withdrawals name and no statement has as written."""
        targets = {w.target.strip() for w in self._withdraws}
        return {one for one in targets if not self.stored.named("", one, "id")}

    @cached_property
    def gone_things(self) -> Mapping[int, GoneThing]:
        """By its `id()` every entry of a thing that was taken back, in the order of reading."""
        found = (self._gone[n] for n in self.stored.in_order(self._gone))
        return {id(thing): (thing, by) for thing, by in found}


def _speaks_of(claim: Claim, kind: str, key: str) -> bool:
    if kind != "part":
        return f"{kind[0]}:{key}" in claim
    return (
        key in claim if isinstance(claim, SameClaim | ReplacesClaim) else key == getattr(claim, "part", None)
    )


class _Assemblies(AbstractSet[str]):
    """The keys of what is used as an assembly."""

    def __init__(self, data: FetchedCollection) -> None:
        self._data = data

    def __contains__(self, key: object) -> bool:
        stored, data = self._data.stored, self._data
        if not isinstance(key, str):
            return False
        return any(stored.named("assembly", name, "assembly") for name in data.names_of("assembly", key))

    def __iter__(self) -> Iterator[str]:
        return iter(self._data._whole.assemblies)

    def __len__(self) -> int:
        return len(self._data._whole.assemblies)
