"""What an index says of one entry: the entry itself, and under which names it is found.

Every line ends in the number of its entry: that of its file, then its place in the file. No line says what
follows from entries, so that those of a file stand or fall with the file alone.

===== ======================================== ==========================================================
line  key                                      says
===== ======================================== ==========================================================
!     number                                   the entry: line, column, its keys and values
d     kind, key                                declares the thing
a     kind, key                                gives the thing this other name
o     key, role and position                   speaks of a set or assembly; roles below
p     key, role                                speaks of a part
q s   key                                      speaks of a position, a source
k c w key                                      speaks of a kind, a caution, a unit
e     key                                      leaves it out by an `except`
#     key                                      a part with this maker's number
i j   id                                       a statement with this id; j: an id of its own
t     id                                       takes back what has this id
z     size, value                              a part with this size
v     event, fits or refuses                   one of these
y     letters and digits, kind, name of thing  how a thing is spelt; holds of the folder, not of an entry
@ %   number of a file                         how the file stood; what is wrong with an entry of it
|     number of a file                         how many of its entries are left out; -1: it cannot be read
===== ======================================== ==========================================================

Roles of an owner: r a set of `rebadge`; a, u what `uses` and its `in` name; t taken at; f, g the two ends of
`fits`; x refused at, y what is refused there; n the run of a belt; m the set of a unit; d one of two
designs. Of a part: t taken, s same, o the new and n the old one of `replaces`, x refused, k in stock.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Callable, Iterable, Iterator
from functools import lru_cache
from typing import Any

from kgraph import records
from kgraph.collection import EVENT_TYPES, excepted, names_in, written_id
from kgraph.folder import schema
from kgraph.folder.nodes import Map, Node, Seq, Text
from kgraph.names import compared, fold, loose, name
from kgraph.quantities import Section
from kgraph.ratings import Rating

Spelt = tuple[str, str, str]
"""A spelling, of what kind of thing, and the name of the thing."""

REF = 11
"""Characters of the number of an entry: five of its file, six of its place there."""
FILE = 5
FEATURE = "feature"
"""What a name is of that an `except` leaves out."""
LENGTH = "\x1elength"
"""The size under which the length of a belt is found, by whichever of its names it was written."""

_JSON = json.JSONEncoder(separators=(",", ":"), ensure_ascii=True, check_circular=False).encode
"""Made once: `json.dumps` would make one for each entry."""


def ref_of(file: int, place: int) -> str:
    """The number of an entry; in the order of reading."""
    return f"{file:05x}{place:06x}"


def quoted(text: str) -> str:
    """Any text as it stands in a key."""
    return text if text.isascii() and text.isprintable() else _JSON(text)


# An entry as it is kept --------------------------------------------------------------------------


def kept(entry: records.Entry, ref: str) -> str:
    """The line that holds an entry."""
    return f"!{ref}\t{_JSON([entry.where.line, entry.where.column, entry.pairs])}"


def taken_up(text: str, file: str) -> records.Entry | None:
    """The entry of such a line, as reading its file would give it."""
    line, column, pairs = json.loads(text)
    found = [(Text(key, line, column, True), _node(value, line, column)) for key, value in pairs]
    return schema.check_entry(Map(tuple(found), line, column), file)[0]


def _node(value: Any, line: int, column: int) -> Node:
    if isinstance(value, str):
        return Text(value, line, column, True)
    if isinstance(value, list):
        return Seq(tuple([_node(v, line, column) for v in value]), line, column)
    pairs = [(Text(k, line, column, True), _node(v, line, column)) for k, v in value.items()]
    return Map(tuple(pairs), line, column)


# Under which names it is found -------------------------------------------------------------------


def keys_of(entry: records.Entry) -> list[str]:
    """The keys of all lines of an entry but the one that holds it."""
    find = _KEYS.get(type(entry))
    found = [*find(entry)] if find else []
    if isinstance(entry, records.Statement):
        _add_of_statement(found, entry)
    elif isinstance(entry, records.Thing):
        found.append(f"d{entry.kind}\t{entry.name.key}")
        found += [f"a{entry.kind}\t{n.key}" for n in entry.also]
    return found


def _add_of_statement(found: list[str], entry: records.Statement) -> None:
    found.append(f"i{written_id(entry)}")
    if entry.own_id and (own := entry.own_id.strip()):
        found += [f"i{quoted(own)}", f"j{quoted(own)}"]
    if entry.source:
        found.append(f"s{entry.source.key}")
    found += [f"e{n.key}" for n in excepted(entry)]
    if isinstance(entry, EVENT_TYPES):
        found.append("vevent")


def _fits(r: Any) -> Iterable[str]:
    ends = (f"o{r.owner.key}\tf{r.position.key}", f"o{r.to.key}\tg{r.at.key}")
    return (*ends, f"q{r.position.key}", f"q{r.at.key}", "vfits")


def _refuses(r: Any) -> Iterable[str]:
    here = (f"o{r.owner.key}\tx{r.position.key}", f"q{r.position.key}", "vrefuses")
    if r.item_position is None:
        return (*here, f"p{r.item.key}\tx")
    return (*here, f"o{r.item.key}\ty{r.item_position.key}", f"q{r.item_position.key}")


def _takes(r: Any) -> Iterable[str]:
    return f"o{r.owner.key}\tt{r.position.key}", f"p{r.part.key}\tt", f"q{r.position.key}"


def _taken(r: Any) -> Iterable[str]:
    return f"q{r.position.key}", f"w{r.unit.key}", *([f"w{r.to.key}"] if r.to else [])


def _unit(u: Any) -> Iterable[str]:
    places = (*(n for n, _ in u.state), *u.wants)
    return *([f"o{u.set.key}\tm"] if u.set else []), *(f"q{n.key}" for n in places)


def _part(p: records.Part) -> Iterator[str]:
    if key := name(p.sort).key:
        yield f"k{key}"
    yield from (f"#{fold(n)}" for _, n in p.numbers)
    yield from _sizes(p)


_KEYS: dict[type[records.Entry], Callable[[Any], Iterable[str]]] = {
    records.Rebadge: lambda r: [f"o{n.key}\tr" for n in r.sets],
    records.Distinct: lambda r: [f"o{n.key}\td" for n in r.sets],
    records.Uses: lambda r: [f"o{r.assembly.key}\ta", f"o{r.owner.key}\tu"],
    records.Takes: _takes,
    records.Same: lambda r: [f"p{n.key}\ts" for n in r.parts],
    records.Replaces: lambda r: [f"p{r.new.key}\to", f"p{r.old.key}\tn"],
    records.Fits: _fits,
    records.Refuses: _refuses,
    records.Run: lambda r: [f"o{r.owner.key}\tn{r.position.key}", f"q{r.position.key}"],
    records.Assembly: lambda a: [f"q{n.key}" for n in a.positions],
    records.Part: _part,
    records.Position: lambda p: [f"c{n.key}" for n in p.cautions],
    records.Kind: lambda k: [f"c{n.key}" for n in k.cautions],
    records.Unit: _unit,
    records.Stock: lambda s: [f"p{s.name.key}\tk"],
    records.Taken: _taken,
    records.Restored: lambda t: [f"q{t.position.key}", f"w{t.to.key}"],
    records.Withdraw: lambda w: [f"t{quoted(w.target.strip())}"],
}


# Sizes -------------------------------------------------------------------------------------------


def _sizes(part: records.Part) -> Iterator[str]:
    if part.section is not None:
        yield size_key("section", part.section)
    if part.inside_length_mm is not None:
        yield size_key(LENGTH, part.inside_length_mm)
    for attribute, value in part.attributes:
        if attribute in ("note", "caution") or (attribute == "section" and part.section is not None):
            continue
        plain = value if isinstance(value, str) else None
        yield size_key(attribute, str(value)) if plain is None else _written_size(attribute, plain)


@lru_cache(maxsize=65536)
def _written_size(attribute: str, value: str) -> str:
    from kgraph.fits.sizes import as_compared

    return size_key(attribute, as_compared(value))


def size_key(measure: str, value: Section | Rating | float | str) -> str:
    """The key under which a size is found: in order of the value, where it is a length or a section."""
    of = f"z{quoted(compared(measure))}\t"
    if isinstance(value, Section):
        return f"{of}s{value.form}\t{in_order(value.sizes_mm[0])}"
    if isinstance(value, Rating):
        return f"{of}r{quoted(value.unit)}\t{in_order(value.value)}"
    return f"{of}n{in_order(value)}" if isinstance(value, float) else f"{of}t{quoted(value)}"


def in_order(value: float) -> str:
    """A number as text, of which the larger comes later."""
    bits: int = struct.unpack(">Q", struct.pack(">d", value + 0.0))[0]
    return f"{bits ^ (0xFFFF_FFFF_FFFF_FFFF if bits >> 63 else 1 << 63):016x}"


# How things are spelt ----------------------------------------------------------------------------


def spelt_by(entry: records.Entry) -> list[Spelt]:
    """Every spelling in an entry."""
    found = [(used.text, kind, used.text) for kind, used in names_in(entry)]
    if isinstance(entry, records.Thing):
        of = entry.kind, entry.name.text
        found += [(text, *of) for text in (entry.name.text, *(n.text for n in entry.also))]
        if isinstance(entry, records.SetModel):
            found.append((entry.model, *of))
        if isinstance(entry, records.Part):
            found += [(n, *of) for _, n in entry.numbers]
    else:
        found += [(n.text, FEATURE, n.text) for n in excepted(entry)]
    return found


def spelt_line(spelt: Spelt) -> str:
    """The line of a spelling."""
    text, kind, of = spelt
    return f"y{loose(text)}\t{kind}\t{_JSON(of)}"


def spelt_in(line: str) -> Spelt:
    """Letters and digits of a spelling, the kind of the thing, and its name."""
    found, kind, of = line[1:].split("\t")
    return found, kind, of[1:-1] if "\\" not in of else json.loads(of)
