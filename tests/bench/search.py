"""How long the search of a book takes for each key pressed: `python -m tests.bench.search [things]`.

An index of 10,000 invented sets (or as many as said) is searched in headless Chromium, letter by letter,
for names as they are, with slips, and for what is not there. Prints the slowest and
the median key in milliseconds, and the ratio to 50 ms, within which
a list seems to follow the fingers (common practice, no source).
"""

from __future__ import annotations

import random
import statistics
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from kgraph.book.addresses import refs_of
from kgraph.book.ground import BookGround, BookWishes
from kgraph.book.pages import Book
from kgraph.book.search import index_script
from tests.bench.folders import FIRST, LAST
from tests.browser.conftest import CHROMIUM
from tests.support import graph_of

ENOUGH_MS = 50.0
TYPED = 40
_KEYS = """(words) => words.map((word) => {
    const field = document.getElementById("ask");
    const times = [];
    for (let n = 1; n <= word.length; n++) {
        const start = performance.now();
        field.value = word.slice(0, n);
        field.dispatchEvent(new Event("input"));
        document.getElementById("found").getBoundingClientRect();
        times.push(performance.now() - start);
    }
    return times;
}).flat()"""


def names(things: int) -> list[str]:
    """Invented names, some 200 badges."""
    chance = random.Random(1)
    badges = [first + last for first in FIRST for last in LAST]
    return [f"{chance.choice(badges)} {chr(65 + n % 26)}-{n}" for n in range(things)]


def slipped(name: str, chance: random.Random) -> str:
    """The name with two letters changed round and one left out."""
    at = chance.randrange(1, len(name) - 2)
    turned = name[:at] + name[at + 1] + name[at] + name[at + 2 :]
    gone = chance.randrange(len(turned))
    return turned[:gone] + turned[gone + 1 :]


def write(folder: Path, wanted: list[str]) -> Path:
    """A first page beside the index of these sets."""
    small = dict(Book(BookGround(graph_of("- set: Larkfield LK-40\n"), BookWishes())).files())
    data = graph_of("".join(f"- set: {name}\n" for name in wanted)).data
    for name in ("index.html", "book.css", "search.js"):
        (folder / name).write_bytes(small[name])
    (folder / "index.js").write_bytes(index_script(data, refs_of(data)))
    return folder / "index.html"


def main() -> None:
    things = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    chance = random.Random(2)
    wanted = names(things)
    asked = chance.sample(wanted, TYPED)
    typed = [*asked, *(slipped(name, chance) for name in asked), "qqqqqqqqqqqq"]
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as playwright:
        page_file = write(Path(scratch), wanted)
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page()
        page.goto(page_file.as_uri())
        page.focus("#ask")
        page.wait_for_timeout(1000)
        times = page.evaluate(_KEYS, typed)
        browser.close()
    print(f"{things} things, {len(times)} keys")
    print(f"slowest {max(times):.1f} ms, median {statistics.median(times):.1f} ms")
    print(f"slowest / {ENOUGH_MS:.0f} ms: {max(times) / ENOUGH_MS:.2f}")


if __name__ == "__main__":
    main()
