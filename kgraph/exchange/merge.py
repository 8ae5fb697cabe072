"""Another folder merged into this one: what is new is added with where it came from, what differs is told.

Each saying of the other folder is added once, whatever was said here before: the same fact is then one fact
with both sources. So the order in which folders are merged changes no fact, certainty or evidence, as long as
no two of them use one name for two things. Grades and trust in sources are everybody's own scale: where ours
is another, their number is written on the saying. A withdrawal takes back here what it took back there.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from kgraph import collection, records
from kgraph.checks import new_problems
from kgraph.collection import (
    EVENT_TYPES,
    FACT_TYPES,
    Collection,
    graded,
    source_trust,
    statement_args,
    written_id,
)
from kgraph.exchange.formats import Pairs
from kgraph.exchange.joining import SHELF, Joining
from kgraph.exchange.meanings import Meanings
from kgraph.exchange.origins import Saying, how_of, marked, saying_of, split_note
from kgraph.fits import graph as graphs
from kgraph.folder.writing import Value
from kgraph.names import fold
from kgraph.problems import Problem, shown


@dataclass(frozen=True, slots=True)
class Wanted:
    """How to merge: the name of the other folder, what its word counts, and whether its shelf is ours too."""

    origin: str
    trust: float = 1.0
    shelf: bool = False


@dataclass
class Merged:
    """What merging adds, `entries`, made of those in `entries_there`; and what it does not."""

    entries: list[Pairs] = field(default_factory=list)
    entries_there: list[records.Entry] = field(default_factory=list)
    already: int = 0
    shelf: int = 0
    """Entries of their shelf that were left out."""
    conflicts: list[Problem] = field(default_factory=list)

    def add(self, record: records.Entry, pairs: Pairs) -> None:
        """One more entry that is new."""
        self.entries.append(pairs)
        self.entries_there.append(record)


def merge(ours: Collection, theirs: Collection, wanted: Wanted) -> Merged:
    """What of another folder is new here, marked with its origin, and every conflict, at its place there."""
    merged = Merged()
    joining = Joining(ours, theirs)
    withdrawals: list[records.Withdraw] = []
    for entry in theirs.entries:
        if isinstance(entry, records.Thing) and (entry.kind not in SHELF or wanted.shelf):
            _thing(joining, entry, wanted, merged)
    facts = _Sayings(ours, theirs, wanted, merged)
    for entry in theirs.entries:
        if isinstance(entry, records.Withdraw):
            withdrawals.append(entry)
        elif isinstance(entry, FACT_TYPES) or (
            isinstance(entry, EVENT_TYPES)
            and wanted.shelf
            and not _names_other_unit(entry, joining.clashing_units)
        ):
            facts.add(entry)
    for withdraw in withdrawals:
        facts.add_withdrawal(withdraw)
    _declare_folders(ours, merged)
    merged.shelf = 0 if wanted.shelf else sum(e.kind in SHELF for e in theirs.entries)
    merged.conflicts = [*joining.conflicts, *facts.conflicts]
    return merged


OF_A_FOLDER = "what another folder says without a source of its own"
"""The note of the source that stands for a merged folder."""


def _declare_folders(ours: Collection, merged: Merged) -> None:
    """Each folder that now is the source of a saying, as a source; once, and before all else."""
    declared = {r.name.key for r in merged.entries_there if isinstance(r, records.Source)}
    named: dict[str, tuple[str, records.Entry]] = {}
    for pairs, entry in zip(merged.entries, merged.entries_there, strict=True):
        said = dict(pairs)
        _, origin = split_note(str(said.get("note", "")))
        if isinstance(entry, records.Statement) and origin and said.get("source") == origin:
            named.setdefault(fold(origin), (origin, entry))
    for key, (origin, entry) in named.items():
        if key not in declared and ours.key("source", key) not in ours.things["source"]:
            merged.entries.insert(0, [("source", origin), ("type", "letter"), ("note", OF_A_FOLDER)])
            merged.entries_there.insert(0, entry)


def _thing(joining: Joining, thing: records.Thing, wanted: Wanted, merged: Merged) -> None:
    told = len(joining.conflicts)
    if ("note", OF_A_FOLDER) in thing.attributes:
        merged.already += 1
        return
    pairs = joining.news(thing)
    if pairs is None:
        merged.already += len(joining.conflicts) == told
        return
    said: dict[str, Value] = dict(pairs)
    note, origin = split_note(str(said.pop("note", "")))
    said["note"] = marked(note, origin or wanted.origin)
    merged.add(thing, list(said.items()))


def _names_other_unit(event: records.Statement, units: set[str]) -> bool:
    named = [event.unit, event.to] if isinstance(event, records.Taken) else []
    named += [event.to] if isinstance(event, records.Restored) else []
    return any(n and n.key in units for n in named)


# Sayings --------------------------------------------------------------------------------------

_MADE_ID = re.compile(r"[0-9a-f]{16}\Z")
"""An id made of what a fact states means the same in every folder; an own id need not."""


class _Sayings:
    """The sayings of this folder, and those of the other as they are added, when all things are."""

    def __init__(self, ours: Collection, theirs: Collection, wanted: Wanted, merged: Merged) -> None:
        self.ours, self.theirs, self.wanted, self.merged = ours, theirs, wanted, merged
        self.both = collection.build([*ours.entries, *theirs.entries])
        self.conflicts: list[Problem] = []
        self.meanings = Meanings(ours, theirs, merged.entries)
        self.have: dict[Saying, list[tuple[str, float]]] = defaultdict(list)
        self.ids: dict[str, tuple[object, ...]] = {}
        self.theirs_by_id: dict[str, list[records.Statement]] = defaultdict(list)
        for record in _statements(theirs):
            for one in {record.own_id.strip(), written_id(record)} - {""}:
                self.theirs_by_id[one].append(record)
        for record in _statements(ours):
            self.have[saying_of(ours, record)].append((fold(split_note(record.note)[1]), _own_trust(record)))
            if own := record.own_id.strip():
                self.ids.setdefault(own, self._states(record))

    def _states(self, record: records.Statement) -> tuple[object, ...]:
        """What a record states, by one reading of the names for both folders."""
        if isinstance(record, FACT_TYPES):
            return (record.kind, *statement_args(self.both, record))
        return (record.kind, written_id(record))

    def add(self, record: records.Statement) -> None:
        """Add a fact or event, unless this saying of it is here already."""
        said = self.meanings.said_here(record)
        if said is None:
            says = f"a name in this {record.kind} is that of something else here"
            self._conflict(record, "other-meaning", says, "it is left out; write it by hand with other names")
            return
        note, before = split_note(record.note)
        origin = before or self.wanted.origin
        trust = self._trust(record)
        if self._is_here(saying_of(self.theirs, record), origin, trust):
            self.merged.already += 1
            return
        self._keep_scale(record, said, trust)
        if record.source is None:
            said["source"] = origin
        said["note"] = marked(note, origin)
        if own := record.own_id.strip():
            self._keep_id(record, own, said)
        self.merged.add(record, list(said.items()))

    def _is_here(self, saying: Saying, origin: str, trust: float) -> bool:
        """Whether it was said here by ourselves, or came from the same folder with as much trust before."""
        found = self.have[saying]
        if any(not by or (by == fold(origin) and trusted >= trust) for by, trusted in found):
            return True
        found.append((fold(origin), trust))
        return False

    def _trust(self, record: records.Statement) -> float:
        """The trust to be written on a saying: ours in the folder, theirs in the saying and in its source."""
        trust = _own_trust(record) * self.wanted.trust
        key = record.source.key if record.source else ""
        if key and not _says_trust(self.ours, key):
            trust *= source_trust(self.theirs, key)
        return float(_number(trust))

    def _keep_scale(self, record: records.Statement, said: dict[str, Value], trust: float) -> None:
        how = how_of(record)
        value = graded(self.theirs, record)
        if record.certainty is None and self.ours.grades.get(self.ours.key("grade", how)) != value:
            known = self.ours.key("grade", how) in self.ours.grades
            name = record.how if known else self.theirs.text("grade", self.theirs.key("grade", how))
            said["how"], said["certainty"] = name or how, f"{value!r}"
        said.pop("trust", None)
        if trust != 1:
            said["trust"] = _number(trust)

    def _keep_id(self, record: records.Statement, own: str, said: dict[str, Value]) -> None:
        """Keep an id of their own, unless it stands for another statement here."""
        states = self._states(record)
        if self.ids.setdefault(own, states) == states:
            return
        del said["id"]
        says = f"id {shown(own)} stands for another statement here"
        self._conflict(record, "id-twice", says, "their fact is added without it")

    def _conflict(self, record: records.Entry, code: str, says: str, mend: str) -> None:
        self.conflicts.append(Problem(record.where, code, says, mend))

    # Withdrawals.

    def add_withdrawal(self, withdraw: records.Withdraw) -> None:
        """Add a withdrawal, so that it takes back the same here as there."""
        found = self._resent(withdraw, frozenset())
        if found is None:
            return
        note, before = split_note(withdraw.note)
        origin = before or self.wanted.origin
        if self._is_here(saying_of(self.theirs, found), origin, 1.0):
            self.merged.already += 1
            return
        said: dict[str, Value] = {key: records.plain(value) for key, value in found.pairs}
        said["note"] = marked(note, origin)
        if own := withdraw.own_id.strip():
            self._keep_id(withdraw, own, said)
        self.merged.add(found, list(said.items()))

    def _resent(self, withdraw: records.Withdraw, seen: frozenset[str]) -> records.Withdraw | None:
        """The withdrawal with a target that means the same in this folder; None where nothing does."""
        target = withdraw.target.strip()
        meant = self._statements_of(target)
        if any(isinstance(m, records.Taken | records.Restored) for m in meant) and not self.wanted.shelf:
            self.merged.shelf += 1
            return None
        if not meant and _MADE_ID.match(target):
            return withdraw
        if len({self._states(m) for m in meant}) != 1:
            what = "several statements" if meant else "no statement"
            says = f"withdraw: {shown(target)} is the id of {what} there"
            self._conflict(
                withdraw, "unknown-withdraw", says, "it is left out; withdraw by hand what is meant"
            )
            return None
        first = meant[0]
        if isinstance(first, records.Withdraw) and target not in seen:
            first = self._resent(first, seen | {target}) or first
        new = target if target == first.own_id.strip() and self._is_kept(target, first) else written_id(first)
        if any(target == written_id(m) for m in meant) and not isinstance(first, records.Withdraw):
            new = target
        pairs = tuple((k, new if k == "withdraw" else v) for k, v in withdraw.pairs)
        return withdraw.changed(target=new, pairs=pairs)

    def _is_kept(self, own: str, record: records.Statement) -> bool:
        """Whether an own id of theirs stands for the same statement here, now that all have been added."""
        return self.ids.get(own) == self._states(record)

    def _statements_of(self, target: str) -> list[records.Statement]:
        found = self.theirs_by_id.get(target, [])
        if found or not _MADE_ID.match(target):
            return found
        # The id of a fact with every `also` name resolved is that of no single record.
        facts = [*self.theirs.facts_as_said(), *(f for f, _ in self.theirs.withdrawn.values())]
        return [f.record for f in facts if target in f.ids and f.record][:1]


def _statements(data: Collection) -> Iterator[records.Statement]:
    return (e for e in data.entries if isinstance(e, records.Statement))


def _number(value: float) -> str:
    """A trust as it is written, without an exponent, and never nothing at all."""
    return f"{max(value, 1e-6):.9f}".rstrip("0").rstrip(".")


def _own_trust(record: records.Statement) -> float:
    return 1.0 if record.trust is None else record.trust


def _says_trust(data: Collection, key: str) -> bool:
    found = data.things["source"].get(data.key("source", key), ())
    return any(isinstance(e, records.Source) and e.trust is not None for e in found)


# What the two say against each other ----------------------------------------------------------

_CONFLICTS = {
    *("fact-and-refuses", "two-originals", "replaces-circle", "uses-circle", "same-but-differ"),
    "told-otherwise",
}
"""Codes of the warnings of `check` that tell of a disagreement; its errors all do."""


def conflicts_between(ours: Collection, theirs: Collection, new: Iterable[records.Entry]) -> list[Problem]:
    """What is wrong or contradictory with the new entries, and is so in neither folder by itself."""
    after = collection.build([*ours.entries, *new])
    found = new_problems(after, *((one, graphs.build(one)) for one in (ours, theirs)))
    return [*_taken_back(ours, theirs, after), *(p for p in found if _is_conflict(p))]


def _is_conflict(problem: Problem) -> bool:
    return problem.severity == "error" or problem.code in _CONFLICTS


def _taken_back(ours: Collection, theirs: Collection, after: Collection) -> Iterator[Problem]:
    """Facts that one of the two took back and the other holds."""
    held = {(f.kind, f.args): f for f in ours.facts_as_said()}
    gone = {(f.kind, f.args) for f, _ in ours.withdrawn.values()}
    told = {(f.kind, f.args) for f in theirs.facts_as_said()}
    for fact, by in after.withdrawn.values():
        states = (fact.kind, fact.args)
        where = fact.evidence[0].where
        if states in held:
            says = (
                f"takes back the {fact.kind} at {held[states].evidence[0].where}, which holds here until then"
            )
            yield Problem(by.where, "withdrawn", says, "withdraw their withdrawal if ours is right")
        elif states in gone and states in told:
            says = f"this {fact.kind} is held there, and was taken back here at {by.where}"
            yield Problem(where, "withdrawn", says, "it stays taken back; withdraw ours if theirs is right")
