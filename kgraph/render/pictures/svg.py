"""The SVG that `dot` draws, made fit to be read by a program that speaks it, and to stand in a page.

`dot` titles every group with its id (n1, n2) and puts what was meant for the reader into an anchor that
leads nowhere. Here the reader's text becomes the title, the ids go (two pictures may stand in one page),
and the whole gets a role, a title and a description. A link of our own stays a link.
"""

from __future__ import annotations

from xml.etree import ElementTree as Xml

from kgraph.problems import CannotRun

SVG = "http://www.w3.org/2000/svg"
XLINK = "http://www.w3.org/1999/xlink"
_SPACE = "{http://www.w3.org/XML/1998/namespace}space"
_HREF, _TIP, _TITLE = f"{{{XLINK}}}href", f"{{{XLINK}}}title", f"{{{SVG}}}title"


def described(drawn: bytes) -> bytes:
    """The same drawing with role, title and description; raises CannotRun if it is no SVG."""
    Xml.register_namespace("", SVG)
    Xml.register_namespace("xlink", XLINK)
    try:
        # A run of blanks is written by `dot` as no-break spaces; it is to be read as it was typed.
        root = Xml.fromstring(drawn.replace(b"&#160;", b" "))
    except Xml.ParseError as error:
        raise CannotRun(f"`dot` drew an SVG that cannot be read: {error}") from None
    tips = [_told(group) for group in root.iter(f"{{{SVG}}}g") if group.get("class")]
    links = any(_HREF in a.attrib for a in root.iter(f"{{{SVG}}}a"))
    whole, title = (tips[0], _title(root, tips)) if tips else ("", "")
    _head(root, "group" if links else "img", title, whole)
    for element in root.iter():
        element.attrib.pop("id", None)
        if element.tag == f"{{{SVG}}}text":
            element.set(_SPACE, "preserve")
            element.set("font-family", f"{element.get('font-family', '')},sans-serif".lstrip(","))
    text: bytes = Xml.tostring(root, encoding="utf-8")
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + text + b"\n"


def _title(root: Xml.Element, tips: list[str]) -> str:
    """The text of the outermost frame; of a picture without one, its first line."""
    for group, tip in zip((g for g in root.iter(f"{{{SVG}}}g") if g.get("class")), tips, strict=True):
        if group.get("class") == "cluster":
            return tip
    return next((t.text or "" for t in root.iter(f"{{{SVG}}}text")), "")


def _told(group: Xml.Element) -> str:
    """Take what an anchor of `dot` says into the title of its group, and return it."""
    tip = ""
    for child in list(group):
        anchor = child.find(f"{{{SVG}}}a") if child.tag == f"{{{SVG}}}g" and not child.get("class") else None
        if anchor is None:
            continue
        tip = anchor.attrib.pop(_TIP, "") or tip
        at = list(group).index(child)
        group.remove(child)
        inner = [anchor] if _HREF in anchor.attrib else list(anchor)
        for offset, element in enumerate(inner):
            group.insert(at + offset, element)
    titled = group.find(_TITLE)
    if titled is not None:
        group.remove(titled)
    if tip and group.get("class") not in ("graph", "cluster"):
        told = Xml.Element(_TITLE)
        told.text = tip
        group.insert(0, told)
    return tip


def _head(root: Xml.Element, role: str, title: str, says: str) -> None:
    root.set("role", role)
    for place, (tag, text) in enumerate((("title", title), ("desc", says))):
        element = Xml.Element(f"{{{SVG}}}{tag}")
        element.text = text
        root.insert(place, element)
