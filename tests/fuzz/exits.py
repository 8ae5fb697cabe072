"""Random names of Unicode through seven ways out and back, letter for letter.

JSON, CSV, a workbook, Turtle by two libraries, DOT to the text of an SVG, and pages of HTML. Names of one
round stand in one folder of facts. What a picture or a page shows is the name as `terminal.visible` has it.
All names of a round also stand on one page that Chromium opens, without a network (:mod:`tests.fuzz.opened`).
"""

from __future__ import annotations

import csv
import io
import json
import random
import shutil
import unicodedata
import xml.etree.ElementTree as Xml
from collections import Counter
from pathlib import Path
from typing import Any

from kgraph.book.addresses import is_page_path
from kgraph.exchange import cells
from kgraph.folder import values
from kgraph.names import LONGEST, fold
from kgraph.render import terminal
from kgraph.render.pictures import drawing, sheet
from tests.faults.tally import Tally
from tests.fuzz import opened
from tests.fuzz.hostile import said
from tests.support import graph_of

NAMES, ROUND = {"small": 300, "full": 100_000}, {"small": 300, "full": 1000}
PAGES = 100
"""So many names of a round go into a book: a page costs a hundredth of a second and more."""
HARD = list(
    "<>&\"'\\|{}[]:;,=+-@#%`~!?*/().$^_ \u00a0\u00ad\u200c\u200d\u2044\u0301\uff1d\ufeff\ufffd\U0001f4fb"
)
WORDS = [
    "<b>",
    "&amp;",
    "\\N",
    "\\",
    "{{7*7}}",
    "javascript:",
    "'; --",
    "../",
    "NUL",
    "%0a",
    "]]>",
    "-->",
    "</script>",
    *opened.PAYLOADS,
]


def figure(size: str, place: Path) -> Tally:
    """Each name is counted once; a name that any way out changes is not survived."""
    tally, drawn, seed = Tally(), 0, 0
    if opened.MISSING:
        print(f"  no page is opened in a browser: {opened.MISSING}")
    with opened.chromium() as browser:
        while drawn < NAMES[size]:
            names = some_names(random.Random(seed), min(ROUND[size], NAMES[size] - drawn))
            shutil.rmtree(place / "out", ignore_errors=True)
            (place / "out").mkdir()
            _round(names, place / "out", seed, tally, browser)
            drawn, seed = drawn + len(names), seed + 1
    return tally


def some_names(random: random.Random, count: int) -> list[str]:
    """Names that facts may have, no two of which are one name."""
    found: dict[str, str] = {}
    while len(found) < count:
        text = "".join(_piece(random) for _ in range(random.choice((2, 4, 8, 30)))).strip()
        if values._good_name(text) and len(text) <= LONGEST and text == text.strip():
            found.setdefault(fold(text), text)
    return list(found.values())


def _piece(random: random.Random) -> str:
    way = random.randrange(5)
    if way == 0:
        return random.choice(HARD)
    if way == 1:
        return random.choice(WORDS)
    if way == 2:
        return chr(random.randrange(0x21, 0x7F))
    code = random.choice((random.randrange(0xA0, 0x3000), random.randrange(0x3000, 0x20000)))
    char = chr(code)
    return char if unicodedata.category(char) not in ("Cs", "Cn", "Cc") else "a"


def facts_of(names: list[str]) -> str:
    """A fact file in which each name is a set that takes one part; every letter written by its number."""
    numbers = ("".join(f"\\U{ord(c):08x}" for c in name) for name in names)
    return "".join(f'- takes: K-1\n  in: "{text}"\n  position: knob\n' for text in numbers)


def _round(names: list[str], place: Path, seed: int, tally: Tally, browser: Any) -> None:
    folder = place / "facts"
    folder.mkdir()
    (folder / "a.yaml").write_text(facts_of(names), encoding="ascii")
    ways: dict[str, Counter[str]] = {}
    for make in (_json, _csv, _xlsx, _turtle, lambda _: {"svg": _svg(names)}):
        try:
            ways |= make(folder)
        except Exception as error:
            # What cannot be read back is as good as lost.
            ways[make.__name__] = Counter([repr(error)])
    pages, files = _pages(names[:PAGES], place)
    lost: dict[str, list[str]] = {}
    for way, got in ways.items():
        shown = _in_svg if way == "svg" else str
        wanted = Counter(map(shown, names))
        for name in names:
            if got[shown(name)] < wanted[shown(name)]:
                lost.setdefault(name, []).append(way)
    for name in names[:PAGES]:
        if " ".join(_safe(name).split()) not in pages:
            lost.setdefault(name, []).append("html")
    if browser is not None:
        told = _opened(names, place / "opened", browser, lost)
        tally.count(f"round {seed}, in the browser", True, told, "pages in the browser")
    for name in names:
        ways_lost = ", ".join(lost.get(name, []))
        tally.count(f"round {seed}, {name!a}", True, ways_lost and f"not the same by {ways_lost}")
    tally.count(f"round {seed}, files", True, files, "rounds")


def _opened(names: list[str], place: Path, browser: Any, lost: dict[str, list[str]]) -> str:
    """Open the page that lists these names; those that it does not show are noted, the rest is told."""
    try:
        opened.write(graph_of(facts_of(names)), place)
        shown = opened.shown(browser, place)
    except Exception as error:
        return f"raised {error!r}"
    for name in names:
        if shown.texts[" ".join(_safe(name).split())] < 1:
            lost.setdefault(name, []).append("browser")
    return shown.complaint


_safe = terminal.visible
"""As it was before any safety was taken out."""


def _in_svg(name: str) -> str:
    """A name as a picture shows it; `dot` writes each blank as a no-break space."""
    return _safe(name).replace("\u00a0", " ")


def _json(folder: Path) -> dict[str, Counter[str]]:
    status, out, err = said(["--data", str(folder), "takers", "K-1", "--json"])
    return {"json": Counter(a["set"] for a in json.loads(out)["answers"]) if status == 0 else Counter([err])}


def _csv(folder: Path) -> dict[str, Counter[str]]:
    _, out, _ = said(["--data", str(folder), "export", "--to", "csv", "--kind", "takes"])
    rows = list(csv.reader(io.StringIO(out, newline="")))
    formulas = [c for row in rows for c in row if c[:1] in tuple("=+-@\t\r")]
    texts = (str(cells.read_cell("in", row[rows[0].index("in")], True)) for row in rows[1:])
    return {"csv": Counter(formulas or texts)}


def _xlsx(folder: Path) -> dict[str, Counter[str]]:
    import openpyxl

    book = folder.parent / "all.xlsx"
    said(["--data", str(folder), "export", "--to", "xlsx", "-o", str(book)])
    (sheet,) = [s for s in openpyxl.load_workbook(book).worksheets if s.title == "takes"]
    rows = list(sheet.iter_rows())
    column = [c.value for c in rows[0]].index("in")
    formulas = [str(c.value) for row in rows for c in row if c.data_type == "f"]
    texts = (cells.read_cell("in", str(row[column].value), False) for row in rows[1:])
    return {"xlsx": Counter(formulas or map(str, texts))}


def _turtle(folder: Path) -> dict[str, Counter[str]]:
    import pyoxigraph
    import rdflib

    _, out, _ = said(["--data", str(folder), "export", "--to", "turtle"])
    graph = rdflib.Graph().parse(data=out, format="turtle")
    quads = pyoxigraph.parse(out.encode(), pyoxigraph.RdfFormat.TURTLE)
    return {
        "rdflib": Counter(str(o) for o in graph.objects() if isinstance(o, rdflib.Literal)),
        "pyoxigraph": Counter(q.object.value for q in quads if isinstance(q.object, pyoxigraph.Literal)),
    }


SVG = "{http://www.w3.org/2000/svg}"


def _svg(names: list[str]) -> Counter[str]:
    """The texts of the boxes of pictures, fifty names to a picture."""
    found: Counter[str] = Counter()
    for start in range(0, len(names), 50):
        boxes = tuple(
            sheet.Box(name, tuple(sheet.pieces(terminal.visible(name))), name)
            for name in names[start : start + 50]
        )
        text = sheet.source(sheet.Drawing("g", "names", boxes, (), ()))
        try:
            root = Xml.fromstring(drawing.render(text, Path("a.svg")))
        except Exception as error:
            found[repr(error)] += 1
            continue
        for group in root.iter(f"{SVG}g"):
            if (group.get("class") or "").split(" ")[0] == "node":
                lines = ["".join(t.itertext()) for t in group.iter(f"{SVG}text")]
                found["".join(lines).replace("\u00a0", " ")] += 1
    return found


def _pages(names: list[str], place: Path) -> tuple[set[str], str]:
    """The texts of the headings of a book of these names, and what is wrong with its files."""
    import html5lib

    folder, target = place / "few", place / "pages"
    folder.mkdir()
    (folder / "a.yaml").write_text(facts_of(names), encoding="ascii")
    before = set(place.rglob("*"))
    try:
        status, _, err = said(["--data", str(folder), "book", str(target)])
    except Exception as error:
        return set(), f"raised {error!r}"
    made = [p.relative_to(target).as_posix() for p in target.rglob("*") if p.is_file()]
    outside = [p for p in set(place.rglob("*")) - before if p != target and not p.is_relative_to(target)]
    strange = [p for p in made if not is_page_path(p)]
    sets = [p for p in made if p.startswith("sets/")]
    clashes = len(sets) - len({p.casefold() for p in sets})
    texts: set[str] = set()
    for page in sets:
        tree = html5lib.parse((target / page).read_bytes(), namespaceHTMLElements=False)
        texts |= {" ".join("".join(h.itertext()).split()) for h in tree.iter("h1")}
    if status or outside or strange or clashes or len(sets) != len(names):
        says = f"exit {status}, outside {outside}, names {strange[:3]}, {clashes} clashes, {len(sets)} pages"
        return texts, f"{says} {err[:100]}"
    return texts, ""
