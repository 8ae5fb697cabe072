"""Exact reachability in a network of independent two-way edges, from one member to all others.

This is two-terminal network reliability for every member at once. The network is first taken apart
where a single member holds it together (its blocks): what hangs on such a member is reached by the
product of the two. Within a block the edges are decided one after another, in an order that keeps few
members open, and of what is decided only the groups of open members that hang together are kept. One
pass forward weighs these states, one pass backward tells for each group how likely it still comes to
hang on the start. Beyond a stated number of states the least likely are dropped: their weight is the
width of the bounds.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple, TypeVar

from kgraph.fits.certainty import Bounds
from kgraph.fits.graph import Facts

Edge = tuple[int, int, float]
"""Two members, and how certain it is that they hang together."""

KEPT = 40_000
"""Tables of blocks that are remembered; families meet the same block at every one of their places."""


FAILING_WORK = 100_000
"""What may be spent on seeing each edge of a block fail: few states are kept where there are many edges."""
FEWEST = 20
"""States kept at each edge however many there are, to see what is left without one."""


class Way(NamedTuple):
    """How a member is reached: through which block, as which of its members, and from which before."""

    block: int
    member: int
    through: int


class Block(NamedTuple):
    """Edges that no single member holds apart: members numbered from the one nearest the start (0)."""

    edges: tuple[Edge, ...]
    numbers: tuple[int, ...]
    """For each edge, which one of the network it is."""
    size: int


class Tree(NamedTuple):
    """A network taken apart: its blocks, and for each member within reach the way to it."""

    blocks: tuple[Block, ...]
    ways: dict[int, Way]
    start: int


def take_apart(edges: Sequence[Edge], start: int) -> Tree:
    """The blocks of the part of a network that hangs on the start (Hopcroft and Tarjan's search)."""
    return _Search(edges, start).tree()


class _Search:
    def __init__(self, edges: Sequence[Edge], start: int) -> None:
        self.edges, self.start = edges, start
        self.beside: dict[int, list[tuple[int, int]]] = {}
        for number, (one, other, _) in enumerate(edges):
            if one != other:
                self.beside.setdefault(one, []).append((other, number))
                self.beside.setdefault(other, []).append((one, number))
        self.blocks: list[Block] = []
        self.ways: dict[int, Way] = {}

    def tree(self) -> Tree:
        depth, low = {self.start: 0}, {self.start: 0}
        held: list[int] = []
        stack = [(self.start, -1, iter(self.beside.get(self.start, ())))]
        while stack:
            here, came_by, ways = stack[-1]
            step = next(ways, None)
            if step is None:
                stack.pop()
                if stack:
                    self._leave(stack[-1][0], here, came_by, depth, low, held)
                continue
            there, number = step
            if number == came_by:
                continue
            if there not in depth:
                depth[there] = low[there] = len(stack)
                held.append(number)
                stack.append((there, number, iter(self.beside[there])))
            elif depth[there] < depth[here]:
                held.append(number)
                low[here] = min(low[here], depth[there])
        return Tree(tuple(self.blocks), self.ways, self.start)

    def _leave(
        self, above: int, here: int, came_by: int, depth: dict[int, int], low: dict[int, int], held: list[int]
    ) -> None:
        low[above] = min(low[above], low[here])
        if low[here] < depth[above]:
            return
        at = len(held) - 1
        while held[at] != came_by:
            at -= 1
        self._block(above, held[at:])
        del held[at:]

    def _block(self, root: int, numbers: list[int]) -> None:
        local = {root: 0}
        edges = []
        for number in numbers:
            one, other, chance = self.edges[number]
            a, b = local.setdefault(one, len(local)), local.setdefault(other, len(local))
            edges.append((min(a, b), max(a, b), chance))
        for member, place in local.items():
            if place:
                self.ways[member] = Way(len(self.blocks), place, root)
        self.blocks.append(Block(tuple(edges), tuple(numbers), len(local)))


class Failing(NamedTuple):
    """For each edge of a block and each member the chance that is left should the edge not hold."""

    left: list[list[float]]
    exact: bool


class Tables:
    """What was worked out for a block, so that no other question has to do it again."""

    def __init__(self) -> None:
        self.reached: dict[_Key, list[Bounds]] = {}
        self.failed: dict[_Key, Failing] = {}

    def of(self, block: Block, most: int, companion: int = 0) -> list[Bounds]:
        """For each member of a block the chance that it hangs on member 0, and the companion does too."""
        if len(block.edges) == 1:
            chance = Bounds(block.edges[0][2], block.edges[0][2])
            return [chance if companion else _SURE, chance]
        key = (block.edges, most, companion)
        return _remembered(self.reached, key, lambda: _Passes(block, most, companion).run())

    def without_each(self, block: Block, most: int) -> Failing:
        """The same for each edge of the block, should that edge not hold."""
        if len(block.edges) == 1:
            return _ALONE
        return _remembered(self.failed, (block.edges, most, 0), lambda: self._without_each(block, most))

    def _without_each(self, block: Block, most: int) -> Failing:
        fewer = min(most, max(FEWEST, FAILING_WORK // len(block.edges) ** 2))
        found = _Failures(_Passes(block, fewer)).run()
        if fewer == most or found.exact:
            return found
        whole, base = self.of(block, most), self.of(block, fewer)
        scale = [a.low / b.low if b.low else 0.0 for a, b in zip(whole, base, strict=True)]
        return Failing([[v * k for v, k in zip(row, scale, strict=True)] for row in found.left], False)

    def all_of(self, tree: Tree, most: int) -> dict[int, Bounds]:
        """For each member within reach the chance that it hangs on the start."""
        return self._hung(tree, {tree.start: _SURE}, most)

    def all_with(self, tree: Tree, companion: int, most: int) -> dict[int, Bounds]:
        """For each member within reach the chance that it hangs on the start and the companion does too."""
        if companion not in tree.ways:
            return {}
        alone = self.all_of(tree, most)
        found = {tree.start: alone[companion]}
        here, so_far = companion, _SURE
        while here != tree.start:
            way = tree.ways[here]
            joint = self.of(tree.blocks[way.block], most, way.member)
            rest = _product(so_far, alone[way.through])
            for member, other in tree.ways.items():
                if other.block == way.block and member not in found:
                    found[member] = _product(rest, joint[other.member])
            found[here] = alone[companion]
            so_far = _product(so_far, self.of(tree.blocks[way.block], most)[way.member])
            here = way.through
        return self._hung(tree, found, most)

    def _hung(self, tree: Tree, found: dict[int, Bounds], most: int) -> dict[int, Bounds]:
        """What is found for some members, and for all that hang on the start by these."""
        tables = [self.of(block, most) for block in tree.blocks]
        for member in tree.ways:
            path = [member]
            while path[-1] not in found:
                path.append(tree.ways[path[-1]].through)
            for here in reversed(path[:-1]):
                way = tree.ways[here]
                found[here] = _product(found[way.through], tables[way.block][way.member])
        return found


def tables_of(graph: Facts) -> Tables:
    """The tables that the questions asked of a graph share."""
    tables: Tables = graph.remembered.setdefault("blocks", Tables())
    return tables


_SURE, _NEVER = Bounds(1.0, 1.0), Bounds(0.0, 0.0)
_ALONE = Failing([[1.0, 0.0]], True)


def _product(one: Bounds, other: Bounds) -> Bounds:
    return Bounds(one.low * other.low, one.high * other.high)


_Key = tuple[tuple[Edge, ...], int, int]
_Found = TypeVar("_Found")


def _remembered(known: dict[_Key, _Found], key: _Key, work: Callable[[], _Found]) -> _Found:
    found = known.get(key)
    if found is None:
        if len(known) >= KEPT:
            known.clear()
        found = known[key] = work()
    return found


# The two passes -------------------------------------------------------------------------------

_Later = list[tuple[list[float], list[float]]]
"""For each state, what each of its groups is worth: lower and upper bounds."""
_State = tuple[int, ...]
"""For each open member, the number of its group; group 0 holds the start, which stays open."""


class _Layer:
    """What one edge makes of each state: for each outcome (weight, groups, child, new numbers)."""

    def __init__(self, retiring: list[tuple[int, int]]) -> None:
        self.retiring = retiring
        """(member, its place among the open ones) of the members whose last edge this is."""
        self.mass: list[float] = []
        self.outcomes: list[list[tuple[float, _State, int, dict[int, int]]]] = []
        self.dropped = 0.0


class _Passes:
    """Two passes over a block's edges; a companion, if any, has to hang on the start too, and stays open."""

    def __init__(self, block: Block, most: int, companion: int = 0) -> None:
        self.companion = companion
        self.order = _order(block)
        self.edges, self.size, self.most = [block.edges[n] for n in self.order], block.size, most
        self.last = [-1] * block.size
        for at, (one, other, _) in enumerate(self.edges):
            self.last[one] = self.last[other] = at
        self.last[0] = self.last[companion] = len(self.edges)

    def run(self) -> list[Bounds]:
        """For each member the bounds of its probability to hang on the start."""
        return self._backward(self._forward())

    def _forward(self) -> list[_Layer]:
        layers: list[_Layer] = []
        open_members = [0]
        states: dict[_State, float] = {(0,): 1.0}
        for at, (one, other, chance) in enumerate(self.edges):
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
        kept = {state: mass for state, mass in following.items() if mass > 0.0}
        if len(kept) > self.most:
            ranked = sorted(kept.items(), key=lambda s: (-s[1], s[0]))
            kept = dict(ranked[: self.most])
            layer.dropped = sum(m for _, m in ranked[self.most :])
        index = {state: i for i, state in enumerate(kept)}
        layer.outcomes = [[(w, g, index.get(c, -1), n) for w, g, c, n in mine] for mine in made]
        return layer, kept

    def _backward(self, layers: list[_Layer]) -> list[Bounds]:
        low, high = [0.0] * self.size, [0.0] * self.size
        later = self._ends(layers[-1])
        for layer in reversed(layers):
            now = []
            for mass, outcomes in zip(layer.mass, layer.outcomes, strict=True):
                now.append(self._weigh(outcomes, later))
                for weight, groups, child, numbers in outcomes:
                    for member, place in layer.retiring:
                        least, most = self._chance(groups[place], child, numbers, later)
                        low[member] += mass * weight * least
                        high[member] += mass * weight * most
            later = now
        for member in {0, self.companion}:
            low[member], high[member] = later[0][0][0], later[0][1][0]
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
        later: _Later,
    ) -> tuple[list[float], list[float]]:
        """For each group before the edge, the chance that it comes to hang on the start."""
        apart = outcomes[-1][1]  # Where the edge does not hold the groups are as before.
        top = max(apart) + 1
        low, high = [0.0] * top, [0.0] * top
        for weight, groups, child, numbers in outcomes:
            after = dict(zip(apart, groups, strict=True))
            for group, merged in after.items():
                least, most = self._chance(merged, child, numbers, later)
                low[group] += weight * least
                high[group] += weight * most
        return low, high

    def _ends(self, layer: _Layer) -> _Later:
        """What each group is worth in each state that the last edge leaves."""
        if not self.companion:
            return [([1.0], [1.0])]
        made = {c: n for outcomes in layer.outcomes for _, groups, c, n in outcomes if c >= 0}
        # A state with two numbers has the companion still apart from the start.
        ends = [[1.0] if len(made[c]) == 1 else [0.0, 0.0] for c in sorted(made)]
        return [(end, end) for end in ends]

    def _chance(self, group: int, child: int, numbers: dict[int, int], later: _Later) -> tuple[float, float]:
        if group == 0 and not self.companion:
            return 1.0, 1.0
        after = numbers.get(group)
        if after is None:
            return 0.0, 0.0
        if child < 0:
            return 0.0, 1.0
        low, high = later[child]
        return low[after], high[after]


def _order(block: Block) -> list[int]:
    """The numbers of the edges in an order that keeps few members open.

    The next member to be closed is the open one that opens the fewest others. The start is left out of
    account: what hangs on it is one group already.
    """
    beside: dict[int, dict[int, int]] = {m: {} for m in range(block.size)}
    for number, (one, other, _) in enumerate(block.edges):
        beside[one][number], beside[other][number] = other, one
    unseen, done = set(range(1, block.size)), {0}
    waiting: dict[int, None] = {}
    order: list[int] = []
    while unseen or waiting:
        here = min(waiting or unseen, key=lambda m: (len(unseen.intersection(beside[m].values())), m))
        waiting.pop(here, None)
        unseen.discard(here)
        for number, there in beside[here].items():
            if there == 0 or there not in done:
                order.append(number)
            if there in unseen:
                unseen.discard(there)
                waiting[there] = None
        done.add(here)
    return order


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


# What is left without each edge ---------------------------------------------------------------


class _Value(NamedTuple):
    """The chance that a group comes to hang on the start: as it is, and should each later edge not hold."""

    now: float
    failed: list[float]


class _Failures:
    """Both passes once more, with a number for each edge that fails in place of one number."""

    def __init__(self, passes: _Passes) -> None:
        self.passes, self.layers = passes, passes._forward()
        edges = len(self.layers)
        self.left = [[0.0] * passes.size for _ in range(edges)]
        for row in self.left:
            row[0] = 1.0

    def run(self) -> Failing:
        """For each edge of the block, as it numbers them, what is left for each member."""
        weights = self._weights()
        later = [[_Value(1.0, [])]]
        for at in range(len(self.layers) - 1, -1, -1):
            self._retire(at, weights[at], later)
            later = [_before(outcomes, later) for outcomes in self.layers[at].outcomes]
        placed: list[list[float]] = [[]] * len(self.left)
        for number, row in zip(self.passes.order, self.left, strict=True):
            placed[number] = row
        return Failing(placed, all(layer.dropped == 0.0 for layer in self.layers))

    def _weights(self) -> list[list[list[float]]]:
        """For each layer and state, how likely the state is should each of the earlier edges not hold."""
        found: list[list[list[float]]] = [[[]]]
        sizes = [len(layer.mass) for layer in self.layers[1:]] + [1]
        for at, (layer, size) in enumerate(zip(self.layers, sizes, strict=True)):
            following = [[0.0] * (at + 1) for _ in range(size)]
            for mass, given, outcomes in zip(layer.mass, found[at], layer.outcomes, strict=True):
                for own, (weight, _, child, _) in zip((0.0, mass), outcomes, strict=True):
                    if child >= 0:
                        more = [*(weight * g for g in given), own]
                        following[child] = [a + b for a, b in zip(following[child], more, strict=True)]
            found.append(following)
        return found

    def _retire(self, at: int, weights: list[list[float]], later: list[list[_Value]]) -> None:
        """What is left for the members whose last edge this is, should each edge not hold."""
        layer = self.layers[at]
        for member, place in layer.retiring:
            for mass, given, outcomes in zip(layer.mass, weights, layer.outcomes, strict=True):
                value = _mean(outcomes, [o[1][place] for o in outcomes], later)
                for edge, likely in enumerate(given):
                    self.left[edge][member] += likely * value.now
                for edge, chance in enumerate(value.failed, at):
                    self.left[edge][member] += mass * chance


_Outcomes = list[tuple[float, _State, int, dict[int, int]]]


def _before(outcomes: _Outcomes, later: list[list[_Value]]) -> list[_Value]:
    """The value of each group before an edge from those after it."""
    apart = outcomes[-1][1]
    merged: list[list[int]] = [[] for _ in range(max(apart) + 1)]
    for _, groups, _, _ in outcomes:
        for group, into in dict(zip(apart, groups, strict=True)).items():
            merged[group].append(into)
    return [_mean(outcomes, into, later) for into in merged]


def _mean(outcomes: _Outcomes, groups: Sequence[int], later: list[list[_Value]]) -> _Value:
    """The value of a group, given what it is part of after each outcome; the last is that the edge fails."""
    holds, fails = (
        _value(group, child, numbers, later)
        for group, (_, _, child, numbers) in zip(groups, outcomes, strict=True)
    )
    p, q = outcomes[0][0], outcomes[1][0]
    failed = [p * a + q * b for a, b in zip(holds.failed, fails.failed, strict=True)]
    return _Value(p * holds.now + q * fails.now, [fails.now, *failed])


def _value(group: int, child: int, numbers: dict[int, int], later: list[list[_Value]]) -> _Value:
    length = len(later[0][0].failed)
    if group == 0:
        return _Value(1.0, [1.0] * length)
    after = numbers.get(group)
    return _Value(0.0, [0.0] * length) if after is None or child < 0 else later[child][after]
