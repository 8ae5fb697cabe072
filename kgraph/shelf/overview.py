"""The whole shelf at a glance: of each unit what it gives and to whom, what it waits for and is owed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from kgraph.fits.graph import Graph
from kgraph.names import natural
from kgraph.shelf.ledger import Held, Owed, Shelf, UnitNow, shelf_now
from kgraph.shelf.offers import NO_DONOR, UNFINISHED_NOTE, OfferSource, may_give
from kgraph.shelf.task import Want


@dataclass(frozen=True, slots=True)
class UnitOverview:
    """One unit: what it gives, the wants of others that each of its places could meet, what it lacks."""

    now: UnitNow
    gives: tuple[Held, ...]
    waited_for: Mapping[str, tuple[tuple[Want, float], ...]]
    lacks: tuple[Held, ...]
    owed: tuple[Owed, ...]
    owes: tuple[Owed, ...]


@dataclass(frozen=True, slots=True)
class LooseStock:
    """Loose parts of one name: how many were counted, how many are left, which wants they could meet."""

    part: str
    counted: int
    left: int
    waited_for: tuple[tuple[Want, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Overview:
    """Units and loose parts, in the natural order of their names."""

    shelf: Shelf
    units: tuple[UnitOverview, ...]
    stock: tuple[LooseStock, ...]
    notes: tuple[str, ...] = ()


def overview(graph: Graph, units: Sequence[str] = ()) -> Overview:
    """These units (keys), or the whole shelf with its loose parts."""
    shelf = shelf_now(graph)
    source = OfferSource(graph, shelf)
    by_unit, by_part = _waiting(source)
    in_order = units or sorted(shelf.units, key=lambda u: natural(graph.data.text("unit", u)))
    parts = [] if units else sorted(shelf.stock, key=lambda p: natural(graph.data.text("part", p)))
    seen = tuple(_seen(shelf, u, by_unit[u]) for u in in_order)
    stock = tuple(_loose(graph, shelf, p, by_part[p]) for p in parts)
    return Overview(shelf, seen, stock, (UNFINISHED_NOTE,) if source.unfinished else ())


_Waiting = dict[str, list[tuple[Want, float]]]


def _waiting(source: OfferSource) -> tuple[dict[str, _Waiting], _Waiting]:
    """Which open wants each place of each unit, and each loose part, could meet, and how certain that is."""
    shelf = source.shelf
    by_unit: dict[str, _Waiting] = defaultdict(lambda: defaultdict(list))
    by_part: _Waiting = defaultdict(list)
    for unit, now in shelf.units.items():
        for want in (Want(unit, position) for position in now.wants):
            for article, row in source.in_units(want).items():
                if may_give(shelf, article.unit, [unit]):
                    by_unit[article.unit][article.place].append((want, row.certainty))
            for article, row in source.loose(want).items():
                by_part[article.place].append((want, row.certainty))
    return by_unit, by_part


def _seen(shelf: Shelf, unit: str, waiting: _Waiting) -> UnitOverview:
    now = shelf.units[unit]
    there = tuple(h for h in now.places.values() if h.usable)
    first = sorted(there, key=lambda h: (h.position not in waiting, h.position))
    return UnitOverview(
        now=now,
        gives=() if now.role in NO_DONOR else tuple(first),
        waited_for=_surest_first(waiting),
        lacks=tuple(h for h in now.places.values() if not h.usable),
        owed=tuple(o for o in shelf.owed if o.unit == unit and o.settled is None),
        owes=tuple(o for o in shelf.owed if o.to == unit and o.settled is None),
    )


def _surest_first(waiting: _Waiting) -> dict[str, tuple[tuple[Want, float], ...]]:
    """The places that others wait for, and of each those who wait, by how certain it is that it goes."""
    each = {place: tuple(sorted(those, key=lambda w: (-w[1], w[0]))) for place, those in waiting.items()}
    return dict(sorted(each.items(), key=lambda item: (-item[1][0][1], item[0])))


def _loose(graph: Graph, shelf: Shelf, part: str, waiting: list[tuple[Want, float]]) -> LooseStock:
    counted = sum(int(getattr(t, "count", 0)) for t in graph.data.things["stock"].get(part, ()))
    return LooseStock(part, counted, shelf.stock[part], tuple(sorted(waiting, key=lambda w: (-w[1], w[0]))))
