"""Certainties where none is in reach exactly: the share of random worlds in which a state is reached.

A world is a choice of which facts hold. Many are drawn at once: each fact is one integer, a bit of it for
each world, set with the certainty of the fact. What holds at a state is the union, over the steps into it,
of what holds where the step comes from and the integer of its fact. Among the states of one strongly
connected component this is repeated until nothing changes; each component follows those that lead to it.
The bits come from the ids of the facts, so that the same folder gives the same digits everywhere.

The interval about a share is Chernoff's bound in the form of Hoeffding (1963, theorem 1, inequality 2.1):
of W worlds a share s or more is set with a chance of at most exp(-W D(s, p)), D being the relative entropy.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache

from kgraph.facts import Fact
from kgraph.reason.walk import Steps, components, entries_of

BLOCK = 32_768
"""Worlds drawn at once; fewer where a network has many states."""
MOST_BITS = 600_000_000
"""Bits that the states of a network may hold at once, besides those of its facts: 75 MB."""
FEWEST = 2_048
DIGITS = 16
"""Binary digits of a certainty that are drawn: it is off by less than a hundred thousandth."""
MISSED = 0.001
"""The chance that some interval of a question does not hold its value."""
WIDEST = 0.0295
"""How wide an interval may be; the contract asks for less than 0.03."""


def block_of(states: int) -> int:
    """How many worlds are drawn at once for a network of so many states."""
    return max(FEWEST, min(BLOCK, MOST_BITS // max(1, states) // FEWEST * FEWEST))


def worlds_wanted(answers: int, missed: float = MISSED) -> int:
    """So many worlds make every interval of so many answers narrow enough: a multiple of `FEWEST`.

    By Hoeffding's bound, sqrt(ln(2 m / missed) / 2 W) to each side.
    """
    exact = 2.0 * math.log(2.0 * max(1, answers) / missed) / WIDEST**2
    return math.ceil(exact / FEWEST) * FEWEST


@lru_cache(maxsize=16_000)
def bits(fact_id: str, certainty: float, block: int, width: int) -> int:
    """An integer of `width` bits, each set with a certainty; by the fact's id and the block's number."""
    whole = round(certainty * (1 << DIGITS))
    if whole >= 1 << DIGITS:
        return (1 << width) - 1
    source = random.Random(f"{fact_id} {block}")
    found = 0
    started = False
    for digit in range(DIGITS):
        one = whole >> digit & 1
        if not started and not one:
            continue
        started = True
        drawn = source.getrandbits(width)
        found = drawn | found if one else drawn & found
    return found


class DrawnNetwork:
    """A network of which blocks of worlds are drawn."""

    def __init__(self, steps: Steps, facts: Sequence[Fact]) -> None:
        self._steps, self._into = steps, entries_of(steps)
        self._facts = {n: facts[n] for n in sorted({n for out in steps for _, n in out if n >= 0})}
        self._components = list(components(steps, self._into))

    def reached(self, block: int, width: int) -> tuple[list[int], dict[int, int]]:
        """For each state the worlds where it is reached from state 0; for each fact those where it holds."""
        full = (1 << width) - 1
        holds = {n: bits(fact.id, fact.certainty, block, width) for n, fact in self._facts.items()}
        into = [[(s, full if n < 0 else holds[n]) for s, n in each] for each in self._into]
        found = [0] * len(into)
        found[0] = full
        for component in self._components:
            if len(component) > 1:
                _settle(component, self._steps, into, found)
                continue
            (state,) = component
            for source, fact in into[state]:
                found[state] |= found[source] & fact
        return found, holds


def _settle(
    component: list[int], steps: Steps, into: Sequence[Sequence[tuple[int, int]]], found: list[int]
) -> None:
    """Find the worlds of the states of one component; those that lead to it are settled."""
    waiting = dict.fromkeys(sorted(component), True)
    order = list(waiting)
    while order:
        following: set[int] = set()
        for state in order:
            waiting[state] = False
            here = found[state]
            for source, fact in into[state]:
                here |= found[source] & fact
            if here != found[state]:
                found[state] = here
                following.update(to for to, _ in steps[state] if waiting.get(to) is False)
        order = sorted(following)
        waiting.update(dict.fromkeys(order, True))


def interval(count: int, worlds: int, answers: int, missed: float = MISSED) -> tuple[float, float]:
    """Bounds of a chance of which `count` of `worlds` were drawn, right for all answers together."""
    most = math.log(2.0 * max(1, answers) / missed) / worlds
    return _bound(count, worlds, 0.0, most), _bound(count, worlds, 1.0, most)


@lru_cache(maxsize=100_000)
def _bound(count: int, worlds: int, end: float, most: float) -> float:
    """The chance between the share counted and `end` whose relative entropy from the share is `most`."""
    share = count / worlds
    near, far = share, end
    for _ in range(24):
        middle = (near + far) / 2.0
        if _relative_entropy(share, middle) > most:
            far = middle
        else:
            near = middle
    return far


def _relative_entropy(share: float, chance: float) -> float:
    found = 0.0
    if share > 0.0:
        found += share * math.log(share / chance) if chance > 0.0 else math.inf
    if share < 1.0:
        found += (1.0 - share) * math.log((1.0 - share) / (1.0 - chance)) if chance < 1.0 else math.inf
    return found


class Counts:
    """How often each wanted state is reached, and how often with and without each wanted fact."""

    def __init__(self, wanted: Iterable[int], facts: Iterable[tuple[int, int]] = (), beside: int = 0) -> None:
        """`facts`: pairs of a wanted state and a fact. `beside`: a state to be reached as well."""
        self.worlds = 0
        self.beside = beside
        self.count = dict.fromkeys(wanted, 0)
        self.with_fact: dict[int, dict[int, int]] = {}
        for state, fact in facts:
            self.with_fact.setdefault(state, {})[fact] = 0
        self.reaching_unexplored = dict.fromkeys(self.count, 0)

    def add(
        self, found: Sequence[int], holds: Mapping[int, int], width: int, unexplored: Iterable[int]
    ) -> None:
        """Count one block of worlds; `unexplored`: states from which anything might be reached."""
        anything = 0
        for state in unexplored:
            anything |= found[state]
        self.worlds += width
        for state in self.count:
            here = found[state] & found[self.beside]
            self.count[state] += here.bit_count()
            self.reaching_unexplored[state] += (here | anything).bit_count()
        for state, together in self.with_fact.items():
            here = found[state] & found[self.beside]
            for fact in together:
                together[fact] += (here & holds[fact]).bit_count()
