"""The pages at the top of a book: its lists, its sources, and the page on certainty and cautions."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from kgraph import belt_questions, trade, words
from kgraph.book.addresses import Ref
from kgraph.book.ground import MOST_ANSWERS, Ground, Listed, anchor
from kgraph.book.units import unit_page
from kgraph.book.views import STANDINGS, EntryView
from kgraph.fits.graph import sort_of
from kgraph.names import compared, fold
from kgraph.quantities import Section
from kgraph.questions import Row
from kgraph.render.answers import percent
from kgraph.shelf import hunt as hunting
from kgraph.shelf.plan import Wishes

_COUNTED = (
    ("set", "set", "sets"),
    ("family", "family", "families"),
    ("assembly", "assembly", "assemblies"),
    ("part", "part", "parts"),
    ("position", "position", "positions"),
    ("unit", "unit", "units"),
)


MOST_SETS = 6
"""So many sets are named in a line of the list of belts; the rest are counted."""
MOST_SOUGHT = 40
"""So many sets to look for are listed."""


@dataclass(frozen=True, slots=True)
class Line:
    """One thing in a list, with a word or two on it."""

    ref: Ref
    note: str = ""
    more: str = ""


@dataclass(frozen=True, slots=True)
class BeltLine:
    """One belt in the list of belts."""

    ref: Ref
    section: str
    length_mm: float | None
    numbers: str
    sets: tuple[Ref, ...] = ()
    more: int = 0


@dataclass(frozen=True, slots=True)
class Sought:
    """A want of a unit that a set would meet, and how surely."""

    unit: Ref
    position: Ref
    certainty: str
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SourceView:
    """A source, as it is declared, and how many facts rest on it."""

    name: str
    entries: list[EntryView]
    count: int


def index_page(g: Ground) -> dict[str, Any]:
    """All sets by their badge."""
    names: dict[str, str] = {}
    by_badge: dict[str, list[Listed]] = defaultdict(list)
    for key in g.data.known("set"):
        badge = g.badge(key)
        names.setdefault(compared(badge), badge)
        by_badge[compared(badge)].append(g.listed(key))
    badges = [
        (names[b], anchor(names[b]), sorted(rows, key=lambda r: _order(r.ref)))
        for b, rows in sorted(by_badge.items(), key=lambda i: (names[i[0]].casefold(), i[0]))
    ]
    counted = [(len(g.all_of(kind)), one, many) for kind, one, many in _COUNTED]
    counted.append((len(g.data.facts), "fact", "facts"))
    return {
        "badges": badges,
        "counts": [(n, one if n == 1 else many) for n, one, many in counted if n],
        "left_out": g.wishes.left_out,
    }


def families_page(g: Ground) -> dict[str, Any]:
    """Every family and its sets."""
    return {
        "families": [(g.refs["family", f[0]], [g.views.ref("set", k) for k in f], len(f)) for f in g.families]
    }


def parts_page(g: Ground) -> dict[str, Any]:
    """Parts by their kind, belts on a page of their own."""
    found: dict[str, list[Line]] = defaultdict(list)
    for key, ref in g.all_of("part"):
        if not belt_questions.is_belt(g.data, key):
            sort = sort_of(g.data, key)
            found[g.data.text("kind", sort) if sort else ""].append(Line(ref, g.numbers(key)))
    return {"groups": _groups(found)}


def assemblies_page(g: Ground) -> dict[str, Any]:
    """Assemblies by their kind."""
    found: dict[str, list[Line]] = defaultdict(list)
    for key, ref in g.all_of("assembly"):
        found[g.data.assembly_kind(key) or ""].append(Line(ref))
    return {"groups": _groups(found)}


def _groups(found: dict[str, list[Line]]) -> list[tuple[str, list[Line]]]:
    """Groups by name, those of no recorded kind last."""
    ordered = sorted(found.items(), key=lambda i: (not i[0], i[0].casefold(), i[0]))
    return [(kind or "kind not recorded", _sorted(rows)) for kind, rows in ordered]


def _sorted(rows: Iterable[Line]) -> list[Line]:
    return sorted(rows, key=lambda r: _order(r.ref))


def _order(ref: Ref) -> tuple[str, str]:
    return ref.name.casefold(), ref.href


def belts_page(g: Ground) -> dict[str, Any]:
    """Belts by their section and length; those of which a size is not recorded last."""
    rows = []
    for key, ref in g.all_of("part"):
        if belt_questions.is_belt(g.data, key):
            belt = belt_questions.belt_of(g.data, key)
            section = _section(belt.section) if belt else ""
            sets = _sets_with(g, key)
            length = belt.inside_length_mm if belt else None
            shown, more = tuple(sets[:MOST_SETS]), max(0, len(sets) - MOST_SETS)
            rows.append(BeltLine(ref, section, length, g.numbers(key), shown, more))
    rows.sort(key=lambda r: (not r.section, r.section, r.length_mm or 0.0, _order(r.ref)))
    return {"belts": rows}


def _sets_with(g: Ground, part: str) -> list[Ref]:
    """The sets that have a part, by what is recorded and by what is alike."""
    owners = {o for place, _, _ in g.graph.takes_of.get(part, ()) for o, _ in g.graph.alike_places(place)}
    return sorted((g.views.owner(o) for o in owners if o[0] == "s"), key=_order)


def seek_page(g: Ground) -> dict[str, Any]:
    """The sets to look for, the best first, with what each would meet of what own units want."""
    wanting = [u for u, now in g.shelf.units.items() if now.wants]
    found = hunting.hunt(
        g.graph, wanting, [], Wishes(wanted=g.wanted._replace(refused_too=False)), shelf=g.shelf
    )
    rows = [
        (
            g.views.owner(quarry.set),
            [_sought(g, one, row) for one, row in quarry.wants.items()],
            g.views.cautions([c for row in quarry.wants.values() for c in row.cautions]),
        )
        for quarry in found.found[:MOST_SOUGHT]
    ]
    return {"rows": rows, "more": max(0, len(found.found) - MOST_SOUGHT), "notes": list(found.notes)}


def _sought(g: Ground, one: hunting.Sought, row: Row) -> Sought:
    return Sought(
        g.views.ref("unit", one.unit),
        g.views.ref("position", one.place.position),
        percent(row.certainty),
        tuple(row.warnings),
    )


def _section(section: Section) -> str:
    return f"{section.form} {' x '.join(f'{size:.4g}' for size in section.sizes_mm)} mm"


def positions_page(g: Ground) -> dict[str, Any]:
    """Every position, its other names and its cautions."""
    rows = []
    for key, ref in g.all_of("position"):
        of = (*g.data.things["position"].get(key, ()), *g.data.ground("position", key))
        also = dict.fromkeys(n.text for t in of for n in (*t.also, *([t.name] if t.name.key != key else [])))
        rows.append(Line(ref, ", ".join(also), ", ".join(g.views.position_cautions(key))))
    return {"positions": _sorted(rows)}


def units_page(g: Ground) -> dict[str, Any]:
    """The units, what each wants and is owed, and the loose parts."""
    units = [(ref, unit_page(g, key)) for key, ref in g.all_of("unit")]
    stock = [Line(g.views.ref("part", key), g.stock(key)) for key in g.data.things["stock"]]
    return {"units": units, "stock": _sorted(stock)}


def sources_page(g: Ground) -> dict[str, Any]:
    """Where the facts come from."""
    counts: dict[str, int] = defaultdict(int)
    for fact in g.data.facts.values():
        for source in {g.data.key("source", fold(s)) for e in fact.evidence for s in e.sources}:
            counts[source] += 1
    known = sorted(g.data.known("source").items(), key=lambda s: (s[1].casefold(), s[0]))
    return {"sources": [SourceView(name, g.views.entries("source", key), counts[key]) for key, name in known]}


def certainty_page(g: Ground) -> dict[str, Any]:
    """The scale, the standings, and every caution in full."""
    grades = sorted(g.data.grades.items(), key=lambda grade: (-grade[1], grade[0]))
    named = {**{k: c.name.text for k, c in trade.cautions().items()}, **g.data.known("caution")}
    return {
        "grades": [(g.data.text("grade", k), percent(value), *_grade(k, value)) for k, value in grades],
        "standings": list(STANDINGS.items()),
        "no_grade": words.NO_GRADE,
        "size": percent(words.SIZE_CERTAINTY),
        "most": MOST_ANSWERS,
        "cautions": g.views.cautions(named.values()),
    }


def _grade(grade: str, value: float) -> tuple[str, bool]:
    """What a grade means, and whether the folder changed its value."""
    usual = trade.grades().get(grade)
    if usual is None:
        return "a grade of this folder", False
    return str(dict(usual.attributes)["means"]), usual.certainty != value
