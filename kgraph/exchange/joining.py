"""What another folder says of things and this one does not: new things, new keys of known ones; what differs.

What stands here is never changed: where the two differ, ours holds, and the difference is told. What came
from there before and is no longer said there is taken back, and what is left of it is said anew.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from kgraph import records
from kgraph.checks.disagreeing import (
    ADDS_UP,
    LENGTHS,
    LENGTHS_APART,
    OF_THE_ENTRY,
    length_key,
    meaning,
    recorded,
)
from kgraph.collection import Collection
from kgraph.collection.trusting import source_trust
from kgraph.exchange.formats import Pairs
from kgraph.folder.marks import split_note
from kgraph.folder.writing import Value
from kgraph.names import compared, fold
from kgraph.problems import Problem, Where, shown

SHELF = ("unit", "stock", "taken", "restored", "fitted", "inspected")
"""Kinds of entry that are about what lies on somebody's own shelf."""
_OTHER = {"set": "assembly", "assembly": "set"}
_AN = {"set": "a set", "assembly": "an assembly"}


@dataclass
class _SaidSoFar:
    """What is said of one thing so far, by key: what it means and where it stands.

    `held`: what of it need not be said for the other folder: by ourselves, by it, or taken back by ourselves.
    """

    said: dict[tuple[str, str], tuple[Any, Where]] = field(default_factory=dict)
    held: set[tuple[tuple[str, str], Any]] = field(default_factory=set)
    length: tuple[str, float, Where] | None = None
    holds_length: bool = False


_NAMING = ("called", "date")
"""The keys by which a thing is shown by a new name from a day on: both are taken over, or neither."""


def _named(thing: records.Thing) -> tuple[tuple[str, str], Any]:
    """The new name of a thing with its day, as one item of what is said of it."""
    return ("called", ""), (thing.called.key if thing.called else "", thing.date)


def _is_own(thing: records.Thing, key: str) -> bool:
    """Whether a key says something of the thing, and not who says it or where."""
    return key not in OF_THE_ENTRY or (key == "date" and (thing.kind == "source" or bool(thing.called)))


def _hashed(means: Any) -> str:
    return repr(means)


@dataclass
class Joining:
    """The things of this folder, and those of the other as they are taken in one after the other."""

    ours: Collection
    theirs: Collection
    folder: str
    """The key of the name that their folder goes by."""
    shelf: bool
    """Whether their shelf is taken over too."""
    conflicts: list[Problem] = field(default_factory=list)
    clashing_units: set[str] = field(default_factory=set)
    """Keys of units that are another set here: what was taken from them is not ours."""
    _known: dict[tuple[str, str, str], _SaidSoFar] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for entry in self.ours.standing:
            if isinstance(entry, records.Thing):
                self._learn(entry, self._so_far(entry), not entry.via or self._came(entry))
        for entry, by in self.ours.gone_things.values():
            if self._came(entry) and not by.via:
                self._hold(entry, self._so_far(entry))

    def _so_far(self, thing: records.Thing) -> _SaidSoFar:
        place = _place(thing, self._key(thing.kind, thing.name.key))
        return self._known.setdefault(place, _SaidSoFar())

    def _came(self, thing: records.Thing) -> bool:
        """Whether an entry of ours came from there."""
        return bool(thing.via) and self.ours.key("via", thing.via[0].key) == self.folder

    def is_taken(self, thing: records.Thing) -> bool:
        """Whether an entry is of a kind that is taken over."""
        return self.shelf or thing.kind not in SHELF

    def no_longer_said(self) -> list[records.Thing]:
        """Our entries that came from there of which something is no longer said there; grades are a scale."""
        there: dict[tuple[str, str, str], _SaidSoFar] = {}
        for entry in self.theirs.standing:
            if isinstance(entry, records.Thing):
                place = _place(entry, self._key(entry.kind, entry.name.key))
                self._hold(entry, there.setdefault(place, _SaidSoFar()))
        gone = []
        for entry in self.ours.standing:
            if isinstance(entry, records.Thing) and self._came(entry):
                if entry.kind == "grade" or not self.is_taken(entry):
                    continue
                said = _SaidSoFar()
                self._hold(entry, said)
                now = there.get(_place(entry, self._key(entry.kind, entry.name.key)))
                if now is None or not said.held <= now.held:
                    gone.append(entry)
        return gone

    def news(self, thing: records.Thing) -> Pairs | None:
        """The entry for what is new of a thing, None where nothing is; what differs goes to `conflicts`."""
        if thing.kind == "grade":
            return self._grade(thing)
        if self._is_other(thing) or self._is_caution_of_the_trade(thing):
            return None
        key = self._key(thing.kind, thing.name.key)
        name = thing.name.text if key == thing.name.key else self.ours.text(thing.kind, key)
        place = _place(thing, key)
        known = self._known.get(place)
        beside = {k for k, _ in thing.pairs if k in OF_THE_ENTRY and not _is_own(thing, k)}
        if known is None:
            known = self._known[place] = _SaidSoFar()
            kept = [(k, self._allowed(thing, k, v)) for k, v in self._pairs(thing)]
        else:
            kept = [(k, v if k in beside else self._new(thing, known, k, v)) for k, v in self._pairs(thing)]
            if all(v is None for k, v in kept if k not in beside):
                return None
        self._learn(thing, known, True)
        return [(thing.kind, name), *((k, v) for k, v in kept if v is not None)]

    def _key(self, kind: str, key: str) -> str:
        """The key of the thing that a name stands for here.

        By a name that the ground alone gives it, only what is declared here: else theirs may keep its name.
        """
        meant = self.ours.key(kind, key)
        return meant if meant in self.ours.things[kind] else self.ours.own_key(kind, key)

    def _pairs(self, thing: records.Thing) -> Iterator[tuple[str, Value]]:
        """What is said beside the name. Trust in a source is everybody's own, and is put on each saying.

        What we renamed ourselves keeps our name, and theirs is another spelling of it; of the names that came
        by others the last by date is shown, in whatever order they come.
        """
        ours = self.ours.things[thing.kind].get(self._key(thing.kind, thing.name.key), ())
        renamed = any(t.called and not t.via for t in ours)
        for key, value in thing.pairs[1:]:
            if key in ("via", "corrects"):
                continue
            if thing.called and renamed and key in ("called", "date"):
                if key == "called":
                    yield "also", [thing.called.text]
            elif thing.kind == "source" and key == "trust":
                self._trust(thing)
            else:
                yield key, records.plain(value)

    def _learn(self, thing: records.Thing, known: _SaidSoFar, held: bool) -> None:
        if held:
            self._hold(thing, known)
        for key, value in thing.pairs[1:]:
            if _is_own(thing, key) and key not in ADDS_UP and not (thing.called and key in _NAMING):
                for sub, inner in _parts(records.plain(value)):
                    here = (compared(key), compared(sub))
                    known.said.setdefault(here, (meaning(key, recorded(inner)), thing.where))
        if (mm := self._length(thing)) is not None:
            known.length = known.length or (length_key(thing), mm, thing.where)
            known.holds_length |= held

    def _hold(self, thing: records.Thing, known: _SaidSoFar) -> None:
        """Note all that an entry says as held."""
        for key, value in thing.pairs[1:]:
            if thing.called and key in _NAMING:
                known.held |= {_named(thing), (("also", ""), thing.called.key)}
            elif key in ADDS_UP:
                known.held |= {((key, ""), m) for m, _ in _items(key, records.plain(value))}
            elif _is_own(thing, key):
                parts = _parts(records.plain(value))
                known.held |= {
                    ((compared(key), compared(sub)), _hashed(meaning(key, recorded(v)))) for sub, v in parts
                }

    def _length(self, thing: records.Thing) -> float | None:
        """The inside length of a belt; what is a belt either folder may say."""
        lengths = (data.inside_length_mm(thing) for data in (self.ours, self.theirs))
        return next((mm for mm in lengths if mm is not None), None)

    def _new(self, thing: records.Thing, known: _SaidSoFar, key: str, value: Value) -> Value | None:
        """What of a value is not said yet, None where all of it is, or where ours says otherwise."""
        if thing.called and key in _NAMING:
            return None if _named(thing) in known.held else value
        if key in ADDS_UP:
            fresh = [item for m, item in _items(key, value) if ((key, ""), m) not in known.held]
            return self._allowed(thing, key, _together(value, fresh)) if fresh else None
        if key in LENGTHS and known.length and (mm := self._length(thing)) is not None:
            agrees = self._compare_lengths(thing, mm, known.length, key)
            return value if agrees and not known.holds_length else None
        kept = [(s, v) for s, v in _parts(value) if self._is_new(thing, known, key, s, v)]
        if isinstance(value, dict):
            return dict(kept) if kept else None
        return value if kept else None

    def _is_new(self, thing: records.Thing, known: _SaidSoFar, key: str, sub: str, value: Value) -> bool:
        here, means = (compared(key), compared(sub)), meaning(key, recorded(value))
        if (here, _hashed(means)) in known.held:
            return False
        found = known.said.get(here)
        if found is None or found[0] == means:
            return True
        label = f"{key}, {sub}" if sub else key
        self._differs(thing, label, _show(value), found[1])
        return False

    def _compare_lengths(
        self, thing: records.Thing, mm: float, known: tuple[str, float, Where], key: str
    ) -> bool:
        """Whether a length agrees with the known one; where it does not, that is told once."""
        ours, alike = known[1], key == known[0]
        agrees = abs(mm - ours) <= (1e-9 if alike else LENGTHS_APART * max(mm, ours))
        if key == length_key(thing) and not agrees:
            self._differs(thing, key, f"{mm:.6g} mm inside", known[2])
        return agrees

    def _differs(self, thing: records.Thing, label: str, value: str, where: Where) -> None:
        says = (
            f"{thing.kind} {shown(thing.name.text)}: {shown(label)} is {value} there, and another at {where}"
        )
        self._conflict(thing, "entries-disagree", says, "ours is kept; find out which is right")
        if thing.kind == "unit":
            self.clashing_units.add(thing.name.key)

    def _conflict(self, thing: records.Thing, code: str, says: str, mend: str) -> None:
        self.conflicts.append(Problem(thing.where, code, says, mend))

    # Names that mean something else here.

    def _is_other(self, thing: records.Thing) -> bool:
        """Whether the name is that of something else here, so that our facts would change their meaning."""
        key, kind = thing.name.key, thing.kind
        other = _OTHER.get(kind)
        if other and self._declared(other, key) and not self._declared(kind, key):
            says = f"{shown(thing.name.text)} is {_AN[kind]} there and {_AN[other]} here"
            self._conflict(thing, "set-and-assembly", says, "ours is kept; give one of them another name")
            return True
        meant = self._key(kind, key)
        if kind != "stock" and meant != key and meant in self.theirs.things[kind]:
            other_name = shown(self.ours.text(kind, meant))
            says = f"{kind} {shown(thing.name.text)} is another name of {other_name} here, and not there"
            self._conflict(thing, "also-declared", says, "ours is kept")
            return True
        return False

    def _declared(self, kind: str, key: str) -> bool:
        """Whether a name is that of a set or assembly here, be it only in use."""
        used = self.ours.assemblies if kind == "assembly" else self.ours.spelt[kind]
        return key in self.ours.things[kind] or key in used

    def _is_caution_of_the_trade(self, thing: records.Thing) -> bool:
        """Whether the text would take the place of one that warns by itself: nobody else's may."""
        if thing.kind != "caution" or self._key("caution", thing.name.key) in self.ours.things["caution"]:
            return False
        built_in = self.ours.caution_text(thing.name.key)
        if built_in is None:
            return False
        if isinstance(thing, records.Caution) and thing.text.split() != built_in.split():
            says = f"caution {shown(thing.name.text)} has another text there than the one that kgraph shows"
            self._conflict(thing, "entries-disagree", says, "ours is kept; write it here if theirs is better")
        return True

    def _allowed(self, thing: records.Thing, key: str, value: Value) -> Value | None:
        """A value without the `also` names that mean another thing here."""
        if key != "also":
            return value
        kept = [n for n in _listed(value) if self._may_be_also(thing, n)]
        return kept or None

    def _may_be_also(self, thing: records.Thing, other: Value) -> bool:
        kind, key = thing.kind, fold(str(other))
        own = self.ours.key(kind, thing.name.key)
        crossed = kind in _OTHER and self._declared(_OTHER[kind], key)
        ambiguous = key in self.ours.ambiguous.get(kind, {})
        if not crossed and not ambiguous and (key == own or not self._is_taken(kind, key, own)):
            return True
        says = f"{kind} {shown(thing.name.text)}: also {shown(str(other))} there, which is another thing here"
        self._conflict(thing, "also-declared", says, "ours is kept; say `same` or `rebadge` if they are one")
        return False

    def _is_taken(self, kind: str, key: str, own: str) -> bool:
        meant = self.ours.key(kind, key)
        # What only the ground gives the name to is another thing here where something of ours is that thing.
        known = meant in self.ours.things[kind] or meant in self.ours.spelt[kind]
        return key in self.ours.things[kind] or (meant not in (key, own) and known)

    # Scales, which are everybody's own.

    def _grade(self, thing: records.Thing) -> Pairs | None:
        """A grade that is not known here; one that is keeps our number, and theirs is put on each saying."""
        grade = self.ours.key("grade", thing.name.key)
        certainty = thing.certainty if isinstance(thing, records.Grade) else 0.0
        ours = self.ours.grades.get(grade)
        taken = self._known.get(("grade", thing.name.key, ""))
        if ours is None and taken is None:
            self._known["grade", thing.name.key, ""] = _SaidSoFar()
            return [(k, records.plain(v)) for k, v in thing.pairs]
        if ours is not None and ours != certainty:
            says = f"grade {shown(thing.name.text)} is {certainty:g} there and {ours:g} here"
            self._conflict(thing, "scale", says, "ours is kept; their number is put on each of their sayings")
        return None

    def _trust(self, thing: records.Thing) -> None:
        ours = self.ours.things["source"].get(self.ours.key("source", thing.name.key), ())
        said = {e.trust for e in ours if isinstance(e, records.Source)} - {None}
        theirs = source_trust(self.theirs, thing.name.key)
        if said and theirs not in said:
            says = f"source {shown(thing.name.text)}: trust is {theirs:g} there, and another here"
            self._conflict(thing, "scale", says, "ours is kept")


def _place(thing: records.Thing, key: str) -> tuple[str, str, str]:
    drawer = compared(thing.place) if isinstance(thing, records.Stock) else ""
    return thing.kind, key, drawer


def _parts(value: Value) -> list[tuple[str, Value]]:
    return list(value.items()) if isinstance(value, dict) else [("", value)]


def _listed(value: Value) -> list[Value]:
    return value if isinstance(value, list) else [value] if isinstance(value, str) else []


def _items(key: str, value: Value) -> Iterator[tuple[Any, Any]]:
    """What each item of a value that adds up means, and the item as it is written."""
    if isinstance(value, dict):
        for maker, numbers in value.items():
            yield from (((fold(maker), fold(str(n))), (maker, n)) for n in _listed(numbers))
    elif key == "note":
        note = split_note(str(value))[0]
        if note.strip():
            yield " ".join(note.split()), note
    else:
        yield from ((fold(str(item)) or str(item), item) for item in _listed(value))


def _together(value: Value, items: Sequence[Any]) -> Value:
    """Items of a value as a value of the same shape."""
    if isinstance(value, dict):
        found: dict[str, Value] = {}
        for maker, number in items:
            before = found.get(maker)
            found[maker] = number if before is None else [*_listed(before), number]
        return found
    return str(items[0]) if isinstance(value, str) else list(items)


def _show(value: Value) -> str:
    if isinstance(value, str):
        return shown(value)
    if isinstance(value, Mapping):
        return ", ".join(f"{shown(k)}: {_show(v)}" for k, v in value.items()) or "an empty mapping"
    return ", ".join(map(_show, value)) or "an empty list"
