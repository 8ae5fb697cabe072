"""The hostile inputs of `tests/hostile`, by every command that reads.

The index beside them says what each must lead to: `error` (left out; with `--strict`
status 3, from `check` 1, at that line), `warn` (readable, named by `check`), `same` and `neutral`
(readable, letter for letter).
"""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from tests.support import ROOT, ask

HOSTILE = ROOT / "tests" / "hostile"
ROWS = [line.split("\t") for line in (HOSTILE / "index.tsv").read_text(encoding="utf-8").splitlines()[1:]]
# The index calls these three neutral, but each holds names without letter or digit, which the contract
# refuses (as n03 does): those entries are errors, and all the others must be as the index says.
NAMELESS = {"n01-path-names.yaml": 2, "n08-rdf-sparql.yaml": 13, "n09-shell.yaml": 9}
FACTS = [
    (name, "error" if name in NAMELESS else cls, NAMELESS.get(name, int(line)))
    for name, cls, line, *_ in ROWS
    if name.endswith(".yaml")
]
# Of these nothing can be read: they are no text in UTF-8.
NO_TEXT = {"y22-utf16.yaml"}
READING = [
    ["show", "Larkfield LK-40"],
    ["find", "lk40"],
    ["takers", "K-114"],
    ["takers", "Larkfield LK-40", "volume knob"],
    ["donors", "Larkfield LK-40"],
    ["sisters", "Larkfield LK-40"],
    ["shares", "Larkfield LK-40"],
    ["draw", "family", "Larkfield LK-40"],
]
# Beside the hostile file stands a good one, so that what is asked about is known.
GOOD = "- takes: K-114\n  in: Larkfield LK-40\n  position: volume knob\n"


@pytest.fixture
def folder(tmp_path: Path, request: pytest.FixtureRequest) -> Path:
    shutil.copy(HOSTILE / request.param, tmp_path / request.param)
    (tmp_path / "good.yaml").write_text(GOOD, encoding="utf-8")
    return tmp_path


def fine(err: str, out: str) -> None:
    """Nothing a terminal would obey, and no traceback."""
    assert "Traceback" not in err
    for text in (err, out):
        assert not [c for c in text if (ord(c) < 32 and c not in "\n\t") or 0x7F <= ord(c) < 0xA0]
        assert not set(text) & set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


@pytest.mark.parametrize(("folder", "cls", "line"), FACTS, indirect=["folder"], ids=[f[0] for f in FACTS])
def test_every_reading_command(folder: Path, cls: str, line: int, capsys: Any) -> None:
    (hostile,) = (p for p in folder.iterdir() if p.name != "good.yaml")
    before = hostile.read_bytes()
    for words in READING:
        status = run(["--data", str(folder), *words])
        said = capsys.readouterr()
        fine(said.err, said.out)
        if cls == "error" and hostile.name in NO_TEXT:
            assert status == 3, words
            assert f"{hostile}:{line}:" in said.err, (words, said.err)
        elif cls == "error":
            assert status in (0, 1), (words, said.err)
            assert f"left out, in {hostile}; `kgraph check` lists" in said.err
            assert run(["--data", str(folder), "--strict", *words]) == 3
            assert f"{hostile}:{line}:" in capsys.readouterr().err, words
        else:
            assert status in (0, 1), (words, said.err)
    assert hostile.read_bytes() == before


@pytest.mark.parametrize(("folder", "cls", "line"), FACTS, indirect=["folder"], ids=[f[0] for f in FACTS])
def test_check(folder: Path, cls: str, line: int, capsys: Any) -> None:
    (hostile,) = (p for p in folder.iterdir() if p.name != "good.yaml")
    status, found = ask(capsys, "--data", str(folder), "check")
    here = {
        kind: {p["line"] for p in found[kind] if p["file"] == str(hostile)} for kind in ("errors", "warnings")
    }
    if cls == "error":
        assert status == 1
        assert line == min(here["errors"])
    elif cls == "warn":
        assert line in here["warnings"] | here["errors"]
    else:
        assert here["errors"] == set()


@pytest.mark.parametrize(("folder", "cls", "line"), FACTS, indirect=["folder"], ids=[f[0] for f in FACTS])
def test_add_keeps_the_old_bytes(folder: Path, cls: str, line: int, capsys: Any) -> None:
    (hostile,) = (p for p in folder.iterdir() if p.name != "good.yaml")
    before = hostile.read_bytes()
    words = ["add", "set", "Norvane 7", "--file", hostile.name, "--yes"]
    status = run(["--data", str(folder), *words])
    fine(capsys.readouterr().err, "")
    after = hostile.read_bytes()
    assert after.startswith(before)
    if cls == "error" or status:
        assert after == before
    else:
        assert ask(capsys, "--data", str(folder), "show", "Norvane 7")[0] == 0


def test_eleven_errors_of_numbers_in_one_run(tmp_path: Path, capsys: Any) -> None:
    shutil.copy(HOSTILE / "y47-not-a-number.yaml", tmp_path)
    _, found = ask(capsys, "--data", str(tmp_path), "check")
    assert len(found["errors"]) == 11
    shutil.copy(HOSTILE / "y48-lengths.yaml", tmp_path / "y47-not-a-number.yaml")
    _, found = ask(capsys, "--data", str(tmp_path), "check")
    # One for each belt but b9, whose no-break space is read as a space.
    assert len(found["errors"]) == 11


def test_scalars_stay_the_text_that_they_are(tmp_path: Path, capsys: Any) -> None:
    shutil.copy(HOSTILE / "y08-scalars-stay-text.yaml", tmp_path)
    for wanted in ("012", "1e3", "3E04", "1_000", "1:30:00", "2024-01-01", "null", "1.10", "0b101", "+1"):
        _, shown = ask(capsys, "--data", str(tmp_path), "show", wanted)
        assert wanted in {e["entry"]["part"] for a in shown["answers"] for e in a["entries"]}
