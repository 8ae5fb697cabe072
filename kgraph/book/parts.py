"""The pages of parts, and of belts with their runs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from kgraph import questions
from kgraph.book import pictures
from kgraph.book.addresses import Ref
from kgraph.book.ground import BookGround
from kgraph.book.views import CautionView
from kgraph.problems import Stop
from kgraph.questions import belt_families, belt_paths, belt_places
from kgraph.render import run_picture
from kgraph.render.answers import percent

MOST_PICTURES = 6
"""So many different runs are shown on the page of one belt."""
MOST_ROWS = 60
"""So many sets stand in the table of one run; the rest are counted."""


@dataclass(frozen=True, slots=True)
class RunRow:
    """The belt of one set that shares a run."""

    set: Ref
    part: Ref | None
    standing: str
    certainty: str
    stretch: str
    agrees: str


@dataclass(frozen=True, slots=True)
class RunView:
    """One run of a belt: its picture, the sets that share it, and what contradicts what."""

    place: str
    picture: Markup | None
    rows: tuple[RunRow, ...]
    says: tuple[str, ...]
    cautions: list[CautionView]
    more: int = 0


def part_page(g: BookGround, key: str) -> dict[str, Any]:
    """A part: its sizes and numbers, who takes it, its other numbers, and for a belt its runs."""
    cited = g.cited("part", key)
    takers, rows = g.answering.takers(key, cited)
    belt = belt_places.is_belt(g.data, key)
    named = [*(c for r in rows for c in r.cautions), *questions.part_cautions(g.data, key).values()]
    return {
        "entries": g.views.entries("part", key),
        "belt": belt,
        "takers": takers,
        "runs": _runs(g, key) if belt else [],
        "same": _parts(g, g.graph.same.get(key, ())),
        "older": _parts(g, g.graph.older.get(key, ())),
        "newer": _parts(g, g.graph.newer.get(key, ())),
        "sized": _parts(g, g.graph.equal_size(key)),
        "stock": g.stock(key),
        "cautions": g.views.cautions(named),
        "cited": cited,
    }


def _parts(g: BookGround, found: Any) -> list[Ref]:
    return [g.views.ref("part", part) for part, _ in found]


def _runs(g: BookGround, part: str) -> list[RunView]:
    """A view for each place, of those that share one run, at which the belt is recorded."""
    found: list[RunView] = []
    seen: set[tuple[str, str]] = set()
    for place, _, _ in g.graph.takes_of.get(part, ()):
        sets = sorted(o for o, _ in g.graph.alike_places(place) if o[0] == "s")
        if not sets or (sets[0], place.position) in seen or len(found) >= MOST_PICTURES:
            continue
        seen |= {(o, place.position) for o in sets}
        earliest = min(sets, key=lambda o: (g.year(o[2:]), o))
        at = belt_places.place_at(g.graph, earliest[2:], place.position, g.answering.wanted)
        found.append(_run(g, at))
    return found


def _run(g: BookGround, place: belt_places.BeltPlace) -> RunView:
    where = f"{g.data.text('position', place.position)} of {g.data.owner_text(place.set)}"
    picture = _run_picture(g, place, where)
    try:
        family = belt_families.family(g.graph, place, g.answering.wanted)
    except Stop as stop:
        return RunView(where, picture, (), tuple(p.says for p in stop.problems), [])
    rows = tuple(_run_row(g, r) for r in family.rows[:MOST_ROWS])
    more = len(family.rows[MOST_ROWS:])
    return RunView(where, picture, rows, family.says[:MOST_ROWS], g.views.cautions(family.cautions), more)


def _run_picture(g: BookGround, place: belt_places.BeltPlace, where: str) -> Markup | None:
    try:
        path = belt_paths.path(g.graph, place)
    except Stop:
        # A run that cannot be is no picture; what is wrong with it stands in words.
        return None
    if path is None:
        return None
    return pictures.inline(
        run_picture.svg(g.data, path), frozenset(), f"The {where}: the belt on its pulleys, to scale"
    )


def _run_row(g: BookGround, row: belt_families.FamilyRow) -> RunRow:
    return RunRow(
        set=g.views.owner(row.set),
        part=g.views.ref("part", row.part) if row.part else None,
        standing=row.standing,
        certainty="not known" if row.certainty is None else percent(row.certainty),
        stretch="not known" if row.stretch is None else f"{row.stretch * 100:.1f} %",
        agrees={True: "yes", False: "no", None: "not known"}[row.agrees],
    )
