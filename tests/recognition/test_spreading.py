"""What comes through sisters and assemblies: the facts that are named for it make up its certainty."""

from __future__ import annotations

import math
from pathlib import Path

from kgraph.fits.graph import Graph
from kgraph.recognition import spreading, traits
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
