"""The plan of what to take from where: which article of the shelf meets which want, and what is left to do.

A plan meets as many wants as can be met, and among those it costs least. The sum
is over the donors opened (`keep`, half of it for one that was robbed before), the lines with work, and
-ln(certainty) of each line. Nothing here knows a file, a terminal or a clock.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from kgraph.fits.graph import Graph
from kgraph.problems import CannotRun, WrongUse
from kgraph.questions import BEST_ONLY, DEFAULT, DRAWN_NOTE, SCALE_NOTE, SIZE_NOTE, Row, Wanted
from kgraph.shelf.ledger import Shelf, shelf_now
from kgraph.shelf.offers import UNFINISHED_NOTE, OfferSource, may_give
from kgraph.shelf.routes import Unmet, route
from kgraph.shelf.solve import best_plans
from kgraph.shelf.taking import ALL, Counting, could_meet, counting_on, open_wants
from kgraph.shelf.task import EQUAL, Article, Offer, Solution, Task, Want, clash, used_up

STRIPPED = 0.5
"""A donor that was robbed before costs so much of its `keep`."""
SECONDS = 60.0
SOUND_NOTE = (
    "How surely what nobody looked at is sound is a scale of our own: `sound:` of a kind overrides it, and"
    " `kgraph inspect` settles it."
)


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the asker wants: units left alone, other `keep` values, weights, time, how many more plans.

    `rob`: units that may go without what they count on.
    """

    without: frozenset[str] = frozenset()
    rob: frozenset[str] = frozenset()
    keep: Mapping[str, float] = field(default_factory=dict)
    work: float = 1.0
    doubt: float = 1.0
    seconds: float = SECONDS
    instead: int = 0
    wanted: Wanted = DEFAULT


DEFAULT_WISHES = Wishes()


@dataclass(frozen=True, slots=True)
class Line:
    """One want met: `unit` is the donor and `set` its set, or both are "" for a loose part, whose key
    `position` then is.

    `row` is the answer that says why it goes there; `brings` are the positions that come off the donor
    with a whole assembly; `along` is true where another line of the plan brings this article; `condition`
    is what the unit's `state` says of it; `counting` are wants of other units that nothing left on the shelf
    could meet as surely.
    """

    want: Want
    unit: str
    set: str
    position: str
    row: Row
    brings: tuple[str, ...] = ()
    along: bool = False
    condition: str = ""
    counting: tuple[Counting, ...] = ()


@dataclass(frozen=True, slots=True)
class Cost:
    """The three parts of a plan's cost, weighted."""

    opened: float = 0.0
    work: float = 0.0
    doubt: float = 0.0

    @property
    def total(self) -> float:
        """The cost of the plan."""
        return math.fsum((self.opened, self.work, self.doubt))


@dataclass(frozen=True, slots=True)
class Course:
    """One way to meet wants: its lines by want, its cost, the donors that it opens with what each costs."""

    lines: tuple[Line, ...] = ()
    cost: Cost = Cost()
    opened: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Possible:
    """A line that is not planned: beside the plan it would leave nothing for these wants of other units."""

    line: Line
    without: tuple[Want, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """The best course and how far it is proven; `gap` is what its cost may be too high by, at most.

    `met_at_most` is a number of wants that no plan can pass. `instead` are the next best, each with other
    articles than all before it. `unlooked` is true where the time was up before all that other units count
    on was looked at, so that a line may take it without a word.
    """

    patients: tuple[str, ...]
    wants: tuple[Want, ...]
    best: Course
    optimal: bool
    gap: float
    met_at_most: int
    unmet: tuple[Unmet, ...] = ()
    possible: tuple[Possible, ...] = ()
    instead: tuple[Course, ...] = ()
    notes: tuple[str, ...] = ()
    unlooked: bool = False


def plan(
    graph: Graph,
    patients: Sequence[str],
    wishes: Wishes = DEFAULT_WISHES,
    shelf: Shelf | None = None,
    source: OfferSource | None = None,
) -> Plan:
    """The plan for the open wants of these units (keys). Raises WrongUse for a unit that is not declared."""
    source = source or OfferSource(graph, shelf or shelf_now(graph), wishes.wanted)
    now = source.shelf
    _refuse_unknown(graph, now, [*patients, *sorted(wishes.without), *sorted(wishes.keep)])
    patients = tuple(dict.fromkeys(patients))
    wants = tuple(sorted({Want(p, w) for p in patients for w in now.units[p].wants}))
    rows = _rows(source, wants, patients, wishes)
    quick = OfferSource(source.graph, source.shelf, BEST_ONLY, source.budget)
    counted = _counted_on(quick, patients) if rows else {}
    task = _task(source, rows, wishes, counted)
    found = best_plans(task, wishes.seconds, wishes.instead)
    courses = [_course(source.shelf, task, rows, wishes, f) for f in found]
    best = found[0]
    courses[0] = _with_counting(source, task, best, courses[0], counted)
    return Plan(
        patients=patients,
        wants=wants,
        best=courses[0],
        optimal=best.proven,
        gap=max(0.0, best.cost - best.cost_at_least) if not best.proven else 0.0,
        met_at_most=best.met_at_most,
        unmet=_unmet(source, wants, courses[0], wishes),
        possible=tuple(_possible(now, task, rows, best, counted, wishes)),
        instead=tuple(courses[1:]),
        notes=(
            *([UNFINISHED_NOTE] if source.unfinished or quick.unfinished else []),
            *_notes(courses, found, wishes),
        ),
        unlooked=quick.unfinished,
    )


def _refuse_unknown(graph: Graph, shelf: Shelf, units: Iterable[str]) -> None:
    for unit in units:
        if unit not in shelf.units:
            raise WrongUse(f"{graph.data.text('unit', unit)!r} is no unit of this folder; add - unit: to it")


# Offers ---------------------------------------------------------------------------------------

_Rows = dict[tuple[Want, Article], Row]


def _rows(source: OfferSource, wants: Sequence[Want], patients: Sequence[str], wishes: Wishes) -> _Rows:
    """The answer behind every offer that may be taken up."""
    found: _Rows = {}
    for want in wants:
        for article, row in source.loose(want).items():
            found[want, article] = row
        for article, row in source.in_units(want).items():
            if may_give(source.shelf, article.unit, patients) and article.unit not in wishes.without:
                found[want, article] = row
    return found


_Counted = Mapping[Want, frozenset[Article]]


def _counted_on(quick: OfferSource, patients: Sequence[str]) -> _Counted:
    """For each want of another unit all that could meet it; what the patients have is theirs."""
    wants = open_wants(quick.shelf, patients)
    return {want: found for want in wants if (found := frozenset(could_meet(quick, want, patients)))}


def _task(source: OfferSource, rows: _Rows, wishes: Wishes, counted: _Counted) -> Task:
    brought = {a: source.brought(a) if a.unit else frozenset() for _, a in rows}
    offers = tuple(Offer(w, a, sum(_line_cost(r, wishes)), brought[a]) for (w, a), r in rows.items())
    donors = {a.unit for _, a in rows} - {""}
    opening = {u: _opening(source.shelf, u, wishes) for u in donors}
    counts = {a: source.shelf.stock[a.place] for _, a in rows if not a.unit}
    within = {a for o in offers for a in (o.article, *o.brings)}
    kept = {those for w, those in counted.items() if w.unit not in wishes.rob and those <= within}
    return Task(offers, opening, counts, tuple(sorted(kept, key=sorted)))


def _line_cost(row: Row, wishes: Wishes) -> tuple[float, float]:
    """Work and doubt of a line, weighted."""
    return wishes.work * bool(row.work), wishes.doubt * max(0.0, -math.log(row.certainty))


def _opening(shelf: Shelf, unit: str, wishes: Wishes) -> float:
    now = shelf.units[unit]
    keep = wishes.keep.get(unit, now.keep)
    return keep * STRIPPED if now.opened else keep


# From the solver's plan to lines --------------------------------------------------------------


def _course(shelf: Shelf, task: Task, rows: _Rows, wishes: Wishes, found: Solution) -> Course:
    brought: dict[Article, str] = {a: o.want.unit for o in found.chosen for a in o.brings}
    lines = tuple(_line(shelf, rows, o, along=brought.get(o.article) == o.want.unit) for o in found.chosen)
    opened = {u: task.opening[u] for u in sorted({line.unit for line in lines} - {""})}
    costs = [_line_cost(line.row, wishes) for line in lines]
    cost = Cost(math.fsum(opened.values()), math.fsum(w for w, _ in costs), math.fsum(d for _, d in costs))
    if abs(cost.total - found.cost) > EQUAL:
        raise CannotRun("the cost of the lines is not that of the plan: a fault of this program")
    return Course(lines, cost, opened)


def _line(shelf: Shelf, rows: _Rows, offer: Offer, along: bool = False) -> Line:
    article = offer.article
    return Line(
        offer.want,
        article.unit,
        shelf.units[article.unit].set if article.unit else "",
        article.place,
        rows[offer.want, article],
        tuple(sorted(a.place for a in offer.brings)),
        along,
        _condition(shelf, article),
    )


def _with_counting(
    source: OfferSource, task: Task, found: Solution, course: Course, counted: _Counted
) -> Course:
    """The course, each line with the wants of other units that count on what it takes."""
    gone = used_up(task, found.chosen)
    touched = [want for want, those in counted.items() if not those.isdisjoint(gone)]
    if not touched:
        return course
    refused_too = OfferSource(source.graph, source.shelf, ALL, source.budget)
    counting = list(counting_on(refused_too, gone, touched, likely=True))
    lines = tuple(
        replace(
            line,
            counting=tuple(
                c for c in counting if not counted[c.want].isdisjoint({o.article, *o.brings} & gone)
            ),
        )
        for line, o in zip(course.lines, found.chosen, strict=True)
    )
    return replace(course, lines=lines)


def _possible(
    shelf: Shelf, task: Task, rows: _Rows, found: Solution, counted: _Counted, wishes: Wishes
) -> Iterable[Possible]:
    """The lines that would meet more wants, were it not for what others count on."""
    met = {o.want for o in found.chosen}
    for offer in sorted(task.offers, key=lambda o: o.order):
        if offer.want in met or any(clash(task, offer, o) for o in found.chosen):
            continue
        gone = used_up(task, [*found.chosen, offer])
        robbed = tuple(w for w, those in counted.items() if those <= gone and w.unit not in wishes.rob)
        if robbed:
            yield Possible(_line(shelf, rows, offer), robbed)


def _condition(shelf: Shelf, article: Article) -> str:
    held = shelf.units[article.unit].places.get(article.place) if article.unit else None
    return held.condition if held else ""


def _unmet(source: OfferSource, wants: Sequence[Want], course: Course, wishes: Wishes) -> tuple[Unmet, ...]:
    met = {line.want for line in course.lines}
    spent: dict[Article, Want] = {Article(line.unit, line.position): line.want for line in course.lines}
    for line in course.lines:
        spent.update({Article(line.unit, p): line.want for p in line.brings})
    return tuple(route(source, w, spent, wishes.without) for w in wants if w not in met)


def left_out_note(wishes: Wishes) -> list[str]:
    """What was asked to be left out, as a remark."""
    least = wishes.wanted.at_least
    return [f"What is less certain than {least} is left out."] if least else []


def _notes(courses: Sequence[Course], found: Sequence[Solution], wishes: Wishes) -> Iterable[str]:
    yield from left_out_note(wishes)
    rows = [line.row for course in courses for line in course.lines]
    if any(not f.proven for f in found):
        yield "The time ran out before the plan was proven the best; --seconds gives it more."
    elif any(not f.settled for f in found):
        yield "The time ran out before it was settled which of several equally good plans is shown."
    if any(r.weighed == "drawn" for r in rows):
        yield DRAWN_NOTE
    if any("size" in r.basis for r in rows):
        yield SIZE_NOTE
    if any(r.sound < 1 for r in rows):
        yield SOUND_NOTE
    if rows:
        yield SCALE_NOTE
