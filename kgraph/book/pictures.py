"""Pictures of our own as part of a page: read as XML, and only what is known of them let through.

The texts in a picture come from the data. What stands in a page is built anew from the parsed drawing:
elements and attributes on the lists here, links to pages of the book and no others.
"""

from __future__ import annotations

from collections.abc import Set
from xml.etree import ElementTree as Xml

from markupsafe import Markup

PAGE_WIDE = 930
"""The width of a page's column in pixels: a wider picture is made to fit it, if it can then still be read."""
LEAST_SCALE = 0.6
"""No picture is made smaller than that: its text of 14 pt is then as large as the notes of the page."""
_XLINK = "{http://www.w3.org/1999/xlink}href"
ELEMENTS = {
    "svg", "g", "a", "title", "desc", "text", "tspan",
    "path", "polygon", "polyline", "ellipse", "circle", "rect", "line",
}  # fmt: skip
ATTRIBUTES = {
    "viewBox", "role", "transform", "points", "d", "cx", "cy", "r", "rx", "ry", "x", "y",
    "x1", "y1", "x2", "y2", "width", "height", "fill", "stroke", "stroke-width", "stroke-dasharray",
    "stroke-linejoin",
    "text-anchor", "font-family", "font-size", "font-weight",
}  # fmt: skip


def inline(drawing: bytes, pages: Set[str], name: str) -> Markup | None:
    """An SVG drawing as an element of a page, fitted to the page; None where it is no SVG.

    `pages` are the addresses that its links may lead to; `name` is what a screen reader calls it.
    """
    try:
        read = Xml.fromstring(drawing)
    except Xml.ParseError:
        return None
    made = _copied(read, pages)
    if made is None or made.tag != "svg":
        return None
    wide, high = (_points(read.get(side, "")) for side in ("width", "height"))
    for side in ("width", "height"):
        made.attrib.pop(side, None)
    if wide and high:
        scale = min(1.0, max(PAGE_WIDE / wide, LEAST_SCALE))
        made.set("width", f"{wide * scale:.0f}")
        made.set("height", f"{high * scale:.0f}")
    made.set("aria-label", name)
    # A picture with links is a group of them; one without is an image, and may shrink with the page.
    made.set("role", "group" if pages else "img")
    made.set("class", "linked" if pages else "whole")
    return Markup(Xml.tostring(made, encoding="unicode"))


def _points(size: str) -> float:
    """A size of a drawing in pixels of a page; 0 where it is not said."""
    for unit, pixels in (("pt", 4 / 3), ("mm", 96 / 25.4), ("px", 1.0)):
        if size.endswith(unit):
            return float(size.removesuffix(unit)) * pixels
    return 0.0


def _copied(element: Xml.Element, pages: Set[str]) -> Xml.Element | None:
    name = element.tag.rpartition("}")[2] if isinstance(element.tag, str) else ""
    if name not in ELEMENTS:
        return None
    made = Xml.Element(name, {k: v for k, v in element.attrib.items() if k in ATTRIBUTES})
    if name == "a":
        href = element.get("href") or element.get(_XLINK) or ""
        if href in pages:
            made.set("href", href)
        else:
            made.tag = "g"
    made.text = element.text
    for child in element:
        kept = _copied(child, pages)
        if kept is not None:
            kept.tail = child.tail
            made.append(kept)
    return made
