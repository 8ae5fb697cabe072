"""Everything wrong or doubtful in fact folders: for the command `check` and for a program."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from kgraph import contradictions, photographs
from kgraph.fits.graph import Graph
from kgraph.folder.portable import names_not_everywhere
from kgraph.problems import Problem, in_order
from kgraph.reason.conflicts import Conflict
from kgraph.render.answers import percent
from kgraph.render.sentences import says


def problems_of(graph: Graph, read: Iterable[Problem], folders: Sequence[Path]) -> list[Problem]:
    """What was met in reading, and what the entries say that is wrong or doubtful, by file and line."""
    from kgraph.checks import check_all

    conflicts = contradictions.of_folder(graph)
    return in_order(
        [
            *read,
            *check_all(graph.data, graph),
            *photographs.problems(graph.data.entries, folders),
            *(problem for folder in folders for problem in names_not_everywhere(folder)),
            *(_conflict(graph, one) for one in conflicts.found),
            *_not_looked_at(conflicts.not_looked_at),
        ]
    )


def _not_looked_at(number: int) -> Iterator[Problem]:
    if number:
        refused = f"{number} {'thing that is refused was' if number == 1 else 'things that are refused were'}"
        says = f"{refused} not looked at for what contradicts it: there was no time"
        mend = "ask `kgraph takers PART --all` about one of them"
        yield Problem(None, "conflicts-not-sought", says, mend, "warning")


def _conflict(graph: Graph, found: Conflict) -> Problem:
    data, weakest = graph.data, found.weakest
    facts = "; ".join(f"{says(data, f)} ({percent(f.certainty)}, {f.id})" for f in found.facts)
    mend = f"the weakest is: {says(data, weakest)}; look at it first, then `kgraph withdraw` what is wrong"
    text = f"these {len(found.facts)} facts cannot all be true: {facts}"
    return Problem(weakest.where, "conflict", text, mend, "warning")
