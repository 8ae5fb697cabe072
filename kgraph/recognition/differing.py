"""How often two sets differ: sisters among themselves (d1), sets of different families (d2); linked keys."""

from __future__ import annotations

from collections import Counter, defaultdict
from itertools import combinations

from kgraph.claims import RebadgeClaim
from kgraph.fits.graph import Graph
from kgraph.recognition import traits

WEIGHT = 10
"""What is assumed before anything is known weighs as much as so many pairs: a choice of our own."""
SISTERS_DIFFER = 0.25
OTHERS_DIFFER = 0.6
LEAST_TOGETHER = 5
"""Of so many sets at least two keys must be known before they are said to go together always."""

ALWAYS = 0.95
"""What is so in this share of the sets goes together: one misreading does not make two keys independent."""
USUAL = 0.8
"""A value that so many have is told by every other key, which says nothing of either."""

Rows = dict[str, dict[str, frozenset[str]]]


def rows(graph: Graph) -> Rows:
    """Key -> set -> what is recorded on the set itself."""
    if "recognition rows" not in graph.remembered:
        made: Rows = defaultdict(dict)
        for key in traits.attributes(graph)[0]:
            for owner, known in traits.trait(graph, key).direct.items():
                if owner[0] == "s":
                    made[key][owner] = known.values
        graph.remembered["recognition rows"] = made
    known_rows: Rows = graph.remembered["recognition rows"]
    return known_rows


def sisters_differ(graph: Graph) -> float:
    """d1: the share of comparable keys in which recorded sisters differ."""
    table = rows(graph)
    total, pairs = 0.0, 0
    for fact in graph.data.facts.values():
        if fact.kind == "rebadge":
            one, other, _ = fact.of(RebadgeClaim)
            both = [(k[one], k[other]) for k in table.values() if one in k and other in k]
            if both:
                total += sum(a != b for a, b in both) / len(both)
                pairs += 1
    return (total + SISTERS_DIFFER * WEIGHT) / (pairs + WEIGHT)


def others_differ(graph: Graph) -> float:
    """d2: the share of keys in which sets of different families differ; by counting, not pair by pair."""
    family = traits.families(graph)
    differ, compared, most = 0, 0, 0
    for of_sets in rows(graph).values():
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
    """Key -> the first of the keys that always go together with it in the folder; keys alone are left out."""
    if "recognition groups" not in graph.remembered:
        graph.remembered["recognition groups"] = _groups(rows(graph), traits.families(graph))
    known: dict[str, str] = graph.remembered["recognition groups"]
    return known


def _groups(table: Rows, family: dict[str, str]) -> dict[str, str]:
    first: dict[str, str] = {}
    for one, other in combinations(sorted(table), 2):
        if _go_together(table[one], table[other], family):
            top = first.setdefault(one, one)
            old = first.get(other, other)
            first[other] = top
            first.update({k: top for k, v in first.items() if v == old})
    return first


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
