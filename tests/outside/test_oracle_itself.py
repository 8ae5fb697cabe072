"""The oracle against published and computed values, and its engines against each other."""

from __future__ import annotations

import math
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

from kgraph.names import fold

from . import oracle
from .folders import folders, random_folder, write

Entry = dict[str, Any]
Edge = tuple[str, str, float]


def rebadges(*edges: Edge) -> list[Entry]:
    """A network of sets, each edge a rebadge of its own certainty."""
    return [{"rebadge": [f"Maker {a}", f"Maker {b}"], "certainty": str(c)} for a, b, c in edges]


def takes(part: str, owner: str, certainty: float, **more: str) -> Entry:
    """A part at the place that all these tests ask about."""
    return {"takes": part, "in": owner, "position": "knob", "certainty": str(certainty), **more}


def sister(entries: list[Entry], end: str) -> oracle.Result:
    """How surely `Maker b` is a sister of `Maker a`, by both ways of working it out."""
    key = (fold(f"Maker {end}"), "")
    found = oracle.sisters(entries, "Maker a")[key]
    counted = oracle.worlds(entries, ("sisters", "Maker a"))[key]
    assert found.certainty == pytest.approx(counted.certainty, abs=1e-9)
    assert found.best == pytest.approx(counted.best, abs=1e-9)
    return found


def test_three_ways_in_parallel() -> None:
    """Row E1 of the reference values: noisy-or of 0.8, 0.7, 0.6 is 0.976 (computed)."""
    entries = [
        takes("A", "Maker a", 0.8),
        {**takes("A", "Maker a", 0.7), "role": "substitute"},
        {"fits": "Maker b", "position": "knob", "to": "Maker a", "certainty": "0.6"},
        takes("A", "Maker b", 1.0),
    ]
    found = oracle.takers_part(entries, "A")["makera", "knob"]
    assert found.certainty == pytest.approx(0.976, abs=1e-12)
    assert found.best == pytest.approx(0.8, abs=1e-12)


def test_two_ways_in_parallel() -> None:
    """Row E2: B. Yorgey, The network reliability problem (2016): 0.5 * 0.9 beside 0.7 is 0.835."""
    found = sister(rebadges(("a", "c", 0.5), ("c", "b", 0.9), ("a", "b", 0.7)), "b")
    assert found.certainty == pytest.approx(0.835, abs=1e-12)
    assert found.best == pytest.approx(0.7, abs=1e-12)


BRIDGE = (("a", "c"), ("a", "d"), ("c", "d"), ("c", "b"), ("d", "b"))


@pytest.mark.parametrize(("p", "h"), [(0.5, 0.5), (0.8, 0.91136), (0.9, 0.97848), (0.95, 0.9947806)])
def test_bridge_of_five_equal_edges(p: float, h: float) -> None:
    """Row E4: R. Barlow, Engineering Reliability, 6.1: 2p^2 + 2p^3 - 5p^4 + 2p^5."""
    found = sister(rebadges(*((a, b, p) for a, b in BRIDGE)), "b")
    assert found.certainty == pytest.approx(2 * p**2 + 2 * p**3 - 5 * p**4 + 2 * p**5, abs=1e-12)
    assert found.certainty == pytest.approx(h, abs=1e-7)
    assert found.best == pytest.approx(p**2, abs=1e-12)


def test_best_path_is_not_the_shortest() -> None:
    """Row E5 (computed by enumeration, ProbLog and shortest path on -ln p): three steps beat two and one."""
    edges = (
        ("a", "c", 0.9),
        ("c", "b", 0.8),
        ("a", "d", 0.7),
        ("d", "b", 0.95),
        ("c", "d", 0.99),
        ("a", "b", 0.68),
    )
    found = sister(rebadges(*edges), "b")
    assert found.certainty == pytest.approx(0.98712288, abs=1e-9)
    assert found.best == pytest.approx(0.846450, abs=1e-9)


def test_shared_evidence_is_not_two_sources() -> None:
    """Row E7 (computed, ProbLog): x and (y or z) is 0.846, not the noisy-or 0.8964 of 0.72 and 0.63."""
    entries = [
        {"rebadge": ["Maker a", "Maker b"], "certainty": "0.9"},
        takes("A", "Maker b", 0.8),
        takes("A", "Maker b", 0.7, role="substitute"),
    ]
    found = oracle.takers_part(entries, "A")["makera", "knob"]
    assert found.certainty == pytest.approx(0.846, abs=1e-12)
    assert found.best == pytest.approx(0.72, abs=1e-12)


def test_a_chain_of_three_beside_one_fact() -> None:
    """Row E8 (computed, ProbLog): x, y and z of row E7 in one chain, or u of 0.5: 0.752."""
    entries = [
        {"rebadge": ["Maker a", "Maker c"], "certainty": "0.9"},
        {"same": ["A", "B"], "certainty": "0.8"},
        takes("B", "Maker c", 0.7),
        takes("A", "Maker a", 0.5),
    ]
    found = oracle.takers_part(entries, "A")["makera", "knob"]
    assert found.certainty == pytest.approx(0.752, abs=1e-12)
    assert found.best == pytest.approx(0.504, abs=1e-12)


# What follows and what does not, one small folder each: section 2 of the contract, read by hand.


def keys(entries: list[Entry], *question: str) -> set[oracle.Key]:
    """The answers, for which ProbLog and the minimal proofs have to agree."""
    return set(oracle.answer(entries, question))


def test_exceptions_name_positions_and_assemblies() -> None:
    base: list[Entry] = [{"assembly": "TN7", "positions": ["knob"]}, takes("A", "Maker a", 1.0)]
    both = {("makera", "knob"), ("makerb", "knob")}
    for excepted, expected in (("knob", {("makera", "knob")}), ("TN7", {("makera", "knob")}), ("lugs", both)):
        entries = [*base, {"rebadge": ["Maker a", "Maker b"], "except": [excepted]}]
        assert keys(entries, "takers_part", "A") == expected, excepted


def test_a_place_that_an_assembly_does_not_declare_stays_in_it() -> None:
    base: list[Entry] = [{"uses": "TN7", "in": "Maker a"}, takes("A", "TN7", 1.0)]
    assert keys([{"assembly": "TN7", "positions": []}, *base], "takers_part", "A") == set()
    assert keys([{"assembly": "TN7", "positions": ["knob"]}, *base], "takers_part", "A") == {
        ("makera", "knob")
    }


def test_parts_do_not_travel_from_place_to_part_to_place() -> None:
    """Two originals at one place, a running change, are not thereby alike."""
    entries = [takes("A", "Maker a", 1.0), takes("B", "Maker a", 1.0), takes("B", "Maker b", 1.0)]
    assert keys(entries, "takers_part", "A") == {("makera", "knob")}


def test_a_substitute_is_not_what_a_donor_yields() -> None:
    entries = [takes("A", "Maker a", 1.0, role="substitute"), takes("A", "Maker b", 1.0)]
    assert keys(entries, "donors", "Maker a", "knob") == {("makerb", "knob")}
    assert keys(entries, "donors", "Maker b", "knob") == set()


def test_replaces_is_chained_but_does_not_run_backwards() -> None:
    entries: list[Entry] = [
        {"replaces": "C", "old": "B2"},
        {"same": ["B", "B2"]},
        {"replaces": "B", "old": "A"},
        takes("A", "Maker a", 1.0),
        takes("C", "Maker c", 1.0),
    ]
    assert keys(entries, "takers_part", "C") == {("makera", "knob"), ("makerc", "knob")}
    assert keys(entries, "takers_part", "A") == {("makera", "knob")}


def belt(name: str, side: str, length: str = "200 mm") -> Entry:
    """A belt of square section."""
    return {"part": name, "kind": "belt", "section": f"square {side}", "inside length": length}


def test_sizes_are_one_step_and_a_fact_of_their_own() -> None:
    """1.20 ~ 1.28 ~ 1.36 must not make 1.20 ~ 1.36; each step is 0.90."""
    entries = [belt("A", "1.2 mm"), belt("B", "1.28 mm"), belt("C", "1.36 mm"), takes("B", "Maker a", 1.0)]
    entries.append(takes("C", "Maker c", 0.5))
    found = oracle.takers_part(entries, "A")
    assert set(found) == {("makera", "knob")}
    assert found["makera", "knob"].certainty == pytest.approx(0.9, abs=1e-12)
    entries.append({"kind": "belt", "certainty": "0.8"})
    assert oracle.takers_part(entries, "A")["makera", "knob"].best == pytest.approx(0.8, abs=1e-12)


@pytest.mark.parametrize(
    ("side", "length", "equal"),
    [
        ("1.3 mm", "200 mm", True),
        ("1.301 mm", "200 mm", False),
        ("1.2 mm", "204.08 mm", True),
        ("1.2 mm", "204.09 mm", False),
        ("1.2 mm", "196 mm", True),
    ],
)
def test_belt_tolerances(side: str, length: str, equal: bool) -> None:
    """0.1 mm on each size, 2 % of the larger length (common practice, no source), the limits included."""
    entries = [belt("A", "1.2 mm"), belt("B", side, length), takes("B", "Maker a", 1.0)]
    assert bool(oracle.takers_part(entries, "A")) is equal


def test_at_least_is_one_way() -> None:
    rule = {"kind": "screw", "generic": "yes", "compare": {"length": "at least", "head": "same"}}
    entries: list[Entry] = [rule, takes("S", "Maker s", 1.0), takes("L", "Maker l", 1.0)]
    entries += [{"part": p, "kind": "screw", "length": n} for p, n in (("S", "8 mm"), ("L", "10 mm"))]
    assert keys(entries, "takers_part", "L") == {("makers", "knob"), ("makerl", "knob")}
    assert keys(entries, "takers_part", "S") == {("makers", "knob")}
    entries.append({"part": "L", "head": "pan"})
    assert keys(entries, "takers_part", "L") == {("makerl", "knob")}, "recorded on one of them only"


def test_fits_goes_one_way_unless_it_says_both() -> None:
    fact: Entry = {"fits": "Maker a", "position": "knob", "to": "Maker b", "at": "dial"}
    assert keys([fact], "takers_place", "Maker a", "knob") == {("makerb", "dial")}
    assert keys([fact], "takers_place", "Maker b", "dial") == set()
    assert keys([{**fact, "both ways": "yes"}], "takers_place", "Maker b", "dial") == {("makera", "knob")}


def test_a_no_refuses_or_disputes() -> None:
    """A `no` as strong as the answer's best proof refuses it; a weaker one only disputes it."""
    base = [takes("A", "Maker a", 0.8), {"rebadge": ["Maker a", "Maker b"], "certainty": "0.9"}]
    for certainty, refused in ((0.72, True), (0.71, False), (1.0, True)):
        no = {"refuses": "A", "in": "Maker b", "position": "knob", "certainty": str(certainty)}
        found = oracle.takers_part([*base, no], "A")["makerb", "knob"]
        assert (found.refused, found.disputed) == (refused, not refused), certainty
        assert found.no == pytest.approx(certainty, abs=1e-12)


def test_a_refused_place_refuses_what_is_original_there() -> None:
    no = {"refuses": "Maker c", "from": "knob", "in": "Maker a", "position": "knob", "certainty": "0.5"}
    entries = [takes("A", "Maker a", 0.8), takes("A", "Maker c", 0.6), no]
    assert oracle.takers_part(entries, "A")["makera", "knob"].no == pytest.approx(0.3, abs=1e-12)
    maker_a: oracle.Owner = ("set", "makera")
    assert oracle.noes(entries, "knob")[("part", "a"), maker_a] == pytest.approx(0.3, abs=1e-12)


def test_said_again_is_one_fact_and_withdrawn_is_none() -> None:
    first: Entry = {"rebadge": ["Maker a", "Maker b"], "except": ["x1", "y1"], "certainty": "0.5", "id": "f1"}
    again: Entry = {"rebadge": ["MAKER-B", "maker a"], "except": ["y1", "x1"], "how": "photo", "id": "f1"}
    again["source"] = "sheet"
    assert oracle.sisters([first, again], "Maker a")["makerb", ""].certainty == pytest.approx(0.7, abs=1e-12)
    some = {"withdraw": "f1", "why": "misread", "source": "Sheet"}
    left = oracle.sisters([first, again, some], "Maker a")
    assert left["makerb", ""].certainty == pytest.approx(0.5, abs=1e-12)
    assert oracle.sisters([first, again, {"withdraw": "f1", "why": "misread"}], "Maker a") == {}


# The engines against each other.


def disagreements(entries: list[Entry], question: oracle.Question) -> list[str]:
    """How the answers by ProbLog and minimal proofs differ from those of all worlds."""
    found, counted = oracle.answer(entries, question), oracle.worlds(entries, question)
    if found.keys() != counted.keys():
        return [f"{question}: {found.keys() ^ counted.keys()}"]
    return [
        f"{question} {key}: {one} {other}"
        for key, one in found.items()
        for other in [counted[key]]
        if not all(
            math.isclose(getattr(one, name), getattr(other, name), abs_tol=1e-9)
            for name in ("certainty", "best", "no", "refused", "disputed")
        )
    ]


def some_questions(entries: list[Entry], seed: int, most: int = 4) -> list[oracle.Question]:
    """A few questions of each folder, different ones for different seeds."""
    every = oracle.questions(entries)
    return every[seed % 3 :: max(1, len(every) // most)]


@pytest.mark.parametrize("seed", range(60))
def test_problog_agrees_with_all_worlds(seed: int) -> None:
    """60 random folders: exact inference by ProbLog 2.3 against a sum over all worlds."""
    entries = random_folder(seed, most_facts=12)
    wrong = [w for q in some_questions(entries, seed) for w in disagreements(entries, q)]
    assert wrong == []


@pytest.mark.parametrize("seed", range(0, 60, 3))
def test_problog_agrees_with_all_worlds_on_what_does_not_go(seed: int) -> None:
    """Every `no` about every item at one position, by ProbLog 2.3 and by a sum over all worlds."""
    entries = random_folder(seed, most_facts=12)
    found = oracle.noes(entries, "main belt")
    assert found == pytest.approx(oracle.noes_in_worlds(entries, "main belt"), abs=1e-9)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(folders())
def test_minimal_proofs_agree_with_all_worlds(entries: list[Entry]) -> None:
    """On every question of a folder: the same answers, and each minimal proof suffices by itself."""
    for question in some_questions(entries, 0):
        counted = oracle.worlds(entries, question)
        found = oracle.proofs(entries, question)
        assert found.keys() == counted.keys()
        for key, ways in found.items():
            best = math.prod(fact.certainty for fact in ways[0])
            assert best == pytest.approx(counted[key].best, abs=1e-9)
            assert best <= counted[key].certainty + 1e-9
            noisy_or = 1 - math.prod(1 - math.prod(f.certainty for f in way) for way in ways)
            assert counted[key].certainty <= noisy_or + 1e-9


def test_random_folders_hold_every_kind_of_fact() -> None:
    """The folders would prove little if a kind of fact, or of answer, never came up."""
    made = [random_folder(seed) for seed in range(60)]
    count = Counter(oracle.kind_of(e) for entries in made for e in entries)
    assert all(count[kind] >= 20 for kind in oracle.FACT_KINDS)
    assert count["withdraw"] >= 10
    assert sum("both ways" in e for entries in made for e in entries) >= 10
    asked = [(entries, q) for entries in made for q in oracle.questions(entries)]
    results = [r for entries, q in asked for r in oracle.worlds(entries, q).values()]
    assert sum(r.refused for r in results) >= 10
    assert sum(r.disputed for r in results) >= 10
    assert sum(bool(oracle.noes_in_worlds(entries, "main belt")) for entries in made[::3]) >= 8
    assert sum(r.certainty > r.best + 1e-9 for r in results) >= 100


def test_folders_are_written_as_they_are(tmp_path: Path) -> None:
    for seed in range(10):
        entries = random_folder(seed)
        folder = tmp_path / str(seed)
        write(entries, folder)
        assert oracle.load(folder) == entries
        assert random_folder(seed) == entries
