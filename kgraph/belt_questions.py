"""Belts across the family: which run and which belts are known for a place, and what follows from them.

A run or belt recorded on a mechanism answers for every set that is like it at that position, so each
question first walks the like places, the best proof first. Lengths are in mm, stretch a fraction of one;
nothing here is rounded and nothing is printed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from kgraph import quantities, questions, records, words
from kgraph.belts import drive, geometry, identify, orings, tone
from kgraph.collection import Collection, Fact
from kgraph.fits import proofs
from kgraph.fits.graph import Graph, Place, sort_of
from kgraph.fits.rules import State
from kgraph.names import fold
from kgraph.problems import Problem, WrongUse
from kgraph.questions import DEFAULT, Row, Wanted

MAIN_BELT = "main belt"
ARTICLE_NOTE = "Belts of exactly equal section and length, or said to be the same, count as one article."
O_RING_NOTE = f"O-rings are seals, not belts: hardness and joint line differ. Sizes: {orings.SOURCE}."
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
    """What is known of the belt of a set at a position: the run, the belts best first, who shares it."""

    set: str
    position: str
    run: drive.Run | None
    run_proof: tuple[Fact, ...]
    belts: tuple[Recorded, ...]
    sharing: tuple[str, ...]
    notes: tuple[str, ...]

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
    """The path of a belt of that section on the run, and what would lie on it with the wanted stretch."""

    place: BeltPlace
    section: quantities.Section
    path: geometry.Path
    wanted: tuple[float, float]
    wanted_assumed: bool
    window_mm: tuple[float, float]
    belts: tuple[InWindow, ...]
    o_rings: tuple[orings.ORing, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FitAnswer:
    """What a belt does at a place; `recorded` is the belt it was compared with."""

    place: BeltPlace
    part: str
    fit: drive.Fit
    recorded: Recorded | None
    cautions: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FoundBelt:
    """An article that a measured belt can be (no parts: none of these), and the places that take it."""

    parts: tuple[str, ...]
    probability: float
    takers: tuple[Row, ...] = ()


@dataclass(frozen=True, slots=True)
class FindAnswer:
    """All that a measured belt can be, the likeliest first; the probabilities sum to 1."""

    seen: identify.Measured
    found: tuple[FoundBelt, ...]
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
    cautions: tuple[str, ...]


# What is recorded -----------------------------------------------------------------------------


def is_belt(data: Collection, part: str) -> bool:
    """Whether a part is of the kind belt."""
    return sort_of(data, part) == data.key("kind", fold(words.FITS_LIKE_BELT))


def belt_of(data: Collection, part: str) -> drive.Belt | None:
    """The sizes of a belt from all entries that declare it; None where section or length is missing."""
    things = [t for t in data.things["part"].get(part, ()) if isinstance(t, records.Part)]
    section = next((t.section for t in things if t.section is not None), None)
    length = next((t.inside_length_mm for t in things if t.inside_length_mm is not None), None)
    hardness = next((t.hardness for t in things if t.hardness is not None), None)
    return None if section is None or length is None else drive.Belt(section, length, hardness)


def run_of(record: records.Run) -> drive.Run:
    """A recorded run for the sums; the shaft at which the pull was measured is read from what was written."""
    pulleys = tuple(
        drive.Pulley(
            p.name, p.x_mm, p.y_mm, p.diameter_mm, "outside" if p.outside else "inside",
            p.drives, p.rpm, p.capstan_mm,
        )
        for p in record.pulleys
    )  # fmt: skip
    return drive.Run(pulleys, record.stretch, record.pull_N_m, _pull_at(record))


def _pull_at(record: records.Run) -> str:
    written = dict(record.pairs).get("pull")
    at = written.partition(" at ")[2].strip() if isinstance(written, str) else ""
    return next((p.name for p in record.pulleys if fold(p.name) == fold(at)), at)


def belt_place(graph: Graph, words_given: Sequence[str], wanted: Wanted = DEFAULT) -> BeltPlace:
    """The place that `SET [POSITION]` means, with its run and belts. Raises WrongUse with a mend."""
    return place_at(graph, *_named(graph, tuple(words_given)), wanted)


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
    named = {f.args[1] for f in data.facts.values() if f.kind == "run"}
    named |= {p.position for part, rows in graph.takes_of.items() if is_belt(data, part) for p, _, _ in rows}
    found = (place_at(graph, set_key, position) for position in sorted(named))
    return [p.position for p in found if p.run is not None or p.belts]


def place_at(graph: Graph, set_key: str, position: str, wanted: Wanted = DEFAULT) -> BeltPlace:
    """The run and the belts recorded at a place or any place like it, by the best proof each."""
    owner = f"s:{set_key}"
    walked = proofs.explore(
        State("goes", owner, position),
        lambda s: [(State("goes", o, s.position), f) for o, f in graph.like(s.owner, s.position)],
    )
    best = proofs.best_proofs(walked)
    ways = {s.owner: walked.fact_list(best[i].labels) for i, s in enumerate(walked.states)}
    runs = _runs_on(graph.data, ways, position, wanted.at_least)
    belts = _belts_on(graph, ways, owner, position, wanted.at_least)
    chosen = runs[0] if runs else ()
    record = chosen[-1].record if chosen else None
    notes = []
    if len(runs) > 1:
        notes.append(f"{len(runs)} different runs are recorded here; the best supported one is used.")
    sharing = sorted((o for o in ways if o[0] == "s"), key=lambda o: (o != owner, graph.data.owner_text(o)))
    run = run_of(record) if isinstance(record, records.Run) else None
    return BeltPlace(owner, position, run, chosen, tuple(belts), tuple(sharing), tuple(notes))


def _runs_on(
    data: Collection, ways: dict[str, tuple[Fact, ...]], position: str, at_least: float
) -> list[tuple[Fact, ...]]:
    """The proofs of all runs of the like places, the best first; the run stands last in each."""
    found = [
        (*ways[f.args[0]], f)
        for f in data.facts.values()
        if f.kind == "run" and f.args[1] == position and f.args[0] in ways
    ]
    found = [p for p in found if strength(p) >= at_least]
    return sorted(found, key=lambda p: (-strength(p), p[-1].id))


def _belts_on(
    graph: Graph, ways: dict[str, tuple[Fact, ...]], owner: str, position: str, at_least: float
) -> list[Recorded]:
    found: dict[tuple[str, bool], Recorded] = {}
    for at, way in ways.items():
        for part, role, fact in graph.taken_at.get(Place(at, position), ()):
            proof = (*way, fact)
            each = Recorded(part, role, belt_of(graph.data, part), strength(proof), proof, at == owner)
            known = found.get((part, each.here))
            if each.certainty >= at_least and (known is None or known.certainty < each.certainty):
                found[part, each.here] = each
    return sorted(found.values(), key=lambda b: (-b.certainty, b.role != "original", b.part))


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


def all_belts(data: Collection) -> dict[str, drive.Belt]:
    """Part -> sizes of every recorded belt whose sizes are known, in the order of their keys."""
    found = {p: belt_of(data, p) for p in sorted(data.things["part"]) if is_belt(data, p)}
    return {p: b for p, b in found.items() if b is not None}


# Path and fit ---------------------------------------------------------------------------------


def path(graph: Graph, place: BeltPlace, section: quantities.Section | None = None) -> PathAnswer | None:
    """The path on the run for the given section, else the recorded one; None where no run is recorded.

    Raises WrongUse where no section is known, or the run cannot be.
    """
    if place.run is None:
        return None
    recorded = place.recorded
    if section is None and (recorded is None or recorded.belt is None):
        says = f"no belt with its sizes is recorded for {_place_text(graph.data, place)}"
        raise WrongUse(Problem(None, "no-section", says, 'give its section, like --section "square 1.2 mm"'))
    used = section or (recorded.belt.section if recorded and recorded.belt else None)
    assert used is not None
    try:
        found = drive.belt_path(place.run, used.thickness_mm)
        ends = drive.window(place.run, used.thickness_mm)
    except (geometry.GeometryError, drive.RunError) as error:
        raise _impossible(place, error) from None
    rings = drive.o_rings(place.run, used.sizes_mm[0]) if used.form == "round" else []
    notes = [*place.notes, *_either_way(found), *([O_RING_NOTE] if rings else [])]
    return PathAnswer(
        place, used, found, place.run.wanted, place.run.stretch is None, ends,
        _in_window(graph.data, place.run, drive.Belt(used, max(ends[0], 1.0))), tuple(rings),
        _cautions(graph.data, place), tuple(notes),
    )  # fmt: skip


def _either_way(found: geometry.Path) -> list[str]:
    if found.either_way_mm is None:
        return []
    return [
        f"The order of the pulleys also allows a path of {found.either_way_mm:.1f} mm; the shorter is taken."
    ]


def _in_window(data: Collection, run: drive.Run, like: drive.Belt) -> tuple[InWindow, ...]:
    """The recorded belts of a like section that, each with its own thickness, have the wanted stretch."""
    low, high = run.wanted
    found = []
    for part, belt in all_belts(data).items():
        try:
            fit = drive.fit(belt, run, like)
        except (drive.RunError, geometry.GeometryError):
            continue
        good = fit.stretch is not None and low - _SLACK <= fit.stretch <= high + _SLACK
        if fit.stretch is not None and good and fit.verdict != "wrong section":
            found.append(InWindow(part, belt, fit.stretch))
    return tuple(sorted(found, key=lambda b: (b.belt.inside_length_mm, b.part)))


def fit(graph: Graph, part: str, place: BeltPlace) -> FitAnswer:
    """What a belt does at a place, on the run or against the belt recorded there.

    Raises WrongUse for a part that is no belt and for figures that cannot be.
    """
    data = graph.data
    belt = belt_of(data, part)
    recorded = place.recorded
    if belt is None and not is_belt(data, part):
        says = f"{data.text('part', part)} is not recorded as a belt"
        raise WrongUse(Problem(None, "no-belt", says, "name a part of `kind: belt`"))
    if belt is None:
        why = f"section or inside length of {data.text('part', part)} is not recorded"
        done = drive.Fit("not known", (why,), ())
    else:
        done = _fit(belt, place, recorded)
    notes = [*place.notes, *_said_here(graph, part, place), *_several(graph, place)]
    cautions = _cautions(data, place, part)
    return FitAnswer(place, part, done, recorded, cautions, tuple(notes))


def _fit(belt: drive.Belt, place: BeltPlace, recorded: Recorded | None) -> drive.Fit:
    try:
        return drive.fit(belt, place.run, recorded.belt if recorded else None)
    except (geometry.GeometryError, drive.RunError) as error:
        raise _impossible(place, error) from None


def _said_here(graph: Graph, part: str, place: BeltPlace) -> list[str]:
    """What the facts say of this belt here, where they speak against it."""
    answer = questions.takers_of_part(graph, part, Wanted(refused_too=True))
    rows = [r for r in answer.rows if r.set == place.set and r.position == place.position]
    return [
        f"A recorded trial says that it does not go here ({r.standing})."
        for r in rows
        if r.standing in ("refused", "disputed")
    ]


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
    for thing in data.things["position"].get(place.position, ()) if place else ():
        if isinstance(thing, records.Position):
            found |= {n.key: n.text for n in thing.cautions if n.key not in found}
    found |= {k: t for k, t in questions.part_cautions(data, part).items() if k not in found}
    return tuple(found.values())


# Find -----------------------------------------------------------------------------------------


def find(graph: Graph, seen: identify.Measured, wanted: Wanted = DEFAULT) -> FindAnswer:
    """Which recorded articles a measured belt can be, with the sets that take each. Raises MeasureError."""
    belts = all_belts(graph.data)
    articles = _articles(graph, belts)
    hypotheses = [
        identify.Hypothesis(parts[0], belts[parts[0]].section, belts[parts[0]].inside_length_mm)
        for parts in articles.values()
    ]
    found = [
        FoundBelt(articles[c.key], c.probability, _takers(graph, articles[c.key], wanted))
        if c.key is not None
        else FoundBelt((), c.probability)
        for c in identify.candidates(seen, hypotheses)
    ]
    notes = [f"Prior: {identify.PRIOR_SOURCE}.", ARTICLE_NOTE]
    if any("size" in r.basis for f in found for r in f.takers):
        notes.append(questions.SIZE_NOTE)
    cautions = tuple(dict.fromkeys(("solvents", *(c for f in found for r in f.takers for c in r.cautions))))
    return FindAnswer(seen, tuple(found), cautions, tuple(notes))


def _articles(graph: Graph, belts: dict[str, drive.Belt]) -> dict[str, tuple[str, ...]]:
    """First part -> all parts of one article: exactly equal in size, or alike."""
    left = list(belts)
    out = {}
    while left:
        group = [left.pop(0)]
        for one in group:
            names = questions.alike(graph, one)
            same = [p for p in left if p in names or _equal(belts[p], belts[one])]
            group += same
            left = [p for p in left if p not in same]
        out[group[0]] = tuple(group)
    return out


def _equal(one: drive.Belt, other: drive.Belt) -> bool:
    if one.section.form != other.section.form:
        return False
    pairs = zip(
        (*one.section.sizes_mm, one.inside_length_mm),
        (*other.section.sizes_mm, other.inside_length_mm),
        strict=True,
    )
    return all(abs(a - b) <= _SLACK for a, b in pairs)


def _takers(graph: Graph, parts: tuple[str, ...], wanted: Wanted) -> tuple[Row, ...]:
    """The places that take any part of an article, each once, by the strongest of its answers."""
    best: dict[tuple[str, str], Row] = {}
    for part in parts:
        for row in questions.takers_of_part(graph, part, wanted).rows:
            known = best.get((row.set, row.position))
            if known is None or known.best < row.best:
                best[row.set, row.position] = row
    return tuple(sorted(best.values(), key=lambda r: (-r.best, graph.data.owner_text(r.set), r.position)))


# Family ---------------------------------------------------------------------------------------


def family(graph: Graph, place: BeltPlace, wanted: Wanted = DEFAULT) -> FamilyAnswer:
    """A row for each set that shares the place (more where a set states several belts), marked where they
    contradict each other, and which belt the run supports."""
    drafts = [d for owner in place.sharing for d in _family_drafts(graph, owner, place.position, wanted)]
    used = list(dict.fromkeys(b.part for _, b in drafts if b is not None))
    stretches, trouble = _stretches(graph.data, place, used)
    agreed = _agreement(graph, used, _supported(place, stretches))
    rows = tuple(_family_row(owner, belt, stretches, place, agreed) for owner, belt in drafts)
    says = [*place.notes, *trouble, *_contradictions(graph, place, rows, stretches)]
    return FamilyAnswer(place, rows, tuple(says), _cautions(graph.data, place))


def _family_drafts(
    graph: Graph, owner: str, position: str, wanted: Wanted
) -> list[tuple[str, Recorded | None]]:
    """The belts that are stated on this very set, else the best one that follows."""
    belts = place_at(graph, owner[2:], position, wanted).belts
    stated = [b for b in belts if b.here and b.role == "original"]
    inferred = sorted(belts, key=lambda b: b.role != "original")[:1]
    return [(owner, b) for b in stated or inferred] or [(owner, None)]


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


def _agreement(graph: Graph, used: list[str], supported: list[str]) -> dict[str, bool | None]:
    """Part -> whether it agrees with the others: with all, or, where they differ, with what the run supports.

    Where the run does not single out one article, no belt that differs from another agrees.
    """
    by_pair = {(a, b): same_article(graph, a, b) for a in used for b in used if a != b}
    if False not in by_pair.values():
        return {p: None if any(by_pair[p, q] is None for q in used if q != p) else True for p in used}
    one = bool(supported) and all(by_pair[a, b] for a in supported for b in supported if a != b)
    if not one:
        return {p: all(by_pair[p, q] for q in used if q != p) for p in used}
    return {p: True if p in supported else by_pair[p, supported[0]] for p in used}


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
    graph: Graph, place: BeltPlace, rows: tuple[FamilyRow, ...], lies: dict[str, _Lies]
) -> list[str]:
    """Which belts the rows disagree on, which of them the run supports, and how far each is off."""
    used = list(dict.fromkeys(r.part for r in rows if r.part))
    differ = any(same_article(graph, a, b) is False for a in used for b in used if a != b)
    says = [_support(graph.data, place, p, lies[p]) for p in used if p in lies and (differ or lies[p].off_mm)]
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
