"""What the entries mean, names resolved: things, facts with their evidence, and plain links between them.

Words of open vocabularies wherever they have one: schema.org for models, parts and badges, SKOS for names,
PROV-O for sources, QUDT for sizes. What they lack is `kgraph.ttl`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import partial
from typing import Any

from kgraph import mains, matching, quantities, records
from kgraph.collection import Collection
from kgraph.collection.fact_ids import thing_id
from kgraph.collection.trusting import via_trust
from kgraph.exchange import imaged
from kgraph.exchange.addressed import CLASSES, quantity_node
from kgraph.exchange.stated import STATES, about
from kgraph.exchange.statements import Block, LiteralText, Nested, Pair, TermList, real, whole
from kgraph.exchange.terms import PROV, RDFS, SCHEMA, SKOS, TERM, XSD, iri
from kgraph.exchange.vocabulary import LABEL, QUDT, TYPE, UNIT, UNITS, key_iri
from kgraph.facts import Evidence, Fact
from kgraph.fits.sizes import compare_rules
from kgraph.names import compared, fold
from kgraph.problems import Where

# Things ---------------------------------------------------------------------------------------


def things(data: Collection) -> Iterator[Block]:
    """Every thing, declared or only used, kind by kind, by its key."""
    makers: Mapping[str, _Maker] = {"set": partial(_set, _must_match(data)), **_MORE}
    for kind in makers:
        more = _cautions_in_force(data) if kind == "caution" else ()
        for key in sorted({*data.known(kind), *more}):
            yield _thing(data, kind, key, makers[kind])
    yield from _features(data)
    yield from _badges(data)
    yield from _must_match_values(data)
    for unit, code in UNITS.items():
        yield Block(UNIT + unit, ((QUDT + "ucumCode", LiteralText(code)),))


def _cautions_in_force(data: Collection) -> set[str]:
    """The cautions of the folder's places and kinds, those of the ground among them."""
    places = (data.position_rules(key).cautions for key in data.known("position"))
    kinds = (data.kind_cautions(key) for key in data.known("kind"))
    return {data.key("caution", named.key) for found in (*places, *kinds) for named in found}


def _thing(data: Collection, kind: str, key: str, more: _Maker) -> Block:
    said = data.things[kind].get(key, [])
    others = dict.fromkeys(other.text for thing in said for other in thing.also)
    pairs: list[Pair] = [(TYPE, CLASSES[kind]), (LABEL, LiteralText(data.text(kind, key)))]
    pairs += [(SKOS + "altLabel", LiteralText(other)) for other in others]
    pairs += more(data, key, said)
    pairs += _recorded(said)
    pairs += (pair for thing in said for pair in imaged.of(thing))
    sources = dict.fromkeys(data.key("source", named.key) for thing in said for named in thing.sources)
    pairs += ((PROV + "hadPrimarySource", iri("source", one)) for one in sources)
    return Block(iri(kind, key), tuple(dict.fromkeys(pairs)))


def _recorded(said: Iterable[records.Thing]) -> Iterator[Pair]:
    """Recorded attributes as they are written; each item of a list by itself."""
    for thing in said:
        for key, value in thing.attributes:
            for text in value if isinstance(value, tuple) else (value,):
                if isinstance(text, str):
                    yield key_iri(key), LiteralText(text)


def _set(attributes: list[str], data: Collection, key: str, said: Iterable[Any]) -> Iterator[Pair]:
    for thing in said:
        yield SCHEMA + "brand", iri("badge", compared(thing.badge))
        yield SCHEMA + "model", LiteralText(thing.model)
    for attribute, value in _values(data, key, attributes):
        yield TERM + "recorded", iri("value", attribute, value)


def _features(data: Collection) -> Iterator[Block]:
    """What an `except` names and no place has."""
    for key in sorted(data.features.keys() - data.known("position").keys()):
        told = ((TYPE, TERM + "Feature"), (LABEL, LiteralText(data.text("position", key))))
        yield Block(iri("position", key), told)


def _badges(data: Collection) -> Iterator[Block]:
    sets = (thing for things in data.things["set"].values() for thing in things)
    named = {compared(s.badge): s.badge for s in reversed(list(sets)) if isinstance(s, records.SetModel)}
    for key in sorted(named):
        yield Block(iri("badge", key), ((TYPE, SCHEMA + "Brand"), (SCHEMA + "name", LiteralText(named[key]))))


def _assembly(data: Collection, key: str, said: Iterable[Any]) -> Iterator[Pair]:
    if sort := data.assembly_kind(key):
        yield TERM + "sort", LiteralText(sort)
    for named in (n for thing in said for n in thing.positions):
        yield TERM + "declares", iri("position", data.key("position", named.key))


def _part(data: Collection, key: str, said: Iterable[Any]) -> Iterator[Pair]:
    if sort := data.kind_of(key):
        yield TERM + "ofKind", iri("kind", sort)
    for thing in said:
        for maker, number in thing.numbers:
            yield SCHEMA + "mpn", LiteralText(number)
            told = ((TYPE, SCHEMA + "PropertyValue"), (SCHEMA + "propertyID", LiteralText(maker)))
            yield SCHEMA + "identifier", Nested((*told, (SCHEMA + "value", LiteralText(number))))
        if thing.section:
            sizes = TermList(tuple(quantity_node(mm, "MilliM") for mm in thing.section.sizes_mm))
            yield (
                TERM + "section",
                Nested(((TERM + "form", LiteralText(thing.section.form)), (TERM + "sizes", sizes))),
            )
        if (mm := data.inside_length_mm(thing)) is not None:
            yield TERM + "insideLength", quantity_node(mm, "MilliM")
        if thing.hardness is not None:
            yield TERM + "shoreA", real(thing.hardness)
        yield from _lengths(thing)


def _lengths(thing: records.Part) -> Iterator[Pair]:
    """Every other recorded size that reads as a length."""
    for key, value in thing.attributes:
        if isinstance(value, str) and key not in ("inside length", "inside diameter", "folded", "section"):
            try:
                mm = quantities.length(value).mm
            except quantities.QuantityError:
                continue
            yield TERM + "size", quantity_node(mm, "MilliM", (TERM + "ofKey", key_iri(key)))


def _position(data: Collection, key: str, said: Iterable[Any]) -> Iterator[Pair]:
    rules = data.position_rules(key)
    yield from ((TERM + "mustMatch", iri("attribute", attribute)) for attribute in rules.must_match)
    yield from ((TERM + "caution", iri("caution", data.key("caution", c.key))) for c in rules.cautions)


def _kind(data: Collection, key: str, said: Iterable[Any]) -> Iterator[Pair]:
    yield (
        TERM + "generic",
        LiteralText("true" if compare_rules(data, key) is not None else "false", XSD + "boolean"),
    )
    for named in data.kind_cautions(key):
        yield TERM + "caution", iri("caution", data.key("caution", named.key))
    yield from ((TERM + "certainty", real(k.certainty)) for k in said if k.certainty is not None)


def _caution(data: Collection, key: str, said: Iterable[Any]) -> Iterator[Pair]:
    if text := data.caution_text(key):
        yield RDFS + "comment", LiteralText(text)


def _source(data: Collection, key: str, said: Iterable[Any]) -> Iterator[Pair]:
    yield from ((TERM + "sourceType", LiteralText(source.type)) for source in said if source.type)


def _grade(data: Collection, key: str, said: Iterable[Any]) -> Iterator[Pair]:
    yield from ((TERM + "certainty", real(grade.certainty)) for grade in said)


def _unit(data: Collection, key: str, said: Iterable[Any]) -> Iterator[Pair]:
    def at(name: Any) -> Pair:
        return TERM + "atPosition", iri("position", data.key("position", name.key))

    for unit in said:
        if unit.set:
            yield SCHEMA + "model", iri("set", data.key("set", unit.set.key))
        if unit.role:
            yield TERM + "role", LiteralText(unit.role)
        if unit.keep is not None:
            yield TERM + "keep", real(unit.keep)
        yield from (
            (TERM + "state", Nested((at(name), (TERM + "found", LiteralText(text)))))
            for name, text in unit.state
        )
        yield from ((TERM + "wants", at(name)[1]) for name in unit.wants)


def _stock(data: Collection, key: str, said: Iterable[Any]) -> Iterator[Pair]:
    yield TERM + "part", iri("part", data.key("part", key))
    yield from ((TERM + "count", whole(stock.count)) for stock in said)


def _via(data: Collection, key: str, said: Iterable[Any]) -> Iterator[Pair]:
    if (trust := via_trust(data, key)) is not None:
        yield key_iri("trust"), LiteralText(f"{trust:g}")


_Maker = Callable[[Collection, str, Iterable[Any]], Iterator[Pair]]
_MORE: Mapping[str, _Maker] = {
    "part": _part,
    "assembly": _assembly,
    "position": _position,
    "kind": _kind,
    "caution": _caution,
    "source": _source,
    "via": _via,
    "grade": _grade,
    "unit": _unit,
    "stock": _stock,
}


def _must_match(data: Collection) -> list[str]:
    """The attributes that must match somewhere."""
    return sorted({a for key in data.known("position") for a in data.position_rules(key).must_match})


def _values(data: Collection, key: str, attributes: list[str]) -> Iterator[tuple[str, str]]:
    """What is recorded of a set under each attribute that must match, in the keys that the rule compares."""
    for attribute in attributes:
        for text in matching.recorded(data, f"s:{key}", attribute):
            yield from ((attribute, value) for value in sorted(mains.keys(attribute, text)))


def _must_match_values(data: Collection) -> Iterator[Block]:
    attributes = _must_match(data)
    for attribute in attributes:
        yield Block(
            iri("attribute", attribute), ((TYPE, TERM + "Attribute"), (LABEL, LiteralText(attribute)))
        )
    values = {pair for key in data.known("set") for pair in _values(data, key, attributes)}
    for attribute, value in sorted(values):
        of = (TERM + "ofAttribute", iri("attribute", attribute))
        yield Block(iri("value", attribute, value), ((TYPE, TERM + "Value"), of))


# Facts ----------------------------------------------------------------------------------------


def facts(data: Collection, entries: Mapping[Where, str]) -> Iterator[Block]:
    """Every fact with its evidence, then what was taken back; `entries` as `written.iris` gives it."""
    for fact in sorted(data.facts.values(), key=lambda f: f.id):
        yield fact_block(fact, [entries[e.where] for e in fact.evidence])
        for evidence in fact.evidence:
            yield _evidence(data, entries[evidence.where], evidence)
    for fact, _ in sorted(data.withdrawn.values(), key=lambda pair: pair[0].id):
        told: list[Pair] = [(TYPE, TERM + "WithdrawnFact"), (TERM + "id", LiteralText(fact.id))]
        told += [(PROV + "wasDerivedFrom", entries[e.where]) for e in fact.evidence]
        yield Block(iri("fact", fact.id), tuple(told))
    yield from _people(data)
    yield from _events(data, entries)


def fact_block(fact: Fact, evidence: Iterable[str]) -> Block:
    """A fact: what it is about, what it states, and how certain it is."""
    kind = fact.kind.capitalize()
    pairs: list[Pair] = [(TYPE, TERM + "Fact"), (TYPE, TERM + kind), (TERM + "id", LiteralText(fact.id))]
    pairs += [(TERM + "says", LiteralText(fact.kind)), (TERM + "certainty", real(fact.certainty))]
    pairs += [(TERM + "about", thing) for thing in about(fact)]
    pairs += STATES[fact.kind](fact)
    pairs += [(PROV + "wasDerivedFrom", one) for one in evidence]
    return Block(iri("fact", fact.id), tuple(dict.fromkeys(pairs)))


_DATE_TYPES = {4: "gYear", 7: "gYearMonth", 10: "date"}
"""Length of a date as written -> its datatype of XML Schema."""


def _evidence(data: Collection, here: str, evidence: Evidence) -> Block:
    """One saying of a fact: its own certainty, and where it comes from."""
    pairs: list[Pair] = [(TYPE, TERM + "Evidence"), (TERM + "certainty", real(evidence.certainty))]
    for source in evidence.sources:
        pairs.append((PROV + "hadPrimarySource", iri("source", data.key("source", fold(source)))))
    if evidence.page:
        pairs.append((SCHEMA + "pagination", LiteralText(evidence.page)))
    pairs += imaged.images(evidence.photos)
    if evidence.by.strip():
        pairs.append((PROV + "wasAttributedTo", iri("person", _person(evidence.by))))
    if evidence.date:
        pairs.append(
            (SCHEMA + "dateCreated", LiteralText(evidence.date, XSD + _DATE_TYPES[len(evidence.date)]))
        )
    return Block(here, tuple(pairs))


def _person(by: str) -> str:
    return fold(by) or by.strip()


def _people(data: Collection) -> Iterator[Block]:
    """Who said something, each once, by the first spelling."""
    said = [e.by for fact in data.facts.values() for e in fact.evidence if e.by.strip()]
    named = {_person(by): by.strip() for by in reversed(said)}
    for key in sorted(named):
        yield Block(iri("person", key), ((TYPE, PROV + "Agent"), (RDFS + "label", LiteralText(named[key]))))


def _events(data: Collection, entries: Mapping[Where, str]) -> Iterator[Block]:
    """What was taken, put back and withdrawn: each entry seen as what happened."""
    shown = {
        i: fact.id
        for fact in [*data.facts.values(), *(f for f, _ in data.withdrawn.values())]
        for i in fact.ids
    }
    taken_back = {thing_id(t): entries[t.where] for t, _ in reversed([*data.gone_things.values()])}
    for entry in data.entries:
        if isinstance(entry, records.Taken):
            yield Block(entries[entry.where], (*_taken(data, entry), *imaged.of(entry)))
        elif isinstance(entry, records.Restored):
            at = (TERM + "atPosition", iri("position", data.key("position", entry.position.key)))
            to = (TERM + "toUnit", iri("unit", data.key("unit", entry.to.key)))
            yield Block(entries[entry.where], ((TYPE, TERM + "Restored"), at, to, *imaged.of(entry)))
        elif isinstance(entry, records.Fitted):
            yield Block(entries[entry.where], (*_fitted(data, entry), *imaged.of(entry)))
        elif isinstance(entry, records.Inspected):
            yield Block(entries[entry.where], (*_inspected(data, entry), *imaged.of(entry)))
        elif isinstance(entry, records.Withdraw):
            told: list[Pair] = [(TYPE, TERM + "Withdrawal")]
            if (target := entry.target.strip()) in shown:
                told.append((TERM + "takesBack", iri("fact", shown[target])))
            elif target in taken_back:
                told.append((TERM + "takesBack", taken_back[target]))
            yield Block(entries[entry.where], tuple(told))


def _fitted(data: Collection, entry: records.Fitted) -> Iterator[Pair]:
    yield TYPE, TERM + "Fitted"
    yield TERM + "part", iri("part", data.key("part", entry.part.key))
    yield TERM + "atPosition", iri("position", data.key("position", entry.position.key))
    yield TERM + "toUnit", iri("unit", data.key("unit", entry.to.key))


def _inspected(data: Collection, entry: records.Inspected) -> Iterator[Pair]:
    yield TYPE, TERM + "Inspected"
    yield TERM + "atPosition", iri("position", data.key("position", entry.position.key))
    yield TERM + "ofUnit", iri("unit", data.key("unit", entry.unit.key))
    yield TERM + "found", LiteralText(entry.state)


def _taken(data: Collection, entry: records.Taken) -> Iterator[Pair]:
    yield TYPE, TERM + "Taken"
    yield TERM + "atPosition", iri("position", data.key("position", entry.position.key))
    yield TERM + "fromUnit", iri("unit", data.key("unit", entry.unit.key))
    if entry.to:
        yield TERM + "toUnit", iri("unit", data.key("unit", entry.to.key))
    yield TERM + "owed", LiteralText("true" if entry.owed else "false", XSD + "boolean")
