"""How often two sets differ: sisters among themselves (d1), sets of different families (d2); linked keys."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence, Set
from itertools import combinations
from typing import Any, NamedTuple, TypeVar

from kgraph.claims import RebadgeClaim
from kgraph.facts import Fact
from kgraph.fits.graph import Graph, left_out
from kgraph.names import fold
from kgraph.recognition import traits

WEIGHT = 10
"""What is assumed before anything is known weighs as much as so many pairs: a choice of our own."""
SISTERS_DIFFER = 0.25
OTHERS_DIFFER = 0.6
WEIGHT_AT_KEY = 4
"""What is counted of all keys weighs so many pairs at one key: a choice of our own."""
MOST_PAIRS = 2_000
MOST_SETS = 1_000
"""So many rebadges and sets are looked at for how often they differ and which keys go together."""
LEAST_TOGETHER = 5
"""Of so many sets at least two keys must be known before they are said to go together always."""

ALWAYS = 0.95
"""What is so in this share of the sets goes together: one misreading does not make two keys independent."""
USUAL = 0.8
"""A value that so many have is told by every other key, which says nothing of either."""

Rows = dict[str, dict[str, frozenset[str]]]


def rows(graph: Graph) -> Rows:
    """Key -> set -> what is recorded on the set itself."""
    known = {key: traits.recorded(graph, key).direct for key in traits.keys(graph).written}
    return {key: {o: has.values for o, has in of.items() if o[0] == "s"} for key, of in known.items()}


T = TypeVar("T")


class Differences(NamedTuple):
    """How often sisters differ (d1), at each key also, and how often sets of different families do (d2)."""

    sisters: float
    others: float
    compared: Mapping[str, tuple[int, int]]
    """Key -> pairs of sisters that both record it, and how many of them differ."""

    def sisters_at(self, key: str) -> float:
        """d1 at one key: what is counted there, and of all keys with the weight of so many pairs."""
        pairs, apart = self.compared.get(key, (0, 0))
        return (apart + self.sisters * WEIGHT_AT_KEY) / (pairs + WEIGHT_AT_KEY)


def differences(graph: Graph) -> Differences:
    """d1 and d2 of the folder, worked out once."""

    def made(form: Any) -> Differences:
        sisters, others, compared = form
        return Differences(sisters, others, {key: (n, apart) for key, (n, apart) in compared.items()})

    return traits.worked_out(graph, "differences", lambda: _differences(graph), made)


def _differences(graph: Graph) -> Any:
    """Of many rebadges and keys some are looked at, evenly spread, as `spread` has them."""
    table = {key: traits.recorded(graph, key).direct for key in traits.keys(graph).written}
    compared, apart = Counter[str](), Counter[str]()
    total, pairs = 0.0, 0
    rebadges = [f for f in graph.data.facts.values() if f.kind == "rebadge"]
    some = spread(rebadges, MOST_PAIRS)
    for one, other, _ in (fact.of(RebadgeClaim) for fact in some):
        both = {k: of[one].values != of[other].values for k, of in table.items() if one in of and other in of}
        if both:
            compared.update(both.keys())
            apart.update(k for k, differs in both.items() if differs)
            total += sum(both.values()) / len(both)
            pairs += 1
    _count_exceptions(graph, some, compared, apart)
    sisters = (total + SISTERS_DIFFER * WEIGHT) / (pairs + WEIGHT)
    return [sisters, others_differ(graph), {k: [n, apart[k]] for k, n in compared.items()}]


def _count_exceptions(
    graph: Graph, rebadges: Sequence[Fact], compared: Counter[str], apart: Counter[str]
) -> None:
    """At places and of assemblies sisters are alike, save where a rebadge leaves them out."""
    family = traits.families(graph)
    places = _places_of_families(graph, {family[fact.claim[0]] for fact in rebadges})
    for fact in rebadges:
        compared.update(keys := places[family[fact.claim[0]]])
        apart.update(keys & left_out(graph, fact.left_out))


def _places_of_families(graph: Graph, wanted: Set[str]) -> dict[str, set[str]]:
    """Family -> the places and kinds of assembly of which something is recorded on it or its assemblies."""
    found: dict[str, set[str]] = {of: set() for of in wanted}
    family = traits.families(graph)
    for place in graph.taken_at:
        if family.get(place.owner) in found:
            found[family[place.owner]].add(place.position)
    uses = {
        (of, link.other)
        for owner, of in family.items()
        if of in found
        for link in graph.links.get(owner, ())
        if link.to_assembly
    }
    for of, assembly in uses:
        kind = fold(graph.data.assembly_kind(assembly[2:]) or "")
        found[of] |= graph.declares.get(assembly, frozenset()) | {kind}
    return found


def spread(items: Sequence[T], most: int) -> Sequence[T]:
    """At most so many of the items, evenly spread over all of them."""
    return items if len(items) <= most else [items[i * len(items) // most] for i in range(most)]


def others_differ(graph: Graph) -> float:
    """d2: the share of keys in which sets of different families differ; by counting, not pair by pair.

    Of many sets some are looked at, evenly spread.
    """
    family = traits.families(graph)
    differ, compared, most = 0, 0, 0
    for of_sets in _few(graph).values():
        alike, inside, inside_alike = Counter(of_sets.values()), Counter[str](), Counter[object]()
        for owner, values in of_sets.items():
            inside[family[owner]] += 1
            inside_alike[family[owner], values] += 1
        pairs = _pairs(len(of_sets)) - sum(map(_pairs, inside.values()))
        same = sum(map(_pairs, alike.values())) - sum(map(_pairs, inside_alike.values()))
        differ, compared, most = differ + pairs - same, compared + pairs, max(most, pairs)
    share = differ / compared if compared else 0.0
    return (share * most + OTHERS_DIFFER * WEIGHT) / (most + WEIGHT)


def _pairs(n: int) -> int:
    return n * (n - 1) // 2


def groups(graph: Graph) -> dict[str, str]:
    """Key -> the first of the keys that always go together with it in the folder; keys alone are left out.

    So many sets, evenly spread, tell whether two keys go together.
    """
    return traits.worked_out(graph, "groups", lambda: _groups(graph), lambda form: form)


def _groups(graph: Graph) -> dict[str, str]:
    table, family = _few(graph), traits.families(graph)
    first = {key: key for key in sorted(table)}
    for one, other in combinations(first, 2):
        if first[one] != first[other] and _go_together(table[one], table[other], family):
            low, high = sorted((first[one], first[other]))
            first.update({key: low for key, of in first.items() if of == high})
    sizes = Counter(first.values())
    return {key: of for key, of in first.items() if sizes[of] > 1}


def _few(graph: Graph) -> Rows:
    """The rows of some of the sets, evenly spread."""
    some = set(spread(sorted(traits.families(graph)), MOST_SETS))
    whole = rows(graph).items()
    return {k: {o: has for o, has in of.items() if o in some or len(of) < MOST_SETS} for k, of in whole}


def _go_together(
    one: dict[str, frozenset[str]], other: dict[str, frozenset[str]], family: dict[str, str]
) -> bool:
    """Whether the value at one key tells that at the other, in enough families."""
    both = [(one[o], other[o]) for o in one if o in other]
    if len({family[o] for o in one if o in other}) < LEAST_TOGETHER:
        return False
    return _tells(both) or _tells([(b, a) for a, b in both])


def _tells(pairs: list[tuple[frozenset[str], frozenset[str]]]) -> bool:
    """Whether the first value tells the second nearly always, and neither is known without looking."""
    first, second = Counter(a for a, _ in pairs), Counter(b for _, b in pairs)
    if len(first) * 2 > len(pairs) or max(second.values()) > USUAL * len(pairs):
        return False
    usual: dict[frozenset[str], int] = {}
    for (a, _), n in Counter(pairs).items():
        usual[a] = max(usual.get(a, 0), n)
    return sum(usual.values()) >= ALWAYS * len(pairs)
