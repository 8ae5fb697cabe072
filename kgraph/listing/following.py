"""What follows by the rules for a list: what is built on an assembly, what takes a part, how certainly."""

from __future__ import annotations

from kgraph import questions
from kgraph.fits.graph import Graph
from kgraph.questions.answer import Wanted
from kgraph.questions.asked import budget_of, memo_of
from kgraph.questions.takers import rows_of_part
from kgraph.reason.budget import Budget
from kgraph.reason.sharing import Sharing, built_on, sharing_of
from kgraph.reason.walk import cut
from kgraph.reason.weigh import Aims, weigh

Certain = dict[str, float]
"""Key of a thing -> how certainly it is one of those asked for."""


def built_on_assembly(graph: Graph, assembly: str, kind: str, wanted: Wanted) -> Certain:
    """The sets, or the assemblies, that are built on an assembly: also through others, and by rebadges."""
    budget = budget_of(wanted)
    sharing = sharing_of(graph, f"a:{assembly}", budget)
    phase = "on" if kind == "set" else "up"
    ends = {n: s.owner[2:] for n, s in enumerate(sharing.network.states) if s.phase == phase and n}
    return _weighed(graph, sharing, ends, budget)


def under_set(graph: Graph, set_key: str, wanted: Wanted) -> Certain:
    """The assemblies that a set is built on."""
    found: Certain = {}
    assemblies, budget = built_on(graph, f"s:{set_key}"), budget_of(wanted)
    for number, assembly in enumerate(assemblies):
        with budget.share(len(assemblies) - number) as share:
            sharing = sharing_of(graph, assembly, share)
            if f"s:{set_key}" in sharing.sets:
                found |= _weighed(graph, sharing, {sharing.sets[f"s:{set_key}"]: assembly[2:]}, share)
    return found


def _weighed(graph: Graph, sharing: Sharing, ends: dict[int, str], budget: Budget) -> Certain:
    steps = cut(sharing.network, ends)
    found = weigh(sharing.network, steps, ends, budget, memo_of(graph), Aims())
    return {ends[state]: weighed.certainty for state, weighed in found.items()}


def taking_part(graph: Graph, part: str, wanted: Wanted) -> Certain:
    """The sets that take a part somewhere; of several places the surest."""
    found: Certain = {}
    for row in rows_of_part(graph, part, wanted, budget_of(wanted)):
        if row.standing != "refused" and row.set[0] == "s":
            found[row.set[2:]] = max(row.certainty, found.get(row.set[2:], 0.0))
    return found


def parts_of_set(graph: Graph, set_key: str, wanted: Wanted) -> Certain:
    """The parts that go anywhere on a set; of several places the surest."""
    places, budget = questions.places_of(graph, set_key), budget_of(wanted)
    found: Certain = {}
    for number, position in enumerate(places):
        with budget.share(len(places) - number) as share:
            rows = questions.parts(graph, set_key, position, wanted, share).rows
        for row in rows:
            if row.part and row.standing != "refused":
                found[row.part] = max(row.certainty, found.get(row.part, 0.0))
    return found
