"""What a folder says: things by name, facts with their evidence, and below them the ground of the trade."""

from __future__ import annotations

import copy
from collections.abc import Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from functools import cached_property
from typing import TypeVar

from kgraph import mains, records, trade, words
from kgraph.collection.resolving import names_used, spellings
from kgraph.collection.sayings import FactsLeft, all_sayings
from kgraph.collection.taken_back import GoneThing
from kgraph.facts import Fact, KindRules, PlaceRules
from kgraph.names import Name, compared, fold, name
from kgraph.problems import Where

UNKNOWN_SET = "?"
"""What the key begins with by which a unit stands for its set while nobody knows that; no name folds so."""
NOT_KNOWN_YET = "its set is not known yet"
"""What is said of such a unit."""


Gone = tuple[Fact, records.Withdraw]
"""A fact of which nothing is left, and what took it back."""


class Collection:
    """Everything that a folder says, and below it the trade's ground. Built once, then only read.

    What is here are the mappings that every question reads; who holds the entries fills them: a folder read
    whole at once (:func:`build`), an index as they are asked for (:mod:`kgraph.index.fetched`).
    `entries`, `things`, `aliases` and `spelt` are those of the folder alone; `laid` is the ground.
    """

    things: Mapping[str, Mapping[str, Sequence[records.Thing]]]
    aliases: Mapping[str, Mapping[str, str]]
    ambiguous: Mapping[str, Mapping[str, set[str]]]
    assemblies: AbstractSet[str]
    """The keys of what is used as an assembly."""

    def __init__(self) -> None:
        self._rules: dict[str, PlaceRules] = {}
        self._of_kinds: dict[str, KindRules] = {}
        self._read_as: dict[str, int] = {}
        self.trusts: dict[str, float] = {}
        """The key of a source -> the trust in it, as far as it was worked out."""

    @cached_property
    def entries(self) -> Sequence[records.Entry]:
        """Every entry, in the order of reading."""
        return ()

    @cached_property
    def gone_things(self) -> Mapping[int, GoneThing]:
        """By its `id()` every entry of a thing that was taken back, in the order of reading."""
        return {}

    @cached_property
    def names_had(self) -> Mapping[tuple[str, str], Sequence[Name]]:
        """Kind and key -> the names that stood for one thing with it in an entry that was taken back."""
        found: dict[tuple[str, str], list[Name]] = {}
        for thing, _ in self.gone_things.values():
            for one in (thing.name, *thing.also) if thing.also else ():
                found.setdefault((thing.kind, one.key), []).extend((thing.name, *thing.also))
        return found

    @cached_property
    def standing(self) -> Sequence[records.Entry]:
        """The entries without those of things that were taken back; facts that were are among them."""
        gone = self.gone_things
        return tuple(e for e in self.entries if id(e) not in gone) if gone else self.entries

    @cached_property
    def spelt(self) -> Mapping[str, Mapping[str, str]]:
        """Kind -> key -> every name that is used, as first written."""
        return self._spellings[0]

    @cached_property
    def features(self) -> Mapping[str, str]:
        """Key -> name as written of what an `except` names: a position, an assembly or a feature."""
        return self._spellings[1]

    @cached_property
    def _spellings(self) -> tuple[dict[str, dict[str, str]], dict[str, str]]:
        return spellings(self)

    @cached_property
    def grades(self) -> Mapping[str, float]:
        """Key -> certainty of every grade, those that need no entry among them.

        Of two entries that disagree (`check` says so) the more careful one holds.
        """
        found = {key: grade.certainty for key, grade in trade.grades().items()}
        for key, things in self.things["grade"].items():
            found[key] = min(t.certainty for t in things if isinstance(t, records.Grade))
        return found

    @cached_property
    def laid(self) -> Mapping[str, trade.Laid]:
        """Kind -> the ground as it lies under the folder."""
        return {
            kind: trade.laid_under(kind, self.things[kind], self.aliases[kind], self.ambiguous[kind])
            for kind in trade.KINDS
        }

    @cached_property
    def said(self) -> FactsLeft:
        """What is left of what was said, and what was taken back."""
        return all_sayings(self)

    @cached_property
    def has_other_names(self) -> bool:
        """Whether any thing has another name that means it alone."""
        return any(map(bool, self.aliases.values()))

    @property
    def facts(self) -> Mapping[str, Fact]:
        """Id -> every fact that holds."""
        return self.said.facts

    @property
    def withdrawn(self) -> Mapping[str, tuple[Fact, records.Withdraw]]:
        """Id -> every fact of which nothing is left, and what took it back."""
        return self.said.withdrawn

    @property
    def told_otherwise(self) -> Mapping[str, tuple[Fact, ...]]:
        """Id of a fact -> the facts that were said, where one pair is said with unlike exceptions."""
        return self.said.told_otherwise

    def with_facts(self, facts: Iterable[Fact]) -> Collection:
        """The same with other facts."""
        made = copy.copy(self)
        made.said = self.said._replace(facts={fact.id: fact for fact in facts})
        return made

    def with_notes(self) -> Iterable[records.Entry]:
        """The statements that have a note."""
        return (e for e in self.entries if isinstance(e, records.Statement) and e.note)

    def reading_order(self, where: Where) -> tuple[int, int, int]:
        """What to sort places in files by, so that they stand as they are read."""
        if not self._read_as:
            for entry in self.entries:
                self._read_as.setdefault(entry.where.file, len(self._read_as))
        return self._read_as[where.file], where.line, where.column

    def of_kind(self, *kinds: str) -> Iterable[records.Entry]:
        """The entries of these kinds that stand, in the order of reading."""
        return (entry for entry in self.standing if entry.kind in kinds)

    def key(self, kind: str, key: str) -> str:
        """The key of the thing that a folded name stands for, through `also` names of folder and ground.

        Stock is of parts.
        """
        own = self.own_key(kind, key)
        laid = self.laid.get(kind) if own == key else None
        return laid.names.get(key, key) if laid else own

    def own_key(self, kind: str, key: str) -> str:
        """The same through `also` names of the folder alone."""
        return self.aliases.get("part" if kind == "stock" else kind, {}).get(key, key)

    def ground(self, kind: str, key: str) -> tuple[records.Thing, ...]:
        """The entries of the ground that hold of a thing."""
        laid = self.laid.get(kind)
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
        declared = self.things[kind].get(key)
        if declared:
            return shown_name(declared)
        if kind == "set" and key.startswith(UNKNOWN_SET):
            return "a set not known yet"
        used = self.spelt.get(kind, {}).get(key) or self.features.get(key)
        below = self.ground(kind, key) if used is None else ()
        return used or (below[0].name.text if below else key)

    def owner_text(self, owner: str) -> str:
        """The name of a set or assembly from its owner key."""
        return self.text("set" if owner[0] == "s" else "assembly", owner[2:])

    def declared(self, kind: str, key: str) -> records.Thing | None:
        """The first entry that declares a thing, or None."""
        found = self.things[kind].get(key)
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

    def knows(self, kind: str, key: str) -> bool:
        """Whether a thing of a kind is declared or used, or the ground knows it."""
        return key in self.things[kind] or key in self.spelt[kind] or bool(self.ground(kind, key))

    def leaves_out(self, key: str) -> bool:
        """Whether some `except` names it, be it a position or any feature, but no assembly."""
        return key in self.features and not self.knows("assembly", key)

    def meanings(self, kind: str, key: str) -> set[str]:
        """The things that an `also` name may mean, where there are several."""
        return self.ambiguous.get(kind, {}).get(key, set())

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
        if kind not in self._of_kinds:
            self._of_kinds[kind] = self._kind_rules(kind)
        return self._of_kinds[kind]

    def _kind_rules(self, kind: str) -> KindRules:
        own = [k for k in self.things["kind"].get(kind, ()) if isinstance(k, records.Kind)]
        below = [k for k in self.ground("kind", kind) if isinstance(k, records.Kind)]
        keys = ("generic", "compare", "certainty", "caution", "sound")
        said = {key: _stating(key, own, below) for key in keys}
        certain = [k.certainty for k in said["certainty"] if k.certainty is not None]
        return KindRules(
            generic=bool(said["generic"]) and all(k.generic for k in said["generic"]),
            compare=tuple({a: r for k in said["compare"] for a, r in k.compare}.items()),
            certainty=min(certain, default=None),
            cautions=tuple({n.key: n for k in said["caution"] for n in k.cautions}.values()),
            perishable=any(k.perishable for k in _stating("perishable", own, below)),
            sound=min((k.sound for k in said["sound"] if k.sound is not None), default=None),
        )

    def is_perishable(self, position: str, kind: str = "") -> bool:
        """Whether what is at a position, or a part of a kind, spoils with age, used or not."""
        own = [p for p in self.things["position"].get(position, ()) if isinstance(p, records.Position)]
        below = [p for p in self.ground("position", position) if isinstance(p, records.Position)]
        stated = any(p.perishable for p in _stating("perishable", own, below))
        return stated or self.kind_rules(kind).perishable

    def soundness(self, position: str, kind: str = "") -> float:
        """How surely what nobody looked at is sound, by its position and kind."""
        said = self.kind_rules(kind).sound
        if said is not None:
            return said
        return words.SOUND_PERISHABLE if self.is_perishable(position, kind) else words.SOUND

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

    def parts_numbered(self, number: str) -> set[str]:
        """The parts that have this maker's number (its key)."""
        parts = (t for of in self.things["part"].values() for t in of if isinstance(t, records.Part))
        return {t.name.key for t in parts if any(fold(n) == number for _, n in t.numbers)}

    def facts_as_said(self) -> Iterator[Fact]:
        """The facts that hold; one pair that is said with unlike exceptions as the several facts said."""
        for fact in self.facts.values():
            yield from self.told_otherwise.get(fact.id, (fact,))

    def naming(self, kind: str, key: str) -> list[records.Entry]:
        """The entries that use a thing by any of its names, in the order of reading."""
        return [
            e
            for e in self.standing
            if any(k == kind and self.key(k, n.key) == key for k, n in names_used(self, e))
        ]

    def told_by(self, kind: str, naming: Iterable[records.Entry]) -> tuple[list[Fact], list[Gone]]:
        """What the entries that name a thing of a kind state: facts, as read, and those taken back."""
        places = {id(e.where) for e in naming}

        def speaks(fact: Fact) -> bool:
            return any(id(e.where) in places for e in fact.evidence)

        return (
            self.in_reading_order(filter(speaks, self.facts.values())),
            sorted((g for g in self.withdrawn.values() if speaks(g[0])), key=lambda g: self.first_said(g[0])),
        )

    def first_said(self, fact: Fact) -> tuple[int, int, int]:
        """What to sort facts by, so that they stand as each is first said."""
        return min(self.reading_order(e.where) for e in fact.evidence)

    def in_reading_order(self, facts: Iterable[Fact]) -> list[Fact]:
        """Facts by where each is first said."""
        return sorted(facts, key=self.first_said)

    def leaving_out(self, key: str) -> list[Fact]:
        """The facts whose `except` names a position, an assembly or a feature."""
        return self.in_reading_order(f for f in self.facts.values() if key in f.left_out)

    def facts_of_kind(self, kind: str) -> list[Fact]:
        """The facts of a kind that hold, in the order of their ids."""
        return sorted((f for f in self.facts.values() if f.kind == kind), key=lambda f: f.id)

    def by_id(self, one: str) -> Fact | None:
        """The fact with an id that is shown or written, one that was taken back too."""
        every = (*self.facts.values(), *(fact for fact, _ in self.withdrawn.values()))
        return next((fact for fact in every if one == fact.id or one in fact.ids), None)

    def known_keys(self, kind: str) -> AbstractSet[str]:
        """The keys of every thing of a kind, declared or used."""
        return {*self.spelt[kind], *self.things[kind]}

    def known(self, kind: str) -> dict[str, str]:
        """Key -> name of every thing of a kind, declared or used."""
        declared = {key: shown_name(things) for key, things in self.things[kind].items()}
        used = (key for key in self.known_keys(kind) if key not in declared)
        return {**{key: self.text(kind, key) for key in sorted(used)}, **declared}


def shown_name(declared: Sequence[records.Thing]) -> str:
    """The name of a thing: as first written, or as it was last renamed; by date, then as read."""
    renamed = [(t.date, number, t.called) for number, t in enumerate(declared) if t.called]
    last = max(renamed, default=None)
    return last[2].text if last else declared[0].name.text


_Said = TypeVar("_Said", bound=records.Thing)


def _stating(key: str, own: list[_Said], below: list[_Said]) -> list[_Said]:
    """The entries of the folder that state a key, else those of the ground that do."""
    return [e for e in own if e.states(key)] or [e for e in below if e.states(key)]
