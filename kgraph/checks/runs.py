"""Checks of belts and their runs: sizes that are wanting, paths that cannot be, belts that do not suit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain

from kgraph import belt_sizes, records, words
from kgraph.belts import recorded, rubber, runs
from kgraph.belts.shapes import GeometryError
from kgraph.checks.ground import Check, CheckGround, at, error, warning
from kgraph.facts import Fact
from kgraph.fits.graph import Place
from kgraph.names import did_you_mean, fold
from kgraph.problems import Problem, shown


def belts_have_their_sizes(ground: CheckGround) -> Iterator[Problem]:
    """A belt without its section or its inside length can be compared with no other."""
    for key in ground.graph.parts_of_kind.get(ground.data.belt_kind(), ()):
        section, length = recorded.sizes_of(ground.data, key)
        missing = [what for what, value in (("section", section), ("inside length", length)) if value is None]
        if missing:
            says = f"belt {shown(ground.data.text('part', key))} has no {' and no '.join(missing)}"
            yield warning(ground.where("part", key), "belt-sizes", says, "measure it and add it")


def lengths_by_another_name_can_be_read(ground: CheckGround) -> Iterator[Problem]:
    """What is written of a belt's length is one, and one length, also where its kind has another name.

    Of entries that call their kind a belt, or name none, reading has told it.
    """
    for key in ground.graph.parts_of_kind.get(ground.data.belt_kind(), ()):
        for entry in ground.data.things["part"].get(key, ()):
            sort = fold(entry.sort) if isinstance(entry, records.Part) else ""
            if sort != words.FITS_LIKE_BELT and ground.data.key("kind", sort) == ground.data.belt_kind():
                yield from _wrong_lengths(entry)


def _wrong_lengths(entry: records.Thing) -> Iterator[Problem]:
    name, read = shown(entry.name.text), belt_sizes.belt_measures(entry.pairs)
    for key, value in entry.pairs:
        if key in belt_sizes.BELT_MEASURES and key not in read:
            says = f"{key} of belt {name} is {shown(value) if isinstance(value, str) else 'no text'}"
            mend = "write it like 262 mm, from 10 to 2000 mm around the inside"
            yield error(entry.where, "wrong-quantity", f"{says}, and no length of a belt", mend)
    for says in belt_sizes.measures_apart({key: length.mm for key, length in read.items()}).values():
        mend = "measure again and keep the one that is right"
        yield warning(entry.where, "lengths-disagree", f"belt {name}: {says}", mend)


def runs_can_be(ground: CheckGround) -> Iterator[Problem]:
    """A belt can go round the pulleys of a run in the order and on the sides that it says."""
    for fact in ground.of_kind("run"):
        run = _run(fact)
        if run is None:
            continue
        try:
            runs.belt_path(run, 0.0)
        except (GeometryError, runs.RunError) as wrong:
            says = (
                f"no belt can run so at {ground.place_text(Place(*fact.claim[:2]))}: {shown(str(wrong), 400)}"
            )
            yield error(fact.where, "impossible-run", says, "measure the pulleys again")


def _run(fact: Fact) -> runs.BeltRun | None:
    return recorded.run_of(fact.record) if isinstance(fact.record, records.Run) else None


def pulls_are_at_a_pulley(ground: CheckGround) -> Iterator[Problem]:
    """The shaft at which a pull is measured is one of the run; a misspelt one is an error.

    One that is like none of the names may be a shaft that the belt does not reach: then the load is not
    compared, and that is a warning.
    """
    for fact in ground.of_kind("run"):
        run = _run(fact)
        if run is None or not run.pull_at or runs.pulled(run) is not None:
            continue
        names = list(dict.fromkeys(p.name for p in run.pulleys))
        says = (
            f"the pull at {ground.place_text(Place(*fact.claim[:2]))} is given at {shown(run.pull_at)}, "
            "which is no pulley of the run"
        )
        near = did_you_mean(run.pull_at, names)
        mend = near or f"the pulleys are {', '.join(shown(n) for n in names)}"
        yield (error if near else warning)(fact.where, "unknown-pulley", says, mend)


def recorded_belts_suit_their_run(ground: CheckGround) -> Iterator[Problem]:
    """A belt recorded at the place of a run, or at a place alike, is stretched there as the run wants."""
    for fact in ground.of_kind("run"):
        run, (owner, position) = _run(fact), fact.claim[:2]
        owners = sorted(ground.alike(owner, position))
        taken = chain.from_iterable(ground.graph.taken_at.get(Place(o, position), ()) for o in owners)
        for part, _, said in taken:
            belt = recorded.belt_of(ground.data, part)
            wrong = _unsuited(run, belt) if run and belt else ""
            if wrong:
                place = ground.place_text(Place(owner, position))
                name = shown(ground.data.text("part", part))
                says = f"belt {name} on the run of {place} ({at(fact.where)}) {wrong}"
                yield warning(
                    said.where, "belt-outside-window", says, "measure the belt and the pulleys again"
                )


def _unsuited(run: runs.BeltRun, belt: runs.Belt) -> str:
    thick = belt.section.thickness_mm
    try:
        path = runs.belt_path(run, 0.0)
    except (GeometryError, runs.RunError):
        return ""  # The run itself cannot be, which `runs_can_be` says.
    try:
        path = runs.belt_path(run, thick)
    except GeometryError:
        return "is too thick to pass between the pulleys"
    stretch = rubber.stretch(path.length_mm, rubber.rest_midline_mm(belt.inside_length_mm, thick))
    low, high = run.wanted
    if low - 1e-9 <= stretch <= high + 1e-9:
        return ""
    whose = "wanted" if run.stretch else "wanted by common practice"
    return f"has a stretch of {100 * stretch:.1f} %, and {100 * low:g} to {100 * high:g} % is {whose}"


CHECKS: Sequence[Check] = (
    belts_have_their_sizes,
    lengths_by_another_name_can_be_read,
    runs_can_be,
    pulls_are_at_a_pulley,
    recorded_belts_suit_their_run,
)
