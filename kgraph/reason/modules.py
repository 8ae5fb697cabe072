"""A network taken apart at states that every way to what lies behind them must pass.

A state d *dominates* those that cannot be reached but through it (Lengauer and Tarjan, 1979). Where no fact
that serves behind d serves elsewhere too, and no step leads out from behind it, what lies behind d is a
*module*: it is reached with the chance that d is, times the chance within the module, and the best way to it
is the best way to d and the best way within. Dominators by Cooper, Harvey and Kennedy, "A Simple, Fast
Dominance Algorithm" (2001).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from kgraph.reason.walk import Steps, depth_first, entries_of

MOST_CLIMBED = 2_000_000
"""So many steps are climbed in the tree of dominators to find modules; beyond, the network is one."""


class Module(NamedTuple):
    """The states behind one entry; steps into each are from the entry or from other members."""

    entry: int
    members: tuple[int, ...]
    into: tuple[tuple[tuple[int, int], ...], ...]
    """For each member the steps into it: (0 for the entry, 1 + index of a member; fact or -1)."""


class Parts(NamedTuple):
    """The modules of a network, those nearer to the start first, and to which each state belongs (or -1)."""

    modules: list[Module]
    module_of: list[int]


def take_apart(steps: Steps) -> Parts:
    """The modules of the states that are reached from state 0."""
    order = depth_first(steps)
    into = entries_of(steps)
    above = _dominators(order, into)
    tree = _DominatorTree(above, order)
    kept = [
        [(s, n) for s, n in into[v] if above[s] >= 0 and not tree.dominates(v, s)] for v in range(len(steps))
    ]
    cuts = _cuts(order, kept, tree)
    return _modules(order, kept, above, cuts)


def _dominators(order: Sequence[int], into: Sequence[Sequence[tuple[int, int]]]) -> list[int]:
    """For each state the nearest one that dominates it; of the start itself; -1 where it is not reached."""
    rank = [-1] * len(into)
    for number, state in enumerate(order):
        rank[state] = number
    above = [-1] * len(into)
    above[0] = 0
    changed = True
    while changed:
        changed = False
        for state in order[1:]:
            found = -1
            for source, _ in into[state]:
                if above[source] < 0:
                    continue
                if found < 0:
                    found = source
                    continue
                other = source
                while found != other:
                    while rank[found] > rank[other]:
                        found = above[found]
                    while rank[other] > rank[found]:
                        other = above[other]
            if found != above[state]:
                above[state], changed = found, True
    return above


class _DominatorTree:
    """The tree of dominators, each state with when it is entered and left on a tour of the tree."""

    def __init__(self, above: Sequence[int], order: Sequence[int]) -> None:
        self.above = above
        below: list[list[int]] = [[] for _ in above]
        for state in order[1:]:
            below[above[state]].append(state)
        self.first, self.last = [-1] * len(above), [-1] * len(above)
        clock, todo = 0, [(0, False)]
        while todo:
            state, left = todo.pop()
            if left:
                self.last[state] = clock
                continue
            self.first[state] = clock = clock + 1
            todo.append((state, True))
            todo += [(s, False) for s in below[state]]

    def dominates(self, one: int, other: int) -> bool:
        """Whether one state dominates the other, or is it."""
        return self.first[one] <= self.first[other] <= self.last[one]


def _cuts(
    order: Sequence[int], into: Sequence[Sequence[tuple[int, int]]], tree: _DominatorTree
) -> list[bool]:
    """Which states have a module behind them."""
    cut = [True] * len(into)
    left = MOST_CLIMBED
    reached_by: dict[int, int] = {}
    for state in order[1:]:
        pairs = [(source, tree.above[state]) for source, _ in into[state]]
        for _, label in into[state]:
            if label >= 0:
                other = reached_by.setdefault(label, state)
                if other != state:
                    pairs += [(state, tree.above[other]), (other, tree.above[state])]
                    reached_by[label] = state
        for low, high in pairs:
            left -= _climb(cut, tree, low, high)
            if left < 0:
                return [state == 0 for state in range(len(into))]
    cut[0] = True
    return cut


def _climb(cut: list[bool], tree: _DominatorTree, low: int, high: int) -> int:
    """No cut is a state that strictly dominates `low` and does not dominate `high`; how many there are."""
    here, count = tree.above[low], 1
    while not tree.dominates(here, high):
        cut[here] = False
        here, count = tree.above[here], count + 1
    return count


def _modules(
    order: Sequence[int], into: Sequence[Sequence[tuple[int, int]]], above: Sequence[int], cut: Sequence[bool]
) -> Parts:
    entry = [-1] * len(above)
    members: dict[int, list[int]] = {}
    for state in order[1:]:
        here = above[state]
        entry[state] = here if cut[here] else entry[here]
        members.setdefault(entry[state], []).append(state)
    modules: list[Module] = []
    module_of = [-1] * len(above)
    for start, found in members.items():
        found.sort()
        place = {start: 0, **{s: i for i, s in enumerate(found, 1)}}
        inner = tuple(tuple((place[s], n) for s, n in into[v]) for v in found)
        for state in found:
            module_of[state] = len(modules)
        modules.append(Module(start, tuple(found), inner))
    return Parts(modules, module_of)
