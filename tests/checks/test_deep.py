"""`check --deep`: two readers, ids written anew, and the index against the files."""

from __future__ import annotations

import json
import sqlite3
import zlib
from pathlib import Path
from typing import Any

import pytest

from kgraph.checks import deep
from kgraph.cli.main import run
from kgraph.folder import plain
from tests.support import folder_with

FACTS = """\
- set: Orrinvale OV-12
- rebadge: [Orrinvale OV-12, Pellworth P12]
  how: compared
- takes: OV-77
  in: Orrinvale OV-12
  position: volume knob
  how: fitted
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with an index that stands."""
    monkeypatch.setenv("KGRAPH_CACHE", str(tmp_path / "cache"))
    made = tmp_path / "facts"
    made.mkdir()
    folder_with(made, [("a.yaml", FACTS)])
    assert run(["--data", str(made), "takers", "OV-77"]) == 0
    return made


def check(folder: Path, capsys: Any) -> tuple[int, dict[str, Any]]:
    capsys.readouterr()
    status = run(["--data", str(folder), "check", "--deep", "--json"])
    return status, json.loads(capsys.readouterr().out)


def index_of(folder: Path) -> Path:
    (found,) = (folder.parent / "cache").glob("*.index")
    return found


def change(folder: Path, statement: str, *values: object) -> None:
    with sqlite3.connect(index_of(folder)) as base:
        assert base.execute(statement, values).rowcount == 1
    base.close()


def test_what_is_in_order_is_counted(folder: Path, capsys: Any) -> None:
    status, found = check(folder, capsys)
    assert status == 0
    assert found["deep"] | {"index rows": 0} == {"files": 1, "ids": 2, "index rows": 0}
    assert found["deep"]["index rows"] > 6


def test_an_index_that_was_renewed_for_one_changed_file_is_in_order_too(folder: Path, capsys: Any) -> None:
    (folder / "b.yaml").write_text("- takes: OV-9\n  in: Pellworth P12\n  position: speaker grille\n")
    assert run(["--data", str(folder), "takers", "OV-9"]) == 0
    with (folder / "b.yaml").open("a") as more:
        more.write("- takes: OV-9\n  in: Orrinvale OV-12\n  position: handle\n")
    assert run(["--data", str(folder), "takers", "OV-9"]) == 0
    status, found = check(folder, capsys)
    assert (status, found["deep"]["files"], found["deep"]["ids"]) == (0, 2, 4)
    assert found["deep"]["index rows"] > 6


def wrong_with_its_checksum(folder: Path) -> None:
    """A row that says something else and is not torn: only the files can tell."""
    with sqlite3.connect(index_of(folder)) as base:
        found = base.execute("SELECT key, value FROM row WHERE key LIKE 'i|%'").fetchall()
    key, value = next((k, v) for k, v in found if b"OV-77" in v)
    text = value[4:].replace(b"OV-77", b"OV-78")
    row = zlib.crc32(text, zlib.crc32(key.encode())).to_bytes(4, "big") + text
    change(folder, "UPDATE row SET value = ? WHERE key = ?", row, key)


def torn(folder: Path) -> None:
    change(folder, "UPDATE row SET value = ? WHERE key = 'n|position'", b"xxxxxx")


def missing(folder: Path) -> None:
    change(folder, "DELETE FROM row WHERE key = 'i|0'")


def too_many(folder: Path) -> None:
    """A position that no entry speaks of."""
    text = b'{"volumeknob":{"position":[2]},"lid":{"position":[2]}}'
    row = zlib.crc32(text, zlib.crc32(b"n|position")).to_bytes(4, "big") + text
    change(folder, "UPDATE row SET value = ? WHERE key = 'n|position'", row)


@pytest.mark.parametrize(
    ("damage", "says"),
    [
        (wrong_with_its_checksum, "says something else than the index"),
        (torn, "it cannot be read"),
        (missing, "is torn"),
        (too_many, "stands for nothing in the files"),
    ],
)
def test_an_index_with_a_fault_is_told_and_taken_away(
    damage: Any, says: str, folder: Path, capsys: Any
) -> None:
    damage(folder)
    status, found = check(folder, capsys)
    assert status == 1
    (error,) = found["errors"]
    assert (error["code"], says in error["says"]) == ("deep-index", True)
    assert not list((folder.parent / "cache").glob("*.index*"))
    status, found = check(folder, capsys)
    assert (status, found["deep"]["index rows"]) == (0, None)


def test_a_quick_reader_that_reads_less_is_found_out(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = plain.entries
    monkeypatch.setattr(plain, "entries", lambda data: (found := whole(data)) and (*found[:1], *found[2:]))
    status, found = check(folder, capsys)
    assert status == 1
    (error,) = (e for e in found["errors"] if e["code"] == "deep-reading")
    assert (error["file"], error["line"]) == (str(folder / "a.yaml"), 2)


def test_an_entry_that_is_written_otherwise_than_it_reads_is_found_out(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    honest = deep.entry_text
    monkeypatch.setattr(deep, "entry_text", lambda pairs: honest(pairs).replace("OV-77", "OV-78"))
    status, found = check(folder, capsys)
    assert status == 1
    (error,) = (e for e in found["errors"] if e["code"] == "deep-id")
    assert (error["line"], found["deep"]["ids"]) == (4, 1)


def test_a_folder_with_faults_is_compared_with_no_index(folder: Path, capsys: Any) -> None:
    with (folder / "a.yaml").open("a") as more:
        more.write("- takes: \n")
    status, found = check(folder, capsys)
    assert (status, found["deep"]["index rows"]) == (1, None)
