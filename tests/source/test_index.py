"""The compiled index never changes an answer: when it is fresh, stale, torn, foreign or not there at all."""

from __future__ import annotations

import contextlib
import json
import os
import random
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from kgraph import trade
from kgraph.cli import indexing, loading
from kgraph.cli.main import run
from kgraph.cli.opening import from_index
from kgraph.cli.settings import Settings
from kgraph.index import freshness, store
from tests.outside.folders import random_folder, write
from tests.support import DEMO, folder_with, graph_of_folder
from tests.support import ask as ask_json

Said = tuple[int, str, str]
Ask = Callable[..., Said]


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "cache"
    monkeypatch.setenv("KGRAPH_CACHE", str(folder))
    return folder


@pytest.fixture
def ask(capsys: Any) -> Ask:
    def asked(folder: Path, *words: str) -> Said:
        capsys.readouterr()
        status = run(["--data", str(folder), *words])
        out = capsys.readouterr()
        return status, out.out, out.err

    return asked


def as_read(ask: Ask, monkeypatch: pytest.MonkeyPatch, folder: Path, *words: str) -> Said:
    """The answer without any index."""
    with monkeypatch.context() as patched:
        patched.setenv("KGRAPH_CACHE", "off")
        return ask(folder, *words)


def questions_of(folder: Path, most: int, seed: int = 1) -> Iterator[tuple[str, ...]]:
    """Questions of every kind about a folder, in words."""
    data = graph_of_folder(folder).data
    chance = random.Random(seed)
    sets, parts, positions = (sorted(data.known(k).values()) for k in ("set", "part", "position"))
    for _ in range(most):
        one = chance.choice(sets)
        yield ("takers", chance.choice(parts or sets), "--json", "--proof")
        yield ("takers", one, chance.choice(positions), "--all")
        yield ("donors", one, chance.choice(positions), "--json", "--all")
        yield ("donors", one)
        yield ("sisters", one, "--json")
        yield ("shares", one, "--json")


def opened(folder: Path) -> bool:
    return from_index(Settings((folder,))) is not None


@pytest.mark.parametrize("seed", [0, 1, *(pytest.param(n, marks=pytest.mark.slow) for n in range(2, 6))])
def test_answers_of_the_demo_are_those_of_its_files(
    cache: Path, ask: Ask, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    ask(DEMO, "sisters", "Hidzumara HZ-300")
    assert opened(DEMO)
    for words in questions_of(DEMO, 4, seed):
        assert ask(DEMO, *words) == as_read(ask, monkeypatch, DEMO, *words), words


@pytest.mark.parametrize("seed", range(25))
def test_answers_of_random_folders_are_those_of_their_files(
    cache: Path, ask: Ask, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, seed: int
) -> None:
    folder = tmp_path / "facts"
    folder.mkdir()
    write(random_folder(seed, more_belts=seed % 2 == 1), folder)
    for words in questions_of(folder, 3, seed):
        assert ask(folder, *words) == as_read(ask, monkeypatch, folder, *words), words
    assert opened(folder)


def test_names_that_are_not_known_get_their_nearest(
    cache: Path, ask: Ask, monkeypatch: pytest.MonkeyPatch
) -> None:
    ask(DEMO, "sisters", "Hidzumara HZ-300")
    for words in (
        ("takers", "HU-301O"),
        ("takers", "55-1002"),
        ("takers", "Hidzumara HZ-3000", "volume knob"),
        ("donors", "Hidzumara HZ-300", "volumne knob"),
        ("sisters", "Hidzumara"),
        ("takers", "Hidzumara", "HZ-300", "volume", "knob"),
    ):
        assert ask(DEMO, *words) == as_read(ask, monkeypatch, DEMO, *words), words


FACTS = "- takes: K-1\n  in: A 1\n  position: knob\n- rebadge: [A 1, B 2]\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    found = tmp_path / "facts"
    found.mkdir()
    (found / "a.yaml").write_text(FACTS, encoding="utf-8")
    return found


def sets(said: Said) -> list[str]:
    return sorted(a["set"] for a in json.loads(said[1])["answers"])


def test_a_change_is_seen_at_once(cache: Path, ask: Ask, folder: Path) -> None:
    """Also one of the same size within one tick of the clock, with the times put back."""
    assert sets(ask(folder, "takers", "K-1", "--json")) == ["A 1", "B 2"]
    state = (folder / "a.yaml").stat()
    (folder / "a.yaml").write_text(FACTS.replace("B 2", "C 3"), encoding="utf-8")
    os.utime(folder / "a.yaml", ns=(state.st_atime_ns, state.st_mtime_ns))
    assert sets(ask(folder, "takers", "K-1", "--json")) == ["A 1", "C 3"]
    (folder / "b.yaml").write_text("- rebadge: [A 1, D 4]\n", encoding="utf-8")
    assert sets(ask(folder, "takers", "K-1", "--json")) == ["A 1", "C 3", "D 4"]
    (folder / "b.yaml").unlink()
    assert sets(ask(folder, "takers", "K-1", "--json")) == ["A 1", "C 3"]


def test_a_young_file_is_read_again_whatever_its_stamp_says(
    cache: Path, ask: Ask, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The stamps are held still, as a coarse clock would: only the digest can tell."""
    ask(folder, "takers", "K-1", "--json")
    still = store.stamps_of([str(folder)])
    monkeypatch.setattr(store, "stamps_of", lambda folders: still)
    assert opened(folder)
    (folder / "a.yaml").write_text(FACTS.replace("B 2", "C 3"), encoding="utf-8")
    assert not opened(folder)
    assert sets(ask(folder, "takers", "K-1", "--json")) == ["A 1", "C 3"]


def test_a_file_that_stood_long_enough_is_not_read_again(cache: Path, folder: Path) -> None:
    found = store.stamps_of([str(folder)])
    assert found is not None
    now, later = time.time_ns(), time.time_ns() + 2 * freshness.YOUNG_NS
    young = freshness.young_of([str(folder)], found, now)
    assert [(i, path) for i, path, _ in young] == [(0, "a.yaml")]
    assert freshness.young_of([str(folder)], found, later) == []
    assert freshness.still_young(young, found, now) == young
    assert freshness.still_young(young, found, later) == []


@pytest.mark.parametrize("when", ["read", "written", "noted"])
def test_a_file_saved_within_a_tick_while_its_index_is_made_is_not_believed(
    when: str, cache: Path, ask: Ask, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The stamps are held still; the file is saved before it is read, after that, or behind the last look."""
    before = store.stamps_of([str(folder)])
    monkeypatch.setattr(store, "stamps_of", lambda folders: before)
    late = {
        "read": (indexing, "files_of"),
        "written": (freshness, "note_of"),
        "noted": (freshness, "write_note"),
    }
    module, name = late[when]
    usual = getattr(module, name)

    def save_then(*given: Any) -> Any:
        (folder / "a.yaml").write_text(FACTS.replace("B 2", "C 3"), encoding="utf-8")
        return usual(*given)

    with monkeypatch.context() as meanwhile:
        meanwhile.setattr(module, name, save_then)
        ask(folder, "takers", "K-1", "--json")
    for _ in range(3):
        assert sets(ask(folder, "takers", "K-1", "--json")) == ["A 1", "C 3"]


def test_a_folder_in_another_has_no_index(
    cache: Path, ask: Ask, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its files are read twice, and no index could tell which of the two a fact is of."""
    (folder / "in" / "deep").mkdir(parents=True)
    (folder / "in" / "deep" / "b.yaml").write_text("- set: D 4\n", encoding="utf-8")
    (folder / "z.yaml").write_text("- takes: K-1\n  in: E 5\n  position: knob\n", encoding="utf-8")
    monkeypatch.setenv("KGRAPH_DATA", "")
    words = ("--data", str(folder), "takers", "K-1", "--json")
    ask(folder / "in", *words)
    (folder / "z.yaml").write_text("- set: E 5\n", encoding="utf-8")
    told = ask(folder / "in", *words)
    assert told == as_read(ask, monkeypatch, folder / "in", *words)
    assert not list(cache.glob("*.index"))


def test_a_folder_with_errors_has_no_index(cache: Path, ask: Ask, folder: Path) -> None:
    (folder / "b.yaml").write_text("- takes: K-1\n", encoding="utf-8")
    told = ask(folder, "takers", "K-1")
    assert "1 entry cannot be read and is left out, in " in told[2]
    assert not opened(folder)
    assert ask(folder, "takers", "K-1") == told


def test_links_and_other_odd_files_mean_no_index(cache: Path, ask: Ask, folder: Path) -> None:
    (folder / "b.yaml").symlink_to(folder / "a.yaml")
    assert sets(ask(folder, "takers", "K-1", "--json")) == ["A 1", "B 2"]
    assert not opened(folder)


def test_the_cache_folder_may_be_unusable(ask: Ask, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file where the cache folder should be, and a folder below a file."""
    blocked = folder.parent / "blocked"
    blocked.write_text("", encoding="utf-8")
    for place in (blocked, blocked / "below"):
        monkeypatch.setenv("KGRAPH_CACHE", str(place))
        assert sets(ask(folder, "takers", "K-1", "--json")) == ["A 1", "B 2"]
    assert blocked.read_text(encoding="utf-8") == ""


def test_another_version_is_made_anew(
    cache: Path, ask: Ask, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ask(folder, "takers", "K-1")
    monkeypatch.setattr(store, "FORM", "another")
    assert not opened(folder)
    assert sets(ask(folder, "takers", "K-1", "--json")) == ["A 1", "B 2"]
    assert opened(folder)
    monkeypatch.setattr(trade, "digest", lambda: "the ground of another version")
    assert not opened(folder)
    assert sets(ask(folder, "takers", "K-1", "--json")) == ["A 1", "B 2"]
    assert opened(folder)


def test_an_index_of_other_files_is_not_believed(cache: Path, ask: Ask, folder: Path) -> None:
    """The index and note of one folder under the name of another."""
    other = folder.parent / "other"
    other.mkdir()
    (other / "a.yaml").write_text(FACTS.replace("B 2", "C 3"), encoding="utf-8")
    for one in (folder, other):
        ask(one, "takers", "K-1")
    paths = [store.index_path([str(f)]) for f in (folder, other)]
    assert paths[0]
    assert paths[1]
    shutil.copy(paths[1], paths[0])
    assert sets(ask(folder, "takers", "K-1", "--json")) == ["A 1", "B 2"]
    shutil.copy(paths[1], paths[0])
    shutil.copy(paths[1] + ".note", paths[0] + ".note")
    assert sets(ask(folder, "takers", "K-1", "--json")) == ["A 1", "B 2"]


@pytest.mark.parametrize("seed", range(40))
def test_damage_never_changes_an_answer(cache: Path, ask: Ask, folder: Path, seed: int) -> None:
    """Bytes turned, cut off, zeroed or added anywhere in the index or its note."""
    chance = random.Random(seed)
    expected = ask(folder, "takers", "K-1", "--json")
    path = Path(store.index_path([str(folder)]) or "")
    target = path if chance.random() < 0.8 else Path(f"{path}.note")
    target.write_bytes(_damaged(target.read_bytes(), chance))
    assert ask(folder, "takers", "K-1", "--json") == expected
    assert ask(folder, "takers", "K-1", "--json") == expected


def _damaged(whole: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(whole))
    kind = chance.randrange(5)
    if kind == 0:
        return whole[:at]
    if kind == 1:
        return whole[:at] + bytes([whole[at] ^ 1 << chance.randrange(8)]) + whole[at + 1 :]
    if kind == 2:
        page = at // 4096 * 4096
        return whole[:page] + bytes(min(4096, len(whole) - page)) + whole[page + 4096 :]
    if kind == 3:
        return chance.randbytes(chance.randrange(5000))
    return whole + chance.randbytes(100)


def test_nothing_is_ever_put_into_the_fact_folder(cache: Path, ask: Ask, folder: Path) -> None:
    before = sorted(p.name for p in folder.iterdir())
    ask(folder, "takers", "K-1")
    ask(folder, "takers", "K-1")
    assert sorted(p.name for p in folder.iterdir()) == before
    assert not [p for p in cache.iterdir() if p.name.startswith(".new-")]


def test_what_a_killed_process_left_is_taken_away_later(cache: Path, ask: Ask, folder: Path) -> None:
    cache.mkdir()
    with subprocess.Popen([sys.executable, "-c", ""]) as ended:
        ended.wait()
    mine = store._mine()
    dead, alive = f"{mine}{ended.pid}-a.index", f"{mine}{os.getppid()}-b.index"
    old, young = ".new-00000000-1-old.index", ".new-00000000-1-young.index"
    for name, age in ((old, 2 * store.LEFT_OVER_S), (young, 5), (dead, 5), (alive, 5)):
        (cache / name).write_bytes(b"half")
        os.utime(cache / name, (time.time() - age, time.time() - age))
    ask(folder, "takers", "K-1")
    assert {p.name for p in cache.iterdir() if p.name.startswith(".new-")} == {young, alive}


def test_two_folders_in_one_question(cache: Path, ask: Ask, folder: Path) -> None:
    other = folder.parent / "more"
    other.mkdir()
    (other / "a.yaml").write_text("- rebadge: [B 2, E 5]\n", encoding="utf-8")
    words = ["--data", str(folder), "--data", str(other), "takers", "K-1", "--json"]
    first = (run(words), opened(folder))
    both = Settings((folder, other))
    assert first == (0, False)
    assert from_index(both) is not None
    assert loading.load(both).data.knows("set", "e5")


def test_sets_told_apart_are_so_through_the_index(tmp_path: Path, capsys: Any) -> None:
    """A `distinct` fact counts by an index as by the files, and so does one that is added later."""
    facts = "- rebadge: [Corr C-1, Dann D-1]\n  how: photo\n- rebadge: [Dann D-1, Esk E-1]\n  how: printed\n"
    folder = folder_with(tmp_path, [("a.yaml", facts)])
    for more, standings in (("", ["inferred", "stated"]), ("photo", ["refused", "refused"])):
        if more:
            told = f"- distinct: [Corr C-1, Dann D-1]\n  how: {more}\n"
            folder_with(tmp_path, [("b.yaml", told)])
        for _ in range(2):
            _, found = ask_json(capsys, "--data", str(folder), "sisters", "Corr C-1", "--all")
            assert sorted(a["standing"] for a in found["answers"]) == standings


@pytest.mark.skipif(not os.path.isdir("/proc/self/fd"), reason="open files are listed there")
def test_a_question_keeps_no_index_open(folder: Path, cache: Path, ask: Ask) -> None:
    """One process may ask many: each index that stayed open took a number of those that it may have."""
    words = ("takers", "K-1")
    ask(folder, *words)
    for _ in range(3):
        ask(folder, *words)
        assert cache.name not in {Path(name).parent.name for name in open_files()}
    (index,) = cache.glob("*.index")
    index.write_bytes(index.read_bytes()[:-100])
    ask(folder, *words)
    assert cache.name not in {Path(name).parent.name for name in open_files()}


def open_files() -> list[str]:
    """What this process has open."""
    found = []
    for number in os.listdir("/proc/self/fd"):
        with contextlib.suppress(OSError):
            found.append(os.readlink(f"/proc/self/fd/{number}"))
    return found
