"""Which sets, or parts, may be one design though no fact joins them yet; and how well that is guessed."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping
from typing import NamedTuple

from kgraph.claims import DistinctClaim, RebadgeClaim, SameClaim
from kgraph.facts import Fact
from kgraph.fits.graph import Graph, left_out
from kgraph.names import compared
from kgraph.questions.answer import less_certain
from kgraph.recognition import differing, spreading, traits
from kgraph.recognition.pairs import Had, Pair, Record, Weighing, probability
from kgraph.recognition.pooled import pooled
from kgraph.records import SetModel

LEAST_SHOWN = 0.001
"""Pairs less likely than this are not told."""


class Likely(NamedTuple):
    """One pair as answered: what is for and against it, and what would settle it."""

    pair: Pair
    settle: str
    alike: int
    """How many other pairs of the same two families are left out for this one."""


class Guessed(NamedTuple):
    """Pairs, best first; and how many groups of records that share a value were left uncompared."""

    pairs: list[Likely]
    left_out: int
    less: str = ""
    """How many pairs are less certain than was asked for, and left out; "" for none."""

    def at_least(self, certainty: float) -> Guessed:
        """The same without what is less certain."""
        kept = [p for p in self.pairs if p.pair.probability >= certainty]
        return self._replace(
            pairs=kept, less=less_certain((p.pair.probability for p in self.pairs), certainty)
        )


class TriedPairs(NamedTuple):
    """How often a hidden rebadge came back, and how much of what was given a probability was true."""

    hidden: int
    joined: int
    """Rebadges that hide nothing, as other facts join the two."""
    first: Mapping[int, int]
    """1, 3, 10 -> how many came back among so many."""
    bands: Mapping[int, tuple[int, int]]
    """Tenth of the probability -> (pairs given it, those true)."""


def weighing_of_sets(graph: Graph) -> Weighing:
    """The keys, places and assemblies of all sets, and what recorded rebadges tell of them.

    What is not recorded of a set is taken from its sisters (see :mod:`pooled`).
    """
    if "likely sets" not in graph.remembered:
        rows: dict[str, dict[str, Had]] = {
            key: {o: Had(v) for o, v in of.items()} for key, of in differing.rows(graph).items()
        }
        beside = frozenset((*traits.places(graph), *traits.kinds_of_assembly(graph))) - rows.keys()
        for key in sorted(beside):
            direct = traits.recorded(graph, key).direct
            own = {o: Had(k.values, k.certainty) for o, k in direct.items() if o[0] == "s"}
            if len(own) > 1:
                rows.setdefault(key, own)
        known = {
            (f.claim.one, f.claim.other): left_out(graph, f.left_out)
            for f in graph.data.facts.values()
            if isinstance(f.claim, RebadgeClaim) and f.certainty > 0
        }
        sizes = Counter(traits.families(graph).values())
        inside, every = sum(map(_pairs, sizes.values())), _pairs(sizes.total())
        made = Weighing(rows, differing.groups(graph), _odds(inside, every), tuple(known), known, beside)
        made.has = _pooled(graph, made, traits.families(graph))
        graph.remembered["likely sets"] = made
    found: Weighing = graph.remembered["likely sets"]
    return found


def weighing_of_parts(graph: Graph) -> Weighing:
    """The kind, sizes and places of all parts, and what recorded `same` facts tell of them."""
    rows: dict[str, dict[str, Had]] = defaultdict(dict)
    for part, things in graph.data.things["part"].items():
        values: dict[str, set[str]] = defaultdict(set)
        for name, value in (pair for t in things for pair in t.attributes):
            if compared(name) not in traits.NOT_TRAITS:
                values[compared(name)] |= {compared(t) for t in traits.texts_of(value)}
        if kind := graph.data.kind_of(part):
            values["kind"].add(kind)
        for key, found in values.items():
            if found:
                rows[key][part] = Had(frozenset(found))
    for part, taken in graph.takes_of.items():
        rows["place"][part] = Had(frozenset(place.position for place, _, _ in taken))
    known = [
        (f.claim.one, f.claim.other) for f in graph.data.facts.values() if isinstance(f.claim, SameClaim)
    ]
    every = _pairs(len(graph.data.known("part")))
    return Weighing(rows, {}, _odds(len(known), every), tuple(known))


def _pairs(n: int) -> int:
    return n * (n - 1) // 2


def _odds(true: int, every: int) -> float:
    """The log2 of the odds of a pair: those known to be one against all, one added to either."""
    return math.log2((true + 1) / (max(every - true, 0) + 1))


def likely_sets(graph: Graph, of: str = "") -> Guessed:
    """The pairs of sets, or those of one set, best first; one for each two families."""
    family = traits.families(graph)
    weighing = weighing_of_sets(graph)
    names = {**traits.keys_of(graph)}
    apart = {frozenset(f.claim) for f in graph.data.facts.values() if isinstance(f.claim, DistinctClaim)}
    told_apart = {frozenset(family.get(o, o) for o in pair) for pair in apart}

    def may(one: str, other: str) -> bool:
        two = frozenset((family[one], family[other]))
        return len(two) == 2 and two not in told_apart and not one_badge(graph, one, other)

    pairs, left_out = _weighed(weighing, of, may)
    return Guessed(_one_for_two(weighing, pairs, lambda o: family[o], lambda k: names.get(k, k)), left_out)


def one_badge(graph: Graph, one: str, other: str) -> bool:
    """Whether two sets have the same badge: a rebadge is one design under two."""
    badges = [_badge(graph, owner) for owner in (one, other)]
    return bool(badges[0]) and badges[0] == badges[1]


def _badge(graph: Graph, owner: str) -> str:
    declared = graph.data.declared("set", owner[2:])
    return compared(declared.badge) if isinstance(declared, SetModel) else ""


def likely_parts(graph: Graph) -> Guessed:
    """The pairs of parts that may be the same part under two numbers, best first."""
    weighing = weighing_of_parts(graph)
    name = {part: traits.one_name(graph, part) for part in graph.data.known("part")}
    kinds = weighing.rows.get("kind", {})

    def may(one: str, other: str) -> bool:
        return name.get(one, one) != name.get(other, other) and kinds.get(one) == kinds.get(other)

    pairs, left_out = _weighed(weighing, "", may)
    return Guessed(_one_for_two(weighing, pairs, lambda p: name.get(p, p), lambda k: k), left_out)


Weighed = list[tuple[float, str, str]]
"""Pairs of records with what their weights come to in bits, best first."""


def _weighed(weighing: Weighing, of: str, may: Callable[[str, str], bool]) -> tuple[Weighed, int]:
    left_out, has, m = 0, weighing.has, weighing.m
    if of:
        others = weighing.blocks.near(has.get(of, {})) - {of}
        compare: Iterable[tuple[str, str]] = ((of, o) for o in sorted(others))
    else:
        compare, left_out = weighing.blocks.pairs()
    found = [(weighing.bits(has[a], has[b], m), a, b) for a, b in compare if may(a, b)]
    return sorted(found, key=lambda p: (-p[0], p[1], p[2])), left_out


def _one_for_two(
    weighing: Weighing, pairs: Weighed, of: Callable[[str], str], name: Callable[[str], str]
) -> list[Likely]:
    """The best pair of each two families: one fact joins the whole of both."""
    best: dict[frozenset[str], tuple[float, str, str]] = {}
    counts: Counter[frozenset[str]] = Counter()
    for weighed in pairs:
        two = frozenset((of(weighed[1]), of(weighed[2])))
        best.setdefault(two, weighed)
        counts[two] += 1
    shown = {
        two: weighing.pair(one, other)
        for two, (bits, one, other) in best.items()
        if probability(bits) >= LEAST_SHOWN
    }
    return [Likely(p, _settle(weighing, p, name), counts[two] - 1) for two, p in shown.items()]


def _settle(weighing: Weighing, pair: Pair, name: Callable[[str], str]) -> str:
    """What to compare: the key that one of them has recorded and that is expected to say most."""
    half = [k for k, of in weighing.rows.items() if (pair.one in of) != (pair.other in of)]
    neither = [k for k, of in weighing.rows.items() if pair.one not in of and pair.other not in of]
    for keys in (half, neither):
        best = max(keys, key=lambda k: (weighing.informative(k), k), default="")
        if best and weighing.informative(best) > 0:
            return f"compare the {name(best)}"
    return "compare the two side by side"


def tried(graph: Graph) -> TriedPairs:
    """Hides each recorded rebadge in turn and looks where it comes back."""
    weighing, bands = weighing_of_sets(graph), defaultdict[int, list[int]](lambda: [0, 0])
    family = traits.families(graph)
    first = dict.fromkeys((1, 3, 10), 0)
    hidden = joined = 0
    for one, other in weighing.known:
        here, there = _parted(graph, one, other)
        if other in here:
            joined += 1
            continue
        hidden += 1
        given: dict[str, float] = {}
        mine, theirs = (_pooled(graph, weighing, sets) for sets in (here, there))
        near, m = weighing.blocks.near(mine[one]) - here, weighing.agreeing((one, other))
        pairs = [
            (-weighing.bits(mine[one], theirs.get(o) or weighing.has[o], m), o)
            for o in near
            if o == other or not one_badge(graph, one, o)
        ]
        for bits, near_one in sorted(pairs):
            of = other if near_one in there else family[near_one]
            given.setdefault(of, probability(-bits))
        for place, (of, chance) in enumerate(given.items(), 1):
            band = bands[min(int(chance * 10), 9)]
            band[0] += 1
            band[1] += of == other
            if of == other:
                for most in first:
                    first[most] += place <= most
    counted = {b: (all_, true) for b, (all_, true) in sorted(bands.items())}
    return TriedPairs(hidden, joined, first, counted)


def _pooled(graph: Graph, weighing: Weighing, sets: Iterable[str]) -> dict[str, Record]:
    return pooled(spreading.ties(graph), weighing.own, sets, weighing.m)


def _parted(graph: Graph, one: str, other: str) -> tuple[set[str], set[str]]:
    """What is left of the family at either end when the rebadge of the two is taken away."""
    return _within(graph, one, {one, other}), _within(graph, other, {one, other})


def _within(graph: Graph, start: str, without: set[str]) -> set[str]:
    found, todo = {start}, [start]
    while todo:
        here = todo.pop()
        for link in graph.links.get(here, ()):
            if not link.to_assembly and link.other not in found and {here, link.other} != without:
                found.add(link.other)
                todo.append(link.other)
    return found


def disagreeing(graph: Graph) -> list[Fact]:
    """Recorded rebadges whose two sets have two keys or more in common and agree in none of them."""
    table = differing.rows(graph)
    found = []
    for fact in graph.data.facts.values():
        if isinstance(fact.claim, RebadgeClaim):
            one, other, _ = fact.claim
            both = [of[one] & of[other] for of in table.values() if one in of and other in of]
            if len(both) > 1 and not any(both):
                found.append(fact)
    return found
