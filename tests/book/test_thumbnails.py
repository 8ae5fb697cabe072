"""Thumbnails of photographs: small, the same each time, kept in the cache, and a gap where there is none."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image

from kgraph.cli.main import run
from kgraph.photographs import thumbnails as module
from kgraph.photographs.thumbnails import thumbnails
from tests.hostile.pictures.making import metadata, quartered, saved


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("KGRAPH_CACHE", str(tmp_path / "cache"))
    (made := tmp_path / "folder" / "photos").mkdir(parents=True)
    (made / "a.jpg").write_bytes(saved(quartered(), "JPEG", exif=metadata(6)))
    (made / "noise.png").write_bytes(saved(Image.effect_noise((1600, 1200), 120), "PNG"))
    (made / "cut.jpg").write_bytes(saved(quartered(), "JPEG")[:300])
    return made.parent


NAMED = ["photos/a.jpg", "photos/noise.png", "photos/cut.jpg", "photos/gone.jpg", "../folder/photos/a.jpg"]


def test_each_is_small_and_a_broken_one_leaves_out_no_other(folder: Path) -> None:
    made = dict(thumbnails([folder], [*NAMED[:4], "../outside.jpg"]))
    assert sorted(made) == ["photos/a.jpg", "photos/noise.png"]
    for data in made.values():
        assert len(data) < 20_000
        with Image.open(io.BytesIO(data)) as picture:
            assert max(picture.size) <= 320
            assert not picture.getexif()


def test_the_same_bytes_each_time_and_no_process_the_second_time(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = dict(thumbnails([folder], NAMED[:2]))
    monkeypatch.setenv("KGRAPH_CACHE", str(folder.parent / "other"))
    assert dict(thumbnails([folder], NAMED[:2])) == first

    def refuse(*_: object) -> None:
        raise AssertionError("a thumbnail that is kept was made again")

    monkeypatch.setattr(module.process, "run", refuse)
    assert dict(thumbnails([folder], NAMED[:2])) == first


def test_what_the_cache_holds_half_is_made_again(folder: Path) -> None:
    first = dict(thumbnails([folder], NAMED[:1]))
    (kept,) = (folder.parent / "cache" / "thumbnails").glob("*.jpg")
    kept.write_bytes(kept.read_bytes()[:100])
    assert dict(thumbnails([folder], NAMED[:1])) == first


def test_the_book_shows_them_beside_what_they_are_evidence_of(folder: Path, tmp_path: Path) -> None:
    (folder / "a.yaml").write_text(
        "- set: Larkfield LK-40\n- set: Orvanek 2200\n"
        "- rebadge: [Larkfield LK-40, Orvanek 2200]\n  how: photo\n  photo: [photos/a.jpg, photos/gone.jpg]\n"
        "- unit: U-07\n  set: Larkfield LK-40\n  photo: photos/noise.png\n"
        "- inspected: volume knob\n  of: U-07\n  state: worn\n  photo: photos/cut.jpg\n"
    )
    book = tmp_path / "book"
    assert run(["--data", str(folder), "book", str(book)]) == 0
    (page,) = book.glob("sets/larkfield-lk-40-*.html")
    text = page.read_text()
    cited = text[text.index('<li id="f1"') :]
    assert 'href="#f1"' in text[: text.index('<li id="f1"')]
    assert '<img src="../photos/' in cited
    assert "is not there: photos/gone.jpg" in cited
    (unit,) = book.glob("units/*.html")
    assert '<img src="../photos/' in unit.read_text()
    assert "is not there: photos/cut.jpg" in unit.read_text()
    assert len(list((book / "photos").glob("*.jpg"))) == 2
    assert text.count("<img ") == text.count('alt="Photograph: ')
    before = {p: p.stat().st_mtime_ns for p in book.rglob("*") if p.is_file()}
    assert run(["--data", str(folder), "book", str(book)]) == 0
    assert {p: p.stat().st_mtime_ns for p in book.rglob("*") if p.is_file()} == before


@pytest.mark.parametrize("command", ["sheet", "arrive"])
def test_a_page_for_print_holds_them_itself(folder: Path, tmp_path: Path, command: str) -> None:
    (folder / "a.yaml").write_text(
        "- set: Larkfield LK-40\n- unit: U-07\n  set: Larkfield LK-40\n"
        "  photo: [photos/a.jpg, photos/gone.jpg]\n"
        "- fault: cracked\n  in: Larkfield LK-40\n  position: dial glass\n  photo: photos/noise.png\n"
        "- inspected: dial glass\n  of: U-07\n  state: cracked\n  photo: photos/noise.png\n"
    )
    for name in ("page.html", "page.txt", "page.md"):
        assert run(["--data", str(folder), command, "U-07", "-o", str(tmp_path / name)]) == 0
    page = (tmp_path / "page.html").read_text()
    assert page.count('<img src="data:image/jpeg;base64,') == 2
    assert "This photograph is not there: photos/gone.jpg" in page
    assert "photo: photos/noise.png" in (tmp_path / "page.txt").read_text()
    assert "photo: photos/noise.png" in (tmp_path / "page.md").read_text()
