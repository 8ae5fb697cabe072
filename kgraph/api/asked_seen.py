"""What a set may be, from what was seen of it, asked by its words."""

from __future__ import annotations

from collections.abc import Sequence
from heapq import nlargest
from typing import NamedTuple

from kgraph import questions, records
from kgraph.fits.graph import Graph
from kgraph.names import fold
from kgraph.problems import WrongUse
from kgraph.questions import identify as asked
from kgraph.questions.answer import less_certain
from kgraph.questions.identify import Candidate
from kgraph.questions.identify import Recognised as Weighed
from kgraph.recognition import looks
from kgraph.recognition.seen import NOT_TO_BE_SEEN, Seen, read

Given = list[tuple[str, str]]
Prior = tuple[float, float, float]

NOTHING_SEEN = "nothing was seen yet; say --seen KEY=VALUE, or write `seen:` of the unit"
EXPLAINED = 100
"""Of so many of the likeliest it is worked out what speaks for and against them."""


class Identified(NamedTuple):
    """What a set may be, the likeliest first, and where to look next."""

    found: Weighed
    best: list[Candidate]
    following: list[looks.Next]
    less: str = ""
    """How many answers are less certain than was asked for, and left out; "" for none."""


def identified(
    graph: Graph, given: Given, prior: Prior = asked.PRIOR, at_least: float = 0.0, families: int | None = None
) -> Identified:
    """What it may be, and where to look next, also where nothing was seen yet.

    With `families` it is worked out of the likeliest of so many families alone what speaks for and against.
    """
    seen: Seen = read(graph, given)
    found = asked.identify(graph, seen, prior)
    best = list(found.candidates)
    shown = range(min(EXPLAINED, len(best))) if families is None else _first_of(found, families)
    for at in shown:
        best[at] = asked.explained(graph, found, best[at])
    looked = [f.trait.key for f in found.fittings] + [fold(name) for name, _ in given]
    following = looks.next_looks(graph, asked.left_over(found), looked, found.chances.get(None, 0.0))
    less = less_certain((c.probability for c in best), at_least)
    return Identified(found, [c for c in best if c.probability >= at_least], following, less)


def _first_of(found: Weighed, families: int) -> list[int]:
    """Where the first candidates of the likeliest families stand."""
    chances = found.chances
    chosen = set(nlargest(families, chances, key=lambda f: chances[f]))
    first: dict[str | None, int] = {}
    for at, candidate in enumerate(found.candidates):
        if candidate.family in chosen:
            first.setdefault(candidate.family, at)
    return list(first.values())


def unit_named(graph: Graph, words: Sequence[str]) -> str:
    """The key of the unit that the words name; "" for none."""
    return questions.name_of(graph.data, "unit", " ".join(words)) if words else ""


def seen_of_unit(graph: Graph, unit: str) -> Given:
    """What is written of a unit as seen; a place that is missing or broken on it says nothing."""
    data = graph.data
    given: Given = []
    gone: set[str] = set()
    for thing in data.things["unit"].get(unit, ()):
        assert isinstance(thing, records.Unit)
        gone |= {data.key("position", p.key) for p, state in thing.state if fold(state) in NOT_TO_BE_SEEN}
        given += [(name.text, text) for name, values in thing.seen for text in values]
    return [(k, "missing" if data.key("position", fold(k)) in gone else v) for k, v in given]


def prior_of(parts: Sequence[float]) -> Prior:
    """Three chances as shares of 1; raises WrongUse for others."""
    whole = sum(parts)
    if len(parts) != 3 or whole <= 0:
        raise WrongUse("--prior has three numbers, such as 0.4,0.4,0.2, and not all of them 0")
    return parts[0] / whole, parts[1] / whole, parts[2] / whole
