"""Where to look next: the keys not yet seen by how far the entropy over families is expected to fall."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping
from heapq import nsmallest
from typing import NamedTuple

from kgraph.fits.graph import Graph
from kgraph.recognition import differing, spreading, traits
from kgraph.recognition.likelihood import (
    UNWRITTEN,
    chances_of,
    fall_of_entropy,
    once,
    shares_of,
    values_known,
)

MOST_SETS = 120
"""So many of the likeliest sets are looked at."""
MOST_KEYS = 40
LEAST_KEYS = 5
MOST_RECORDS = 80_000
"""So many sets times keys are looked through; in a large folder fewer keys, those recorded most."""
MOST_VALUES = 60
OTHER = "\0other"
"""Any value that none of these sets has."""


class Next(NamedTuple):
    """One key to look at: what it is expected to tell, and how many families it tells apart."""

    key: str
    name: str
    bits: float
    apart: int
    left: int
    values: tuple[str, ...]


def next_looks(
    graph: Graph, chances: Mapping[str, float], seen: Iterable[str], none: float = 0.0
) -> list[Next]:
    """The keys worth a look, best first; `chances` are those of sets with their share of the unrecorded."""
    top = nsmallest(MOST_SETS, chances, key=lambda o: (-chances[o], o))
    family, differ = traits.families(graph), differing.differences(graph)
    left = {family[o] for o in top if chances[o] >= 0.001}
    found, region = [], spreading.region_of(graph, top)
    for key in _keys(graph, region, set(seen)):
        trait, often = spreading.near(graph, key, region), differ.sisters_at(key)
        table, names = _tables(trait, top, chances, family, often)
        if not table:
            continue
        prior = _prior(top, chances, family, none)
        bits = fall_of_entropy(prior, table)
        if bits > 1e-9:
            apart = _told_apart(table, left)
            found.append(Next(key, traits.keys_of(graph)[key], bits, apart, len(left), tuple(names)))
    return sorted(found, key=lambda n: (-n.bits, n.key))


def _keys(graph: Graph, region: Iterable[str], seen: set[str]) -> list[str]:
    """The keys of which most of the families of a region have something recorded."""
    family, recorded = traits.families(graph), _recorded_of(graph)
    keys = [k for k in traits.keys_of(graph) if k not in seen and k not in traits.NOT_ASKED]
    told = {(family[o], k) for o in region if o in family for k in recorded(o)}
    counts = Counter(key for _, key in told)
    usual = sorted((k for k in keys if counts[k]), key=lambda k: (-counts[k], k))
    room = MOST_RECORDS // max(len(family), 1)
    return usual[: min(MOST_KEYS, max(LEAST_KEYS, room))]


def _recorded_of(graph: Graph) -> Callable[[str], Iterable[str]]:
    """Set -> the keys at which something is recorded of it."""
    owners, keys = traits.owners(graph), list(traits.keys_of(graph))

    def form() -> list[int]:
        """For each set its keys as bits."""
        found = [0] * len(owners.family)
        for n, key in enumerate(keys):
            column = traits.recorded(graph, key).direct.column[: len(found)]
            found = [bits | (at >= 0) << n for bits, at in zip(found, column, strict=True)]
        return found

    bits: list[int] = traits.worked_out(graph, "keys of sets", form, lambda form: form)
    return lambda owner: (k for n, k in enumerate(keys) if bits[owners.number[owner]] >> n & 1)


def _prior(
    top: list[str], chances: Mapping[str, float], family: Mapping[str, str], none: float
) -> dict[str, float]:
    prior: dict[str, float] = defaultdict(float)
    for owner in top:
        prior[family[owner]] += chances[owner]
    prior[""] += none
    whole = math.fsum(prior.values()) or 1.0
    return {f: p / whole for f, p in prior.items()}


def _tables(
    trait: traits.Trait,
    top: list[str],
    chances: Mapping[str, float],
    family: Mapping[str, str],
    differ: float,
) -> tuple[dict[str, dict[str, float]], list[str]]:
    """Family -> value -> chance to see it there, and the names of the values."""
    here = {o: trait.at[o] for o in top if o in trait.at}
    known = values_known(trait)
    values = sorted({v for k in here.values() for v in k.values} | (known & {traits.YES, traits.NO}))
    values = values[:MOST_VALUES]
    if UNWRITTEN in known or not values:
        return {}, []
    lists = trait.direct.of_sets() or Counter(k.values for k in here.values())
    shares = shares_of(lists, known)
    by_values = once(lambda of: chances_of(of, values, known, trait.misread))
    none = [0.0] * len(values)
    weight: dict[str, float] = defaultdict(float)
    table: dict[str, dict[str, float]] = defaultdict(lambda: defaultdict(float))
    for owner in top:
        of = family[owner]
        weight[of] += chances[owner]
        k = here.get(owner)
        certain = k.certainty * (1.0 - differ) if k else 0.0
        for value, by_record in zip(values, by_values(k.values) if k else none, strict=True):
            table[of][value] += chances[owner] * (certain * by_record + (1.0 - certain) * shares[value])
    made = {of: {v: c / weight[of] for v, c in row.items()} for of, row in table.items() if weight[of] > 0}
    made[""] = {v: shares[v] for v in values}
    for row in made.values():
        row[OTHER] = max(0.0, 1.0 - math.fsum(row.values()))
    return made, [trait.texts.get(v, v) for v in values]


def _told_apart(table: Mapping[str, Mapping[str, float]], left: set[str]) -> int:
    """How many of the families left have a likeliest value that not all of them have."""
    likeliest = {f: max(table[f], key=lambda v: (table[f][v], v)) for f in left if f in table}
    counts = list(likeliest.values())
    if len(set(counts)) < 2:
        return 0
    usual = max(set(counts), key=lambda v: (counts.count(v), v))
    return len(counts) - counts.count(usual) + (1 if len(set(counts)) == len(counts) else 0)
