"""How long a belt's path is, and which belts and rings lie on it as wanted."""

from __future__ import annotations

from dataclasses import dataclass

from kgraph import belt_sizes, quantities
from kgraph.belts import drive, orings, runs, shapes, sold, tolerances, tone
from kgraph.belts.recorded import belt_of as belt_of
from kgraph.belts.sold import Sold
from kgraph.collection import Collection
from kgraph.fits.graph import Graph
from kgraph.problems import Problem, WrongUse
from kgraph.questions.belt_places import (
    SLACK,
    BeltPlace,
    all_belts,
    belt_cautions,
    impossible,
    less_certain,
    place_text,
)

O_RING_NOTE = (
    "O-rings are seals, not belts: hardness and joint line differ, and their tolerances are their own. "
    f"Sizes: {orings.SOURCE}."
)


@dataclass(frozen=True, slots=True)
class InWindow:
    """A recorded belt that lies on the run with the wanted stretch."""

    part: str
    belt: runs.Belt
    stretch: float


@dataclass(frozen=True, slots=True)
class PathAnswer:
    """The path of a belt of that section on the run, and what would lie on it with the wanted stretch.

    `sold_window_mm` holds the named lengths with which every belt of the class has that stretch;
    `path_error_mm` is what the stated errors of the pulleys make of the path.
    """

    place: BeltPlace
    section: belt_sizes.Section
    path: shapes.Path
    wanted: tuple[float, float]
    wanted_assumed: bool
    window_mm: tuple[float, float]
    belts: tuple[InWindow, ...]
    o_rings: tuple[orings.ORing, ...]
    sold: Sold
    sold_window_mm: tuple[float, float] | None
    path_error_mm: float
    assumed: tuple[runs.Assumed, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]


# Path and fit ---------------------------------------------------------------------------------


def path(
    graph: Graph,
    place: BeltPlace,
    section: belt_sizes.Section | None = None,
    grade: str | None = None,
) -> PathAnswer | None:
    """The path on the run for the given section, else the recorded one; None where no run is recorded.

    `grade` is the class of tolerance to which belts are sold, the usual one if None. Raises WrongUse where
    no section is known, or the run cannot be.
    """
    run = place.run
    if run is None:
        return None
    used, sold_to = section or _recorded_section(graph.data, place), grade or tolerances.USUAL
    try:
        found = runs.belt_path(run, used.thickness_mm)
        ends = runs.window(run, used.thickness_mm)
        sold_ends = sold.window(run, used, sold_to)
        error = runs.path_error_mm(run, used.thickness_mm)
    except (shapes.GeometryError, runs.RunError) as wrong:
        raise impossible(place, wrong) from None
    rings = runs.o_rings(run, used.sizes_mm[0]) if used.form == "round" else []
    middle = runs.Belt(used, sum(ends) / 2)
    notes = [*place.notes, *less_certain(place), *_either_way(found), *([O_RING_NOTE] if rings else [])]
    return PathAnswer(
        place, used, found, run.wanted, run.stretch is None, ends,
        _in_window(graph, run, runs.Belt(used, max(ends[0], 1.0))), tuple(rings),
        sold.sold(middle, sold_to), sold_ends, error, _path_assumed(run, used, sold_to, grade),
        belt_cautions(graph.data, place), tuple(notes),
    )  # fmt: skip


def _recorded_section(data: Collection, place: BeltPlace) -> belt_sizes.Section:
    recorded = place.recorded
    if recorded is None or recorded.belt is None:
        says = f"no belt with its sizes is recorded for {place_text(data, place)}"
        raise WrongUse(Problem(None, "no-section", says, 'give its section, like --section "square 1.2 mm"'))
    return recorded.belt.section


def of_thickness(data: Collection, place: BeltPlace, thickness_mm: float) -> belt_sizes.Section:
    """The recorded section with another thickness; square where none is recorded. Raises WrongUse.

    A flat belt keeps its width, so that a thickness above it is refused.
    """
    recorded = place.recorded
    section = recorded.belt.section if recorded and recorded.belt else None
    if section is None or section.form != "flat":
        return belt_sizes.Section(section.form if section else "square", (thickness_mm,))
    width = section.sizes_mm[0]
    if thickness_mm > width:
        says = f"a flat belt {width:g} mm wide is no more than that thick, not {thickness_mm:g} mm"
        raise WrongUse(Problem(None, "thickness", says, "give the whole section with --section"))
    return belt_sizes.Section("flat", (width, thickness_mm))


def _path_assumed(
    run: runs.BeltRun, used: belt_sizes.Section, sold_to: str, chosen: str | None
) -> tuple[runs.Assumed, ...]:
    found = []
    if run.stretch is None:
        low, high = run.wanted
        found.append(
            runs.Assumed("wanted stretch", f"{low * 100:.3g} % to {high * 100:.3g} %", runs.NO_SOURCE)
        )
    if used.about:
        off = f"± {used.error_mm:.3g} mm"
        found.append(runs.Assumed("section, about", off, quantities.ABOUT_SOURCE))
    return (*found, *runs.about_run(run), *sold.assumed(sold_to, chosen is not None))


def _either_way(found: shapes.Path) -> list[str]:
    if found.either_way_mm is None:
        return []
    return [
        f"The order of the pulleys also allows a path of {found.either_way_mm:.1f} mm; the shorter is taken."
    ]


def _in_window(graph: Graph, run: runs.BeltRun, like: runs.Belt) -> tuple[InWindow, ...]:
    """The recorded belts of a like section that, each with its own thickness, have the wanted stretch."""
    low, high = run.wanted
    found = []
    for part, belt in all_belts(graph).items():
        try:
            fit = drive.fit(belt, run, like)
        except (runs.RunError, shapes.GeometryError):
            continue
        good = fit.stretch is not None and low - SLACK <= fit.stretch <= high + SLACK
        if fit.stretch is not None and good and fit.verdict != "wrong section":
            found.append(InWindow(part, belt, fit.stretch))
    return tuple(sorted(found, key=lambda b: (b.belt.inside_length_mm, b.part)))


# Speed ----------------------------------------------------------------------------------------


def speed(tone_hz: float, heard_hz: float, place: BeltPlace | None = None) -> tone.ToneReading:
    """What a test tone heard at another pitch says, with a place of its belt too. Raises WrongUse."""
    recorded = place.recorded if place else None
    thickness = recorded.belt.section.thickness_mm if recorded and recorded.belt else None
    try:
        return tone.read_tone(tone_hz, heard_hz, place.run if place else None, thickness)
    except runs.RunError as error:
        raise WrongUse(
            Problem(None, "tone", str(error), "look at the tape's label and listen again")
        ) from None
