"""Which sets that are not on the shelf are worth looking for: by how many open wants each would meet.

For each set the expected number of wants is the sum, over the wants, of the certainty that it can give what
is wanted, times how surely it is sound: nobody has looked at a set that is still to be found. Refused answers
count nothing. A set is on the shelf when a unit of it may be opened, and a
unit's own set is not counted for what that unit wants: another one would have it all.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from kgraph import questions
from kgraph.collection import NOT_KNOWN_YET
from kgraph.fits.graph import Graph, Place
from kgraph.questions import SCALE_NOTE, Row
from kgraph.shelf.ledger import Shelf, is_known, shelf_now
from kgraph.shelf.offers import UNFINISHED_NOTE, OfferSource
from kgraph.shelf.plan import DEFAULT_WISHES, Wishes, left_out_note, plan
from kgraph.shelf.routes import MOST_NAMED

UNSEEN_NOTE = (
    "Nobody has looked at a set that is still to be found: how surely what it has is sound is counted in, by "
    "its kind (`sound:`, a scale of our own)."
)


@dataclass(frozen=True, slots=True)
class Sought:
    """Something wanted: for a unit (its key), or for a set with `unit` "", at a place of the set."""

    unit: str
    place: Place


@dataclass(frozen=True, slots=True)
class Quarry:
    """A set to look for: the expected number of wants that it meets, and the best answer for each of them."""

    set: str
    expected: float
    wants: Mapping[Sought, Row]


@dataclass(frozen=True, slots=True)
class Hunt:
    """The sets to look for, the best first; what was sought, and how many wants the shelf can meet itself."""

    found: tuple[Quarry, ...]
    sought: tuple[Sought, ...]
    met: int = 0
    notes: tuple[str, ...] = ()
    unlike: tuple[Row, ...] = ()
    """What would go, of sets that differ in what must match: refused, and told in the notes."""


def hunt(
    graph: Graph,
    units: Sequence[str],
    sets: Sequence[str],
    wishes: Wishes = DEFAULT_WISHES,
    all_wants: bool = False,
    shelf: Shelf | None = None,
) -> Hunt:
    """The sets worth looking for, for these units' open wants and all known places of these sets (keys).

    Of the units only the wants count that the shelf cannot meet, unless `all_wants`. Raises WrongUse for a
    unit that is not declared.
    """
    now = shelf or shelf_now(graph)
    source = OfferSource(graph, now, wishes.wanted)
    planned = plan(graph, units, wishes, source=source)
    met = set() if all_wants else {line.want for line in planned.best.lines}
    wanted = [w for w in planned.wants if w not in met]
    sought = [Sought(w.unit, source.place(w)) for w in wanted]
    sought += [Sought("", Place(f"s:{s}", p)) for s in sets for p in questions.places_of(graph, s)]
    by_set: dict[str, dict[Sought, Row]] = defaultdict(dict)
    for one in sought:
        for owner, row in source.givers(one.place, unlooked=True).items():
            by_set[owner][one] = row
    found = [
        Quarry(o, math.fsum(r.certainty for r in rows.values()), _surest_first(graph, rows))
        for o, rows in by_set.items()
    ]
    found.sort(key=lambda q: (-q.expected, graph.data.owner_text(q.set)))
    unlike = tuple(row for one in sought for row in source.unlike(one.place))
    notes = [UNFINISHED_NOTE] if source.unfinished else []
    notes += [*left_out_note(wishes), *_notes(source, found, sought, len(met))]
    notes += questions.unlike_notes(graph.data, unlike)
    return Hunt(tuple(found), tuple(sought), len(met), tuple(notes), unlike)


def _surest_first(graph: Graph, rows: Mapping[Sought, Row]) -> dict[Sought, Row]:
    def order(item: tuple[Sought, Row]) -> tuple[float, float, str, str]:
        sought, row = item
        return -row.certainty, -row.best, graph.data.text("position", sought.place.position), sought.unit

    return dict(sorted(rows.items(), key=order))


def _notes(source: OfferSource, found: Sequence[Quarry], sought: Sequence[Sought], met: int) -> Iterable[str]:
    text = source.graph.data.owner_text
    if met:
        yield f"The shelf can meet {met} of the wants, which are left out; --all-wants counts them too."
    own = sorted({text(s.place.owner) for s in sought if is_known(s.place.owner[2:])})
    if own:
        yield f"Another {' or '.join(own)} would have all of its own; it is not counted."
    for unit in sorted({s.unit for s in sought if s.unit and not is_known(s.place.owner[2:])}):
        name = source.graph.data.text("unit", unit)
        yield f"{name}: {NOT_KNOWN_YET}, so nobody can tell which sets give what it wants."
    if any(len({(r.set, r.position) for r in q.wants.values()}) < len(q.wants) for q in found):
        yield "Where several wants need the same article of a set, one example meets only one of them."
    if on_shelf := sorted({text(o) for s in sought for o in source.givers_on_shelf(s.place)}):
        names = ", ".join(on_shelf[:MOST_NAMED]) + (" and others" if len(on_shelf) > MOST_NAMED else "")
        yield f"Sets of which a unit may be opened are on the shelf and left out: {names}."
    if found:
        yield UNSEEN_NOTE
        yield SCALE_NOTE
