"""One picture made upright, smaller and bare of metadata, in a process of its own with limits.

What a picture is, its bytes say and not its name. JPEG, PNG and WebP are read; of several frames the first.
"""

from __future__ import annotations

import base64
import io
import sys
import zlib
from typing import TYPE_CHECKING, Any, BinaryIO

from kgraph.exchange import process
from kgraph.problems import CannotRun, Problem, Where

if TYPE_CHECKING:
    from PIL.Image import Image

LONG, LARGEST = 320, 20_000
"""The longest side of a thumbnail in pixels; it has fewer bytes than that."""
SUFFIX = {"JPEG": "jpg", "MPO": "jpg", "PNG": "png", "WEBP": "webp"}
ORIENTATION = 0x0112
"""The tag of Exif (CIPA DC-008, from memory) that says how a picture was held."""
SIGNATURES = ((b"\xff\xd8\xff", "JPEG"), (b"\x89PNG\r\n\x1a\n", "PNG"))


class _Refused(Exception):
    pass


def answer(job: dict[str, Any], stream: BinaryIO) -> dict[str, Any]:
    """What is kept of the picture on the stream, or the thumbnails of several."""
    if "sizes" in job:
        return {"thumbnails": [_small(stream.read(size), job["most_pixels"]) for size in job["sizes"]]}
    data = stream.read()
    try:
        kept, suffix = turned(data, job["longest"], job["most_pixels"])
    except _Refused as refused:
        raise _problem(job, str(refused)) from None
    except MemoryError:
        raise
    except Exception as error:
        # A decoder meets whatever somebody wrote into the file.
        raise _problem(job, f"does not decode whole: {error or type(error).__name__}") from None
    return {"data": base64.b64encode(kept).decode("ascii"), "suffix": suffix}


def _small(data: bytes, most_pixels: int) -> str:
    try:
        return base64.b64encode(thumbnail(data, most_pixels)).decode("ascii")
    except MemoryError:
        raise
    except Exception:
        # A photograph that cannot be shown is a gap in the page, whatever its bytes are.
        return ""


def _problem(job: dict[str, Any], says: str) -> CannotRun:
    return CannotRun(Problem(Where(job["file"]), "picture", says.split("\n")[0][:200]))


def thumbnail(data: bytes, most_pixels: int) -> bytes:
    """A photograph as a JPEG of less than 20 kB, upright, on white where it is seen through."""
    from PIL import Image

    kept, _ = turned(data, LONG, most_pixels)
    with Image.open(io.BytesIO(kept)) as picture:
        shown = picture.convert("RGBA")
        paper = Image.new("RGBA", shown.size, "white")
        plain = Image.alpha_composite(paper, shown).convert("RGB")
    for quality in (80, 65, 50, 35, 20, 10):
        out = io.BytesIO()
        plain.save(out, "JPEG", quality=quality, optimize=True)
        if out.tell() < LARGEST:
            break
    return out.getvalue()


def turned(data: bytes, longest: int, most_pixels: int) -> tuple[bytes, str]:
    """The bytes that are kept, and their suffix; raises whatever stands in the way."""
    from PIL import Image

    Image.MAX_IMAGE_PIXELS = None  # Bounded below, before anything is decoded.
    _whole(data)
    with Image.open(io.BytesIO(data), formats=["JPEG", "PNG", "WEBP"]) as picture:
        form = "JPEG" if picture.format == "MPO" else picture.format or ""
        width, height = picture.size
        if width * height > most_pixels:
            raise _Refused(f"has {width} x {height} pixels; {most_pixels // 1_000_000} million are the most")
        if longest:
            picture.draft("RGB", (longest, longest))
        picture.load()
        held = _orientation(picture)
        profile = picture.info.get("icc_profile")
        made = _smaller(_plain(picture), longest)
    made = _in_srgb(_upright(made, held), profile)
    return _written(made, form), SUFFIX[form]


def _whole(data: bytes) -> None:
    """Raise unless the file is one of the three, and reaches to its end."""
    kind = next((name for start, name in SIGNATURES if data.startswith(start)), "")
    if not kind and data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        kind = "WEBP"
    if not kind:
        raise _Refused("is no JPEG, PNG or WebP picture")
    end = {"JPEG": _end_of_jpeg, "PNG": _end_of_png, "WEBP": _end_of_webp}[kind]
    if not end(data):
        raise _Refused("is cut off before its end")


def _end_of_jpeg(data: bytes) -> bool:
    return data.rfind(b"\xff\xd9") > data.find(b"\xff\xda") > 0


def _end_of_webp(data: bytes) -> bool:
    return int.from_bytes(data[4:8], "little") + 8 <= len(data)


def _end_of_png(data: bytes) -> bool:
    """Whether every chunk is whole up to IEND: length, type, data, CRC (ISO/IEC 15948, 5.3)."""
    at = 8
    while at + 12 <= len(data):
        size = int.from_bytes(data[at : at + 4], "big")
        kind, end = data[at + 4 : at + 8], at + 8 + size
        if end + 4 > len(data):
            return False
        if zlib.crc32(data[at + 4 : end]) != int.from_bytes(data[end : end + 4], "big"):
            raise _Refused("has a chunk whose checksum is wrong")
        if kind == b"IEND":
            return True
        at = end + 4
    return False


def _orientation(picture: Image) -> int:
    try:
        found = picture.getexif().get(ORIENTATION, 1)
    except Exception:
        # Metadata that cannot be read turns nothing; it is thrown away with the rest.
        return 1
    return found if isinstance(found, int) and 1 <= found <= 8 else 1


def _plain(picture: Image) -> Image:
    """The first frame with its palette resolved and 16 bits made 8."""
    if picture.mode in ("RGB", "RGBA", "L", "CMYK"):
        if picture.mode in ("RGB", "L") and "transparency" in picture.info:
            return picture.convert("RGBA")
        return picture
    if picture.mode.startswith("I") or picture.mode == "F":
        return picture.convert("I").point(lambda v: v * (1 / 256)).convert("L")
    see_through = "transparency" in picture.info or picture.mode in ("LA", "PA", "La", "RGBa")
    return picture.convert("RGBA" if see_through else "RGB")


def _smaller(picture: Image, longest: int) -> Image:
    side = max(picture.size)
    if longest and side > longest:
        width, height = (max(1, round(n * longest / side)) for n in picture.size)
        return picture.resize((width, height), reducing_gap=2.0)
    return picture.copy()


def _upright(picture: Image, held: int) -> Image:
    from PIL.Image import Transpose

    turn = {
        2: Transpose.FLIP_LEFT_RIGHT,
        3: Transpose.ROTATE_180,
        4: Transpose.FLIP_TOP_BOTTOM,
        5: Transpose.TRANSPOSE,
        6: Transpose.ROTATE_270,
        7: Transpose.TRANSVERSE,
        8: Transpose.ROTATE_90,
    }.get(held)
    return picture if turn is None else picture.transpose(turn)


def _in_srgb(picture: Image, profile: bytes | None) -> Image:
    """The colours by the profile that came with them, as far as it can be read; then none is needed."""
    from PIL import ImageCms

    wanted = "RGBA" if picture.mode == "RGBA" else "RGB"
    if profile and picture.mode != "L":
        try:
            own = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            done = ImageCms.profileToProfile(picture, own, ImageCms.createProfile("sRGB"), outputMode=wanted)
        except (ImageCms.PyCMSError, OSError, ValueError):
            done = None
        if done is not None:
            return done
    return picture if picture.mode in ("RGB", "RGBA", "L") else picture.convert("RGB")


def _written(picture: Image, form: str) -> bytes:
    picture.info = {}
    out = io.BytesIO()
    if form == "JPEG":
        picture.convert("RGB" if picture.mode != "L" else "L").save(out, "JPEG", quality=88, optimize=True)
    elif form == "WEBP":
        picture.save(out, "WEBP", quality=88)
    else:
        picture.save(out, "PNG", optimize=False)
    return out.getvalue()


def main() -> int:
    """Serve one job."""
    from PIL import Image, ImageCms, JpegImagePlugin, PngImagePlugin, WebPImagePlugin  # noqa: F401

    Image.preinit()
    return process.serve(answer)


if __name__ == "__main__":
    sys.exit(main())
