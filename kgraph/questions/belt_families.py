"""The belts of all sets that share a place: what agrees, and what contradicts what."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from kgraph import quantities
from kgraph.belts import drive, runs, shapes
from kgraph.belts.recorded import belt_of as belt_of
from kgraph.collection import Collection
from kgraph.facts import Fact
from kgraph.fits.graph import Graph, Place
from kgraph.names import listed
from kgraph.questions import DEFAULT, Wanted
from kgraph.questions.belt_places import (
    Articles,
    BeltPlace,
    Recorded,
    belt_cautions,
    left_out_note,
    strength,
)
from kgraph.reason.shortest import LikeWays

MOST_COMPARED = 100
"""So many different belts of a family, the surest, are compared with each other: n belts make n² pairs."""

MOST_NAMED = 8
"""So many belts without sizes are named; the rest are counted."""


@dataclass(frozen=True, slots=True)
class FamilyRow:
    """The belt of one set that shares the place.

    `standing` is stated, inferred or not known; `off_mm` is how much longer (+) or shorter (-) the belt is
    than the nearest length that gives the wanted stretch; `agrees` is None where that cannot be said.
    """

    set: str
    part: str | None
    standing: str
    certainty: float | None
    stretch: float | None
    off_mm: float | None
    agrees: bool | None
    proof: tuple[Fact, ...] = ()


@dataclass(frozen=True, slots=True)
class FamilyAnswer:
    """The rows of a family, and what contradicts what in words."""

    place: BeltPlace
    rows: tuple[FamilyRow, ...]
    says: tuple[str, ...]
    assumed: tuple[runs.Assumed, ...]
    cautions: tuple[str, ...]
    most: int | None = None
    """So many rows were asked for."""


# Family ---------------------------------------------------------------------------------------


def family(graph: Graph, place: BeltPlace, wanted: Wanted = DEFAULT) -> FamilyAnswer:
    """A row for each set that shares the place (more where a set states several belts), marked where they
    contradict each other, and which belt the run supports."""
    drafts, less = _family_drafts(graph, place, wanted)
    surest = sorted((b for _, b in drafts if b is not None), key=lambda b: -b.certainty)
    belts = list(dict.fromkeys(b.part for b in surest))
    used = belts[:MOST_COMPARED]
    stretches, trouble = _stretches(graph.data, place, used)
    articles = Articles(graph)
    pairs = {(a, b): articles.same(a, b) for a in used for b in used if a != b}
    agreed = _agreement(pairs, used, _supported(place, stretches))
    rows = [_family_row(owner, belt, stretches, place, agreed) for owner, belt in drafts]
    rows.sort(key=lambda r: (r.certainty is None, -(r.certainty or 0.0), graph.data.owner_text(r.set)))
    differ = False in pairs.values()
    says = [*place.notes, *trouble, *_contradictions(graph.data, place, used, differ, stretches)]
    says += left_out_note(place.runs_left_out, "run", wanted.at_least)
    if less:
        says.append(
            f"{less} set{' has' if less == 1 else 's have'} a belt that is less certain than "
            f"{wanted.at_least:g} and left out."
        )
    if more := len(belts) - len(used):
        are = "belt, the least certain, was" if more == 1 else "belts, the least certain, were"
        says.append(f"{more} more {are} not compared with these.")
    assumed = _family_assumed(graph.data, place, used)
    return FamilyAnswer(
        place, tuple(rows), tuple(says), assumed, belt_cautions(graph.data, place), wanted.most
    )


def _family_assumed(data: Collection, place: BeltPlace, used: list[str]) -> tuple[runs.Assumed, ...]:
    """The wanted stretch where none is recorded, and every size that is about."""
    run = place.run
    found: list[runs.Assumed] = []
    if run is not None and run.stretch is None:
        low, high = run.wanted
        wanted = f"{low * 100:.3g} % to {high * 100:.3g} %"
        found.append(runs.Assumed("wanted stretch", wanted, runs.NO_SOURCE))
    loose = [p for p in used if (b := belt_of(data, p)) and (b.about or b.section.about)]
    found += [
        runs.Assumed(f"sizes of {data.text('part', p)}", "about", quantities.ABOUT_SOURCE) for p in loose
    ]
    return (*found, *(runs.about_run(run) if run else ()))


def _family_drafts(
    graph: Graph, place: BeltPlace, wanted: Wanted
) -> tuple[list[tuple[str, Recorded | None]], int]:
    """For each set the belts that are stated on it, else the best that follows; and how many sets were left
    with none for want of certainty.

    One search from all places at once for the originals, one for the substitutes where there is no original.
    """
    owners = LikeWays(graph, {place.set: 1.0}, place.position).certainty
    by_role = [_NearestBelts(graph, place.position, owners, original) for original in (True, False)]
    drafts: list[tuple[str, Recorded | None]] = []
    less = 0
    for owner in place.sharing:
        stated = by_role[0].stated(owner)
        found = stated or [b for r in by_role if (b := r.best(owner)) is not None]
        kept = [b for b in found if b.certainty >= wanted.at_least]
        less += bool(found) and not kept
        drafts += [(owner, b) for b in (kept if stated else kept[:1])] or [(owner, None)]
    return drafts, less


class _NearestBelts:
    """The best belt of every set of a family, of those that are original, or of the substitutes."""

    def __init__(self, graph: Graph, position: str, owners: Iterable[str], original: bool) -> None:
        self.graph, self.position = graph, position
        self.at: dict[str, list[tuple[str, str, Fact]]] = {}
        for owner in owners:
            taken = graph.taken_at.get(Place(owner, position), ())
            found = [t for t in taken if (t[1] == "original") == original]
            if found:
                self.at[owner] = sorted(found, key=lambda t: (-t[2].certainty, t[0]))
        starts = {owner: taken[0][2].certainty for owner, taken in self.at.items()}
        self.ways = LikeWays(graph, starts, position)

    def stated(self, owner: str) -> list[Recorded]:
        """The belts that are stated on this very set."""
        strongest: dict[str, tuple[str, str, Fact]] = {}
        for taken in self.at.get(owner, ()):
            strongest.setdefault(taken[0], taken)
        return [self._recorded(t, (), True) for t in strongest.values()]

    def best(self, owner: str) -> Recorded | None:
        """The belt of the best proof for this set."""
        if owner not in self.ways.certainty:
            return None
        start = self.ways.start(owner)
        return self._recorded(self.at[start][0], self.ways.facts(owner)[::-1], start == owner)

    def _recorded(self, taken: tuple[str, str, Fact], way: tuple[Fact, ...], here: bool) -> Recorded:
        part, role, fact = taken
        proof = (*way, fact)
        return Recorded(part, role, belt_of(self.graph.data, part), strength(proof), proof, here)


@dataclass(frozen=True, slots=True)
class _Lies:
    """How a belt lies on the run: its stretch, and how far its length is out of the window, in mm."""

    stretch: float
    off_mm: float


def _stretches(data: Collection, place: BeltPlace, parts: list[str]) -> tuple[dict[str, _Lies], list[str]]:
    """Part -> how it lies on the run, and what stands in the way of saying so."""
    if place.run is None:
        return {}, ["No run is recorded for this place: the stretch is not known."]
    unsized = [data.text("part", p) for p in parts if belt_of(data, p) is None]
    found, trouble = {}, _unsized(unsized)
    for part in parts:
        belt = belt_of(data, part)
        if belt is None:
            continue
        try:
            lies = drive.fit(belt, place.run)
            ends = runs.window(place.run, belt.section.thickness_mm)
        except (shapes.GeometryError, runs.RunError) as error:
            trouble.append(f"{data.text('part', part)}: {error}.")
            continue
        if lies.stretch is not None:
            found[part] = _Lies(lies.stretch, _outside(belt.inside_length_mm, ends))
    return found, trouble


def _unsized(names: list[str]) -> list[str]:
    """The belts of which no size is recorded, the first few by their names."""
    return [f"Section or inside length of {listed(names, MOST_NAMED)} is not recorded."] if names else []


def _outside(length: float, ends: tuple[float, float]) -> float:
    nearest = min(max(length, ends[0]), ends[1])
    return 0.0 if abs(length - nearest) <= 1e-6 else length - nearest


def _supported(place: BeltPlace, lies: dict[str, _Lies]) -> list[str]:
    return [part for part, each in lies.items() if place.run is not None and each.off_mm == 0.0]


def _agreement(
    pairs: dict[tuple[str, str], bool | None], used: list[str], supported: list[str]
) -> dict[str, bool | None]:
    """Part -> whether it agrees with the others: with all, or, where they differ, with what the run supports.

    Where the run does not single out one article, no belt that differs from another agrees.
    """
    if False not in pairs.values():
        return {p: None if any(pairs[p, q] is None for q in used if q != p) else True for p in used}
    one = bool(supported) and all(pairs[a, b] for a in supported for b in supported if a != b)
    if not one:
        return {p: all(pairs[p, q] for q in used if q != p) for p in used}
    return {p: True if p in supported else pairs[p, supported[0]] for p in used}


def _family_row(
    owner: str,
    belt: Recorded | None,
    lies: dict[str, _Lies],
    place: BeltPlace,
    agreed: dict[str, bool | None],
) -> FamilyRow:
    if belt is None:
        return FamilyRow(owner, None, "not known", None, None, None, None)
    each = lies.get(belt.part)
    return FamilyRow(
        owner,
        belt.part,
        "stated" if belt.here else "inferred",
        belt.certainty,
        each.stretch if each else None,
        each.off_mm if each else None,
        agreed.get(belt.part),
        belt.proof,
    )


def _contradictions(
    data: Collection, place: BeltPlace, used: list[str], differ: bool, lies: dict[str, _Lies]
) -> list[str]:
    """Which belts the rows disagree on, which of them the run supports, and how far each is off."""
    says = [_support(data, place, p, lies[p]) for p in used if p in lies and (differ or lies[p].off_mm)]
    if differ:
        says.insert(0, "Different belts are recorded for this place.")
        if not lies:
            says.append("Which one is right is not known: measure the pulleys and add the run.")
    return says


def _support(data: Collection, place: BeltPlace, part: str, lies: _Lies) -> str:
    """One belt against the run, in words."""
    assert place.run is not None
    low, high = place.run.wanted
    name, wanted = data.text("part", part), f"the wanted {low * 100:.3g} % to {high * 100:.3g} %"
    if lies.stretch <= 0:
        how = f"is {-lies.stretch * 100:.1f} % longer than its path and hangs loose"
    else:
        how = f"is stretched by {lies.stretch * 100:.1f} %"
    if lies.off_mm == 0.0:
        return f"The run supports {name}: it {how}, within {wanted}."
    side = "longer than the longest" if lies.off_mm > 0 else "shorter than the shortest"
    return (
        f"The run does not support {name}: it {how}, outside {wanted}; it is "
        f"{abs(lies.off_mm):.1f} mm {side} belt of its thickness that would do."
    )
