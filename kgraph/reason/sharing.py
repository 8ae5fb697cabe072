"""Who shares an assembly: the network of all ways from an assembly up to the sets that are built on it.

Two sets share an assembly where a way leads to each of them from it: by `uses` facts, also through assemblies
that carry it, then along rebadges. Their certainty is the chance that both are reached; their best proof is
the cheapest tree that joins the three.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cached_property

from kgraph.fits.graph import Graph, Link
from kgraph.reason.budget import Budget
from kgraph.reason.modules import Module, Parts
from kgraph.reason.proofs import Best, BestProofs, by_numbers, facts_of
from kgraph.reason.rules import State, Step
from kgraph.reason.shortest import Shortest
from kgraph.reason.walk import Network, Steps, cut, entries_of, explore


def built_on(graph: Graph, owner: str) -> list[str]:
    """The assemblies that an owner is built on: its own and its sisters', through nesting."""

    def down(state: State) -> list[Step]:
        links = graph.links.get(state.owner, ())
        return [(State("any", k.other), k.fact) for k in links if k.to_assembly != state.owner]

    return sorted(s.owner for s in explore(State("any", owner), down).states if s.owner[0] == "a")


def carriers(graph: Graph, assembly: str) -> list[str]:
    """The assembly and every assembly built on it, through nesting."""

    def carried(state: State) -> list[Step]:
        links = graph.links.get(state.owner, ())
        return [
            (State("carry", k.other), k.fact)
            for k in links
            if k.to_assembly == state.owner and k.other[0] == "a" and not leaves_out(graph, k, assembly)
        ]

    return [s.owner for s in explore(State("carry", assembly), carried).states]


def leaves_out(graph: Graph, link: Link, *assemblies: str) -> bool:
    """Whether an `except` names one of these assemblies itself."""
    return not _left_out(graph, link).isdisjoint(assemblies)


def _left_out(graph: Graph, link: Link) -> frozenset[str]:
    """What the `except` of a link names, as far as it is an assembly."""
    known: dict[str, frozenset[str]] = graph.remembered.setdefault("left out assemblies", {})
    if link.fact.id not in known:
        named = link.fact.left_out
        known[link.fact.id] = frozenset(f"a:{graph.data.key('assembly', n)}" for n in named)
    return known[link.fact.id]


class Sharing:
    """All ways up from an assembly.

    States: `up` (an assembly), `at` (a set, with the carriers that its way went through: those that no
    rebadge tells apart are one) and `on` (a set, whichever way it was reached).
    """

    def __init__(self, graph: Graph, assembly: str, budget: Budget) -> None:
        step = _up(graph, assembly, _alike_carriers(graph, assembly))
        self.network = explore(State("up", assembly), step, budget)
        self.sets = {s.owner: n for n, s in enumerate(self.network.states) if s.phase == "on"}
        self.steps = cut(self.network, self.sets.values())
        at = [s.owner for s in self.network.states if s.phase == "at"]
        self.simple = len(at) == len(set(at))
        """Whether each set is one state, so that no fact stands in two places."""

    @cached_property
    def _into(self) -> Steps:
        return entries_of(self.steps)

    @cached_property
    def _from_assembly(self) -> Shortest[int, int]:
        return by_numbers({0: 0.0}, self.steps, self.network.costs)

    def best_from(self, owner: str, budget: Budget) -> dict[str, Best]:
        """The best proof for each other set; facts in the order down from the owner, then up again."""
        costs, to_assembly = self.network.costs, self._from_assembly
        down = by_numbers({self.sets[owner]: 0.0}, self._into, costs)
        meeting = {m: cost + to_assembly.cost[m] for m, cost in down.cost.items() if m in to_assembly.cost}
        up = by_numbers(meeting, self.steps, costs)
        found = {}
        for other, state in self.sets.items():
            if other != owner and state in up.cost:
                climbed = up.way(state)
                met = climbed[0]
                ways = [*facts_of(down.way(met)), *reversed(facts_of(to_assembly.way(met)))]
                labels = [*ways, *facts_of(climbed)]
                found[other] = Best(tuple(dict.fromkeys(labels)), self.simple)
        return found if self.simple else found | self._better(owner, found, budget)

    def twice(self, owner: str) -> tuple[Network, Steps]:
        """The network up to the owner, and from there once more: a way to state s of both is to size + s."""
        size, start = len(self.steps), self.sets[owner]
        steps = [*([*out] for out in self.steps), *([(to + size, n) for to, n in out] for out in self.steps)]
        steps[start] = [*steps[start], (size, -1)]
        again = [State(f"{s.phase} again", *s[1:]) for s in self.network.states]
        states = [*self.network.states, *again]
        return Network(states, {}, steps, self.network.facts, self.network.costs, [], []), steps

    def _better(self, owner: str, known: Mapping[str, Best], budget: Budget) -> dict[str, Best]:
        """Proofs at least as good, by a search up twice that pays for each fact once, within the budget."""
        size = len(self.steps)
        copied, steps = self.twice(owner)
        members = tuple(range(1, len(steps)))
        into = tuple(tuple(e) for e in entries_of(steps)[1:])
        whole = Parts([Module(0, members, into)], [-1, *[0] * len(members)])
        ends = {other: self.sets[other] + size for other in known}
        search = BestProofs(copied, whole, budget, ends.values())
        found = {other: search.of(end) for other, end in ends.items()}
        cost = self._cost
        return {o: b if b.proven or cost(b) < cost(known[o]) else known[o] for o, b in found.items()}

    def _cost(self, best: Best) -> float:
        return sum(self.network.costs[n] for n in best.labels)


def sharing_of(graph: Graph, assembly: str, budget: Budget) -> Sharing:
    """The network of an assembly, worked out once for a graph."""
    known: dict[str, Sharing] = graph.remembered.setdefault("sharing", {})
    if assembly not in known:
        known[assembly] = Sharing(graph, assembly, budget)
    return known[assembly]


def _up(graph: Graph, assembly: str, alike: Mapping[str, str]) -> Callable[[State], list[Step]]:
    """Steps from an assembly up to what is built on it, and along the rebadges of the sets met."""
    unlike = {name: [c for c, n in alike.items() if n == name] for name in alike.values()}

    def step(state: State) -> list[Step]:
        links = graph.links.get(state.owner, ())
        if state.phase == "at":
            out = assembly, *unlike[state.position]
            across = [
                (State("at", k.other, state.position), k.fact)
                for k in links
                if not k.to_assembly and not leaves_out(graph, k, *out)
            ]
            return [(State("on", state.owner), None), *across]
        if state.phase == "on":
            return []
        return [
            (State("at", k.other, alike[state.owner]) if k.other[0] == "s" else State("up", k.other), k.fact)
            for k in links
            if k.to_assembly == state.owner and not leaves_out(graph, k, assembly)
        ]

    return step


def _alike_carriers(graph: Graph, assembly: str) -> dict[str, str]:
    """One name for the carriers that the same rebadges leave out, as far as they are met."""
    every = carriers(graph, assembly)
    named: dict[str, set[str]] = {c: set() for c in every}
    users = {f: k for c in every for k in graph.links.get(c, ()) if (f := k.other)[0] == "s"}
    family, todo = set(users), [*users]
    while todo:
        for link in graph.links.get(todo.pop(), ()):
            if not link.to_assembly and link.other not in family:
                family.add(link.other)
                todo.append(link.other)
    for owner in family:
        for link in graph.links.get(owner, ()):
            if not link.to_assembly:
                for carrier in _left_out(graph, link) & named.keys():
                    named[carrier].add(link.fact.id)
    first: dict[frozenset[str], str] = {}
    return {c: first.setdefault(frozenset(facts), c) for c, facts in named.items()}
