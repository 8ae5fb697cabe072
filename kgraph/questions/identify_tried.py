"""How well sets are recognised: each is hidden in turn, and each family, and looked for by its looks."""

from __future__ import annotations

import random
from collections import defaultdict
from typing import NamedTuple

from kgraph.fits.graph import Graph
from kgraph.questions.identify import PRIOR, Found, by_family, identify
from kgraph.recognition import traits
from kgraph.recognition.likelihood import UNWRITTEN, chance_of, values_known
from kgraph.recognition.seen import Look, Seen

LOOKS = 10
MOST_SETS = 200
"""Of more sets so many are drawn; the same ones each time."""
SURE = 0.9
LEAST_LOOKS = 3
"""A set of which less is known is not tried."""


class Tally(NamedTuple):
    """How often, of so many tries, what was right came first, and what was given 0.9 or more."""

    tries: int
    first: int
    sure: int
    sure_and_right: int


class Tried(NamedTuple):
    """With nothing hidden by set and by family; with the set hidden; with its whole family hidden."""

    sets: Tally
    families: Tally
    sister: Tally
    gone: Tally


def tried(graph: Graph, prior: tuple[float, float, float] = PRIOR, seed: int = 1) -> Tried:
    """Tries every set that enough is known of, with ten looks, misread as often as is assumed."""
    chance = random.Random(seed)
    owners = traits.sets_of(graph.data)
    if len(owners) > MOST_SETS:
        owners = sorted(chance.sample(owners, MOST_SETS))
    family, members = traits.families(graph), defaultdict[str, list[str]](list)
    for owner, first in family.items():
        members[first].append(owner)
    counts: dict[str, list[tuple[bool, bool, bool]]] = defaultdict(list)
    keys = sorted(traits.keys_of(graph))
    for owner in owners:
        seen = _looks(graph, owner, keys, chance)
        if len(seen.looks) < LEAST_LOOKS:
            continue
        own = family[owner]
        found = identify(graph, seen, prior)
        counts["sets"].append(_best(found, owner))
        counts["families"].append(_best_family(found, own))
        if len(members[own]) > 1:
            found = identify(graph, seen, prior, [owner])
            right = found.candidates[0].set is None and found.candidates[0].family == own
            _, sure, true = _best_family(found, own)
            counts["sister"].append((right, sure, true))
        counts["gone"].append(_best_family(identify(graph, seen, prior, members[own]), None))
    return Tried(*(_tally(counts[name]) for name in Tried._fields))


def _looks(graph: Graph, owner: str, keys: list[str], chance: random.Random) -> Seen:
    """Ten looks at keys of which something is known of the set, what it has itself first."""
    known = [t for k in keys if owner in (t := traits.trait(graph, k)).at]
    chance.shuffle(known)
    known.sort(key=lambda t: owner not in t.direct)
    looks = []
    for trait in known[:LOOKS]:
        has, values = trait.at[owner].values, sorted(values_known(trait) - {UNWRITTEN})
        weights = [chance_of(has, v, values, trait.misread) for v in values]
        value = chance.choices(values, weights)[0]
        looks.append(Look(trait.key, trait.name, value, trait.texts.get(value, value)))
    return Seen(tuple(looks), (), ())


def _best(found: Found, owner: str) -> tuple[bool, bool, bool]:
    recorded = [c for c in found.candidates if c.set]
    right, top = recorded[0].set == owner, found.candidates[0]
    return right, top.probability >= SURE, top.probability >= SURE and top.set == owner


def _best_family(found: Found, own: str | None) -> tuple[bool, bool, bool]:
    """Whether the family comes first, and whether a family is given 0.9 or more, and rightly."""
    chances = by_family(found)
    best = max(chances, key=lambda f: (chances[f], f or ""))
    sure = best is not None and chances[best] >= SURE
    return best == own, sure, sure and best == own


def _tally(rows: list[tuple[bool, bool, bool]]) -> Tally:
    return Tally(len(rows), *(sum(row[i] for row in rows) for i in range(3)))
