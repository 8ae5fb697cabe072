"""When the time of a question is up, what was not looked at is counted and named, never left out unsaid."""

from __future__ import annotations

import importlib

import pytest

from kgraph import contradictions, doubts, questions
from kgraph.api import asked_belts
from kgraph.questions import asked, belt_families, belt_finds, belt_places
from kgraph.reason import drawn
from kgraph.reason.budget import LONGEST_SECONDS, TELLING_SECONDS, Budget
from kgraph.reason.rules import State, Step
from kgraph.reason.walk import LOOKS_AT_THE_CLOCK, explore
from tests.bench import shapes
from tests.support import graph_of

shares = importlib.import_module("kgraph.questions.shares")
FOLDER = """
- rebadge: [Larkfield LK-40, Orvanek 2200]
- rebadge: [Larkfield LK-40, Quillon 31]
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
- takes: G-2
  in: Larkfield LK-40
  position: dial glass
"""


def ending_after(calls: int) -> Budget:
    """A budget whose time is up once the clock was asked so often."""
    times = iter([0.0] * (calls + 1))
    return Budget(clock=lambda: next(times, 1000.0))


def test_places_that_were_not_asked_about_are_named() -> None:
    graph = graph_of(FOLDER)
    whole = questions.donors(graph, "larkfieldlk40", ["volumeknob", "dialglass"])
    assert {r.wanted for r in whole.rows} == {"volumeknob", "dialglass"}
    places = ["volumeknob", "dialglass"]
    cut = questions.donors(graph, "larkfieldlk40", places, budget=ending_after(2))
    assert {r.wanted for r in cut.rows} == {"volumeknob"}
    assert "No time was left to look at dial glass; ask about them by name." in cut.notes


def test_answers_that_were_not_looked_at_are_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(asked, "ALWAYS_TOLD", 1)
    graph = graph_of(FOLDER)
    assert len(questions.takers_of_part(graph, "k114").rows) == 3
    short = questions.takers_of_part(graph, "k114", budget=ending_after(1))
    assert [r.set for r in short.rows] == ["s:larkfieldlk40"]
    assert any(n.startswith("2 less certain answers were not looked at") for n in short.notes)


def test_the_surest_are_told_however_late_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(asked, "ALWAYS_TOLD", 2)
    late = questions.takers_of_part(graph_of(FOLDER), "k114", budget=ending_after(0))
    assert len(late.rows) == 2
    assert late.rows[0].set == "s:larkfieldlk40"
    assert any(n.startswith("1 less certain answer was not looked at") for n in late.notes)


def test_drawing_leaves_time_to_tell_what_it_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """With no time left but for telling, one block of worlds is drawn, and no answer is left out."""
    monkeypatch.setattr(drawn, "block_of", lambda _: drawn.FEWEST)
    graph = shapes.graph_of("dense 200 60")
    clock = iter([0.0, *[LONGEST_SECONDS - TELLING_SECONDS / 2] * 10_000])
    budget = Budget(seconds=2.0, clock=lambda: next(clock))
    budget.nodes = 0
    found = questions.takers_of_part(graph, "p1x", budget=budget)
    assert {r.weighed for r in found.rows} >= {"drawn"}
    assert not [n for n in found.notes if "for want of time" in n]
    widths = [r.bounds[1] - r.bounds[0] for r in found.rows if r.bounds]
    assert max(widths) > 0.03


def test_one_is_not_said_of_many() -> None:
    assert asked.left_over_note(0) == []
    assert asked.left_over_note(1)[0].startswith("1 less certain answer was ")


def test_a_walk_ends_when_the_time_is_up() -> None:
    made = explore(State("n", "0"), _in_a_row, ending_after(0))
    assert len(made.states) <= LOOKS_AT_THE_CLOCK + 1
    assert made.unexplored


def _in_a_row(state: State) -> list[Step]:
    return [(State("n", str(int(state.owner) + 1)), None)] if int(state.owner) < 5000 else []


def test_assemblies_that_were_not_looked_at_are_named() -> None:
    chain = "".join(f"- uses: Chassis {n}\n  in: Chassis {n + 1}\n" for n in range(12))
    graph = graph_of(chain + "- uses: Chassis 12\n  in: Quillon 31\n")
    whole = questions.shares(graph, "quillon31")
    assert not any("No time was left" in n for n in whole.notes)
    wanted = questions.DEFAULT
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(shares, "budget_of", lambda wanted: ending_after(0))
        cut = questions.shares(graph, "quillon31", wanted)
    (note,) = [n for n in cut.notes if n.startswith("No time was left")]
    assert note.count("Chassis") == 8
    assert note.endswith(" and 4 more; --seconds gives more.")


EQUAL_BELTS = "".join(
    f"- part: BELT-{n}\n  kind: belt\n  section: square 1.2 mm\n  inside length: 240 mm\n"
    f"- takes: BELT-{n}\n  in: Larkfield LK-{n}\n  position: main belt\n"
    for n in range(4)
)


def test_belts_that_were_not_looked_at_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    graph = graph_of(EQUAL_BELTS)
    seen = asked_belts.measured("square 1.2 mm", {"inside_length": "240 mm"})
    whole = belt_finds.find(graph, seen)
    assert not [n for n in whole.notes if n.startswith("No time was left")]
    # No part is of equal size with another here, so that each is asked about alone.
    monkeypatch.setattr(graph, "equal_size", lambda part: [])
    monkeypatch.setattr(belt_finds, "budget_of", lambda wanted: ending_after(0))
    cut = belt_finds.find(graph, seen)
    (note,) = [n for n in cut.notes if n.startswith("No time was left")]
    assert note == (
        "No time was left to look at BELT-1, BELT-2, BELT-3; ask `kgraph takers` about one of them."
    )


def test_of_a_family_of_many_belts_the_surest_are_compared(monkeypatch: pytest.MonkeyPatch) -> None:
    belts = "".join(f"- rebadge: [Larkfield LK-0, Larkfield LK-{n}]\n  how: compared\n" for n in range(1, 4))
    graph = graph_of(EQUAL_BELTS + belts)
    place = belt_places.belt_place(graph, ("Larkfield LK-0", "main belt"))
    assert [r.agrees for r in belt_families.family(graph, place).rows] == [True] * 4
    monkeypatch.setattr(belt_families, "MOST_COMPARED", 3)
    cut = belt_families.family(graph, place)
    assert sorted(str(r.agrees) for r in cut.rows) == ["None", "True", "True", "True"]
    assert "1 more belt, the least certain, was not compared with these." in cut.says


def test_of_each_class_of_like_places_one_part_is_looked_at_first(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two knobs of three sister sets, and a dial glass of one: the glass comes before the second knob."""
    other = "- takes: K-115\n  in: Orvanek 2200\n  position: volume knob\n"
    alone = "- takes: G-3\n  in: Quillon 77\n  position: dial glass\n- part: K-9\n"
    graph = graph_of(FOLDER + other + alone)
    asked_about: list[str] = []
    takers = doubts.rows_of_part
    monkeypatch.setattr(
        doubts, "rows_of_part", lambda g, part, *rest: asked_about.append(part) or takers(g, part, *rest)
    )
    assert doubts.of_folder(graph).not_looked_at == 0
    assert asked_about == ["g2", "k114", "g3", "k9", "k115"]
    monkeypatch.setattr(doubts, "budget_of", lambda wanted: ending_after(2))
    assert doubts.of_folder(graph).not_looked_at == 4


def test_contradictions_that_were_not_sought_are_counted() -> None:
    refused = "".join(f"- refuses: {p}\n  in: Orvanek 2200\n  position: {at}\n" for p, at in REFUSED)
    graph = graph_of(FOLDER + refused)
    whole = contradictions.of_folder(graph)
    assert (len(whole.found), whole.not_looked_at) == (2, 0)
    cut = contradictions.of_folder(graph, ending_after(4))
    assert (len(cut.found), cut.not_looked_at) == (1, 1)


REFUSED = (("K-114", "volume knob"), ("G-2", "dial glass"))
