"""All entries of a folder taken together: things merged by name, facts with their evidence.

Here it is decided whom a name means: an `also` name stands for its thing, and what `in:` names
is a set or an assembly. Owners are written `s:KEY` (a set) and `a:KEY` (an assembly).
"""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import count
from typing import Any, NamedTuple

from kgraph import records, trade, words
from kgraph.facts import Evidence, Fact
from kgraph.names import Name, compared, fold, loose, name
from kgraph.problems import Where
from kgraph.source.facts import UNKNOWN_SET as UNKNOWN_SET
from kgraph.source.facts import Names, Stated

try:
    # The digest itself: hashlib loads OpenSSL beside it, a tenth of the time of a question.
    from _sha2 import sha256  # type: ignore[import-not-found, unused-ignore]
except ImportError:
    try:
        from _sha256 import sha256  # type: ignore[import-not-found, unused-ignore]
    except ImportError:
        from hashlib import sha256

FACT_TYPES = (
    records.Rebadge,
    records.Uses,
    records.Takes,
    records.Same,
    records.Replaces,
    records.Fits,
    records.Refuses,
    records.Distinct,
    records.Run,
)
EVENT_TYPES = (records.Taken, records.Restored)
NOT_KNOWN_YET = "its set is not known yet"
"""What is said of a unit of which nobody knows the set."""
What = tuple[str, tuple[Any, ...]]
"""What a fact states: its kind, and its names resolved."""


class Collection(Names):
    """Everything that a folder says, and below it the trade's ground. Built once, then only read.

    `entries`, `things`, `aliases` and `spelt` are those of the folder alone.
    """

    things: dict[str, dict[str, list[records.Thing]]]
    aliases: dict[str, dict[str, str]]
    ambiguous: dict[str, dict[str, set[str]]]
    spelt: dict[str, dict[str, str]]
    features: dict[str, str]
    assemblies: set[str]
    grades: dict[str, float]

    def __init__(self, entries: Iterable[records.Entry] = ()) -> None:
        super().__init__()
        self.entries = tuple(entries)
        self.things = {kind: {} for kind in words.THINGS}
        self.aliases = {kind: {} for kind in words.THINGS}
        self.ambiguous = {kind: {} for kind in words.THINGS}
        self.spelt = {kind: {} for kind in words.THINGS}
        self.features, self.grades, self.assemblies = {}, {}, set()
        self.laid: Mapping[str, trade.Laid] = {}
        self.told_otherwise: dict[str, tuple[Fact, ...]] = {}
        self.has_other_names = False
        self.facts: dict[str, Fact] = {}
        self.withdrawn: dict[str, tuple[Fact, records.Withdraw]] = {}
        self.unknown_withdraws: list[records.Withdraw] = []
        self.clashing_ids: list[tuple[str, list[records.Statement]]] = []
        self._said: dict[Where, Stated] = {}
        """Where a saying of a fact stands -> the fact."""
        self._taking_back: dict[str, list[records.Withdraw]] = {}
        self._order: dict[int, int] = {}
        for number, entry in enumerate(self.entries):
            if isinstance(entry, records.Withdraw):
                self._order[id(entry)] = number
                self._taking_back.setdefault(entry.target.strip(), []).append(entry)

    def with_facts(self, facts: dict[str, Fact]) -> Collection:
        """The same with other facts than the entries say."""
        made = Collection.__new__(Collection)
        vars(made).update(vars(self))
        made.facts = facts
        return made

    def parts_numbered(self, number: str) -> set[str]:
        """The parts that have this maker's number (its key)."""
        return {
            key
            for key, things in self.things["part"].items()
            for t in things
            if isinstance(t, records.Part) and any(fold(n) == number for _, n in t.numbers)
        }

    def known(self, kind: str) -> dict[str, str]:
        """Key -> name of every thing of a kind, declared or used."""
        return {**self.spelt.get(kind, {}), **{k: v[0].name.text for k, v in self.things[kind].items()}}

    def nameable(self, kind: str) -> dict[str, str]:
        """The same, and what the ground knows."""
        below = {k: v[0].name.text for k, v in self.laid[kind].under.items()} if kind in self.laid else {}
        return {**below, **self.known(kind)}

    def facts_as_said(self) -> Iterator[Fact]:
        """The facts that hold; one pair that is said with unlike exceptions as the several facts said."""
        for fact in self.facts.values():
            yield from self.told_otherwise.get(fact.id, (fact,))

    def declared_all(self, kind: str) -> Mapping[str, list[records.Thing]]:
        """Key -> entries of every declared thing of a kind."""
        return self.things[kind]

    def events(self) -> Sequence[records.Statement]:
        """Every event of the shelf, in the order of the entries."""
        return [e for e in self.entries if isinstance(e, EVENT_TYPES)]

    def withdrawals(self, *targets: str) -> Sequence[records.Withdraw]:
        """The withdrawals of what has one of these ids, in the order of the entries."""
        found = [w for t in dict.fromkeys(targets) for w in self._taking_back.get(t, ())]
        return sorted(found, key=lambda w: self._order[id(w)]) if len(found) > 1 else found

    def with_id(self, text: str) -> Sequence[records.Statement]:
        """The statements with this id, of their own or of what they say, in the order of the entries."""
        return [
            e
            for e in self.entries
            if isinstance(e, records.Statement) and text in (e.own_id.strip(), written_id(e))
        ]

    def fact_with_id(self, text: str) -> Stated | None:
        """The fact with this id; of several one that nothing took back, if there is one."""
        every: Iterable[Stated] = (*((f, None) for f in self.facts.values()), *self.withdrawn.values())
        return next((stated for stated in every if text in stated[0].ids), None)

    def naming(self, kind: str, key: str) -> Sequence[records.Entry]:
        """The entries that name a thing, their own name left out, in the order of the entries."""
        return [
            e
            for e in self.entries
            if any(k == kind and self.key(k, n.key) == key for k, n in names_used(self, e))
        ]

    def leaving_out(self, key: str) -> Sequence[records.Entry]:
        """The entries whose `except` names it, in the order of the entries."""
        return [e for e in self.entries if any(exception_key(self, n) == key for n in excepted(e))]

    def stated(self, entries: Iterable[records.Entry]) -> Iterator[Stated]:
        """The facts that any of these entries say, whole, each once, in the order of the entries."""
        found = (self._said.get(e.where) for e in entries)
        return iter({f[0].id: f for f in found if f}.values())

    def spellings(self, loosely: str) -> Iterator[tuple[str, str, str]]:
        """(kind, name, one spelling of it) of what is spelt with these letters and digits in a row."""
        things = ((kind, key) for kind in words.THINGS for key in self.known(kind))
        every = (s for kind, key in things for s in spellings_of(self, kind, key))
        features = (("feature", t, t) for k, t in self.features.items() if is_feature(self, k))
        return (s for s in (*features, *every) if loosely in loose(s[2]))

    def spelt_loosely(self) -> Iterable[str]:
        """The letters and digits of every spelling."""
        return (loose(s[2]) for s in self.spellings(""))


def build(
    entries: Iterable[records.Entry],
    assemblies: Iterable[str] = (),
    laid: Mapping[str, trade.Laid] | None = None,
) -> Collection:
    """The collection of these entries; their order decides nothing but which spelling is shown.

    `assemblies` are the keys of what entries elsewhere use as assemblies; `laid` is how the ground lies where
    entries elsewhere decide it.
    """
    made = Collection(entries)
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
        made.has_other_names |= bool(made.aliases[kind])


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
    made.grades = grades_of(made.things["grade"])


def grades_of(said: Mapping[str, list[records.Thing]], ground: trade.Laid | None = None) -> dict[str, float]:
    """The certainty of every grade, where these entries override some."""
    below = (ground or trade.untouched("grade")).under
    grades = {k: t.certainty for k, those in below.items() for t in those if isinstance(t, records.Grade)}
    for key, things in said.items():
        # Of two overrides that disagree (`check` says so) the more careful one holds.
        grades[key] = min(t.certainty for t in things if isinstance(t, records.Grade))
    return grades


def _find_assemblies(made: Collection, elsewhere: Iterable[str]) -> None:
    here = (e.assembly.key for e in made.entries if isinstance(e, records.Uses))
    made.assemblies = {made.key("assembly", key) for key in (*elsewhere, *here)}


def certainty_of(made: Names, record: records.Statement) -> float:
    """The certainty of one saying: its own number, else that of its grade; by the trust in who says it."""
    return graded(made, record) * trust_in(made, record)


def graded(made: Names, record: records.Statement) -> float:
    """The certainty that a saying has by itself, whoever says it."""
    if record.certainty is not None:
        return record.certainty
    usual = made.grades[made.key("grade", words.NO_GRADE)]
    return made.grades.get(made.key("grade", fold(record.how)), usual) if record.how else usual


def trust_in(made: Names, record: records.Statement) -> float:
    """The trust in one saying: its own, times that in its source."""
    own = 1.0 if record.trust is None else record.trust
    return own * (source_trust(made, record.source.key) if record.source else 1.0)


def source_trust(made: Names, key: str) -> float:
    """The trust in a source, 1 where none is said; of two that disagree the more careful one holds."""
    entries = made.things["source"].get(made.key("source", key), ())
    return min(
        (e.trust for e in entries if isinstance(e, records.Source) and e.trust is not None), default=1.0
    )


def statement_args(made: Names, record: records.Statement) -> tuple[Any, ...]:
    """What a record states, in resolved keys (see :class:`Fact`)."""
    found: tuple[Any, ...] = _ARGS[type(record)](made, record)
    return found


def _position(made: Names, position: Name) -> str:
    return made.key("position", position.key)


def _part(made: Names, part: Name) -> str:
    return made.key("part", part.key)


def exception_key(made: Names, named: Name) -> str:
    """The key of what a name in an `except` leaves out: a position's, else an assembly's, else its own.

    A name that only the ground gives to a position may be that of an assembly here.
    """
    own = own_exception_key(made, named)
    if own in made.things["position"] or own in made.things["assembly"] or own in made.assemblies:
        return own
    return made.key("position", own)


def own_exception_key(made: Names, named: Name) -> str:
    """The same through the names of the folder alone."""
    key = made.own_key("position", named.key)
    return made.own_key("assembly", key) if key not in made.things["position"] else key


def _exceptions(made: Names, found: tuple[Name, ...]) -> tuple[str, ...]:
    return tuple(sorted({exception_key(made, n) for n in found}))


def _rebadge_args(made: Names, r: Any) -> tuple[Any, ...]:
    pair = sorted(f"s:{made.key('set', n.key)}" for n in r.sets)
    return (*pair, _exceptions(made, r.exceptions))


def _uses_args(made: Names, r: Any) -> tuple[Any, ...]:
    assembly = f"a:{made.key('assembly', r.assembly.key)}"
    return (assembly, made.owner(r.owner.key), _exceptions(made, r.exceptions))


def _takes_args(made: Names, r: Any) -> tuple[Any, ...]:
    return (_part(made, r.part), made.owner(r.owner.key), _position(made, r.position), r.role)


def _same_args(made: Names, r: Any) -> tuple[Any, ...]:
    return tuple(sorted(_part(made, n) for n in r.parts))


def _replaces_args(made: Names, r: Any) -> tuple[Any, ...]:
    return (_part(made, r.new), _part(made, r.old))


def _fits_args(made: Names, r: Any) -> tuple[Any, ...]:
    source = (made.owner(r.owner.key), _position(made, r.position))
    target = (made.owner(r.to.key), _position(made, r.at))
    return (*source, *target, r.both_ways, " ".join(r.work.split()))


def _refuses_args(made: Names, r: Any) -> tuple[Any, ...]:
    here = (made.owner(r.owner.key), _position(made, r.position))
    if r.item_position is None:
        return (_part(made, r.item), "", "", *here)
    return ("", made.owner(r.item.key), _position(made, r.item_position), *here)


def _run_args(made: Names, r: Any) -> tuple[Any, ...]:
    pulleys = tuple(
        (p.name, p.x_mm, p.y_mm, p.diameter_mm, p.outside, p.drives, p.rpm, p.capstan_mm) for p in r.pulleys
    )
    at = (fold(r.pull_at),) if r.pull_at else ()
    return (made.owner(r.owner.key), _position(made, r.position), pulleys, r.stretch, r.pull_N_m, *at)


_ARGS: Mapping[type[records.Statement], Any] = {
    records.Rebadge: _rebadge_args,
    records.Uses: _uses_args,
    records.Takes: _takes_args,
    records.Same: _same_args,
    records.Replaces: _replaces_args,
    records.Fits: _fits_args,
    records.Refuses: _refuses_args,
    records.Distinct: lambda made, r: tuple(sorted(f"s:{made.key('set', n.key)}" for n in r.sets)),
    records.Run: _run_args,
}

_UNSAID = {"how", "certainty", "trust", "source", "by", "date", "note", "id", "corrects"}
_SYMMETRIC = {"rebadge", "same", "distinct", "except"}
_WORDS_NOT_NAMES = {"role", "both ways", "work", "why", "stretch", "pull", "owed"}
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
    return digest_of(_CANONICAL.encode(said))


def digest_of(text: str) -> str:
    """The id of a fact from what it says."""
    digest: str = sha256(text.encode()).hexdigest()[:16]
    return digest


def _add_facts(made: Collection) -> None:
    sayings = sayings_of(made, made.entries)
    facts = told_apart(made, [fact_said(made, *what, said) for what, said in sayings.items()])
    by_id: dict[str, list[Fact]] = {}
    for fact in facts:
        for one in fact.ids:
            by_id.setdefault(one, []).append(fact)
    made.clashing_ids = [(i, [f.record for f in fs if f.record]) for i, fs in by_id.items() if len(fs) > 1]
    _note_unknown_withdraws(made, by_id)
    stated = [held(made, fact, said) for fact, said in zip(facts, sayings.values(), strict=True)]
    raw = {(fact.kind, fact.args): fact for fact in facts}
    made.withdrawn = {fact.id: (fact, by) for fact, by in stated if by is not None}
    made._said = {e.where: s for s in stated if s[1] is not None for e in s[0].evidence}
    for fact, several in one_for_each_pair(made.entries, [fact for fact, by in stated if by is None]):
        made.facts[fact.id] = fact
        if len(several) > 1:
            made.told_otherwise[fact.id] = several
        whole = (e for said in several for e in raw[said.kind, said.args].evidence)
        made._said.update({e.where: (fact, None) for e in whole})


def sayings_of(made: Names, entries: Iterable[records.Entry]) -> dict[What, list[records.Statement]]:
    """What these entries state, each statement with all its sayings."""
    sayings: dict[What, list[records.Statement]] = {}
    for entry in entries:
        if isinstance(entry, FACT_TYPES):
            sayings.setdefault((entry.kind, statement_args(made, entry)), []).append(entry)
    return sayings


def told_apart(made: Names, facts: list[Fact]) -> list[Fact]:
    """The facts, each under an id of its own: where several claim one, each has the id of what it says.

    `check` reports the claim; a `withdraw` of the claimed id takes back all of them.
    """
    claims = Counter(f.id for f in facts)
    if len(claims) == len(facts):
        return facts
    taken: set[str] = set()
    found = {}
    for fact in sorted(facts, key=lambda f: (claims[f.id], repr((f.kind, f.args)))):
        own = fact.id
        if claims[own] > 1 and fact.record is not None:
            own = by_words = _resolved_id(made, fact.record)
            # Words that fold alike may still say two things: none is lost.
            own = next(o for n in count(1) if (o := f"{by_words}~{n}" if n > 1 else by_words) not in taken)
        taken.add(own)
        found[fact.kind, fact.args] = fact._replace(id=own, ids=tuple(dict.fromkeys([own, *fact.ids])))
    return [found[fact.kind, fact.args] for fact in facts]


def fact_said(made: Names, kind: str, args: tuple[Any, ...], said: Sequence[records.Statement]) -> Fact:
    """The fact of all sayings of one statement, as if nothing took any back."""
    evidence = tuple(_evidence(made, r) for r in said)
    own = [r.own_id.strip() for r in said if r.own_id.strip()]
    written = [written_id(r) for r in said]
    shown = own[0] if own else _resolved_id(made, said[0]) if made.has_other_names else written[0]
    by_ground = [_resolved_id(made, r, by_ground=True) for r in said if _named_by_ground(made, r)]
    ids = tuple(dict.fromkeys([shown, *own, *written, *by_ground]))
    return Fact(shown, kind, args, max(e.certainty for e in evidence), evidence, said[0], ids)


def _named_by_ground(made: Names, record: Any) -> bool:
    """Whether a statement names a position by a name that the ground alone gives it."""
    named = (getattr(record, slot, None) for slot in ("position", "at", "item_position"))
    keys = [n.key for n in (*named, *getattr(record, "exceptions", ())) if n is not None]
    return any(made.key("position", k) != made.own_key("position", k) for k in keys)


def _resolved_id(made: Names, record: records.Statement, by_ground: bool = False) -> str:
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

    made: Names
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


def _evidence(made: Names, r: records.Statement) -> Evidence:
    return Evidence(
        where=r.where,
        how=r.how.strip() or ("" if r.certainty is not None else words.NO_GRADE),
        certainty=certainty_of(made, r),
        source=r.source.text if r.source else "",
        by=r.by,
        date=r.date,
        note=r.note,
        trust=trust_in(made, r),
    )


def held(made: Names, fact: Fact, said: Sequence[records.Statement]) -> Stated:
    """A fact by those of its sayings that nothing took back, or whole with the withdrawal that took all."""
    withdraws = [w for w in made.withdrawals(*fact.ids) if _holds(made, w, frozenset())]
    if not withdraws:
        return fact, None
    pairs = zip(fact.evidence, said, strict=True)
    left = tuple(e for e, record in pairs if not any(takes_back(made, w, record) for w in withdraws))
    if not left:
        return fact, next((w for w in withdraws if w.source is None), withdraws[0])
    return fact._replace(evidence=left, certainty=max(e.certainty for e in left)), None


def _holds(made: Names, by: records.Withdraw, seen: frozenset[int]) -> bool:
    """Whether nothing takes a withdrawal back: it may itself be withdrawn, by its id."""
    own = {by.own_id.strip(), written_id(by)} - {""}
    against = [w for w in made.withdrawals(*own) if id(w) not in seen and w is not by]
    return not any(_holds(made, w, seen | {id(by)}) for w in against if takes_back(made, w, by))


def takes_back(made: Names, by: records.Withdraw, said: records.Statement) -> bool:
    """Whether a withdrawal of a statement means this saying of it: not one that corrects the same id."""
    if said.corrects.strip() == by.target.strip():
        return False
    if by.source is None:
        return True
    return said.source is not None and made.key("source", said.source.key) == made.key(
        "source", by.source.key
    )


WITH_EXCEPTIONS = frozenset({"rebadge", "uses"})
"""Kinds of fact that say of two what they leave out: their last argument."""


def about(what: What) -> What:
    """What facts share that differ in their exceptions alone."""
    return (what[0], what[1][:2]) if what[0] in WITH_EXCEPTIONS else what


def one_for_each_pair(
    entries: Iterable[records.Entry], facts: Iterable[Fact]
) -> Iterator[tuple[Fact, tuple[Fact, ...]]]:
    """Each fact and what it was made of: of those that say one pair with unlike exceptions a single one.

    `entries` are those that say them, in the order of reading.
    """
    pairs: dict[What, list[Fact]] = {}
    for fact in facts:
        pairs.setdefault(about((fact.kind, fact.args)), []).append(fact)
    several = any(len(said) > 1 for said in pairs.values())
    order = {id(entry.where): number for number, entry in enumerate(entries)} if several else {}
    for said in pairs.values():
        yield (said[0] if len(said) == 1 else _joined(order, said)), tuple(said)


def _joined(order: Mapping[int, int], said: Sequence[Fact]) -> Fact:
    """One fact of several that differ in their exceptions: all of these count, and the highest certainty."""
    surest = min(said, key=lambda f: (-f.certainty, f.id))
    left_out = tuple(sorted({key for fact in said for key in fact.args[2]}))
    ids = dict.fromkeys([surest.id, *(i for fact in sorted(said, key=lambda f: f.id) for i in fact.ids)])
    evidence = sorted((e for fact in said for e in fact.evidence), key=lambda e: order[id(e.where)])
    return surest._replace(args=(*surest.args[:2], left_out), evidence=tuple(evidence), ids=tuple(ids))


def _note_unknown_withdraws(made: Collection, by_id: Mapping[str, list[Fact]]) -> None:
    given = [e for e in made.entries if isinstance(e, records.Withdraw)]
    others = (e for e in made.entries if isinstance(e, (records.Withdraw, *EVENT_TYPES)))
    all_own = {i for e in others for i in (e.own_id.strip(), written_id(e))} if given else set()
    made.unknown_withdraws = [
        w for w in given if w.target.strip() not in by_id and w.target.strip() not in all_own - {""}
    ]


def _note_spellings(made: Collection) -> None:
    for entry in made.entries:
        for named in excepted(entry):
            made.features.setdefault(exception_key(made, named), named.text)
        for kind, used in names_used(made, entry):
            key = made.key(kind, used.key)
            made.spelt[kind].setdefault(key, used.text)


def excepted(entry: records.Entry) -> tuple[Name, ...]:
    """The names that an entry leaves out by its `except`."""
    return entry.exceptions if isinstance(entry, records.Rebadge | records.Uses) else ()


def is_feature(made: Names, key: str) -> bool:
    """Whether only an `except` names it, and no position or assembly is called so."""
    return made.leaves_out(key) and not made.is_named("position", key)


def spellings_of(made: Names, kind: str, key: str) -> Iterator[tuple[str, str, str]]:
    """(kind, name, spelling) for every way in which a thing is written: names, model, makers' numbers."""
    things = made.things[kind].get(key, ())
    text = made.text(kind, key)
    yield kind, text, text
    below = (n for t in made.ground(kind, key) for n in (t.name, *t.also))
    yield from ((kind, text, n.text) for n in below if made.key(kind, n.key) == key)
    for thing in things:
        yield from ((kind, text, n.text) for n in thing.also)
        if isinstance(thing, records.SetModel):
            yield kind, text, thing.model
        if isinstance(thing, records.Part):
            yield from ((kind, text, n) for _, n in thing.numbers)


def names_used(made: Names, entry: records.Entry) -> list[tuple[str, Name]]:
    """(kind of thing, name as written) for every name that an entry uses, its own name left out."""
    return [
        (("set" if made.owner(used.key)[0] == "s" else "assembly") if kind == OWNER else kind, used)
        for kind, used in names_in(entry)
    ]


OWNER = "owner"
"""What a name is of that may mean a set or an assembly."""


def names_in(entry: records.Entry) -> list[tuple[str, Name]]:
    """The same, as far as an entry tells by itself: a name that may mean a set or an assembly is of OWNER."""
    find = _USES.get(type(entry))
    found = list(find(entry)) if find else []
    if isinstance(entry, records.Statement) and entry.source:
        found.append(("source", entry.source))
    return found


def _refuses_uses(r: Any) -> list[tuple[str, Name]]:
    here = [(OWNER, r.owner), ("position", r.position)]
    if r.item_position is None:
        return [("part", r.item), *here]
    return [(OWNER, r.item), ("position", r.item_position), *here]


def _part_uses(p: Any) -> list[tuple[str, Name]]:
    return [("kind", name(p.sort))] if name(p.sort).key else []


_USES: Mapping[type[records.Entry], Any] = {
    records.Rebadge: lambda r: [("set", n) for n in r.sets],
    records.Uses: lambda r: [("assembly", r.assembly), (OWNER, r.owner)],
    records.Takes: lambda r: [("part", r.part), (OWNER, r.owner), ("position", r.position)],
    records.Same: lambda r: [("part", n) for n in r.parts],
    records.Distinct: lambda r: [("set", n) for n in r.sets],
    records.Replaces: lambda r: [("part", r.new), ("part", r.old)],
    records.Fits: lambda r: [
        (OWNER, r.owner),
        ("position", r.position),
        (OWNER, r.to),
        ("position", r.at),
    ],
    records.Refuses: _refuses_uses,
    records.Run: lambda r: [("position", r.position), (OWNER, r.owner)],
    records.Assembly: lambda a: [("position", n) for n in a.positions],
    records.Part: _part_uses,
    records.Position: lambda p: [("caution", n) for n in p.cautions],
    records.Kind: lambda k: [("caution", n) for n in k.cautions],
    records.Unit: lambda u: [
        *([("set", u.set)] if u.set else []),
        *(("position", n) for n, _ in u.state),
        *(("position", n) for n in u.wants),
    ],
    records.Stock: lambda s: [("part", s.name)],
    records.Taken: lambda t: [
        ("position", t.position),
        ("unit", t.unit),
        *([("unit", t.to)] if t.to else []),
    ],
    records.Restored: lambda t: [("position", t.position), ("unit", t.to)],
}
