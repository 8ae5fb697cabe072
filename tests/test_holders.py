"""A folder answers alike whether it was read whole or is fetched through its index, also after many edits."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

from kgraph import belt_questions, lookup, questions, words
from kgraph.cli.progress import steps
from kgraph.problems import WrongUse
from kgraph.render import shelf, things
from kgraph.render.answers import as_json
from kgraph.shelf.overview import overview
from kgraph.source import cache, store, work
from kgraph.source.facts import Facts
from tests.bench import folders
from tests.holders import fetched, stands
from tests.outside.folders import random_folder, write
from tests.support import DEMO, ROOT, graph_of_folder

Entries = list[dict[str, Any]]
Asked = tuple[str, Callable[[Facts], Any]]
QUICK = questions.Wanted(refused_too=True, seconds=0.0, proofs=True)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("KGRAPH_CACHE", str(tmp_path / "cache"))
    made = tmp_path / "facts"
    made.mkdir()
    return made


def said(ask: Callable[[Facts], Any], graph: Facts) -> Any:
    """An answer, or what is wrong with the question."""
    try:
        return ask(graph)
    except WrongUse as wrong:
        return [str(p) for p in wrong.problems]


def every_question(whole: Facts) -> Iterator[Asked]:
    """All that can be asked of a folder about each thing in it, in words."""
    data = whole.data
    sets, parts, positions = (sorted(data.known(kind)) for kind in ("set", "part", "position"))
    for kind in words.THINGS:
        yield f"known {kind}", lambda g, k=kind: g.data.known(k)
    for part in parts:
        yield f"takers {part}", lambda g, p=part: as_json(g.data, questions.takers_of_part(g, p, QUICK))
        yield f"sizes {part}", lambda g, p=part: (g.equal_size(p), g.equal_size_back(p))
    for one in sets:
        yield f"sisters {one}", lambda g, s=one: as_json(g.data, questions.sisters(g, s, QUICK))
        yield f"shares {one}", lambda g, s=one: as_json(g.data, questions.shares(g, s, QUICK))
        yield f"places {one}", lambda g, s=one: questions.places_of(g, s)
        yield f"belts {one}", lambda g, s=one: belt_questions.belt_positions(g, s)
        for at in positions:
            yield (
                f"donors {one} {at}",
                lambda g, s=one, p=at: as_json(g.data, questions.donors(g, s, [p], QUICK)),
            )
            yield (
                f"takers {one} {at}",
                lambda g, s=one, p=at: as_json(g.data, questions.takers_of_place(g, s, p, QUICK)),
            )
            yield f"belt {one} {at}", lambda g, s=one, p=at: belt_questions.place_at(g, s, p)
    for name in sorted({t for kind in words.THINGS for t in data.known(kind).values()}):
        yield f"show {name}", lambda g, n=name: things.as_json(g.data, n, lookup.show(g, n), None)
        for text in (name, name[:3], f"{name[1:]}x"):
            yield f"find {text}", lambda g, t=text: lookup.find(g.data, t)
    yield "shelf", lambda g: shelf.shelf_json(g.data, overview(g, []), ())


def differences(folder: Path, most: int | None = None, seed: int = 0) -> list[str]:
    """The questions to which the two holders give different answers; `most`: of so many, drawn by chance."""
    whole, by_index = graph_of_folder(folder), fetched(folder)
    asked = [*every_question(whole)]
    if most is not None:
        asked = random.Random(seed).sample(asked, min(most, len(asked)))
    wrong = [name for name, ask in asked if said(ask, whole) != said(ask, by_index)]
    ids = sorted({i for f in whole.data.facts.values() for i in f.ids})
    with_ids = [i for i in ids if whole.data.fact_with_id(i) != by_index.data.fact_with_id(i)]
    return [*wrong, *(f"id {i}" for i in with_ids)]


def test_the_demo(folder: Path) -> None:
    assert differences(DEMO, 400) == []


@pytest.mark.slow
def test_all_of_the_demo(folder: Path) -> None:
    assert differences(DEMO) == []


@pytest.mark.parametrize("seed", range(50))
def test_random_folders(folder: Path, seed: int) -> None:
    """Other names, withdrawals, ids and grades everywhere."""
    write(random_folder(seed, more_belts=seed % 2 == 1), folder)
    assert differences(folder) == []


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(50, 500))
def test_more_random_folders(folder: Path, seed: int) -> None:
    write(random_folder(seed, 30, more_belts=seed % 2 == 1), folder)
    assert differences(folder) == []


# Edits -------------------------------------------------------------------------------------------


def put(path: Path, entries: Entries) -> None:
    text = yaml.safe_dump(entries, sort_keys=False, allow_unicode=True) if entries else ""
    path.write_text(text, encoding="utf-8")


def listed(text: str) -> Entries:
    """The entries of a text, every scalar a text."""
    found: Entries = yaml.load(text, yaml.BaseLoader) or []  # noqa: S506
    return found


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
        chance.choice(made)["note"] = f"seen {chance.randrange(100)}"
    return made


def edit(folder: Path, others: Entries, chance: random.Random) -> None:
    """Change a file, sometimes two; now and then one comes, goes, or holds something that cannot be read."""
    for _ in range(chance.choice((1, 1, 1, 2))):
        paths = sorted(folder.rglob("*.yaml"))
        path = chance.choice(paths)
        put(path, changed(listed(path.read_text(encoding="utf-8")), others, chance))
    if chance.random() < 0.1:
        made = folder / chance.choice(("a", "m-1", "z")) / f"{chance.randrange(9)}.yaml"
        made.parent.mkdir(exist_ok=True)
        put(made, [chance.choice(others)])
    if chance.random() < 0.05 and len(paths) > 2:
        path.unlink()
    elif chance.random() < 0.05:
        path.write_text(path.read_text(encoding="utf-8") + "- takes: K-1\n", encoding="utf-8")


def followed(folder: Path, seed: int, edits: int) -> int:
    """Edit a folder so many times over; how many times its index was brought up to date, not made anew."""
    chance = random.Random(seed)
    entries = random_folder(seed, more_belts=seed % 2 == 1)
    others = [*random_folder(seed + 1000, more_belts=seed % 2 == 1), *entries]
    chance.shuffle(entries)
    for n in range(3):
        put(folder / f"{n}.yaml", entries[n::3])
    fetched(folder)
    done = 0
    for number in range(edits):
        edit(folder, others, chance)
        place = store.place_of([str(folder)])
        assert place is not None
        done += store.renewed(place, steps) is not None
        assert differences(folder, 25, number) == [], f"after edit {number}"
    place = store.place_of([str(folder)])
    assert place is not None
    compared = store.against_files(place, steps)
    assert compared is not None
    assert compared[1] == []
    return done


@pytest.mark.parametrize("seed", range(12))
def test_after_edits(folder: Path, seed: int) -> None:
    """Whatever changes, the lines of the changed files go and come: nothing is made anew."""
    assert followed(folder, seed, 6) == 6


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(500))
def test_after_many_edits(folder: Path, seed: int) -> None:
    assert followed(folder, seed, 200) == 200


KNOWN = {"takes": "K-1", "in": "B 1", "position": "knob"}
AGAIN = {"takes": "K-1", "in": "A 1", "position": "knob", "how": "fitted"}
REBADGED = {"rebadge": ["A 1", "B 1"], "except": ["Lid"]}
WIDE: list[tuple[Entries, Entries]] = [
    # A set gets another name by which facts in other files call it, and loses it.
    ([AGAIN, {**KNOWN, "in": "A one"}], [{"set": "A 1", "also": ["A one"]}]),
    # What a name means: a set, until something is built on it; an assembly, until it is declared a set.
    ([KNOWN, REBADGED], [{"uses": "B 1", "in": "C 1"}]),
    ([{"uses": "B 1", "in": "C 1"}, KNOWN], [{"set": "B 1"}]),
    # A fact is withdrawn, by one source, by a withdrawal that is withdrawn.
    ([{**AGAIN, "id": "one"}, KNOWN], [{"withdraw": "one", "why": "misread"}]),
    (
        [{**AGAIN, "id": "one", "source": "letter"}, {**AGAIN, "source": "list"}],
        [{"withdraw": "one", "why": "misread", "source": "letter"}],
    ),
    (
        [{**AGAIN, "id": "one"}, {"withdraw": "one", "why": "x", "id": "two"}],
        [{"withdraw": "two", "why": "y"}],
    ),
    # Two facts claim one id, of their own.
    ([{**AGAIN, "id": "one"}], [{**KNOWN, "id": "one"}]),
    # A grade, the trust in a source, the rules of a position and of a kind.
    ([AGAIN], [{"grade": "fitted", "certainty": "0.5"}]),
    ([{**AGAIN, "source": "list"}], [{"source": "list", "trust": "0.5"}]),
    ([AGAIN, REBADGED, {"set": "A 1", "mains": "240 V"}], [{"position": "Knob", "must match": ["mains"]}]),
    (
        [
            {"part": "B-1", "kind": "drive belt", "section": "square 1.25 mm", "folded": "131 mm"},
            {"part": "B-2", "kind": "belt", "section": "square 1.25 mm", "folded": "131 mm"},
            {**KNOWN, "takes": "B-2"},
        ],
        [{"kind": "belt", "also": ["drive belt"]}],
    ),
    # Which spelling is shown, and in which order entries count.
    ([{**KNOWN, "position": "KNOB"}, REBADGED], [{**KNOWN, "position": "Knob", "in": "b1"}]),
]


@pytest.mark.parametrize(("others", "one"), WIDE)
def test_what_reaches_beyond_its_file(others: Entries, one: Entries, folder: Path) -> None:
    """An entry comes in a file before the others, changes its file, and goes; other names among them."""
    put(folder / "b.yaml", others)
    put(folder / "c.yaml", [{"set": "Z 9"}])
    fetched(folder)
    for name, entries in (("a", one), ("a", []), ("c", one), ("c", [])):
        put(folder / f"{name}.yaml", entries)
        assert differences(folder) == [], name
        assert store.OVER in " ".join(p.name for p in (folder.parent / "cache").iterdir())


# Making ------------------------------------------------------------------------------------------


def lines(folder: Path) -> list[str]:
    """All lines of the index of a folder."""
    place = store.place_of([str(folder)])
    assert place is not None
    index = store.made(place, steps)
    assert index is not None
    return [*index.every()]


@pytest.mark.parametrize("in_share", [300, 2000])
def test_many_processes_make_the_lines_of_one(
    folder: Path, monkeypatch: pytest.MonkeyPatch, in_share: int
) -> None:
    entries = listed("".join(text for _, text in folders.entries(400, 1)))
    for n in range(9):
        put(folder / f"{n}.yaml", entries[n::9])
    alone = lines(folder)
    monkeypatch.setattr(work, "SMALLEST", 0)
    monkeypatch.setattr(work, "MOST_IN_SHARE", in_share)
    monkeypatch.setattr(work, "processes", lambda: 3)
    assert lines(folder) == alone
    assert differences(folder, 60) == []


def test_a_process_that_dies_leaves_the_folder_to_be_read_whole(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for n in range(4):
        put(folder / f"{n}.yaml", [{**KNOWN, "takes": f"K-{n}"}])
    monkeypatch.setattr(work, "SMALLEST", 0)
    monkeypatch.setattr(work, "processes", lambda: 2)
    monkeypatch.setattr(work, "lines_of", lambda *_: sys.exit(1))
    place = store.place_of([str(folder)])
    assert place is not None
    assert store.made(place, steps) is None
    assert not stands(folder)
    assert [*(folder.parent / "cache").iterdir()] == []


def test_two_processes_at_once_answer_alike(folder: Path) -> None:
    """Each makes the index, or brings it up to date, while the others do."""
    folders.write(folder, 3000)
    part = min(graph_of_folder(folder).takes_of)
    command = [sys.executable, "-m", "kgraph", "--data", str(folder), "takers", part, "--json"]
    for text in ("- set: Arden 12\n", "- set: Arden 13\n"):
        (folder / "more.yaml").write_text(text, encoding="utf-8")
        running = [subprocess.Popen(command, stdout=subprocess.PIPE, cwd=ROOT) for _ in range(4)]
        answers = {one.communicate(timeout=120)[0] for one in running}
        assert len(answers) == 1
        assert b'"answers": [' in answers.pop()
    assert sorted(p.suffix for p in (folder.parent / "cache").iterdir() if p.suffix != ".over") == [
        ".index",
        ".note",
    ]


def test_a_cache_that_cannot_be_written_makes_no_index(folder: Path) -> None:
    put(folder / "a.yaml", [KNOWN])
    (folder.parent / "cache").write_text("no folder", encoding="utf-8")
    place = store.place_of([str(folder)])
    assert place is not None
    assert store.made(place, steps) is None
    assert cache.index_path([str(folder)]) is not None


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
