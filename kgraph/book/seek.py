"""What to look for at a market, for a phone: the open wants of own units, the sets that would meet them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from kgraph.book.addresses import Ref
from kgraph.book.belts import size_text
from kgraph.book.ground import BookGround
from kgraph.book.views import CautionView
from kgraph.questions import Row
from kgraph.render.answers import percent
from kgraph.shelf import hunt as hunting
from kgraph.shelf.plan import Wishes

MOST_SETS = 40
"""So many sets to look for are listed."""
MOST_FOR_A_WANT = 6
"""So many sets are named for one want, and so many parts."""


@dataclass(frozen=True, slots=True)
class Meets:
    """That a set would meet a want, and how surely."""

    set: Ref
    unit: Ref
    position: Ref
    certainty: str
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SoughtWant:
    """An open want of a unit: the parts to ask a seller for, with their sizes, and the sets to look for."""

    unit: Ref
    set: Ref
    position: Ref
    parts: tuple[tuple[Ref, str], ...]
    sets: tuple[Meets, ...]
    more: int
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SetToSeek:
    """A set to look for, and the wants that it would meet."""

    set: Ref
    expected: str
    meets: tuple[Meets, ...]


def has_wants(g: BookGround) -> bool:
    """Whether any unit wants anything."""
    return any(now.wants for now in g.shelf.units.values())


def seek_page(g: BookGround) -> dict[str, Any]:
    """What own units still want, and the sets to look for, the best first."""
    wanting = [u for u, now in g.shelf.units.items() if now.wants]
    wanted = g.answering.wanted._replace(refused_too=False)
    found = hunting.hunt(g.graph, wanting, [], Wishes(wanted=wanted), shelf=g.shelf)
    named = dict.fromkeys(c for q in found.found for row in q.wants.values() for c in row.cautions)
    return {
        "wants": [_want(g, one, found) for one in found.sought],
        "rows": [
            SetToSeek(
                g.views.owner(q.set),
                f"{q.expected:.1f}",
                tuple(_meets(g, q.set, one, row) for one, row in q.wants.items()),
            )
            for q in found.found[:MOST_SETS]
        ],
        "more": max(0, len(found.found) - MOST_SETS),
        "notes": list(found.notes),
        "cautions": _cautions(g, found, named),
    }


def _cautions(g: BookGround, found: hunting.Hunt, named: dict[str, None]) -> list[CautionView]:
    at_places = [c for one in found.sought for c in g.views.position_cautions(one.place.position)]
    return g.views.cautions(dict.fromkeys([*at_places, *named]))


def _want(g: BookGround, one: hunting.Sought, found: hunting.Hunt) -> SoughtWant:
    meeting = [(q.set, q.wants[one]) for q in found.found if one in q.wants]
    meeting.sort(key=lambda m: (-m[1].certainty, g.data.owner_text(m[0])))
    fitted = g.views.fitted(one.place.owner, one.place.position)[:MOST_FOR_A_WANT]
    return SoughtWant(
        g.views.ref("unit", one.unit),
        g.views.owner(one.place.owner),
        g.views.ref("position", one.place.position),
        tuple(
            (f.part, "; ".join(t for t in (g.numbers(f.key), size_text(g.data, f.key)) if t)) for f in fitted
        ),
        tuple(_meets(g, owner, one, row) for owner, row in meeting[:MOST_FOR_A_WANT]),
        max(0, len(meeting) - MOST_FOR_A_WANT),
        tuple(g.views.position_cautions(one.place.position)),
    )


def _meets(g: BookGround, owner: str, one: hunting.Sought, row: Row) -> Meets:
    return Meets(
        g.views.owner(owner),
        g.views.ref("unit", one.unit),
        g.views.ref("position", one.place.position),
        percent(row.certainty),
        tuple(row.warnings),
    )
