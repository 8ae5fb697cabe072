"""Another folder merged into this one, and kept up with: each saying with whose folder it came by.

What is said there anew is added, what came from there before and is no longer said there is taken back, for
that folder alone. What we say ourselves nobody takes back; what they took back and we hold is told. So
neither the order in which folders are merged nor merging again changes an answer, as long as no two of them
use one name for two things. Grades and trust in sources are everybody's own scale: where ours is another,
their number is written on the saying. What their word counts as a whole stands in the entry `via`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Iterable, Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

from kgraph import collection, records
from kgraph.checks import new_problems
from kgraph.collection import Collection, trusting
from kgraph.collection.fact_ids import saying_id, thing_id, written_id
from kgraph.collection.resolving import claim_of
from kgraph.collection.sayings import EVENT_TYPES, FACT_TYPES
from kgraph.collection.trusting import graded, source_trust, via_trust
from kgraph.events import withdrawn_events
from kgraph.exchange import kept_up
from kgraph.exchange.formats import Pairs
from kgraph.exchange.joining import SHELF, Joining
from kgraph.exchange.meanings import Meanings
from kgraph.exchange.origins import Saying, how_of, saying_of
from kgraph.facts import Fact
from kgraph.fits import graph as graphs
from kgraph.folder.marks import split_note
from kgraph.folder.writing import Value
from kgraph.names import Name, fold
from kgraph.problems import Problem, Where, shown


@dataclass(frozen=True, slots=True)
class MergeWishes:
    """How to merge: the name of the other folder, what its word counts, and whether its shelf is ours too."""

    origin: str
    trust: float = 1.0
    shelf: bool = False
    date: str = ""


@dataclass(frozen=True, slots=True)
class TakenBack:
    """A fact that they took back and we say ourselves: our fact, what we said of it, and their withdrawal."""

    fact: Fact
    sayings: tuple[records.Statement, ...]
    by: records.Withdraw

    def entries(self, origin: str, date: str) -> list[Pairs]:
        """The withdrawals of what we said ourselves."""
        why = f"{origin} took it back: {self.by.why}" if self.by.why else f"{origin} took it back"
        told: Pairs = [("why", why), *([("date", date)] if date else [])]
        return [[("withdraw", saying_id(record.pairs)), *told] for record in self.sayings]


class Like(NamedTuple):
    """A folder by whose name some sayings came before, how many of them theirs has, and of how many."""

    name: str
    same: int
    of: int


LEAST_SAME = 3
"""So many equal sayings, and half of all by a name, make an unlike name doubtful: a choice of our own."""


@dataclass
class Merged:
    """What merging adds, `entries`, made of those in `entries_there`; and what it does not."""

    entries: list[Pairs] = field(default_factory=list)
    entries_there: list[records.Entry] = field(default_factory=list)
    already: int = 0
    shelf: int = 0
    """Entries of their shelf that were left out."""
    conflicts: list[Problem] = field(default_factory=list)
    against: list[TakenBack] = field(default_factory=list)
    """What they took back and we say ourselves."""
    like: Like | None = None
    """The folder that brought the same before, where theirs came by no name that is known."""

    def add(self, record: records.Entry, pairs: Pairs) -> None:
        """One more entry that is new."""
        self.entries.append(pairs)
        self.entries_there.append(record)


def merge(ours: Collection, theirs: Collection, wanted: MergeWishes) -> Merged:
    """What of another folder is new here, by whose folder it came, and every conflict, at its place there."""
    merged = Merged()
    folder = ours.key("via", fold(wanted.origin))
    if gone := Joining(ours, theirs, folder, wanted.shelf).no_longer_said():
        for thing in gone:
            merged.add(thing, kept_up.withdrawal(thing, wanted.date))
        ours = kept_up.without(ours, gone)
    joining = Joining(ours, theirs, folder, wanted.shelf)
    taken = {thing_id(thing) for thing in (*gone, *(t for t, _ in ours.gone_things.values()))}
    _declare_folder(ours, theirs, wanted, merged, taken)
    for entry in theirs.standing:
        if isinstance(entry, records.Thing) and joining.is_taken(entry):
            _thing(joining, entry, wanted, merged, taken)
    facts = _Sayings(ours, theirs, wanted, merged)
    for entry in theirs.entries:
        if isinstance(entry, FACT_TYPES) or (
            isinstance(entry, EVENT_TYPES)
            and wanted.shelf
            and not _names_other_unit(entry, joining.clashing_units)
        ):
            facts.read(entry)
    facts.add_new()
    facts.take_back_old()
    merged.shelf = 0 if wanted.shelf else sum(e.kind in SHELF for e in theirs.entries)
    merged.against = list(_taken_back_there(ours, theirs))
    merged.conflicts = [*joining.conflicts, *facts.conflicts, *map(_told, merged.against)]
    merged.conflicts += kept_up.taken_back_there(ours, theirs)
    merged.like = facts.like()
    return merged


def _declare_folder(
    ours: Collection, theirs: Collection, wanted: MergeWishes, merged: Merged, taken: Container[str]
) -> None:
    """What their word counts, where that was not said so before."""
    before = via_trust(ours, ours.key("via", fold(wanted.origin)))
    if before != wanted.trust and theirs.entries:
        pairs: Pairs = [("via", wanted.origin), ("trust", _number(wanted.trust)), ("date", wanted.date)]
        merged.add(theirs.entries[0], kept_up.unlike(taken, [(k, v) for k, v in pairs if v]))


def _taken_back_there(ours: Collection, theirs: Collection) -> Iterator[TakenBack]:
    """Facts that they took back and we say ourselves: whether ours are to go is for us to say, one by one."""
    held = {(f.kind, f.claim): f for f in ours.facts_as_said()}
    for fact, by in theirs.withdrawn.values():
        mine = held.get((fact.kind, fact.claim))
        places = {e.where for e in mine.evidence if not e.via} if mine else set()
        own = tuple(e for e in ours.entries if isinstance(e, FACT_TYPES) and e.where in places)
        if mine is not None and own:
            yield TakenBack(mine, own, by)


def _told(back: TakenBack) -> Problem:
    why = f" ({back.by.why})" if back.by.why else ""
    mine = back.fact
    says = f"the {mine.kind} {mine.id} is taken back there{why}, and said by ourselves at {mine.where}"
    return Problem(back.by.where, "taken-back-there", says, f"if they are right: kgraph withdraw {mine.id}")


def _thing(
    joining: Joining, thing: records.Thing, wanted: MergeWishes, merged: Merged, taken: Container[str]
) -> None:
    """Add what is new of a thing; `taken` are the ids by which entries of things were taken back."""
    if thing.kind == "via" or ("note", OF_A_FOLDER) in thing.attributes:
        return
    told = len(joining.conflicts)
    pairs = joining.news(thing)
    if pairs is None:
        merged.already += len(joining.conflicts) == told
        return
    said: dict[str, Value] = dict(pairs)
    if note := split_note(str(said.pop("note", "")))[0]:
        said["note"] = note
    said["via"] = wanted.origin
    merged.add(thing, kept_up.unlike(taken, list(said.items())))


OF_A_FOLDER = "what another folder says without a source of its own"
"""The note of the source that once stood for a merged folder."""


def _names_other_unit(event: records.Statement, units: set[str]) -> bool:
    named: list[Name | None] = []
    named += [event.unit] if isinstance(event, records.Taken | records.Inspected) else []
    named += [event.to] if isinstance(event, records.Taken | records.Restored | records.Fitted) else []
    return any(n and n.key in units for n in named)


# Sayings --------------------------------------------------------------------------------------

_Here = tuple[records.Statement, float | None, bool]
"""A saying that came by their folder before, the trust written on it, and whether it still counts here."""


class _Sayings:
    """The sayings of this folder, and those of the other as they are added, when all things are."""

    def __init__(self, ours: Collection, theirs: Collection, wanted: MergeWishes, merged: Merged) -> None:
        self.ours, self.theirs, self.wanted, self.merged = ours, theirs, wanted, merged
        both = (e for e in (*ours.standing, *theirs.standing) if not isinstance(e, records.Withdraw))
        self.both = collection.build(both)
        self.conflicts: list[Problem] = []
        self.meanings = Meanings(ours, theirs, merged.entries)
        self.mine: set[Saying] = set()
        self.came: dict[Saying, list[_Here]] = defaultdict(list)
        self.by_others: dict[str, set[Saying]] = defaultdict(set)
        self.ids: dict[str, tuple[object, ...]] = {}
        self.now: dict[Saying, tuple[records.Statement, float]] = {}
        self.held_there = _held(theirs)
        folder, held_here = ours.key("via", fold(wanted.origin)), _held(ours)
        for record in _statements(ours):
            if isinstance(record, records.Withdraw):
                continue
            saying = saying_of(ours, record, self._states)
            if own := record.own_id.strip():
                self.ids.setdefault(own, saying.states)
            if not record.via:
                self.mine.add(saying)
            elif ours.key("via", record.via[0].key) == folder:
                trust = _own_trust(record) if record.states("via") else None
                self.came[saying].append((record, trust, record.where in held_here))
            elif len(record.via) == 1:
                self.by_others[ours.key("via", record.via[0].key)].add(saying)

    def _states(self, record: records.Statement) -> tuple[object, ...]:
        """What a record states, by one reading of the names for both folders."""
        if isinstance(record, FACT_TYPES):
            return (record.kind, *claim_of(self.both, record))
        return (record.kind, written_id(record))

    def read(self, record: records.Statement) -> None:
        """Take in what still holds there; what they have at third hand their own source would tell."""
        if record.where not in self.held_there or len(record.via) > 1:
            return
        saying, trust = saying_of(self.theirs, record, self._states), self._trust(record)
        if saying in self.mine:
            self.merged.already += 1
        elif saying not in self.now or self.now[saying][1] < trust:
            self.now[saying] = record, trust

    def like(self) -> Like | None:
        """The folder that most of this came by before, where nothing came by the name of this one."""
        if any(self.came.values()):
            return None
        found = [(len(said & self.now.keys()), len(said), key) for key, said in self.by_others.items()]
        same, of, key = max(found, default=(0, 0, ""))
        return Like(self.ours.text("via", key), same, of) if same >= LEAST_SAME and 2 * same >= of else None

    def add_new(self) -> None:
        """Add what they say and did not say before, or with another trust."""
        for saying, (record, trust) in self.now.items():
            same = [h for h in self.came[saying] if h[1] is None or h[1] == trust]
            if any(counts for _, _, counts in same):
                self.merged.already += 1
            elif not same:
                self._add(record, trust)
            else:
                any(self._say_again(record, here) for here, _, _ in same)

    def _say_again(self, record: records.Statement, here: records.Statement) -> bool:
        """Take back that a saying was taken back for them; what we took back ourselves stays so."""
        target = saying_id(here.pairs)
        for entry in self.ours.entries:
            if isinstance(entry, records.Withdraw) and entry.target.strip() == target and entry.via:
                one = written_id(entry)
                if not self._counts(one):
                    continue
                self._withdraw(record, one, f"said there again{self._times(one)}")
                return True
        return False

    def _counts(self, withdrawal: str) -> bool:
        return not any(
            isinstance(e, records.Withdraw) and e.target.strip() == withdrawal for e in self.ours.entries
        )

    def _times(self, target: str) -> str:
        """Which time it is that something is taken back, so that no two withdrawals are one."""
        times = sum(isinstance(e, records.Withdraw) and e.target.strip() == target for e in self.ours.entries)
        return f", for the {times + 1}th time" if times else ""

    def take_back_old(self) -> None:
        """Take back what came from there before and is not said there now, or now with another trust."""
        for saying, every in self.came.items():
            now = self.now.get(saying)
            for record, trust, counts in every:
                if counts and (now is None or trust not in (None, now[1])):
                    one = saying_id(record.pairs)
                    self._withdraw(record, one, f"{kept_up.NOT_SAID}{self._times(one)}")

    def _withdraw(self, record: records.Statement, target: str, why: str) -> None:
        pairs: Pairs = [("withdraw", target), ("why", why), ("via", self.wanted.origin)]
        self.merged.add(record, pairs + ([("date", self.wanted.date)] if self.wanted.date else []))

    def _add(self, record: records.Statement, trust: float) -> None:
        said = self.meanings.said_here(record)
        if said is None:
            says = f"a name in this {record.kind} is that of something else here"
            self._conflict(record, "other-meaning", says, "it is left out; write it by hand with other names")
            return
        self._keep_scale(record, said, trust)
        if record.via and not record.states("via"):
            said = self._without_mark(record, said)
        if own := record.own_id.strip():
            self._keep_id(record, own, said)
        said.pop("corrects", None)
        handed_on = [self.theirs.text("via", self.theirs.key("via", n.key)) for n in record.via]
        said["via"] = [self.wanted.origin, *handed_on] if handed_on else self.wanted.origin
        self.merged.add(record, list(said.items()))

    def _without_mark(self, record: records.Statement, said: dict[str, Value]) -> dict[str, Value]:
        """A saying whose note has the mark of a folder, without it, and without the source that was it."""
        left = {k: v for k, v in said.items() if k != "note"} | ({"note": record.note} if record.note else {})
        if [n.key for n in record.sources] == [record.via[0].key]:
            left.pop("source", None)
        return left

    def _trust(self, record: records.Statement) -> float:
        """The trust to be written on a saying: theirs in it, its source, and whose folder it came by."""
        trust = trusting.trust_in(self.theirs, record)
        if any(_says_trust(self.ours, n.key) for n in record.sources):
            trust /= max(source_trust(self.theirs, n.key) for n in record.sources)
        return float(_number(min(trust, 1.0)))

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
        if record.corrects:
            # It was made to tell the saying from the one that it corrects, which is none of ours.
            del said["id"]
        elif self.ids.setdefault(own, states) != states:
            del said["id"]
            says = f"id {shown(own)} stands for another statement here"
            self._conflict(record, "id-twice", says, "their fact is added without it")

    def _conflict(self, record: records.Entry, code: str, says: str, mend: str) -> None:
        self.conflicts.append(Problem(record.where, code, says, mend))


def _held(data: Collection) -> set[Where]:
    """Where the sayings stand that nothing took back; events among them."""
    held = {e.where for fact in data.facts_as_said() for e in fact.evidence}
    events = {e.where for e in data.entries if isinstance(e, EVENT_TYPES)}
    return held | (events - {e.where for e, _ in withdrawn_events(data)})


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
    return [p for p in found if _is_conflict(p)]


def _is_conflict(problem: Problem) -> bool:
    return problem.severity == "error" or problem.code in _CONFLICTS
