"""A folder compiled in shares: the rows of each share of its files, and what they are together.

A share is built like a folder of its own, with all entries of the others beside it that reach beyond their
own share: other names, assemblies, kinds, positions, sources, grades, withdrawals, ids of one's own, things
that several shares declare, and pairs that are said with unlike exceptions. Rows of one key from several
shares are joined. What can only be seen with all facts at hand raises Apart, and the folder is compiled
whole.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from kgraph import collection, records
from kgraph.claims import RefusesClaim
from kgraph.collection import resolving, sayings
from kgraph.facts import Fact
from kgraph.fits import graph as graphs
from kgraph.index import compiling
from kgraph.index.store import packed

Numbers = Mapping[str, tuple[int, str]]
"""For each file as facts name it, in the order of reading, which folder it lies in and its path there."""
Packed = tuple[str, bytes]
"""The key of a row, and the row as the index file has it."""

_OWN = (records.SetModel, records.Part, records.Unit, records.Stock)
"""Declared things that concern their own share alone, unless they have other names."""


class Apart(Exception):
    """This folder must be compiled whole."""


@dataclass
class Told:
    """What a share tells the others of itself."""

    wide: list[records.Entry] = field(default_factory=list)
    """The entries that reach beyond their share."""
    declared: dict[tuple[str, str], str] = field(default_factory=dict)
    """The kind and key of every thing declared here -> the first file that does."""
    again: dict[tuple[str, str], set[str]] = field(default_factory=dict)
    """The same for things that further files declare -> those files."""
    assemblies: set[str] = field(default_factory=set)
    """The keys of what is used as an assembly."""
    pairs: dict[int, tuple[int, str]] = field(default_factory=dict)
    """Every two that a fact with exceptions joins -> its exceptions, and the first file that says so."""
    pairs_again: dict[int, set[str]] = field(default_factory=dict)
    """The same for those of which further files say so -> those files."""
    unlike: set[int] = field(default_factory=set)
    """Those that are said with unlike exceptions."""
    facts: int = 0

    def add(self, entries: Iterable[records.Entry]) -> int:
        """Take in the entries of one file; how many facts they are."""
        before = self.facts
        for entry in entries:
            if isinstance(entry, records.Thing):
                thing, file = (entry.kind, entry.name.key), entry.where.file
                if self.declared.setdefault(thing, file) != file:
                    self.again.setdefault(thing, set()).add(file)
            elif isinstance(entry, sayings.FACT_TYPES):
                self.facts += 1
                if isinstance(entry, records.Uses):
                    self.assemblies.add(entry.assembly.key)
                if isinstance(entry, _EXCEPTING):
                    self._note_pair(entry)
            if _is_wide(entry):
                self.wide.append(entry)
        return self.facts - before

    def _note_pair(self, entry: records.Rebadge | records.Uses) -> None:
        pair, file = _pair(entry), entry.where.file
        left_out = hash(tuple(sorted(n.key for n in entry.exceptions)))
        first, before = self.pairs.setdefault(pair, (left_out, file))
        if first != left_out:
            self.unlike.add(pair)
        if before != file:
            self.pairs_again.setdefault(pair, set()).add(file)


_EXCEPTING = (records.Rebadge, records.Uses)


def _pair(entry: records.Rebadge | records.Uses) -> int:
    """The two that it joins, as a number that all processes of one compiling make alike."""
    if isinstance(entry, records.Uses):
        return hash((entry.kind, entry.assembly.key, entry.owner.key))
    return hash((entry.kind, *sorted(n.key for n in entry.sets)))


def _is_wide(entry: records.Entry) -> bool:
    if isinstance(entry, records.Statement):
        return isinstance(entry, records.Withdraw | records.Run) or bool(entry.own_id.strip())
    return not isinstance(entry, _OWN) or bool(entry.also)


@dataclass
class World:
    """What all shares together tell each one."""

    wide: list[records.Entry]
    assemblies: set[str]


def world(told: Sequence[Told], read: Callable[[str], Iterable[records.Entry]]) -> World:
    """What each share has to know; `read` gives the entries of a file, which is asked of few."""
    wide = [entry for one in told for entry in one.wide]
    assemblies = set().union(*(one.assemblies for one in told))
    wanted = _of_several(told) | _also_named(wide) | {("set", key) for key in assemblies}
    wanted |= {("set", e.name.key) for e in wide if isinstance(e, records.Assembly)}
    files = {file for one in told for thing, file in one.declared.items() if thing in wanted}
    files |= {
        file for one in told for thing, several in one.again.items() if thing in wanted for file in several
    }
    unlike = _unlike(told)
    files |= {file for one in told for pair, (_, file) in one.pairs.items() if pair in unlike}
    files |= {file for one in told for pair in unlike for file in one.pairs_again.get(pair, ())}
    found = (entry for file in sorted(files) for entry in read(file) if not _is_wide(entry))
    wide += (entry for entry in found if _is_wanted(entry, wanted, unlike))
    return World(wide, assemblies)


def _is_wanted(entry: records.Entry, things: set[tuple[str, str]], pairs: set[int]) -> bool:
    if isinstance(entry, records.Thing):
        return (entry.kind, entry.name.key) in things
    return isinstance(entry, _EXCEPTING) and _pair(entry) in pairs


def _unlike(told: Sequence[Told]) -> set[int]:
    """Every two that are said with unlike exceptions, in one share or in several."""
    unlike = set().union(*(one.unlike for one in told))
    seen: dict[int, int] = {}
    for one in told:
        for pair, (left_out, _) in one.pairs.items():
            if seen.setdefault(pair, left_out) != left_out:
                unlike.add(pair)
    return unlike


def _of_several(told: Sequence[Told]) -> set[tuple[str, str]]:
    """The things that more than one share declares."""
    seen: set[tuple[str, str]] = set()
    several: set[tuple[str, str]] = set()
    for one in told:
        several |= seen & one.declared.keys()
        seen |= one.declared.keys()
    return several


def _also_named(wide: Iterable[records.Entry]) -> set[tuple[str, str]]:
    """What would be a thing of its own under another's other name."""
    return {(e.kind, other.key) for e in wide if isinstance(e, records.Thing) for other in e.also}


class Share:
    """One share with what the others told it."""

    def __init__(self, entries: list[records.Entry], world: World, files: Numbers) -> None:
        """Raises Apart."""
        numbers = {file: number for number, file in enumerate(files)}
        mine = {numbers[e.where.file] for e in entries}
        beside = sorted(
            (e for e in world.wide if numbers[e.where.file] not in mine),
            key=lambda e: (numbers[e.where.file], e.where.line),
        )
        first = min(mine, default=0)
        before = [e for e in beside if numbers[e.where.file] < first]
        data = collection.build([*before, *entries, *beside[len(before) :]], world.assemblies)
        if data.clashing_ids or any(_is_stock_by_another_name(data, e) for e in data.entries):
            raise Apart
        self.files = files
        self.last = max(mine, default=0)
        self.features = _features(data, [*before, *entries])
        self.graph = graphs.build(data)
        self.gone: dict[str, set[str]] = {}
        """For the key of a row, what is said by facts that are withdrawn and would stand in it."""
        for fact, _ in data.withdrawn.values():
            self.gone.setdefault(_row_of(fact), set()).add(said(fact.kind, fact.claim))
        self.joined = {said(f.kind, f.claim) for fs in data.told_otherwise.values() for f in fs}
        """What is said by facts that stand in the rows as one, for they differ in their exceptions alone."""

    def rows(self) -> Iterator[Packed]:
        """Its rows, in the order of their keys; things that only later shares name are left to them."""
        later: set[str] = set()
        for key, value in compiling.rows(self.graph, self.files):
            if key == "positions":
                value = {k: text for k, text in value.items() if f"n|position|{k}" not in later}
            elif key[:2] in ("n|", "o|", "p|") and self._is_later(key, value):
                later.add(key)
                continue
            yield key, packed(key, value)

    def _is_later(self, key: str, row: Mapping[str, Any]) -> bool:
        if "feature" in row:
            return key.removeprefix("n|position|") not in self.features
        return bool(row["w"]) and row["w"][0] > self.last


def _is_stock_by_another_name(data: collection.Collection, entry: records.Entry) -> bool:
    return isinstance(entry, records.Stock) and data.key("stock", entry.name.key) != entry.name.key


def _features(data: collection.Collection, entries: Iterable[records.Entry]) -> set[str]:
    """The keys of all that entries leave out."""
    left_out = (n for e in entries if isinstance(e, records.Rebadge | records.Uses) for n in e.exceptions)
    return {resolving.exception_key(data, n) for n in left_out}


def said(kind: str, args: Any) -> str:
    """What a fact says, whatever its id."""
    return json.dumps([kind, args])


def _about(kind: str, args: Any) -> str:
    """The same without exceptions: all that differ in these alone must be one fact."""
    return said(kind, args[:2] if kind in ("rebadge", "uses") else args)


def _row_of(fact: Fact) -> str:
    """The key of one of the rows in which a fact stands."""
    if isinstance(fact.claim, RefusesClaim):
        return f"o|{fact.claim.owner}"
    first = fact.claim[0]
    return f"p|{first}" if fact.kind in ("takes", "same", "replaces") else f"o|{first}"


# Rows of one key, joined -------------------------------------------------------------------------


def join(key: str, one: bytes, other: bytes) -> bytes:
    """One row of two that shares have under a key; raises Apart."""
    if one == other:
        return one
    how = _JOIN.get(key) or _JOIN.get(key[:2])
    if how is None:
        raise Apart
    return packed(key, how([json.loads(one[4:]), json.loads(other[4:])]))


def stands(row: bytes, those: Container[str]) -> bool:
    """Whether a fact of the row of an owner or part says one of those things."""
    found = json.loads(row[4:])
    at_places = (lists for lists in found.get("p", {}).values())
    of_parts = {letter: found[letter] for letter in compiling.OF if letter in found}
    facts = [entry[1] for entry in found.get("l", ())]
    facts += [entry[-1] for lists in (*at_places, of_parts) for found in lists.values() for entry in found]
    return any(said(kind, args) in those for _, kind, args, _ in facts)


def _any(values: list[Any]) -> Any:
    return {name: any(v[name] for v in values) for name in values[0]}


def _all(values: list[Any]) -> Any:
    return sorted(set().union(*values))


def _first_of_each(values: list[Any]) -> Any:
    first, second = values
    return {**second, **first}


def _fact(values: list[Any]) -> Any:
    kind, args, _, _, ids = values[0]
    if any(v[:2] != [kind, args] or v[4] != ids for v in values):
        raise Apart
    evidence = _each_once(e for v in values for e in v[3])
    evidence.sort(key=lambda e: e[:3])
    return [kind, args, max(v[2] for v in values), evidence, ids]


def _each_once(found: Iterable[Any]) -> list[Any]:
    return list({json.dumps(one): one for one in found}.values())


def _kind(values: list[Any]) -> Any:
    if any(v["c"] != values[0]["c"] or v["r"] != values[0]["r"] for v in values):
        raise Apart
    if values[0]["r"] is None:
        return values[0]
    return values[0] | {"s": dict(sorted(_first_of_each([v["s"] for v in values]).items()))}


def _named(values: list[Any]) -> Any:
    """A thing has its name from where it is first declared, else from where it is first used."""
    known = [v for v in values if "feature" not in v]
    if not known:
        return values[0]
    shown = next((v for v in known if v["e"]), min(known, key=lambda v: v["w"][:1]))
    files = {part: sorted({f for v in known for f in v[part]})[: compiling.MOST_FILES] for part in "ew"}
    return shown | files


def _owner(values: list[Any]) -> Any:
    places = {place: None for v in values for place in v["p"]}
    at = {place: _lists([v["p"].get(place, {}) for v in values]) for place in places}
    return _named(values) | {"l": _facts([v["l"] for v in values], 1), "p": at}


def _part(values: list[Any]) -> Any:
    lists = _lists([{k: v[k] for k in compiling.OF if k in v} for v in values])
    return _named(values) | lists


def _lists(values: list[dict[str, list[Any]]]) -> Any:
    letters = {letter: None for v in values for letter in v}
    return {letter: _facts([v.get(letter, []) for v in values], -1) for letter in letters}


def _facts(lists: list[list[Any]], at: int) -> list[Any]:
    """Entries whose fact stands at an index: each fact as the most certain share has it."""
    by_fact: dict[str, list[Any]] = {}
    ids: dict[str, str] = {}
    for found in lists:
        mine: dict[str, list[Any]] = {}
        for entry in found:
            one, kind, args, _ = entry[at]
            if ids.setdefault(_about(kind, args), one) != one:
                # Written in two ways, or with two lists of exceptions, of which no share knows both.
                raise Apart
            mine.setdefault(one, []).append(entry)
        for one, entries in mine.items():
            if one not in by_fact or entries[0][at][3] > by_fact[one][0][at][3]:
                by_fact[one] = entries
    return [entry for one in sorted(by_fact) for entry in by_fact[one]]


def _distinct(values: list[Any]) -> list[Any]:
    return [short for (short,) in _facts([[[short] for short in v] for v in values], 0)]


_JOIN: Mapping[str, Callable[[list[Any]], Any]] = {
    "any": _any,
    "distinct": _distinct,
    "targets": _all,
    "claimed": _all,
    "ruled": _all,
    "positions": _first_of_each,
    "f|": _fact,
    "k|": _kind,
    "n|": _named,
    "o|": _owner,
    "p|": _part,
}
