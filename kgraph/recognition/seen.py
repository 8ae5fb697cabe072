"""What was seen of a set: keys and values as somebody gives them, and what kind of not knowing a word is."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import NamedTuple

from kgraph import mains, quantities, words, years
from kgraph.fits.graph import Graph
from kgraph.names import compared, did_you_mean, fold
from kgraph.recognition import spreading, traits

NOT_LOOKED = frozenset({"", "?", "notlooked", "notlookedat"})
NOT_TO_BE_SEEN = frozenset({"nottobeseen", "faded", "missing", "broken", "gone", "wornoff"})
UNREADABLE = frozenset({"unreadable", "illegible", "cannotberead"})
CANNOT_BE = frozenset({"cannotbe", "notapplicable", "cannotbethere"})
"""Four ways not to have a value (as DELTA and SDD keep them apart); only the last is a value of its own."""
STAMP = "stamp"
"""The key at which what is stamped on an assembly may be told where no set records stamps."""
PART = frozenset({"part", "partnumber", "number"})
"""The keys at which the number on a part may be told, where it is recorded at one place."""
YEARS = frozenset({"years", "year"})
"""The keys at which a year agrees with every span that holds it."""


class Look(NamedTuple):
    """One thing seen: its key and value, and the size in mm where it is a measure."""

    key: str
    name: str
    value: str
    text: str
    size_mm: float | None = None
    error_mm: float = 0.0
    worn: bool = False
    agrees: frozenset[str] = frozenset()
    """The recorded values that agree with the one seen, such as the spans that hold a year."""

    def taken(self, values: frozenset[str]) -> frozenset[str]:
        """Recorded values, those that agree with the one seen taken for it."""
        return frozenset(self.value if v in self.agrees else v for v in values) if self.agrees else values


class Seen(NamedTuple):
    """All that was seen: what can be weighed, what says nothing, and what is to be told of either."""

    looks: tuple[Look, ...]
    silent: tuple[str, ...]
    notes: tuple[str, ...]


def read(graph: Graph, given: Iterable[tuple[str, str]]) -> Seen:
    """The looks in pairs of key and value, each item of a list by itself."""
    looks: dict[tuple[str, str], Look] = {}
    silent: list[str] = []
    notes: list[str] = []
    known = traits.keys_of(graph)
    for name, text in _one_by_one(graph, given):
        key = "" if compared(name) == "features" else graph.data.key("position", fold(name)) or compared(name)
        key = compared(name) if key not in known and compared(name) in known else key
        if why := _silence(name, text):
            silent.append(why)
            continue
        if not key:
            key, name, text = compared(text), text, traits.YES
        if key == STAMP and key not in known and (marked := _marked(graph, text)):
            notes.append(f"the stamp {text} is taken for {marked[1]}, a {known[marked[0]]}")
            key, text = marked
        elif key in PART and key not in known and (placed := _placed(graph, text)):
            notes.append(f"the part {text} is taken for what is at {known[placed]}")
            key = placed
        if key not in known and _measured_place(graph, key) is None:
            near = did_you_mean(name, [*known.values(), STAMP]) or "no key is near it"
            notes.append(f"no set records {name!r}, which is taken as unknown to all; {near}")
            silent.append(f"{name} = {text}: no set records it")
            continue
        look = _look(graph, key, known.get(key, name), text, notes)
        if look:
            looks.setdefault((look.key, look.value), look)
    return Seen(tuple(looks.values()), tuple(silent), tuple(notes))


def _one_by_one(graph: Graph, given: Iterable[tuple[str, str]]) -> Iterator[tuple[str, str]]:
    """Each pair; a text of several values that the key has (`LW, MW`) as a pair for each of them."""
    for name, text in given:
        parts = [part.strip() for part in text.split(",")]
        texts = traits.recorded(graph, compared(name)).texts if len(parts) > 1 else {}
        if compared(text) not in texts and any(compared(part) in texts for part in parts):
            yield from ((name, part) for part in parts)
        else:
            yield name, text


def _marked(graph: Graph, text: str) -> tuple[str, str] | None:
    """(kind, name) of the one assembly that a stamp may be of."""
    kinds = traits.kinds_of_assembly(graph)
    found = [
        (kind, a) for kind in kinds if (a := _assembly_called(graph, traits.recorded(graph, kind), text))
    ]
    return (found[0][0], graph.data.text("assembly", found[0][1])) if len(found) == 1 else None


def _part_called(graph: Graph, text: str) -> str:
    """The key of the part that has this number of a maker, or this name."""
    return min(graph.data.parts_numbered(fold(text)), default=graph.data.key("part", fold(text)))


def _placed(graph: Graph, text: str) -> str:
    """The one place at which a part is recorded, under any of its names; "" where there are more, or none."""
    names = graph.alike_parts(_part_called(graph, text))
    positions = {place.position for part in names for place, _, _ in graph.takes_of.get(part, ())}
    return positions.pop() if len(positions) == 1 else ""


def _assembly_called(graph: Graph, trait: traits.Trait, text: str) -> str:
    """The key of the assembly of one kind that is called so, or whose name alone begins so; or ""."""
    named = graph.data.key("assembly", fold(text))
    if named in trait.texts:
        return named
    begins = [v for v, t in trait.texts.items() if t.casefold().startswith(f"{text.strip().casefold()} ")]
    return begins[0] if len(begins) == 1 else ""


def _silence(name: str, text: str) -> str:
    said = compared(text.strip())
    if said in NOT_LOOKED or text.strip() == "?":
        return f"{name}: nobody looked"
    if said in NOT_TO_BE_SEEN:
        return f"{name}: looked, and not to be seen ({text})"
    return f"{name}: seen, and cannot be read" if said in UNREADABLE else ""


def _measured_place(graph: Graph, key: str) -> tuple[str, str] | None:
    """(place, attribute of its part) for a key such as `volume knob diameter`, written as one word."""
    for position in sorted(traits.places(graph), key=len, reverse=True):
        if key.startswith(position) and key != position:
            return position, key[len(position) :]
    return None


def _look(graph: Graph, key: str, name: str, text: str, notes: list[str]) -> Look | None:
    value = compared(text)
    if value in CANNOT_BE:
        return Look(key, name, "cannotbe", text)
    if value in words.TRUE_WORDS | words.FALSE_WORDS:
        return Look(key, name, traits.YES if value in words.TRUE_WORDS else traits.NO, text)
    if is_measure(graph, key):
        return _measure(key, name, text, notes)
    trait = traits.recorded(graph, key)
    if trait.place:
        if is_part := _part_called(graph, text):
            value = traits.one_name(graph, is_part)
        if value not in trait.texts and _length(_unworn(text)):
            return _measure(key, name, text, notes)
    elif key in traits.kinds_of_assembly(graph):
        value = _assembly_called(graph, trait, text) or value
    if value not in trait.texts:
        meant = mains.keys(key, text)
        same = [v for v, t in trait.texts.items() if mains.keys(key, t) & meant]
        if len(same) == 1:
            return Look(key, name, same[0], text)
        agrees = frozenset(v for v, t in trait.texts.items() if _says_as_much(key, t, text))
        if agrees:
            return Look(key, name, value, text, agrees=agrees)
        near = did_you_mean(text, trait.texts.values())
        notes.append(f"no set has {text!r} for {name}; {near or 'it is weighed as a value of its own'}")
    return Look(key, name, value, text)


def _says_as_much(key: str, recorded: str, text: str) -> bool:
    """Whether a recorded value says what was seen and more: `FM 87.5-108 MHz` where FM was seen."""
    if key in YEARS and years.overlap(recorded, text):
        return True
    return recorded.casefold().startswith(f"{text.strip().casefold()} ")


def is_measure(graph: Graph, key: str) -> bool:
    """Whether what is recorded at a key is lengths."""
    if key not in traits.keys_of(graph):
        return _measured_place(graph, key) is not None
    if key in traits.places(graph):
        return False
    written = traits.recorded(graph, key).texts.values()
    return bool(written) and all(_length(t) for t in written)


@lru_cache(maxsize=65536)
def _length(text: str) -> quantities.Length | None:
    try:
        return quantities.length(text, low_mm=0.01, high_mm=10_000.0)
    except quantities.QuantityError:
        return None


def _unworn(text: str) -> str:
    """The text of a measure without the word `worn` after it."""
    plain = text.strip()
    return plain[: -len(" worn")] if plain.lower().endswith(" worn") else plain


def _measure(key: str, name: str, text: str, notes: list[str]) -> Look | None:
    plain = _unworn(text)
    worn = plain != text.strip()
    try:
        found = quantities.length(plain, low_mm=0.01, high_mm=10_000.0)
    except quantities.QuantityError as error:
        notes.append(f"{name} is left out: {error}")
        return None
    return Look(key, name, text, text, found.mm, max(found.plus_minus_mm, 0.01 * found.mm), worn)


def sizes(graph: Graph, look: Look) -> traits.Trait:
    """What sets have at a measure: the length written of the set, or of the part at the place."""
    place = _measured_place(graph, look.key)
    if look.key in traits.places(graph):
        place = (look.key, "insidelength")
    written = place is None or look.key in traits.keys(graph).written
    base = spreading.trait(graph, look.key if place is None or written else place[0])
    # What a value is compared by is no length any more: `3 1/4 in` would be 31/4 in.
    size = {v: t for v, t in base.texts.items() if _length(t)} if written else _part_sizes(graph, base, place)

    def sized(values: frozenset[str]) -> frozenset[str]:
        return frozenset(size[v] for v in values if size.get(v))

    direct, at = base.direct.with_values(sized), base.at.with_values(sized)
    return base._replace(name=look.name, texts={t: t for t in size.values() if t}, direct=direct, at=at)


def _part_sizes(graph: Graph, base: traits.Trait, place: tuple[str, str] | None) -> dict[str, str]:
    """Part -> the length that it has by an attribute, of all parts recorded at a place."""
    assert place is not None
    return traits.worked_out(
        graph,
        f"sizes {place[0]} {place[1]}",
        lambda: {part: part_size(graph, part, place[1]) for part in base.texts},
        lambda form: form,
    )


def sizes_at(graph: Graph, parts: Iterable[str]) -> dict[str, str]:
    """Attribute -> its name, of all that is a length of any of these parts; of a belt the inside length."""
    found: dict[str, str] = {}
    for part in parts:
        for thing in graph.data.things["part"].get(part, ()):
            if graph.data.inside_length_mm(thing) is not None:
                found["insidelength"] = "inside length"
            for name, value in thing.attributes:
                if isinstance(value, str) and _length(value):
                    found.setdefault(compared(name), name)
    return dict(sorted(found.items()))


def part_size(graph: Graph, part: str, attribute: str) -> str:
    """The length that a part has by an attribute, as a text; empty where it has none."""
    for thing in graph.data.things["part"].get(part, ()):
        inside = graph.data.inside_length_mm(thing)
        if attribute == "insidelength" and inside is not None:
            return f"{inside:g} mm"
        for name, value in thing.attributes:
            if compared(name) == attribute and isinstance(value, str) and _length(value):
                return value
    return ""


def size_mm(text: str) -> tuple[float, float]:
    """A recorded length in mm and its error; nothing near anything where it is none."""
    found = _length(text)
    return (found.mm, found.plus_minus_mm) if found else (float("inf"), 0.0)
