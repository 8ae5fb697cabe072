"""The pages of sets, families, assemblies and positions."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from kgraph import questions, trade
from kgraph.book import pictures
from kgraph.book.addresses import Ref
from kgraph.book.ground import Answers, Ground, anchor
from kgraph.book.views import FactView, FittedView
from kgraph.fits.graph import Place
from kgraph.matching import BY_NAME
from kgraph.questions import Row


@dataclass(frozen=True, slots=True)
class PlaceView:
    """One place of a set: what is fitted there, its cautions, and the donors."""

    position: Ref
    anchor: str
    fitted: list[FittedView]
    cautions: list[tuple[str, str]]
    donors: Answers


@dataclass(frozen=True, slots=True)
class BuiltOn:
    """One assembly that a set is built on: by which fact, if by one alone, and who shares it."""

    assembly: Ref
    sort: str
    fact: FactView | None
    sharing: Answers


def set_page(g: Ground, key: str) -> dict[str, Any]:
    """A set: what is recorded of it, its family, each of its places, and what it is built on."""
    family = g.family_of.get(key)
    badge = g.badge(key)
    return {
        "entries": g.views.entries("set", key),
        "badge": badge,
        "badge_anchor": anchor(badge),
        "family": g.refs["family", family[0]] if family else None,
        "sisters": g.answers(questions.sisters(g.graph, key, g.wanted).rows),
        "built_on": _built_on(g, f"s:{key}"),
        "places": [_place(g, key, p) for p in g.places_of[key]],
        "units": [g.views.ref("unit", u) for u in g.units_of.get(key, ())],
        "facts": g.facts_of("set", key),
    }


def _place(g: Ground, key: str, position: str) -> PlaceView:
    rows = questions.donors(g.graph, key, [position], g.wanted).rows
    here = [*g.views.position_cautions(position), *g.part_cautions(f"s:{key}", position)]
    named = [*here, *(c for r in rows for c in r.cautions)]
    ref = g.views.ref("position", position)
    return PlaceView(
        ref,
        anchor(ref.name),
        g.views.fitted(f"s:{key}", position),
        g.views.cautions(named),
        g.answers(rows, position=position),
    )


def _built_on(g: Ground, owner: str) -> list[BuiltOn]:
    below = g.below(owner)
    shared: dict[str, list[Row]] = defaultdict(list)
    for row in questions.shares(g.graph, owner[2:], g.wanted).rows:
        shared[row.assembly].append(row)
    links = g.graph.links.get(owner, ())
    stated = {k.other: g.views.fact(k.fact) for k in links if k.to_assembly == k.other}
    return [
        BuiltOn(
            g.views.owner(a),
            g.data.assembly_kind(a[2:]) or "",
            stated.get(a),
            g.answers(shared.get(a, ())),
        )
        for a in sorted({*below, *shared}, key=lambda a: g.name("assembly", a[2:]))
    ]


def family_page(g: Ground, key: str) -> dict[str, Any]:
    """One design under its badges: a picture, the sets, and what each fact leaves out."""
    members = g.family_of[key]
    links = {f"s:{k}": f"../{g.refs['set', k].href}" for k in members}
    facts = {
        link.fact.id: link.fact
        for k in members
        for link in g.graph.links.get(f"s:{k}", ())
        if not link.to_assembly
    }
    drawn = g.draw(key, links) if g.draw else None
    name = f"Picture of the {len(members)} sets of this family"
    return {
        "members": [g.listed(k) for k in members],
        "picture": pictures.inline(drawn, frozenset(links.values()), name) if drawn else None,
        "facts": [g.views.fact(f) for f in facts.values()],
    }


def assembly_page(g: Ground, key: str) -> dict[str, Any]:
    """An assembly: its places with what is fitted there, and what is built on it."""
    owner = f"a:{key}"
    positions = sorted(g.graph.declares.get(owner, ()), key=lambda p: g.name("position", p))
    links = g.graph.links.get(owner, ())
    named = [c for p in positions for c in (*g.views.position_cautions(p), *g.part_cautions(owner, p))]
    return {
        "entries": g.views.entries("assembly", key),
        "places": [(g.views.ref("position", p), g.views.fitted(owner, p)) for p in positions],
        "built_on": [g.views.owner(a) for a in g.below(owner)],
        "stated": [(g.views.owner(k.other), g.views.fact(k.fact)) for k in links if k.to_assembly == owner],
        "having": _having(g, owner, positions),
        "cautions": g.views.cautions(named),
        "facts": g.facts_of("assembly", key),
    }


def _having(g: Ground, owner: str, positions: list[str]) -> list[tuple[Ref, str]]:
    """The sets that have places of an assembly, and which of them where they have not all."""
    found: dict[str, list[str]] = defaultdict(list)
    for position in positions:
        for other, _ in g.graph.alike_places(Place(owner, position)):
            if other[0] == "s":
                found[other].append(position)
    rows = [(g.views.owner(o), _but(g, had, positions)) for o, had in found.items()]
    return sorted(rows, key=lambda r: (r[0].name.casefold(), r[0].href))


def _but(g: Ground, had: list[str], positions: list[str]) -> str:
    """Which places a set has of an assembly's, or lacks, whichever is shorter; "" for all of them."""
    lacks = [p for p in positions if p not in had]
    word, named = ("all but", lacks) if len(lacks) <= len(had) else ("only", had)
    return f"{word} {', '.join(g.data.text('position', p) for p in named)}" if lacks else ""


def position_page(g: Ground, key: str) -> dict[str, Any]:
    """A position: its cautions and conditions, and what is recorded there on which set or assembly."""
    rows = [
        (g.data.owner_text(place.owner).casefold(), place.owner, part, role, fact)
        for place, taken in g.graph.taken_at.items()
        if place.position == key
        for part, role, fact in taken
    ]
    rows.sort(key=lambda r: (-r[4].certainty, *r[:4]))
    of_parts = g.cautions_of(part for _, _, part, _, _ in rows)
    return {
        "entries": g.views.entries("position", key),
        "must_match": list(g.data.position_rules(key).must_match),
        "by_name": BY_NAME if g.data.position_rules(key).by_name else "",
        "ground": [(t.name.text, [n.text for n in t.also]) for t in g.data.ground("position", key)],
        "basis": trade.BASIS,
        "cautions": g.views.cautions([*g.views.position_cautions(key), *of_parts]),
        "takes": [
            (g.views.owner(owner), g.views.ref("part", part), role, g.views.fact(fact))
            for _, owner, part, role, fact in rows
        ],
        "anchor": anchor(g.data.text("position", key)),
        "sets": [g.views.ref("set", s) for s, places in g.places_of.items() if key in places],
    }
