"""Where a belt runs: the run and the belts recorded at a place and at places like it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from kgraph import questions, records
from kgraph.belts import runs
from kgraph.belts.recorded import belt_of as belt_of
from kgraph.belts.recorded import run_of
from kgraph.claims import RunClaim
from kgraph.collection import Collection
from kgraph.facts import Fact
from kgraph.fits.graph import Graph, Place, sort_of
from kgraph.names import fold
from kgraph.problems import Problem, WrongUse
from kgraph.questions import DEFAULT, Wanted
from kgraph.reason.shortest import LikeWays

MAIN_BELT = "main belt"
SLACK = 1e-9
_CAUTIONS_OPEN = ("moving mechanism", "mains", "solvents")


@dataclass(frozen=True, slots=True)
class Recorded:
    """A belt recorded at a place or one like it; `belt` is None where its sizes are not recorded."""

    part: str
    role: str
    belt: runs.Belt | None
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
    run: runs.BeltRun | None
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
        *left_out_note(place.runs_left_out, "run", place.at_least),
        *left_out_note(place.belts_left_out, "belt", place.at_least),
    ]


def left_out_note(count: int, what: str, at_least: float) -> list[str]:
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


class Articles:
    """Which belts are one article. What is of the size of a belt is gone through once."""

    def __init__(self, graph: Graph) -> None:
        self.graph = graph
        self._equal: dict[str, set[str]] = {}

    def same(self, one: str, other: str) -> bool | None:
        """Whether two belts are one article: alike, or of equal size. None where a size is not recorded."""
        equal = other in self._equal_to(one) or one in self._equal_to(other)
        if equal or other in self.graph.alike_parts(one):
            return True
        return None if None in (belt_of(self.graph.data, one), belt_of(self.graph.data, other)) else False

    def _equal_to(self, part: str) -> set[str]:
        if part not in self._equal:
            self._equal[part] = {other for other, _ in self.graph.equal_size(part)}
        return self._equal[part]


def all_belts(graph: Graph) -> dict[str, runs.Belt]:
    """Part -> sizes of every recorded belt whose sizes are known, in the order of their keys."""
    found = {p: belt_of(graph.data, p) for p in graph.parts_of_kind.get(graph.data.belt_kind(), ())}
    return {p: b for p, b in found.items() if b is not None}


def several_belts(graph: Graph, place: BeltPlace) -> list[str]:
    parts = list(dict.fromkeys(b.part for b in place.belts if b.role == "original"))
    articles = Articles(graph)
    if all(articles.same(parts[0], p) is not False for p in parts[1:]):
        return []
    names = ", ".join(graph.data.text("part", p) for p in parts)
    return [f"Different belts are recorded for this place: {names}; see `kgraph belt family`."]


def impossible(place: BeltPlace, error: Exception) -> WrongUse:
    where = place.run_proof[-1].where if place.run_proof else None
    mend = "measure it again and correct the entry"
    return WrongUse(Problem(where, "impossible-run", str(error), mend))


def place_text(data: Collection, place: BeltPlace) -> str:
    return f"{data.owner_text(place.set)}, {data.text('position', place.position)}"


def belt_cautions(data: Collection, place: BeltPlace | None, part: str = "") -> tuple[str, ...]:
    """The cautions of work on a belt, then those recorded for the position and the part's kind."""
    found = {fold(c): c for c in _CAUTIONS_OPEN}
    for caution in data.position_rules(place.position).cautions if place else ():
        found.setdefault(caution.key, caution.text)
    found |= {k: t for k, t in questions.part_cautions(data, part).items() if k not in found}
    return tuple(found.values())


def articles_of(graph: Graph, belts: dict[str, runs.Belt]) -> dict[str, tuple[str, ...]]:
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
            same = [p for p in (*by_size[_size_key(belts[one])], *graph.alike_parts(one)) if p in left]
            for other in dict.fromkeys(same):
                del left[other]
                group.append(other)
        out[group[0]] = (group[0], *sorted(group[1:]))
    return out


def _size_key(belt: runs.Belt) -> tuple[str, tuple[float, ...]]:
    """Sizes that are equal but for binary rounding have the same key."""
    return belt.section.form, tuple(round(mm, 7) for mm in (*belt.section.sizes_mm, belt.inside_length_mm))
