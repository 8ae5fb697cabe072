"""DOT text as svg, png or pdf: by `dot` of Graphviz where it is installed, else by what comes with kgraph.

The package graphviz-pure draws svg and png; a pdf is then made of its svg by the cairo library.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sysconfig
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import graphviz

from kgraph.problems import CannotRun, Problem, WrongUse
from kgraph.render.pictures import svg
from kgraph.render.terminal import visible

FORMATS = ("svg", "png", "pdf", "dot")
"""The formats that a picture is written in, by the suffix of the file."""

NO_DOT = """\
pictures in svg, png and pdf need `dot` of Graphviz here, for the package graphviz-pure is not installed
  Debian, Ubuntu: sudo apt-get install graphviz
  Fedora:         sudo dnf install graphviz
  macOS:          brew install graphviz
  Windows:        winget install graphviz
without it, write a .dot file (-o picture.dot) and draw that where Graphviz is"""

_SAMPLE = "Hamburgefonts"
_SAMPLE_EM = 6.836
"""The width of the sample in Arial, by that of Helvetica in Adobe's font metrics (AFM), from memory."""


def format_of(target: Path) -> str:
    """The format that a file's suffix names; raises WrongUse for a suffix not in FORMATS."""
    kind = target.suffix.lower().removeprefix(".")
    if kind not in FORMATS:
        what = f"a picture cannot be written as {visible(target.suffix) or 'a file without suffix'}"
        raise WrongUse(Problem(None, "unknown-format", what, f"write one of .{', .'.join(FORMATS)}"))
    return kind


def render(dot_source: str, target: Path) -> bytes:
    """The bytes of the picture in the format of the target's suffix; nothing is written.

    The same text gives the same bytes. An SVG has a title and a description for who cannot see it.
    Raises WrongUse for a suffix not in FORMATS, CannotRun where nothing can draw it or what draws fails.
    """
    kind = format_of(target)
    source = dot_source.encode()
    if kind == "dot":
        return source
    if shutil.which("dot") is None:
        made = _by_stand_in("svg" if kind == "pdf" else kind, source)
        return pdf_of(_as_wide_as_measured(made)) if kind == "pdf" else _finished(kind, made)
    return _finished(kind, _by_dot(kind, source))


def svgs(sources: Sequence[str]) -> list[bytes]:
    """Several pictures as SVG, drawn by one run of `dot`: its start takes longer than a small picture.

    Raises CannotRun where nothing can draw them or one of them fails.
    """
    if shutil.which("dot") is None:
        return [render(source, Path("picture.svg")) for source in sources]
    drawn = _by_dot("svg", "\n".join(sources).encode())
    made = [drawing for drawing in re.split(rb"(?m)^(?=<\?xml )", drawn) if drawing]
    if len(made) != len(sources):
        raise CannotRun(f"`dot` drew {len(made)} of {len(sources)} pictures")
    return [_finished("svg", drawing) for drawing in made]


def _by_dot(kind: str, source: bytes) -> bytes:
    """What `dot` makes of DOT text, as it comes."""
    try:
        return bytes(graphviz.pipe("dot", kind, source, quiet=True))
    except graphviz.ExecutableNotFound:
        raise CannotRun(NO_DOT) from None
    except graphviz.CalledProcessError as error:
        raise _could_not(error.stderr or b"") from None


def _finished(kind: str, made: bytes) -> bytes:
    if kind == "svg":
        return svg.described(made)
    return _undated(made) if kind == "pdf" else made


def _could_not(said: bytes) -> CannotRun:
    first = "".join(said.decode(errors="replace").strip().splitlines()[:1])
    return CannotRun(f"`dot` could not draw the picture: {visible(first)}")


def stand_in() -> str | None:
    """The program of the package graphviz-pure, beside this Python or on the path; it draws svg and png."""
    beside = sysconfig.get_path("scripts")
    return shutil.which("graphviz-pure", path=beside) or shutil.which("graphviz-pure")


def _by_stand_in(kind: str, source: bytes) -> bytes:
    program = stand_in()
    if program is None:
        raise CannotRun(NO_DOT)
    done = subprocess.run([program, f"-T{kind}"], input=source, capture_output=True, check=False)
    if done.returncode:
        raise _could_not(done.stderr)
    return done.stdout


# --- By the cairo library ------------------------------------------------------------------------


def cairo() -> Any:
    """The package cairosvg; raises CannotRun where the library that it draws with cannot be loaded."""
    try:
        import cairosvg
    except (ImportError, OSError) as missing:
        says = f"this format needs the cairo library (Debian: libcairo2), and it cannot be loaded: {missing}"
        raise CannotRun(f"{says}; svg needs nothing") from None
    return cairosvg


def pdf_of(drawn: bytes) -> bytes:
    """An SVG drawing of our own as PDF."""
    return _undated(bytes(cairo().svg2pdf(bytestring=drawn)))


def _as_wide_as_measured(drawn: bytes) -> bytes:
    """The drawing with its letters made smaller where another font stands in for Arial and runs wider.

    The boxes were measured for Arial, and the words of a wider font would run over their edges.
    """
    wide = _SAMPLE_EM / _width_of_sample()
    if wide >= 1:
        return drawn
    return re.sub(rb'font-size="([0-9.]+)"', lambda m: b'font-size="%.2f"' % (float(m[1]) * wide), drawn)


def _width_of_sample() -> float:
    """How wide the sample runs in what stands in for Arial here, in ems."""
    cairo()
    import cairocffi

    context = cairocffi.Context(cairocffi.ImageSurface(cairocffi.FORMAT_A8, 1, 1))
    context.select_font_face("Arial")
    context.set_font_size(100)
    return float(context.text_extents(_SAMPLE)[4]) / 100


def _undated(pdf: bytes) -> bytes:
    """The PDF without the moment at which it was made, so that the same data are the same bytes."""
    # Digit by digit, for the places of a PDF's objects are counted in bytes.
    return re.sub(rb"/(?:CreationDate|ModDate) \(D:[^)]*", lambda m: re.sub(rb"\d", b"0", m[0]), pdf)
