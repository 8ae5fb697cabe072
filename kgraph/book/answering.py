"""The answers on a page: how many stand there, how they are found, and the facts of the page that they cite.

Every answer of a small folder is weighed as a command weighs it. The pages of a large one tell the surest
few, each by its surest way alone ("at least"), for the work and the size of a book grow with every answer.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from kgraph import questions
from kgraph.book.addresses import Ref
from kgraph.book.views import AnswerView, FactView, Views, remarks
from kgraph.facts import Fact
from kgraph.fits.graph import Graph
from kgraph.questions import BEST_ONLY, Row, Wanted
from kgraph.questions.nearest import Nearest, nearest_donors, nearest_takers
from kgraph.render.answers import certainty_text


class Depth(NamedTuple):
    """How much a book tells of each place; which one holds hangs on how many places the folder has."""

    up_to: float
    """So many places of sets a folder has at most."""
    weighed: bool
    """Whether answers are weighed with all their proofs; else each stands by its surest way."""
    donors: int
    """So many donors stand at one place with what they rest on."""
    takers: int
    """So many takers stand on the page of a part."""
    why: bool
    """Whether the facts stand on the page on which its answers rest."""


DEPTHS = (
    Depth(3_000, True, 5, 8, True),
    Depth(20_000, False, 3, 8, True),
    Depth(float("inf"), False, 1, 6, False),
)
MOST_ON_A_PAGE = 60
"""So many answers stand on one page with what they rest on: a set of many places tells fewer at each."""
MOST_NAMED = 130
"""So many further sets are named on one page; the rest are counted."""


def depth_of(places: int) -> Depth:
    """The depth of the book of a folder whose sets have so many places."""
    return next(d for d in DEPTHS if places <= d.up_to)


@dataclass
class Cited:
    """The facts of a page in the order of their numbers: those that name its thing, and what answers cite."""

    views: Views
    own: Iterable[Fact] = ()
    why: bool = True
    facts: list[FactView] = field(default_factory=list)
    _numbers: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for fact in self.own:
            self._number(fact)
        self.count_own = len(self.facts)

    def numbers(self, facts: Iterable[Fact]) -> tuple[int, ...]:
        """The numbers under which facts stand on the page; none where the book tells no reasons."""
        return tuple(self._number(f) for f in facts) if self.why else ()

    def _number(self, fact: Fact) -> int:
        if fact.id not in self._numbers:
            self.facts.append(self.views.fact(fact))
            self._numbers[fact.id] = len(self.facts)
        return self._numbers[fact.id]


@dataclass(frozen=True, slots=True)
class Answers:
    """A list of answers, cut where it would be too long to read, and those that are refused.

    `rest` counts those that are not named; `beyond` says that there may be more which nobody counted.
    """

    shown: tuple[AnswerView, ...]
    more: tuple[tuple[Ref, str], ...] = ()
    refused: tuple[AnswerView, ...] = ()
    rest: int = 0
    beyond: bool = False

    @property
    def count(self) -> str:
        """How many are not refused."""
        known = len(self.shown) + len(self.more) + self.rest
        return f"{known} or more" if self.beyond else str(known or "none")


@dataclass
class Answering:
    """Asks what pages tell, as deep as the book goes."""

    graph: Graph
    views: Views
    depth: Depth
    wanted: Wanted

    def sisters(self, set_key: str, cited: Cited) -> Answers:
        """The same design under other badges."""
        wanted = self.wanted if self.depth.weighed else BEST_ONLY._replace(refused_too=True)
        rows = questions.sisters(self.graph, set_key, wanted).rows
        return self.listed(rows, cited, self.depth.takers, MOST_NAMED)

    def donors(self, set_key: str, position: str, cited: Cited, places: int) -> tuple[Answers, Sequence[Row]]:
        """Who can give what is wanted at one of so many places of a set; also as rows."""
        most = max(1, min(self.depth.donors, MOST_ON_A_PAGE // max(places, 1)))
        if self.depth.weighed:
            rows = questions.donors(self.graph, set_key, [position], self.wanted).rows
            named = MOST_NAMED // max(places, 1)
            return self.listed(rows, cited, most, named, position=position), rows
        found = nearest_donors(self.graph, set_key, position, most)
        return self._nearest(found, cited, most, position=position), found.rows

    def takers(self, part: str, cited: Cited) -> tuple[Answers, Sequence[Row]]:
        """Which sets take a part; also as rows."""
        if self.depth.weighed:
            rows = questions.takers_of_part(self.graph, part, self.wanted).rows
            return self.listed(rows, cited, self.depth.takers, MOST_NAMED, part=part), rows
        found = nearest_takers(self.graph, part, self.depth.takers)
        return self._nearest(found, cited, self.depth.takers, part=part), found.rows

    def sharing(self, set_key: str) -> dict[str, list[tuple[Ref, str]]]:
        """Assembly -> the sets that share it with a set, and how surely; only where answers are weighed."""
        found: dict[str, list[tuple[Ref, str]]] = {}
        if self.depth.weighed:
            for row in questions.shares(self.graph, set_key, self.wanted).rows:
                found.setdefault(row.assembly, []).append((self.views.owner(row.set), self._in_short(row)))
        return found

    def _nearest(self, found: Nearest, cited: Cited, most: int, **known: str) -> Answers:
        return self.listed(found.rows, cited, most, 0, beyond=found.more, **known)

    def listed(
        self,
        rows: Iterable[Row],
        cited: Cited,
        most: int,
        named: int,
        beyond: bool = False,
        **known: str,
    ) -> Answers:
        """Rows as a list that can be read; what the page speaks of (`position`, `part`) is not said again."""
        text = self.graph.data.owner_text
        # By what is shown: the certainty, not the best proof alone.
        ordered = sorted(rows, key=lambda r: (-r.certainty, -r.best, text(r.set), r.position))
        good = [r for r in ordered if r.standing != "refused"]
        refused = [r for r in ordered if r.standing == "refused"]
        return Answers(
            tuple(self._view(r, cited, **known) for r in good[:most]),
            tuple((self.views.owner(r.set), self._in_short(r, **known)) for r in good[most : most + named]),
            tuple(self._view(r, cited, **known) for r in refused[:most]),
            max(0, len(good) - most - named),
            beyond,
        )

    def _view(self, row: Row, cited: Cited, **known: str) -> AnswerView:
        return self.views.answer(row, cited.numbers(row.proof), cited.numbers(row.against), **known)

    def _in_short(self, row: Row, position: str = "", part: str = "") -> str:
        """An answer on one line: what must be known before anything is fitted stands there too."""
        elsewhere = row.position and row.position != position
        where = [f"at {self.graph.data.text('position', row.position)}"] if elsewhere else []
        said = [certainty_text(row), *where, *([row.standing] if row.standing == "disputed" else [])]
        return "; ".join([*said, *remarks(row)])
