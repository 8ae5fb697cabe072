"""All entries of a folder taken together: things merged by name, facts with their evidence.

Here it is decided whom a name means: an `also` name stands for its thing, and what `in:` names
is a set or an assembly. Owners are written `s:KEY` (a set) and `a:KEY` (an assembly).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple, TypeVar

from kgraph import mains, records, trade, words
from kgraph.collection.resolving import exception_key, names_used
from kgraph.collection.sayings import add_facts
from kgraph.facts import Fact, PlaceRules
from kgraph.names import Name, compared, fold, name

UNKNOWN_SET = "?"
"""What the key begins with by which a unit stands for its set while nobody knows that; no name folds so."""
NOT_KNOWN_YET = "its set is not known yet"
"""What is said of such a unit."""


class KindRules(NamedTuple):
    """How parts of a kind compare by size (see `records.Kind`), and its cautions."""

    generic: bool = False
    compare: tuple[tuple[str, str], ...] = ()
    certainty: float | None = None
    cautions: tuple[Name, ...] = ()
    perishable: bool = False
    sound: float | None = None


@dataclass
class Collection:
    """Everything that a folder says, and below it the trade's ground. Built once, then only read.

    `entries`, `things`, `aliases` and `spelt` are those of the folder alone; `laid` is the ground.
    """

    entries: tuple[records.Entry, ...] = ()
    things: dict[str, dict[str, list[records.Thing]]] = field(default_factory=dict)
    aliases: dict[str, dict[str, str]] = field(default_factory=dict)
    ambiguous: dict[str, dict[str, set[str]]] = field(default_factory=dict)
    spelt: dict[str, dict[str, str]] = field(default_factory=dict)
    features: dict[str, str] = field(default_factory=dict)
    """Key -> name as written of what an `except` names: a position, an assembly or a feature."""
    assemblies: set[str] = field(default_factory=set)
    facts: dict[str, Fact] = field(default_factory=dict)
    withdrawn: dict[str, tuple[Fact, records.Withdraw]] = field(default_factory=dict)
    unknown_withdraws: list[records.Withdraw] = field(default_factory=list)
    clashing_ids: list[tuple[str, list[records.Statement]]] = field(default_factory=list)
    told_otherwise: dict[str, tuple[Fact, ...]] = field(default_factory=dict)
    """Id of a fact -> the facts that were said, where one pair is said with unlike exceptions."""
    grades: dict[str, float] = field(default_factory=dict)
    """Key -> certainty of every grade, those that need no entry among them."""
    laid: dict[str, trade.Laid] = field(default_factory=dict)
    """Kind -> the ground as it lies under the folder."""
    _rules: dict[str, PlaceRules] = field(default_factory=dict, compare=False, repr=False)
    _of_kinds: dict[str, KindRules] = field(default_factory=dict, compare=False, repr=False)

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
        return {
            key
            for key, things in self.things["part"].items()
            for t in things
            if isinstance(t, records.Part) and any(fold(n) == number for _, n in t.numbers)
        }

    def facts_as_said(self) -> Iterator[Fact]:
        """The facts that hold; one pair that is said with unlike exceptions as the several facts said."""
        for fact in self.facts.values():
            yield from self.told_otherwise.get(fact.id, (fact,))

    def known(self, kind: str) -> dict[str, str]:
        """Key -> name of every thing of a kind, declared or used."""
        return {**self.spelt.get(kind, {}), **{k: shown_name(v) for k, v in self.things[kind].items()}}

    def nameable(self, kind: str) -> dict[str, str]:
        """The same, and what the ground knows."""
        below = {k: v[0].name.text for k, v in self.laid[kind].under.items()} if kind in self.laid else {}
        return {**below, **self.known(kind)}


def shown_name(declared: Sequence[records.Thing]) -> str:
    """The name of a thing: as first written, or as it was last renamed; by date, then as read."""
    renamed = [(t.date, number, t.called) for number, t in enumerate(declared) if t.called]
    last = max(renamed, default=None)
    return last[2].text if last else declared[0].name.text


_Said = TypeVar("_Said", bound=records.Thing)


def _stating(key: str, own: list[_Said], below: list[_Said]) -> list[_Said]:
    """The entries of the folder that state a key, else those of the ground that do."""
    return [e for e in own if e.states(key)] or [e for e in below if e.states(key)]


def build(
    entries: Iterable[records.Entry],
    assemblies: Iterable[str] = (),
    laid: Mapping[str, trade.Laid] | None = None,
) -> Collection:
    """The collection of these entries; their order decides nothing but which spelling is shown.

    `assemblies` are the keys of what entries elsewhere use as assemblies; `laid` is how the ground lies where
    entries elsewhere decide it.
    """
    made = Collection(entries=tuple(entries), things={kind: {} for kind in words.THINGS})
    _add_things(made)
    _add_aliases(made)
    _lay_ground(made, laid)
    _name_stock(made)
    _add_grades(made)
    _find_assemblies(made, assemblies)
    add_facts(made)
    _note_spellings(made)
    return made


def _add_things(made: Collection) -> None:
    for entry in made.entries:
        if isinstance(entry, records.Thing):
            made.things[entry.kind].setdefault(entry.name.key, []).append(entry)


def _add_aliases(made: Collection) -> None:
    for kind, by_key in made.things.items():
        meant: dict[str, set[str]] = defaultdict(set)
        for key, things in by_key.items():
            for other in (o for t in things for o in t.also):
                if other.key != key and other.key not in by_key:
                    meant[other.key].add(key)
        made.aliases[kind] = {k: next(iter(v)) for k, v in meant.items() if len(v) == 1}
        made.ambiguous[kind] = {k: v for k, v in meant.items() if len(v) > 1}


def _lay_ground(made: Collection, laid: Mapping[str, trade.Laid] | None) -> None:
    made.laid = {
        kind: laid[kind]
        if laid
        else trade.laid_under(kind, made.things[kind], made.aliases[kind], made.ambiguous[kind])
        for kind in trade.KINDS
    }


def _name_stock(made: Collection) -> None:
    """Loose parts are those of a part, by whichever of its names they are called."""
    by_part: dict[str, list[records.Thing]] = {}
    for key, things in made.things["stock"].items():
        by_part.setdefault(made.key("stock", key), []).extend(things)
    made.things["stock"] = by_part


def _add_grades(made: Collection) -> None:
    made.grades = {key: grade.certainty for key, grade in trade.grades().items()}
    for key, things in made.things["grade"].items():
        # Of two overrides that disagree (`check` says so) the more careful one holds.
        made.grades[key] = min(t.certainty for t in things if isinstance(t, records.Grade))


def _find_assemblies(made: Collection, elsewhere: Iterable[str]) -> None:
    here = (e.assembly.key for e in made.entries if isinstance(e, records.Uses))
    made.assemblies = {made.key("assembly", key) for key in (*elsewhere, *here)}


def _note_spellings(made: Collection) -> None:
    for kind in words.THINGS:
        made.spelt[kind] = {}
    for entry in made.entries:
        if isinstance(entry, records.Rebadge | records.Uses):
            for named in entry.exceptions:
                made.features.setdefault(exception_key(made, named), named.text)
        for kind, used in names_used(made, entry):
            key = made.key(kind, used.key)
            made.spelt[kind].setdefault(key, used.text)
