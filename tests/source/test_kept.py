"""What was worked out of all facts and kept beside an index: the answers are those from the files."""

from __future__ import annotations

import json
import random
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from kgraph.fits import graph as graphs
from kgraph.index import kept
from kgraph.recognition import traits
from tests.bench import folders
from tests.outside.folders import random_folder
from tests.source.alike import listed, put
from tests.support import graph_of_folder

LOOKS = (
    *("mains=240 V 50 Hz", "bands=LW, MW", "knobs=5", "width=400 mm", "years=1980", "line socket=yes"),
    *("tape mechanism=TM1 mechanism", "volume knob=P3-1", "main belt=262 mm worn"),
)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("KGRAPH_CACHE", str(tmp_path / "cache"))
    monkeypatch.setattr(kept, "LEAST_ENTRIES", 0)
    made = tmp_path / "facts"
    folders.write(made, 900, looks=True)
    return made


def answer(folder: Path, capsys: Any, looks: Sequence[str] = LOOKS) -> dict[str, Any]:
    words = [word for look in looks for word in ("--seen", look)]
    assert run(["--data", str(folder), "identify", *words, "--json"]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def from_files(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch, looks: Sequence[str] = LOOKS
) -> dict[str, Any]:
    with monkeypatch.context() as here:
        here.setenv("KGRAPH_CACHE", "off")
        return answer(folder, capsys, looks)


def forms(tmp_path: Path) -> list[Path]:
    return sorted((tmp_path / "cache").glob(f"*{kept.ENDING}"))


def test_what_is_kept_answers_as_the_files_do(
    folder: Path, tmp_path: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    expected = from_files(folder, capsys, monkeypatch)
    assert answer(folder, capsys) == expected
    assert len(forms(tmp_path)) > 20
    # The second time nothing is made of all facts any more.
    monkeypatch.setattr(graphs, "build", lambda data: pytest.fail("the whole graph was made"))
    assert answer(folder, capsys) == expected


def test_a_small_folder_keeps_nothing(
    folder: Path, tmp_path: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(kept, "LEAST_ENTRIES", 1_000_000)
    assert answer(folder, capsys)["answers"]
    assert forms(tmp_path) == []


@pytest.mark.parametrize("changes", [2, pytest.param(6, marks=pytest.mark.slow)])
def test_an_entry_that_changes_changes_the_answer(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch, changes: int
) -> None:
    before = answer(folder, capsys)
    path, chance = next(folder.rglob("*.yaml")), random.Random(1)
    for _ in range(changes):
        entries = listed(path.read_text(encoding="utf-8"))
        one = chance.choice([e for e in entries if "set" in e or "rebadge" in e])
        if "set" in one:
            one |= {"knobs": "5", "width": "400 mm", "mains": "240 V 50 Hz"}
        else:
            entries.remove(one)
        put(path, entries)
        expected = from_files(folder, capsys, monkeypatch)
        assert expected["answers"] != before["answers"]
        assert answer(folder, capsys) == expected
        assert answer(folder, capsys) == expected
        before = expected


def test_what_is_torn_or_of_another_state_is_worked_out_anew(
    folder: Path, tmp_path: Path, capsys: Any
) -> None:
    expected, chance = answer(folder, capsys), random.Random(2)
    whole = {path: path.read_bytes() for path in forms(tmp_path)}
    for path, data in whole.items():
        at = chance.randrange(len(data))
        path.write_bytes(chance.choice([b"", data[:at], data[:at] + b"7" + data[at:], data[::-1]]))
    assert answer(folder, capsys) == expected
    # Worked out of these facts again, each is as it was.
    assert {path: path.read_bytes() for path in forms(tmp_path)} == whole
    names = list(whole)
    for path, other in pairwise(names):
        path.write_bytes(whole[other])
    assert answer(folder, capsys) == expected


def test_what_is_kept_goes_with_its_index(folder: Path, tmp_path: Path, capsys: Any) -> None:
    expected = answer(folder, capsys)
    (index,) = (tmp_path / "cache").glob("*.index")
    index.write_bytes(index.read_bytes()[:5000])
    old = {path: path.stat().st_ino for path in forms(tmp_path)}
    assert answer(folder, capsys) == expected
    assert all(old.get(path) != path.stat().st_ino for path in forms(tmp_path))


@pytest.mark.parametrize("seed", range(8))
def test_random_folders_answer_as_their_files_do_after_each_change(
    seed: int, tmp_path: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("KGRAPH_CACHE", str(tmp_path / "cache"))
    monkeypatch.setattr(kept, "LEAST_ENTRIES", 0)
    folder, chance, others = tmp_path / "random", random.Random(seed), random_folder(seed + 1000, 25)
    folder.mkdir()
    put(folder / "a.yaml", random_folder(seed, 25, more_belts=seed % 2 == 1))
    for _ in range(4):
        graph = graph_of_folder(folder)
        recorded = (traits.recorded(graph, key) for key in traits.keys_of(graph))
        looks = [f"{t.name}={chance.choice(sorted(t.texts.values()))}" for t in recorded if t.texts]
        some = chance.sample(looks, min(len(looks), 6)) or ["knobs=5"]
        expected = from_files(folder, capsys, monkeypatch, some)
        assert answer(folder, capsys, some) == expected
        assert answer(folder, capsys, some) == expected
        entries = listed((folder / "a.yaml").read_text(encoding="utf-8"))
        entries[chance.randrange(len(entries))] = chance.choice(others)
        put(folder / "a.yaml", [*entries, chance.choice(others)])
