"""The exact probability that at least one of several proofs holds, and proven bounds where not.

Facts are independent, and a fact that several proofs share is counted once. Two methods: from the
minimal proofs, by Shannon expansion with independent groups taken apart; and, where a family has
too many proofs to list, by deciding its facts one after another while only the states of the open
part are kept (the frontier), as in exact network reliability. Beyond a stated number of states the
least likely ones are dropped, and what was dropped is the width of the bounds.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from kgraph.fits.proofs import Walked, leading_to

Labels = frozenset[int]

EFFORT = 1
"""The default effort; STATES * effort states are kept at each fact decided."""
STATES = 600
FEWEST_STATES = 20
WALK_WORK = 5_000_000
"""What may be spent on all targets of a question together, for each step of effort: states kept, times the
facts decided, times the members that a state tells of."""


class Bounds(NamedTuple):
    """A probability that lies between `low` and `high`; exact where they are equal."""

    low: float
    high: float

    @property
    def exact(self) -> bool:
        """Whether the two bounds are one number."""
        return self.low == self.high

    def at_least(self, best: float) -> Bounds:
        """These bounds, the lower one no less than a single proof's certainty; exact ones as they are."""
        return self if self.exact else Bounds(max(self.low, best), max(self.high, best))


class OutOfReach(Exception):
    """The work that a method may do was used up before it came to an end."""


def of_proofs(proofs: Iterable[Labels], certainty: Sequence[float], budget: int = 20_000) -> float:
    """The probability that all facts of at least one proof hold.

    Raises OutOfReach when more than `budget` expansions would be needed.
    """
    return _Expansion(certainty, budget).any_of(_minimal(proofs))


def _minimal(proofs: Iterable[Labels]) -> frozenset[Labels]:
    kept: list[Labels] = []
    for proof in sorted(set(proofs), key=len):
        if not any(k <= proof for k in kept):
            kept.append(proof)
    return frozenset(kept)


class _Expansion:
    def __init__(self, certainty: Sequence[float], budget: int) -> None:
        self.certainty = certainty
        self.left = budget
        self.known: dict[frozenset[Labels], float] = {}

    def any_of(self, proofs: frozenset[Labels]) -> float:
        """Probability of a minimal set of proofs."""
        if not proofs:
            return 0.0
        if frozenset() in proofs:
            return 1.0
        if len(proofs) == 1:
            (only,) = proofs
            return math.prod(self.certainty[i] for i in sorted(only))
        found = self.known.get(proofs)
        if found is None:
            self.left -= 1
            if self.left < 0:
                raise OutOfReach
            found = self.known[proofs] = self._expand(proofs)
        return found

    def _expand(self, proofs: frozenset[Labels]) -> float:
        common = frozenset.intersection(*proofs)
        if common:
            rest = _minimal(p - common for p in proofs)
            return math.prod(self.certainty[i] for i in sorted(common)) * self.any_of(rest)
        groups = _independent(proofs)
        if len(groups) > 1:
            return 1.0 - math.prod(1.0 - self.any_of(g) for g in groups)
        fact = _most_used(proofs)
        with_it = self.any_of(_minimal(p - {fact} for p in proofs))
        without = self.any_of(frozenset(p for p in proofs if fact not in p))
        chance = self.certainty[fact]
        return chance * with_it + (1.0 - chance) * without


def _most_used(proofs: Iterable[Labels]) -> int:
    count: dict[int, int] = {}
    for proof in proofs:
        for fact in proof:
            count[fact] = count.get(fact, 0) + 1
    return max(count, key=lambda f: (count[f], -f))


def _independent(proofs: frozenset[Labels]) -> list[frozenset[Labels]]:
    """The proofs in groups that share no fact, in a fixed order."""
    groups: list[tuple[set[int], list[Labels]]] = []
    for proof in sorted(proofs, key=sorted):
        touching = [g for g in groups if not g[0].isdisjoint(proof)]
        merged = (set(proof).union(*(g[0] for g in touching)), [proof, *(p for g in touching for p in g[1])])
        groups = [g for g in groups if g not in touching] + [merged]
    return [frozenset(g[1]) for g in groups]


def of_walk(walked: Walked, target: int, effort: int = EFFORT, shared_by: int = 1) -> Bounds:
    """The probability that the target can be reached, from the steps themselves; bounds if need be.

    Facts are decided in the order in which a search from the start meets them. A state of the open
    part is: which of its members the start reaches, which of them reach the target, and which
    reach which among the others. Equal states are one. `shared_by`: how many questions the states
    kept are divided among. Raises OutOfReach where even the fewest states for each are too much work, so
    that a family of many is not worked at for minutes.
    """
    part = _Part.cut(walked, target)
    if part is None:
        return Bounds(0.0, 0.0)
    states = max(FEWEST_STATES, STATES * effort // shared_by)
    if states * part.size * len(part.by_fact) * shared_by > WALK_WORK * effort:
        raise OutOfReach
    return _Frontier(part, states).run()


class _Part(NamedTuple):
    """The steps that lie on some way from start to target: certain ones apart from those of each fact."""

    size: int
    start: int
    target: int
    certain: list[tuple[int, int]]
    by_fact: list[tuple[float, list[tuple[int, int]]]]

    @staticmethod
    def cut(walked: Walked, target: int) -> _Part | None:

        useful = leading_to(walked, {target})
        if 0 not in useful:
            return None
        order = _breadth_first(walked, useful)
        number = {state: i for i, state in enumerate(order)}
        certain: list[tuple[int, int]] = []
        of_fact: dict[int, list[tuple[int, int]]] = {}
        for state in order:
            for to, label in walked.steps[state]:
                if to in number and to != 0 and state != target:
                    step = (number[state], number[to])
                    (certain if label < 0 else of_fact.setdefault(label, [])).append(step)
        decided = [(walked.facts[f].certainty, steps) for f, steps in of_fact.items()]
        decided.sort(key=lambda d: min(max(s) for s in d[1]))
        return _Part(len(order), 0, number[target], certain, decided)


def _breadth_first(walked: Walked, useful: set[int]) -> list[int]:
    order, seen, at = [0], {0}, 0
    while at < len(order):
        for to, _ in walked.steps[order[at]]:
            if to in useful and to not in seen:
                seen.add(to)
                order.append(to)
        at += 1
    return order


_State = tuple[tuple[int, int], ...]
"""(member, bit set of the members that it reaches), only for members of the open part."""


class _Frontier:
    def __init__(self, part: _Part, most: int) -> None:
        self.part, self.most = part, most
        self.start_bit, self.target_bit = 1 << part.start, 1 << part.target
        self.last = self._last_use()
        self.ends = (self._last_step(part.start), self._last_step(part.target))

    def _last_use(self) -> list[int]:
        """For each member, the last fact that has a step at it; start and target stay to the end."""
        last = [-1] * self.part.size
        for at, (_, steps) in enumerate(self.part.by_fact):
            for one, other in steps:
                last[one] = last[other] = at
        last[self.part.start] = last[self.part.target] = len(self.part.by_fact)
        return last

    def _last_step(self, member: int) -> int:
        """The last fact that has a step at this member, or -1."""
        return max(
            (at for at, (_, steps) in enumerate(self.part.by_fact) if any(member in s for s in steps)),
            default=-1,
        )

    def run(self) -> Bounds:
        reach = {member: 1 << member for member in range(self.part.size)}
        for one, other in self.part.certain:
            _join(reach, one, other)
        won = lost = 0.0
        layer: dict[_State, float] = {}
        state, verdict = self._settle(reach, -1)
        if verdict is not None:
            return Bounds(verdict, verdict)
        layer[state] = 1.0
        dropped = False
        for at, (chance, steps) in enumerate(self.part.by_fact):
            following: dict[_State, float] = {}
            for state, mass in layer.items():
                for holds, weight in ((True, chance), (False, 1.0 - chance)):
                    if weight == 0.0:
                        continue
                    after, verdict = self._decide(state, steps if holds else (), at)
                    if verdict is None:
                        following[after] = following.get(after, 0.0) + mass * weight
                    elif verdict:
                        won += mass * weight
                    else:
                        lost += mass * weight
            if len(following) > self.most:
                dropped = True
                ranked = sorted(following.items(), key=lambda s: (-s[1], s[0]))
                following = dict(ranked[: self.most])
            layer = following
        return Bounds(won, max(won, 1.0 - lost)) if dropped else Bounds(won, won)

    def _decide(
        self, state: _State, steps: Sequence[tuple[int, int]], at: int
    ) -> tuple[_State, float | None]:
        reach = dict(state)
        for one, other in steps:
            _join(reach, one, other)
        return self._settle(reach, at)

    def _settle(self, reach: dict[int, int], at: int) -> tuple[_State, float | None]:
        """The state without what no longer matters, and 1.0 or 0.0 where the question is settled."""
        from_start = reach.get(self.part.start, 0)
        if from_start & self.target_bit:
            return (), 1.0
        open_bits = 0
        for member in reach:
            if self.last[member] > at:
                open_bits |= 1 << member
        to_target = sum(1 << m for m, bits in reach.items() if bits & self.target_bit) & open_bits
        from_start &= open_bits
        cut_off = not (from_start & ~self.start_bit) and self.ends[0] <= at
        if cut_off or (not (to_target & ~self.target_bit) and self.ends[1] <= at):
            return (), 0.0
        kept = []
        for member, bits in sorted(reach.items()):
            here = 1 << member
            if not here & open_bits:
                continue
            if member == self.part.start:
                kept.append((member, from_start))
            elif here & to_target:
                kept.append((member, here | self.target_bit))
            elif here & from_start:
                kept.append((member, here))
            else:
                kept.append((member, bits & open_bits & ~from_start | here))
        return tuple(kept), None


def _join(reach: dict[int, int], one: int, other: int) -> None:
    """Add a step between two members and all that follows from it."""
    source, target = reach.get(one), reach.get(other)
    if source is None or target is None or source >> other & 1:
        return
    here = 1 << one
    for member, bits in reach.items():
        if bits & here:
            reach[member] = bits | target
