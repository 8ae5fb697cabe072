"""An index brought up to date after files changed, came or went says what the files say."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pytest

from kgraph.cli import opening
from kgraph.cli.loading import load
from kgraph.cli.main import run
from kgraph.cli.settings import Settings
from kgraph.index import store
from kgraph.problems import Stop
from tests.bench import folders
from tests.outside.folders import random_folder
from tests.source.alike import Entries, by_index, compared, listed, put, with_withdrawals


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("KGRAPH_CACHE", str(tmp_path / "cache"))
    made = tmp_path / "facts"
    made.mkdir()
    return made


def changed(entries: Entries, others: Entries, chance: random.Random) -> Entries:
    """An entry added, taken out, put elsewhere, or changed in one key; or one of a thing taken back."""
    made = [dict(e) for e in entries]
    if chance.random() < 0.25:
        return with_withdrawals(made, chance)
    kind = chance.randrange(5)
    if kind == 0 or not made:
        made.insert(chance.randrange(len(made) + 1), chance.choice(others))
    elif kind == 1:
        made.pop(chance.randrange(len(made)))
    elif kind == 2:
        made.insert(chance.randrange(len(made)), made.pop(chance.randrange(len(made))))
    elif kind == 3:
        one, other = chance.choice(made), chance.choice(others)
        key = chance.choice(list(one))
        one[key] = other.get(key, one[key])
    else:
        one = chance.choice(made)
        key = chance.choice(["note", "source"])
        if key not in one:
            one[key] = f"seen {chance.randrange(3 if key == 'source' else 100)}"
    return made


def edit(folder: Path, names: list[str], others: Entries, chance: random.Random) -> None:
    path = folder / chance.choice(names)
    put(path, changed(listed(path.read_text(encoding="utf-8")), others, chance))


def renewed(folder: Path) -> bool:
    """Bring the index up to date, and hold it and the one that stands then against the files."""
    found = opening.renewed(Settings((folder,)))
    if found is None:
        return False
    compared(folder, found)
    found.close()
    again = opening.from_index(Settings((folder,)))
    assert again is not None
    compared(folder, again)
    again.close()
    return True


def followed(folder: Path, rounds: int, others: Entries, chance: random.Random) -> int:
    """Edit one file so many times over, or put one beside or take one away; how often the index followed."""
    assert by_index(folder) is not None
    done = 0
    for number in range(rounds):
        names = sorted(p.name for p in folder.iterdir())
        before = {n: (folder / n).read_bytes() for n in names}
        if chance.random() < 0.1:
            put(folder / f"{chance.randrange(100)}-{number}.yaml", chance.sample(others, 3))
        elif chance.random() < 0.1 and len(names) > 2:
            (folder / chance.choice(names)).unlink()
        else:
            edit(folder, names, others, chance)
        try:
            load(
                Settings((folder,)),
            )
            faulty = by_fault(folder)
        except Stop:
            faulty = True
        if faulty:
            for path in folder.iterdir():
                path.unlink()
            for name, data in before.items():
                (folder / name).write_bytes(data)
            continue
        done += renewed(folder)
        assert by_index(folder) is not None
    return done


def by_fault(folder: Path) -> bool:
    return load(Settings((folder,))).left_out > 0


@pytest.mark.parametrize("seed", range(12))
def test_small_folders_full_of_exceptions(folder: Path, seed: int) -> None:
    """Other names, withdrawals, ids and grades everywhere."""
    chance = random.Random(seed)
    entries = random_folder(seed, more_belts=seed % 2 == 1)
    chance.shuffle(entries)
    for n in range(3):
        put(folder / f"{n}.yaml", entries[n::3])
    assert followed(folder, 5, random_folder(seed + 1000, more_belts=seed % 2 == 1), chance) >= 3


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(2000, 2002))
def test_two_hundred_edits(folder: Path, seed: int) -> None:
    chance = random.Random(seed)
    for n, entries in enumerate([random_folder(seed + 10 * n, more_belts=n == 1) for n in range(3)]):
        put(folder / f"{n}.yaml", entries)
    assert followed(folder, 200, random_folder(seed + 1000, more_belts=True), chance) >= 120


KNOWN = {"takes": "K-1", "in": "B 1", "position": "knob"}
AGAIN = {"takes": "K-1", "in": "A 1", "position": "knob", "how": "fitted"}
OTHERWISE: list[tuple[Entries, Entries, Entries]] = [
    # A fact that goes by an id of its own elsewhere, held or withdrawn, is said again without it.
    ([{**AGAIN, "id": "note 7"}], [KNOWN], [KNOWN, AGAIN]),
    ([{**AGAIN, "id": "note 7"}, {"withdraw": "note 7", "why": "misread"}], [KNOWN], [KNOWN, AGAIN]),
    # What only an `except` names is written first in another way.
    (
        [KNOWN],
        [{"rebadge": ["A 1", "B 1"], "except": ["Lid"]}, {"rebadge": ["A 1", "C 1"], "except": ["LID"]}],
        [{"rebadge": ["A 1", "C 1"], "except": ["LID"]}, {"rebadge": ["A 1", "B 1"], "except": ["Lid"]}],
    ),
    # The same two are joined elsewhere, with other exceptions; then in one file in two ways.
    (
        [{"rebadge": ["A 1", "B 1"], "except": ["lid"], "how": "fitted"}, KNOWN],
        [{"set": "C 1"}],
        [{"set": "C 1"}, {"rebadge": ["A 1", "B 1"], "except": ["knob"]}],
    ),
    (
        [KNOWN],
        [{"rebadge": ["A 1", "B 1"], "except": ["lid"]}, {"rebadge": ["A 1", "B 1"], "except": ["knob"]}],
        [{"rebadge": ["A 1", "B 1"], "except": ["knob"], "how": "fitted"}],
    ),
    # A grade that needs no entry is another name of one that has one.
    (
        [{"grade": "tried on", "also": ["fitted"], "certainty": "0.5"}],
        [KNOWN],
        [KNOWN, AGAIN],
    ),
    # Two entries of one thing change places, and a fact of several ids moves.
    (
        [
            {"uses": "M 1", "in": "A 1"},
            {"uses": "M 1", "in": "B 1"},
            {**AGAIN, "id": "one", "source": "letter"},
        ],
        [
            {"assembly": "M 1", "positions": ["knob"]},
            {"assembly": "M 1", "kind": "tape mechanism"},
            {**AGAIN, "id": "two", "source": "list"},
            {"withdraw": "two", "why": "misread", "source": "letter"},
        ],
        [
            {"assembly": "M 1", "kind": "tape mechanism"},
            {"assembly": "M 1", "positions": ["knob"]},
            {**AGAIN, "id": "two", "source": "list"},
            {"withdraw": "two", "why": "misread", "source": "letter"},
        ],
    ),
]


@pytest.mark.parametrize(("others", "before", "after"), OTHERWISE)
def test_what_no_file_tells_alone(others: Entries, before: Entries, after: Entries, folder: Path) -> None:
    put(folder / "a.yaml", others)
    put(folder / "b.yaml", before)
    compared(folder)
    put(folder / "b.yaml", after)
    assert renewed(folder)


@pytest.mark.parametrize("seed", [1, pytest.param(0, marks=pytest.mark.slow)])
def test_usual_folders(folder: Path, seed: int) -> None:
    texts = [text for _, text in folders.entries(120, seed)]
    entries = listed("".join(texts))
    size = len(entries) // 3 + 1
    for n in range(3):
        put(folder / f"{n}.yaml", entries[n * size : (n + 1) * size])
    others = listed("".join(t for _, t in folders.entries(60, seed + 100)))
    assert followed(folder, 10, [*others, *entries], random.Random(seed)) >= 9


@pytest.mark.parametrize("seed", range(15))
def test_damage_to_the_newer_rows_never_changes_an_answer(folder: Path, capsys: Any, seed: int) -> None:
    """Bytes turned, cut off or added in the file that lies over the index, and an older one put back."""

    def ask() -> tuple[int, str]:
        status = run(["--data", str(folder), "takers", "K-1", "--json"])
        return status, capsys.readouterr().out

    (folder / "a.yaml").write_text("- takes: K-1\n  in: A 1\n  position: knob\n", encoding="utf-8")
    ask()
    path = Path(f"{store.index_path([str(folder)])}.over")
    kept = b""
    for name in ("B 2", "C 3"):
        with (folder / "a.yaml").open("a", encoding="utf-8") as facts:
            facts.write(f"- rebadge: [A 1, {name}]\n")
        expected = ask()
        assert name in expected[1]
        kept, older = path.read_bytes(), kept
    chance = random.Random(seed)
    at = chance.randrange(len(kept))
    turned = kept[:at] + bytes([kept[at] ^ 1 << chance.randrange(8)]) + kept[at + 1 :]
    path.write_bytes(chance.choice((turned, turned, kept[:at], kept + b" ", older)))
    assert ask() == expected
    assert ask() == expected


BELT = {"part": "B-2", "kind": "drive belt", "section": "square 1.25 mm", "folded": "131 mm"}


@pytest.mark.parametrize(
    "kind",
    [
        {"kind": "belt", "also": ["drive belt"]},
        {"kind": "drive belt", "also": ["belt"]},
        {"kind": "drive belt", "generic": "yes", "compare": {"folded": "1 mm"}},
    ],
)
def test_a_belt_whose_kind_has_another_name(folder: Path, kind: dict[str, Any]) -> None:
    put(folder / "kinds.yaml", [kind, BELT | {"part": "B-1"}])
    put(folder / "parts.yaml", [BELT])
    compared(folder)
    put(folder / "parts.yaml", [BELT | {"folded": "99 mm", "inside diameter": "63 mm"}])
    assert renewed(folder)


def test_files_that_come_and_go(folder: Path) -> None:
    """In sub-folders too, before and behind the others, and one that is put back as it was."""
    put(folder / "b.yaml", [{"rebadge": ["A 1", "B 2"]}])
    compared(folder)
    (folder / "a").mkdir()
    for name in ("a/z.yaml", "a.yaml", "c.yaml"):
        put(folder / name, [{"rebadge": ["a 1", f"C {name}"]}, {"set": "a-1", "mains": "240 V"}])
        assert renewed(folder)
    kept = (folder / "b.yaml").read_bytes()
    for name in ("a.yaml", "b.yaml"):
        (folder / name).unlink()
        assert renewed(folder)
    (folder / "b.yaml").write_bytes(kept)
    assert renewed(folder)


def test_a_change_that_is_a_fault_leaves_no_index(folder: Path) -> None:
    put(folder / "a.yaml", [{"rebadge": ["A 1", "B 2"]}])
    compared(folder)
    (folder / "a.yaml").write_text("- takes: K-1\n", encoding="utf-8")
    assert opening.renewed(Settings((folder,))) is None
    assert by_index(folder) is None


def test_many_changes_are_compiled_anew(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What lies over the index is read for every question: it may not grow for ever."""
    put(folder / "a.yaml", [{"rebadge": ["A 1", "B 2"]}])
    compared(folder)
    monkeypatch.setattr(store, "MOST_OVER", 3000)
    followed = 0
    for number in range(40):
        put(folder / "a.yaml", [{"rebadge": ["A 1", f"B {number}"], "note": "n" * 50}])
        followed += renewed(folder)
        assert by_index(folder) is not None
    assert 3 < followed < 40
