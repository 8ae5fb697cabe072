"""Hostile pictures: each refused with one line, or taken upright, bare of metadata, within bounds."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from pathlib import Path

import piexif
import pytest
from PIL import Image

from kgraph import photographs
from kgraph.problems import CannotRun
from kgraph.records import KEPT_PHOTO
from tests.hostile.pictures.making import all_of_them, metadata, quartered, saved
from tests.support import ROOT

PICTURES = {name: (data, taken) for name, data, taken in all_of_them()}
RED, GREEN, BLUE, WHITE = (255, 0, 0), (0, 255, 0), (0, 0, 255), (255, 255, 255)
UPRIGHT = {
    # Corners by rows after turning, by the eight cases of TIFF 6.0 and Exif (CIPA DC-008).
    1: (RED, GREEN, BLUE, WHITE),
    2: (GREEN, RED, WHITE, BLUE),
    3: (WHITE, BLUE, GREEN, RED),
    4: (BLUE, WHITE, RED, GREEN),
    5: (RED, BLUE, GREEN, WHITE),
    6: (BLUE, RED, WHITE, GREEN),
    7: (WHITE, GREEN, BLUE, RED),
    8: (GREEN, WHITE, RED, BLUE),
}


def corners(data: bytes) -> list[tuple[int, ...]]:
    with Image.open(io.BytesIO(data)) as picture:
        made = picture.convert("RGB")
    width, height = made.size
    points = ((x, y) for y in (8, height - 9) for x in (8, width - 9))
    found = [made.getpixel(p) for p in points]
    return [tuple(255 if v > 127 else 0 for v in pixel) for pixel in found if isinstance(pixel, tuple)]


def test_the_set_is_large_enough() -> None:
    assert len(PICTURES) >= 40


@pytest.mark.parametrize("name", PICTURES)
def test_each_is_refused_with_one_line_or_taken_without_metadata(tmp_path: Path, name: str) -> None:
    data, taken = PICTURES[name]
    (file := tmp_path / name).write_bytes(data)
    if not taken:
        with pytest.raises(CannotRun) as refused:
            photographs.read(file)
        assert len(refused.value.problems) == 1
        assert "\n" not in str(refused.value.problems[0])
        assert os.listdir(tmp_path) == [name]
        return
    kept = photographs.read(file)
    assert len(kept.data) < 25_000_000
    assert KEPT_PHOTO.match(kept.path)
    assert b"script" not in kept.data
    assert b"home address" not in kept.data
    assert not any(mark in kept.data for mark in (b"Exif\0\0", b"eXIf", b"EXIF", b"tEXt", b"zTXt", b"iTXt"))
    assert not any(mark in kept.data for mark in (b"ICC_PROFILE", b"iCCP", b"ICCP"))
    if kept.path.endswith("webp"):
        with pytest.raises(ValueError, match="exif"):
            piexif.load(kept.data)
    if kept.path.endswith("jpg"):
        # A library that is not the one which wrote it finds nothing.
        said = piexif.load(kept.data)
        assert not any(said[part] for part in ("0th", "Exif", "GPS", "1st"))
    with Image.open(io.BytesIO(kept.data)) as picture:
        assert max(picture.size) <= photographs.LONGEST_SIDE
        assert getattr(picture, "n_frames", 1) == 1


@pytest.mark.parametrize("orientation", UPRIGHT)
def test_every_orientation_is_made_upright(tmp_path: Path, orientation: int) -> None:
    (file := tmp_path / "a.jpg").write_bytes(PICTURES[f"held-{orientation}.jpg"][0])
    assert tuple(corners(photographs.read(file).data)) == UPRIGHT[orientation]


@pytest.mark.parametrize("name", ["held-6.webp", "held-6.png"])
def test_other_formats_are_turned_too(tmp_path: Path, name: str) -> None:
    (file := tmp_path / name).write_bytes(PICTURES[name][0])
    assert tuple(corners(photographs.read(file).data)) == UPRIGHT[6]


_LARGEST = """
import resource, sys
from pathlib import Path
from kgraph import photographs
photographs.read(Path(sys.argv[1]))
print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)
"""


@pytest.mark.parametrize("name", ["many-pixels.png", "many-pixels.jpg"])
def test_memory_stays_under_256_mb(tmp_path: Path, name: str) -> None:
    """Of the process that reads a picture of nearly 40 megapixels; `ru_maxrss` is in KiB on Linux."""
    (file := tmp_path / name).write_bytes(PICTURES[name][0])
    told = subprocess.run(
        [sys.executable, "-c", _LARGEST, str(file)], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert 0 < int(told.stdout) < 256 * 1024


@pytest.mark.parametrize("full", [False, True])
def test_a_full_picture_keeps_its_pixels(tmp_path: Path, full: bool) -> None:
    (file := tmp_path / "a.jpg").write_bytes(saved(quartered(3000, 1000), "JPEG", exif=metadata(1)))
    with Image.open(io.BytesIO(photographs.read(file, full).data)) as picture:
        assert picture.size == ((3000, 1000) if full else (2000, 667))


def test_what_is_no_file_is_not_opened(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.jpg")
    for name in (str(tmp_path / "pipe.jpg"), "/dev/zero", str(tmp_path), str(tmp_path / "none.jpg"), "a\0b"):
        with pytest.raises(CannotRun):
            photographs.read(Path(name))


def test_a_large_file_is_refused_unread(tmp_path: Path) -> None:
    with (tmp_path / "a.jpg").open("wb") as stream:
        stream.truncate(photographs.MOST_BYTES + 1)
    with pytest.raises(CannotRun, match="MB"):
        photographs.read(tmp_path / "a.jpg")


def test_a_link_out_of_the_folder_is_neither_read_nor_written(tmp_path: Path) -> None:
    (outside := tmp_path / "outside").mkdir()
    (folder := tmp_path / "folder").mkdir()
    (folder / "photos").symlink_to(outside)
    picture = photographs.Picture("photos/0123456789abcdef.jpg", b"x")
    with pytest.raises(CannotRun, match="link"):
        photographs.keep(folder, [picture])
    assert list(outside.iterdir()) == []
    (outside / "0123456789abcdef.jpg").write_bytes(b"x")
    assert photographs.inside(folder, picture.path) is None
