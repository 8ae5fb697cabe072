"""Names on their way out in the small size: letter for letter, and found out where a safety is missing."""

from __future__ import annotations

import pytest

from tests.fuzz import exits
from tests.test_fuzz import figure


@pytest.mark.slow
def test_names_come_back_letter_for_letter_by_every_way_out() -> None:
    tally = figure("exits")
    assert tally.wrong == []
    assert tally.injected == tally.happened == tally.survived > exits.NAMES["small"]


@pytest.mark.slow
@pytest.mark.parametrize("broken", ["no_escape", "names_as_files"])
def test_a_way_out_without_a_safety_is_found_out(broken: str) -> None:
    tally = figure("exits", broken)
    assert tally.wrong
    assert not tally.holds
