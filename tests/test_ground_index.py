"""The trade's ground under what an index holds: answers are those of the files, also after edits."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import pytest

from kgraph import trade
from kgraph.cli import opening
from kgraph.cli.main import run
from kgraph.cli.settings import Settings
from kgraph.source import work
from tests.holders import stands
from tests.support import folder_with

Entries = list[dict[str, Any]]

NAMES = ("main belt", "drive belt", "capstan belt", "aerial", "antenna", "aerial rod", "mains fuse",
         "primary fuse", "power transformer", "mains trafo", "supply lid", "Supply-Lid", "volume knob",
         "line socket")  # fmt: skip
SETS = ("Larkfield LK-40", "Orvanek 2200", "Quillon 31")
DECLARED: Entries = [
    {"position": "aerial rod", "note": "of ours"},
    {"position": "primary fuse", "also": ["F1"]},
    {"position": "power transformer"},
    {"position": "T1", "also": ["mains trafo"]},
    {"position": "supply lid", "must match": []},
    {"kind": "tire", "generic": "no"},
    {"caution": "mains", "text": "Mind the mains."},
]


def some_entries(chance: random.Random, number: int) -> Entries:
    """Facts that name places by any of their names, and here and there an entry that says otherwise."""
    found: Entries = [
        {"set": name, **({"mains": chance.choice(("240 V 50 Hz", "220 V"))} if chance.random() < 0.7 else {})}
        for name in SETS
    ]
    for i in range(number):
        position, one, other = chance.choice(NAMES), *chance.sample(SETS, 2)
        found.append(
            chance.choice(
                [
                    {"takes": f"K-{i % 5}", "in": one, "position": position},
                    {"rebadge": [one, other], "except": [chance.choice(NAMES)]},
                    {"fits": one, "position": position, "to": other, "at": chance.choice(NAMES)},
                    {"part": f"K-{i % 5}", "kind": chance.choice(("tyre", "tire", "belt", "bulb"))},
                ]
            )
        )
    return found + chance.sample(DECLARED, chance.randrange(3))


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("KGRAPH_CACHE", str(tmp_path / "cache"))
    made = tmp_path / "facts"
    made.mkdir()
    return made


def asked(capsys: Any, folder: Path, *words: str) -> tuple[int, str, str]:
    capsys.readouterr()
    status = run(["--data", str(folder), *words])
    said = capsys.readouterr()
    return status, said.out, said.err


def put(file: Path, entries: Entries) -> None:
    """Write entries to a file; JSON is YAML."""
    file.write_text("".join(f"- {json.dumps(e)}\n" for e in entries), encoding="utf-8")


def same_answers(folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every question about these names is answered by the index as by the files."""
    for name in (*NAMES, "F1", "rewind belt", "headphone plug", "no such place"):
        ways = [("donors", SETS[0], name, "--all", "--json"), ("takers", SETS[1], name, "--json")]
        for words in (*ways, ("show", name, "--json"), ("find", name)):
            by_index = asked(capsys, folder, *words)
            with monkeypatch.context() as patched:
                patched.setenv("KGRAPH_CACHE", "off")
                assert asked(capsys, folder, *words) == by_index, words


@pytest.mark.parametrize("seed", range(4))
def test_answers_by_the_index_are_those_of_the_files(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    put(folder / "a.yaml", some_entries(random.Random(seed), 14))
    asked(capsys, folder, "sisters", SETS[0])
    assert stands(folder)
    same_answers(folder, capsys, monkeypatch)


@pytest.mark.parametrize("seed", range(12))
def test_an_index_made_by_several_processes(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    monkeypatch.setattr(work, "SMALLEST", 0)
    monkeypatch.setattr(work, "processes", lambda: 3)
    entries = some_entries(random.Random(seed), 30)
    for number in range(5):
        put(folder / f"{number}.yaml", entries[number::5])
    same_answers(folder, capsys, monkeypatch)


@pytest.mark.parametrize("seed", range(12))
def test_an_index_brought_up_to_date(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    chance = random.Random(seed)
    for number in range(3):
        put(folder / f"{number}.yaml", some_entries(chance, 7))
    asked(capsys, folder, "sisters", SETS[0])
    for _ in range(3):
        put(folder / f"{chance.randrange(4)}.yaml", some_entries(chance, 7))
        same_answers(folder, capsys, monkeypatch)


def test_one_fact_by_two_names_in_two_files(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second saying is added to an index that stands: it is more evidence, and no second fact."""
    said = "- takes: K-1\n  in: Larkfield LK-40\n  position: {}\n"
    folder_with(folder, [("a.yaml", said.format("drive belt")), ("b.yaml", "- set: Quillon 31\n")])
    asked(capsys, folder, "takers", "K-1")
    folder_with(folder, [("b.yaml", "- set: Quillon 31\n" + said.format("main belt"))])
    assert '"line": 2' in asked(capsys, folder, "takers", "K-1", "--json")[1]
    found = opening.against_files(Settings((folder,)))
    assert found is None or found[1] == []


def test_an_index_over_another_ground_is_not_believed(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(folder / "a.yaml", some_entries(random.Random(1), 10))
    asked(capsys, folder, "sisters", SETS[0])
    assert stands(folder)
    monkeypatch.setattr(trade, "digest", lambda: "another")
    assert not stands(folder)
