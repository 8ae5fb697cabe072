"""Units of which not all is known: no entry declares them, or nobody knows what set they are."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from tests.support import folder_with

FACTS = """\
- set: Larkfield LK-40
- unit: U-1
  set: Larkfield LK-40
- unit: the blue one
  wants: [volume knob]
- taken: volume knob
  from: U-9
  to: U-1
- inspected: volume knob
  of: U-8
  state: good
"""


@pytest.mark.parametrize("unit", ["U-9", "U-8"])
@pytest.mark.parametrize("command", ["donors", "faults", "arrive", "shelf", "sheet", "owed"])
def test_a_unit_that_only_an_event_names_is_told_so(
    command: str, unit: str, tmp_path: Path, capsys: Any
) -> None:
    data = ["--data", str(folder_with(tmp_path, [("a.yaml", FACTS)]))]
    for _ in range(2):  # The second time an index may answer.
        capsys.readouterr()
        assert run([*data, command, unit]) == 2
        says = f"unit '{unit}' is named in an event and not declared; add - unit: {unit} first"
        assert says in capsys.readouterr().err


@pytest.mark.parametrize(
    "words", [["donors"], ["donors", "volume knob"], ["takers", "volume knob"], ["parts", "volume knob"]]
)
def test_of_a_unit_that_nobody_knows_it_is_told_what_to_do(
    words: list[str], tmp_path: Path, capsys: Any
) -> None:
    data = ["--data", str(folder_with(tmp_path, [("a.yaml", FACTS)]))]
    assert run([*data, words[0], "the blue one", *words[1:]]) == 2
    said = capsys.readouterr().err
    assert "its set is not known yet; kgraph identify 'the blue one'" in said
    assert "kgraph correct 'the blue one' set NAME" in said
