"""Photographs beside the entries that rest on them."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
import rdflib
from PIL import Image

from kgraph import photographs
from kgraph.cli.main import run
from kgraph.problems import CannotRun
from tests.hostile.pictures.making import metadata, quartered, saved

ADD = ["add", "takes", "K-114", "--in", "Larkfield LK-40", "--position", "volume knob", "--how", "photo"]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (made := tmp_path / "folder").mkdir()
    (made / "a.yaml").write_text(
        "- set: Larkfield LK-40\n- part: K-114\n- unit: U-07\n  set: Larkfield LK-40\n"
    )
    (tmp_path / "in.jpg").write_bytes(saved(quartered(), "JPEG", exif=metadata(6)))
    return made


def kept(folder: Path) -> list[str]:
    return sorted(f"photos/{p.name}" for p in (folder / "photos").glob("*"))


def asked(folder: Path, *words: str) -> int:
    return run(["--data", str(folder), *words])


def test_a_photo_is_copied_and_named_by_the_entry(folder: Path) -> None:
    assert asked(folder, *ADD, "--photo", str(folder.parent / "in.jpg"), "--page", "14", "--yes") == 0
    (path,) = kept(folder)
    written = (folder / "bench.yaml").read_text()
    assert f"photo: {path}\n" in written
    assert "page: 14" in written
    assert asked(folder, "check") == 0


def test_several_photos_stand_in_a_list(folder: Path) -> None:
    (folder.parent / "b.png").write_bytes(saved(quartered(80, 60), "PNG"))
    photos = ["--photo", str(folder.parent / "in.jpg"), "--photo", str(folder.parent / "b.png")]
    assert asked(folder, *ADD, *photos, "--yes") == 0
    assert len(kept(folder)) == 2
    assert asked(folder, "check") == 0


def test_a_refused_picture_writes_nothing(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder.parent / "in.jpg").write_bytes(b"<svg/>")
    assert asked(folder, *ADD, "--photo", str(folder.parent / "in.jpg"), "--yes") != 0
    assert "no JPEG, PNG or WebP" in capsys.readouterr().err
    assert not (folder / "bench.yaml").exists()
    assert kept(folder) == []


def test_an_entry_that_is_refused_keeps_no_picture(folder: Path) -> None:
    wrong = [*ADD, "--role", "nonsense", "--photo", str(folder.parent / "in.jpg"), "--yes"]
    assert asked(folder, *wrong) != 0
    assert kept(folder) == []


def test_an_event_that_is_refused_keeps_no_picture(folder: Path) -> None:
    picture = str(folder.parent / "in.jpg")
    assert asked(folder, *ADD, "--yes") == 0
    assert asked(folder, "take", "volume knob", "--from", "U-07") == 0
    assert asked(folder, "inspect", "U-07", "volume knob", "good", "--photo", picture) != 0
    assert kept(folder) == []


def test_a_picture_that_cannot_be_kept_leaves_no_entry(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(target: Path, data: bytes) -> None:
        raise CannotRun(f"{target}: no space left on device")

    monkeypatch.setattr(photographs.writing, "write_new", full)
    assert asked(folder, *ADD, "--photo", str(folder.parent / "in.jpg"), "--yes") != 0
    assert not (folder / "bench.yaml").exists()


def test_take_and_correct_keep_pictures_too(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    picture = str(folder.parent / "in.jpg")
    assert asked(folder, *ADD, "--yes") == 0
    assert asked(folder, "take", "volume knob", "--from", "U-07", "--photo", picture) == 0
    assert f"photo: {kept(folder)[0]}" in (folder / "bench.yaml").read_text()
    capsys.readouterr()
    assert asked(folder, "correct", "U-07", "photo", picture, "--yes") == 0
    assert len(kept(folder)) == 1
    assert asked(folder, "check") == 0


@pytest.mark.parametrize("more", [(), ("how", "fitted")], ids=["alone", "with a key"])
def test_correct_takes_a_photo_as_other_commands_do(folder: Path, more: tuple[str, ...]) -> None:
    (folder / "facts.yaml").write_text(
        "- takes: K-114\n  in: Larkfield LK-40\n  position: volume knob\n  id: bench-17\n", encoding="utf-8"
    )
    picture = str(folder.parent / "in.jpg")
    assert asked(folder, "correct", "bench-17", *more, "--photo", picture, "--yes") == 0
    assert f"photo: {kept(folder)[0]}" in (folder / "bench.yaml").read_text()
    assert asked(folder, "check") == 0
    assert asked(folder, "correct", "bench-17", "--yes") == 2


def test_check_finds_missing_altered_and_unused_pictures(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert asked(folder, *ADD, "--photo", str(folder.parent / "in.jpg"), "--yes") == 0
    file = folder / kept(folder)[0]
    (folder / "photos" / "0123456789abcdef.jpg").write_bytes(b"x")
    capsys.readouterr()
    assert asked(folder, "check") == 0
    assert "no entry names photos/0123456789abcdef.jpg" in "".join(capsys.readouterr())
    file.write_bytes(file.read_bytes() + b"x")
    assert asked(folder, "check") == 1
    assert "was altered" in capsys.readouterr().out
    file.unlink()
    assert asked(folder, "check") == 1
    assert "is not in the folder" in capsys.readouterr().out


def test_merge_brings_pictures_along_as_they_were_kept(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert asked(folder, *ADD, "--photo", str(tmp_path / "in.jpg"), "--yes") == 0
    (ours := tmp_path / "ours").mkdir()
    (ours / "a.yaml").write_text("- set: Larkfield LK-40\n")
    assert asked(ours, "merge", str(folder), "--yes") == 0
    assert kept(ours) == kept(folder)
    assert (ours / kept(ours)[0]).read_bytes() == (folder / kept(folder)[0]).read_bytes()
    assert "not in their folder" not in capsys.readouterr().err


SAID = """\
- set: Larkfield LK-40
- source: parts list
  trust: 0.5
- source: bench book
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: printed
  source: [parts list, bench book]
  page: 14
  photo: [photos/3f9a1c2b7d04e811.jpg, photos/own.png]
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: guess
  source: letter
- unit: U-07
  set: Larkfield LK-40
  photo: photos/own.png
- inspected: volume knob
  of: U-07
  state: worn
  photo: photos/3f9a1c2b7d04e811.jpg
"""


@pytest.fixture
def said(tmp_path: Path) -> Path:
    (made := tmp_path / "said").mkdir()
    (made / "a.yaml").write_text(SAID)
    return made


def test_every_saying_shows_all_that_it_rests_on(said: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert asked(said, "takers", "K-114", "--proof") == 0
    shown = capsys.readouterr().out
    whole = "parts list, bench book, page 14, photo photos/3f9a1c2b7d04e811.jpg, photos/own.png"
    assert f"[printed, {whole}]" in shown
    assert "also 40 % [guess, letter]" in shown
    assert asked(said, "takers", "K-114", "--json") == 0
    (row,) = json.loads(capsys.readouterr().out)["answers"]
    (fact,) = row["proof"]
    assert fact["certainty"] == 0.95  # The surest of its sources counts, which nobody trusts by half.
    one, other = fact["evidence"]
    assert one["source"] == ["parts list", "bench book"]
    assert one["photo"] == ["photos/3f9a1c2b7d04e811.jpg", "photos/own.png"]
    assert (one["page"], other["source"]) == ("14", "letter")
    assert asked(said, "show", fact["fact"]) == 0
    assert whole in capsys.readouterr().out


def test_taking_back_one_source_leaves_what_the_other_says(
    said: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert asked(said, "withdraw", "--source", "bench book", "--why", "misread", "--yes") == 0
    capsys.readouterr()
    assert asked(said, "takers", "K-114", "--json") == 0
    (row,) = json.loads(capsys.readouterr().out)["answers"]
    one, _ = row["proof"][0]["evidence"]
    assert one["source"] == "parts list"
    assert one["certainty"] == pytest.approx(0.475)


def test_merging_keeps_several_sources(
    said: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (ours := tmp_path / "ours").mkdir()
    (ours / "a.yaml").write_text("- set: Larkfield LK-40\n")
    assert asked(ours, "merge", str(said), "--yes") == 0
    capsys.readouterr()
    assert asked(ours, "merge", str(said), "--yes") in (0, 1)
    assert "nothing new" in "".join(capsys.readouterr())
    assert asked(ours, "takers", "K-114", "--json") == 0
    (row,) = json.loads(capsys.readouterr().out)["answers"]
    assert row["proof"][0]["evidence"][0]["source"] == ["parts list", "bench book"]


def test_rdf_names_photos_with_their_hash_and_no_other_words(
    said: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out.ttl"
    assert asked(said, "export", "--validate", "-o", str(out)) == 0
    read = rdflib.Graph().parse(out)
    schema, kept = rdflib.Namespace("https://schema.org/"), "photos/3f9a1c2b7d04e811.jpg"
    (image,) = read.subjects(schema.contentUrl, rdflib.Literal(kept))
    assert list(read.objects(image, rdflib.URIRef("urn:kgraph:term:hash"))) == [
        rdflib.Literal("3f9a1c2b7d04e811")
    ]
    assert len(list(read.subjects(schema.image, image))) == 2  # The saying and the inspection.
    (other,) = read.subjects(schema.contentUrl, rdflib.Literal("photos/own.png"))
    assert not list(read.objects(other, rdflib.URIRef("urn:kgraph:term:hash")))
    assert len(list(read.subjects(schema.image, other))) == 2  # The saying and the unit.


@pytest.mark.parametrize("suffix", ["ttl", "csv", "xlsx"])
def test_several_sources_and_photos_come_back_from_every_format(
    said: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], suffix: str
) -> None:
    out = tmp_path / ("tables" if suffix == "csv" else f"out.{suffix}")
    assert asked(said, "export", *(["--to", "csv"] if suffix == "csv" else []), "-o", str(out)) == 0
    (back := tmp_path / "back").mkdir()
    photographs.keep(back, [])
    (said / "photos").mkdir()
    assert asked(back, "import", str(out), "--yes") == 0
    capsys.readouterr()
    assert asked(back, "takers", "K-114", "--json") == 0
    (row,) = json.loads(capsys.readouterr().out)["answers"]
    said_back = row["proof"][0]["evidence"][0]
    assert said_back["source"] == ["parts list", "bench book"]
    assert said_back["photo"] == ["photos/3f9a1c2b7d04e811.jpg", "photos/own.png"]


def test_the_picture_of_a_proof_names_its_photograph(said: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert asked(said, "draw", "proof", "takers", "K-114", "--set", "Larkfield LK-40") == 0
    assert "photos/3f9a1c2b7d04e811.jpg" in capsys.readouterr().out.replace("\\l", "").replace("\\n", "")


def test_import_copies_what_lies_beside_the_table_and_nothing_outside(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (theirs := tmp_path / "theirs").mkdir()
    (theirs / "dial.jpg").write_bytes(saved(quartered(), "JPEG", exif=metadata(6)))
    (theirs / "in.csv").write_text(
        "unit,set,photo\nU-11,Larkfield LK-40,dial.jpg\nU-12,Larkfield LK-40,gone.jpg\n"
    )
    assert asked(folder, "import", str(theirs / "in.csv"), "--kind", "unit", "--yes") == 0
    assert "gone.jpg is neither beside" in capsys.readouterr().err
    (path,) = kept(folder)
    (written,) = folder.glob("import-*.yaml")
    assert f"photo: {path}\n" in written.read_text()
    with Image.open(folder / path) as picture:
        assert not picture.getexif()
    assert asked(folder, "import", str(theirs / "in.csv"), "--kind", "unit", "--yes") == 0
    assert "nothing new" in capsys.readouterr().out
    (theirs / "out.csv").write_text("unit,set,photo\nU-13,Larkfield LK-40,../in.jpg\n")
    assert asked(folder, "import", str(theirs / "out.csv"), "--kind", "unit", "--yes") != 0
    assert "no path inside the folder" in capsys.readouterr().err
    (theirs / "link.jpg").symlink_to(tmp_path / "in.jpg")
    (theirs / "link.csv").write_text("unit,set,photo\nU-14,Larkfield LK-40,link.jpg\n")
    asked(folder, "import", str(theirs / "link.csv"), "--kind", "unit", "--yes")
    assert "link.jpg is neither beside" in capsys.readouterr().err
    (theirs / "broken.jpg").write_bytes(b"<svg/>")
    (theirs / "broken.csv").write_text("unit,set,photo\nU-15,Larkfield LK-40,broken.jpg\n")
    assert asked(folder, "import", str(theirs / "broken.csv"), "--kind", "unit", "--yes") != 0
    assert "U-15" not in "".join(f.read_text() for f in folder.glob("*.yaml"))
    assert kept(folder) == [path]


def test_what_was_exported_comes_back_with_its_pictures(folder: Path, tmp_path: Path) -> None:
    assert asked(folder, *ADD, "--photo", str(tmp_path / "in.jpg"), "--yes") == 0
    assert asked(folder, "export", "-o", str(folder / "out.ttl")) == 0
    (back := tmp_path / "back").mkdir()
    assert asked(back, "import", str(folder / "out.ttl"), "--yes") == 0
    assert kept(back) == kept(folder)
    assert (back / kept(back)[0]).read_bytes() == (folder / kept(folder)[0]).read_bytes()


# What a question touches ----------------------------------------------------------------------

TOLD = """
import sys
from kgraph.cli.main import run
seen = []
def hear(event, args):
    if event in ("open", "os.listdir", "os.scandir") and isinstance(args[0], (str, bytes)):
        seen.append(args[0] if isinstance(args[0], str) else args[0].decode())
sys.addaudithook(hear)
status = run(sys.argv[2:])
touched = [path for path in seen if path.startswith(sys.argv[1] + "/photos")]
print(status, len([path for path in seen if path.startswith(sys.argv[1])]) > 0, touched, file=sys.stderr)
"""


@pytest.mark.parametrize("question", [["takers", "K-114"], ["faults", "U-07"], ["arrive", "U-07"]])
def test_no_question_opens_or_lists_photographs(folder: Path, question: list[str]) -> None:
    assert asked(folder, *ADD, "--photo", str(folder.parent / "in.jpg"), "--yes") == 0
    for _ in range(2):  # Once with an index to be made, once with one.
        words = [sys.executable, "-c", TOLD, str(folder), "--data", str(folder), *question]
        surroundings = {**os.environ, "KGRAPH_CACHE": str(folder.parent / "cache")}
        done = subprocess.run(words, capture_output=True, text=True, env=surroundings, timeout=60)
        assert done.stderr.endswith("0 True []\n")


def test_facts_among_photographs_are_not_read_and_check_says_so(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "photos").mkdir()
    (folder / "photos" / "lost.yaml").write_text("- set: Quillon 31\n")
    assert asked(folder, "show", "Quillon 31") == 2
    assert asked(folder, "check") == 1
    said = capsys.readouterr().out
    assert "photos/lost.yaml" in said
    assert "facts among the pictures are not read" in said
    assert (
        asked(folder, "add", "set", "Quillon 31", "--yes", "--file", str(folder / "photos" / "b.yaml")) == 2
    )
    assert not (folder / "photos" / "b.yaml").exists()
    # A folder of that name elsewhere is like any other.
    (folder / "old" / "photos").mkdir(parents=True)
    (folder / "old" / "photos" / "a.yaml").write_text("- set: Orvanek 2200\n")
    assert asked(folder, "show", "Orvanek 2200") == 0
