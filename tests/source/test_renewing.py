"""An index renewed after one file changed has the rows that compiling anew would give, or is not renewed."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import pytest
import yaml

from kgraph import questions
from kgraph.cli import opening
from kgraph.cli.loading import load
from kgraph.cli.main import run
from kgraph.cli.settings import Settings
from kgraph.fits.graph import Graph
from kgraph.folder import reading
from kgraph.index import before_after, compiling, renewing, store
from kgraph.index.store import Store
from kgraph.problems import Stop
from kgraph.render.answers import as_json
from tests.bench import folders
from tests.outside.folders import random_folder

Entries = list[dict[str, Any]]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("KGRAPH_CACHE", str(tmp_path / "cache"))
    made = tmp_path / "facts"
    made.mkdir()
    return made


def put(path: Path, entries: Entries) -> None:
    text = yaml.safe_dump(entries, sort_keys=False, allow_unicode=True) if entries else ""
    path.write_text(text, encoding="utf-8")


def compiled(folder: Path, graph: Graph) -> dict[str, Any]:
    """All rows, as compiling gives them."""
    found = dict(compiling.rows(graph, renewing.numbered([str(folder)])))
    plain: dict[str, Any] = json.loads(json.dumps(found))
    return plain


NOT_ASKED = ("n|source|", "n|kind|", "k|", "trusts", "any")
"""Rows that may keep more than they need: a kind that no part is of any more, a source that nobody names."""


def differences(opened: Store, expected: dict[str, Any]) -> list[str]:
    """The rows that are not as expected, and the sets, assemblies, parts and facts that should be gone."""
    wrong = [
        f"{k}: {_other(opened.get(k), v)}" for k, v in expected.items()
        if opened.get(k) != v and not (k.startswith(NOT_ASKED) and _same_but_more(opened.get(k), v, k))
    ]  # fmt: skip
    there = [k for (k,) in opened.base.execute("SELECT key FROM row")] + list(opened.over)
    return wrong + [
        k for k in there if k[:2] in ("o|", "p|", "f|") and k not in expected and opened.get(k) is not None
    ]


def _other(found: Any, expected: Any) -> Any:
    """Where two rows differ, for who reads a failure."""
    if isinstance(found, dict) and isinstance(expected, dict):
        return {
            k: _other(found.get(k), expected.get(k))
            for k in {*found, *expected}
            if found.get(k) != expected.get(k)
        }
    return found, expected


def _same_but_more(found: Any, expected: Any, key: str) -> bool:
    if key == "any":
        return all(found[k] or not v for k, v in expected.items())
    return key.startswith("n|") or found == expected


def changed(entries: Entries, others: Entries, chance: random.Random) -> Entries:
    """An entry added, taken out, put elsewhere, or changed in one key."""
    made = [dict(e) for e in entries]
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
        one["note"] = f"seen {chance.randrange(100)}"
    return made


def listed(text: str) -> Entries:
    """The entries of a text, every scalar a text."""
    found: Entries = yaml.load(text, yaml.BaseLoader) or []  # noqa: S506
    return found


def edit(folder: Path, names: list[str], others: Entries, chance: random.Random) -> None:
    path = folder / chance.choice(names)
    put(path, changed(listed(path.read_text(encoding="utf-8")), others, chance))


QUICK = questions.Wanted(refused_too=True, seconds=0.0)


def answers(graph: Graph, read: Graph, chance: random.Random) -> list[Any]:
    """What a graph answers about a thing of each kind, the same ones for the same state of chance."""
    choose = random.Random(repr(chance.getstate()))
    parts, sets = (sorted(read.data.known(kind)) for kind in ("part", "set"))
    found = [questions.takers_of_part(graph, choose.choice(parts), QUICK)] if parts else []
    if sets:
        one = choose.choice(sets)
        found += [questions.sisters(graph, one, QUICK), questions.shares(graph, one, QUICK)]
    return [as_json(graph.data, a) for a in found]


def followed(folder: Path, rounds: int, others: Entries, chance: random.Random) -> int:
    """Edit one file so many times over; how many times the index was brought up to date."""
    settings = Settings((folder,))
    names = sorted(p.name for p in folder.iterdir())
    opening.from_files(settings)
    done = 0
    for _ in range(rounds):
        before = {n: (folder / n).read_bytes() for n in names}
        edit(folder, names, others, chance)
        try:
            read = load(settings).graph
        except Stop:
            for name, data in before.items():
                (folder / name).write_bytes(data)
            continue
        found = opening.renewed(settings)
        if found is None:
            opening.from_files(settings)
            continue
        done += 1
        expected = compiled(folder, read)
        again = opening.from_index(settings)
        assert again is not None
        for loaded in (found, again):
            assert differences(loaded.data.store, expected) == []  # type: ignore[attr-defined]
        assert answers(found.graph, read, chance) == answers(read, read, chance)
    return done


@pytest.mark.parametrize("seed", range(60))
def test_small_folders_full_of_exceptions(folder: Path, seed: int) -> None:
    """Other names, withdrawals, ids and grades everywhere: mostly refused, never wrong."""
    chance = random.Random(seed)
    entries = random_folder(seed, more_belts=seed % 2 == 1)
    chance.shuffle(entries)
    for n in range(3):
        put(folder / f"{n}.yaml", entries[n::3])
    followed(folder, 5, random_folder(seed + 1000, more_belts=seed % 2 == 1), chance)


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
    settings = Settings((folder,))
    put(folder / "a.yaml", others)
    put(folder / "b.yaml", before)
    opening.from_files(settings)
    put(folder / "b.yaml", after)
    found = opening.renewed(settings) or opening.from_files(settings)
    read = load(settings).graph
    for part in read.data.known("part"):
        now = [as_json(g.data, questions.takers_of_part(g, part, QUICK)) for g in (found.graph, read)]
        assert now[0] == now[1]
    for one in read.data.known("set"):
        now = [as_json(g.data, questions.sisters(g, one, QUICK)) for g in (found.graph, read)]
        now += [as_json(g.data, questions.shares(g, one, QUICK)) for g in (found.graph, read)]
        assert now[0] == now[1]
        assert now[2] == now[3]


@pytest.mark.parametrize("seed", range(12))
def test_usual_folders(folder: Path, seed: int) -> None:
    """Mostly brought up to date: 12 folders, 10 edits each."""
    texts = [text for _, text in folders.entries(120, seed)]
    entries = listed("".join(texts))
    size = len(entries) // 3 + 1
    for n in range(3):
        put(folder / f"{n}.yaml", entries[n * size : (n + 1) * size])
    others = listed("".join(t for _, t in folders.entries(60, seed + 100)))
    assert followed(folder, 10, [*others, *entries], random.Random(seed)) >= 4


@pytest.mark.parametrize("seed", range(40))
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
    ("kind", "renewed"),
    [
        ({"kind": "belt", "also": ["drive belt"]}, True),
        ({"kind": "drive belt", "also": ["belt"]}, True),
        # A kind that the ground does not know by this name: all is compiled anew.
        ({"kind": "drive belt", "generic": "yes", "compare": {"folded": "1 mm"}}, False),
    ],
)
def test_a_belt_whose_kind_has_another_name(folder: Path, kind: dict[str, Any], renewed: bool) -> None:
    put(folder / "kinds.yaml", [kind, BELT | {"part": "B-1"}])
    put(folder / "parts.yaml", [BELT])
    settings = Settings((folder,))
    opening.from_files(settings)
    put(folder / "parts.yaml", [BELT | {"folded": "99 mm", "inside diameter": "63 mm"}])
    found = opening.renewed(settings)
    assert (found is not None) == renewed
    if found is not None:
        expected = compiled(folder, load(settings).graph)
        assert differences(found.data.store, expected) == []  # type: ignore[attr-defined]


def test_files_that_come_or_go_mean_compiling_anew(folder: Path) -> None:
    put(folder / "a.yaml", [{"rebadge": ["A 1", "B 2"]}])
    opening.from_files(Settings((folder,)))
    put(folder / "b.yaml", [{"rebadge": ["A 1", "C 3"]}])
    assert opening.renewed(Settings((folder,))) is None


def test_a_file_that_grew_too_large_is_not_read_in_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    old, new = b"- set: A\n- set: B\n", b"- set: A\n- set: B\n- set: C\n"
    shared, mine, theirs = before_after.entries_of(old, new)
    assert [len(shared), len(mine), len(theirs)] == [1, 1, 2]
    for module in (before_after, reading):
        monkeypatch.setattr(module, "MOST_BYTES", len(new) - 1)
    with pytest.raises(before_after.Anew):
        before_after.entries_of(old, new)
