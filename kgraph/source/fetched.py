"""The holder that fetches: of a folder's entries those that speak of what a question comes to.

Names are resolved and facts are made by the code that does so for a whole folder. Under each key that is
asked for, all entries that speak of it are taken up, under every name that it has; so what is found does
not depend on what was asked before.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from kgraph import records, trade, words
from kgraph.collection import (
    FACT_TYPES,
    OWNER,
    What,
    about,
    excepted,
    exception_key,
    fact_said,
    grades_of,
    held,
    is_feature,
    names_used,
    one_for_each_pair,
    sayings_of,
    spellings_of,
    statement_args,
    told_apart,
)
from kgraph.facts import Fact
from kgraph.fits.graph import Tables, declared, fill
from kgraph.names import Name, fold, loose
from kgraph.source import ground
from kgraph.source.facts import Facts, Names, Place, Stated
from kgraph.source.index import Index
from kgraph.source.lines import FEATURE, quoted

if TYPE_CHECKING:
    from kgraph.source.sized import FromIndex

K = TypeVar("K")
V = TypeVar("V")
D = TypeVar("D")

_OF_OWNER = {"set": "rdmutfgxyn", "assembly": "autfgxyn"}
"""Kind -> the roles in which a name may speak of one."""
_EITHER = frozenset("utfgxyn")
"""Roles in which a name may mean a set or an assembly."""
_OF_OTHERS = {"part": "p", "position": "q", "source": "s", "kind": "k", "caution": "c", "unit": "w"}


class OnDemand(Generic[K, V]):
    """A :class:`kgraph.source.facts.Lookup` whose values are fetched when asked for, and kept."""

    def __init__(self, fetch: Callable[[K], V], some: Callable[[], bool] = lambda: True) -> None:
        self.fetch, self.some = fetch, some
        self.found: dict[K, V] = {}
        self.any: bool | None = None

    def __bool__(self) -> bool:
        if self.any is None:
            self.any = self.some()
        return self.any

    def _fetched(self, key: K) -> V:
        found = self.found.get(key)
        if found is None:
            found = self.found[key] = self.fetch(key)
        return found

    def __getitem__(self, key: K) -> V:
        if found := self._fetched(key):
            return found
        raise KeyError(key)

    def get(self, key: K, default: D) -> V | D:
        """What is under a key, or the default."""
        return self._fetched(key) or default

    def __contains__(self, key: object) -> bool:
        return bool(self._fetched(key))  # type: ignore[arg-type]


class _Things(OnDemand[str, list[records.Thing]]):
    """The entries that declare the things of a kind."""

    def __init__(self, names: FetchedNames, kind: str) -> None:
        super().__init__(self._declaring)
        self.names, self.kind = names, kind

    def _lines(self, key: str) -> list[str]:
        keys = self.names.names_of("part", key) if self.kind == "stock" else [key]
        return [f"d{self.kind}\t{k}\t" for k in keys]

    def _declaring(self, key: str) -> list[records.Thing]:
        return [e for e in self.names.index.entries(*self._lines(key)) if isinstance(e, records.Thing)]

    def __contains__(self, key: object) -> bool:
        return (key in self.found and bool(self.found[str(key)])) or any(
            self.names.index.any(line) for line in self._lines(str(key))
        )


class _Assemblies(Container[str]):
    """The keys of what is used as an assembly."""

    def __init__(self, names: FetchedNames) -> None:
        self.names = names

    def __contains__(self, key: object) -> bool:
        keys = self.names.names_of("assembly", str(key))
        return any(self.names.index.any(f"o{k}\ta\t") for k in keys)


class FetchedNames(Names):
    """Names and entries of an index."""

    def __init__(self, index: Index) -> None:
        super().__init__()
        self.index = index
        self.laid = OnDemand(self._laid)
        self.told_otherwise: dict[str, tuple[Fact, ...]] = {}
        self._other: dict[str, dict[str, list[str]]] = {}
        self.things = {kind: _Things(self, kind) for kind in words.THINGS}
        self.aliases = {kind: self._on_demand(self._alias, kind) for kind in words.THINGS}
        self.ambiguous = {kind: self._on_demand(self._several, kind) for kind in words.THINGS}
        self.spelt = {kind: self._on_demand(self._first_use, kind) for kind in words.THINGS}
        self.features = OnDemand(self._feature)
        self.assemblies = _Assemblies(self)
        self.has_other_names = index.any("a")
        self._of_what: dict[What, Stated] = {}
        self._names: dict[tuple[str, str], list[str]] = {}

    @staticmethod
    def _on_demand(fetch: Callable[[str, str], V], kind: str) -> OnDemand[str, V]:
        return OnDemand(lambda key: fetch(kind, key))

    # Names ------------------------------------------------------------------------------------

    def _meant(self, kind: str, key: str) -> set[str]:
        """The things of which a name is another name."""
        if not self.has_other_names or key in self.things[kind]:
            return set()
        named = self.index.entries(f"a{kind}\t{key}\t")
        return {e.name.key for e in named if isinstance(e, records.Thing) and e.name.key != key}

    def _alias(self, kind: str, key: str) -> str:
        found = self._meant(kind, key)
        return found.pop() if len(found) == 1 else ""

    def _several(self, kind: str, key: str) -> set[str]:
        found = self._meant(kind, key)
        return found if len(found) > 1 else set()

    def _laid(self, kind: str) -> trade.Laid:
        """How the ground lies under the folder: what bears names of the ground is all that decides it."""
        named = ground.names(kind)
        every = [line.split("\t", 2)[1] for line in self.index.starting(f"d{kind}\t")]
        also = {line.split("\t", 2)[1] for line in self.index.starting(f"a{kind}\t")} & named.keys()
        bearing = {key for key in every if key in named}
        for entry in self.index.entries(*(f"a{kind}\t{key}\t" for key in sorted(also))):
            bearing |= {entry.name.key} if isinstance(entry, records.Thing) else set()
        if not bearing:
            return ground.untouched(kind)
        declared: dict[str, Sequence[records.Thing]] = dict.fromkeys(every, ())
        declared |= {key: self.things[kind].get(key, []) for key in bearing}
        aliases = {key: one for key in also if (one := self.aliases[kind].get(key, ""))}
        ambiguous = [key for key in also if self.ambiguous[kind].get(key, set())]
        return trade.laid_under(kind, declared, aliases, ambiguous, ground.untouched(kind))

    def _named_by_ground(self, kind: str, key: str) -> list[str]:
        """The names that the ground gives to a thing."""
        if kind not in trade.KINDS:
            return []
        if kind not in self._other:
            other = self._other[kind] = {}
            for name, thing in self.laid[kind].names.items():
                other.setdefault(thing, []).append(name)
        return self._other[kind].get(key, [])

    def names_of(self, kind: str, key: str) -> list[str]:
        """Every key by which a thing may be called, its own first."""
        if not self.has_other_names and kind not in trade.KINDS:
            return [key]
        found = self._names.get((kind, key))
        if found is None:
            other = {n.key for t in self.things[kind].get(key, ()) for n in t.also} - {key}
            other |= {*self._named_by_ground(kind, key)} - {key}
            found = self._names[kind, key] = [key, *sorted(k for k in other if self.key(kind, k) == key)]
        return found

    def _lines_of(self, kind: str, key: str) -> list[str]:
        """How the lines begin of what names a thing."""
        names = self.names_of(kind, key)
        if kind in _OF_OTHERS:
            return [f"{_OF_OTHERS[kind]}{name}\t" for name in names]
        meant = {name: self.owner(name) == f"{kind[0]}:{key}" for name in names}
        roles = _OF_OWNER.get(kind, "")
        return [f"o{n}\t{role}" for n in names for role in roles if meant[n] or role not in _EITHER]

    def _first_use(self, kind: str, key: str) -> str:
        ref = self.index.first(self._lines_of(kind, key))
        if ref is None:
            return ""
        said = names_used(self, self.index.entry(ref))
        return next((n.text for k, n in said if k == kind and self.key(k, n.key) == key), "")

    def _excepting(self, key: str) -> list[records.Entry]:
        keys = {key, *self.names_of("position", key), *self.names_of("assembly", key)}
        return self.index.entries(*(f"e{k}\t" for k in sorted(keys)))

    def _feature(self, key: str) -> str:
        named = (n for e in self._excepting(key) for n in excepted(e))
        return next((n.text for n in named if exception_key(self, n) == key), "")

    @cached_property
    def grades(self) -> dict[str, float]:  # type: ignore[override]
        """Key -> certainty of every grade, those that need no entry among them."""
        return grades_of(self.declared_all("grade"), ground.untouched("grade"))

    def known(self, kind: str) -> dict[str, str]:
        """Key -> name of every thing of a kind, declared or used."""
        written: dict[str, set[str]] = {}
        certain: set[str] = set()
        for _, of, name in self.index.spelt("", *((kind, OWNER) if kind in _OF_OWNER else (kind,))):
            key = fold(name)
            written.setdefault(key, set()).add(name)
            if of == kind:
                certain.add(key)
        # With nothing newer each is there, and what is written in one way alone need not be looked up.
        certain -= {line.split("\t")[1] for line in self.index.starting(f"a{kind}\t")}
        if kind in trade.KINDS:
            certain -= {name for name, key in self.laid[kind].names.items() if name != key}
        plain = {k: v.pop() for k, v in written.items() if len(v) == 1 and k in certain}
        if self.index.over or kind == "stock":
            plain = {}
        keys = {self.key(kind, key) for key in written.keys() - plain.keys()} - plain.keys()
        return plain | {key: self.text(kind, key) for key in sorted(keys) if self.is_named(kind, key)}

    def parts_numbered(self, number: str) -> set[str]:
        """The parts that have this maker's number (its key)."""
        return {e.name.key for e in self.index.entries(f"#{number}\t") if isinstance(e, records.Thing)}

    def spellings(self, loosely: str) -> Iterator[tuple[str, str, str]]:
        """(kind, name, one spelling of it) of what is spelt with these letters and digits in a row."""
        near = {(kind, fold(name)) for _, kind, name in self.index.spelt(loosely)}
        features = {exception_key(self, Name(key, key)) for kind, key in near if kind == FEATURE}
        either = {OWNER: ("set", "assembly"), FEATURE: ()}
        things = {(k, self.key(k, key)) for kind, key in near for k in either.get(kind, (kind,))}
        for kind in trade.KINDS:
            below = (n for n, text in ground.spellings(kind).items() if loosely in loose(text))
            things |= {(kind, self.key(kind, n)) for n in below}
        every = [(FEATURE, self.features[k], self.features[k]) for k in features if is_feature(self, k)]
        every += [s for thing in things if self.is_named(*thing) for s in spellings_of(self, *thing)]
        return (s for s in every if loosely in loose(s[2]))

    def spelt_loosely(self) -> Iterable[str]:
        """The letters and digits of every spelling, perhaps of some that there were."""
        yield from (text for text, _, _ in self.index.spelt(""))
        yield from (loose(text) for kind in trade.KINDS for text in ground.spellings(kind).values())

    # Entries ----------------------------------------------------------------------------------

    def declared_all(self, kind: str) -> Mapping[str, list[records.Thing]]:
        """Key -> entries of every declared thing of a kind of which a folder has few."""
        found: dict[str, list[records.Thing]] = {}
        for entry in self.index.entries(f"d{kind}\t"):
            assert isinstance(entry, records.Thing)
            key = self.key("stock", entry.name.key) if kind == "stock" else entry.name.key
            found.setdefault(key, []).append(entry)
        return found

    def _statements(self, *lines: str) -> list[records.Statement]:
        return [e for e in self.index.entries(*lines) if isinstance(e, records.Statement)]

    def events(self) -> Sequence[records.Statement]:
        """Every event of the shelf, in the order of the entries."""
        return self._statements("vevent\t")

    @cached_property
    def _any_withdrawal(self) -> bool:
        return self.index.any("t")

    def withdrawals(self, *targets: str) -> Sequence[records.Withdraw]:
        """The withdrawals of what has one of these ids, in the order of the entries."""
        if not self._any_withdrawal:
            return ()
        found = self.index.entries(*(f"t{quoted(t)}\t" for t in targets))
        return [w for w in found if isinstance(w, records.Withdraw)]

    def with_id(self, text: str) -> Sequence[records.Statement]:
        """The statements with this id, of their own or of what they say, in the order of the entries."""
        return self._statements(f"i{quoted(text)}\t")

    def naming(self, kind: str, key: str) -> Sequence[records.Entry]:
        """The entries that name a thing, their own name left out, in the order of the entries."""
        return self.index.entries(*self._lines_of(kind, key))

    def leaving_out(self, key: str) -> Sequence[records.Entry]:
        """The entries whose `except` names it, in the order of the entries."""
        return [e for e in self._excepting(key) if any(exception_key(self, n) == key for n in excepted(e))]

    # Facts ------------------------------------------------------------------------------------

    def facts(self, entries: Sequence[records.Entry]) -> list[Stated]:
        """The facts of entries, in order, that are all the sayings of each and of each pair."""
        sayings = sayings_of(self, entries)
        fresh = {
            what: fact_said(self, *what, said) for what, said in sayings.items() if what not in self._of_what
        }
        stated = [held(self, f, sayings[f.kind, f.args]) for f in self._apart(fresh)]
        for fact, by in stated:
            self._of_what[fact.kind, fact.args] = fact, by
        for fact, several in one_for_each_pair(entries, [fact for fact, by in stated if by is None]):
            if len(several) > 1:
                self.told_otherwise[fact.id] = several
                self._of_what |= dict.fromkeys(((f.kind, f.args) for f in several), (fact, None))
        return [self._of_what[what] for what in sayings]

    @cached_property
    def _any_own_id(self) -> bool:
        return self.index.any("j")

    def _apart(self, fresh: Mapping[What, Fact]) -> list[Fact]:
        """Facts with an id of their own each, also where facts elsewhere claim the same."""
        together = dict(fresh)
        todo = [*fresh.values()] if self._any_own_id else []
        while todo:
            fact = todo.pop()
            for said in self._statements(f"i{quoted(fact.id)}\t"):
                if isinstance(said, FACT_TYPES) and (what := self._what(said)) not in together:
                    other = fact_said(self, *what, self._whole(said))
                    if other.id == fact.id:
                        together[what] = other
                        todo.append(other)
        return [f for f in told_apart(self, [*together.values()]) if (f.kind, f.args) in fresh]

    def _what(self, said: records.Statement) -> What:
        return said.kind, statement_args(self, said)

    def _whole(self, said: records.Statement) -> list[records.Statement]:
        """All the sayings of what an entry states."""
        return sayings_of(self, self.index.entries(*self._home(said)))[self._what(said)]

    def _of_pair(self, said: records.Statement) -> list[records.Entry]:
        """All entries that state the same, also those with other exceptions, in the order of reading."""
        found, wanted = self.index.entries(*self._home(said)), about(self._what(said))
        return [e for e in found if isinstance(e, FACT_TYPES) and about(self._what(e)) == wanted]

    def _home(self, said: Any) -> list[str]:
        """How the lines begin under which all the sayings are found of what an entry states."""
        if isinstance(said, records.Rebadge | records.Distinct):
            role = "r" if isinstance(said, records.Rebadge) else "d"
            return [f"o{k}\t{role}\t" for k in self.names_of("set", self.key("set", said.sets[0].key))]
        if isinstance(said, records.Uses):
            return self.of_owner(self.owner(said.owner.key), "u")
        if isinstance(said, records.Same | records.Replaces):
            one, role = (said.parts[0], "s") if isinstance(said, records.Same) else (said.new, "o")
            return [f"p{k}\t{role}\t" for k in self.names_of("part", self.key("part", one.key))]
        role = {records.Takes: "t", records.Fits: "f", records.Refuses: "x", records.Run: "n"}[type(said)]
        return self.at(Place(self.owner(said.owner.key), self.key("position", said.position.key)), role)

    def of_owner(self, owner: str, role: str) -> list[str]:
        """How the lines begin of what names an owner in a role in which a set and an assembly may stand."""
        kind = "set" if owner[0] == "s" else "assembly"
        return [f"o{k}\t{role}\t" for k in self.names_of(kind, owner[2:]) if self.owner(k) == owner]

    def at(self, place: Place, roles: str) -> list[str]:
        """How the lines begin of what names a place in one of these roles."""
        positions = self.names_of("position", place.position)
        return [line for r in roles for p in positions for line in self.of_owner(place.owner, r + p)]

    def stated(self, entries: Iterable[records.Entry]) -> Iterator[Stated]:
        """The facts that any of these entries say, whole, each once, in the order of the entries."""
        told = set()
        for entry in entries:
            if isinstance(entry, FACT_TYPES):
                what = self._what(entry)
                if what not in self._of_what:
                    self.facts(self._of_pair(entry))
                fact, by = self._of_what[what]
                if fact.id not in told:
                    told.add(fact.id)
                    yield fact, by

    def fact_with_id(self, text: str) -> Stated | None:
        """The fact with this id; of several one that nothing took back, if there is one."""
        found = [s for s in self.stated(self.with_id(text.partition("~")[0])) if text in s[0].ids]
        found = found or [s for s in self.stated(self._otherwise_named()) if text in s[0].ids]
        return next((s for s in found if s[1] is None), found[0] if found else None)

    def _otherwise_named(self) -> Iterator[records.Entry]:
        """The entries that call something by another name: the ids of their facts are written nowhere."""
        for line in self.index.starting("a"):
            kind, other, _ = line[1:].split("\t")
            key = self.key(kind, other)
            yield from (e for e in self.naming(kind, key) if key != other)
            yield from (e for e in self.leaving_out(key) if key != other)
        for other, key in self.laid["position"].names.items():
            if other != key:
                yield from self.index.entries(f"q{other}\t", f"e{other}\t")


class FetchedFacts(Facts):
    """Facts of an index, by the things that lead to one another."""

    data: FetchedNames

    def __init__(self, index: Index) -> None:
        super().__init__()
        self._sizes: FromIndex | None = None
        self.data = data = FetchedNames(index)
        self.links = OnDemand(lambda owner: self._tables(self._linking(owner)).links.get(owner, []))
        self.declares = OnDemand(lambda owner: declared(data, owner[2:]) if owner[0] == "a" else frozenset())
        self.taken_at = OnDemand(lambda place: self._tables(data.at(place, "t")).taken_at.get(place, []))
        self.takes_of = OnDemand(lambda part: self._tables(self._of(part, "t")).takes_of.get(part, []))
        self.same = OnDemand(lambda part: self._tables(self._of(part, "s")).same.get(part, []))
        self.older = OnDemand(lambda part: self._tables(self._of(part, "o")).older.get(part, []))
        self.newer = OnDemand(lambda part: self._tables(self._of(part, "n")).newer.get(part, []))
        some_fits, some_refused = (lambda: index.any("vfits\t")), (lambda: index.any("vrefuses\t"))
        self.fits_from = OnDemand(lambda at: self._tables(data.at(at, "fg")).fits_from.get(at, []), some_fits)
        self.fits_to = OnDemand(lambda at: self._tables(data.at(at, "fg")).fits_to.get(at, []), some_fits)
        self.refused_at = OnDemand(
            lambda at: self._tables(data.at(at, "x")).refused_at.get(at, []), some_refused
        )
        self.distinct = OnDemand(lambda owner: self._tables(self._designs(owner)).distinct.get(owner, []))
        self.runs_at = OnDemand(lambda at: self._tables(data.at(at, "n")).runs_at.get(at, []))
        self.parts_of_kind = OnDemand(self._parts_of_kind)

    def _of(self, part: str, role: str) -> list[str]:
        return [f"p{k}\t{role}\t" for k in self.data.names_of("part", part)]

    def _designs(self, owner: str) -> list[str]:
        """How the lines begin of the `distinct` entries that name an owner."""
        return [f"o{k}\td\t" for k in self.data.names_of("set", owner[2:])] if owner[0] == "s" else []

    def _linking(self, owner: str) -> list[str]:
        """How the lines begin of the `rebadge` and `uses` entries that name an owner."""
        kind, own = ("set", "r") if owner[0] == "s" else ("assembly", "a")
        named = [f"o{k}\t{own}\t" for k in self.data.names_of(kind, owner[2:])]
        return [*named, *self.data.of_owner(owner, "u")]

    def _tables(self, lines: Sequence[str]) -> Tables:
        """What the facts of these lines lead to."""
        made = Tables()
        found = self.data.facts(self.data.index.entries(*lines))
        fill(made, self, {f.id: f for f, by in found if by is None}.values())
        return made

    def _parts_of_kind(self, kind: str) -> list[str]:
        lines = [f"k{k}\t" for k in self.data.names_of("kind", kind)]
        found = {e.name.key for e in self.data.index.entries(*lines) if isinstance(e, records.Part)}
        return sorted(p for p in found if self.data.kind_of(p) == kind)

    def compare_sizes(self, part: str, forward: bool) -> list[tuple[str, Fact]]:
        """The parts whose size a part agrees with (`forward`), or that agree with it."""
        if self._sizes is None:
            from kgraph.source.sized import FromIndex

            self._sizes = FromIndex(self.data)
        return self._sizes.equal(part, forward)
