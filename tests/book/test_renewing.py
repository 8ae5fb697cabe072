"""A large book brought up to date equals the book made anew, byte for byte, after edits drawn at random."""

from __future__ import annotations

import random
import re
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from kgraph.book import answering, pages, sets
from kgraph.cli.main import run
from tests.bench import folders

EDITS = 8


@pytest.fixture(params=[1, 2], ids=["the surest three", "the surest alone"])
def depth(request: Any, monkeypatch: pytest.MonkeyPatch) -> int:
    """Small folders told as large ones are."""
    which: int = request.param
    kept = answering.DEPTHS[which]._replace(up_to=float("inf"))
    monkeypatch.setattr(answering, "DEPTHS", (kept,))
    return which


Pages = dict[str, bytes]
"""Each page of a book by its path."""


def files(folder: Path) -> Pages:
    every = {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    return {path: data for path, data in every.items() if path not in ("stamps.json", "book.json")}


def names(facts: Path, kind: str) -> list[str]:
    text = "".join(p.read_text() for p in sorted(facts.rglob("*.yaml")))
    return sorted(set(re.findall(rf"^- {kind}: (.+)$", text, re.M)))


def an_edit(chance: random.Random, facts: Path) -> None:
    """One change of a kind that people make: something said, put right, taken away, renamed."""
    sets, parts = names(facts, "set"), names(facts, "part")
    one, other = chance.sample(sets, 2)
    part, place = chance.choice(parts), chance.choice(folders.SET_PLACES + folders.MECHANISM_PLACES)
    said = [
        f"- takes: {part}\n  in: {one}\n  position: {place}\n  how: fitted\n",
        f"- takes: New {chance.randrange(100)}\n  in: {one}\n  position: {place}\n  role: substitute\n",
        f"- rebadge: [{one}, {other}]\n  how: compared\n  except: [{place}]\n",
        f"- rebadge: [{one}, Newly 9-{chance.randrange(100)}]\n  how: fitted\n",
        f"- refuses: {part}\n  in: {one}\n  position: {place}\n  certainty: 1\n",
        f"- fits: {one}\n  position: {place}\n  to: {other}\n  how: photo\n",
        f"- same: [{part}, {chance.choice(parts)}]\n  how: guess\n",
        f"- replaces: {part}\n  old: {chance.choice(parts)}\n  how: printed\n",
        f"- distinct: [{one}, {other}]\n  how: compared\n",
        f"- set: {one}\n  mains: {chance.choice(('110 V 60 Hz', '240 V 50 Hz'))}\n",
        f"- set: {one}\n  also: [Otherwise {chance.randrange(100)}]\n",
        f"- part: Belt {chance.randrange(9)}\n  kind: belt\n  section: square 1.2 mm\n  folded: 105 mm\n",
        f"- position: {place}\n  caution: springs\n",
        f"- unit: U-{chance.randrange(3)}\n  set: {one}\n  wants: [{place}]\n",
        f"- fault: cracked\n  in: {chance.choice((one, 'TM1 mechanism'))}\n  position: {place}\n",
        f"- inspected: {place}\n  of: U-{chance.randrange(3)}\n  state: worn\n",
        f"- uses: TM1 mechanism\n  in: {other}\n  how: reported\n",
    ]
    target = chance.choice(sorted(facts.rglob("*.yaml")))
    text = target.read_text()
    if chance.random() < 0.75:
        target.write_text(text + chance.choice(said))
        return
    entries = re.split(r"(?m)^(?=- )", text)
    facts_there = [i for i, e in enumerate(entries) if re.match(r"- (rebadge|takes|uses|fits|same):", e)]
    del entries[chance.choice(facts_there)]
    target.write_text("".join(entries))


def counted_sets(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The sets whose pages are made from now on."""
    made: list[str] = []
    real = sets.set_page

    def counted(g: Any, key: str) -> dict[str, Any]:
        made.append(key)
        return real(g, key)

    monkeypatch.setitem(pages._PAGES, "set", counted)
    return made


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3))
def test_after_random_edits_it_equals_the_book_made_anew(seed: int, depth: int, tmp_path: Path) -> None:
    chance = random.Random(seed)
    facts, book = tmp_path / "facts", tmp_path / "book"
    folders.write(facts, 60, seed + 5)
    assert run(["--data", str(facts), "book", str(book)]) == 0
    for number in range(EDITS):
        an_edit(chance, facts)
        assert run(["--data", str(facts), "book", str(book)]) == 0
        anew = tmp_path / f"anew-{number}"
        assert run(["--data", str(facts), "book", str(anew)]) == 0
        now, wanted = files(book), files(anew)
        assert sorted(now) == sorted(wanted)
        assert [path for path in wanted if now[path] != wanted[path]] == []


def test_one_fact_has_only_few_pages_made_again(
    depth: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    facts, book = tmp_path / "facts", tmp_path / "book"
    folders.write(facts, 120, 3)
    run(["--data", str(facts), "book", str(book)])
    made = counted_sets(monkeypatch)
    run(["--data", str(facts), "book", str(book)])
    assert made == []
    (facts / "more.yaml").write_text("- takes: New 1\n  in: Lone 77\n  position: handle\n")
    run(["--data", str(facts), "book", str(book)])
    assert made == ["lone77"]


def with_a_fault(
    facts: Path, book: Path, anew: Path, fault: str
) -> tuple[dict[str, bytes], dict[str, bytes]]:
    """The pages of a book before a fault was written down and after, which are those of a book made anew."""
    run(["--data", str(facts), "book", str(book)])
    before = files(book)
    (facts / "more.yaml").write_text(fault)
    for folder in (book, anew):
        assert run(["--data", str(facts), "book", str(folder)]) == 0
    assert files(book) == files(anew)
    return before, files(book)


def test_a_fault_of_a_mechanism_reaches_the_pages_of_all_sets_that_have_it(
    depth: int, tmp_path: Path
) -> None:
    facts, book, anew = tmp_path / "facts", tmp_path / "book", tmp_path / "anew"
    folders.write(facts, 120, 3)
    (facts / "shelf.yaml").write_text(
        "- assembly: TN7 mechanism\n  positions: [meter, handle]\n"
        "- uses: TN7 mechanism\n  in: Larkfield LK-40\n- uses: TN7 mechanism\n  in: Orvanek 2200\n"
        "- set: Quillon 31\n- unit: U-9\n  set: Orvanek 2200\n"
    )
    fault = "- fault: needle bent\n  in: TN7 mechanism\n  position: meter\n  signs: pointer stands still\n"
    before, now = with_a_fault(facts, book, anew, fault)
    other = {
        path for path in now if now[path] != before.get(path) and path.startswith(("sets/", "arrivals/"))
    }
    changed = sorted(path.rpartition("-")[0] for path in other)
    assert changed == ["arrivals/before-opening-orvanek-2200", "sets/larkfield-lk-40", "sets/orvanek-2200"]
    assert all(b"needle bent" in now[path] for path in other)


def test_a_fault_within_a_mechanism_reaches_the_pages_of_sisters(depth: int, tmp_path: Path) -> None:
    """The flywheel is not among the places of the mechanism: no link of places leads to it."""
    facts, book, anew = tmp_path / "facts", tmp_path / "book", tmp_path / "anew"
    folders.write(facts, 120, 3)
    (facts / "shelf.yaml").write_text(
        "- assembly: TN7 drive\n  positions: [pinch roller]\n- uses: TN7 drive\n  in: TN7 mechanism\n"
        "- assembly: TN7 mechanism\n  positions: [meter]\n- uses: TN7 mechanism\n  in: Larkfield LK-40\n"
        "- rebadge: [Larkfield LK-40, Orvanek 2200]\n"
    )
    _, now = with_a_fault(facts, book, anew, "- fault: bearing dry\n  in: TN7 drive\n  position: flywheel\n")
    told = {path for path in now if b"bearing dry" in now[path] and path.startswith("sets/")}
    assert {path.rpartition("-")[0] for path in told} == {"sets/larkfield-lk-40", "sets/orvanek-2200"}


def test_only_sets_near_a_new_fault_have_their_pages_made_again(
    depth: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = counted_sets(monkeypatch)
    facts, book = tmp_path / "facts", tmp_path / "book"
    folders.write(facts, 120, 3)
    (facts / "more.yaml").write_text("- takes: New 1\n  in: Lone 77\n  position: handle\n")
    run(["--data", str(facts), "book", str(book)])
    made.clear()
    with (facts / "more.yaml").open("a") as file:
        file.write("- fault: bracket cracked\n  in: Lone 77\n  position: handle\n")
    run(["--data", str(facts), "book", str(book)])
    assert made == ["lone77"]


def test_a_photograph_of_a_fault_that_goes_or_comes_is_told_on_all_its_pages(
    depth: int, tmp_path: Path
) -> None:
    facts, book, anew = tmp_path / "facts", tmp_path / "book", tmp_path / "anew"
    facts.mkdir()
    Image.new("RGB", (40, 30), (200, 10, 10)).save(tmp_path / "crack.png")
    (facts / "bench.yaml").write_text("- set: Orvanek 2200\n- unit: U-9\n  set: Orvanek 2200\n")
    words = ["add", "fault", "cracked", "--in", "Orvanek 2200", "--position", "dial glass", "--yes"]
    assert run(["--data", str(facts), *words, "--photo", str(tmp_path / "crack.png")]) == 0
    assert run(["--data", str(facts), "book", str(book)]) == 0

    def told(text: bytes) -> list[str]:
        pages = {p: data for p, data in files(book).items() if p.startswith(("sets/", "arrivals/"))}
        return sorted(path.partition("/")[0] for path, data in pages.items() if text in data)

    assert told(b"<img ") == ["arrivals", "sets"]
    (kept,) = (facts / "photos").iterdir()
    kept.rename(tmp_path / kept.name)
    for folder in (book, anew):
        assert run(["--data", str(facts), "book", str(folder)]) == 0
    assert told(b"<img ") == []
    assert told(b"This photograph is not there") == ["arrivals", "sets"]
    assert files(book) == files(anew)


def test_a_page_that_is_not_as_it_was_left_is_made_again(depth: int, tmp_path: Path) -> None:
    facts, book = tmp_path / "facts", tmp_path / "book"
    folders.write(facts, 40, 3)
    run(["--data", str(facts), "book", str(book)])
    before = files(book)
    one, other, *_ = sorted((book / "sets").iterdir())
    one.unlink()
    other.write_text("cut off")
    run(["--data", str(facts), "book", str(book)])
    assert files(book) == before


@pytest.mark.parametrize("text", ["", "[]", '{"sets/x.html": 3}', "\0"])
def test_stamps_that_are_damaged_vouch_for_nothing(depth: int, tmp_path: Path, text: str) -> None:
    facts, book = tmp_path / "facts", tmp_path / "book"
    folders.write(facts, 40, 3)
    run(["--data", str(facts), "book", str(book)])
    before = files(book)
    (book / "stamps.json").write_text(text)
    (facts / "more.yaml").write_text("- set: Larkfield LK-40\n")
    run(["--data", str(facts), "book", str(book)])
    (facts / "more.yaml").unlink()
    run(["--data", str(facts), "book", str(book)])
    assert files(book) == before


def test_a_run_that_is_cut_off_vouches_for_nothing(
    depth: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Half of the pages are of facts that are taken back before the next run: none may stay."""
    from kgraph.folder import writing
    from kgraph.problems import CannotRun

    facts, book = tmp_path / "facts", tmp_path / "book"
    folders.write(facts, 40, 3)
    run(["--data", str(facts), "book", str(book)])
    before = files(book)
    name = names(facts, "set")[0]
    (facts / "more.yaml").write_text(f"- set: {name}\n  mains: 1 V\n")
    real, left = writing.write_over, [2]

    def full(target: Path, data: Any, lasting: bool = True) -> None:
        left[0] -= 1
        if left[0] < 0:
            raise CannotRun("the disk is full")
        real(target, data, lasting)

    monkeypatch.setattr(writing, "write_over", full)
    assert run(["--data", str(facts), "book", str(book)]) == 3
    assert not (book / "stamps.json").exists()
    monkeypatch.setattr(writing, "write_over", real)
    (facts / "more.yaml").unlink()
    run(["--data", str(facts), "book", str(book)])
    assert files(book) == before


def test_a_photograph_that_comes_back_is_shown_on_its_page(depth: int, tmp_path: Path) -> None:
    facts, book, anew = tmp_path / "facts", tmp_path / "book", tmp_path / "anew"
    facts.mkdir()
    Image.new("RGB", (40, 30), (200, 10, 10)).save(tmp_path / "front.png")
    words = ["add", "set", "Larkfield LK-40", "--photo", str(tmp_path / "front.png"), "--yes"]
    (facts / "bench.yaml").write_text("- set: Orvanek 2200\n")
    assert run(["--data", str(facts), *words]) == 0
    (kept,) = (facts / "photos").iterdir()
    away = kept.rename(tmp_path / kept.name)
    assert run(["--data", str(facts), "book", str(book)]) == 0
    away.rename(kept)
    for folder in (book, anew):
        assert run(["--data", str(facts), "book", str(folder)]) == 0
    assert files(book) == files(anew)
