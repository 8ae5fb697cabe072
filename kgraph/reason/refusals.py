"""What speaks against an answer (rule `no`): one more network, weighed by its best proofs.

For `donors` the place is given: one walk back from it finds each item that is refused there. For `takers` the
item is given: one walk from it finds each place where it is refused. Only what is refused at a place that the
question itself came to can matter.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from kgraph.facts import Fact
from kgraph.fits.graph import Graph, Place
from kgraph.reason import rules
from kgraph.reason.budget import Budget
from kgraph.reason.rules import Said, State, Step
from kgraph.reason.walk import Network, explore
from kgraph.reason.weigh import best_proofs

Item = str | Place
MOST_WALKS = 24
"""So many unlike collections of items are walked from for one question; the surest answers come first."""


class Against(NamedTuple):
    """The strongest proof that something does not go: its certainty, and its facts in their order."""

    certainty: float
    facts: tuple[Fact, ...]


NOTHING = Against(0.0, ())


def said_at(graph: Graph, places: Iterable[Place]) -> Said:
    """What facts refuse at these places: for each item where, and by which fact."""
    found: dict[Item, list[tuple[Place, Fact]]] = {}
    for place in places:
        for item, fact in graph.refused_at.get(place, ()):
            found.setdefault(item, []).append((place, fact))
    return found


def refused_near(graph: Graph, place: Place) -> Sequence[Place]:
    """The places like this one at which a fact refuses something."""
    if "refused near" not in graph.remembered:
        near: dict[Place, list[Place]] = {}
        for refused in sorted(graph.refused_at):
            for owner, _ in graph.alike_places(refused):
                near.setdefault(Place(owner, refused.position), []).append(refused)
        graph.remembered["refused near"] = near
    found: Mapping[Place, list[Place]] = graph.remembered["refused near"]
    return found.get(place, ())


def refused_items(graph: Graph, host: Place, budget: Budget, by_sisters: bool = True) -> dict[Item, Against]:
    """Each item that is refused at a place, with the strongest proof; without `by_sisters` by no rebadge."""
    network = explore(State("no", *host), lambda s: _less(rules.against(graph, s), s, by_sisters), budget)
    ends = {i: item for i, s in enumerate(network.states) if (item := rules.refused_item(s)) is not None}
    found: dict[Item, Against] = {}
    for end, against in _strongest(network, ends, budget).items():
        if against.certainty > found.get(ends[end], NOTHING).certainty:
            found[ends[end]] = against
    return found


def _less(steps: list[Step], state: State, by_sisters: bool) -> list[Step]:
    """The steps, less those from a place where something is refused to that of another badge."""
    if by_sisters or state.phase != "no":
        return steps
    return [(to, fact) for to, fact in steps if fact is None or fact.kind != "rebadge"]


def bearing_on(graph: Graph, said: Said, budget: Budget) -> frozenset[Item]:
    """The items that something said can refuse at all."""
    starts = [State("refusedplace", *i) if isinstance(i, Place) else State("refused", i) for i in said]
    network = explore(
        State("said", ""),
        lambda s: [(start, None) for start in starts] if s.phase == "said" else rules.against(graph, s),
        budget,
    )
    return frozenset(item for s in network.states if (item := rules.refused_item(s)) is not None)


def refused_places(
    graph: Graph, said: Said, items: Iterable[Item], budget: Budget, by_sisters: bool = True
) -> dict[Place, Against]:
    """Each place where one of these items is refused, with the strongest proof; see `refused_items`."""
    starts = [State("item", *i) if isinstance(i, Place) else State("item", i) for i in sorted(items, key=str)]
    network = explore(
        State("items", ""),
        lambda s: (
            [(start, None) for start in starts]
            if s.phase == "items"
            else _less(rules.refusing(graph, said, s), s, by_sisters)
        ),
        budget,
    )
    ends = {i: Place(*s[1:]) for i, s in enumerate(network.states) if s.phase == "no"}
    return {ends[end]: against for end, against in _strongest(network, ends, budget).items()}


def _strongest(network: Network, ends: Mapping[int, object], budget: Budget) -> dict[int, Against]:
    return {
        end: Against(network.product(best.labels), network.fact_list(best.labels))
        for end, best in best_proofs(network, ends, budget).items()
    }
