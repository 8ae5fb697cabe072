"""When the time of a question is up, what was not looked at is counted and named, never left out unsaid."""

from __future__ import annotations

import importlib

import pytest

from kgraph import questions
from kgraph.questions import asked
from kgraph.reason.budget import Budget
from kgraph.reason.rules import State, Step
from kgraph.reason.walk import LOOKS_AT_THE_CLOCK, explore
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


def test_answers_that_were_not_looked_at_are_counted() -> None:
    graph = graph_of(FOLDER)
    assert len(questions.takers_of_part(graph, "k114").rows) == 3
    short = questions.takers_of_part(graph, "k114", budget=ending_after(1))
    assert [r.set for r in short.rows] == ["s:larkfieldlk40"]
    assert any(n.startswith("2 less certain answers were not looked at") for n in short.notes)


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
