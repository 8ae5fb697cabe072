"""A belt on its pulleys as an SVG drawing, to scale: a millimetre of the drawing is one of the mechanism.

Nothing is told by colour alone: the belt is a heavy line, a pulley on the belt's back is dashed, the driver
has a filled centre. Sizes come from the run; nothing is computed here but places on the sheet.
The drawing is SVG; PNG and PDF are made of it by CairoSVG, and the same data give the same bytes in each.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from xml.etree import ElementTree as Xml

from kgraph.belts import runs
from kgraph.belts.shapes import Arc, Path, Point
from kgraph.collection import Collection
from kgraph.questions.belt_paths import PathAnswer
from kgraph.render.pictures import drawing
from kgraph.render.terminal import visible

SVG = "http://www.w3.org/2000/svg"
FORMATS = ("svg", "png", "pdf")
PNG_DPI = 300
MARGIN_MM = 8.0
TEXT_MM = 3.5
LINE_MM = 5.0
# A line of text this many characters long is some 0.57 times as wide as that many times its height.
_CHARACTER_MM = 0.57 * TEXT_MM
# No wider than needed, so that the text can be read when the sheet is shown on a telephone.
_LEAST_WIDE_MM = 90.0
_BAR_MM = 50
_INDENT = "  "
_BELT, _INK = "#0072B2", "#000000"


def svg(data: Collection, answer: PathAnswer, fitted: tuple[str, float] | None = None) -> bytes:
    """The drawing as UTF-8 SVG, its size given in mm; `fitted` is a belt's name and its stretch."""
    run = answer.place.run
    assert run is not None
    thick = answer.section.thickness_mm
    said = [*_legend(data, run, answer, fitted), *_pulley_lines(run, answer.path)]
    left, bottom, right, top = _bounds(run, thick)
    room = max(right - left, _LEAST_WIDE_MM)
    lines = [part for line in said for part in _in_room(line, room)]
    text_top = top - bottom + 2 * MARGIN_MM + LINE_MM
    high = text_top + (len(lines) + 1) * LINE_MM
    sheet = _sheet(room + 2 * MARGIN_MM, high, said)
    # Drawings count y downwards, mechanisms upwards: mirrored once here, so that text stays upright.
    origin = (MARGIN_MM - left, top + MARGIN_MM)
    body = Xml.SubElement(sheet, "g", {"transform": f"translate({_n(origin[0])} {_n(origin[1])})"})
    for pulley in run.pulleys:
        _draw_pulley(body, pulley)
    _draw_belt(body, answer.path, thick)
    for number, pulley in enumerate(run.pulleys, 1):
        _label(body, pulley, number)
    _draw_bar(sheet, text_top - LINE_MM)
    _draw_text(sheet, lines, text_top + LINE_MM / 2)
    return bytes(Xml.tostring(sheet, encoding="utf-8", xml_declaration=True))


def in_format(drawn: bytes, form: str) -> bytes:
    """The drawing in one of FORMATS. Raises CannotRun where the library that draws is missing."""
    if form == "svg":
        return drawn
    if form == "png":
        return bytes(drawing.cairo().svg2png(bytestring=drawn, dpi=PNG_DPI))
    return drawing.pdf_of(drawn)


def _in_room(line: str, room_mm: float) -> list[str]:
    """A line of text in as many lines as the sheet's width asks for."""
    return textwrap.wrap(line, int(room_mm / _CHARACTER_MM), subsequent_indent=_INDENT) or [""]


def _n(value: float) -> str:
    """A number as drawn: to a thousandth of a millimetre, never `-0`."""
    return f"{round(value, 3) + 0.0:g}" if abs(value) < 1000 else f"{value:.1f}"


def _bounds(run: runs.BeltRun, thick: float) -> tuple[float, float, float, float]:
    """Left, bottom, right, top of all pulleys with the belt on them."""
    reach = [(p, p.diameter_mm / 2 + thick) for p in run.pulleys]
    return (
        min(p.x_mm - r for p, r in reach),
        min(p.y_mm - r for p, r in reach),
        max(p.x_mm + r for p, r in reach),
        max(p.y_mm + r for p, r in reach),
    )


def _legend(
    data: Collection, run: runs.BeltRun, answer: PathAnswer, fitted: tuple[str, float] | None
) -> list[str]:
    low, high = answer.window_mm
    place = f"{data.owner_text(answer.place.set)}, {data.text('position', answer.place.position)}"
    lines = [
        place,
        f"path along the mid-line {answer.path.length_mm:.1f} mm, for a belt "
        f"{answer.section.thickness_mm:.4g} mm thick",
        f"inside length at rest {low:.1f} to {high:.1f} mm for {answer.wanted[0] * 100:.3g} % to "
        f"{answer.wanted[1] * 100:.3g} % stretch{f' ({runs.NO_SOURCE})' if answer.wanted_assumed else ''}",
    ]
    if fitted is not None:
        lines.append(f"{fitted[0]}: stretch {fitted[1] * 100:.1f} %")
    lines.append("scale 1:1 in mm; heavy line: the belt; filled centre: the pulley drives")
    if any(p.side == "outside" for p in run.pulleys):
        lines.append("dashed: the belt's back runs on this pulley")
    return [visible(line) for line in lines]


def _pulley_lines(run: runs.BeltRun, path: Path) -> list[str]:
    """One line for each pulley: its number in the drawing, its name, diameter, wrap and what it does."""
    lines = []
    for number, pulley in enumerate(run.pulleys, 1):
        wrap = path.wraps_rad.get(pulley.name)
        says = [f"{number} {visible(pulley.name)}: {pulley.diameter_mm:g} mm"]
        says += [f"{math.degrees(wrap):.0f}° of wrap"] if wrap is not None else []
        says += ["drives"] if pulley.drives else []
        says += ["outside"] if pulley.side == "outside" else []
        lines.append(", ".join(says))
    return lines


def _sheet(wide: float, high: float, said: Sequence[str]) -> Xml.Element:
    """An empty sheet with its title, and what the drawing says in words for those who do not see it."""
    size = {"width": f"{_n(wide)}mm", "height": f"{_n(high)}mm", "viewBox": f"0 0 {_n(wide)} {_n(high)}"}
    # No ids: two drawings may stand in one page.
    role = {"role": "img", "aria-label": f"Belt run: {said[0]}"}
    sheet = Xml.Element("svg", {"xmlns": SVG, **size, **role, "font-family": "sans-serif"})
    Xml.SubElement(sheet, "title").text = f"Belt run: {said[0]}"
    Xml.SubElement(sheet, "desc").text = ". ".join(said[1:])
    Xml.SubElement(sheet, "rect", {"width": "100%", "height": "100%", "fill": "#ffffff"})
    return sheet


def _draw_pulley(body: Xml.Element, pulley: runs.RunPulley) -> None:
    at = {"cx": _n(pulley.x_mm), "cy": _n(-pulley.y_mm)}
    rim = {"fill": "#f2f2f2", "stroke": _INK, "stroke-width": "0.3"}
    if pulley.side == "outside":
        rim["stroke-dasharray"] = "1.2 0.8"
    Xml.SubElement(body, "circle", {**at, "r": _n(pulley.diameter_mm / 2), **rim})
    centre = {"fill": _INK if pulley.drives else "#ffffff", "stroke": _INK, "stroke-width": "0.3"}
    Xml.SubElement(body, "circle", {**at, "r": "1", **centre})


def _draw_belt(body: Xml.Element, path: Path, thick: float) -> None:
    """The mid-line as one closed line, as thick as the belt."""
    steps = [f"M{_point(path.spans[-1].end)}"]
    for arc, span in zip(path.arcs, path.spans, strict=True):
        steps += [*_arc(arc), f"L{_point(span.end)}"]
    line = {"fill": "none", "stroke": _BELT, "stroke-width": _n(thick), "stroke-linejoin": "round"}
    Xml.SubElement(body, "path", {"d": " ".join([*steps, "Z"]), **line})


def _arc(arc: Arc) -> list[str]:
    """An arc in two halves, for one of a whole turn would have no two ends."""
    radius = f"{_n(arc.radius_mm)} {_n(arc.radius_mm)}"
    # Anticlockwise in the mechanism is anticlockwise on the mirrored sheet: sweep flag 0.
    flag = "0" if arc.sweep_rad > 0 else "1"
    ends = [arc.start_rad + arc.sweep_rad / 2, arc.start_rad + arc.sweep_rad]
    return [f"A{radius} 0 0 {flag} {_point(_on(arc, angle))}" for angle in ends] if arc.sweep_rad else []


def _on(arc: Arc, angle: float) -> Point:
    return (
        arc.centre[0] + arc.radius_mm * math.cos(angle),
        arc.centre[1] + arc.radius_mm * math.sin(angle),
    )


def _point(point: Point) -> str:
    return f"{_n(point[0])} {_n(-point[1])}"


def _label(body: Xml.Element, pulley: runs.RunPulley, number: int) -> None:
    """The pulley's number beside its centre, where even a small pulley has room; the legend names it."""
    place = {"x": _n(pulley.x_mm + 1.4), "y": _n(-pulley.y_mm + 1), "font-size": "2.8", "fill": _INK}
    Xml.SubElement(body, "text", place).text = str(number)


def _draw_bar(sheet: Xml.Element, top: float) -> None:
    """A bar of known length, by which a print is checked."""
    left, right = MARGIN_MM, MARGIN_MM + _BAR_MM
    line = f"M{_n(left)} {_n(top - 1.5)}v3m0 -1.5H{_n(right)}m0 -1.5v3"
    Xml.SubElement(sheet, "path", {"d": line, "fill": "none", "stroke": _INK, "stroke-width": "0.3"})
    place = {"x": _n(right + 2), "y": _n(top + 1), "font-size": "2.8", "fill": _INK}
    Xml.SubElement(sheet, "text", place).text = f"{_BAR_MM} mm: measure it in print"


def _draw_text(sheet: Xml.Element, lines: Sequence[str], top: float) -> None:
    for number, line in enumerate(lines):
        # Leading blanks are not drawn, so a line that goes on is set in by its place.
        left = MARGIN_MM + (TEXT_MM if line.startswith(_INDENT) else 0)
        place = {"x": _n(left), "y": _n(top + number * LINE_MM), "font-size": f"{TEXT_MM:g}"}
        Xml.SubElement(sheet, "text", {**place, "fill": _INK}).text = line.strip()
