"""Checks of belts and their runs: sizes that are wanting, paths that cannot be, belts that do not suit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain

from kgraph import records, words
from kgraph.belts import drive, rubber
from kgraph.belts.geometry import GeometryError, Side
from kgraph.checks.ground import Check, Ground, at, error, warning
from kgraph.collection import Fact
from kgraph.fits.graph import Place
from kgraph.folder.reading import shown
from kgraph.problems import Problem
from kgraph.quantities import Section


def belts_have_their_sizes(ground: Ground) -> Iterator[Problem]:
    """A belt without its section or its inside length can be compared with no other."""
    for key in ground.graph.parts_of_kind.get(words.FITS_LIKE_BELT, ()):
        section, length = _measured(ground, key)
        missing = [what for what, value in (("section", section), ("inside length", length)) if value is None]
        if missing:
            says = f"belt {shown(ground.data.text('part', key))} has no {' and no '.join(missing)}"
            yield warning(ground.where("part", key), "belt-sizes", says, "measure it and add it")


def _measured(ground: Ground, part: str) -> tuple[Section | None, float | None]:
    entries = [t for t in ground.data.things["part"].get(part, ()) if isinstance(t, records.Part)]
    section = next((t.section for t in entries if t.section is not None), None)
    return section, next((t.inside_length_mm for t in entries if t.inside_length_mm is not None), None)


def runs_can_be(ground: Ground) -> Iterator[Problem]:
    """A belt can go round the pulleys of a run in the order and on the sides that it says."""
    for fact in ground.of_kind("run"):
        run = _run(fact)
        if run is None:
            continue
        try:
            drive.belt_path(run, 0.0)
        except (GeometryError, drive.RunError) as wrong:
            says = (
                f"no belt can run so at {ground.place_text(Place(*fact.args[:2]))}: {shown(str(wrong), 400)}"
            )
            yield error(fact.where, "impossible-run", says, "measure the pulleys again")


def _run(fact: Fact) -> drive.Run | None:
    record = fact.record
    if not isinstance(record, records.Run):
        return None
    pulleys = tuple(
        drive.Pulley(p.name, p.x_mm, p.y_mm, p.diameter_mm, _side(p), p.drives, p.rpm, p.capstan_mm)
        for p in record.pulleys
    )
    return drive.Run(pulleys, record.stretch, record.pull_N_m)


def _side(pulley: records.Pulley) -> Side:
    return "outside" if pulley.outside else "inside"


def recorded_belts_suit_their_run(ground: Ground) -> Iterator[Problem]:
    """A belt recorded at the place of a run, or at a place alike, is stretched there as the run wants."""
    for fact in ground.of_kind("run"):
        run, (owner, position) = _run(fact), fact.args[:2]
        owners = sorted(ground.alike(owner, position))
        taken = chain.from_iterable(ground.graph.taken_at.get(Place(o, position), ()) for o in owners)
        for part, _, said in taken:
            section, length = _measured(ground, part)
            wrong = _unsuited(run, section, length) if run and section and length else ""
            if wrong:
                place = ground.place_text(Place(owner, position))
                belt = shown(ground.data.text("part", part))
                says = f"belt {belt} on the run of {place} ({at(fact.where)}) {wrong}"
                yield warning(
                    said.where, "belt-outside-window", says, "measure the belt and the pulleys again"
                )


def _unsuited(run: drive.Run, section: Section, length_mm: float) -> str:
    thick = section.thickness_mm
    try:
        path = drive.belt_path(run, 0.0)
    except (GeometryError, drive.RunError):
        return ""  # The run itself cannot be, which `runs_can_be` says.
    try:
        path = drive.belt_path(run, thick)
    except GeometryError:
        return "is too thick to pass between the pulleys"
    stretch = rubber.stretch(path.length_mm, rubber.rest_midline_mm(length_mm, thick))
    low, high = run.wanted
    if low - 1e-9 <= stretch <= high + 1e-9:
        return ""
    whose = "wanted" if run.stretch else "wanted by common practice"
    return f"has a stretch of {100 * stretch:.1f} %, and {100 * low:g} to {100 * high:g} % is {whose}"


CHECKS: Sequence[Check] = (belts_have_their_sizes, runs_can_be, recorded_belts_suit_their_run)
