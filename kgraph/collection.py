"""All entries of a folder taken together: things merged by name, facts with their evidence.

Here it is decided whom a name means: an `also` name stands for its thing, and what `in:` names
is a set or an assembly. Owners are written `s:KEY` (a set) and `a:KEY` (an assembly).
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import count, islice, product
from typing import Any, NamedTuple, TypeVar

from kgraph import mains, records, trade, words
from kgraph.claims import (
    CLAIMS,
    Claim,
    DistinctClaim,
    FaultClaim,
    FitsClaim,
    RebadgeClaim,
    RefusesClaim,
    ReplacesClaim,
    RunClaim,
    SameClaim,
    TakesClaim,
    UsesClaim,
    about,
)
from kgraph.facts import Evidence, Fact, PlaceRules
from kgraph.names import Name, compared, fold, name

FACT_TYPES = (
    records.Rebadge,
    records.Uses,
    records.Takes,
    records.Same,
    records.Replaces,
    records.Fits,
    records.Refuses,
    records.Distinct,
    records.Fault,
    records.Run,
)
EVENT_TYPES = (records.Taken, records.Restored, records.Fitted, records.Inspected)
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
    _add_facts(made)
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


def certainty_of(made: Collection, record: records.Statement) -> float:
    """The certainty of one saying: its own number, else that of its grade; by the trust in who says it."""
    return graded(made, record) * trust_in(made, record)


def graded(made: Collection, record: records.Statement) -> float:
    """The certainty that a saying has by itself, whoever says it."""
    if record.certainty is not None:
        return record.certainty
    usual = made.grades[made.key("grade", words.NO_GRADE)]
    return made.grades.get(made.key("grade", fold(record.how)), usual) if record.how else usual


def trust_in(made: Collection, record: records.Statement) -> float:
    """The trust in one saying: its own, in the surest of its sources, and in whose folder it came by.

    Where the note is marked with whose folder it was, the trust in it is the saying's own as long as no entry
    says another.
    """
    own = 1.0 if record.trust is None else record.trust
    source = max((source_trust(made, n.key) for n in record.sources), default=1.0)
    if not record.via:
        return own * source
    by_folder = via_trust(made, record.via[0].key)
    if not record.states("via"):
        return source * (own if by_folder is None else by_folder)
    return own * source * (1.0 if by_folder is None else by_folder)


def via_trust(made: Collection, key: str) -> float | None:
    """The trust in what came by somebody's folder, as it was last said: by date, then as read."""
    entries = made.things["via"].get(made.key("via", key), ())
    said = [(e.date, n, e.trust) for n, e in enumerate(entries) if isinstance(e, records.Via)]
    return max(((d, n, t) for d, n, t in said if t is not None), default=("", 0, None))[2]


def source_trust(made: Collection, key: str) -> float:
    """The trust in a source, 1 where none is said; of two that disagree the more careful one holds."""
    entries = made.things["source"].get(made.key("source", key), ())
    return min(
        (e.trust for e in entries if isinstance(e, records.Source) and e.trust is not None), default=1.0
    )


def claim_of(made: Collection, record: records.Statement) -> Claim:
    """What a record states, in resolved keys."""
    found: Claim = _CLAIMS[type(record)](made, record)
    return found


def _position(made: Collection, position: Name) -> str:
    return made.key("position", position.key)


def _part(made: Collection, part: Name) -> str:
    return made.key("part", part.key)


def exception_key(made: Collection, named: Name) -> str:
    """The key of what a name in an `except` leaves out: a position's, else an assembly's, else its own.

    A name that only the ground gives to a position may be that of an assembly here.
    """
    own = own_exception_key(made, named)
    if own in made.things["position"] or own in made.things["assembly"] or own in made.assemblies:
        return own
    return made.key("position", own)


def own_exception_key(made: Collection, named: Name) -> str:
    """The same through the names of the folder alone."""
    key = made.own_key("position", named.key)
    return made.own_key("assembly", key) if key not in made.things["position"] else key


def _exceptions(made: Collection, found: tuple[Name, ...]) -> tuple[str, ...]:
    return tuple(sorted({exception_key(made, n) for n in found}))


def _sets(made: Collection, r: Any) -> list[str]:
    return sorted(f"s:{made.key('set', n.key)}" for n in r.sets)


def _rebadge(made: Collection, r: Any) -> Claim:
    one, other = _sets(made, r)
    return RebadgeClaim(one, other, _exceptions(made, r.exceptions))


def _uses(made: Collection, r: Any) -> Claim:
    assembly = f"a:{made.key('assembly', r.assembly.key)}"
    return UsesClaim(assembly, made.owner(r.owner.key), _exceptions(made, r.exceptions))


def _takes(made: Collection, r: Any) -> Claim:
    return TakesClaim(_part(made, r.part), made.owner(r.owner.key), _position(made, r.position), r.role)


def _same(made: Collection, r: Any) -> Claim:
    return SameClaim(*sorted(_part(made, n) for n in r.parts))


def _replaces(made: Collection, r: Any) -> Claim:
    return ReplacesClaim(_part(made, r.new), _part(made, r.old))


def _fits(made: Collection, r: Any) -> Claim:
    source = (made.owner(r.owner.key), _position(made, r.position))
    target = (made.owner(r.to.key), _position(made, r.at))
    return FitsClaim(*source, *target, r.both_ways, " ".join(r.work.split()))


def _refuses(made: Collection, r: Any) -> Claim:
    here = (made.owner(r.owner.key), _position(made, r.position))
    if r.item_position is None:
        return RefusesClaim(_part(made, r.item), "", "", *here)
    return RefusesClaim("", made.owner(r.item.key), _position(made, r.item_position), *here)


def _distinct(made: Collection, r: Any) -> Claim:
    return DistinctClaim(*_sets(made, r))


def _fault(made: Collection, r: Any) -> Claim:
    signs = tuple(dict.fromkeys(" ".join(s.split()) for s in r.signs))
    check, cure = (" ".join(text.split()) for text in (r.check, r.cure))
    owner, position = made.owner(r.owner.key), _position(made, r.position)
    return FaultClaim(owner, position, r.fault.key, signs, check, cure)


def _run(made: Collection, r: Any) -> Claim:
    pulleys = tuple(
        (p.name, p.x_mm, p.y_mm, p.diameter_mm, p.outside, p.drives, p.rpm, p.capstan_mm) for p in r.pulleys
    )
    owner, position = made.owner(r.owner.key), _position(made, r.position)
    return RunClaim(owner, position, pulleys, r.stretch, r.pull_N_m, fold(r.pull_at) if r.pull_at else "")


_CLAIMS: Mapping[type[records.Statement], Any] = {
    records.Rebadge: _rebadge,
    records.Uses: _uses,
    records.Takes: _takes,
    records.Same: _same,
    records.Replaces: _replaces,
    records.Fits: _fits,
    records.Refuses: _refuses,
    records.Distinct: _distinct,
    records.Fault: _fault,
    records.Run: _run,
}

_UNSAID = {
    *("how", "certainty", "trust", "source", "by", "date", "note", "photo", "page"),
    *("id", "corrects", "via"),
}
_SYMMETRIC = {"rebadge", "same", "distinct", "except"}
_WORDS_NOT_NAMES = {
    *("role", "both ways", "work", "signs", "check", "cure", "why", "stretch", "pull", "owed"),
    "all sayings",
}
_DEFAULTS = {"role": "original", "both ways": "no", "owed": "no"}


def written_id(record: records.Statement) -> str:
    """The id that a statement has by what is written: SHA-256 over canonical JSON, 16 hex digits.

    Names are folded, keys sorted, evidence left out; the two names of a `rebadge`, `same` or `distinct` and
    the names of an `except` are sorted; a default said aloud is as if not said.
    """
    said = {k: v for k, v in record.pairs if k not in _UNSAID}
    return _digest(_canonical(said))


def saying_id(pairs: Iterable[tuple[str, records.Value]]) -> str:
    """An id for one saying of a fact: made as :func:`written_id`, with the evidence in it."""
    return _digest(_canonical({k: v for k, v in pairs if k != "id"}))


def _canonical(said: Mapping[str, records.Value]) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for key, value in said.items():
        folded = _folded(key, value)
        if _DEFAULTS.get(key) == folded or (key == "except" and not folded):
            continue
        if key == "at" and folded == _folded("position", said.get("position", "")):
            continue
        out[key] = sorted(folded) if key in _SYMMETRIC and isinstance(folded, list) else folded
    return out


def _folded(key: str, value: records.Value) -> Any:
    if isinstance(value, str):
        plain = " ".join(value.split())
        if key in _DEFAULTS:
            return plain.lower()
        if key in _WORDS_NOT_NAMES:
            return plain
        # The sign of a coordinate is no dash of a name.
        sign = "-" if key in ("x", "y") and plain.startswith(("-", "\N{MINUS SIGN}")) else ""
        return sign + fold(value) or plain
    if isinstance(value, tuple):
        return [_folded(key, v) for v in value]
    return {compared(k): _folded(k, v) for k, v in value.items()}


_CANONICAL = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False)
"""Made once: `json.dumps` would make one for each fact."""


def _digest(said: Mapping[str, Any]) -> str:
    text = _CANONICAL.encode(said)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _add_facts(made: Collection) -> None:
    sayings: dict[tuple[str, Claim], list[records.Statement]] = {}
    for entry in made.entries:
        if isinstance(entry, FACT_TYPES):
            sayings.setdefault((entry.kind, claim_of(made, entry)), []).append(entry)
    facts = _told_apart(made, [_fact(made, kind, claim, said) for (kind, claim), said in sayings.items()])
    facts = _named_before(made, facts, list(sayings.values()))
    by_id = _by_id(made, facts)
    gone = _active_withdraws(made, by_id)
    left = (_left_of(made, fact, said, gone) for fact, said in zip(facts, sayings.values(), strict=True))
    for fact in _one_for_each_pair(made, [fact for fact in left if fact is not None]):
        made.facts[fact.id] = fact


def _told_apart(made: Collection, facts: list[Fact]) -> list[Fact]:
    """The facts, each under an id of its own: where several claim one, each has the id of what it says.

    `check` reports the claim; a `withdraw` of the claimed id takes back all of them.
    """
    claims = Counter(f.id for f in facts)
    if len(claims) == len(facts):
        return facts
    taken: set[str] = set()
    found = {}
    for fact in sorted(facts, key=lambda f: (claims[f.id], repr((f.kind, tuple(f.claim))))):
        own = fact.id
        if claims[own] > 1 and fact.record is not None:
            own = by_words = _resolved_id(made, fact.record)
            # Words that fold alike may still say two things: none is lost.
            own = next(o for n in count(1) if (o := f"{by_words}~{n}" if n > 1 else by_words) not in taken)
        taken.add(own)
        found[fact.kind, fact.claim] = fact._replace(id=own, ids=tuple(dict.fromkeys([own, *fact.ids])))
    return [found[fact.kind, fact.claim] for fact in facts]


def _fact(made: Collection, kind: str, claim: Claim, said: list[records.Statement]) -> Fact:
    evidence = tuple(_evidence(made, r) for r in said)
    own = [r.own_id.strip() for r in said if r.own_id.strip()]
    written = [written_id(r) for r in said]
    shown = own[0] if own else _resolved_id(made, said[0]) if any(made.aliases.values()) else written[0]
    by_ground = [_resolved_id(made, r, by_ground=True) for r in said if _named_by_ground(made, r)]
    ids = tuple(dict.fromkeys([shown, *own, *written, *by_ground]))
    return Fact(shown, kind, claim, max(e.certainty for e in evidence), evidence, said[0], ids)


def _named_before(
    made: Collection, facts: list[Fact], sayings: Sequence[list[records.Statement]]
) -> list[Fact]:
    """The facts, each known too by those of the ids looked for that it has by other names, or for one saying.

    They are worked out only where something is taken back or corrected by an id that no fact shows.
    """
    wanted = {e.target.strip() for e in made.entries if isinstance(e, records.Withdraw)}
    wanted |= {e.corrects.strip() for e in made.entries if isinstance(e, records.Statement)} - {""}
    if wanted:
        wanted -= {i for fact in facts for i in fact.ids}
    if not wanted:
        return facts
    found = []
    for fact, said in zip(facts, sayings, strict=True):
        more = [i for r in said for i in (saying_id(r.pairs), *ids_by_other_names(made, r)) if i in wanted]
        found.append(fact._replace(ids=tuple(dict.fromkeys([*fact.ids, *more]))) if more else fact)
    return found


_MOST_NAMINGS = 4096
"""So many ways of naming all that a fact speaks of are tried, and no more."""


def ids_by_other_names(made: Collection, record: records.Statement) -> Iterator[str]:
    """The ids that a statement has or had, by every name of each thing in it."""
    said = {k: v for k, v in record.pairs if k not in _UNSAID}
    ways = [_namings(made, record.kind, k, v) for k, v in said.items()]
    if all(len(way) == 1 for way in ways):
        return
    for values in islice(product(*ways), _MOST_NAMINGS):
        yield _digest(_canonical(dict(zip(said, values, strict=True))))


def _namings(made: Collection, kind: str, key: str, value: records.Value) -> list[records.Value]:
    """A value of a key of a statement, in every way in which its things can be named."""
    slots = _SLOTS.get(key, ("part", "set", "assembly") if key == "refuses" else ())
    slots = ("position", "assembly") if key == "except" else slots
    if isinstance(value, tuple):
        each = product(*(_namings(made, kind, key, v) for v in value))
        return list(islice(each, _MOST_NAMINGS))
    if not isinstance(value, str) or not slots:
        return [value]
    found: list[records.Value] = [value]
    for slot in slots:
        meant = made.key(slot, fold(value))
        things = (*made.things[slot].get(meant, ()), *made.ground(slot, meant))
        found += [n.key for t in things for n in (t.name, *t.also)]
        found += [meant] if meant != fold(value) else []
    by_key = {fold(v): v for v in reversed(found) if isinstance(v, str)}
    return [value, *(v for k, v in by_key.items() if k != fold(value))]


def _named_by_ground(made: Collection, record: Any) -> bool:
    """Whether a statement names a position by a name that the ground alone gives it."""
    named = (getattr(record, slot, None) for slot in ("position", "at", "item_position"))
    keys = [n.key for n in (*named, *getattr(record, "exceptions", ())) if n is not None]
    return any(made.key("position", k) != made.own_key("position", k) for k in keys)


def _resolved_id(made: Collection, record: records.Statement, by_ground: bool = False) -> str:
    """The written id, with every `also` name of the folder in it replaced by the name of its thing.

    The ground has no part in the id that is shown, which must not change with the version of the program; but
    a fact is found by the id too that it has with the names of the ground (`by_ground`).
    """
    said = {k: v for k, v in record.pairs if k not in _UNSAID}
    named = _Naming(made, by_ground)
    return _digest(_canonical({k: named.resolved(record.kind, k, v) for k, v in said.items()}))


_SLOTS = {
    "rebadge": ("set",),
    "uses": ("assembly",),
    "takes": ("part",),
    "same": ("part",),
    "distinct": ("set",),
    "replaces": ("part",),
    "old": ("part",),
    "in": ("set", "assembly"),
    "to": ("set", "assembly"),
    "fits": ("set", "assembly"),
    "position": ("position",),
    "at": ("position",),
    "from": ("position",),
    "except": (),
    "run": ("position",),
}


NAMING_KEYS = frozenset({*_SLOTS, "refuses", "source"})
"""The keys of statements whose values are names of things."""


class _Naming(NamedTuple):
    """Names in what a statement says, replaced by those of their things."""

    made: Collection
    by_ground: bool

    def resolved(self, kind: str, key: str, value: records.Value) -> records.Value:
        """A value of a key of a statement."""
        if isinstance(value, tuple):
            return tuple(self.resolved(kind, key, v) for v in value)
        if not isinstance(value, str):
            return value
        if key == "except":
            left_out = exception_key if self.by_ground else own_exception_key
            return left_out(self.made, Name(value, fold(value)))
        for slot in _SLOTS.get(key, ("part", "set") if key == "refuses" else ()):
            meant = (self.made.key if self.by_ground else self.made.own_key)(slot, fold(value))
            if meant != fold(value):
                return meant
        return value


def _evidence(made: Collection, r: records.Statement) -> Evidence:
    return Evidence(
        where=r.where,
        how=r.how.strip() or ("" if r.certainty is not None else words.NO_GRADE),
        certainty=certainty_of(made, r),
        sources=tuple(n.text for n in r.sources),
        by=r.by,
        date=r.date,
        note=r.note,
        trust=trust_in(made, r),
        photos=r.photos,
        page=r.page,
        via=", ".join(n.text for n in r.via),
    )


def _by_id(made: Collection, facts: list[Fact]) -> dict[str, list[Fact]]:
    by_id: dict[str, list[Fact]] = {}
    for fact in facts:
        for one in fact.ids:
            by_id.setdefault(one, []).append(fact)
    made.clashing_ids = [(i, [f.record for f in fs if f.record]) for i, fs in by_id.items() if len(fs) > 1]
    return by_id


def _active_withdraws(made: Collection, by_id: Mapping[str, list[Fact]]) -> dict[str, list[records.Withdraw]]:
    """Fact id -> the withdrawals that hold. A withdrawal may itself be withdrawn, by its id."""
    given = [e for e in made.entries if isinstance(e, records.Withdraw)]
    own = {id(w): {w.own_id.strip(), written_id(w)} - {""} for w in given}
    targeted: dict[str, list[records.Withdraw]] = {}
    for w in given:
        targeted.setdefault(w.target.strip(), []).append(w)

    def holds(w: records.Withdraw, seen: frozenset[int]) -> bool:
        against = [o for i in own[id(w)] for o in targeted.get(i, ()) if id(o) not in seen and o is not w]
        against = [o for o in against if takes_back(made, o, w)]
        return not any(holds(o, seen | {id(w)}) for o in against)

    all_own = {i for ids in own.values() for i in ids}
    events = (e for e in made.entries if isinstance(e, EVENT_TYPES))
    all_own |= {i for e in events for i in (e.own_id.strip(), written_id(e))}
    made.unknown_withdraws = [
        w for w in given if w.target.strip() not in by_id and w.target.strip() not in all_own
    ]
    active: dict[str, list[records.Withdraw]] = {}
    for w in given:
        if w.target.strip() in by_id and holds(w, frozenset()):
            for fact in by_id[w.target.strip()]:
                active.setdefault(fact.id, []).append(w)
    return active


def _left_of(
    made: Collection,
    fact: Fact,
    said: list[records.Statement],
    gone: Mapping[str, list[records.Withdraw]],
) -> Fact | None:
    """A fact by those of its sayings that no withdrawal takes back; None where none is left."""
    withdraws = gone.get(fact.id, [])
    if not withdraws:
        return fact
    meant = [(w, _meant(made, w, said)) for w in withdraws]
    rests = (
        _rest(made, e, r, [w for w, marks in meant if marks[number]])
        for number, (e, r) in enumerate(zip(fact.evidence, said, strict=True))
    )
    left = tuple(e for e in rests if e is not None)
    if not left:
        made.withdrawn[fact.id] = (fact, next((w for w in withdraws if not w.sources), withdraws[0]))
        return None
    return fact._replace(evidence=left, certainty=max(e.certainty for e in left))


def _rest(
    made: Collection, evidence: Evidence, said: records.Statement, by: list[records.Withdraw]
) -> Evidence | None:
    """A saying after what takes it back: all of it, or those of its sources that are named there."""
    if not by:
        return evidence
    named = {made.key("source", n.key) for w in by for n in w.sources}
    left = tuple(n for n in said.sources if made.key("source", n.key) not in named)
    if not left or any(not w.sources for w in by):
        return None
    return _evidence(made, said.changed(sources=left))


def _meant(made: Collection, by: records.Withdraw, said: list[records.Statement]) -> list[bool]:
    """Which sayings a withdrawal takes back: the one of its id, those of who withdraws, else all."""
    target = by.target.strip()
    if any(alone := [saying_id(r.pairs) == target for r in said]):
        return alone
    meant = [takes_back(made, by, r) for r in said]
    mine = [m and bool(by.by.strip()) and fold(r.by) == fold(by.by) for m, r in zip(meant, said, strict=True)]
    return mine if any(mine) and not by.every else meant


def takes_back(made: Collection, by: records.Withdraw, said: records.Statement) -> bool:
    """Whether a withdrawal of a statement means this saying of it: not one that corrects the same id."""
    if said.corrects.strip() == by.target.strip():
        return False
    if by.via and made.key("via", by.via[0].key) not in {made.key("via", n.key) for n in said.via[:1]}:
        return False
    keys = {made.key("source", n.key) for n in said.sources}
    return not by.sources or any(made.key("source", n.key) in keys for n in by.sources)


def _one_for_each_pair(made: Collection, facts: Iterable[Fact]) -> Iterator[Fact]:
    """The facts, and of those that say the same of one pair with unlike exceptions a single one."""
    pairs: dict[tuple[Any, ...], list[Fact]] = {}
    for fact in facts:
        pairs.setdefault((fact.kind, *about(fact.claim)), []).append(fact)
    for said in pairs.values():
        yield said[0] if len(said) == 1 else _joined(made, said)


def _joined(made: Collection, said: list[Fact]) -> Fact:
    """One fact of several that differ in their exceptions: all of these count, and the highest certainty."""
    surest = min(said, key=lambda f: (-f.certainty, f.id))
    left_out = tuple(sorted({key for fact in said for key in fact.left_out}))
    ids = dict.fromkeys([surest.id, *(i for fact in sorted(said, key=lambda f: f.id) for i in fact.ids)])
    order = {id(entry.where): number for number, entry in enumerate(made.entries)}
    evidence = sorted((e for fact in said for e in fact.evidence), key=lambda e: order[id(e.where)])
    made.told_otherwise[surest.id] = tuple(said)
    claim = CLAIMS[surest.kind](*about(surest.claim), left_out)
    return surest._replace(claim=claim, evidence=tuple(evidence), ids=tuple(ids))


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


def names_used(made: Collection, entry: records.Entry) -> list[tuple[str, Name]]:
    """(kind of thing, name as written) for every name that an entry uses, its own name left out."""
    find = _USES.get(type(entry))
    found = list(find(made, entry)) if find else []
    if isinstance(entry, records.Statement):
        found += [("source", source) for source in entry.sources]
    return found


def _owner_use(made: Collection, used: Name) -> tuple[str, Name]:
    return ("set" if made.owner(used.key)[0] == "s" else "assembly", used)


def _refuses_uses(made: Collection, r: Any) -> list[tuple[str, Name]]:
    here = [_owner_use(made, r.owner), ("position", r.position)]
    if r.item_position is None:
        return [("part", r.item), *here]
    return [_owner_use(made, r.item), ("position", r.item_position), *here]


def _part_uses(made: Collection, p: Any) -> list[tuple[str, Name]]:
    return [("kind", name(p.sort))] if name(p.sort).key else []


_USES: Mapping[type[records.Entry], Any] = {
    records.Rebadge: lambda m, r: [("set", n) for n in r.sets],
    records.Uses: lambda m, r: [("assembly", r.assembly), _owner_use(m, r.owner)],
    records.Takes: lambda m, r: [("part", r.part), _owner_use(m, r.owner), ("position", r.position)],
    records.Same: lambda m, r: [("part", n) for n in r.parts],
    records.Distinct: lambda m, r: [("set", n) for n in r.sets],
    records.Replaces: lambda m, r: [("part", r.new), ("part", r.old)],
    records.Fits: lambda m, r: [
        _owner_use(m, r.owner),
        ("position", r.position),
        _owner_use(m, r.to),
        ("position", r.at),
    ],
    records.Refuses: _refuses_uses,
    records.Fault: lambda m, r: [_owner_use(m, r.owner), ("position", r.position)],
    records.Run: lambda m, r: [("position", r.position), _owner_use(m, r.owner)],
    records.Assembly: lambda m, a: [("position", n) for n in a.positions],
    records.Part: _part_uses,
    records.Position: lambda m, p: [("caution", n) for n in p.cautions],
    records.Kind: lambda m, k: [("caution", n) for n in k.cautions],
    records.Unit: lambda m, u: [
        *([("set", u.set)] if u.set else []),
        *(("position", n) for n, _ in u.state),
        *(("position", n) for n in u.wants),
    ],
    records.Stock: lambda m, s: [("part", s.name)],
    records.Taken: lambda m, t: [
        ("position", t.position),
        ("unit", t.unit),
        *([("unit", t.to)] if t.to else []),
    ],
    records.Restored: lambda m, t: [("position", t.position), ("unit", t.to)],
    records.Fitted: lambda m, t: [("part", t.part), ("position", t.position), ("unit", t.to)],
    records.Inspected: lambda m, t: [("position", t.position), ("unit", t.unit)],
}
