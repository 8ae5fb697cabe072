"""What own units can give to a set, at a glance: its places down, the units across."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from kgraph.fits.graph import Graph, Place
from kgraph.names import natural
from kgraph.questions import Row, Wanted
from kgraph.shelf.ledger import Shelf, shelf_now
from kgraph.shelf.offers import NO_DONOR, OfferSource, is_usable
from kgraph.shelf.task import Article


@dataclass(frozen=True, slots=True)
class Given:
    """The best that a unit has for a place: which article, the answer, its state; `usable` or spoilt."""

    article: Article
    row: Row
    condition: str
    looked: bool
    usable: bool


@dataclass(frozen=True, slots=True)
class PlaceLine:
    """One place: what each unit gives there, if anything, and the best set of which there is no unit."""

    position: str
    cells: tuple[Given | None, ...]
    other: Row | None
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Grid:
    """A set, the units that may be opened and have anything for it, and a line for each of its places."""

    set: str
    units: tuple[str, ...]
    lines: tuple[PlaceLine, ...]


def grid(
    graph: Graph, set_key: str, positions: Sequence[str], wanted: Wanted, shelf: Shelf | None = None
) -> Grid:
    """What own units can give to a set at these positions (keys)."""
    source = OfferSource(graph, shelf or shelf_now(graph), wanted)
    found = {p: _best_of(source, Place(f"s:{set_key}", p)) for p in positions}
    having = {unit for by_unit in found.values() for unit in by_unit}
    units = sorted(having, key=lambda u: natural(graph.data.text("unit", u)))
    lines = (
        _line(source, Place(f"s:{set_key}", p), [by_unit.get(u) for u in units])
        for p, by_unit in found.items()
    )
    return Grid(set_key, tuple(units), tuple(lines))


def _line(source: OfferSource, place: Place, cells: Iterable[Given | None]) -> PlaceLine:
    others = list(source.givers(place).values())
    named = [n.text for n in source.graph.data.position_rules(place.position)[1]]
    return PlaceLine(place.position, tuple(cells), others[0] if others else None, tuple(named))


def _best_of(source: OfferSource, place: Place) -> dict[str, Given]:
    """Unit -> the best that it has for a place, whole before spoilt."""
    best: dict[str, Given] = {}
    for article, row in source.standing_at(place).items():
        if source.shelf.units[article.unit].role in NO_DONOR:
            continue
        held = source.shelf.units[article.unit].places.get(article.place)
        usable = is_usable(source.shelf, article)
        condition, looked = (held.condition, held.looked) if held else ("", False)
        given = Given(article, row, condition, looked, usable)
        known = best.get(article.unit)
        if known is None or (known.usable, known.row.certainty) < (usable, row.certainty):
            best[article.unit] = given
    return best
