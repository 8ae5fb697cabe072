"""Answers as a net: each best proof walked again over its own facts, and all of them laid together.

A proof is a set of facts. Walking the rules with these facts alone gives the places and parts that it
leads through, in order. Past the boxes that can be read, what lies far out is folded, and told.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from kgraph.facts import Fact
from kgraph.reason.rules import State, Step

Node = tuple[str, str, str]
"""("part", key, "") or ("place", owner, position)."""

Hop = tuple[Node, Fact, Node]
Walk = Callable[[State], Iterable[Step]]

_PARTS = {"part", "asked", "alike", "older", "sized"}


def node_of(state: State) -> Node:
    """What a state of the rules is about."""
    if state.phase in _PARTS:
        return ("part", state.owner, "")
    return ("place", state.owner, state.position)


class Steps:
    """The steps out of a state, by the fact that allows them; each state is asked once."""

    def __init__(self, walk: Walk) -> None:
        self.walk = walk
        self.known: dict[State, dict[str, list[tuple[State, Fact | None]]]] = {}

    def of(self, state: State, facts: Iterable[str]) -> Iterable[tuple[State, Fact | None]]:
        """The steps that these facts allow, and those that need none."""
        if state not in self.known:
            by_fact: dict[str, list[tuple[State, Fact | None]]] = defaultdict(list)
            for to, fact in self.walk(state):
                by_fact[fact.id if fact else ""].append((to, fact))
            self.known[state] = by_fact
        found = self.known[state]
        for name in ("", *facts):
            yield from found.get(name, ())


def trail(steps: Steps, start: State, target: State, proof: Sequence[Fact]) -> list[Hop]:
    """The shortest way from start to target by the facts of a proof; steps without a fact are no hop."""
    facts = [f.id for f in proof]
    came: dict[State, tuple[State, Fact | None]] = {}
    queue = deque([start])
    while queue and target not in came:
        state = queue.popleft()
        for to, fact in steps.of(state, facts):
            if to not in came and to != start:
                came[to] = (state, fact)
                queue.append(to)
    hops: list[Hop] = []
    at = target
    while at != start and at in came:
        before, fact = came[at]
        if fact is not None:
            hops.append((node_of(before), fact, node_of(at)))
        at = before
    return hops[::-1]


@dataclass
class Net:
    """Nodes joined by facts, from a root outwards; `answers` are the nodes that were asked for."""

    root: Node
    answers: set[Node] = field(default_factory=set)
    hops: dict[Hop, None] = field(default_factory=dict)

    def add(self, hops: Iterable[Hop], answer: Node) -> None:
        """One answer with its trail."""
        self.answers.add(answer)
        self.hops.update(dict.fromkeys(hops))

    def nodes(self) -> list[Node]:
        """All nodes, the root first, then as they were met."""
        return list(dict.fromkeys([self.root, *(n for a, _, b in self.hops for n in (a, b)), *self.answers]))


@dataclass(frozen=True, slots=True)
class Bundle:
    """Nodes drawn as one box at the node they hang on: `near` by one hop each, `beyond` farther out."""

    parent: Node
    kind: str
    near: tuple[Node, ...]
    beyond: tuple[Node, ...]
    facts: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class Cut:
    """A net as it is drawn: nodes shown each for itself, and bundles."""

    shown: tuple[Node, ...]
    bundles: tuple[Bundle, ...]


class _NetTree:
    """The net as a tree from its root, by the fewest hops."""

    def __init__(self, net: Net) -> None:
        joined: dict[Node, list[tuple[Node, Fact]]] = defaultdict(list)
        for one, fact, other in net.hops:
            joined[one].append((other, fact))
            joined[other].append((one, fact))
        self.below: dict[Node, list[tuple[Node, Fact]]] = defaultdict(list)
        seen, queue = {net.root}, deque([net.root])
        while queue:
            node = queue.popleft()
            for other, fact in joined[node]:
                if other not in seen:
                    seen.add(other)
                    self.below[node].append((other, fact))
                    queue.append(other)

    def groups(self, node: Node) -> list[list[tuple[Node, Fact]]]:
        """The nodes one hop farther out, by the kind of fact."""
        by_kind: dict[str, list[tuple[Node, Fact]]] = defaultdict(list)
        for other, fact in self.below[node]:
            by_kind[fact.kind].append((other, fact))
        return list(by_kind.values())

    def farther(self, nodes: Iterable[Node]) -> tuple[Node, ...]:
        """All nodes that hang on these."""
        found, queue = [], deque(nodes)
        while queue:
            for other, _ in self.below[queue.popleft()]:
                found.append(other)
                queue.append(other)
        return tuple(found)


def cut(net: Net, most: int, part_of: Callable[[Node], str]) -> Cut:
    """The net with at most about `most` boxes: groups are opened from the cheapest on, the rest bundled.

    `part_of` sorts the nodes of a group too large to be opened (sets by their badge); a group is divided
    so where that still leaves few enough boxes.
    """
    tree = _NetTree(net)
    shown = [net.root]
    closed = [(net.root, group) for group in tree.groups(net.root)]
    while closed:
        costs = [_cost(tree, group) for _, group in closed]
        cheapest = min(range(len(closed)), key=lambda i: (costs[i], i))
        if len(shown) + len(closed) + costs[cheapest] > most:
            break
        _, group = closed.pop(cheapest)
        for node, _ in group:
            shown.append(node)
            closed += [(node, g) for g in tree.groups(node)]
    return Cut(tuple(shown), tuple(_bundles(tree, closed, most - len(shown), part_of)))


def _cost(tree: _NetTree, group: list[tuple[Node, Fact]]) -> int:
    """How many boxes more there are when a group is opened."""
    return len(group) - 1 + sum(len(tree.groups(node)) for node, _ in group)


def _bundles(
    tree: _NetTree,
    closed: list[tuple[Node, list[tuple[Node, Fact]]]],
    room: int,
    part_of: Callable[[Node], str],
) -> Iterable[Bundle]:
    room -= len(closed)
    for parent, group in sorted(closed, key=lambda item: len(item[1])):
        parts: dict[str, list[tuple[Node, Fact]]] = defaultdict(list)
        for node, fact in group:
            parts[part_of(node)].append((node, fact))
        divided = list(parts.values())
        if len(divided) - 1 > room:
            divided = [group]
        room -= len(divided) - 1
        for some in divided:
            near = tuple(node for node, _ in some)
            facts = tuple(fact for _, fact in some)
            yield Bundle(parent, facts[0].kind, near, tree.farther(near), facts)
