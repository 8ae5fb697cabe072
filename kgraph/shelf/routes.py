"""What to do about a want that the shelf cannot meet: buy by size, make, or look for a set that has it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from kgraph import matching, questions, records
from kgraph.collection import NOT_KNOWN_YET, Collection
from kgraph.fits import graph as graphs
from kgraph.fits import sizes
from kgraph.fits.graph import Graph, Place
from kgraph.fits.sizes import NO_SIZES
from kgraph.names import listed
from kgraph.problems import WrongUse
from kgraph.questions import Row, belt_paths, belt_places
from kgraph.shelf.ledger import is_known
from kgraph.shelf.offers import NO_DONOR, OfferSource
from kgraph.shelf.task import Article, Want

Route = Literal["buy", "make", "hunt"]
MOST_NAMED = 3
"""So many sets, parts or units are named in a sentence; the rest are counted."""


@dataclass(frozen=True, slots=True)
class Unmet:
    """A want that no article of the shelf meets, what to do about it, and why the shelf cannot.

    `parts` are what to buy or make (keys); `sets` which sets would give it, best first, with the certainty.
    """

    want: Want
    route: Route
    says: str
    why: str = ""
    parts: tuple[str, ...] = ()
    sets: tuple[tuple[str, float], ...] = ()
    cautions: tuple[str, ...] = ()


def route(
    source: OfferSource, want: Want, spent: Mapping[Article, Want], without: frozenset[str] = frozenset()
) -> Unmet:
    """What to do about one want; `spent` tells which article of the shelf goes where."""
    place = source.place(want)
    recorded = recorded_parts(source.graph, place)
    found = _buy(source.graph, place, recorded) or _make(source, place, recorded) or _hunt(source, place)
    what, says, parts = found
    sets = tuple((owner, row.certainty) for owner, row in source.givers(place).items())
    why = ", ".join(_why_not(source, want, spent, without))
    return Unmet(want, what, says, why, parts, sets, _cautions(source.graph, place, parts or recorded))


_Found = tuple[Route, str, tuple[str, ...]]


def recorded_parts(graph: Graph, place: Place) -> tuple[str, ...]:
    """The parts recorded at a place or at one like it, originals first."""
    found = [
        (role != "original", part)
        for like in graph.alike_places(place)
        for part, role, _ in graph.taken_at.get(like, ())
    ]
    return tuple(dict.fromkeys(part for _, part in sorted(found)))


# Buy ------------------------------------------------------------------------------------------


def _buy(graph: Graph, place: Place, recorded: tuple[str, ...]) -> _Found | None:
    """A belt, or a part of a kind that is sold by its size."""
    data = graph.data
    generic = tuple(p for p in recorded if sizes.compare_rules(data, graphs.sort_of(data, p)) is not None)
    if generic:
        named = [_described(graph, p) for p in generic[:MOST_NAMED]]
        more = [f"{len(generic) - MOST_NAMED} more"] if len(generic) > MOST_NAMED else []
        return "buy", "; ".join([f"buy {' or '.join([*named, *more])}", *_belt_window(graph, place)]), generic
    belt = belt_places.place_at(graph, place.owner[2:], place.position)
    if belt.run is None:
        return None
    says = (
        "buy a belt: its path is recorded and its section is not; measure the grooves and ask "
        "`kgraph belt path` with --section"
    )
    return "buy", says, ()


def _described(graph: Graph, part: str) -> str:
    """A part with its sizes as written and the numbers that it is known by."""
    data = graph.data
    entries = [t for t in data.things["part"].get(part, ()) if isinstance(t, records.Part)]
    rules = sizes.compare_rules(data, graphs.sort_of(data, part)) or {}
    measures = [f"{k} {v}" for t in entries for k, v in t.pairs if isinstance(v, str) and _is_size(k, rules)]
    numbers = [f"{maker} {number}" for t in entries for maker, number in t.numbers]
    others = [data.text("part", p) for p in sorted(graph.alike_parts(part)) if p != part]
    sort = data.text("kind", graphs.sort_of(data, part))
    known = list(dict.fromkeys([*others, *numbers]))
    said = [", ".join(dict.fromkeys(measures)), f"known as {', '.join(known)}" if known else ""]
    inside = "; ".join(s for s in said if s)
    return f"{sort} {data.text('part', part)}" + (f" ({inside})" if inside else "")


_NO_SIZES = NO_SIZES | {"part", "kind", "also", "numbers", "made"}


def _is_size(key: str, rules: Mapping[str, str]) -> bool:
    if "inside length" in rules and key in {"inside diameter", "folded"}:
        return True
    return key in rules if rules else key not in _NO_SIZES


def _belt_window(graph: Graph, place: Place) -> Iterator[str]:
    """What inside lengths, and which standard rings, lie on the recorded run as wanted."""
    belt = belt_places.place_at(graph, place.owner[2:], place.position)
    try:
        found = belt_paths.path(graph, belt)
    except WrongUse:
        return
    if found is None:
        return
    low, high = found.window_mm
    section = f"{found.section.form} {' x '.join(f'{s:g}' for s in found.section.sizes_mm)} mm"
    yield f"on its run, {section} with an inside length of {low:.1f} to {high:.1f} mm at rest"
    if found.sold_window_mm:
        low, high = found.sold_window_mm
        yield f"as belts are sold, safe with a named length of {low:.1f} to {high:.1f} mm"
    if found.o_rings:
        rings = ", ".join(r.size for r in found.o_rings)
        yield f"or an O-ring {rings} of {found.o_rings[0].section_mm:g} mm (a seal, not made for driving)"


# Make, or look for ----------------------------------------------------------------------------


def _make(source: OfferSource, place: Place, recorded: tuple[str, ...]) -> _Found | None:
    """A part that goes there and was made by hand before."""
    data = source.graph.data
    going = [*recorded, *(p for p in source.going(place) if p not in recorded)]
    made = {p: text for p in going if (text := _made(data, p))}
    if not made:
        return None
    said = " or ".join(f"{text} ({data.text('part', p)})" for p, text in list(made.items())[:MOST_NAMED])
    return "make", f"make it: {said}", tuple(made)


def _made(data: Collection, part: str) -> str:
    entries = (t for t in data.things["part"].get(part, ()) if isinstance(t, records.Part))
    return next((t.made for t in entries if t.made), "")


def _hunt(source: OfferSource, place: Place) -> _Found:
    data = source.graph.data
    if not is_known(place.owner[2:]):
        return "hunt", f"{NOT_KNOWN_YET}: find out what it is, then what goes there can be told", ()
    sets = [(owner, row.certainty) for owner, row in source.givers(place).items()]
    if not sets:
        name = data.owner_text(place.owner)
        if known := source.givers_on_shelf(place):
            those = listed([data.owner_text(s) for s in known], MOST_NAMED, " or ")
            says = f"what the shelf has of {those} gives none; look for another of them, or another {name}"
            return "hunt", says, ()
        return "hunt", f"no other set is known to give it; look for another {name}", ()
    named = [f"{data.owner_text(s)} ({certainty * 100:.0f} %)" for s, certainty in sets]
    return "hunt", f"look for {listed(named, MOST_NAMED)}", ()


# Why the shelf cannot -------------------------------------------------------------------------


def _why_not(
    source: OfferSource, want: Want, spent: Mapping[Article, Want], without: frozenset[str]
) -> Iterator[str]:
    """Of every unit that has what goes there, why it gives none; those under repair are not worth a word."""
    said = [*_whole_ones(source, want, spent, without), *_spoilt_ones(source, want), *_unlike(source, want)]
    yield from said[:MOST_NAMED]
    if len(said) > MOST_NAMED:
        yield f"and {len(said) - MOST_NAMED} more"


def _whole_ones(
    source: OfferSource, want: Want, spent: Mapping[Article, Want], without: frozenset[str]
) -> Iterator[str]:
    data = source.graph.data
    for article in sorted(source.in_units(want)):
        unit = source.shelf.units[article.unit]
        name = data.text("unit", article.unit)
        if article in spent:
            goes = spent[article]
            yield f"{name}'s goes to {data.text('unit', goes.unit)}"
        elif unit.role == "keep":
            yield f"{name} is kept"
        elif article.unit in without:
            yield f"{name} is to be left out"


def _spoilt_ones(source: OfferSource, want: Want) -> Iterator[str]:
    data = source.graph.data
    for article in sorted(source.in_units(want, usable=False)):
        unit = source.shelf.units[article.unit]
        if unit.role not in NO_DONOR:
            state = unit.places[article.place].condition or "gone"
            yield f"{data.text('unit', article.unit)}'s is {state}"


def _unlike(source: OfferSource, want: Want) -> Iterator[str]:
    """The units whose set differs in what must match there, and loose parts so, with both values."""
    data = source.graph.data
    for row in source.unlike(source.place(want)):
        for unit in source.units_of(row.set[2:]):
            yield f"{data.text('unit', unit.unit)}'s is refused: {_differing(row)}"
    for part, row in source.unlike_in_stock(want).items():
        yield f"{data.text('part', part)} in stock is refused: {_differing(row)}"


def _differing(row: Row) -> str:
    return "; ".join(w for w in row.warnings if matching.differs(w))


def _cautions(graph: Graph, place: Place, parts: Iterable[str]) -> tuple[str, ...]:
    """The cautions of a position and of the kinds of these parts, as the folder names them."""
    data = graph.data
    found = {n.key: n.text for n in data.position_rules(place.position).cautions}
    for part in parts:
        found |= {k: t for k, t in questions.part_cautions(data, part).items() if k not in found}
        if graphs.sort_of(data, part) == data.belt_kind():
            found.setdefault("movingmechanism", "moving mechanism")
    return tuple(found.values())
