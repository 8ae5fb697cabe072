"""Which recorded belt a measured one can be, and the sets that take it."""

from __future__ import annotations

from dataclasses import dataclass

from kgraph import quantities, questions
from kgraph.belts import identify, runs
from kgraph.belts.recorded import belt_of as belt_of
from kgraph.collection import Collection
from kgraph.facts import Fact
from kgraph.fits.graph import Graph
from kgraph.names import fold
from kgraph.questions import BEST_ONLY, DEFAULT, Wanted
from kgraph.questions.asked import budget_of, unasked_note
from kgraph.questions.belt_places import all_belts, articles_of
from kgraph.reason.budget import Budget

ARTICLE_NOTE = "Belts of exactly equal section and length, or said to be the same, count as one article."


@dataclass(frozen=True, slots=True)
class FoundBelt:
    """An article that a measured belt can be (no parts: none of these), and the places that take it."""

    parts: tuple[str, ...]
    probability: float
    takers: tuple[FoundAt, ...] = ()


ALL_BY_BEST = BEST_ONLY._replace(refused_too=True)


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
    assumed: tuple[runs.Assumed, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    most: int | None = None
    """So many places of each belt were asked for."""


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
    limit, unasked = budget_of(ALL_BY_BEST), list[str]()
    takers = {c.key: _takers(graph, articles[c.key], limit, unasked) for c in candidates if c.key is not None}
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
    names = [graph.data.text("part", part) for part in unasked]
    notes += unasked_note(names, "ask `kgraph takers` about one of them")
    assumed, cautions = _find_assumed(seen, belts), _find_cautions(graph.data, shown)
    return FindAnswer(seen, tuple(found), assumed, cautions, tuple(notes), wanted.most)


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


def _find_assumed(seen: identify.Measured, belts: dict[str, runs.Belt]) -> tuple[runs.Assumed, ...]:
    """What was taken without being measured: the priors, and what `about` stands for."""
    equal = "the same weight for each recorded belt and for none of these"
    found = [runs.Assumed("before measuring", equal, runs.NO_SOURCE)]
    if seen.worn:
        found.append(
            runs.Assumed("growth of a worn belt", f"0 to {identify.GROWTH * 100:.0f} %", runs.NO_SOURCE)
        )
    found += [
        runs.Assumed(f"{what}, about", f"± {error:.3g} mm", quantities.ABOUT_SOURCE)
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
        found.append(runs.Assumed("recorded sizes", says, quantities.ABOUT_SOURCE))
    return tuple(found)


def _find_cautions(data: Collection, shown: list[FoundAt]) -> tuple[str, ...]:
    """Those of old rubber, then what is recorded for the positions and parts that are named."""
    found = {fold("solvents"): "solvents"}
    for position, part in dict.fromkeys((t.position, t.part) for t in shown):
        for caution in data.position_rules(position).cautions:
            found.setdefault(caution.key, caution.text)
        found |= {k: t for k, t in questions.part_cautions(data, part).items() if k not in found}
    return tuple(found.values())


def _takers(graph: Graph, parts: tuple[str, ...], limit: Budget, unasked: list[str]) -> list[FoundAt]:
    """The places that take any part of an article, each once, by the strongest of its answers.

    Each part is a question of its own; those for which no time was left within the limit are `unasked` then.
    """
    best: dict[tuple[str, str], FoundAt] = {}
    for number, part in enumerate(parts):
        if number and limit.late:
            unasked += parts[number:]
            break
        budget = budget_of(ALL_BY_BEST).within(limit)
        for row in questions.takers_of_part(graph, part, ALL_BY_BEST, budget=budget).rows:
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
