"""Inputs in the small size: each figure holds, and fails against a build with one safety taken out.

The figures are those of `python -m tests.fuzz`; here each runs as far as some seconds allow.
"""

from __future__ import annotations

import pytest

from kgraph.folder import reading
from tests.fuzz import __main__ as fuzz
from tests.support import tried

BROKEN = [
    ("hostile", "errors_swallowed"),
    ("hostile", "places_lost"),
    ("hostile", "raises"),
    ("damage", "errors_swallowed"),
    ("damage", "places_lost"),
    ("damage", "raises"),
    ("planted", "errors_swallowed"),
    ("planted", "places_lost"),
    ("grammar", "errors_swallowed"),
    ("grammar", "places_lost"),
    ("grammar", "raises"),
]


@pytest.mark.slow
@pytest.mark.parametrize("name", ["hostile", "damage", "planted", "grammar"])
def test_every_bad_input_is_told_of(name: str) -> None:
    tally = tried(fuzz.run, name)
    assert tally.wrong == []
    assert tally.injected == tally.happened == tally.survived > 0


@pytest.mark.slow
@pytest.mark.parametrize(("name", "broken"), BROKEN)
def test_a_reader_without_a_safety_is_found_out(name: str, broken: str) -> None:
    tally = tried(fuzz.run, name, broken)
    assert tally.wrong
    assert not tally.holds


def test_an_entry_that_was_joined_to_a_comment_is_told_of() -> None:
    text = b"- set: Arden 12\n# A note.- set: Brunelle 7\n"
    (problem,) = reading.read_bytes(text, "a.yaml").problems
    assert str(problem).startswith("a.yaml:2:10: - set: Brunelle 7 is read as part of the comment;")
    assert problem.severity == "warning"
    for quiet in (b"#- set: Brunelle 7\n", b"# as in - set: Brunelle 7\n", b"# A note.- see: there\n"):
        assert reading.read_bytes(b"- set: Arden 12\n" + quiet, "a.yaml").problems == ()


def test_what_cannot_be_read_hides_its_own_entry_alone() -> None:
    """The entry before one with a control character that also breaks its line is read."""
    text = b"- set: Arden 12\n\n- set: Brunelle 7\x02  market: UK\n- set: Cassel 3\n"
    read = reading.read_bytes(text, "a.yaml")
    assert [e.pairs[0][1].value for e in read.entries] == ["Arden 12", "Cassel 3"]  # type: ignore[union-attr]
    assert {p.where.line for p in read.problems if p.where} == {3}


def test_an_item_that_a_comment_in_a_list_takes_away_is_told_of() -> None:
    text = b"- set: Arden 12\n  also: [K-1, #114,\n    K-3]\n"
    (problem,) = reading.read_bytes(text, "a.yaml").problems
    assert str(problem) == "a.yaml:2:15: #114, is read as a comment; put it in quotes"
    for quiet in (b"  also: [a, # see\n    b]\n", b'  note: "a, #5"\n', b"  also: [a, b] # see\n"):
        assert reading.read_bytes(b"- set: Arden 12\n" + quiet, "a.yaml").problems == ()
