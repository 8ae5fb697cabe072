"""What to know before something is taken from a unit: whether it is there, why it goes, who else waits.

Pure: it looks and decides nothing. A removal that cannot be is told by `gone`; all else is a warning.
"""

from __future__ import annotations

from collections.abc import Collection as Items
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from kgraph import matching
from kgraph.collection import Collection
from kgraph.fits.graph import Graph, Place
from kgraph.questions import Row, Wanted
from kgraph.shelf.ledger import Held, Shelf, not_there
from kgraph.shelf.offers import OfferSource, may_give
from kgraph.shelf.task import Article, Want

ALL = Wanted(refused_too=True)


@dataclass(frozen=True, slots=True)
class Counting:
    """A want of another unit, how surely what is taken would meet it, and what is the surest left for it.

    `certainty` is 0 where the time was up before that was worked out.
    """

    want: Want
    certainty: float
    left: Article | None
    left_certainty: float = 0.0


UNLOOKED = "the time was up before all that other units want was looked at; another may count on this"


@dataclass(frozen=True, slots=True)
class Taking:
    """A removal that is thought of: keys of the units and places; `getter` is "" where it goes nowhere.

    `gone` says why there is nothing to take, `row` why it goes there, `brings` what comes off with it and
    `counting` which wants of other units nothing else on the shelf could meet as surely.
    """

    giver: str
    position: str
    getter: str
    at: str
    gone: str = ""
    row: Row | None = None
    brings: tuple[str, ...] = ()
    counting: tuple[Counting, ...] = ()
    warnings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


def look(graph: Graph, shelf: Shelf, giver: str, position: str, getter: str = "", at: str = "") -> Taking:
    """What speaks for and against taking what a unit has at a position for another one."""
    at = at or position
    if giver == getter:
        return Taking(giver, position, getter, at, gone="a unit gives nothing to itself")
    source = OfferSource(graph, shelf, ALL)
    held = shelf.units[giver].places.get(position)
    if gone := _gone(held):
        return Taking(giver, position, getter, at, gone=gone)
    taken = Article(giver, position)
    brought = tuple(sorted(a.place for a in source.brought(taken)))
    row = goes(source, giver, held, position, getter, at) if getter else None
    off = {taken, *(Article(giver, p) for p in brought)}
    counting = tuple(counting_on(source, off, open_wants(shelf, [getter])))
    seen = Taking(giver, position, getter, at, "", row, brought, counting)
    unlooked = [UNLOOKED] if source.unfinished else []
    warnings = (*_warnings(graph, shelf, seen), *unlooked)
    cautions = row.cautions if row else _position_cautions(graph, position)
    more = (c for p in brought for c in _position_cautions(graph, p))
    return Taking(
        giver,
        position,
        getter,
        at,
        "",
        row,
        brought,
        counting,
        warnings,
        tuple(dict.fromkeys([*cautions, *more])),
    )


def _gone(held: Held | None) -> str:
    if held is None or held.usable:
        return ""
    return not_there(held) or f"it is {held.condition}"


def goes(
    source: OfferSource, giver: str, held: Held | None, position: str, getter: str, at: str
) -> Row | None:
    """The answer that says whether an article goes at a place of a unit; None where no fact says so."""
    place = Place(f"s:{source.shelf.units[getter].set}", at)
    own = Place(f"s:{source.shelf.units[giver].set}", position)
    part = held.part if held else None
    origin = held.origin if held else own
    rows = [
        source.of_part(part, place) if part else None,
        source.answers(place).get(origin) if origin else None,
    ]
    return max((r for r in rows if r), key=lambda r: r.certainty, default=None)


def open_wants(shelf: Shelf, without: Items[str]) -> list[Want]:
    """The open wants of all units but these."""
    units = (u for u in sorted(shelf.units) if u not in without)
    return [Want(unit, position) for unit in units for position in shelf.units[unit].wants]


def could_meet(source: OfferSource, want: Want, leaving: Iterable[str] = ()) -> dict[Article, Row]:
    """What could meet a want, but for what stands in units that are left alone."""
    alone = [want.unit, *leaving]
    rows = {**source.loose(want), **source.in_units(want)}
    return {
        a: row
        for a, row in rows.items()
        if row.standing != "refused" and (not a.unit or may_give(source.shelf, a.unit, alone))
    }


def counting_on(
    source: OfferSource, taken: Items[Article], wants: Iterable[Want], likely: bool = False
) -> Iterator[Counting]:
    """Those of the wants that nothing but what is taken could meet as surely.

    `likely`: each want is known to have a use for what is taken, so that it counts too where the time was
    up before it was looked at.
    """
    for want in wants:
        offers = {a: row.certainty for a, row in could_meet(source, want).items()}
        surest = max((c for a, c in offers.items() if a in taken), default=0.0)
        left = min((a for a in offers if a not in taken), key=lambda a: (-offers[a], a), default=None)
        if surest and (left is None or offers[left] < surest - 1e-12):
            yield Counting(want, surest, left, offers[left] if left else 0.0)
        elif likely and source.unfinished and not surest:
            yield Counting(want, 0.0, None)


def _warnings(graph: Graph, shelf: Shelf, taking: Taking) -> Iterable[str]:
    data = graph.data
    giver, giver_name = shelf.units[taking.giver], data.text("unit", taking.giver)
    place = data.text("position", taking.position)
    if giver.role == "keep":
        yield f"{giver_name} is kept: it was not to be opened"
    if giver.role == "patient":
        yield f"{giver_name} is itself being restored"
    if taking.position not in giver.places and not taking.brings:
        yield f"nothing is known of a {place} on {data.text('set', giver.set)}; is the name right?"
    if taking.getter:
        yield from _about_going(graph, shelf, taking)
    yield from (counts_on_it(data, counting) for counting in taking.counting)


def counts_on_it(data: Collection, counting: Counting) -> str:
    """Who counts on what is taken, and what is left for him, in words."""
    name, wanted = data.text("unit", counting.want.unit), data.text("position", counting.want.position)
    if not counting.certainty:
        return f"{name} may count on it for its {wanted}: the time was up before that was looked at"
    if (left := counting.left) is None:
        return f"{name} counts on it: nothing else on the shelf could be its {wanted}"
    other = data.text("unit", left.unit) if left.unit else f"{data.text('part', left.place)} in stock"
    this, that = (f"{100 * c:.0f} %" for c in (counting.certainty, counting.left_certainty))
    surest = f"it is the surest for its {wanted} ({this})"
    return f"{name} counts on it: {surest}; the next is that of {other} ({that})"


def _about_going(graph: Graph, shelf: Shelf, taking: Taking) -> Iterable[str]:
    data, row = graph.data, taking.row
    getter = shelf.units[taking.getter]
    unit = f"{data.text('unit', getter.unit)}, {data.text('set', getter.set)}"
    there = f"{unit}, at {data.text('position', taking.at)}"
    yield from about_row(row, there)
    if row is None:
        yield from _not_matching(graph, shelf, taking)
    old = getter.places.get(taking.at)
    if old and old.usable and (old.condition or old.event) and taking.at not in getter.wants:
        yield f"{there} has one already, which is then loose: add it to stock if it is kept"


def about_row(row: Row | None, there: str) -> Iterable[str]:
    """What speaks against an article's going at a place, in words."""
    if row is None:
        yield f"no fact says that it goes on {there}"
        return
    if row.standing == "refused" and row.against:
        yield f"it is recorded that it does not go on {there}"
    elif row.standing == "disputed":
        yield f"something recorded speaks against its going on {there}; try it before you rely on it"
    yield from row.warnings
    if "size" in row.basis:
        yield "it goes by equal size alone: measure first"


def _not_matching(graph: Graph, shelf: Shelf, taking: Taking) -> Iterable[str]:
    """What must match between the two sets and does not, where no answer has said it."""
    held = shelf.units[taking.giver].places.get(taking.position)
    own = Place(f"s:{shelf.units[taking.giver].set}", taking.position)
    origin = held.origin if held else own
    if origin is not None:
        other = f"s:{shelf.units[taking.getter].set}"
        yield from may_not_go(graph, origin, Place(other, taking.at))


def may_not_go(graph: Graph, origin: Place, to: Place) -> list[str]:
    """What must match between the set that an article was made for and one that it goes in, in words."""
    if origin.owner == to.owner:
        return []
    positions = {origin.position, to.position}
    return [says for _, says in matching.unmatched(graph.data, origin.owner, to.owner, positions)]


def _position_cautions(graph: Graph, position: str) -> tuple[str, ...]:
    return tuple(n.text for n in graph.data.position_rules(position)[1])
