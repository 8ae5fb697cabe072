"""An index made in shares by several processes has the rows of the whole folder, or is not made so."""

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

from kgraph.cli import indexing, opening
from kgraph.cli.loading import load
from kgraph.cli.main import run
from kgraph.cli.settings import Settings
from kgraph.index import shares, store, working
from tests.bench import folders
from tests.outside.folders import random_folder
from tests.source.test_renewing import listed, put
from tests.support import ROOT

Entries = list[dict[str, Any]]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty fact folder, where three processes share the work however little it is."""
    if not hasattr(os, "fork"):
        pytest.skip("this system cannot split a process")
    monkeypatch.setenv("KGRAPH_CACHE", str(tmp_path / "cache"))
    monkeypatch.setattr(working, "SMALLEST", 0)
    monkeypatch.setattr(working, "processes", lambda: 3)
    made = tmp_path / "facts"
    made.mkdir()
    return made


def in_shares(folder: Path) -> bool:
    place = opening._place(Settings((folder,)))
    assert place is not None
    return indexing.compile_in_shares(place)


def compared(folder: Path) -> None:
    """The index that stands says row for row what the whole folder says."""
    settings = Settings((folder,))
    found = opening.against_files(settings, load(settings).graph)
    assert found is not None
    alike, faults = found
    assert faults == []
    assert alike > 10


def parted(entries: Entries, folder: Path, files: int, chance: random.Random) -> None:
    """Entries in so many files, each in one of them."""
    several: list[Entries] = [[] for _ in range(files)]
    for entry in entries:
        chance.choice(several).append(entry)
    for number, some in enumerate(several):
        put(folder / f"{number}.yaml", some)


@pytest.mark.parametrize("seed", range(60))
def test_folders_full_of_exceptions(folder: Path, monkeypatch: pytest.MonkeyPatch, seed: int) -> None:
    """Other names, withdrawals, ids of one's own, grades and sources, each told to every share."""
    chance = random.Random(seed)
    if seed % 2:
        # So little goes in a share that every process has several, and reads each file twice.
        monkeypatch.setattr(working, "MOST_IN_SHARE", 300)
    parted(random_folder(seed, 40), folder, 7, chance)
    if in_shares(folder):
        compared(folder)


def test_most_folders_full_of_exceptions_can_be_shared(folder: Path) -> None:
    done = 0
    for seed in range(100, 120):
        parted(random_folder(seed, 40), folder, 5, random.Random(seed))
        done += in_shares(folder)
    assert done >= 12


@pytest.mark.parametrize("seed", range(8))
def test_usual_folders(folder: Path, seed: int) -> None:
    """Families and mechanisms spread over the files at random: every one can be shared."""
    entries = listed("".join(text for _, text in folders.entries(400, seed)))
    parted(entries, folder, 6, random.Random(seed))
    assert in_shares(folder)
    compared(folder)


KNOB = {"takes": "K-1", "in": "A 1", "position": "knob"}
OTHER = KNOB | {"takes": "K-2"}
DESIGN = {"rebadge": ["A 1", "B 2"], "except": ["knob"]}
TWICE = DESIGN | {"except": ["knob", "Knob"]}
"""The same fact in other words, so that it has another id."""
MATCHED = {"position": "Knob", "must match": ["colour"]}
FITS = {"fits": "A 1", "position": "knob", "to": "B 2", "work": "file it", "how": "fitted"}

BELT = {"part": "B-1", "kind": "belt", "section": "square 1.25 mm", "folded": "131 mm"}
OLD = {"part": "B-2"}


@pytest.mark.parametrize(
    ("first", "second", "shared"),
    [
        ([KNOB | {"how": "guess"}], [KNOB | {"how": "fitted"}], True),
        ([KNOB | {"source": "list"}], [{"source": "list", "trust": "0.5"}], True),
        ([{"set": "A 1", "also": ["A one"]}, KNOB], [OTHER | {"in": "A one"}], True),
        ([{"set": "A 1", "also": ["B 2"]}], [{"set": "B 2"}, OTHER | {"in": "B 2"}], True),
        ([{"set": "A 1"}, KNOB], [{"uses": "A 1", "in": "B 2"}], True),
        ([KNOB | {"id": "mine"}], [{"withdraw": "mine", "why": "misread"}, OTHER], True),
        ([KNOB], [MATCHED, {"set": "A 1", "colour": "red"}], True),
        ([{"takes": "k-1", "in": "a1", "position": "Knob"}], [{"set": "A 1"}, {"part": "K-1"}], True),
        ([KNOB | {"id": "one"}], [OTHER | {"id": "one"}], False),
        ([FITS], [FITS | {"work": "file  it", "how": "guess"}], True),
        ([FITS | {"both ways": "yes"}], [FITS | {"both ways": "true"}], False),
        ([DESIGN], [TWICE], True),
        ([DESIGN], [DESIGN | {"except": ["lid"], "how": "guess"}], True),
        ([{"set": "A 1", "also": ["A one"]}, DESIGN], [{"rebadge": ["A one", "B 2"]}], False),
        ([{"set": "A 1", "colour": "red"}], [{"set": "A 1", "colour": "black"}, MATCHED], True),
        ([BELT | {"kind": "drive belt"}], [{"kind": "belt", "also": ["drive belt"]}, BELT | OLD], True),
        ([BELT], [{"kind": "drive belt", "also": ["belt"]}, BELT | OLD | {"kind": "drive belt"}], True),
        ([DESIGN], [{"uses": "T-1", "in": "A 1", "except": ["KNOB"], "id": "two"}], True),
    ],
)
def test_what_one_share_cannot_know_by_itself(
    folder: Path, first: Entries, second: Entries, shared: bool
) -> None:
    for one, other in (("a", "b"), ("b", "a")):
        put(folder / f"{one}.yaml", first)
        put(folder / f"{other}.yaml", second)
        assert in_shares(folder) == shared
        if shared:
            compared(folder)


def test_a_set_that_many_files_of_many_shares_declare(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(working, "processes", lambda: 2)
    for number, colour in enumerate(("red", "black", "white", "grey")):
        put(folder / f"{number}.yaml", [{"set": "A 1", "colour": colour}, KNOB | {"takes": f"K-{number}"}])
    put(folder / "4.yaml", [MATCHED])
    assert in_shares(folder)
    compared(folder)


def test_what_is_withdrawn_here_and_said_in_other_words_there(folder: Path, capsys: Any) -> None:
    """The whole folder knows that it is one fact; no share does, and none may keep it."""
    put(folder / "a.yaml", [FITS | {"both ways": "yes"}])
    assert run(["--data", str(folder), "donors", "B 2", "knob", "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)["answers"][0]
    (written,) = [step["fact"] for step in shown["proof"]]
    put(folder / "b.yaml", [FITS | {"both ways": "true"}])
    put(folder / "c.yaml", [{"withdraw": written, "why": "misread"}])
    assert not in_shares(folder)
    assert run(["--data", str(folder), "donors", "B 2", "knob", "--json"]) == 1


def test_one_pair_with_unlike_exceptions_is_one_fact_in_every_share(folder: Path, capsys: Any) -> None:
    """Also where one of its sayings is withdrawn in a third file, or all of them are known to one share."""
    put(folder / "a.yaml", [DESIGN, KNOB])
    put(folder / "b.yaml", [DESIGN | {"except": ["lid"], "how": "fitted"}])
    put(folder / "c.yaml", [OTHER | {"in": "B 2"}])
    assert in_shares(folder)
    compared(folder)
    (fact,) = [f for f in load(Settings((folder,))).data.facts.values() if f.kind == "rebadge"]
    assert (fact.claim[2], fact.certainty, len(fact.ids)) == (("knob", "lid"), 0.98, 2)
    put(folder / "d.yaml", [{"withdraw": fact.id, "why": "misread"}])
    assert in_shares(folder)
    compared(folder)
    (fact,) = [f for f in load(Settings((folder,))).data.facts.values() if f.kind == "rebadge"]
    assert (fact.claim[2], fact.certainty, len(fact.ids)) == (("knob",), 0.6, 1)


def test_a_folder_that_is_named_twice_is_read_whole(folder: Path) -> None:
    put(folder / "a.yaml", [KNOB])
    put(folder / "b.yaml", [OTHER])
    assert opening._place(Settings((folder, folder))) is None
    place = opening._place(Settings((folder,)))
    assert place is not None
    twice = place._replace(folders=place.folders * 2, stamps=place.stamps * 2)
    assert not indexing.compile_in_shares(twice)


def test_a_folder_with_a_fault_is_read_whole_and_told_of(folder: Path, capsys: Any) -> None:
    put(folder / "a.yaml", [KNOB])
    (folder / "b.yaml").write_text("- takes: K-1\n  in: A 1\n- nonsense: x\n", encoding="utf-8")
    assert not in_shares(folder)
    assert run(["--data", str(folder), "takers", "K-1", "--strict"]) == 3
    told = capsys.readouterr().err
    assert "b.yaml:1" in told
    assert "b.yaml:3" in told


def test_a_process_that_dies_leaves_the_folder_to_be_read_whole(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    put(folder / "a.yaml", [KNOB])
    put(folder / "b.yaml", [KNOB | {"takes": "K-2"}])

    def die(*_: object) -> None:
        os.kill(os.getpid(), signal.SIGKILL)

    monkeypatch.setattr(working, "_compile", die)
    assert not in_shares(folder)
    assert run(["--data", str(folder), "takers", "K-1", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["answers"]
    assert [p.name for p in (folder.parent / "cache").iterdir() if p.name.startswith(".new-")] == []


def test_two_rows_that_cannot_be_joined_are_refused() -> None:
    one, other = (store.packed("c|heat", text) for text in ("hot", "hotter"))
    assert shares.join("c|heat", one, one) == one
    with pytest.raises(shares.Apart):
        shares.join("c|heat", one, other)


def test_files_go_in_order_into_shares_of_about_equal_size() -> None:
    files = [working.File(f"{n}", Path(f"{n}"), 1000, (0, f"{n}")) for n in range(10)]
    made = working.shares_of(files, 3)
    assert [f for share in made for f in share] == files
    assert sorted(map(len, made)) == [3, 3, 4]
    assert working.shares_of(files[:1], 3) == [files[:1]]
    assert working.shares_of([], 3) == []


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
    assert sorted(p.suffix for p in (tmp_path / "cache").iterdir()) == [".index", ".note"]


def _wait_for_children(process: int) -> None:
    """Until it has split; before that it is Python that starts, and no program of ours that is ended."""
    for _ in range(600):
        try:
            listed = Path(f"/proc/{process}/task/{process}/children").read_text(encoding="ascii")
        except FileNotFoundError:
            pytest.skip("this system does not tell which processes a process has")
        if listed.strip():
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
    monkeypatch.setattr(working, "Work", None)
    assert not in_shares(folder)
    assert run(["--data", str(folder), "takers", "K-1", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["answers"]
