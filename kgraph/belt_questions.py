"""Belts across the family: which run and which belts are known for a place, and what follows from them.

A run or belt recorded on a mechanism answers for every set that is like it at that position, so each
question first walks the like places, the best proof first. Lengths are in mm, stretch a fraction of one;
nothing here is rounded and nothing is printed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from kgraph import quantities, questions, records
from kgraph.belts import drive, geometry, identify, orings, sold, tolerances, tone
from kgraph.belts.recorded import belt_of as belt_of
from kgraph.belts.recorded import run_of
from kgraph.belts.sold import Sold
from kgraph.claims import RunClaim
from kgraph.collection import Collection
from kgraph.facts import Fact
from kgraph.fits.graph import Graph, Place, sort_of
from kgraph.names import fold
from kgraph.problems import Problem, WrongUse
from kgraph.questions import BEST_ONLY, DEFAULT, SAME, Wanted
from kgraph.reason.shortest import LikeWays

MAIN_BELT = "main belt"
ARTICLE_NOTE = "Belts of exactly equal section and length, or said to be the same, count as one article."
O_RING_NOTE = (
    "O-rings are seals, not belts: hardness and joint line differ, and their tolerances are their own. "
    f"Sizes: {orings.SOURCE}."
)
_SLACK = 1e-9
_CAUTIONS_OPEN = ("moving mechanism", "mains", "solvents")


@dataclass(frozen=True, slots=True)
class Recorded:
    """A belt recorded at a place or one like it; `belt` is None where its sizes are not recorded."""

    part: str
    role: str
    belt: drive.Belt | None
    certainty: float
    proof: tuple[Fact, ...]
    here: bool


@dataclass(frozen=True, slots=True)
class BeltPlace:
    """What is known of the belt of a set at a position: the run, the belts best first, who shares it.

    What was left out is less certain than `at_least`, which was asked for.
    """

    set: str
    position: str
    run: drive.Run | None
    run_proof: tuple[Fact, ...]
    belts: tuple[Recorded, ...]
    sharing: tuple[str, ...]
    notes: tuple[str, ...]
    at_least: float = 0.0
    runs_left_out: int = 0
    belts_left_out: int = 0

    @property
    def recorded(self) -> Recorded | None:
        """The belt of the best proof whose sizes are known, an original before a substitute."""
        sized = [b for b in self.belts if b.belt is not None]
        return next((b for b in sized if b.role == "original"), sized[0] if sized else None)


@dataclass(frozen=True, slots=True)
class InWindow:
    """A recorded belt that lies on the run with the wanted stretch."""

    part: str
    belt: drive.Belt
    stretch: float


@dataclass(frozen=True, slots=True)
class PathAnswer:
    """The path of a belt of that section on the run, and what would lie on it with the wanted stretch.

    `sold_window_mm` holds the named lengths with which every belt of the class has that stretch;
    `path_error_mm` is what the stated errors of the pulleys make of the path.
    """

    place: BeltPlace
    section: quantities.Section
    path: geometry.Path
    wanted: tuple[float, float]
    wanted_assumed: bool
    window_mm: tuple[float, float]
    belts: tuple[InWindow, ...]
    o_rings: tuple[orings.ORing, ...]
    sold: Sold
    sold_window_mm: tuple[float, float] | None
    path_error_mm: float
    assumed: tuple[drive.Assumed, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]


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
    assumed: tuple[drive.Assumed, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FoundBelt:
    """An article that a measured belt can be (no parts: none of these), and the places that take it."""

    parts: tuple[str, ...]
    probability: float
    takers: tuple[FoundAt, ...] = ()


_ALL_BY_BEST = BEST_ONLY._replace(refused_too=True)


@dataclass(frozen=True, slots=True)
class FoundAt:
    """A place that takes an article; `best` is the certainty of its best proof."""

    set: str
    position: str
    part: str
    standing: str
    best: float
    by_size: bool
    proof: tuple[Fact, ...]

    @property
    def certainty(self) -> float:
        """The certainty of the best proof: no more is worked out of so many places."""
        return self.best


@dataclass(frozen=True, slots=True)
class FindAnswer:
    """All that a measured belt can be, the likeliest first; the probabilities sum to 1."""

    seen: identify.Measured
    found: tuple[FoundBelt, ...]
    assumed: tuple[drive.Assumed, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]


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
    assumed: tuple[drive.Assumed, ...]
    cautions: tuple[str, ...]


# What is recorded -----------------------------------------------------------------------------


def is_belt(data: Collection, part: str) -> bool:
    """Whether a part is of the kind belt."""
    return sort_of(data, part) == data.belt_kind()


def belt_place(graph: Graph, words_given: Sequence[str], wanted: Wanted = DEFAULT) -> BeltPlace:
    """The place that `SET [POSITION]` means, with its run and belts. Raises WrongUse with a mend."""
    return place_at(graph, *_named(graph, tuple(words_given)), wanted)


def with_belt_in(graph: Graph, place: BeltPlace, part: str | None) -> BeltPlace:
    """The place with the belt that is in there now, where its sizes are known, before the recorded ones."""
    belt = all_belts(graph).get(part) if part else None
    if part is None or belt is None:
        return place
    there = Recorded(part, "original", belt, 1.0, (), True)
    return replace(place, belts=(there, *place.belts))


def _named(graph: Graph, given: tuple[str, ...]) -> tuple[str, str]:
    data = graph.data
    whole = data.key("set", fold(" ".join(given)))
    if len(given) > 1 and whole not in data.known("set"):
        return questions.place_named(data, given)
    set_key = questions.name_of(data, "set", " ".join(given))
    return set_key, _usual_position(graph, set_key)


def _usual_position(graph: Graph, set_key: str) -> str:
    """The main belt where one is known of the set, else its only belt."""
    data = graph.data
    known = belt_positions(graph, set_key)
    main = data.key("position", fold(MAIN_BELT))
    if main in known:
        return main
    if len(known) == 1:
        return known[0]
    name = data.text("set", set_key)
    if not known:
        says, mend = f"no belt is recorded on {name}", "name the position, or add a run or a belt first"
    else:
        says = f"{name} has several belts"
        mend = f"name one of {', '.join(data.text('position', p) for p in known)}"
    raise WrongUse(Problem(None, "no-position", says, mend))


def belt_positions(graph: Graph, set_key: str) -> list[str]:
    """The positions at which a run or a belt is known of a set."""
    data = graph.data
    named = {f.claim.position for f in data.facts.values() if isinstance(f.claim, RunClaim)}
    named |= {p.position for part, rows in graph.takes_of.items() if is_belt(data, part) for p, _, _ in rows}
    found = (place_at(graph, set_key, position) for position in sorted(named))
    return [p.position for p in found if p.run is not None or p.belts]


def place_at(graph: Graph, set_key: str, position: str, wanted: Wanted = DEFAULT) -> BeltPlace:
    """The run and the belts recorded at a place or any place like it, by the best proof each."""
    owner = f"s:{set_key}"
    found = LikeWays(graph, {owner: 1.0}, position)
    proof = {o: found.facts(o) for o in found.certainty}
    all_runs, all_belts = _runs_on(graph.data, proof, position), _belts_on(graph, proof, owner, position)
    runs = [p for p in all_runs if strength(p) >= wanted.at_least]
    belts = [b for b in all_belts if b.certainty >= wanted.at_least]
    chosen = runs[0] if runs else ()
    record = chosen[-1].record if chosen else None
    notes = []
    # Two sets of one design may each have the same run measured: that is one run, recorded twice.
    different = len({proof[-1].claim[2:] for proof in runs})
    if different > 1:
        notes.append(f"{different} different runs are recorded here; the best supported one is used.")
    sharing = sorted((o for o in proof if o[0] == "s"), key=lambda o: (o != owner, graph.data.owner_text(o)))
    run = run_of(record) if isinstance(record, records.Run) else None
    less = len(all_runs) - len(runs), len(all_belts) - len(belts)
    return BeltPlace(
        owner, position, run, chosen, tuple(belts), tuple(sharing), tuple(notes), wanted.at_least, *less
    )


def _runs_on(data: Collection, proof: dict[str, tuple[Fact, ...]], position: str) -> list[tuple[Fact, ...]]:
    """The proofs of all runs of the like places, the best first; the run stands last in each."""
    found = [
        (*proof[f.claim.owner], f)
        for f in data.facts.values()
        if isinstance(f.claim, RunClaim) and f.claim.position == position and f.claim.owner in proof
    ]
    return sorted(found, key=lambda p: (-strength(p), p[-1].id))


def _belts_on(graph: Graph, proof: dict[str, tuple[Fact, ...]], owner: str, position: str) -> list[Recorded]:
    found: dict[tuple[str, bool], Recorded] = {}
    for at, way in proof.items():
        for part, role, fact in graph.taken_at.get(Place(at, position), ()):
            facts = (*way, fact)
            each = Recorded(part, role, belt_of(graph.data, part), strength(facts), facts, at == owner)
            known = found.get((part, each.here))
            if known is None or known.certainty < each.certainty:
                found[part, each.here] = each
    return sorted(found.values(), key=lambda b: (-b.certainty, b.role != "original", b.part))


def less_certain(place: BeltPlace) -> list[str]:
    """How many runs and belts of a place were left out for being less certain than was asked for."""
    return [
        *_left_out(place.runs_left_out, "run", place.at_least),
        *_left_out(place.belts_left_out, "belt", place.at_least),
    ]


def _left_out(count: int, what: str, at_least: float) -> list[str]:
    if not count:
        return []
    are = f"{what} is" if count == 1 else f"{what}s are"
    return [f"{count} {are} less certain than {at_least:g} and left out."]


def strength(proof: Iterable[Fact]) -> float:
    """The product of the certainties of the distinct facts of a proof."""
    product = 1.0
    for fact in {f.id: f for f in proof}.values():
        product *= fact.certainty
    return product


def same_article(graph: Graph, one: str, other: str) -> bool | None:
    """Whether two belts are one article: alike, or of equal size. None where a size is not recorded."""
    if other in questions.alike(graph, one):
        return True
    if any(p == other for p, _ in (*graph.equal_size(one), *graph.equal_size(other))):
        return True
    return None if belt_of(graph.data, one) is None or belt_of(graph.data, other) is None else False


def all_belts(graph: Graph) -> dict[str, drive.Belt]:
    """Part -> sizes of every recorded belt whose sizes are known, in the order of their keys."""
    found = {p: belt_of(graph.data, p) for p in graph.parts_of_kind.get(graph.data.belt_kind(), ())}
    return {p: b for p, b in found.items() if b is not None}


# Path and fit ---------------------------------------------------------------------------------


def path(
    graph: Graph,
    place: BeltPlace,
    section: quantities.Section | None = None,
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
        found = drive.belt_path(run, used.thickness_mm)
        ends = drive.window(run, used.thickness_mm)
        sold_ends = sold.window(run, used, sold_to)
        error = drive.path_error_mm(run, used.thickness_mm)
    except (geometry.GeometryError, drive.RunError) as wrong:
        raise _impossible(place, wrong) from None
    rings = drive.o_rings(run, used.sizes_mm[0]) if used.form == "round" else []
    middle = drive.Belt(used, sum(ends) / 2)
    notes = [*place.notes, *less_certain(place), *_either_way(found), *([O_RING_NOTE] if rings else [])]
    return PathAnswer(
        place, used, found, run.wanted, run.stretch is None, ends,
        _in_window(graph, run, drive.Belt(used, max(ends[0], 1.0))), tuple(rings),
        sold.sold(middle, sold_to), sold_ends, error, _path_assumed(run, used, sold_to, grade),
        _cautions(graph.data, place), tuple(notes),
    )  # fmt: skip


def _recorded_section(data: Collection, place: BeltPlace) -> quantities.Section:
    recorded = place.recorded
    if recorded is None or recorded.belt is None:
        says = f"no belt with its sizes is recorded for {_place_text(data, place)}"
        raise WrongUse(Problem(None, "no-section", says, 'give its section, like --section "square 1.2 mm"'))
    return recorded.belt.section


def of_thickness(data: Collection, place: BeltPlace, thickness_mm: float) -> quantities.Section:
    """The recorded section with another thickness; square where none is recorded. Raises WrongUse.

    A flat belt keeps its width, so that a thickness above it is refused.
    """
    recorded = place.recorded
    section = recorded.belt.section if recorded and recorded.belt else None
    if section is None or section.form != "flat":
        return quantities.Section(section.form if section else "square", (thickness_mm,))
    width = section.sizes_mm[0]
    if thickness_mm > width:
        says = f"a flat belt {width:g} mm wide is no more than that thick, not {thickness_mm:g} mm"
        raise WrongUse(Problem(None, "thickness", says, "give the whole section with --section"))
    return quantities.Section("flat", (width, thickness_mm))


def _path_assumed(
    run: drive.Run, used: quantities.Section, sold_to: str, chosen: str | None
) -> tuple[drive.Assumed, ...]:
    found = []
    if run.stretch is None:
        low, high = run.wanted
        found.append(
            drive.Assumed("wanted stretch", f"{low * 100:.3g} % to {high * 100:.3g} %", drive.NO_SOURCE)
        )
    if used.about:
        off = f"± {used.error_mm:.3g} mm"
        found.append(drive.Assumed("section, about", off, quantities.ABOUT_SOURCE))
    return (*found, *drive.about_run(run), *sold.assumed(sold_to, chosen is not None))


def _either_way(found: geometry.Path) -> list[str]:
    if found.either_way_mm is None:
        return []
    return [
        f"The order of the pulleys also allows a path of {found.either_way_mm:.1f} mm; the shorter is taken."
    ]


def _in_window(graph: Graph, run: drive.Run, like: drive.Belt) -> tuple[InWindow, ...]:
    """The recorded belts of a like section that, each with its own thickness, have the wanted stretch."""
    low, high = run.wanted
    found = []
    for part, belt in all_belts(graph).items():
        try:
            fit = drive.fit(belt, run, like)
        except (drive.RunError, geometry.GeometryError):
            continue
        good = fit.stretch is not None and low - _SLACK <= fit.stretch <= high + _SLACK
        if fit.stretch is not None and good and fit.verdict != "wrong section":
            found.append(InWindow(part, belt, fit.stretch))
    return tuple(sorted(found, key=lambda b: (b.belt.inside_length_mm, b.part)))


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
        done = _fit(belt, place, recorded)
        as_sold = _as_sold(belt, place, done, grade or tolerances.USUAL)
        assumed, reasons = sold.assumed(as_sold.grade, grade is not None), sold.says(as_sold, done)
    notes = [*place.notes, *less_certain(place), *_said_here(graph, part, place), *_several(graph, place)]
    return FitAnswer(
        place, part, done, recorded, as_sold, (*done.reasons, *reasons), (*done.assumed, *assumed),
        _cautions(data, place, part), tuple(notes),
    )  # fmt: skip


def _as_sold(belt: drive.Belt, place: BeltPlace, done: drive.Fit, grade: str) -> Sold:
    if place.run is None and done.stretch is not None:
        return sold.on_path(belt, done.stretch, grade)
    return sold.sold(belt, grade, place.run)


def _fit(belt: drive.Belt, place: BeltPlace, recorded: Recorded | None) -> drive.Fit:
    try:
        return drive.fit(belt, place.run, recorded.belt if recorded else None)
    except (geometry.GeometryError, drive.RunError) as error:
        raise _impossible(place, error) from None


def _said_here(graph: Graph, part: str, place: BeltPlace) -> list[str]:
    """What the facts say of this belt here, where they speak against it."""
    here = (place.set, place.position)
    rows = questions.takers_of_part(graph, part, _ALL_BY_BEST).rows
    found = [r for r in rows if (r.set, r.position) == here and r.no > 0]
    said = ["refused" if r.no >= r.best - SAME else "disputed" for r in found]
    return [f"A recorded trial says that it does not go here ({word})." for word in said]


def _several(graph: Graph, place: BeltPlace) -> list[str]:
    parts = list(dict.fromkeys(b.part for b in place.belts if b.role == "original"))
    if all(same_article(graph, parts[0], p) is not False for p in parts[1:]):
        return []
    names = ", ".join(graph.data.text("part", p) for p in parts)
    return [f"Different belts are recorded for this place: {names}; see `kgraph belt family`."]


def _impossible(place: BeltPlace, error: Exception) -> WrongUse:
    where = place.run_proof[-1].where if place.run_proof else None
    mend = "measure it again and correct the entry"
    return WrongUse(Problem(where, "impossible-run", str(error), mend))


def _place_text(data: Collection, place: BeltPlace) -> str:
    return f"{data.owner_text(place.set)}, {data.text('position', place.position)}"


def _cautions(data: Collection, place: BeltPlace | None, part: str = "") -> tuple[str, ...]:
    """The cautions of work on a belt, then those recorded for the position and the part's kind."""
    found = {fold(c): c for c in _CAUTIONS_OPEN}
    for caution in data.position_rules(place.position).cautions if place else ():
        found.setdefault(caution.key, caution.text)
    found |= {k: t for k, t in questions.part_cautions(data, part).items() if k not in found}
    return tuple(found.values())


# Find -----------------------------------------------------------------------------------------


def find(graph: Graph, seen: identify.Measured, wanted: Wanted = DEFAULT) -> FindAnswer:
    """Which recorded articles a measured belt can be, with the sets that take each. Raises MeasureError."""
    belts = all_belts(graph)
    articles = articles_of(graph, belts)
    named = {parts[0]: belts[parts[0]] for parts in articles.values()}
    hypotheses = [
        identify.Hypothesis(key, belt.section, belt.inside_length_mm, belt.length_error_mm)
        for key, belt in named.items()
    ]
    candidates = identify.candidates(seen, hypotheses)
    takers = {c.key: _takers(graph, articles[c.key]) for c in candidates if c.key is not None}
    found = [
        FoundBelt(articles[c.key], c.probability, _shown(graph, takers[c.key], wanted))
        if c.key is not None
        else FoundBelt((), c.probability)
        for c in candidates
    ]
    shown = [t for f in found for t in f.takers]
    notes = [ARTICLE_NOTE, *_find_left_out(takers, [c.parts for c in found], wanted)]
    if any(t.by_size for t in shown):
        notes.append(questions.SIZE_NOTE)
    return FindAnswer(
        seen, tuple(found), _find_assumed(seen, belts), _find_cautions(graph.data, shown), tuple(notes)
    )


def _find_left_out(
    takers: dict[str, list[FoundAt]], articles: list[tuple[str, ...]], wanted: Wanted
) -> list[str]:
    """How many places were left out of the articles that are listed, and why."""
    rows = [t for parts in articles if parts for t in takers[parts[0]]]
    less = sum(t.best < wanted.at_least for t in rows)
    refused = sum(t.standing == "refused" and t.best >= wanted.at_least for t in rows)
    says = []
    if less:
        be = "place is" if less == 1 else "places are"
        says.append(f"{less} {be} less certain than {wanted.at_least:g} by the best proof and left out.")
    if refused and not wanted.refused_too:
        be = "place is" if refused == 1 else "places are"
        says.append(f"{refused} {be} refused and left out; --all shows them.")
    return says


def _find_assumed(seen: identify.Measured, belts: dict[str, drive.Belt]) -> tuple[drive.Assumed, ...]:
    """What was taken without being measured: the priors, and what `about` stands for."""
    equal = "the same weight for each recorded belt and for none of these"
    found = [drive.Assumed("before measuring", equal, drive.NO_SOURCE)]
    if seen.worn:
        found.append(
            drive.Assumed("growth of a worn belt", f"0 to {identify.GROWTH * 100:.0f} %", drive.NO_SOURCE)
        )
    found += [
        drive.Assumed(f"{what}, about", f"± {error:.3g} mm", quantities.ABOUT_SOURCE)
        for what, error in (
            ("section", seen.section_error_mm),
            ("inside length", seen.length_error_mm),
        )
        if what in seen.about
    ]
    loose = sum(b.about or b.section.about for b in belts.values())
    if loose:
        have = "belt has" if loose == 1 else "belts have"
        says = f"{loose} {have} a size that is about"
        found.append(drive.Assumed("recorded sizes", says, quantities.ABOUT_SOURCE))
    return tuple(found)


def _find_cautions(data: Collection, shown: list[FoundAt]) -> tuple[str, ...]:
    """Those of old rubber, then what is recorded for the positions and parts that are named."""
    found = {fold("solvents"): "solvents"}
    for position, part in dict.fromkeys((t.position, t.part) for t in shown):
        for caution in data.position_rules(position).cautions:
            found.setdefault(caution.key, caution.text)
        found |= {k: t for k, t in questions.part_cautions(data, part).items() if k not in found}
    return tuple(found.values())


def articles_of(graph: Graph, belts: dict[str, drive.Belt]) -> dict[str, tuple[str, ...]]:
    """First part -> all parts of one article: exactly equal in size, or alike."""
    by_size: dict[tuple[str, tuple[float, ...]], list[str]] = {}
    for part, belt in belts.items():
        by_size.setdefault(_size_key(belt), []).append(part)
    left = dict.fromkeys(belts)
    out = {}
    while left:
        group = [next(iter(left))]
        del left[group[0]]
        for one in group:
            same = [p for p in (*by_size[_size_key(belts[one])], *questions.alike(graph, one)) if p in left]
            for other in dict.fromkeys(same):
                del left[other]
                group.append(other)
        out[group[0]] = (group[0], *sorted(group[1:]))
    return out


def _size_key(belt: drive.Belt) -> tuple[str, tuple[float, ...]]:
    """Sizes that are equal but for binary rounding have the same key."""
    return belt.section.form, tuple(round(mm, 7) for mm in (*belt.section.sizes_mm, belt.inside_length_mm))


def _takers(graph: Graph, parts: tuple[str, ...]) -> list[FoundAt]:
    """The places that take any part of an article, each once, by the strongest of its answers."""
    best: dict[tuple[str, str], FoundAt] = {}
    for part in parts:
        for row in questions.takers_of_part(graph, part, _ALL_BY_BEST).rows:
            found = FoundAt(
                row.set, row.position, part, row.standing, row.best, "size" in row.basis, row.proof
            )
            known = best.get((found.set, found.position))
            if known is None or (known.standing == "refused", -known.best) > (
                found.standing == "refused",
                -found.best,
            ):
                best[found.set, found.position] = found
    return list(best.values())


def _shown(graph: Graph, takers: list[FoundAt], wanted: Wanted) -> tuple[FoundAt, ...]:
    shown = [
        t for t in takers if t.best >= wanted.at_least and (wanted.refused_too or t.standing != "refused")
    ]
    return tuple(
        sorted(shown, key=lambda t: (-t.certainty, -t.best, graph.data.owner_text(t.set), t.position))
    )


# Family ---------------------------------------------------------------------------------------


def family(graph: Graph, place: BeltPlace, wanted: Wanted = DEFAULT) -> FamilyAnswer:
    """A row for each set that shares the place (more where a set states several belts), marked where they
    contradict each other, and which belt the run supports."""
    drafts, less = _family_drafts(graph, place, wanted)
    used = list(dict.fromkeys(b.part for _, b in drafts if b is not None))
    stretches, trouble = _stretches(graph.data, place, used)
    pairs = {(a, b): same_article(graph, a, b) for a in used for b in used if a != b}
    agreed = _agreement(pairs, used, _supported(place, stretches))
    rows = [_family_row(owner, belt, stretches, place, agreed) for owner, belt in drafts]
    rows.sort(key=lambda r: (r.certainty is None, -(r.certainty or 0.0), graph.data.owner_text(r.set)))
    differ = False in pairs.values()
    says = [*place.notes, *trouble, *_contradictions(graph.data, place, used, differ, stretches)]
    says += _left_out(place.runs_left_out, "run", wanted.at_least)
    if less:
        says.append(
            f"{less} set{' has' if less == 1 else 's have'} a belt that is less certain than "
            f"{wanted.at_least:g} and left out."
        )
    assumed = _family_assumed(graph.data, place, used)
    return FamilyAnswer(place, tuple(rows), tuple(says), assumed, _cautions(graph.data, place))


def _family_assumed(data: Collection, place: BeltPlace, used: list[str]) -> tuple[drive.Assumed, ...]:
    """The wanted stretch where none is recorded, and every size that is about."""
    run = place.run
    found: list[drive.Assumed] = []
    if run is not None and run.stretch is None:
        low, high = run.wanted
        wanted = f"{low * 100:.3g} % to {high * 100:.3g} %"
        found.append(drive.Assumed("wanted stretch", wanted, drive.NO_SOURCE))
    loose = [p for p in used if (b := belt_of(data, p)) and (b.about or b.section.about)]
    found += [
        drive.Assumed(f"sizes of {data.text('part', p)}", "about", quantities.ABOUT_SOURCE) for p in loose
    ]
    return (*found, *(drive.about_run(run) if run else ()))


def _family_drafts(
    graph: Graph, place: BeltPlace, wanted: Wanted
) -> tuple[list[tuple[str, Recorded | None]], int]:
    """For each set the belts that are stated on it, else the best that follows; and how many sets were left
    with none for want of certainty.

    One search from all places at once for the originals, one for the substitutes where there is no original.
    """
    owners = LikeWays(graph, {place.set: 1.0}, place.position).certainty
    by_role = [_Nearest(graph, place.position, owners, original) for original in (True, False)]
    drafts: list[tuple[str, Recorded | None]] = []
    less = 0
    for owner in place.sharing:
        stated = by_role[0].stated(owner)
        found = stated or [b for r in by_role if (b := r.best(owner)) is not None]
        kept = [b for b in found if b.certainty >= wanted.at_least]
        less += bool(found) and not kept
        drafts += [(owner, b) for b in (kept if stated else kept[:1])] or [(owner, None)]
    return drafts, less


class _Nearest:
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
    found, trouble = {}, []
    for part in parts:
        belt = belt_of(data, part)
        if belt is None:
            trouble.append(f"Section or inside length of {data.text('part', part)} is not recorded.")
            continue
        try:
            lies = drive.fit(belt, place.run)
            ends = drive.window(place.run, belt.section.thickness_mm)
        except (geometry.GeometryError, drive.RunError) as error:
            trouble.append(f"{data.text('part', part)}: {error}.")
            continue
        if lies.stretch is not None:
            found[part] = _Lies(lies.stretch, _outside(belt.inside_length_mm, ends))
    return found, trouble


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
        agreed[belt.part],
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


# Speed ----------------------------------------------------------------------------------------


def speed(tone_hz: float, heard_hz: float, place: BeltPlace | None = None) -> tone.ToneReading:
    """What a test tone heard at another pitch says, with a place of its belt too. Raises WrongUse."""
    recorded = place.recorded if place else None
    thickness = recorded.belt.section.thickness_mm if recorded and recorded.belt else None
    try:
        return tone.read_tone(tone_hz, heard_hz, place.run if place else None, thickness)
    except drive.RunError as error:
        raise WrongUse(
            Problem(None, "tone", str(error), "look at the tape's label and listen again")
        ) from None
