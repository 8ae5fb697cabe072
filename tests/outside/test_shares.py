"""`shares` against possible worlds: each set of facts is taken to hold in turn, and plainly walked."""

from __future__ import annotations

import itertools
import math
import random
import tempfile
from pathlib import Path
from typing import NamedTuple

import pytest

from kgraph import questions
from kgraph.questions import Wanted
from kgraph.reason.budget import Budget
from kgraph.reason.sharing import sharing_of
from tests.holders import Holder, on_both_holders
from tests.outside.folders import Entry, write
from tests.support import graph_of_folder

SETS = [f"Velmoor {n}" for n in range(1, 8)]
ASSEMBLIES = ["M1 mechanism", "C2 chassis", "C3 chassis"]
CERTAINTIES = [0.4, 0.6, 0.7, 0.85, 0.9, 0.95, 1.0]


class Fact(NamedTuple):
    """A rebadge of two sets, or `one` built on the assembly `other`; what it leaves out."""

    kind: str
    one: str
    other: str
    left_out: frozenset[str]
    certainty: float


def random_facts(chance: random.Random) -> list[Fact]:
    """Up to ten facts; an assembly is built only on those before it."""
    found: dict[tuple[str, str], Fact] = {}
    for _ in range(chance.randint(4, 10)):
        left_out = frozenset(chance.sample(ASSEMBLIES, chance.choice([0, 0, 0, 1])))
        if chance.random() < 0.5:
            one, other = sorted(chance.sample(SETS, 2))
            fact = Fact("rebadge", one, other, left_out, chance.choice(CERTAINTIES))
        else:
            low = chance.randrange(3)
            one = chance.choice(SETS + ASSEMBLIES[low + 1 :])
            fact = Fact(
                "uses", one, ASSEMBLIES[low], left_out - {ASSEMBLIES[low]}, chance.choice(CERTAINTIES)
            )
        found[fact.one, fact.other] = fact
    return list(found.values())


def entries(facts: list[Fact]) -> list[Entry]:
    """The facts as a folder states them."""
    made: list[Entry] = [{"set": s} for s in SETS] + [{"assembly": a, "kind": "chassis"} for a in ASSEMBLIES]
    for fact in facts:
        pair = [fact.one, fact.other]
        says: Entry = {"rebadge": pair} if fact.kind == "rebadge" else {"uses": fact.other, "in": fact.one}
        if fact.left_out:
            says["except"] = sorted(fact.left_out)
        made.append({**says, "certainty": str(fact.certainty)})
    return made


def built_on(facts: list[Fact], assembly: str) -> set[str]:
    """The sets that are built on an assembly where all these facts hold."""
    uses = [f for f in facts if f.kind == "uses" and assembly not in f.left_out]
    carriers = {assembly}
    for _ in ASSEMBLIES:
        carriers |= {f.one for f in uses if f.other in carriers and f.one in ASSEMBLIES}
    found = set()
    for carrier in carriers:
        here = {f.one for f in uses if f.other == carrier and f.one in SETS}
        ways = [f for f in facts if f.kind == "rebadge" and not f.left_out & {assembly, carrier}]
        for _ in SETS:
            for f in ways:
                if f.one in here or f.other in here:
                    here |= {f.one, f.other}
        found |= here
    return found


def by_worlds(facts: list[Fact]) -> dict[tuple[str, str, str], tuple[float, float]]:
    """(assembly, set, other set) -> best proof and certainty."""
    found: dict[tuple[str, str, str], tuple[float, float]] = {}
    for holds in itertools.product((True, False), repeat=len(facts)):
        standing = [f for f, h in zip(facts, holds, strict=True) if h]
        proof = math.prod(f.certainty for f in standing)
        likely = proof * math.prod(1.0 - f.certainty for f, h in zip(facts, holds, strict=True) if not h)
        for assembly in ASSEMBLIES:
            for one, other in itertools.permutations(sorted(built_on(standing, assembly)), 2):
                best, certain = found.get((assembly, one, other), (0.0, 0.0))
                found[assembly, one, other] = max(best, proof), certain + likely
    return found


@on_both_holders
@pytest.mark.parametrize("seed", range(150))
def test_shares_are_those_of_all_possible_worlds(seed: int, holder: Holder) -> None:
    facts = random_facts(random.Random(seed))
    with tempfile.TemporaryDirectory() as scratch:
        graph = holder(write(entries(facts), Path(scratch)).parent)
    found = {}
    for key in graph.data.known("set"):
        for row in questions.shares(graph, key).rows:
            names = (row.assembly, f"s:{key}", row.set)
            assembly, one, other = (graph.data.owner_text(n) for n in names)
            assert row.bounds is None
            assert math.prod(f.certainty for f in set(row.proof)) == pytest.approx(row.best)
            found[assembly, one, other] = (row.best, row.certainty)
    assert found == {k: pytest.approx(v, abs=1e-12) for k, v in by_worlds(facts).items()}


def test_both_kinds_of_network_are_met() -> None:
    """Where a rebadge leaves out one carrier alone a set is two states, and the general search serves."""
    simple = 0
    for seed in range(150):
        facts = random_facts(random.Random(seed))
        with tempfile.TemporaryDirectory() as scratch:
            graph = graph_of_folder(write(entries(facts), Path(scratch)).parent)
        simple += all(sharing_of(graph, f"a:{a}", Budget()).simple for a in graph.data.known("assembly"))
    assert 50 < simple < 150


def test_without_weighing_the_best_proof_is_the_bound() -> None:
    facts = random_facts(random.Random(3))
    with tempfile.TemporaryDirectory() as scratch:
        graph = graph_of_folder(write(entries(facts), Path(scratch)).parent)
    rows = [r for k in graph.data.known("set") for r in questions.shares(graph, k, Wanted(seconds=0.0)).rows]
    assert rows
    assert all(r.bounds == (r.best, 1.0) for r in rows)
