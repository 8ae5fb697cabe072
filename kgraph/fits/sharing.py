"""Who shares an assembly: the walks, the best proof of each answer, and how certain it is.

Two sets share an assembly where a way leads down to it from each: along rebadges, then along `uses`
facts, also through assemblies that carry it. Both ways lie in one network. The best proof is therefore
the cheapest tree that joins three points, two ways that meet somewhere and go on as one; and the
certainty is the probability that the three points hang together.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Mapping
from typing import NamedTuple

from kgraph.fits import proofs
from kgraph.fits.blocks import Edge, Tables, take_apart
from kgraph.fits.certainty import Bounds
from kgraph.fits.families import LEAST, WORK
from kgraph.fits.graph import Facts, Link
from kgraph.fits.proofs import Cheapest
from kgraph.fits.rules import State, Step

WORLDS = 10
"""The most facts between assemblies that are decided in every way."""
PASSES = 4
"""One pass serves all sets that share an assembly, so that it may take this much more work."""


def built_on(graph: Facts, owner: str) -> list[str]:
    """The assemblies that an owner is built on: its own and its sisters', through nesting."""

    def down(state: State) -> list[Step]:
        links = graph.links.get(state.owner, ())
        return [(State("any", k.other), k.fact) for k in links if k.to_assembly != state.owner]

    return sorted(s.owner for s in proofs.explore(State("any", owner), down).states if s.owner[0] == "a")


def carriers(graph: Facts, assembly: str) -> list[str]:
    """The assembly and every assembly built on it, through nesting."""

    def carried(state: State) -> list[Step]:
        links = graph.links.get(state.owner, ())
        return [
            (State("carry", k.other), k.fact)
            for k in links
            if k.to_assembly == state.owner and k.other[0] == "a" and not leaves_out(graph, k, assembly)
        ]

    return [s.owner for s in proofs.explore(State("carry", assembly), carried).states]


def leaves_out(graph: Facts, link: Link, *assemblies: str) -> bool:
    """Whether an `except` names one of these assemblies itself."""
    named = link.fact.args[2]
    return any(f"a:{graph.data.key('assembly', n)}" in assemblies for n in named)


class Network(NamedTuple):
    """All ways up from an assembly to the sets that are built on it.

    States: `up` (an assembly) and `at` (a set, with the carriers that its way went through: those that no
    rebadge tells apart are one).
    """

    walked: proofs.Walked
    down: list[list[tuple[int, int]]]
    """The steps the other way."""
    from_assembly: Cheapest
    simple: bool
    """Whether each set is one state, so that no fact stands in two places."""

    def states_of(self, owner: str) -> list[int]:
        """The states of a set."""
        return [n for n, s in enumerate(self.walked.states) if s.phase == "at" and s.owner == owner]

    def sets(self) -> Iterator[tuple[int, str]]:
        """The state and owner of each set of a simple network."""
        return ((n, s.owner) for n, s in enumerate(self.walked.states) if s.phase == "at")

    def best_from(self, owner: str) -> dict[str, proofs.Best]:
        """The best proof for each other set, of a simple network; facts in the order down, then up again."""
        (start,) = self.states_of(owner)
        down = Cheapest({start: 0.0}, self.down, self.walked.costs)
        to_assembly = self.from_assembly
        meeting = {m: cost + to_assembly.cost[m] for m, cost in down.cost.items()}
        up = Cheapest(meeting, self.walked.steps, self.walked.costs)
        found = {}
        for state, other in self.sets():
            if state != start:
                met, climbed = up.way(state)
                descent = [*down.way(met)[1], *reversed(to_assembly.way(met)[1])]
                labels = tuple(dict.fromkeys([*descent, *climbed]))
                found[other] = proofs.Best(sum(self.walked.costs[n] for n in labels), labels)
        return found

    def chances_from(self, owner: str, effort: int, tables: Tables) -> dict[str, Bounds]:
        """The probability for each other set of a simple network; nothing where too many carriers nest."""
        (start,) = self.states_of(owner)
        inner = sorted({n for s, to, n in self._edges() if self._nests(s, to)})
        if len(inner) > WORLDS:
            return {}
        most = max(LEAST, PASSES * WORK * effort // max(1, len(self.walked.facts)))
        found = dict.fromkeys((o for n, o in self.sets() if n != start), Bounds(0.0, 0.0))
        for holds in itertools.product((True, False), repeat=len(inner)):
            weight = math.prod(
                self._chance(n) if h else 1.0 - self._chance(n) for n, h in zip(inner, holds, strict=True)
            )
            if weight:
                standing = {n for n, h in zip(inner, holds, strict=True) if h}
                tree = take_apart(self._edges_to(standing), _ASSEMBLY)
                both = tables.all_with(tree, start, most)
                for state, other in self.sets():
                    if state != start and state in both:
                        found[other] = _plus(found[other], weight, both[state])
        return found

    def _edges(self) -> Iterator[tuple[int, int, int]]:
        for state, out in enumerate(self.walked.steps):
            for to, label in out:
                yield state, to, label

    def _nests(self, state: int, to: int) -> bool:
        return self.walked.states[state].phase == self.walked.states[to].phase == "up"

    def _chance(self, label: int) -> float:
        return self.walked.facts[label].certainty

    def _edges_to(self, standing: set[int]) -> list[Edge]:
        """The facts between sets, and between sets and the assembly, where these stand between assemblies."""
        steps = self.walked.steps
        reached = proofs.spread(
            {0}, lambda s: [to for to, n in steps[s] if self._nests(s, to) and n in standing]
        )
        edges: list[Edge] = []
        for state, to, label in self._edges():
            if self.walked.states[to].phase != "at":
                continue
            if self.walked.states[state].phase == "up":
                if state in reached:
                    edges.append((_ASSEMBLY, to, self._chance(label)))
            elif state < to:
                edges.append((state, to, self._chance(label)))
        return edges


_ASSEMBLY = 0


def _plus(sum_: Bounds, weight: float, more: Bounds) -> Bounds:
    low = sum_.low + weight * more.low
    return Bounds(low, low if sum_.exact and more.exact else sum_.high + weight * more.high)


def network(graph: Facts, assembly: str) -> Network:
    """The network of an assembly, worked out once for a graph."""
    known: dict[str, Network] = graph.remembered.setdefault("sharing", {})
    if assembly not in known:
        known[assembly] = _network(graph, assembly)
    return known[assembly]


def _network(graph: Facts, assembly: str) -> Network:
    walked = proofs.explore(State("up", assembly), _up(graph, assembly, _alike_carriers(graph, assembly)))
    down: list[list[tuple[int, int]]] = [[] for _ in walked.states]
    for state, out in enumerate(walked.steps):
        for to, label in out:
            down[to].append((state, label))
    upward = Cheapest({0: 0.0}, walked.steps, walked.costs)
    owners = [s.owner for s in walked.states if s.phase == "at"]
    return Network(walked, down, upward, len(owners) == len(set(owners)))


def _up(graph: Facts, assembly: str, alike: Mapping[str, str]) -> Callable[[State], list[Step]]:
    """Steps from an assembly up to what is built on it, and along the rebadges of the sets met."""
    unlike = {name: [c for c, n in alike.items() if n == name] for name in alike.values()}

    def step(state: State) -> list[Step]:
        links = graph.links.get(state.owner, ())
        if state.phase == "at":
            out = assembly, *unlike[state.position]
            return [
                (State("at", k.other, state.position), k.fact)
                for k in links
                if not k.to_assembly and not leaves_out(graph, k, *out)
            ]
        return [
            (State("at", k.other, alike[state.owner]) if k.other[0] == "s" else State("up", k.other), k.fact)
            for k in links
            if k.to_assembly == state.owner and not leaves_out(graph, k, assembly)
        ]

    return step


def _alike_carriers(graph: Facts, assembly: str) -> dict[str, str]:
    """One name for the carriers that the same rebadges leave out, as far as they are met."""
    every = carriers(graph, assembly)
    named: dict[str, set[str]] = {c: set() for c in every}
    users = {f: k for c in every for k in graph.links.get(c, ()) if (f := k.other)[0] == "s"}
    family = proofs.spread(set(users), lambda s: [k.other for k in graph.links[s] if not k.to_assembly])
    for owner in family:
        for link in graph.links[owner]:
            if not link.to_assembly and link.fact.args[2]:
                for carrier in every:
                    if leaves_out(graph, link, carrier):
                        named[carrier].add(link.fact.id)
    first: dict[frozenset[str], str] = {}
    return {c: first.setdefault(frozenset(facts), c) for c, facts in named.items()}


def down_and_up(graph: Facts, assembly: str) -> Callable[[State], list[Step]]:
    """Steps from a set (state `from`) down to an assembly it is built on, and up again (state `sharing`).

    A rebadge that leaves out the assembly, or the one that carries it, is no way.
    """
    each = {c: c for c in carriers(graph, assembly)}
    up = _up(graph, assembly, each)

    def down(state: State) -> list[Step]:
        links = graph.links.get(state.owner, ())
        into = [
            (State("in", k.other), k.fact)
            for k in links
            if k.to_assembly == k.other and k.other in each and not leaves_out(graph, k, assembly)
        ]
        if state.phase == "in":
            return [*into, *([(State("up", assembly), None)] if state.owner == assembly else [])]
        across = [(State("down", s.owner, s.position), f) for s, f in up(State("at", *state[1:]))]
        return [*across, *(i for i in into if i[0].owner == state.position)]

    def step(state: State) -> list[Step]:
        if state.phase == "from":
            return [(State("down", state.owner, carrier), None) for carrier in each]
        if state.phase in ("down", "in"):
            return down(state)
        if state.phase == "sharing":
            return []
        ended = [(State("sharing", state.owner), None)] if state.phase == "at" else []
        return [*up(state), *ended]

    return step
