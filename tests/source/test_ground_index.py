"""The trade's ground in a compiled index: what the files say, made anew and brought up to date."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pytest

from kgraph import trade
from kgraph.cli import opening
from kgraph.cli.main import run
from kgraph.cli.settings import Settings
from tests.source.alike import Entries, compared, put
from tests.source.test_compiling import parted
from tests.source.test_renewing import followed
from tests.support import folder_with

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


@pytest.mark.parametrize("seed", range(4))
def test_answers_by_the_index_are_those_of_the_files(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    put(folder / "a.yaml", some_entries(random.Random(seed), 14))
    asked(capsys, folder, "sisters", SETS[0])
    assert opening.from_index(Settings((folder,))) is not None
    for name in (*NAMES, "F1", "rewind belt", "headphone plug", "no such place"):
        for words in (("donors", SETS[0], name, "--all", "--json"), ("takers", SETS[1], name, "--json")):
            by_index = asked(capsys, folder, *words)
            with monkeypatch.context() as patched:
                patched.setenv("KGRAPH_CACHE", "off")
                assert asked(capsys, folder, *words) == by_index, words


@pytest.mark.parametrize("seed", range(4))
def test_an_index_of_several_files(folder: Path, seed: int) -> None:
    parted(some_entries(random.Random(seed), 30), folder, 5, random.Random(seed))
    compared(folder)


@pytest.mark.parametrize("seed", range(4))
def test_an_index_brought_up_to_date(folder: Path, seed: int) -> None:
    chance = random.Random(seed)
    parted(some_entries(chance, 20), folder, 3, chance)
    followed(folder, 12, some_entries(chance, 20), chance)


def test_one_fact_by_two_names_in_two_files(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second saying is added to an index that stands: it is more evidence, and no second fact."""
    said = "- takes: K-1\n  in: Larkfield LK-40\n  position: {}\n"
    folder_with(folder, [("a.yaml", said.format("drive belt")), ("b.yaml", "- set: Quillon 31\n")])
    asked(capsys, folder, "takers", "K-1")
    folder_with(folder, [("b.yaml", "- set: Quillon 31\n" + said.format("main belt"))])
    assert '"line": 2' in asked(capsys, folder, "takers", "K-1", "--json")[1]
    compared(folder)


def test_an_index_over_another_ground_is_not_believed(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(folder / "a.yaml", some_entries(random.Random(1), 10))
    asked(capsys, folder, "sisters", SETS[0])
    assert opening.from_index(Settings((folder,))) is not None
    monkeypatch.setattr(trade, "digest", lambda: "another")
    assert opening.from_index(Settings((folder,))) is None
