"""Numbers of the command line: what is no number is refused by every option, and nothing is written."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from tests.support import folder_with

FACTS = "- takes: K-114\n  in: Larkfield LK-40\n  position: volume knob\n"
OPTIONS = [
    ["takers", "K-114", "--seconds"],
    ["doubts", "--seconds"],
    ["list", "sets", "--seconds"],
    ["query", "sisters", "--seconds"],
    ["import", "facts.ttl", "--seconds"],
    ["merge", "theirs", "--trust"],
    ["takers", "K-114", "--at-least"],
    ["plan", "U-07", "--work"],
]


@pytest.mark.parametrize("words", OPTIONS, ids=lambda words: " ".join(words[::2]))
@pytest.mark.parametrize("given", ["nan", "-nan", "inf", "-inf"])
def test_what_is_no_number_is_refused(words: list[str], given: str, tmp_path: Path, capsys: Any) -> None:
    folder, theirs = tmp_path / "ours", tmp_path / "theirs"
    for each, part in ((folder, "114"), (theirs, "115")):
        each.mkdir()
        folder_with(each, [("facts.yaml", FACTS.replace("114", part))])
    before = sorted(folder.rglob("*"))
    told = [str(theirs) if w == "theirs" else w for w in words]
    assert run(["--data", str(folder), *told[:-1], f"{told[-1]}={given}"]) == 2
    out = capsys.readouterr()
    assert words[-1] in out.err
    assert given in out.err
    assert not out.out
    assert sorted(folder.rglob("*")) == before
