"""The rows of a list: one for each thing or fact, with what is recorded of it under each key."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import PurePath

from kgraph import questions, records, usual_keys, words
from kgraph.collection import Collection
from kgraph.collection.resolving import names_used
from kgraph.facts import Evidence, Fact
from kgraph.fits.graph import Graph
from kgraph.listing import following
from kgraph.listing.conditions import Condition
from kgraph.listing.following import Certain
from kgraph.names import compared, did_you_mean, fold, natural
from kgraph.problems import WrongUse
from kgraph.questions.answer import DEFAULT, Wanted
from kgraph.records import Value
from kgraph.shelf.ledger import shelf_now

KINDS = {"sets": "set", "units": "unit", "parts": "part", "assemblies": "assembly", "facts": "fact"}
"""What can be listed -> the key that a row is named by."""
FACT_KEYS = (
    "fact",
    "says",
    "kind",
    "certainty",
    "grade",
    "source",
    "by",
    "via",
    "date",
    "note",
    "file",
    "line",
)
_NAMED = ("set", "assembly", "part", "position")
"""What a fact can be asked for by the name of."""
_NAMES_IN = {
    "kind": "kind",
    "positions": "position",
    "wants": "position",
    "state": "position",
    "seen": "position",
    "grade": "grade",
    "how": "grade",
    "source": "source",
    "via": "via",
}
"""The keys that hold names of things -> of which kind: any name of the thing asks for it."""
_UNSAID = {"called", "trust"}


@dataclass(frozen=True, slots=True)
class ListRow:
    """One thing or fact: `values` by key; `certain` by the keys of conditions that the rules meet."""

    key: str
    values: Mapping[str, tuple[Value, ...]]
    certain: Mapping[str, float] = field(default_factory=dict)
    fact: Fact | None = None

    def texts(self, key: str) -> Iterator[str]:
        """All that a key says, as texts; of a mapping its keys, and each with its value."""
        for written, values in self.values.items():
            if compared(written) == key:
                for value in values:
                    yield from _texts(value)


@dataclass(frozen=True, slots=True)
class List:
    """The rows that match, by name, and every key that any of them has."""

    kind: str
    rows: tuple[ListRow, ...]
    keys: tuple[str, ...]
    conditions: tuple[Condition, ...] = ()


def _texts(value: Value) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            yield key
            yield from (text for each in _texts(inner) for text in (each, f"{key}: {each}"))
    else:
        for inner in value:
            yield from _texts(inner)


def listed(graph: Graph, what: str, conditions: Sequence[Condition], wanted: Wanted = DEFAULT) -> List:
    """What matches every condition; raises WrongUse for a key or name that is not known.

    `wanted.at_least` leaves out what follows less certainly, and of facts those that are less certain.
    """
    kind = KINDS[what]
    if kind == "fact":
        rows = list(_facts(graph.data, conditions, wanted.at_least))
        return List(what, tuple(rows), FACT_KEYS, tuple(conditions))
    every = _things(graph, kind)
    keys = _keys(kind, every)
    follows = _FOLLOWS[kind]
    of_set = [*_keys("set", _things(graph, "set")), *_usual("set")] if kind == "unit" else []
    _refuse_unknown(conditions, [*keys, *_usual(kind), *follows, *of_set])
    asked = [c for c in conditions if c.key in follows and c.value]
    if wanted.at_least and not asked:
        raise WrongUse(
            f"--at-least is for what follows by the rules: ask for {' or '.join(follows)}=NAME too"
        )
    plain = [c for c in conditions if c not in asked]
    rows = [r for r in every if all(_meets(graph, kind, r, c) for c in plain)]
    for one in asked:
        certain = follows[one.key](graph, one.value, wanted)
        rows = list(_certain(rows, one.key, certain, wanted.at_least))
    rows.sort(key=lambda r: natural(str(r.values[kind][0])))
    return List(what, tuple(rows), tuple(_keys(kind, rows)), tuple(conditions))


def _certain(rows: Iterable[ListRow], key: str, certain: Certain, at_least: float) -> Iterator[ListRow]:
    for row in rows:
        chance = certain.get(row.key)
        if chance is not None and chance >= at_least:
            yield ListRow(row.key, row.values, {**row.certain, key: chance})


def _refuse_unknown(conditions: Iterable[Condition], known: Iterable[str]) -> None:
    names = list(dict.fromkeys(known))
    keys = {compared(name) for name in names}
    for one in conditions:
        if one.key not in keys:
            near = did_you_mean(one.key, names)
            raise WrongUse(f"nothing here has the key {one.key!r}; {near or 'known are ' + ', '.join(names)}")


def column(text: str, known: Sequence[str]) -> str:
    """The key that a column is named by; raises WrongUse with the nearest."""
    found = next((k for k in known if compared(k) == compared(text)), None)
    if found is None:
        near = did_you_mean(text, known)
        raise WrongUse(f"there is no column {text!r}; {near or 'known are ' + ', '.join(known)}")
    return found


# Things ---------------------------------------------------------------------------------------


def _things(graph: Graph, kind: str) -> list[ListRow]:
    data = graph.data
    rows = [ListRow(key, _said(data, kind, key, name)) for key, name in data.known(kind).items()]
    return [_unit_now(graph, row) for row in rows] if kind == "unit" else rows


def _said(data: Collection, kind: str, key: str, name: str) -> dict[str, tuple[Value, ...]]:
    """What all entries of a thing say of it, each value once; one key however it is written."""
    found: dict[str, list[Value]] = {kind: [name]}
    spelt = {compared(k.name): k.name for k in usual_keys.of_kind(kind)}
    for thing in data.things[kind].get(key, ()):
        for written, value in thing.pairs[1:]:
            if compared(written) not in _UNSAID and not (thing.called and written == "date"):
                kept = found.setdefault(spelt.setdefault(compared(written), written), [])
                kept += [value] if value not in kept else []
        if isinstance(thing, records.SetModel):
            found.setdefault("badge", [thing.badge])
            found.setdefault("model", [thing.model])
    return {k: tuple(values) for k, values in found.items()}


def _unit_now(graph: Graph, row: ListRow) -> ListRow:
    """A unit with what it still wants, and no longer what it wanted once."""
    now = shelf_now(graph).units.get(row.key)
    if now is None or "wants" not in row.values:
        return row
    wants = tuple(graph.data.text("position", p) for p in now.wants)
    return ListRow(row.key, {**row.values, "wants": (wants,) if wants else ()})


def _keys(kind: str, rows: Iterable[ListRow]) -> list[str]:
    """Every key that a row has, the usual ones first and in their order."""
    used = dict.fromkeys(k for row in rows for k, values in row.values.items() if values)
    usual = _usual(kind)
    return [
        kind,
        *(k for k in usual if k in used and k != kind),
        *(k for k in used if k not in (kind, *usual)),
    ]


def _usual(kind: str) -> list[str]:
    """The usual keys of a kind of thing, in their order."""
    keys = [*usual_keys.of_kind(kind), *(usual_keys.of_part(words.FITS_LIKE_BELT) if kind == "part" else ())]
    return [k.name for k in keys if compared(k.name) not in _UNSAID]


def _meets(graph: Graph, kind: str, row: ListRow, wanted: Condition) -> bool:
    """Whether a row has what is asked for; a unit has what its set has where it says nothing itself."""
    texts = list(row.texts(wanted.key))
    if wanted.key == kind:
        texts += [n.text for t in graph.data.things[kind].get(row.key, ()) for n in t.also]
    if kind == "unit" and not texts and (owner := _set_of(graph, row.key)):
        texts = list(ListRow(owner, _said(graph.data, "set", owner, "")).texts(wanted.key))
    if kind == "unit" and wanted.key == "set" and (owner := _set_of(graph, row.key)):
        return bool(wanted.value) and graph.data.key("set", fold(wanted.value)) == owner
    if kind == "part" and wanted.key == "insidelength":
        texts += _inside_lengths(graph, row.key)
    return _met(graph.data, wanted, texts) if wanted.value else not texts


def _met(data: Collection, wanted: Condition, texts: Iterable[str]) -> bool:
    """Whether one of these texts is what is asked for, or names the same thing."""
    meant = _thing_in(data, wanted.key, wanted.value)
    return any(wanted.met_by(t) or (bool(meant) and _thing_in(data, wanted.key, t) == meant) for t in texts)


def _thing_in(data: Collection, key: str, text: str) -> tuple[str, ...]:
    """The thing that a key names, with what is said behind a colon (`volume knob: missing`); () for none."""
    name, _, rest = text.partition(":") if key in ("state", "seen") else (text, "", "")
    kind = _NAMES_IN.get(key)
    return (data.key(kind, fold(name)), fold(rest)) if kind and fold(name) else ()


def _inside_lengths(graph: Graph, part: str) -> list[str]:
    lengths = (graph.data.inside_length_mm(t) for t in graph.data.things["part"].get(part, ()))
    return [f"{mm:.9g} mm" for mm in lengths if mm is not None]


def _set_of(graph: Graph, unit: str) -> str:
    """The key of the set that a unit is of, or ""."""
    things = graph.data.things["unit"].get(unit, ())
    of = next((t.set for t in things if isinstance(t, records.Unit) and t.set), None)
    return graph.data.key("set", of.key) if of else ""


# What follows by the rules --------------------------------------------------------------------


def _by_assembly(kind: str) -> Callable[[Graph, str, Wanted], Certain]:
    def found(graph: Graph, text: str, wanted: Wanted) -> Certain:
        assembly = questions.name_of(graph.data, "assembly", text)
        return following.built_on_assembly(graph, assembly, kind, wanted)

    return found


def _by_part(graph: Graph, text: str, wanted: Wanted) -> Certain:
    return following.taking_part(graph, questions.part_named(graph.data, text), wanted)


def _parts_by_set(graph: Graph, text: str, wanted: Wanted) -> Certain:
    return following.parts_of_set(graph, questions.name_of(graph.data, "set", text), wanted)


def _assemblies_by_set(graph: Graph, text: str, wanted: Wanted) -> Certain:
    return following.under_set(graph, questions.name_of(graph.data, "set", text), wanted)


def _units(
    of_sets: Callable[[Graph, str, Wanted], Certain],
) -> Callable[[Graph, str, Wanted], Certain]:
    """The same of the units of those sets."""

    def found(graph: Graph, text: str, wanted: Wanted) -> Certain:
        sets = of_sets(graph, text, wanted)
        owners = {unit: _set_of(graph, unit) for unit in graph.data.known("unit")}
        return {unit: sets[owner] for unit, owner in owners.items() if owner in sets}

    return found


_FOLLOWS: Mapping[str, Mapping[str, Callable[[Graph, str, Wanted], Certain]]] = {
    "set": {"assembly": _by_assembly("set"), "part": _by_part},
    "unit": {"assembly": _units(_by_assembly("set")), "part": _units(_by_part)},
    "part": {"set": _parts_by_set},
    "assembly": {"set": _assemblies_by_set},
}
"""Kind of row -> the keys that ask for what follows by the rules."""


# Facts ----------------------------------------------------------------------------------------


def _facts(data: Collection, conditions: Sequence[Condition], at_least: float) -> Iterator[ListRow]:
    """The facts that match, each by those of its sayings that do."""
    _refuse_unknown(conditions, [*FACT_KEYS, "how", *_NAMED])
    named = {c: questions.name_of(data, c.key, c.value) for c in conditions if c.key in _NAMED}
    whole = [c for c in conditions if c not in named and c.key in ("fact", "kind", "certainty")]
    of_sayings = [c for c in conditions if c not in named and c not in whole]
    found = []
    for fact in data.facts_as_said():
        about = {"fact": fact.id, "kind": fact.kind, "certainty": f"{fact.certainty!r}"}
        if fact.certainty < at_least or not all(c.met_by(about[c.key]) for c in whole):
            continue
        if named and not _names_all(data, fact, named):
            continue
        if sayings := [e for e in fact.evidence if all(_said_so(data, e, c) for c in of_sayings)]:
            found.append((sayings[0].where, ListRow(fact.id, _fact_values(fact, sayings), fact=fact)))
    return (row for _, row in sorted(found, key=lambda f: f[0]))


def _names_all(data: Collection, fact: Fact, named: Mapping[Condition, str]) -> bool:
    here = (
        {(kind, data.key(kind, n.key)) for kind, n in names_used(data, fact.record)} if fact.record else set()
    )
    return all((one.key, key) in here for one, key in named.items())


def _said_so(data: Collection, saying: Evidence, wanted: Condition) -> bool:
    """Whether a saying has what is asked for; a file by its name or the end of its path."""
    texts = [t for t in _saying_texts(saying).get("grade" if wanted.key == "how" else wanted.key, ()) if t]
    if not wanted.value:
        return not texts
    if wanted.key == "file":
        path, asked = PurePath(saying.where.file).parts, PurePath(wanted.value).parts
        return bool(asked) and path[-len(asked) :] == asked
    return _met(data, wanted, texts)


def _saying_texts(saying: Evidence) -> dict[str, list[str]]:
    return {
        "grade": [saying.how],
        "source": [saying.source],
        "by": [saying.by],
        "via": saying.via.split(", ")[:1],
        "date": [saying.date],
        "note": [saying.note],
        "file": [saying.where.file],
        "line": [str(saying.where.line)],
    }


def _fact_values(fact: Fact, sayings: Sequence[Evidence]) -> dict[str, tuple[Value, ...]]:
    found: dict[str, list[Value]] = {
        "fact": [fact.id],
        "kind": [fact.kind],
        "certainty": [f"{fact.certainty!r}"],
    }
    for saying in sayings:
        for key, texts in _saying_texts(saying).items():
            kept = found.setdefault(key, [])
            kept += [t for t in texts if t and (t not in kept or key == "line")]
    return {key: tuple(values) for key, values in found.items()}
