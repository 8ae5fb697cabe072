"""How well sets are recognised: each is hidden in turn, and each family, and looked for by its looks."""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Iterable
from typing import NamedTuple

from kgraph.fits.graph import Graph
from kgraph.questions.identify import PRIOR, Recognised, identify
from kgraph.recognition import spreading, traits
from kgraph.recognition.likelihood import UNWRITTEN, chance_of, values_known
from kgraph.recognition.seen import Look, Seen

LOOKS = 10
MOST_SETS, LEAST_SETS = 200, 20
MOST_WEIGHED = 300_000
"""Of many sets some are drawn, the same ones each time, so that no more sets than this are weighed."""
SURE = 0.9
LEAST_LOOKS = 3
"""A set of which less is known is not tried."""


class Tally(NamedTuple):
    """How often, of so many tries, what was right came first, and what was given 0.9 or more."""

    tries: int
    first: int
    sure: int
    sure_and_right: int


class TriedSets(NamedTuple):
    """With nothing hidden by set and by family; with the set hidden; with its whole family hidden.

    `sister`: the unrecorded sister first of all; `kin`: the family, the unrecorded sister in it.
    """

    sets: Tally
    families: Tally
    sister: Tally
    kin: Tally
    gone: Tally


def tried(graph: Graph, prior: tuple[float, float, float] = PRIOR, seed: int = 1) -> TriedSets:
    """Tries every set that enough is known of, with ten looks, misread as often as is assumed."""
    chance = random.Random(seed)
    owners = traits.sets_of(graph.data)
    most = min(MOST_SETS, max(LEAST_SETS, MOST_WEIGHED // max(len(owners), 1)))
    if len(owners) > most:
        owners = sorted(chance.sample(owners, most))
    family, members = traits.families(graph), defaultdict[str, list[str]](list)
    for owner, first in family.items():
        members[first].append(owner)
    counts: dict[str, list[tuple[bool, bool, bool]]] = defaultdict(list)
    keys = sorted(traits.keys_of(graph).keys() - traits.IN_PAPERS)
    for owner in owners:
        seen = _looks(graph, owner, keys, chance)
        if len(seen.looks) < LEAST_LOOKS:
            continue
        own = family[owner]
        found = identify(graph, seen, prior)
        counts["sets"].append(_best(found, owner))
        counts["families"].append(_best_family(found, own))
        if len(members[own]) > 1:
            seen_of_kin = _looks(graph, owner, keys, chance, members[own])
            found = identify(graph, seen_of_kin, prior, [owner])
            counts["sister"].append(_best_sister(found, own))
            counts["kin"].append(_best_family(found, own))
        counts["gone"].append(_best_family(identify(graph, seen, prior, members[own]), None))
    return TriedSets(*(_tally(counts[name]) for name in TriedSets._fields))


def _looks(graph: Graph, owner: str, keys: list[str], chance: random.Random, kin: Iterable[str] = ()) -> Seen:
    """Ten looks at keys of which something is known of the set, what it has itself first.

    What papers say is no look: nobody sees on a set when and for whom it was made.
    With its kin, at keys of which something is known of one of them also without the set.
    """
    known = [t for k in keys if owner in (t := spreading.trait(graph, k)).at]
    if others := [o for o in kin if o != owner]:
        known = [t for t in known if _known_without(graph, t, owner, others)]
    chance.shuffle(known)
    known.sort(key=lambda t: owner not in t.direct)
    looks = []
    for trait in known[:LOOKS]:
        has, values = trait.at[owner].values, sorted(values_known(trait) - {UNWRITTEN})
        weights = [chance_of(has, v, values, trait.misread) for v in values]
        value = chance.choices(values, weights)[0]
        looks.append(Look(trait.key, trait.name, value, trait.texts.get(value, value)))
    return Seen(tuple(looks), (), ())


def _known_without(graph: Graph, trait: traits.Trait, owner: str, others: list[str]) -> bool:
    at = spreading.without(graph, trait, frozenset([owner])).at
    return any(o in at for o in others)


def _best(found: Recognised, owner: str) -> tuple[bool, bool, bool]:
    recorded = [c for c in found.candidates if c.set]
    right, top = recorded[0].set == owner, found.candidates[0]
    return right, top.probability >= SURE, top.probability >= SURE and top.set == owner


def _best_sister(found: Recognised, own: str) -> tuple[bool, bool, bool]:
    top = found.candidates[0]
    right, sure = top.set is None and top.family == own, top.probability >= SURE
    return right, sure, sure and right


def _best_family(found: Recognised, own: str | None) -> tuple[bool, bool, bool]:
    """Whether the family comes first, and whether a family is given 0.9 or more, and rightly."""
    chances = found.chances
    best = max(chances, key=lambda f: (chances[f], f or ""))
    sure = best is not None and chances[best] >= SURE
    return best == own, sure, sure and best == own


def _tally(rows: list[tuple[bool, bool, bool]]) -> Tally:
    return Tally(len(rows), *(sum(row[i] for row in rows) for i in range(3)))
