"""The pages of sets, families, assemblies and positions."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from typing import Any

from kgraph import trade
from kgraph.book import pictures, wrong
from kgraph.book.addresses import Ref
from kgraph.book.answering import MOST_NAMED, Answers, Cited
from kgraph.book.belts import size_text
from kgraph.book.ground import BookGround, anchor
from kgraph.book.views import AnswerView, CautionView, FittedView
from kgraph.fits.graph import Place
from kgraph.matching import BY_NAME
from kgraph.questions import belt_places
from kgraph.render.answers import percent
from kgraph.render.glance import GridTable, table
from kgraph.shelf import glance

MOST_ROWS = 150
"""So many parts stand in the table of one position; the rest are counted."""
MOST_FACTS = 150
"""So many facts stand on the page of one assembly; the rest are counted."""


@dataclass(frozen=True, slots=True)
class Original:
    """What is recorded as fitted at a place, with the numbers of the facts that say so."""

    fitted: FittedView
    why: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class PlaceView:
    """One place of a set: what is fitted there, its cautions by name, and the donors."""

    position: Ref
    anchor: str
    fitted: list[Original]
    cautions: tuple[str, ...]
    donors: Answers


@dataclass(frozen=True, slots=True)
class BeltView:
    """A belt of a set: where it runs, which part it is, its size, and how surely."""

    position: Ref
    part: Ref
    size: str
    percent: str


@dataclass(frozen=True, slots=True)
class BuiltOn:
    """One assembly that a set is built on: by which fact, if by one alone, and who shares it."""

    assembly: Ref
    sort: str
    percent: str
    why: tuple[int, ...]
    sharing: list[tuple[Ref, str]]
    rest: int


def set_page(g: BookGround, key: str) -> dict[str, Any]:
    """A set: what one needs first, then each of its places, what it is built on, and the facts."""
    family = g.family_of.get(key)
    badge = g.badge(key)
    cited = g.cited("set", key)
    sisters = g.answering.sisters(key, cited)
    places, cautions = _places(g, key, cited)
    return {
        "entries": g.views.entries("set", key),
        "badge": badge,
        "badge_page": g.badge_page(badge),
        "family": g.refs["family", family[0]] if family else None,
        "sisters": sisters,
        "built_on": _built_on(g, f"s:{key}", cited),
        "places": places,
        "by_donor": [] if g.answering.depth.why else _by_donor(places),
        "belts": _belts(g, key),
        "glance": _glance(g, key),
        "cautions": cautions,
        "wrong": wrong.faults_of_set(g, key, cited, [c.name for c in cautions]),
        "arrival": g.refs.get(("arrival", key)),
        "units": [g.views.ref("unit", u) for u in g.units_of.get(key, ())],
        "cited": cited,
    }


def _glance(g: BookGround, key: str) -> GridTable | None:
    """What own units give to a set, only places of which some unit has anything.

    In a folder too large to weigh every answer only for sets of which there is a unit: None for others.
    """
    if not g.shelf.units:
        return GridTable((), ())
    if not g.answering.depth.weighed and key not in g.units_of:
        return None
    wanted = g.answering.wanted._replace(refused_too=False)
    found = glance.grid(g.graph, key, g.places_of[key], wanted, g.shelf)
    lines = tuple(line for line in found.lines if any(line.cells))
    return table(g.data, replace(found, lines=lines), {u: g.shelf.units[u].set for u in found.units})


def _places(g: BookGround, key: str, cited: Cited) -> tuple[list[PlaceView], list[CautionView]]:
    """Every place of a set, and the cautions of all of them."""
    found, named = [], dict[str, None]()
    positions = g.places_of[key]
    for position in positions:
        donors, rows = g.answering.donors(key, position, cited, len(positions))
        here = [*g.views.position_cautions(position), *g.part_cautions(f"s:{key}", position)]
        here += [c for r in rows for c in r.cautions]
        named |= dict.fromkeys(here)
        ref = g.views.ref("position", position)
        fitted = [Original(f, cited.numbers(f.proof)) for f in g.views.fitted(f"s:{key}", position)]
        found.append(PlaceView(ref, anchor(ref.name), fitted, tuple(dict.fromkeys(here)), donors))
    return found, g.views.cautions(named)


def _by_donor(places: list[PlaceView]) -> list[tuple[AnswerView | None, list[PlaceView]]]:
    """The places by what is told of their surest donor: most of them have one and the same."""
    found: dict[tuple[object, ...], tuple[AnswerView | None, list[PlaceView]]] = {}
    for place in places:
        first = next(iter(place.donors.shown), None)
        told = (first.set, first.certainty, first.standing, first.place, first.remarks) if first else ()
        found.setdefault(told, (first, []))[1].append(place)
    return list(found.values())


def _belts(g: BookGround, key: str) -> list[BeltView]:
    """The belts that are recorded at a set's places or at places like them."""
    return [
        BeltView(g.views.ref("position", position), f.part, size_text(g.data, f.key), f.percent)
        for position in g.places_of[key]
        for f in g.views.fitted(f"s:{key}", position)
        if belt_places.is_belt(g.data, f.key)
    ]


def _built_on(g: BookGround, owner: str, cited: Cited) -> list[BuiltOn]:
    shared = g.answering.sharing(owner[2:])
    links = g.graph.links.get(owner, ())
    stated = {k.other: k.fact for k in links if k.to_assembly == k.other}
    return [
        BuiltOn(
            g.views.owner(a),
            g.data.assembly_kind(a[2:]) or "",
            percent(stated[a].certainty) if a in stated else "",
            cited.numbers([stated[a]] if a in stated else ()),
            shared.get(a, [])[:MOST_NAMED],
            len(shared.get(a, [])[MOST_NAMED:]),
        )
        for a in sorted({*g.below(owner), *shared}, key=lambda a: g.name("assembly", a[2:]))
    ]


def family_page(g: BookGround, key: str) -> dict[str, Any]:
    """One design under its badges: a picture, the sets, and what each fact leaves out."""
    members = g.family_of[key]
    facts = {
        link.fact.id: link.fact
        for k in members
        for link in g.graph.links.get(f"s:{k}", ())
        if not link.to_assembly
    }
    drawn = g.picture(key)
    pages = frozenset(g.family_links(members).values())
    name = f"Picture of the {len(members)} sets of this family"
    return {
        "members": [g.listed(k) for k in members],
        "picture": pictures.inline(drawn, pages, name) if drawn else None,
        "cited": Cited(g.views, facts.values()),
    }


def assembly_page(g: BookGround, key: str) -> dict[str, Any]:
    """An assembly: its places with what is fitted there, and what is built on it."""
    owner = f"a:{key}"
    positions = sorted(g.graph.declares.get(owner, ()), key=lambda p: g.name("position", p))
    links = g.graph.links.get(owner, ())
    named = [c for p in positions for c in (*g.views.position_cautions(p), *g.part_cautions(owner, p))]
    stated = [(g.views.owner(k.other), percent(k.fact.certainty)) for k in links if k.to_assembly == owner]
    having = _having(g, owner, positions)
    facts = g.facts_of("assembly", key)
    return {
        "entries": g.views.entries("assembly", key),
        "places": [(g.views.ref("position", p), g.views.fitted(owner, p)) for p in positions],
        "built_on": [g.views.owner(a) for a in g.below(owner)],
        "stated": stated[:MOST_NAMED],
        "stated_rest": len(stated[MOST_NAMED:]),
        "having": having[:MOST_NAMED],
        "having_rest": len(having[MOST_NAMED:]),
        "cautions": g.views.cautions(named),
        "cited": Cited(g.views, facts[:MOST_FACTS]),
        "facts_rest": len(facts[MOST_FACTS:]),
    }


def _having(g: BookGround, owner: str, positions: list[str]) -> list[tuple[Ref, str]]:
    """The sets that have places of an assembly, and which of them where they have not all."""
    found: dict[str, list[str]] = defaultdict(list)
    for position in positions:
        for other, _ in g.graph.alike_places(Place(owner, position)):
            if other[0] == "s":
                found[other].append(position)
    rows = [(g.views.owner(o), _but(g, had, positions)) for o, had in found.items()]
    return sorted(rows, key=lambda r: (r[0].name.casefold(), r[0].href))


def _but(g: BookGround, had: list[str], positions: list[str]) -> str:
    """Which places a set has of an assembly's, or lacks, whichever is shorter; "" for all of them."""
    lacks = [p for p in positions if p not in had]
    word, named = ("all but", lacks) if len(lacks) <= len(had) else ("only", had)
    return f"{word} {', '.join(g.data.text('position', p) for p in named)}" if lacks else ""


def position_page(g: BookGround, key: str) -> dict[str, Any]:
    """A position: its cautions and conditions, and what is recorded there on which set or assembly."""
    rows = [
        (g.data.owner_text(place.owner).casefold(), place.owner, part, role, fact)
        for place in g.taken_at_position.get(key, ())
        for part, role, fact in g.graph.taken_at[place]
    ]
    rows.sort(key=lambda r: (-r[4].certainty, *r[:4]))
    sets = g.sets_at.get(key, [])
    of_parts = g.cautions_of(part for _, _, part, _, _ in rows)
    return {
        "entries": g.views.entries("position", key),
        "must_match": list(g.data.position_rules(key).must_match),
        "by_name": BY_NAME if g.data.position_rules(key).by_name else "",
        "wrong": wrong.faults_of_position(g, key),
        "ground": [(t.name.text, [n.text for n in t.also]) for t in g.data.ground("position", key)],
        "basis": trade.BASIS,
        "cautions": g.views.cautions([*g.views.position_cautions(key), *of_parts]),
        "takes": [
            (g.views.owner(owner), g.views.ref("part", part), role, g.views.fact(fact))
            for _, owner, part, role, fact in rows[:MOST_ROWS]
        ],
        "takes_rest": len(rows[MOST_ROWS:]),
        "anchor": anchor(g.data.text("position", key)),
        "sets": [g.views.ref("set", s) for s in sets[:MOST_NAMED]],
        "sets_rest": len(sets[MOST_NAMED:]),
    }
