"""What the shelf can give to a want: every usable article that goes there, with its answer and proof.

Rests on :func:`kgraph.questions.donors` for what stands in units, and on the takers of a part for loose
parts and for what an event put in under its own number. Refused answers are never offered. All that is asked
for one shelf shares one budget, and only answers of sets that stand on the shelf are weighed, unless others
are sought.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field

from kgraph import questions
from kgraph.fits.graph import Graph, Place
from kgraph.questions import Row, Wanted, asked
from kgraph.reason.budget import Budget
from kgraph.reason.rules import State
from kgraph.shelf.ledger import Held, Shelf, UnitNow, not_there
from kgraph.shelf.task import Article, Want
from kgraph.shelf.wholes import parts_of_whole

NO_DONOR = ("patient", "keep")
"""Roles of units that give nothing: one is being restored, the other is not to be opened."""


SHARES = 4
"""No question may use more than one in so many of what is left of a shelf's budget: others come after it."""
SPARED_SECONDS = 1.5
"""The questions about a shelf end so much earlier, where no time was named: the plan is made after them."""


def budget_of(wanted: Wanted) -> Budget:
    """The work that all questions about one shelf may do together: that of `SHARES` single ones."""
    return asked.budget_of(wanted, SPARED_SECONDS, SHARES)


UNFINISHED_NOTE = (
    "The time was up before all of the folder was looked at, so that something that goes may be missing; "
    "`kgraph donors` looks at one place for longer."
)


@dataclass
class OfferSource:
    """The answers to the wants of one shelf, each worked out once."""

    graph: Graph
    shelf: Shelf
    wanted: Wanted = questions.DEFAULT
    shared: Budget | None = None
    """A budget that this shares with other sources of one command."""
    unfinished: bool = False
    """Whether some question was ended before all that it might come to was looked at."""
    _of_place: dict[Place, Mapping[Place, Row]] = field(default_factory=dict)
    _of_any: dict[Place, Mapping[Place, Row]] = field(default_factory=dict)
    _of_part: dict[str, Mapping[Place, Row]] = field(default_factory=dict)
    _unlike: dict[Place, tuple[Row, ...]] = field(default_factory=dict)
    _unlike_parts: dict[str, Mapping[Place, Row]] = field(default_factory=dict)
    _going: dict[Place, tuple[str, ...]] = field(default_factory=dict)
    _wholes: dict[Place, tuple[str, ...]] = field(default_factory=dict)
    _by_set: dict[str, list[UnitNow]] = field(default_factory=lambda: defaultdict(list))
    _moved: dict[Place | str, list[tuple[UnitNow, str]]] = field(default_factory=lambda: defaultdict(list))

    def __post_init__(self) -> None:
        for _, unit in sorted(self.shelf.units.items()):
            self._by_set[unit.set].append(unit)
            for position, held in sorted(unit.places.items()):
                for item in _moved_items(unit, held):
                    self._moved[item].append((unit, position))

        self.budget = self.shared or budget_of(self.wanted)
        moved = {item.owner for item in self._moved if isinstance(item, Place)}
        self._here = frozenset({f"s:{s}" for s in self._by_set} | moved)

    def on_shelf(self, set_key: str) -> bool:
        """Whether a unit of the set may be opened."""
        return bool(self.units_of(set_key))

    def units_of(self, set_key: str) -> list[UnitNow]:
        """The units of a set that may be opened."""
        return [u for u in self._by_set.get(set_key, ()) if u.role not in NO_DONOR]

    def place(self, want: Want) -> Place:
        """The place of its set that a want stands for."""
        return Place(f"s:{self.shelf.units[want.unit].set}", want.position)

    def answers(self, place: Place) -> Mapping[Place, Row]:
        """Place -> the answer for what is original there, for places of the shelf's sets."""
        if place not in self._of_place:
            self._of_place[place] = self._of_any.get(place) or self._asked(place, self._here)
        return self._of_place[place]

    def answers_of_any(self, place: Place) -> Mapping[Place, Row]:
        """The same for every set, whether there is a unit of it or not."""
        if place not in self._of_any:
            self._of_any[place] = self._asked(place, None)
        return self._of_any[place]

    def _asked(self, place: Place, only: frozenset[str] | None) -> Mapping[Place, Row]:
        with self._share() as share:
            owner, position = place
            found = questions.donors(self.graph, owner[2:], [position], self.wanted, True, only, share)
        self._unlike[place] = found.unlike
        rows = [_of_itself(r, place) for r in found.rows]
        return {Place(r.set, r.position): r for r in rows if r.certainty > 0}

    @contextmanager
    def _share(self) -> Iterator[Budget]:
        """What one question may use of the budget; what it leaves is there for the next."""
        with self.budget.share(SHARES) as share:
            yield share
            self.unfinished = self.unfinished or share.steps <= 0 or share.over

    def unlike(self, place: Place) -> tuple[Row, ...]:
        """What would go at a place, of sets that differ in what must match there: it is never offered."""
        self.answers(place)  # They are asked for along with the others.
        return self._unlike[place]

    def givers(self, place: Place, unlooked: bool = False) -> dict[str, Row]:
        """Set -> its best answer for a place, best first: other sets, of which no unit may be opened.

        `unlooked`: each times how surely what is there is sound, as of a set that nobody has looked at.
        """
        best: dict[str, Row] = {}
        for origin, answer in self.answers_of_any(place).items():
            row = answer if not unlooked else self.unlooked(origin.position, answer.part, answer)
            if origin.owner == place.owner or self.on_shelf(origin.owner[2:]):
                continue
            known = best.get(origin.owner)
            if known is None or known.certainty < row.certainty:
                best[origin.owner] = row
        text = self.graph.data.owner_text
        return dict(sorted(best.items(), key=lambda item: (-item[1].certainty, text(item[0]))))

    def givers_on_shelf(self, place: Place) -> list[str]:
        """The other sets that would give something for a place, of which a unit may be opened."""
        owners = {origin.owner for origin in self.answers(place)} - {place.owner}
        return sorted((o for o in owners if self.on_shelf(o[2:])), key=self.graph.data.owner_text)

    def going(self, place: Place) -> tuple[str, ...]:
        """The parts that go at a place, by whatever rule."""
        if place not in self._going:
            self.answers(place)  # By the same walk, which is remembered.
            with self._share() as share:
                network = asked.walked(self.graph, State("goes", *place), share)
            self._going[place] = tuple(sorted({s.owner for s in network.states if s.phase == "asked"}))
        return self._going[place]

    def of_part(self, part: str, place: Place) -> Row | None:
        """The answer for one part at a place."""
        if part not in self.going(place):
            return None
        if part not in self._of_part:
            with self._share() as share:
                found = questions.takers_of_part(self.graph, part, self.wanted, self._here, share)
            self._of_part[part] = {Place(r.set, r.position): r for r in found.rows if r.certainty > 0}
            self._unlike_parts[part] = {Place(r.set, r.position): r for r in found.unlike}
        return self._of_part[part].get(place)

    def unlike_in_stock(self, want: Want) -> dict[str, Row]:
        """The loose parts that would go, but for what must match: part -> the answer that is refused."""
        place = self.place(want)
        self.loose(want)
        return {
            p: row
            for p, of in self._unlike_parts.items()
            if (row := of.get(place)) and self.shelf.stock.get(p)
        }

    def loose(self, want: Want) -> dict[Article, Row]:
        """The loose parts that go where something is wanted."""
        place = self.place(want)
        stock = (p for p in self.going(place) if self.shelf.stock.get(p, 0) > 0)
        return {Article("", p): row for p in stock if (row := self.of_part(p, place))}

    def in_units(self, want: Want, usable: bool = True) -> dict[Article, Row]:
        """What any unit but the wanting one has that goes there; or, instead, what it has no longer whole."""
        found = self.standing_at(self.place(want))
        return {a: r for a, r in found.items() if a.unit != want.unit and is_usable(self.shelf, a) == usable}

    def standing_at(self, place: Place) -> dict[Article, Row]:
        """What any unit has, whole or not, that goes at a place."""
        found: dict[Article, Row] = {}
        for origin, row in self.answers(place).items():
            for unit, position in self._standing(origin):
                _keep_best(found, Article(unit.unit, position), row)
        for part in self.going(place):
            for unit, position in self._moved.get(part, ()):
                if row_of_part := self.of_part(part, place):
                    _keep_best(found, Article(unit.unit, position), row_of_part)
        return {article: self._as_it_is(article, row) for article, row in found.items()}

    def _as_it_is(self, article: Article, row: Row) -> Row:
        """The answer for an article, times how surely it is sound where nobody looked at it."""
        held = self.shelf.units[article.unit].places.get(article.place)
        if held is not None and held.looked:
            return row
        return self.unlooked(article.place, (held.part if held else None) or row.part, row)

    def unlooked(self, position: str, part: str | None, row: Row) -> Row:
        """The answer for what is at a place that nobody looked at, times how surely it is sound."""
        data = self.graph.data
        sound = data.soundness(position, data.kind_of(part) if part else "")
        bounds = row.bounds and (row.bounds[0] * sound, row.bounds[1] * sound)
        return row._replace(certainty=row.certainty * sound, bounds=bounds, sound=sound)

    def _standing(self, origin: Place) -> Iterable[tuple[UnitNow, str]]:
        """The units that have, at a place, what is original at `origin`."""
        for unit in self._by_set.get(origin.owner[2:], ()):
            held = unit.places.get(origin.position)
            if held is None or (held.origin == origin and held.part is None):
                yield unit, origin.position
        yield from self._moved.get(origin, ())

    def brought(self, article: Article) -> frozenset[Article]:
        """What comes off a unit with an article that is a whole assembly; what is gone from it does not."""
        unit = self.shelf.units[article.unit]
        held = unit.places.get(article.place)
        origin = held.origin if held and held.origin else Place(f"s:{unit.set}", article.place)
        if origin not in self._wholes:
            self._wholes[origin] = parts_of_whole(self.graph, origin.owner[2:], origin.position)
        places = (p for p in self._wholes[origin] if not not_there(unit.places.get(p)))
        return frozenset(Article(article.unit, p) for p in places if p != article.place)


def _moved_items(unit: UnitNow, held: Held) -> list[Place | str]:
    """What a place holds that is not what its unit's set has there: by its part, and by where it was."""
    own = held.origin == Place(f"s:{unit.set}", held.position)
    by_part: list[Place | str] = [held.part] if held.part else []
    return by_part + ([held.origin] if held.origin and (not own or held.part) else [])


def _of_itself(row: Row, place: Place) -> Row:
    """One model against itself: what it does not record of itself is no reason to check."""
    return row._replace(warnings=()) if row.set == place.owner else row


def _keep_best(found: dict[Article, Row], article: Article, row: Row) -> None:
    known = found.get(article)
    if known is None or known.certainty < row.certainty:
        found[article] = row


def is_usable(shelf: Shelf, article: Article) -> bool:
    """Whether an article of a unit is there and whole; where nothing is said, it is as in its set."""
    held = shelf.units[article.unit].places.get(article.place)
    return held is None or held.usable


def may_give(shelf: Shelf, unit: str, patients: Sequence[str]) -> bool:
    """Whether a unit may be opened for these patients."""
    return shelf.units[unit].role not in NO_DONOR and unit not in patients
