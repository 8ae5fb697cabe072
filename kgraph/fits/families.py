"""Exact certainty of every member of a family at once, however many ways lead round in it.

Where the steps of a walk are facts that hold both ways, each on one step, the walk is a network of
independent edges, and the question is two-terminal reliability from the start to every member. The
edges are decided one after another; what matters of those decided is which members of the open part
(the frontier) hang together, and that is all that is kept. One pass forward weighs these states, one
pass backward tells for each group of a state how likely it still comes to hang on the start. Beyond a
stated number of states the least likely are dropped: their weight is the width of the bounds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from kgraph.fits.certainty import Bounds
from kgraph.fits.proofs import Walked, spread

WORK = 60_000
"""States kept over all edges together, for each step of effort."""
LEAST = 200
"""States kept after an edge, however many edges there are."""


@dataclass(frozen=True)
class _Net:
    """Members numbered from the start (0) outwards, and the edges between them with their certainty."""

    member: dict[int, int]
    edges: list[tuple[int, int, float]]
    size: int


def all_members(walked: Walked, targets: Iterable[int], effort: int) -> dict[int, Bounds] | None:
    """The probability of reaching each target; None where the walk is no network of two-way edges."""
    wanted = set(targets)
    net = _network(walked, wanted)
    if net is None:
        return None
    found = _Passes(net, max(LEAST, WORK * effort // max(1, len(net.edges)))).run()
    return {t: found[net.member[t]] for t in wanted if t in net.member}


def reduced(walked: Walked, targets: Iterable[int]) -> tuple[Walked, dict[int, int]]:
    """The same question on fewer states, and the new number of each state kept; facts keep theirs.

    Left out are steps that go back where a step without any fact leads as well, and states on no way
    to a target; the two states of a place are made one where nothing else parts them.
    """
    steps = _without_returns(walked)
    useful = spread(set(targets), _into(steps)) | {0}
    names = _places(walked, steps, useful) or {s: s for s in useful}
    order = sorted(set(names.values()), key=lambda s: (s != names[0], s))
    number = {state: i for i, state in enumerate(order)}
    out: list[dict[tuple[int, int], None]] = [{} for _ in order]
    for state in sorted(useful):
        here = number[names[state]]
        for to, label in steps[state]:
            if to in useful and number[names[to]] != here:
                out[here][number[names[to]], label] = None
    states = [walked.states[s] for s in order]
    small = Walked(
        states, {s: i for i, s in enumerate(states)}, [list(o) for o in out], walked.facts, walked.costs
    )
    return small, {s: number[n] for s, n in names.items()}


# From a walk to a network ---------------------------------------------------------------------

_Edges = dict[int, list[tuple[int, int]]]


def _network(walked: Walked, targets: set[int]) -> _Net | None:
    steps = _without_returns(walked)
    useful = spread(targets, _into(steps))
    names = _places(walked, steps, useful) or {s: s for s in useful}
    start = names.get(0)
    if start is None:
        return None
    certain = {names[s] for s in _free(steps, useful)}
    pairs: dict[int, tuple[int, int]] = {}
    both: dict[int, set[tuple[int, int]]] = {}
    for state in useful:
        here = start if names[state] in certain else names[state]
        for to, label in steps[state]:
            if to not in useful:
                continue
            there = start if names[to] in certain else names[to]
            if there in (here, start):
                continue
            pair = (min(here, there), max(here, there))
            if label < 0 or pairs.setdefault(label, pair) != pair:
                return None
            both.setdefault(label, set()).add((here, there))
    if any(len(way) < 2 and start not in pairs[label] for label, way in both.items()):
        return None
    return _numbered(walked, pairs, start, {s: start if names[s] in certain else names[s] for s in useful})


def _into(steps: _Edges) -> Callable[[int], list[int]]:
    sources: dict[int, list[int]] = {}
    for state, out in steps.items():
        for to, _ in out:
            sources.setdefault(to, []).append(state)
    return lambda state: sources.get(state, [])


def _without_returns(walked: Walked) -> _Edges:
    """The steps, less those that go back where a step without any fact leads as well.

    A part met at one place only, by one fact, leads back to that place by the same fact; but what
    is original at a place goes there anyway.
    """
    entries: dict[int, set[tuple[int, int]]] = {}
    for state, out in enumerate(walked.steps):
        for to, label in out:
            entries.setdefault(to, set()).add((state, label))
    free = {(s, to) for s, out in enumerate(walked.steps) for to, label in out if label < 0}
    kept: _Edges = {}
    for state, out in enumerate(walked.steps):
        sole = next(iter(entries[state])) if len(entries.get(state, ())) == 1 else None
        kept[state] = [
            (to, label)
            for to, label in out
            if not (sole and label == sole[1] and label >= 0 and (sole[0], to) in free)
        ]
    return kept


def _places(walked: Walked, steps: _Edges, useful: set[int]) -> dict[int, int] | None:
    """One name for the two states of each place, where they differ by no more than the rule `goes :- is`."""
    if {walked.states[s].phase for s in useful} != {"is", "goes"}:
        return None
    name: dict[tuple[str, str], int] = {}
    names = {s: name.setdefault(walked.states[s][1:], s) for s in sorted(useful)}
    for state in useful:
        for to, label in steps[state]:
            crosses = to in useful and walked.states[to].phase != walked.states[state].phase
            if crosses and (label >= 0 or names[to] != names[state]):
                return None
    return names


def _free(steps: _Edges, useful: set[int]) -> set[int]:
    """What the start reaches without any fact."""
    return spread({0}, lambda s: [to for to, label in steps[s] if label < 0 and to in useful])


def _numbered(walked: Walked, pairs: dict[int, tuple[int, int]], start: int, names: dict[int, int]) -> _Net:
    beside: dict[int, list[int]] = {}
    for one, other in pairs.values():
        beside.setdefault(one, []).append(other)
        beside.setdefault(other, []).append(one)
    order, number = [start], {start: 0}
    for here in order:
        for there in sorted(beside.get(here, ())):
            if there not in number:
                number[there] = len(order)
                order.append(there)
    edges = [
        (min(number[a], number[b]), max(number[a], number[b]), walked.facts[label].certainty)
        for label, (a, b) in pairs.items()
        if a in number
    ]
    edges.sort(key=lambda e: (e[1], e[0]))
    return _Net({s: number[n] for s, n in names.items() if n in number}, edges, len(order))


# The two passes -------------------------------------------------------------------------------

_State = tuple[int, ...]
"""For each open member, the number of its group; group 0 holds the start, which stays open."""


@dataclass
class _Layer:
    """What one edge makes of each state: for each outcome (weight, groups, child, new numbers)."""

    retiring: list[tuple[int, int]]
    """(member, its place among the open ones) of the members whose last edge this is."""
    mass: list[float] = field(default_factory=list)
    outcomes: list[list[tuple[float, _State, int, dict[int, int]]]] = field(default_factory=list)
    dropped: float = 0.0


class _Passes:
    def __init__(self, net: _Net, most: int) -> None:
        self.net, self.most = net, most
        self.last = [-1] * net.size
        for at, (one, other, _) in enumerate(net.edges):
            self.last[one] = self.last[other] = at
        self.last[0] = len(net.edges)

    def run(self) -> list[Bounds]:
        """For each member the bounds of its probability to hang on the start."""
        return self._backward(self._forward())

    def _forward(self) -> list[_Layer]:
        layers: list[_Layer] = []
        open_members = [0]
        states: dict[_State, float] = {(0,): 1.0}
        for at, (one, other, chance) in enumerate(self.net.edges):
            fresh = [m for m in (one, other) if m not in open_members]
            open_members = [*open_members, *fresh]
            retiring = [(m, i) for i, m in enumerate(open_members) if self.last[m] <= at]
            keep = [i for i, m in enumerate(open_members) if self.last[m] > at]
            ends = (open_members.index(one), open_members.index(other))
            layer, states = self._decide(states, ends, len(fresh), keep, chance, retiring)
            open_members = [open_members[i] for i in keep]
            layers.append(layer)
        return layers

    def _decide(
        self,
        states: dict[_State, float],
        ends: tuple[int, int],
        fresh: int,
        keep: list[int],
        chance: float,
        retiring: list[tuple[int, int]],
    ) -> tuple[_Layer, dict[_State, float]]:
        layer = _Layer(retiring)
        following: dict[_State, float] = {}
        made: list[list[tuple[float, _State, _State, dict[int, int]]]] = []
        for state, mass in states.items():
            top = max(state) + 1
            apart = state + tuple(range(top, top + fresh))
            joined = _join(apart, apart[ends[0]], apart[ends[1]])
            mine = []
            for weight, groups in _outcomes(chance, apart, joined):
                child, numbers = _renumber([groups[i] for i in keep])
                following[child] = following.get(child, 0.0) + mass * weight
                mine.append((weight, groups, child, numbers))
            layer.mass.append(mass)
            made.append(mine)
        kept = following
        if len(following) > self.most:
            ranked = sorted(following.items(), key=lambda s: (-s[1], s[0]))
            kept = dict(ranked[: self.most])
            layer.dropped = sum(m for _, m in ranked[self.most :])
        index = {state: i for i, state in enumerate(kept)}
        layer.outcomes = [[(w, g, index.get(c, -1), n) for w, g, c, n in mine] for mine in made]
        return layer, kept

    def _backward(self, layers: list[_Layer]) -> list[Bounds]:
        low, high = [0.0] * self.net.size, [0.0] * self.net.size
        low[0] = high[0] = 1.0
        later: list[tuple[list[float], list[float]]] = [([1.0], [1.0])]
        for layer in reversed(layers):
            now = []
            for mass, outcomes in zip(layer.mass, layer.outcomes, strict=True):
                now.append(self._weigh(outcomes, later))
                for weight, groups, child, numbers in outcomes:
                    for member, place in layer.retiring:
                        least, most = _chance(groups[place], child, numbers, later)
                        low[member] += mass * weight * least
                        high[member] += mass * weight * most
            later = now
        lost = 0.0
        for layer in layers:
            for member, _ in layer.retiring:
                high[member] += lost
            lost += layer.dropped
        exact = lost == 0.0
        return [
            Bounds(a, a) if exact else Bounds(a, min(1.0, max(a, b))) for a, b in zip(low, high, strict=True)
        ]

    def _weigh(
        self,
        outcomes: list[tuple[float, _State, int, dict[int, int]]],
        later: list[tuple[list[float], list[float]]],
    ) -> tuple[list[float], list[float]]:
        """For each group before the edge, the chance that it comes to hang on the start."""
        apart = outcomes[-1][1]  # Where the edge does not hold the groups are as before.
        top = max(apart) + 1
        low, high = [0.0] * top, [0.0] * top
        for weight, groups, child, numbers in outcomes:
            after = dict(zip(apart, groups, strict=True))
            for group, merged in after.items():
                least, most = _chance(merged, child, numbers, later)
                low[group] += weight * least
                high[group] += weight * most
        return low, high


def _outcomes(chance: float, apart: _State, joined: _State) -> list[tuple[float, _State]]:
    """(weight, groups) where the edge holds and where it does not; the last is always the second."""
    return [(chance, joined), (1.0 - chance, apart)]


def _join(groups: _State, one: int, other: int) -> _State:
    if one == other:
        return groups
    into, gone = (one, other) if one < other else (other, one)
    return tuple(into if g == gone else g for g in groups)


def _renumber(groups: list[int]) -> tuple[_State, dict[int, int]]:
    """The groups numbered in the order met, the start's staying 0; and the new number of each old one."""
    numbers = {0: 0}
    return tuple(numbers.setdefault(g, len(numbers)) for g in groups), numbers


def _chance(
    group: int, child: int, numbers: dict[int, int], later: list[tuple[list[float], list[float]]]
) -> tuple[float, float]:
    if group == 0:
        return 1.0, 1.0
    after = numbers.get(group)
    if after is None:
        return 0.0, 0.0
    if child < 0:
        return 0.0, 1.0
    low, high = later[child]
    return low[after], high[after]
