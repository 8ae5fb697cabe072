"""The book's page "What is this set?" in a browser: the command's numbers, keyboard, narrow screens."""

from __future__ import annotations

import random
import shutil
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from kgraph.book.ground import BookGround, BookWishes
from kgraph.book.pages import Book
from kgraph.fits.graph import Graph
from kgraph.questions.identify import identify, left_over
from kgraph.recognition import looks, traits
from kgraph.recognition.seen import is_measure, read, sizes_at
from tests.bench import folders
from tests.browser.conftest import watch
from tests.support import DEMO, ROOT, graph_of, graph_of_folder

SIZES = """
- set: Larkfield LK-40
  width: 412 mm
  cells: [4 AA, 6 D]
- set: Orvanek 2200
  width: 40.5 cm
- set: Quillon 31
  width: about 300 mm
  features: [line socket]
- set: Quillon 32
  cells: [4 AA]
- rebadge: [Larkfield LK-40, Orvanek 2200]
  except: [volume knob]
  how: compared
- assembly: LC4 mechanism
  kind: mechanism
  positions: [main belt]
- uses: LC4 mechanism
  in: Quillon 31
  how: photo
- part: K-114
  kind: knob
  diameter: 34 mm
- part: K-115
  kind: knob
  diameter: 3 cm
- part: B-7
  kind: belt
  section: square 1.6 mm
  inside length: 226 mm
- part: B-9
  kind: belt
  section: square 1.6 mm
  inside length: 262 mm
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: fitted
- takes: K-115
  in: Quillon 32
  position: volume knob
  how: guess
- takes: B-7
  in: LC4 mechanism
  position: main belt
  how: measured
- takes: B-9
  in: Orvanek 2200
  position: main belt
  how: measured
- position: volume knob
  misread: 0.2
"""


@pytest.fixture
def page(browser: Any) -> Iterator[Any]:
    made = browser.new_page(viewport={"width": 1280, "height": 900})
    yield made
    made.close()


def _written(graph: Graph, folder: Path) -> Path:
    wanted = {"identify.html", "identify.js", "recorded.js", "book.css", "search.js"}
    for path, data in Book(BookGround(graph, BookWishes())).files():
        if path in wanted:
            (folder / path).write_bytes(data)
        if path == "identify.html":
            break
    return folder / "identify.html"


def _question(graph: Graph, chance: random.Random) -> tuple[list[tuple[str, str]], list[dict[str, Any]]]:
    """Up to eight looks, as the command is given them and as the page has them."""
    keys = [k for k in sorted(traits.keys_of(graph)) if traits.recorded(graph, k).direct]
    given, there = [], []
    for key in chance.sample(keys, chance.randint(1, min(8, len(keys)))):
        trait = traits.recorded(graph, key)
        values = sorted({v for k in trait.direct.values() for v in k.values})
        lengths = list(sizes_at(graph, values).values()) if trait.place else []
        if is_measure(graph, key) or (lengths and chance.random() < 0.5):
            name = "" if not trait.place else chance.choice(lengths)
            mm = round(chance.choice([chance.uniform(20, 500), chance.uniform(29, 36), 262.0, 300.0]), 1)
            worn = name == "inside length" and chance.random() < 0.5
            given.append((f"{trait.name} {name}".strip(), f"{mm} mm{' worn' if worn else ''}"))
            there.append(
                {"key": keys.index(key), "attribute": name, "mm": mm, "error": 0.01 * mm, "worn": worn}
            )
        elif chance.random() < 0.1 and traits.YES not in values:
            given.append((trait.name, "QQ-unheard"))
            there.append({"key": keys.index(key), "value": -1})
        else:
            value = chance.choice(values)
            given.append((trait.name, trait.texts.get(value, value)))
            there.append({"key": keys.index(key), "value": values.index(value)})
    return given, there


def _same(graph: Graph, page: Any, chance: random.Random) -> None:
    given, there = _question(graph, chance)
    seen = read(graph, given)
    assert len(seen.looks) == len(there), (given, seen)
    found = identify(graph, seen)
    name = {o: graph.data.owner_text(o) for o in traits.sets_of(graph.data)}
    theirs = page.evaluate("given => whatIsThisSet(given)", there)
    assert [(a["set"], a["family"]) for a in theirs["answers"][:3]] == [
        (name.get(c.set or ""), name.get(c.family or "")) for c in found.candidates[:3]
    ], given
    ours = {(name.get(c.set or ""), name.get(c.family or "")): c for c in found.candidates}
    for answer in theirs["answers"]:
        c = ours[answer["set"], answer["family"]]
        assert answer["probability"] == pytest.approx(c.probability, rel=1e-6, abs=1e-9), given
        assert answer["fit"] == pytest.approx(c.fit, rel=1e-6), given
        assert answer["unknown"] == c.unknown, given
    none = found.chances.get(None, 0.0)
    following = looks.next_looks(graph, left_over(found), [f.trait.key for f in found.fittings], none)
    bits = {n["key"]: n["bits"] for n in theirs["next"]}
    assert bits == pytest.approx({n.name: n.bits for n in following}, rel=1e-6, abs=1e-9), given


@pytest.mark.parametrize(("which", "questions"), [("demo", 100), ("sizes", 60), ("made up", 40)])
def test_two_hundred_random_questions_have_the_answers_of_the_command(
    page: Any, tmp_path: Path, which: str, questions: int
) -> None:
    if which == "made up":
        folders.write(tmp_path / "facts", 400, looks=True)
    made = {"demo": lambda: graph_of_folder(DEMO), "sizes": lambda: graph_of(SIZES)}
    graph = made.get(which, lambda: graph_of_folder(tmp_path / "facts"))()
    page.goto(_written(graph, tmp_path).as_uri())
    chance = random.Random(which)
    for _ in range(questions):
        _same(graph, page, chance)


def test_a_thousand_sets_take_two_hundred_kilobytes_at_most(tmp_path: Path) -> None:
    folders.write(tmp_path / "facts", 3_600, looks=True)
    graph = graph_of_folder(tmp_path / "facts")
    assert len(traits.sets_of(graph.data)) >= 1_000
    _written(graph, tmp_path)
    assert (
        sum((tmp_path / name).stat().st_size for name in ("identify.html", "identify.js", "recorded.js"))
        <= 200_000
    )


def test_by_keyboard_alone_and_without_a_request(page: Any, book: Path) -> None:
    seen = watch(page)
    page.goto((book / "identify.html").as_uri())
    page.focus("#what")
    page.keyboard.type("mains")
    page.keyboard.press("Tab")
    page.keyboard.type("240")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert page.locator("#seen li").all_inner_texts() == ["mains 240 V 50 Hz take away"]
    assert page.evaluate("document.activeElement.id") == "what"
    assert page.locator("#status").inner_text().startswith("1 seen. Likeliest: ")
    assert page.locator("#answers .place").count() == 5
    page.locator("#next button").first.press("Enter")
    assert page.evaluate("document.activeElement.id") == "value"
    page.locator("#seen button").press("Enter")
    assert page.locator("#seen li").count() == 0
    target = page.locator("#answers a").first.get_attribute("href")
    assert (book / target).is_file()
    assert seen.said == []
    assert all(url.startswith(book.as_uri() + "/") for url in seen.asked)


@pytest.mark.parametrize("name", ["n05-bidi", "n06-html", "n09-shell"])
def test_hostile_names_are_text(page: Any, tmp_path: Path, name: str) -> None:
    """The names of a hostile folder, and values as hostile: all are shown, and nothing of them is run."""
    shutil.copy(ROOT / "tests" / "hostile" / f"{name}.yaml", tmp_path / "a.yaml")
    payload = "'<img src=x onerror=ran()>'"
    (tmp_path / "b.yaml").write_text(
        f"- set: Larkfield LK-40\n  stamp: {payload}\n- set: Quillon 31\n  stamp: '</script><script>ran()'\n"
    )
    graph = graph_of_folder(tmp_path)
    seen = watch(page)
    page.goto(_written(graph, tmp_path).as_uri())
    page.select_option("#what", label="stamp")
    page.select_option("#value", label=payload.strip("'"))
    page.click("#look button")
    assert "Larkfield LK-40" in page.locator("#answers").inner_text()
    assert payload.strip("'") in page.locator("#seen").inner_text()
    assert page.locator("img").count() == 0
    assert seen.said == []


def test_what_is_no_length_is_told(page: Any, tmp_path: Path) -> None:
    page.goto(_written(graph_of(SIZES), tmp_path).as_uri())
    page.select_option("#what", label="width")
    for text in ("wide", "-3", "1e9"):
        page.fill("#size", text)
        page.click("#look button")
        assert page.locator("#status").inner_text() == "A length is a number from 0.01 to 10000, in mm."
    page.fill("#size", "412")
    page.click("#look button")
    assert page.locator("#seen li").inner_text() == "width 412 mm take away"
    assert "Larkfield LK-40" in page.locator("#answers").inner_text()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_accessible_and_not_too_wide_once_something_is_seen(
    browser: Any, book: Path, width: int, scheme: str
) -> None:
    axe = resources.files("axe_playwright_python") / "axe.min.js"
    context = browser.new_context(
        color_scheme=scheme, bypass_csp=True, viewport={"width": width, "height": 800}
    )
    page = context.new_page()
    page.goto((book / "identify.html").as_uri())
    for key, value in (("mains", "240 V 50 Hz"), ("bands", "LW")):
        page.select_option("#what", label=key)
        page.select_option("#value", label=value)
        page.click("#look button")
    page.evaluate(axe.read_text(encoding="utf-8"))
    report = page.evaluate("axe.run()")
    wide = page.evaluate("document.documentElement.scrollWidth")
    context.close()
    assert [(v["id"], [n["html"][:200] for n in v["nodes"][:3]]) for v in report["violations"]] == []
    assert wide <= width
