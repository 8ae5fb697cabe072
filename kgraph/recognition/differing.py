"""How often two sets differ: sisters among themselves (d1), sets of different families (d2); linked keys."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence, Set
from itertools import combinations
from typing import Any, NamedTuple, TypeVar

from kgraph.claims import RebadgeClaim
from kgraph.fits.graph import Graph, left_out
from kgraph.names import fold
from kgraph.recognition import spreading, traits
from kgraph.recognition.known import KnownTrait

WEIGHT = 10
"""What is assumed before anything is known weighs as much as so many pairs: a choice of our own."""
SISTERS_DIFFER = 0.25
OTHERS_DIFFER = 0.6
BADGES_DIFFER = 0.95
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
    known = {key: traits.recorded(graph, key).direct for key in _written(graph)}
    return {key: {o: has.values for o, has in of.items() if o[0] == "s"} for key, of in known.items()}


def _written(graph: Graph) -> list[str]:
    """The keys of what is written of sets and says something of their design, which a badge does not."""
    return [key for key in traits.keys(graph).written if key != traits.BADGE]


T = TypeVar("T")


class Differences(NamedTuple):
    """How often sisters differ (d1), at each key also, and how often sets of different families do (d2)."""

    sisters: float
    others: float
    at: Mapping[str, float]
    """Key -> d1 there: as counted, and with the weight of so many pairs as at all keys of its sort."""

    def sisters_at(self, key: str) -> float:
        """d1 at one key."""
        return self.at.get(key, self.sisters)


def differences(graph: Graph) -> Differences:
    """d1 and d2 of the folder, worked out once."""
    return traits.worked_out(
        graph, "differences", lambda: _differences(graph), lambda form: Differences(*form)
    )


class _PairsCounted:
    """Of how many pairs of sisters something can be said at each key, and how many of them differ."""

    def __init__(self) -> None:
        self.compared, self.apart = Counter[str](), Counter[str]()

    def add(self, keys: Set[str], apart: Set[str]) -> None:
        """One pair that can be compared at these keys, and differs at some."""
        self.compared.update(keys)
        self.apart.update(apart)

    def at(self, keys: Iterable[str], usual: float) -> dict[str, float]:
        """d1 at each key, where `usual` is that of all keys of its sort."""
        return {k: (self.apart[k] + usual * WEIGHT_AT_KEY) / (self.compared[k] + WEIGHT_AT_KEY) for k in keys}


def _differences(graph: Graph) -> Any:
    """Of many rebadges some are looked at, evenly spread, as `spread` has them.

    What is written of sets is compared where both record it; a feature also where one has it, for a rebadge
    says what it leaves out. At places and of assemblies sisters are alike, save where a rebadge leaves them
    out: they differ much more rarely than in what is written, and are a sort of their own; so are badges.
    """
    some = spread([f for f in graph.data.facts.values() if f.kind == "rebadge"], MOST_PAIRS)
    written, beside, named, keys = _PairsCounted(), _PairsCounted(), _PairsCounted(), traits.keys(graph)
    badges = traits.recorded(graph, traits.BADGE).direct
    table = {key: traits.recorded(graph, key).direct for key in _written(graph)}
    family = traits.families(graph)
    places = _places_of_families(graph, {family[fact.claim[0]] for fact in some})
    total, pairs = 0.0, 0
    for fact in some:
        one, other, _ = fact.of(RebadgeClaim)
        if (unlike := _differ(badges, one, other)) is not None:
            named.add({traits.BADGE}, {traits.BADGE} if unlike else set())
        apart = {key: how for key, of in table.items() if (how := _differ(of, one, other)) is not None}
        if apart:
            written.add(apart.keys(), {key for key, differs in apart.items() if differs})
            total += sum(apart.values()) / len(apart)
            pairs += 1
        at = places[family[one]]
        beside.add(at, at & left_out(graph, fact.left_out))
    sisters = (total + SISTERS_DIFFER * WEIGHT) / (pairs + WEIGHT)
    counted = beside.compared.total()
    usual = (beside.apart.total() + SISTERS_DIFFER * WEIGHT) / (counted + WEIGHT)
    found = written.at(table, sisters) | beside.at(keys.whole.keys() - keys.written.keys(), usual)
    return [sisters, others_differ(graph), found | named.at([traits.BADGE], BADGES_DIFFER)]


def _differ(known: Mapping[str, KnownTrait], one: str, other: str) -> bool | None:
    """Whether two sisters differ in what is known of them; None where that cannot be said."""
    here, there = known.get(one), known.get(other)
    if here and there:
        return here.values != there.values
    has = here or there
    return False if has and has.values == {traits.YES} else None


def _places_of_families(graph: Graph, wanted: Set[str]) -> dict[str, set[str]]:
    """Family -> the places and kinds of assembly of which something is recorded on it or its assemblies."""
    family, kinds = traits.families(graph), {}
    members: dict[str, list[str]] = {of: [] for of in wanted}
    for owner, of in family.items():
        if of in members:
            members[of].append(owner)
    taken: dict[str, set[str]] = defaultdict(set)
    for place in graph.taken_at:
        taken[place.owner].add(place.position)
    for key in graph.data.things["assembly"]:
        kinds[f"a:{key}"] = fold(graph.data.assembly_kind(key) or "")
    found = {}
    for of, those in members.items():
        region = spreading.region_of(graph, those)
        found[of] = {at for o in region if o in family for at in taken[o]}
        found[of] |= {at for o in region if o not in family for at in graph.declares.get(o, ())}
        found[of] |= {kinds[o] for o in region if kinds.get(o)}
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
    """Whether the value at one key tells that at the other, in enough families.

    Sisters are alike in both keys, which says nothing of the keys: of each family what is unlike counts once.
    """
    both = {(family[o], one[o], other[o]) for o in one if o in other}
    if len({of for of, _, _ in both}) < LEAST_TOGETHER:
        return False
    return _tells([(a, b) for _, a, b in both]) or _tells([(b, a) for _, a, b in both])


def _tells(pairs: list[tuple[frozenset[str], frozenset[str]]]) -> bool:
    """Whether the first value tells the second nearly always, and neither is known without looking."""
    first, second = Counter(a for a, _ in pairs), Counter(b for _, b in pairs)
    if len(first) * 2 > len(pairs) or max(second.values()) > USUAL * len(pairs):
        return False
    usual: dict[frozenset[str], int] = {}
    for (a, _), n in Counter(pairs).items():
        usual[a] = max(usual.get(a, 0), n)
    return sum(usual.values()) >= ALWAYS * len(pairs)
