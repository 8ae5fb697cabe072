"""One page with many names in Chromium: what it shows, and whether anything of them was obeyed.

The page is the first one of a book, which lists every set, with the search and its index beside it.
"""

from __future__ import annotations

import shutil
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import util
from pathlib import Path
from typing import Any

from kgraph.book.ground import BookGround, BookWishes
from kgraph.book.pages import Book
from kgraph.fits.graph import Graph

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or ""
MISSING = (
    "Chromium is not installed (apt-get install chromium)"
    if not CHROMIUM
    else "playwright is not installed"
    if util.find_spec("playwright") is None
    else ""
)
PAYLOADS = (
    "<script>ran()</script>",
    "<img src=x onerror=ran()>",
    "<svg onload=ran()>",
    "' onfocus=ran() autofocus '",
    "<iframe src=x>",
)
"""What would run, or fetch something, if a page took it for anything but text."""
SCRIPTS = 2
"""The scripts of the page itself: the search, and its index once it is asked."""


@contextmanager
def chromium() -> Iterator[Any]:
    """A browser without a window; None where there is none."""
    if MISSING:
        yield None
        return
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        # As root Chromium starts only without its sandbox; the pages are our own and lie on this disk.
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        try:
            yield started
        finally:
            started.close()


def write(graph: Graph, folder: Path) -> None:
    """The first page of a book of these facts and the lists it leads to, with what they need."""
    folder.mkdir()
    (folder / "lists").mkdir()
    for path, make in Book(BookGround(graph, BookWishes(), lambda *given: None)).makers.items():
        if path in {"index.html", "book.css", "search.js", "index.js"} or path.startswith("lists/"):
            (folder / path).write_bytes(make())


@dataclass(frozen=True, slots=True)
class Shown:
    """How often each text stands in the lists of a page, and what was obeyed."""

    texts: Counter[str]
    complaint: str


def shown(browser: Any, folder: Path) -> Shown:
    """Open the page, let its search look for each payload, and read what it shows."""
    page = browser.new_page()
    strange: list[str] = []
    page.add_init_script("window.ran = () => { window.times = (window.times || 0) + 1 }")
    page.on("request", lambda request: _note(request.url, folder, strange))
    page.on("console", lambda message: strange.append(message.text))
    page.on("pageerror", lambda error: strange.append(str(error)))
    page.on("dialog", lambda dialog: _refuse(dialog, strange))
    texts: list[str] = []
    try:
        for path in (*sorted((folder / "lists").iterdir()), folder / "index.html"):
            page.goto(path.as_uri())
            texts += page.eval_on_selector_all("ul.names li a", "all => all.map(a => a.textContent)")
        for payload in PAYLOADS:
            search_for(page, payload)
        ran = page.evaluate("window.times || 0")
        scripts = page.evaluate("document.scripts.length")
        inside = "document.querySelectorAll('main script, main img, main svg, main iframe').length"
        elements = page.evaluate(inside)
    finally:
        page.close()
    says = [f"{ran} scripts ran"] if ran else []
    says += [f"{scripts} scripts in the page"] if scripts > SCRIPTS else []
    says += [f"{elements} elements that are not of the page"] if elements else []
    says += strange[:3]
    return Shown(Counter(" ".join(t.split()) for t in texts), "; ".join(says))


def search_for(page: Any, text: str) -> None:
    """Type a text into the search of a page, and wait until it tells what it found."""
    from playwright.sync_api import expect

    page.fill("#ask", "")
    page.fill("#ask", text)
    # A function given as text to wait for is refused by the page's own policy at its second try.
    expect(page.locator("#told")).not_to_be_empty(timeout=30_000)


def _refuse(dialog: Any, strange: list[str]) -> None:
    strange.append(dialog.message)
    dialog.dismiss()


def _note(url: str, folder: Path, strange: list[str]) -> None:
    inside = url.removeprefix(folder.as_uri() + "/").partition("#")[0]
    if inside == url or not (folder / inside).is_file():
        strange.append(f"asked for {url}")
