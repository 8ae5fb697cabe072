"""The store of a large folder: the same answers as without it, brought up to date or made anew."""

from __future__ import annotations

import gzip
import json
import os
import random
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from kgraph.api import asked_queries
from kgraph.exchange import process, standing
from kgraph.problems import CannotRun
from tests.bench import folders as large_folders
from tests.exchange.test_query import listening
from tests.outside.folders import random_folder, write
from tests.support import ROOT, ask, graph_of_folder

FACTS = """\
- rebadge: [Larkfield LK-40, Orvanek 2200]
  how: compared
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: fitted
- takes: K-115
  in: Quillon 31
  position: volume knob
  how: fitted
"""
TAKERS = ("query", "takers", "--part", "K-114")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder that counts as large, with a cache of its own."""
    monkeypatch.setattr(standing, "LEAST_BYTES", 0)
    monkeypatch.setenv("KGRAPH_CACHE", str(tmp_path / "cache"))
    made = tmp_path / "facts"
    made.mkdir()
    (made / "a.yaml").write_text(FACTS, encoding="utf-8")
    return made


def sets(folder: Path, capsys: Any, *words: str) -> list[str]:
    """The sets of an answer."""
    status, found = ask(capsys, "--data", str(folder), *(words or TAKERS))
    assert status == 0
    return [row["set_name"] for row in found["answers"]]


def stores(folder: Path) -> list[Path]:
    return [p for p in (folder.parent / "cache").iterdir() if p.is_dir() and p.suffix == ".statements"]


def note(folder: Path) -> Path:
    (found,) = (p for p in (folder.parent / "cache").glob("*.statements") if p.is_file())
    return found


BOTH = ["Larkfield LK-40", "Orvanek 2200"]


def test_a_standing_store_answers_without_reading_the_folder(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    from kgraph.cli import querying

    assert sets(folder, capsys) == BOTH
    assert standing.standing([str(folder)]) == str(stores(folder)[0])
    monkeypatch.setattr(querying, "_statements", lambda *_: pytest.fail("the folder is read"))
    assert sets(folder, capsys) == BOTH
    assert sets(folder, capsys, "query", "sisters", "--set", "Orvanek 2200") == ["Larkfield LK-40"]


def test_a_changed_file_is_answered_from(folder: Path, capsys: Any) -> None:
    assert sets(folder, capsys) == BOTH
    (folder / "b.yaml").write_text(
        "- rebadge: [Orvanek 2200, Vessimorn 5210]\n  how: compared\n", encoding="utf-8"
    )
    assert sets(folder, capsys) == [*BOTH, "Vessimorn 5210"]
    assert len(stores(folder)) == 1


def test_a_change_within_one_tick_of_the_clock_is_seen(folder: Path, capsys: Any) -> None:
    file = folder / "a.yaml"
    assert sets(folder, capsys) == BOTH
    before = file.stat()
    with file.open("r+b") as stream:
        stream.write(FACTS.replace("Orvanek 2200", "Orvanek 2201").encode())
    os.utime(file, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert sets(folder, capsys) == ["Larkfield LK-40", "Orvanek 2201"]


@pytest.mark.parametrize("harm", ["cut", "gone", "manifest", "foreign", "garbage", "other files"])
def test_a_store_that_is_out_of_order_is_made_anew(harm: str, folder: Path, capsys: Any) -> None:
    assert sets(folder, capsys) == BOTH
    (old,) = stores(folder)
    if harm == "cut":
        for file in old.glob("*.sst"):
            file.write_bytes(file.read_bytes()[: file.stat().st_size // 2])
    elif harm == "gone":
        for file in old.glob("*.sst"):
            file.unlink()
    elif harm == "manifest":
        (old / "CURRENT").write_text("nonsense", encoding="utf-8")
    elif harm == "garbage":
        note(folder).write_bytes(b"\xff{")
    else:
        said = json.loads(note(folder).read_bytes())
        said["made by" if harm == "foreign" else "from"] = "another"
        note(folder).write_text(json.dumps(said), encoding="utf-8")
    assert sets(folder, capsys) == BOTH
    assert sets(folder, capsys) == BOTH
    assert standing.standing([str(folder)]) not in (None, str(old))


# Brought up to date ---------------------------------------------------------------------------


@pytest.fixture
def done(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """What each making of a store tells of itself, in their order."""
    told: list[dict[str, Any]] = []
    run = process.run

    def noted(module: str, *more: Any) -> dict[str, Any]:
        result = run(module, *more)
        if module.endswith("standing"):
            told.append(result)
        return result

    monkeypatch.setattr(process, "run", noted)
    return told


MORE = """\
- part: SQ 1.25 x 262
  kind: belt
  section: square 1.25 mm
  inside length: 262 mm
- part: SQ 1.4 x 300
  kind: belt
  section: square 1.4 mm
  inside length: 300 mm
- takes: SQ 1.25 x 262
  in: Larkfield LK-40
  position: main belt
  how: printed
"""


def statements(folder: Path) -> set[str]:
    """Every statement of the store of a folder."""
    pyoxigraph = pytest.importorskip("pyoxigraph")
    found = standing.standing([str(folder)])
    assert found is not None
    return set(map(str, pyoxigraph.Store.read_only(found)))


def expected(folder: Path) -> set[str]:
    """The statements of a folder as it is now, as a store in memory has them."""
    pyoxigraph = pytest.importorskip("pyoxigraph")
    lines = b"".join(asked_queries.statements(graph_of_folder(folder), False))
    store = pyoxigraph.Store()
    store.extend(pyoxigraph.parse(lines, format=pyoxigraph.RdfFormat.N_TRIPLES))
    return set(map(str, store))


def made(folder: Path) -> str | None:
    """Make the store of a folder, as a query does."""
    return standing.make(
        [str(folder)], lambda: asked_queries.statements(graph_of_folder(folder), inferred=False)
    )


def test_only_what_changed_is_written(folder: Path, done: list[dict[str, Any]]) -> None:
    (folder / "a.yaml").write_text(FACTS + MORE, encoding="utf-8")
    assert made(folder)
    whole = statements(folder)
    assert whole == expected(folder)
    file = folder / "a.yaml"
    file.write_text(file.read_text(encoding="utf-8").replace("262 mm", "263 mm"), encoding="utf-8")
    assert made(folder)
    now = statements(folder)
    assert now == expected(folder)
    assert whole - now
    assert [(d["in"], d["out"]) for d in done] == [
        (len(whole), 0),
        (len(now - whole), len(whole - now)),
    ]
    assert len(stores(folder)) == 1


@pytest.mark.parametrize("changes", [3, pytest.param(15, marks=pytest.mark.slow)])
def test_after_any_changes_it_holds_what_one_made_anew_would(
    folder: Path, done: list[dict[str, Any]], changes: int
) -> None:
    large_folders.write(folder, 100 * min(changes, 3))
    entries, chance = random_folder(1, 60), random.Random(1)
    for seed in range(changes):
        # Entries come and go; those behind them move.
        del entries[chance.randrange(len(entries))]
        at = chance.randrange(len(entries))
        entries[at:at] = random_folder(seed)[-2:]
        write(entries, folder)
        assert made(folder)
        assert statements(folder) == expected(folder), seed
    assert sum(d["out"] > 0 for d in done) == changes - 1, done


def test_where_nearly_all_is_other_it_is_made_anew(folder: Path, done: list[dict[str, Any]]) -> None:
    assert made(folder)
    (folder / "a.yaml").write_text(MORE, encoding="utf-8")
    assert made(folder)
    assert done[1]["out"] == 0
    assert statements(folder) == expected(folder)


@pytest.mark.parametrize("harm", ["cut", "gone", "garbage", "a line too many"])
def test_a_list_that_is_out_of_order_is_not_gone_by(
    harm: str, folder: Path, done: list[dict[str, Any]]
) -> None:
    file = Path(made(folder) or "") / standing.LIST
    if harm == "gone":
        file.unlink()
    elif harm == "a line too many":
        file.write_bytes(file.read_bytes() + gzip.compress(b"nonsense\n"))
    else:
        file.write_bytes(file.read_bytes()[:-20] if harm == "cut" else b"nonsense")
    (folder / "b.yaml").write_text("- position: handle\n", encoding="utf-8")
    assert made(folder)
    assert done[1]["out"] == 0
    assert statements(folder) == expected(folder)


def test_the_one_before_stays_as_it_was_while_it_is_read(folder: Path) -> None:
    pyoxigraph = pytest.importorskip("pyoxigraph")
    before = pyoxigraph.Store.read_only(made(folder))
    was = set(map(str, before))
    (folder / "b.yaml").write_text("- set: Quillon 32\n", encoding="utf-8")
    assert made(folder)
    assert set(map(str, before)) == was
    assert statements(folder) != was


def test_no_store_is_kept_of_files_that_change_meanwhile(folder: Path, monkeypatch: Any) -> None:
    def statements() -> list[bytes]:
        (folder / "b.yaml").write_text("- set: Quillon 32\n", encoding="utf-8")
        return [b"<urn:a> <urn:b> <urn:c> .\n"]

    assert standing.make([str(folder)], statements) is None
    assert standing.standing([str(folder)]) is None
    assert stores(folder) == []


def test_what_cannot_be_kept_is_answered_all_the_same(folder: Path, capsys: Any, monkeypatch: Any) -> None:
    run = process.run

    def full(module: str, *more: Any) -> dict[str, Any]:
        if module.endswith("standing"):
            raise CannotRun("no space left")
        return run(module, *more)

    monkeypatch.setattr(process, "run", full)
    assert sets(folder, capsys) == BOTH
    assert stores(folder) == []
    monkeypatch.setenv("KGRAPH_CACHE", "off")
    assert sets(folder, capsys) == BOTH


TWO = """
import sys
from kgraph.exchange import standing
standing.LEAST_BYTES = 0
from kgraph.cli.main import run
sys.exit(run(sys.argv[1:]))
"""


def test_two_at_once_both_answer(folder: Path, capsys: Any) -> None:
    words = [sys.executable, "-c", TWO, "--data", str(folder), *TAKERS]
    both = [subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE, text=True) for _ in range(2)]
    for one in both:
        out, _ = one.communicate(timeout=120)
        assert one.returncode == 0
        assert all(name in out for name in BOTH)
    assert standing.standing([str(folder)]) is not None
    assert sets(folder, capsys) == BOTH


def test_what_a_killed_process_left_is_swept(folder: Path, capsys: Any) -> None:
    assert sets(folder, capsys) == BOTH
    left = stores(folder)[0].with_name(note(folder).stem + "-0123456789abcdef.statements")
    left.mkdir()
    old = time.time() - 2 * standing.OLD_S
    os.utime(left, (old, old))
    (folder / "b.yaml").write_text("- set: Quillon 32\n", encoding="utf-8")
    assert sets(folder, capsys) == BOTH
    assert not left.exists()


PAST_THE_GUARD = """
import sys
from kgraph import system
from kgraph.exchange import engines
print(engines.run_standing(sys.argv[1], sys.argv[2], system.open_nothing_more))
"""


def test_what_got_past_the_guard_would_reach_nothing(folder: Path, capsys: Any) -> None:
    assert sets(folder, capsys) == BOTH
    with listening() as (port, met):
        text = f"SELECT * {{ SERVICE <http://127.0.0.1:{port}/> {{ ?s ?p ?o }} }}"
        command = [sys.executable, "-c", PAST_THE_GUARD, str(stores(folder)[0]), text]
        done = subprocess.run(command, cwd=ROOT, capture_output=True, timeout=20, check=False)
        assert done.returncode != 0
        assert not met
