"""What a belt does at a place: stretch, tension, slip and speed."""

from __future__ import annotations

from dataclasses import dataclass

from kgraph import questions
from kgraph.belts import drive, runs, shapes, sold, tolerances
from kgraph.belts.recorded import belt_of as belt_of
from kgraph.belts.sold import Sold
from kgraph.fits.graph import Graph
from kgraph.problems import Problem, WrongUse
from kgraph.questions import SAME
from kgraph.questions.belt_finds import ALL_BY_BEST
from kgraph.questions.belt_places import (
    BeltPlace,
    Recorded,
    belt_cautions,
    impossible,
    is_belt,
    less_certain,
    several_belts,
)


@dataclass(frozen=True, slots=True)
class FitAnswer:
    """What a belt does at a place; `recorded` is the belt it was compared with.

    `sold` is what such a belt may vary as it is sold, None where its size is not known.
    """

    place: BeltPlace
    part: str
    fit: drive.Fit
    recorded: Recorded | None
    sold: Sold | None
    reasons: tuple[str, ...]
    assumed: tuple[runs.Assumed, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]


def fit(graph: Graph, part: str, place: BeltPlace, grade: str | None = None) -> FitAnswer:
    """What a belt does at a place, on the run or against the belt recorded there.

    `grade` as for :func:`path`. Raises WrongUse for a part that is no belt and for figures that cannot be.
    """
    data = graph.data
    belt = belt_of(data, part)
    recorded = place.recorded
    if belt is None and not is_belt(data, part):
        says = f"{data.text('part', part)} is not recorded as a belt"
        raise WrongUse(Problem(None, "no-belt", says, "name a part of `kind: belt`"))
    as_sold, assumed, reasons = None, [], []
    if belt is None:
        why = f"section or inside length of {data.text('part', part)} is not recorded"
        done = drive.Fit("not known", (why,), ())
    else:
        done = fit_at(belt, place, recorded)
        as_sold = _as_sold(belt, place, done, grade or tolerances.USUAL)
        assumed, reasons = sold.assumed(as_sold.grade, grade is not None), sold.says(as_sold, done)
    notes = [
        *place.notes,
        *less_certain(place),
        *_said_here(graph, part, place),
        *several_belts(graph, place),
    ]
    return FitAnswer(
        place, part, done, recorded, as_sold, (*done.reasons, *reasons), (*done.assumed, *assumed),
        belt_cautions(data, place, part), tuple(notes),
    )  # fmt: skip


def _as_sold(belt: runs.Belt, place: BeltPlace, done: drive.Fit, grade: str) -> Sold:
    if place.run is None and done.stretch is not None:
        return sold.on_path(belt, done.stretch, grade)
    return sold.sold(belt, grade, place.run)


def fit_at(belt: runs.Belt, place: BeltPlace, recorded: Recorded | None) -> drive.Fit:
    try:
        return drive.fit(belt, place.run, recorded.belt if recorded else None)
    except (shapes.GeometryError, runs.RunError) as error:
        raise impossible(place, error) from None


def _said_here(graph: Graph, part: str, place: BeltPlace) -> list[str]:
    """What the facts say of this belt here, where they speak against it."""
    here = (place.set, place.position)
    rows = questions.takers_of_part(graph, part, ALL_BY_BEST).rows
    found = [r for r in rows if (r.set, r.position) == here and r.no > 0]
    said = ["refused" if r.no >= r.best - SAME else "disputed" for r in found]
    return [f"A recorded trial says that it does not go here ({word})." for word in said]
