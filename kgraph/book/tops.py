"""The pages at the top of a book: its lists, its sources, and the page on certainty and cautions."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from kgraph import trade, words
from kgraph.book.addresses import Ref
from kgraph.book.ground import BookGround
from kgraph.book.lists import Listing, listing
from kgraph.book.units import unit_page
from kgraph.book.views import STANDINGS, EntryView
from kgraph.fits.graph import sort_of
from kgraph.names import fold
from kgraph.questions import belt_places
from kgraph.render.answers import percent

_COUNTED = (
    ("set", "set", "sets"),
    ("family", "family", "families"),
    ("assembly", "assembly", "assemblies"),
    ("part", "part", "parts"),
    ("position", "position", "positions"),
    ("unit", "unit", "units"),
)


@dataclass(frozen=True, slots=True)
class TopLine:
    """One thing in a list, with a word or two on it."""

    ref: Ref
    note: str = ""
    more: str = ""


@dataclass(frozen=True, slots=True)
class SourceView:
    """A source, as it is declared, and how many facts rest on it."""

    name: str
    entries: list[EntryView]
    count: int


def index_page(g: BookGround) -> dict[str, Any]:
    """All sets by their badge, and how much there is of everything."""
    counted = [(len(g.all_of(kind)), one, many) for kind, one, many in _COUNTED]
    counted.append((len(g.data.facts), "fact", "facts"))
    return {
        "listing": g.badges,
        "counts": [(n, one if n == 1 else many) for n, one, many in counted if n],
        "left_out": g.wishes.left_out,
    }


def families_list(g: BookGround) -> Listing:
    """Every family and its sets, by the letter that its name begins with."""
    found: dict[str, list[Any]] = defaultdict(list)
    for family in g.families:
        sets = [g.views.ref("set", k) for k in family]
        letter = g.data.text("set", family[0])[:1].upper()
        found[letter].append((g.refs["family", family[0]], sets, len(family)))
    return listing("Families", [(letter, "", rows) for letter, rows in sorted(found.items())])


def parts_list(g: BookGround) -> Listing:
    """Parts by their kind, belts on a page of their own."""
    found: dict[str, list[TopLine]] = defaultdict(list)
    for key, ref in g.all_of("part"):
        if not belt_places.is_belt(g.data, key):
            sort = sort_of(g.data, key)
            found[g.data.text("kind", sort) if sort else ""].append(TopLine(ref, g.numbers(key)))
    return listing("Parts", _groups(found))


def assemblies_list(g: BookGround) -> Listing:
    """Assemblies by their kind."""
    found: dict[str, list[TopLine]] = defaultdict(list)
    for key, ref in g.all_of("assembly"):
        found[g.data.assembly_kind(key) or ""].append(TopLine(ref))
    return listing("Assemblies", _groups(found))


def _groups(found: dict[str, list[TopLine]]) -> list[tuple[str, str, list[TopLine]]]:
    """Groups by name, those of no recorded kind last."""
    ordered = sorted(found.items(), key=lambda i: (not i[0], i[0].casefold(), i[0]))
    return [(kind or "kind not recorded", "", _sorted(rows)) for kind, rows in ordered]


def _sorted(rows: Iterable[TopLine]) -> list[TopLine]:
    return sorted(rows, key=lambda r: _order(r.ref))


def _order(ref: Ref) -> tuple[str, str]:
    return ref.name.casefold(), ref.href


def positions_list(g: BookGround) -> Listing:
    """Every position, its other names and its cautions; those with a caution first."""
    found: dict[str, list[TopLine]] = {"with a caution": [], "others": []}
    for key, ref in g.all_of("position"):
        of = (*g.data.things["position"].get(key, ()), *g.data.ground("position", key))
        also = dict.fromkeys(n.text for t in of for n in (*t.also, *([t.name] if t.name.key != key else [])))
        cautions = ", ".join(g.views.position_cautions(key))
        found["with a caution" if cautions else "others"].append(TopLine(ref, ", ".join(also), cautions))
    return listing("Positions", [(name, "", _sorted(rows)) for name, rows in found.items() if rows])


def units_page(g: BookGround) -> dict[str, Any]:
    """The units, what each wants and is owed, and the loose parts."""
    units = [(ref, unit_page(g, key)) for key, ref in g.all_of("unit")]
    stock = [TopLine(g.views.ref("part", key), g.stock(key)) for key in g.data.things["stock"]]
    return {"units": units, "stock": _sorted(stock)}


def sources_list(g: BookGround) -> Listing:
    """Where the facts come from, by the letter that the name begins with."""
    counts: dict[str, int] = defaultdict(int)
    for fact in g.data.facts.values():
        for source in {g.data.key("source", fold(s)) for e in fact.evidence for s in e.sources}:
            counts[source] += 1
    found: dict[str, list[SourceView]] = defaultdict(list)
    for key, name in sorted(g.data.known("source").items(), key=lambda s: (s[1].casefold(), s[0])):
        found[name[:1].upper()].append(SourceView(name, g.views.entries("source", key), counts[key]))
    return listing("Sources", [(letter, "", rows) for letter, rows in sorted(found.items())])


def certainty_page(g: BookGround) -> dict[str, Any]:
    """The scale, the standings, and every caution in full."""
    grades = sorted(g.data.grades.items(), key=lambda grade: (-grade[1], grade[0]))
    named = {**{k: c.name.text for k, c in trade.cautions().items()}, **g.data.known("caution")}
    return {
        "grades": [(g.data.text("grade", k), percent(value), *_grade(k, value)) for k, value in grades],
        "standings": list(STANDINGS.items()),
        "no_grade": words.NO_GRADE,
        "size": percent(words.SIZE_CERTAINTY),
        "depth": g.answering.depth,
        "cautions": g.views.cautions(named.values()),
    }


def _grade(grade: str, value: float) -> tuple[str, bool]:
    """What a grade means, and whether the folder changed its value."""
    usual = trade.grades().get(grade)
    if usual is None:
        return "a grade of this folder", False
    return str(dict(usual.attributes)["means"]), usual.certainty != value
