"""An index says what the files say, by however many processes it is made; with faults there is none."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
import yaml

from kgraph import records
from kgraph.cli import indexing, opening
from kgraph.cli.main import run
from kgraph.cli.settings import Settings
from kgraph.collection.fact_ids import thing_id
from kgraph.folder import schema
from kgraph.index import working
from kgraph.index.compiling import File, first_numbers
from tests.bench import folders
from tests.outside.folders import random_folder
from tests.source.alike import Entries, by_index, compared, listed, put, with_withdrawals
from tests.support import ROOT


@pytest.fixture(params=[1, 3], ids=["alone", "by-three"])
def folder(request: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty fact folder, of which one process makes the index, or three."""
    if request.param > 1 and not hasattr(os, "fork"):
        pytest.skip("this system cannot split a process")
    monkeypatch.setenv("KGRAPH_CACHE", str(tmp_path / "cache"))
    monkeypatch.setattr(working, "processes", lambda files: min(request.param, len(files)))
    monkeypatch.setattr(working, "IN_BATCH", 1)
    made = tmp_path / "facts"
    made.mkdir()
    return made


def parted(entries: Entries, folder: Path, files: int, chance: random.Random) -> None:
    """Entries in so many files, each in one of them."""
    named: dict[int, Entries] = {n: [] for n in range(files)}
    for entry in entries:
        named[chance.randrange(files)].append(entry)
    for number, those in named.items():
        put(folder / f"{number}.yaml", those)


@pytest.mark.parametrize("seed", range(10))
def test_folders_full_of_exceptions(folder: Path, seed: int) -> None:
    """Other names, withdrawals, ids, grades and sizes, in five files."""
    chance = random.Random(seed)
    entries = random_folder(seed, 30, more_belts=seed % 2 == 1)
    for _ in range(seed % 5):
        entries = with_withdrawals(entries, chance)
    parted(entries, folder, 5, chance)
    compared(folder)


@pytest.mark.slow
@pytest.mark.parametrize("hundred", range(1, 6))
def test_five_hundred_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, hundred: int) -> None:
    monkeypatch.setenv("KGRAPH_CACHE", str(tmp_path / "cache"))
    for seed in range(hundred * 100, hundred * 100 + 100):
        folder = tmp_path / f"{seed}"
        folder.mkdir()
        parted(random_folder(seed, 20, more_belts=seed % 2 == 1), folder, 3, random.Random(seed))
        compared(folder)


@pytest.mark.parametrize("seed", range(1))
def test_usual_folders(folder: Path, seed: int) -> None:
    parted(listed("".join(text for _, text in folders.entries(200, seed))), folder, 4, random.Random(seed))
    compared(folder)


DESIGN = {"rebadge": ["A 1", "B 2"], "except": ["knob"], "how": "reported"}
TWICE = {"rebadge": ["B 2", "A 1"], "except": ["lid"], "how": "compared"}
KNOB = {"takes": "K-1", "in": "A 1", "position": "knob"}
OTHER = {"takes": "K-2", "in": "A 1", "position": "knob"}
FITS = {"fits": "A 1", "position": "knob", "to": "B 2", "work": "file it"}
BELT = {"part": "B-1", "section": "square 1.25 mm", "folded": "131 mm"}
OLD = {"part": "B-9", "section": "square 1.25 mm", "folded": "131 mm"}


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ([KNOB | {"id": "one"}], [OTHER | {"id": "one"}]),
        ([KNOB | {"id": "one"}, OTHER | {"id": "one"}], [{"withdraw": "one", "why": "misread"}]),
        ([FITS], [FITS | {"work": "file  it", "how": "guess"}]),
        ([FITS | {"both ways": "yes"}], [FITS | {"both ways": "true"}]),
        ([DESIGN], [TWICE]),
        ([DESIGN], [DESIGN | {"except": ["lid"], "how": "guess"}]),
        ([{"set": "A 1", "also": ["A one"]}, DESIGN], [{"rebadge": ["A one", "B 2"]}]),
        ([{"set": "A 1", "also": ["A one"]}], [{"set": "B 2", "also": ["A one"]}, KNOB | {"in": "A one"}]),
        ([{"set": "A 1", "colour": "red"}], [{"set": "A 1", "colour": "black"}]),
        ([BELT | {"kind": "drive belt"}], [{"kind": "belt", "also": ["drive belt"]}, OLD | {"kind": "belt"}]),
        ([BELT], [{"kind": "drive belt", "also": ["belt"]}, OLD | {"kind": "drive belt"}]),
        ([BELT | {"kind": "belt"}, {"part": "B-9", "kind": "belt"}], [OLD]),
        ([DESIGN], [{"uses": "T-1", "in": "A 1", "except": ["KNOB"], "id": "two"}]),
        ([{"uses": "T-1", "in": "A 1"}, KNOB | {"in": "T-1"}], [{"assembly": "T-1", "also": ["T one"]}]),
        ([{"stock": "K-1", "count": 2}], [{"part": "K-1", "also": ["K one"]}, {"stock": "K one"}]),
        ([KNOB | {"takes": "knob"}], [OTHER | {"takes": "knob", "how": "guess"}]),
    ],
)
def test_what_one_file_cannot_know_by_itself(folder: Path, first: Entries, second: Entries) -> None:
    for one, other in (("a", "b"), ("b", "a")):
        put(folder / f"{one}.yaml", first)
        put(folder / f"{other}.yaml", second)
        compared(folder)


TURNING = {"assembly": "T-1", "positions": ["knob", "lid"]}
NAMED = {"set": "A 1", "also": ["A one"], "source": "letter"}
SIZED = {
    "part": "B-9",
    "kind": "belt",
    "section": "square 1.25 mm",
    "folded": "131 mm",
    "numbers": {"Orvanek": "77"},
}


def back(thing: dict[str, Any]) -> dict[str, Any]:
    """The withdrawal of an entry of a thing."""
    (made,), _ = schema.entries_of(yaml.safe_dump([thing], sort_keys=False).encode(), "")
    assert isinstance(made, records.Thing)
    return {"withdraw": thing_id(made), "why": "misread"}


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ([TURNING, KNOB], [back(TURNING)]),
        ([TURNING, KNOB, back(TURNING)], [{"uses": "T-1", "in": "A 1"}]),
        ([NAMED, KNOB | {"in": "A one", "source": "letter"}], [back(NAMED)]),
        ([NAMED, back(NAMED) | {"id": "one"}], [{"withdraw": "one", "why": "it was right"}, KNOB]),
        (
            [SIZED, {"part": "B-8", "kind": "belt", "section": "square 1.25 mm", "folded": "131 mm"}],
            [back(SIZED)],
        ),
        (
            [{"position": "knob", "also": ["dial"]}, KNOB],
            [back({"position": "knob", "also": ["dial"]}), DESIGN],
        ),
        ([NAMED | {"via": "bert"}], [back(NAMED | {"via": "bert"}) | {"via": "anna"}, KNOB]),
        ([{"stock": "K-1", "count": 2}], [back({"stock": "K-1", "count": 2}), {"stock": "K-1", "count": 3}]),
    ],
)
def test_what_was_taken_back_of_things(folder: Path, first: Entries, second: Entries) -> None:
    for one, other in (("a", "b"), ("b", "a")):
        put(folder / f"{one}.yaml", first)
        put(folder / f"{other}.yaml", second)
        compared(folder)


def test_a_folder_that_is_named_twice_has_no_index(folder: Path) -> None:
    put(folder / "a.yaml", [KNOB])
    assert opening._place(Settings((folder, folder))) is None
    place = opening._place(Settings((folder,)))
    assert place is not None
    twice = place._replace(folders=place.folders * 2, stamps=place.stamps * 2)
    assert not indexing.compile_index(twice)


def test_a_folder_with_a_fault_is_read_whole_and_told_of(folder: Path, capsys: Any) -> None:
    put(folder / "a.yaml", [KNOB])
    (folder / "b.yaml").write_text("- takes: K-1\n  in: A 1\n- nonsense: x\n", encoding="utf-8")
    assert by_index(folder) is None
    assert run(["--data", str(folder), "takers", "K-1", "--strict"]) == 3
    told = capsys.readouterr().err
    assert "b.yaml:1" in told
    assert "b.yaml:3" in told


def test_what_cannot_be_compiled_is_not_tried_again_until_it_changes(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(folder / "a.yaml", [KNOB])
    (folder / "b.yaml").write_text("- nonsense: x\n", encoding="utf-8")
    assert by_index(folder) is None
    with monkeypatch.context() as patched:
        patched.setattr(working, "compile_files", lambda *_: pytest.fail("it was tried again"))
        assert by_index(folder) is None
    put(folder / "b.yaml", [OTHER])
    compared(folder)


def test_a_process_that_dies_leaves_the_folder_to_be_read_whole(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    monkeypatch.setattr(working, "processes", lambda files: 2)
    put(folder / "a.yaml", [KNOB])
    put(folder / "b.yaml", [KNOB | {"takes": "K-2"}])

    def die(*_: object) -> None:
        os.kill(os.getpid(), signal.SIGKILL)

    monkeypatch.setattr(working, "_batch", die)
    assert by_index(folder) is None
    assert run(["--data", str(folder), "takers", "K-1", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["answers"]
    assert [p.name for p in (folder.parent / "cache").iterdir() if p.name.startswith(".new-")] == []


def test_entries_of_a_file_are_numbered_before_it_is_read(tmp_path: Path) -> None:
    """The numbers of two files never meet, however short their entries are."""
    texts = ("- set: a\n" * 40, "[{set: a},{set: b}]", "- {via: c}\n", "", "- set: d")
    files = [File(f"{n}", tmp_path, len(text), 0, f"{n}") for n, text in enumerate(texts)]
    starts = [*first_numbers(files).values()]
    for text, start, end in zip(texts, starts, [*starts[1:], 10**9], strict=True):
        assert start + len(listed(text)) <= end


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
@pytest.mark.parametrize("after_s", [0.0, 0.6])
def test_ended_in_the_midst_it_leaves_no_process_and_no_file(
    tmp_path: Path, how: signal.Signals, after_s: float
) -> None:
    """Ctrl-C goes to the whole group of a terminal, other signals to the one process."""
    folders.write(tmp_path / "facts", 20_000)
    words = [sys.executable, "-m", "kgraph", "--data", str(tmp_path / "facts"), "takers", "P3000-6"]
    environment = {**os.environ, "KGRAPH_CACHE": str(tmp_path / "cache"), "PYTHONPATH": str(ROOT)}
    running = subprocess.Popen(
        words, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True
    )
    _wait_for_children(running.pid)
    time.sleep(after_s)
    if how == signal.SIGINT:
        os.killpg(running.pid, how)
    else:
        running.send_signal(how)
    _, err = running.communicate(timeout=30)
    assert running.returncode in (-how, 128 + how, 0)
    assert b"Traceback" not in err
    _wait_for_end_of_group(running.pid)
    (tmp_path / "facts" / "more.yaml").write_text("- set: Arden 12\n", encoding="utf-8")
    subprocess.run(words, env=environment, stdout=subprocess.DEVNULL, check=False)
    assert {p.suffix for p in (tmp_path / "cache").iterdir()} <= {".index", ".note", ".over"}


def _wait_for_children(process: int) -> None:
    """Until it has split; before that it is Python that starts, and no program of ours that is ended."""
    for _ in range(600):
        try:
            told = Path(f"/proc/{process}/task/{process}/children").read_text(encoding="ascii")
        except FileNotFoundError:
            pytest.skip("this system does not tell which processes a process has")
        if told.strip():
            return
        time.sleep(0.02)
    pytest.fail("no other process was begun")


def _wait_for_end_of_group(group: int) -> None:
    for _ in range(200):
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return
        time.sleep(0.05)
    pytest.fail("a process goes on after its caller has ended")


def test_a_cache_that_cannot_be_written_is_found_out_before_any_work(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    put(folder / "a.yaml", [KNOB])
    (folder.parent / "cache").write_text("no folder", encoding="utf-8")
    monkeypatch.setattr(working, "compile_files", None)
    assert by_index(folder) is None
    assert run(["--data", str(folder), "takers", "K-1", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["answers"]
