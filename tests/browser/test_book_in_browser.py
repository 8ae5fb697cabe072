"""The book in a real browser, from files: search, keyboard, accessibility, narrow screens, no network."""

from __future__ import annotations

import json
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from kgraph.book.addresses import refs_of
from kgraph.book.search import index_script
from tests.browser.conftest import watch
from tests.fuzz import opened
from tests.support import graph_of

TOPS = (
    *(
        "index",
        "identify",
        "families",
        "assemblies",
        "parts",
        "belts",
        "positions",
        "units",
        "seek",
        "sources",
    ),
    "certainty",
)
KINDS = {
    "a set": "sets/kazumorei-kzr-8-",
    "a family": "families/family-of-hidzumara-hz-300-",
    "a knob": "parts/hu-3001-",
    "a belt": "parts/sq-1-6-x-226-",
    "an assembly": "assemblies/hz30-mechanism-",
    "a position": "positions/mains-fuse-",
    "a unit": "units/u-03-",
    "an arrival": "arrivals/before-opening-drummelwick-dw-510-",
}
"""A page of each kind -> how its address begins."""
NAMES = [*TOPS, *KINDS]


def page_named(book: Path, name: str) -> Path:
    """A page at the top, or one of a kind."""
    if name in TOPS:
        return book / f"{name}.html"
    (found,) = book.glob(f"{KINDS[name]}??????????.html")
    return found


@pytest.fixture
def page(browser: Any) -> Iterator[Any]:
    made = browser.new_page(viewport={"width": 1280, "height": 900})
    yield made
    made.close()


def found(page: Any) -> list[str]:
    """The names in the list of the search, best first."""
    names: list[str] = page.locator("#found bdi").all_inner_texts()
    return names


def ask(page: Any, text: str) -> list[str]:
    opened.search_for(page, text)
    return found(page)


@pytest.mark.parametrize("name", NAMES)
def test_a_page_asks_for_nothing_outside_and_complains_of_nothing(page: Any, book: Path, name: str) -> None:
    seen = watch(page)
    page.goto(page_named(book, name).as_uri())
    page.press("body", "/")
    page.keyboard.type("mains")
    page.wait_for_selector("#found li")
    assert seen.said == []
    assert len(seen.asked) >= 4  # The page, its style, its script, the index.
    assert [url for url in seen.asked if not url.startswith(book.as_uri() + "/")] == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", NAMES)
def test_no_fault_of_accessibility(browser: Any, book: Path, name: str, scheme: str) -> None:
    """By axe-core's rules, which are those of WCAG 2 and good practice; fifteen folded boxes opened."""
    axe = resources.files("axe_playwright_python") / "axe.min.js"
    context = browser.new_context(color_scheme=scheme, bypass_csp=True)
    page = context.new_page()
    page.goto(page_named(book, name).as_uri())
    page.evaluate("[...document.querySelectorAll('details')].slice(0, 15).forEach(d => { d.open = true; })")
    page.evaluate(axe.read_text(encoding="utf-8"))
    report = page.evaluate("axe.run()")
    context.close()
    assert report["passes"]
    assert [(v["id"], [n["html"][:200] for n in v["nodes"][:3]]) for v in report["violations"]] == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_open_list_of_the_search_is_accessible(browser: Any, book: Path, scheme: str) -> None:
    axe = resources.files("axe_playwright_python") / "axe.min.js"
    context = browser.new_context(color_scheme=scheme, bypass_csp=True)
    page = context.new_page()
    page.goto((book / "index.html").as_uri())
    assert ask(page, "kzr")
    page.press("#ask", "ArrowDown")
    page.evaluate(axe.read_text(encoding="utf-8"))
    report = page.evaluate("axe.run('header')")
    context.close()
    assert [v["id"] for v in report["violations"]] == []


@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("name", NAMES)
def test_nothing_runs_off_the_side(browser: Any, book: Path, name: str, width: int) -> None:
    page = browser.new_page(viewport={"width": width, "height": 800})
    page.goto(page_named(book, name).as_uri())
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    wide = page.evaluate("document.documentElement.scrollWidth")
    tables = page.evaluate(
        "[...document.querySelectorAll('.wide')].filter(t => t.scrollWidth > t.clientWidth).length"
    )
    page.close()
    assert wide <= width
    assert tables == 0


@pytest.mark.parametrize("name", NAMES)
def test_no_page_is_longer_than_three_screens_with_nothing_unfolded(
    browser: Any, book: Path, name: str
) -> None:
    page = browser.new_page(viewport={"width": 360, "height": 800})
    page.goto(page_named(book, name).as_uri())
    high = page.evaluate("document.documentElement.scrollHeight")
    page.close()
    assert high <= 3 * 800


def test_an_address_into_what_is_folded_unfolds_it(page: Any, book: Path) -> None:
    path = page_named(book, "a set")
    page.goto(f"{path.as_uri()}#f1")
    assert page.is_visible("#f1")
    place = page.get_attribute("details.place", "id")
    assert page.is_hidden(f"#{place}")
    page.goto(f"{path.as_uri()}#{place}")
    assert page.is_visible(f"#{place} .note >> nth=0")


def test_cautions_stand_whole_on_paper(page: Any, book: Path) -> None:
    page.goto(page_named(book, "a set").as_uri())
    rest = page.locator(".cautions details p >> nth=0")
    assert not rest.is_visible()
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert rest.is_visible()
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert not rest.is_visible()


def test_script_that_is_not_ours_is_not_run(page: Any, book: Path) -> None:
    seen = watch(page)
    failed: list[str] = []
    page.on("requestfailed", lambda request: failed.append(f"{request.failure} {request.url}"))
    page.goto((book / "index.html").as_uri())
    page.evaluate(
        """() => {
            const script = document.createElement("script");
            script.textContent = "window.ran = true";
            document.body.append(script);
            const image = document.createElement("img");
            image.src = "https://host.invalid/x.png";
            document.body.append(image);
            document.body.setAttribute("onclick", "window.ran = true");
            document.body.click();
        }"""
    )
    page.wait_for_timeout(100)
    assert page.evaluate("window.ran") is None
    assert "Content Security Policy" in " ".join(seen.said)
    assert failed == ["csp https://host.invalid/x.png"]


@pytest.mark.parametrize("text", ["HZ340", "hz-340", "HZ 340", " hz.340 "])
def test_a_name_is_found_however_it_is_spelt(page: Any, book: Path, text: str) -> None:
    page.goto((book / "index.html").as_uri())
    assert ask(page, text)[0] == "Hidzumara HZ-340"


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("hidzumara hz430", "Hidzumara HZ-340"),  # two changed round
        ("hidzumra hz340", "Hidzumara HZ-340"),  # one missing
        ("hiidzumara hz340e", "Hidzumara HZ-340E"),  # one too many
        ("kazumoray kzr8a", "Kazumorei KZR-8A"),  # two wrong
        ("drumelwik dw510", "Drummelwick DW 510"),  # two missing
        ("hu-2801", "HU-2810"),  # a maker's number, two changed round
        ("hanlde", "handle"),
    ],
)
def test_a_slip_of_the_fingers_still_finds_it(page: Any, book: Path, text: str, name: str) -> None:
    page.goto((book / "index.html").as_uri())
    names = ask(page, text)
    met = {"HU-2810": "SQ 1.2 x 211"}.get(name, name)
    assert met in names


def test_what_is_called_nothing_like_it_is_not_found(page: Any, book: Path) -> None:
    page.goto((book / "index.html").as_uri())
    assert ask(page, "qqqqqqqq") == []
    assert "Nothing is called qqqqqqqq" in page.inner_text("#told")
    assert page.get_attribute("#ask", "aria-expanded") == "false"


def test_the_keyboard_alone_is_enough(page: Any, book: Path) -> None:
    page.goto((book / "index.html").as_uri())
    page.keyboard.press("/")
    assert page.evaluate("document.activeElement.id") == "ask"
    page.keyboard.type("kzr-8")
    page.wait_for_selector("#found li")
    names = found(page)
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    active = page.get_attribute("#ask", "aria-activedescendant")
    assert page.get_attribute(f"#{active}", "aria-selected") == "true"
    assert page.inner_text(f"#{active} bdi") == names[1]
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowUp")
    assert page.inner_text(f"#{page.get_attribute('#ask', 'aria-activedescendant')} bdi") == names[-1]
    page.keyboard.press("ArrowDown")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert page.inner_text("h1") == names[0] == "Kazumorei KZR-8"


def test_escape_closes_the_list_then_empties_the_field(page: Any, book: Path) -> None:
    page.goto((book / "index.html").as_uri())
    assert ask(page, "kzr")
    page.press("#ask", "Escape")
    assert page.is_hidden("#found")
    assert page.input_value("#ask") == "kzr"
    page.press("#ask", "Escape")
    assert page.input_value("#ask") == ""


def test_a_click_opens_the_page_from_within_a_folder(page: Any, book: Path) -> None:
    page.goto(page_named(book, "a unit").as_uri())
    assert ask(page, "handle")[0] == "handle"
    with page.expect_navigation():
        page.click("#found li:first-child")
    assert page.inner_text("h1") == "handle"


def test_typing_and_enter_at_once_waits_for_the_index(page: Any, book: Path) -> None:
    page.goto((book / "index.html").as_uri())
    with page.expect_navigation():
        page.evaluate(
            """() => {
                const input = document.getElementById("ask");
                input.value = "U-07";
                input.dispatchEvent(new KeyboardEvent("keydown", { key: "Enter", bubbles: true }));
            }"""
        )
    assert page.inner_text("h1") == "U-07"


def test_how_many_were_found_is_told(page: Any, book: Path) -> None:
    page.goto((book / "index.html").as_uri())
    names = ask(page, "HZ-300E")
    assert page.get_attribute("#told", "role") == "status"
    assert page.inner_text("#told").startswith(f"{len(names)} found")


def test_without_script_the_index_by_badge_serves(browser: Any, book: Path) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto((book / "index.html").as_uri())
    assert page.is_hidden("#search")
    page.click("summary:has-text('Hidzumara')")
    page.click("text=Hidzumara HZ-340E")
    assert page.inner_text("h1") == "Hidzumara HZ-340E"
    page.click("#places + details > summary")
    page.click("details.place > summary >> nth=0")
    assert page.is_visible("details.place .note >> nth=0")
    context.close()


def test_paper_holds_the_page_and_no_menu(page: Any, book: Path) -> None:
    page.goto(page_named(book, "a set").as_uri())
    page.emulate_media(media="print")
    assert page.is_hidden("nav")
    assert page.is_hidden("#search")
    assert page.is_visible("h1")
    assert page.is_visible(".cautions >> nth=0")
    assert page.pdf()[:5] == b"%PDF-"


def test_every_node_of_a_family_picture_leads_to_its_page(page: Any, book: Path) -> None:
    path = page_named(book, "a family")
    page.goto(path.as_uri())
    hrefs = page.eval_on_selector_all(".paper svg a", "all => all.map(a => a.href.baseVal)")
    listed = page.eval_on_selector_all("table tbody th a", "all => all.map(a => a.getAttribute('href'))")
    assert sorted(set(hrefs)) == sorted(listed)
    assert len(listed) == 10
    assert all((path.parent / href).is_file() for href in hrefs)
    with page.expect_navigation():
        page.click(".paper svg a >> nth=0")
    assert page.inner_text("h1")


MANY = 10_000


@pytest.fixture(scope="module")
def many(book: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A page beside an index of ten thousand sets."""
    folder: Path = tmp_path_factory.mktemp("many")
    data = graph_of("".join(f"- set: Maker{n % 40} {n:05}\n" for n in range(MANY))).data
    for name in ("index.html", "book.css", "search.js"):
        (folder / name).write_bytes((book / name).read_bytes())
    (folder / "index.js").write_bytes(index_script(data, refs_of(data)))
    return folder / "index.html"


def test_among_ten_thousand_things(page: Any, many: Path) -> None:
    page.goto(many.as_uri())
    assert ask(page, "maker31 04711")[0] == "Maker31 04711"
    assert ask(page, "04711")[0] == "Maker31 04711"
    assert "Maker31 04711" in ask(page, "mkaer31 04711")
    assert len(ask(page, "maker")) == 12


def test_the_index_is_letters_alone(book: Path) -> None:
    text = (book / "index.js").read_bytes().decode("ascii")
    assert "<" not in text
    rows = json.loads(text[text.index("[\n") : text.rindex(")")])
    assert {"Kazumorei KZR-8", "U-07", "handle"} <= {row[1] for row in rows}
    assert all((book / row[2]).is_file() for row in rows)
