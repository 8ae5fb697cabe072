"""Pictures to be refused or taken, made anew for each test: name -> (bytes, whether it is taken).

`python -m tests.hostile.pictures.making FOLDER` writes them out to be looked at.
"""

from __future__ import annotations

import io
import struct
import sys
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import piexif
from PIL import Image, ImageCms, PngImagePlugin

Made = tuple[str, bytes, bool]


def quartered(width: int = 64, height: int = 48) -> Image.Image:
    """A picture whose four corners tell how it was turned: red, green, blue, white, by rows."""
    made = Image.new("RGB", (width, height))
    colours = ((255, 0, 0), (0, 255, 0), (0, 0, 255), (255, 255, 255))
    for number, colour in enumerate(colours):
        left, top = number % 2 * width // 2, number // 2 * height // 2
        made.paste(colour, (left, top, left + width // 2, top + height // 2))
    return made


def saved(picture: Image.Image, form: str, **how: Any) -> bytes:
    """A picture as the bytes of a file."""
    out = io.BytesIO()
    picture.save(out, form, **how)
    return out.getvalue()


def metadata(orientation: int = 1) -> bytes:
    """Exif with a place, a camera, a time and an orientation, by another library than reads it."""
    said = {
        "0th": {piexif.ImageIFD.Make: b"A camera", piexif.ImageIFD.Orientation: orientation},
        "Exif": {piexif.ExifIFD.DateTimeOriginal: b"2026:03:01 10:00:00"},
        "GPS": {piexif.GPSIFD.GPSLatitudeRef: b"N", piexif.GPSIFD.GPSLatitude: ((51, 1), (30, 1), (0, 1))},
    }
    return bytes(piexif.dump(said))


def chunk(kind: bytes, data: bytes) -> bytes:
    """A chunk of a PNG (ISO/IEC 15948, 5.3)."""
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png_of(width: int, height: int, *more: bytes) -> bytes:
    """A PNG that says it is so large, with a single row in it."""
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    row = chunk(b"IDAT", zlib.compress(bytes(1 + 3 * width)))
    return b"\x89PNG\r\n\x1a\n" + head + b"".join(more) + row + chunk(b"IEND", b"")


def all_of_them() -> Iterator[Made]:
    """Every picture of the set."""
    yield from _cut()
    yield from _bombs()
    yield from _no_pictures()
    yield from _turned()
    yield from _unusual()


def _cut() -> Iterator[Made]:
    for form in ("JPEG", "PNG", "WEBP"):
        whole = saved(quartered(400, 300), form)
        yield f"whole.{form.lower()}", whole, True
        for eighth in range(1, 8):
            yield f"cut-{eighth}.{form.lower()}", whole[: len(whole) * eighth // 8], False
        yield f"last-byte.{form.lower()}", whole[:-1], False
    bent = bytearray(saved(quartered(), "PNG"))
    bent[60] ^= 0xFF
    yield "checksum.png", bytes(bent), False


def _bombs() -> Iterator[Made]:
    yield "bomb.png", png_of(50_000, 50_000), False
    yield "wide.png", png_of(2_000_000_000, 1), False
    yield "just-too-many.png", png_of(8_001, 5_000), False
    jpeg = saved(quartered(), "JPEG")
    at = jpeg.find(b"\xff\xc0")
    yield "bomb.jpg", jpeg[: at + 5] + struct.pack(">HH", 50_000, 50_000) + jpeg[at + 9 :], False
    packed = chunk(b"zTXt", b"note\0\0" + zlib.compress(bytes(80_000_000)))
    yield "text-bomb.png", png_of(1, 1, packed), False
    yield "many-texts.png", png_of(1, 1, *[chunk(b"tEXt", b"note\0" + b"x" * 900_000)] * 20), True


def _no_pictures() -> Iterator[Made]:
    yield "empty.jpg", b"", False
    yield "drawing.png", b'<svg xmlns="http://www.w3.org/2000/svg"><script>1</script></svg>', False
    yield "page.jpg", b"<!doctype html><script>1</script>", False
    yield "page-after.jpg", saved(quartered(), "JPEG") + b"<script>alert(1)</script>", True
    yield "gif.png", saved(quartered(), "GIF"), False
    yield "tiff.jpg", saved(quartered(), "TIFF"), False
    yield "bmp.png", saved(quartered(), "BMP"), False
    yield "pdf.png", saved(quartered(), "PDF"), False
    yield "start-alone.jpg", b"\xff\xd8\xff", False
    yield "start-alone.png", b"\x89PNG\r\n\x1a\n", False
    yield "start-alone.webp", b"RIFF\x00\x00\x00\x00WEBP", False
    yield "wrong-suffix.txt", saved(quartered(), "PNG"), True


def _turned() -> Iterator[Made]:
    for orientation in range(1, 9):
        yield f"held-{orientation}.jpg", saved(quartered(), "JPEG", exif=metadata(orientation)), True
    yield "held-6.webp", saved(quartered(), "WEBP", exif=metadata(6), lossless=True), True
    yield "held-6.png", saved(quartered(), "PNG", exif=metadata(6)), True
    yield "held-99.jpg", saved(quartered(), "JPEG", exif=metadata(99)), True
    yield "bad-exif.jpg", saved(quartered(), "JPEG", exif=b"Exif\0\0II*\0\xff\xff\xff\xff"), True


def _unusual() -> Iterator[Made]:
    yield "cmyk.jpg", saved(quartered().convert("CMYK"), "JPEG"), True
    yield "grey.jpg", saved(quartered().convert("L"), "JPEG"), True
    yield "sixteen.png", saved(Image.new("I;16", (64, 48), 40_000), "PNG"), True
    yield "palette.png", saved(quartered().convert("P"), "PNG", transparency=0), True
    yield "bits.png", saved(quartered().convert("1"), "PNG"), True
    yield "see-through.webp", saved(quartered().convert("RGBA"), "WEBP"), True
    frames = [quartered(), quartered().rotate(180)]
    yield "animated.webp", saved(frames[0], "WEBP", save_all=True, append_images=frames[1:]), True
    yield "animated.png", saved(frames[0], "PNG", save_all=True, append_images=frames[1:]), True
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    yield "profile.jpg", saved(quartered(), "JPEG", icc_profile=profile), True
    yield "bad-profile.jpg", saved(quartered(), "JPEG", icc_profile=b"\xff" * 5_000), True
    yield "comment.jpg", saved(quartered(), "JPEG", comment=b"a home address"), True
    large = Image.new("RGB", (8_000, 5_000), (9, 90, 9))
    texts = PngImagePlugin.PngInfo()
    texts.add_text("Author", "a home address")
    yield "texts.png", saved(quartered(), "PNG", pnginfo=texts), True
    large = Image.new("RGB", (7_000, 5_500), "grey")
    yield "many-pixels.png", saved(large, "PNG", compress_level=1), True
    yield "many-pixels.jpg", saved(large, "JPEG"), True


if __name__ == "__main__":
    for name, data, _ in all_of_them():
        (Path(sys.argv[1]) / name).write_bytes(data)
