"""A name that a question does not know: the nearest name, or what is called so instead."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from tests.support import folder_with

FACTS = """\
- assembly: TN7 mechanism
  positions: [winding tyre]
- uses: TN7 mechanism
  in: Larkfield LK-40
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
- unit: U-07
  set: Larkfield LK-40
"""


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["takers", "larkfield lk40"], "no part is called 'larkfield lk40'; a set is called so"),
        (["takers", "U-07"], "no part is called 'U-07'; a unit is called so"),
        (["takers", "winding tyre"], "no part is called 'winding tyre'; a position is called so"),
        (["sisters", "K-114"], "no set is called 'K-114'; a part is called so"),
        (["shares", "TN7 mechanism"], "no set is called 'TN7 mechanism'; an assembly is called so"),
        (["sisters", "Larkfeld LK-40"], "no set is called 'Larkfeld LK-40'; did you mean Larkfield LK-40?"),
        (["sisters", "Nobody 1"], "no set is called 'Nobody 1'; see `kgraph find`"),
    ],
)
@pytest.mark.parametrize("times", [1, 2], ids=["read", "by the index"])
def test_what_is_called_so_instead(
    words: list[str], says: str, times: int, tmp_path: Path, capsys: Any
) -> None:
    folder = folder_with(tmp_path, [("facts.yaml", FACTS)])
    for _ in range(times):
        capsys.readouterr()
        assert run(["--data", str(folder), *words]) == 2
    assert says in capsys.readouterr().err
