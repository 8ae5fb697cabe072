"""What comes through sisters and assemblies: the facts that are named for it make up its certainty."""

from __future__ import annotations

import math
import random
from collections.abc import Mapping
from pathlib import Path

import pytest

from kgraph.fits.graph import Graph, Link
from kgraph.recognition import spreading, traits
from kgraph.recognition.known import KnownTrait
from kgraph.recognition.traits import Trait
from tests.bench import folders
from tests.support import graph_of, graph_of_folder

EXCEPTED = """
- set: Larkfield LK-40
  features: [line socket]
- rebadge: [Larkfield LK-40, Orvanek 2200]
  except: [line socket]
  certainty: 0.8
- rebadge: [Orvanek 2200, Quillon 31]
  certainty: 0.5
"""


def test_the_facts_of_all_that_is_known_lead_from_where_it_is_recorded(tmp_path: Path) -> None:
    folders.write(tmp_path, 600, looks=True)
    graph = graph_of_folder(tmp_path)
    through = sum(proved(graph, key) for key in traits.keys_of(graph))
    assert through > 1_000


def proved(graph: Graph, key: str) -> int:
    """How many owners have what is known at a key from elsewhere; each by facts that make it so certain."""
    trait, found = spreading.trait(graph, key), 0
    for owner, known in trait.at.items():
        source, facts = spreading.rests_on(graph, trait, owner)
        here = trait.direct[source]
        own = traits.facts_of(graph, trait, source)
        assert here.values == known.values
        assert facts[: len(own)] == own
        through = facts[len(own) :]
        assert math.isclose(here.certainty * math.prod(f.certainty for f in through), known.certainty)
        assert (source == owner) == (not through)
        assert all(key not in fact.left_out for fact in through)
        found += bool(through)
    return found


def test_what_is_excepted_rests_on_the_rebadge_that_leaves_it_out() -> None:
    graph = graph_of(EXCEPTED)
    trait = spreading.trait(graph, "linesocket")
    first, second = sorted(graph.data.facts.values(), key=lambda f: -f.certainty)
    assert spreading.rests_on(graph, trait, "s:orvanek2200") == ("s:orvanek2200", (first,))
    assert spreading.rests_on(graph, trait, "s:quillon31") == ("s:orvanek2200", (first, second))
    assert trait.at["s:quillon31"] == (frozenset({"no"}), 0.4)
    hidden = spreading.without(graph, trait, frozenset({"s:larkfieldlk40"}))
    assert list(hidden.at) == []


def test_without_some_records_all_is_as_if_they_had_never_been(tmp_path: Path) -> None:
    folders.write(tmp_path, 400, looks=True)
    graph, chance, changed = graph_of_folder(tmp_path), random.Random(3), 0
    for key in traits.keys_of(graph):
        trait = spreading.trait(graph, key)
        assert certainties(trait.at) == pytest.approx(by_repetition(graph, trait, frozenset())), key
        for _ in range(4):
            hidden = frozenset(chance.sample(traits.owners(graph).names, chance.choice((1, 3, 40))))
            found = spreading.without(graph, trait, hidden)
            assert certainties(found.at) == pytest.approx(by_repetition(graph, trait, hidden)), (key, hidden)
            changed += dict(found.at) != dict(trait.at)
    assert changed > 50


def certainties(known: Mapping[str, KnownTrait]) -> dict[str, float]:
    return {owner: has.certainty for owner, has in known.items()}


def by_repetition(graph: Graph, trait: Trait, hidden: frozenset[str]) -> dict[str, float]:
    """Owner -> how certain the surest record is that comes to it, from hand to hand."""
    direct = {
        owner: has.certainty
        for owner, has in trait.direct.items()
        if owner not in hidden and trait.excepted.get(owner) not in hidden
    }
    best, before = dict(direct), dict[str, float]()
    while best != before:
        before = dict(best)
        for owner in traits.owners(graph).names:
            for link in graph.links.get(owner, ()) if owner not in direct else ():
                if link.other in before and handed_on(graph, trait, link, owner):
                    best[owner] = max(best.get(owner, 0.0), before[link.other] * link.fact.certainty)
    return best


def handed_on(graph: Graph, trait: Trait, link: Link, to: str) -> bool:
    if trait.key in link.left_out or trait.key == traits.BADGE:
        return False
    if trait.place and link.to_assembly:
        return trait.key in graph.declares.get(link.to_assembly, frozenset())
    return link.to_assembly != to
