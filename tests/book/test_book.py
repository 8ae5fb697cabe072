"""The book: what stands on its pages, which files it writes, and what names can never do to it."""

from __future__ import annotations

import json
import os
import re
import shutil
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import html5lib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kgraph.book import answering, pictures, search, working
from kgraph.book.addresses import is_page_path, page_path, refs_of
from kgraph.book.ground import BookGround, BookWishes
from kgraph.book.pages import Book
from kgraph.cli.main import run
from kgraph.folder import writing
from kgraph.problems import CannotRun
from kgraph.questions.faults import SAFETY_NOTE
from kgraph.render import dot
from tests.support import DEMO, ROOT, ask, graph_of

TEMPLATES = ROOT / "kgraph" / "book" / "templates"
SCRIPTS = (["search.js"], ["search.js", "measured.js"], ["search.js", "identify.js", "recorded.js"])
"""The scripts of a page: the search, and on the pages of belts and of what a set is others of our own."""
SMALL = """
- set: Larkfield LK-40
  mains: 240 V 50 Hz
- set: Orvanek 2200
  mains: 240 V 50 Hz
- rebadge: [Larkfield LK-40, Orvanek 2200]
  except: [line socket]
  how: compared
  source: bench book
  date: 2026-03-01
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: printed
- part: SQ 1.25 x 262
  kind: belt
  section: square 1.25 mm
  inside length: 262 mm
- takes: SQ 1.25 x 262
  in: TN7 mechanism
  position: main belt
- assembly: TN7 mechanism
  kind: tape mechanism
  positions: [main belt]
- uses: TN7 mechanism
  in: Larkfield LK-40
- unit: U-07
  set: Larkfield LK-40
  role: patient
  state: {volume knob: missing}
  wants: [volume knob]
- position: main belt
  caution: moving mechanism
"""


class Links(HTMLParser):
    """The ids of a page, and where its links and scripts lead."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.leads: list[str] = []
        self.levels: list[int] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        self.ids += [found["id"] or ""] if "id" in found else []
        self.leads += [found[k] or "" for k in ("href", "src") if k in found]
        if re.fullmatch("h[1-6]", tag):
            self.levels.append(int(tag[1]))


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "pages"
    assert run(["--data", str(DEMO), "book", str(folder)]) == 0
    return folder


@pytest.fixture
def facts(tmp_path: Path) -> Path:
    folder = tmp_path / "facts"
    folder.mkdir()
    (folder / "small.yaml").write_text(SMALL, encoding="utf-8")
    return folder


def written(capsys: Any, facts: Path, folder: Path) -> tuple[int, int, int]:
    """Files, files written, files removed, as the command tells."""
    capsys.readouterr()
    assert run(["--data", str(facts), "book", str(folder)]) == 0
    found = re.search(r"(\d+) files? in .*: (\d+) written, (\d+) removed", capsys.readouterr().out)
    assert found
    return int(found[1]), int(found[2]), int(found[3])


def one(folder: Path, pattern: str) -> str:
    (path,) = folder.glob(pattern)
    return path.read_text(encoding="utf-8")


def words(page: str) -> str:
    """The text of a page as it is read, blanks put together."""
    tree = html5lib.parse(page, namespaceHTMLElements=False)
    return " ".join(" ".join(tree.find("body").itertext()).split())


# What stands there ----------------------------------------------------------------------------


def test_there_is_a_page_for_each_thing_and_each_family(demo: Path, capsys: Any) -> None:
    shown = {kind: len(list((demo / kind).iterdir())) for kind in ("sets", "families", "units", "assemblies")}
    # As data/README.md counts them: 12 families, of which the Ystrane YN-1 is one of one set.
    assert shown == {"sets": 72, "families": 11, "units": 12, "assemblies": 38}


def test_every_link_leads_to_a_page_and_a_heading_of_the_book(demo: Path) -> None:
    pages = {p: Links(p.read_text(encoding="utf-8")) for p in demo.rglob("*.html")}
    assert len(pages) > 300
    ids = {p: set(page.ids) for p, page in pages.items()}
    lost = []
    for path, page in pages.items():
        for lead in page.leads:
            to, _, part = lead.partition("#")
            target = (path.parent / to).resolve() if to else path
            if not target.is_file() or (part and part not in ids[target]):
                lost.append((path.name, lead))
    assert lost == []


def test_ids_are_single_and_headings_in_order(demo: Path) -> None:
    for path in demo.rglob("*.html"):
        page = Links(path.read_text(encoding="utf-8"))
        assert len(page.ids) == len(set(page.ids)), path
        assert page.levels[0] == 1
        assert page.levels.count(1) == 1
        assert all(b <= a + 1 for a, b in zip(page.levels, page.levels[1:], strict=False)), path


def test_a_set_page_gives_what_donors_gives(demo: Path, capsys: Any) -> None:
    _, answer = ask(capsys, "--data", str(DEMO), "donors", "Vessimorn 5510", "mains transformer", "--all")
    page = one(demo, "sets/vessimorn-5510-*.html")
    place = re.search(r"<h3><bdi>mains transformer</bdi></h3>.*?(?=<details class=.place|<h2)", page, re.S)
    assert place
    text = words(place[0])
    assert len(answer["answers"]) == 9
    good = [row for row in answer["answers"] if row["standing"] != "refused"]
    assert good
    for row in good:
        assert re.search(rf"{re.escape(row['set'])} (?:[^%]* )?{row['certainty'] * 100:.0f} %", text)
    first = re.search(r'<li class="answer">.*?</li>', place[0], re.S)
    assert first
    assert words(first[0]).startswith(good[0]["set"])
    # What the first one rests on stands under the numbers that it cites, with file and line.
    facts = {m[1]: words(m[0]) for m in re.finditer(r'<li id="(f\d+)".*?</li>', page, re.S)}
    cited = [facts[n] for n in re.findall(r'href="#(f\d+)"', first[0])]
    assert len(cited) == len(good[0]["proof"])
    for fact, told in zip(good[0]["proof"], cited, strict=True):
        assert fact["says"] in told
        assert f"data/{Path(fact['file']).name}:{fact['line']}" in told
    assert "mains must match: 100 V 50/60 Hz on Hidzumara HZ-300 but 240 V 50 Hz on Vessimorn 5510" in text
    for caution in answer["caution texts"].values():
        assert caution in words(page)


def test_a_set_page_tells_the_faults_that_faults_tells(demo: Path, capsys: Any) -> None:
    _, answer = ask(capsys, "--data", str(DEMO), "faults", "Vessimorn 5510")
    page = one(demo, "sets/vessimorn-5510-*.html")
    text = words(page[page.index('id="wrong"') : page.index('id="places"')])
    assert len(answer["answers"]) > 12
    for row in answer["answers"]:
        told = text[
            text.index(f"{row['fault']} :") if f"{row['fault']} :" in text else text.index(row["fault"]) :
        ]
        assert row["position"] in told
        assert all(sign in told for sign in row["signs"])
        assert row["check"] in told
        if row["certainty"] is not None:
            assert f"{row['certainty'] * 100:.0f} %" in told
        if row["counted"][1]:
            assert f"{row['position']}, {row['counted'][0]} of {row['counted'][1]} (" in told
        assert all(caution in told for caution in row["cautions"])
    for caution in answer["caution texts"].values():
        assert caution in words(page)
    assert SAFETY_NOTE in text


def test_what_to_read_before_a_set_is_opened_is_what_arrive_tells(demo: Path, tmp_path: Path) -> None:
    assert run(["--data", str(DEMO), "arrive", "Drummelwick DW 510", "-o", str(tmp_path / "a.html")]) == 0
    paper = html5lib.parse((tmp_path / "a.html").read_text(), namespaceHTMLElements=False)
    page = words(one(demo, "arrivals/before-opening-drummelwick-dw-510-*.html"))
    lines = [" ".join("".join(bdi.itertext()).split()) for bdi in paper.iter("bdi")]
    assert len(lines) > 40
    assert [line for line in lines if line not in page] == []


def test_only_sets_on_the_shelf_have_a_page_of_arrival_linked_from_set_and_unit(demo: Path) -> None:
    arrivals = {path.name for path in (demo / "arrivals").iterdir()}
    links = {
        kind: {
            m for p in (demo / kind).iterdir() for m in re.findall(r"\.\./arrivals/([^\"]+)", p.read_text())
        }
        for kind in ("sets", "units")
    }
    assert links == {"sets": arrivals, "units": arrivals}
    assert len(arrivals) == 12


def test_a_position_tells_what_every_bench_knows_of_it(facts: Path, tmp_path: Path) -> None:
    run(["--data", str(facts), "book", str(tmp_path / "book")])
    text = words(one(tmp_path / "book", "positions/main-belt-*.html"))
    assert "belt stretched or perished" in text
    assert "a new belt; wipe off what is left of the old one" in text
    assert "What every bench knows" not in words(one(tmp_path / "book", "positions/volume-knob-*.html"))


def test_a_very_large_book_tells_what_every_bench_knows_on_positions_alone(
    facts: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(answering, "DEPTHS", (answering.DEPTHS[2]._replace(up_to=float("inf")),))
    with (facts / "small.yaml").open("a", encoding="utf-8") as file:
        file.write("- fault: frayed\n  in: TN7 mechanism\n  position: main belt\n  certainty: 0.8\n")
    run(["--data", str(facts), "book", str(tmp_path / "book")])
    text = words(one(tmp_path / "book", "sets/orvanek-2200-*.html"))
    assert "frayed : main belt" in text
    assert "at least" in text[text.index("frayed : main belt") :][:60]
    assert "belt stretched or perished" not in text
    assert 'all of it: kgraph faults "Orvanek 2200"' in text
    assert "belt stretched or perished" in words(one(tmp_path / "book", "positions/main-belt-*.html"))


def test_no_page_is_over_100_kb(demo: Path) -> None:
    large = {p.name: p.stat().st_size for p in demo.rglob("*.html") if p.stat().st_size > 100_000}
    assert large == {}


def test_facts_have_their_source_date_file_and_line(facts: Path, tmp_path: Path) -> None:
    run(["--data", str(facts), "book", str(tmp_path / "book")])
    text = words(one(tmp_path / "book", "sets/larkfield-lk-40-*.html"))
    assert "85 % Larkfield LK-40 and Orvanek 2200 are one design, except line socket" in text
    assert "compared, bench book, 2026-03-01; facts/small.yaml:6" in text
    assert "It is built on" not in text
    assert "TN7 mechanism" in text
    assert "Caution, moving mechanism: Keep fingers" in text


def test_what_a_thing_says_by_a_corrected_entry_is_shown_without_ids(
    facts: Path, tmp_path: Path, capsys: Any
) -> None:
    (facts / "more.yaml").write_text("- set: Quillon 31\n  mains: 220 V 50 Hz\n", encoding="utf-8")
    assert run(["--data", str(facts), "correct", "Quillon 31", "mains", "240 V 50 Hz", "--yes"]) == 0
    assert "corrects: " in "".join(p.read_text(encoding="utf-8") for p in facts.glob("*.yaml"))
    written(capsys, facts, tmp_path / "book")
    text = words(one(tmp_path / "book", "sets/quillon-31-*.html"))
    assert "240 V 50 Hz" in text
    assert "220 V 50 Hz" not in text
    assert "corrects" not in text


def test_a_withdrawn_fact_is_shown_as_such(demo: Path) -> None:
    text = words(one(demo, "sets/glenquarrow-g-21-*.html"))
    assert "withdrawn: " in text


def test_a_belt_page_has_its_run_its_picture_and_the_family(demo: Path) -> None:
    page = one(demo, "parts/sq-1-6-x-226-*.html")
    assert "<svg" in page
    text = words(page)
    assert "The run does not support SQ 1.6 x 246" in text
    row = re.search(r"Teskilda 380</bdi>.{0,200}SQ 1.6 x 246.*?</tr>", page[page.index("<table>") :], re.S)
    assert row
    assert "-1.8 %" in row[0]
    assert 'data-label="Agrees">no<' in row[0]


def test_a_unit_page_tells_what_is_wanted_and_owed(demo: Path) -> None:
    donor = words(one(demo, "units/u-01-*.html"))
    assert "What it is to get back taken: tape counter from U-01 to U-03 , owed MT, 2024-01-20" in donor
    assert "tape counter taken 2024-01-20" in donor
    patient = words(one(demo, "units/u-08-*.html"))
    assert "tape counter : which sets can give it" in patient


def test_the_page_on_certainty_names_the_folders_own_grades(demo: Path) -> None:
    text = words((demo / "certainty.html").read_text(encoding="utf-8"))
    assert "photo 75 % seen in a photograph (changed in this folder)" in text
    assert "scale is our own" in text
    for caution in ("mains", "charged capacitors", "leaking cells", "solvents", "solder fumes", "springs"):
        assert f"Caution, {caution}:" in text


def test_a_long_list_is_cut_with_its_rest_named() -> None:
    sets = "".join(
        f"- rebadge: [Larkfield LK-40, Orvanek {n}]\n  certainty: 0.{50 + n}\n" for n in range(10, 40)
    )
    graph = graph_of(sets + "- takes: K-114\n  in: Larkfield LK-40\n  position: volume knob\n")
    files = dict(Book(BookGround(graph, BookWishes())).files())
    page = next(data.decode() for path, data in files.items() if path.startswith("parts/k-114-"))
    assert page.count('<li class="answer">') == 8
    text = words(page)
    assert "23 less certain ones" in text
    assert all(f"Orvanek {n}" in text for n in range(10, 40))


def test_what_must_be_known_of_an_answer_stands_in_the_rest_of_a_list_too() -> None:
    sets = "".join(
        f"- rebadge: [Larkfield LK-40, Orvanek {n}]\n  certainty: 0.{50 + n}\n" for n in range(10, 40)
    )
    needs = "- position: fuse\n  must match: [mains]\n- set: Larkfield LK-40\n  mains: 240 V\n"
    graph = graph_of(sets + needs + "- takes: F-1\n  in: Larkfield LK-40\n  position: fuse\n")
    files = dict(Book(BookGround(graph, BookWishes())).files())
    text = words(next(data.decode() for path, data in files.items() if path.startswith("parts/f-1-")))
    for n in range(10, 40):
        assert f"mains is not recorded on Orvanek {n}: check it first" in text


def test_the_caution_of_a_kind_stands_wherever_its_part_is_fitted() -> None:
    facts = """\
- kind: reservoir capacitor
  caution: [charged capacitors]
- part: C-901
  kind: reservoir capacitor
- assembly: PN3 supply
  positions: [reservoir]
- takes: C-901
  in: PN3 supply
  position: reservoir
- uses: PN3 supply
  in: Larkfield LK-40
- unit: U-1
  set: Larkfield LK-40
  wants: [reservoir]
"""
    files = dict(Book(BookGround(graph_of(facts), BookWishes())).files())
    for begin in ("sets/larkfield", "positions/reservoir", "assemblies/pn3", "units/u-1", "parts/c-901"):
        pages = [data.decode() for path, data in files.items() if path.startswith(begin)]
        assert [p for p in pages if "can stay charged" in words(p)], (begin, sorted(files))


def test_the_same_data_give_the_same_bytes_wherever_the_folder_lies(facts: Path, tmp_path: Path) -> None:
    shutil.copytree(facts, tmp_path / "elsewhere" / "facts")
    run(["--data", str(facts), "book", str(tmp_path / "one")])
    run(["--data", str(tmp_path / "elsewhere" / "facts"), "book", str(tmp_path / "two")])
    names = [p.relative_to(tmp_path / "one") for p in (tmp_path / "one").rglob("*") if p.is_file()]
    assert len(names) > 15
    for name in names:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_without_dot_the_book_is_written_with_a_list_and_a_note(
    facts: Path, tmp_path: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def cannot(*_: object) -> bytes:
        raise CannotRun("`dot` is not installed")

    monkeypatch.setattr(dot, "svgs", cannot)
    assert run(["--data", str(facts), "book", str(tmp_path / "book")]) == 0
    assert "families are without pictures: " in capsys.readouterr().err
    page = one(tmp_path / "book", "families/*.html")
    assert "<svg" not in page
    assert "There is no picture here" in page
    assert "Orvanek 2200" in page


def test_what_cannot_be_read_is_told_on_the_first_page(facts: Path, tmp_path: Path) -> None:
    (facts / "bad.yaml").write_text("- set: Norvane 7\n- {set: '???'}\n", encoding="utf-8")
    assert run(["--data", str(facts), "book", "--strict", str(tmp_path / "book")]) == 3
    assert not (tmp_path / "book").exists()
    assert run(["--data", str(facts), "book", str(tmp_path / "book")]) == 0
    assert "warning: 1 entry of the fact files could not be read and is left out" in words(
        (tmp_path / "book" / "index.html").read_text()
    )


# Which files ----------------------------------------------------------------------------------


def times(folder: Path) -> dict[Path, int]:
    return {p: p.stat().st_mtime_ns for p in folder.rglob("*") if p.is_file()}


def test_only_what_changed_is_written_again(facts: Path, tmp_path: Path, capsys: Any) -> None:
    folder = tmp_path / "book"
    first = written(capsys, facts, folder)
    assert first[0] == first[1]
    before = times(folder)
    assert written(capsys, facts, folder)[1:] == (0, 0)
    assert times(folder) == before
    with (facts / "small.yaml").open("a") as file:
        file.write("  note: bites\n")
    assert written(capsys, facts, folder)[1:] == (1, 0)
    changed = {p for p, at in times(folder).items() if before[p] != at}
    assert [p.parent.name for p in changed] == ["positions"]


def test_pages_of_what_is_gone_are_removed_and_nothing_else(facts: Path, tmp_path: Path, capsys: Any) -> None:
    folder = tmp_path / "book"
    written(capsys, facts, folder)
    mine = folder / "units" / "mine.html"
    mine.write_text("a page of the user's own")
    text = (facts / "small.yaml").read_text()
    (facts / "small.yaml").write_text(text[: text.index("- unit:")] + text[text.index("- position: main") :])
    # The unit, what to read before its set is opened, the list of units and what to look for.
    assert written(capsys, facts, folder)[2] == 4
    assert [p.name for p in (folder / "units").iterdir()] == ["mine.html"]
    assert not (folder / "units.html").exists()
    assert "U-07" not in (folder / "index.js").read_text()


def refused(capsys: Any, facts: Path, folder: Path) -> str:
    capsys.readouterr()
    before = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file() and not p.is_symlink()}
    assert run(["--data", str(facts), "book", str(folder)]) == 3
    assert {p: p.read_bytes() for p in folder.rglob("*") if p.is_file() and not p.is_symlink()} == before
    said: str = capsys.readouterr().err
    assert "Traceback" not in said
    return said


@pytest.mark.parametrize(
    "text", [None, "", "{}", "[1]", '{"holds": "x", "pages": []}', '{"holds": "pages of a book of facts"}']
)
def test_a_folder_that_is_no_book_is_let_be(
    facts: Path, tmp_path: Path, capsys: Any, text: str | None
) -> None:
    folder = tmp_path / "other"
    folder.mkdir()
    (folder / "thesis.html").write_text("years of work")
    if text is not None:
        (folder / "book.json").write_text(text)
    assert "is not empty and not a book" in refused(capsys, facts, folder)


@pytest.mark.parametrize("path", ["../facts/small.yaml", "/etc/passwd", "sets/../../x.html", "sets/.x.html"])
def test_a_list_of_pages_cannot_name_files_outside(
    facts: Path, tmp_path: Path, capsys: Any, path: str
) -> None:
    folder = tmp_path / "book"
    written(capsys, facts, folder)
    listed = folder / "book.json"
    listed.write_text(listed.read_text().replace('"index.html"', f'"index.html", "{path}"'))
    assert "damaged" in refused(capsys, facts, folder)
    assert (facts / "small.yaml").exists()


def test_the_fact_folder_itself_is_no_place_for_a_book(facts: Path, capsys: Any) -> None:
    assert "is not empty" in refused(capsys, facts, facts)


def test_links_out_of_the_book_are_not_followed(facts: Path, tmp_path: Path, capsys: Any) -> None:
    folder, outside = tmp_path / "book", tmp_path / "outside"
    written(capsys, facts, folder)
    shutil.rmtree(folder / "sets")
    outside.mkdir()
    (folder / "sets").symlink_to(outside)
    assert "is a link" in refused(capsys, facts, folder)
    assert list(outside.iterdir()) == []
    (folder / "sets").unlink()
    (folder / "index.html").unlink()
    (outside / "page").write_text("precious")
    (folder / "index.html").symlink_to(outside / "page")
    assert "no regular file" in refused(capsys, facts, folder)
    assert (outside / "page").read_text() == "precious"


def test_a_page_of_the_users_own_is_not_replaced(facts: Path, tmp_path: Path, capsys: Any) -> None:
    folder = tmp_path / "book"
    written(capsys, facts, folder)
    (path,) = (folder / "units").iterdir()
    listed = folder / "book.json"
    held = json.loads(listed.read_text())
    held["pages"] = [p for p in held["pages"] if not p.startswith("units/")]
    listed.write_text(json.dumps(held))
    path.write_text("mine now")
    # Once more, for the first run must not have put the file on the list.
    assert "no page of the book" in refused(capsys, facts, folder)
    assert "no page of the book" in refused(capsys, facts, folder)
    assert path.read_text() == "mine now"


def test_what_a_killed_run_left_is_swept_away(facts: Path, tmp_path: Path, capsys: Any) -> None:
    folder = tmp_path / "book"
    written(capsys, facts, folder)
    gone = folder / "sets" / ".kgraph-999999999-0123456789ab.tmp"
    gone.write_text("half a page")
    (folder / ".kgraph-999999999-0123456789ab.tmp").write_text("half a list")
    written(capsys, facts, folder)
    assert not gone.exists()
    assert not [p for p in folder.iterdir() if p.name.startswith(".")]


def test_a_run_that_was_killed_before_its_list_was_written_is_finished_by_the_next(
    facts: Path, tmp_path: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The list is the first file: without it nothing else of the book is there, folders included."""
    folder, at_the_list = tmp_path / "book", []
    real = writing.write_new

    def killed(target: Path, data: bytes, lasting: bool = True) -> None:
        at_the_list.append((target.name, [p.name for p in folder.iterdir()]))
        raise KeyboardInterrupt

    monkeypatch.setattr(writing, "write_new", killed)
    run(["--data", str(facts), "book", str(folder)])
    assert at_the_list == [("book.json", [])]
    monkeypatch.setattr(writing, "write_new", real)
    written(capsys, facts, folder)


def test_a_run_that_stopped_half_way_is_finished_by_the_next(
    facts: Path, tmp_path: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "book"
    made = working.made

    def cut(*given: Any) -> Iterator[tuple[str, Any]]:
        for number, page in enumerate(made(*given)):
            if number == 9:
                raise OSError(28, "No space left on device", "disk")
            yield page

    monkeypatch.setattr(working, "made", cut)
    assert run(["--data", str(facts), "book", str(folder)]) == 3
    monkeypatch.undo()
    total, new, _ = written(capsys, facts, folder)
    assert 0 < new < total
    assert written(capsys, facts, folder)[1] == 0


# Names that mean harm -------------------------------------------------------------------------

HOSTILE = [
    "n01-path-names.yaml",
    "n04-lookalikes.yaml",
    "n05-bidi.yaml",
    "n06-html.yaml",
    "n07-dot.yaml",
    "n08-rdf-sparql.yaml",
    "n09-shell.yaml",
    "n10-csv-formula.yaml",
    "y20-note-escape.yaml",
]
HARM = """
- takes: "{{ 7 * 7 }} <b>part</b>"
  in: "<script>alert(1)</script> 1"
  position: "\\"><img src=x onerror=alert(1)> place"
  note: "</li></ul><script>alert(2)</script>"
  by: "<i>me</i>"
- rebadge: ["<script>alert(1)</script> 1", "javascript:alert(1) 7"]
  except: ["<u>feature</u>"]
- unit: "<h1>unit</h1>"
  set: "<script>alert(1)</script> 1"
  role: donor
  state: {"\\"><img src=x onerror=alert(1)> place": "<b>gone</b>"}
- source: "<a href='javascript:alert(3)'>source</a>"
- caution: "<em>caution</em>"
  text: "</p><script>alert(4)</script>\\u202eevil"
"""


def allowed() -> tuple[set[str], set[str]]:
    """The elements and attributes that the templates and our own pictures are written with."""
    text = "".join(p.read_text(encoding="utf-8") for p in TEMPLATES.glob("*.html"))
    plain = re.sub(r"\{[{%].*?[%}]\}", "", text)
    tags = {m[1] for m in re.finditer(r"<([a-z][a-z0-9]*)[\s>]", plain)}
    attributes = {m[1] for m in re.finditer(r"[\s]([a-z-]+)=\"", plain)} | {"hidden", "defer", "open"}
    return tags | pictures.ELEMENTS, attributes | pictures.ATTRIBUTES


@pytest.mark.parametrize("name", [*HOSTILE, ""])
def test_names_come_out_as_text_and_never_as_markup(tmp_path: Path, name: str) -> None:
    facts = tmp_path / "facts"
    facts.mkdir()
    if name:
        shutil.copy(ROOT / "tests" / "hostile" / name, facts / name)
    (facts / "harm.yaml").write_text(HARM, encoding="utf-8")
    folder = tmp_path / "book"
    assert run(["--data", str(facts), "book", str(folder)]) in (0, 3)
    elements, attributes = allowed()
    pages = list(folder.rglob("*.html"))
    assert len(pages) > 8
    for path in pages:
        text = path.read_text(encoding="utf-8")
        assert not set(text) & set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u0000\u001b")
        tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(text)
        for element in tree.iter():
            if not isinstance(element.tag, str):
                raise AssertionError(f"a comment in {path}")
            assert element.tag.rpartition("}")[2] in elements, path
            for key, value in element.attrib.items():
                assert key.rpartition("}")[2] in attributes, (path, key)
                if key in ("href", "src"):
                    assert re.fullmatch(r"(?:\.\./)?[a-z0-9/-]*(?:\.[a-z]+)?(?:#[a-z0-9-]+)?", value), value
        scripts = [(s.get("src") or "").removeprefix("../") for s in tree.iter("script")]
        assert scripts in SCRIPTS


def test_a_hostile_name_is_read_letter_for_letter(tmp_path: Path) -> None:
    (tmp_path / "facts").mkdir()
    shutil.copy(ROOT / "tests" / "hostile" / "n06-html.yaml", tmp_path / "facts" / "n06.yaml")
    run(["--data", str(tmp_path / "facts"), "book", str(tmp_path / "book")])
    titles = set()
    for path in (tmp_path / "book" / "sets").iterdir():
        tree = html5lib.parse(path.read_text(encoding="utf-8"), namespaceHTMLElements=False)
        titles.add("".join(tree.find(".//h1").itertext()))
    assert "<script>alert(1)</script> 1" in titles
    assert "{{7*7}}{% raw %}${7*7} 4" in titles
    assert "&lt;b&gt; &amp; &#60; 6" in titles
    assert len(titles) == 9


@given(
    st.text(min_size=1, max_size=200),
    st.text(min_size=1, max_size=30),
    st.sampled_from(["set", "part", "unit"]),
)
def test_a_file_name_is_of_our_own_letters_whatever_the_name(name: str, key: str, kind: str) -> None:
    path = page_path(kind, key, name)
    assert is_page_path(path)
    assert path == path.lower()
    assert len(path) < 80
    folder, _, file = path.partition("/")
    assert os.path.normpath(f"/book/{unquote(path)}") == f"/book/{folder}/{file}"


def test_things_that_differ_by_case_or_script_alone_have_files_of_their_own() -> None:
    graph = graph_of("- set: K-114\n- set: К-114\n- part: K-114\n- part: k-11-4\n- part: '+1'\n- part: '1'\n")
    paths = [ref.href.casefold() for ref in refs_of(graph.data).values()]
    assert len(paths) == len(set(paths)) == 6


def test_the_script_of_the_index_is_letters_alone() -> None:
    graph = graph_of("- set: '</script><script>alert(1)</script>\u2028 1'\n")
    text = search.index_script(graph.data, refs_of(graph.data)).decode("ascii")
    assert "<" not in text
    assert "u003c/script>" in text


# Pictures -------------------------------------------------------------------------------------


def test_of_a_picture_only_what_is_known_is_let_through() -> None:
    drawn = b"""<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"
        width="72pt" height="36pt" onload="alert(1)" viewBox="0 0 72 36">
        <script>alert(2)</script><style>x</style>
        <a xlink:href="../sets/x-1.html"><text id="n1">good &lt;b&gt;</text></a>
        <a xlink:href="javascript:alert(3)"><text>bad</text></a><image href="x.png"/>
        <foreignObject><b>no</b></foreignObject></svg>"""
    made = pictures.inline(drawn, frozenset({"../sets/x-1.html"}), 'a "name"')
    assert made is not None
    assert 'href="../sets/x-1.html"' in made
    assert "good &lt;b&gt;" in made
    assert "bad" in made
    for harm in ("alert", "script", "style", "image", "foreignObject", "onload", "id="):
        assert harm not in made
    assert 'width="96"' in made


@pytest.mark.parametrize("drawn", [b"", b"<svg", b"<html/>", b"\xff"])
def test_what_is_no_drawing_is_no_picture(drawn: bytes) -> None:
    assert pictures.inline(drawn, frozenset(), "x") is None


def test_badges_come_from_all_names_of_the_folder(tmp_path: Path, capsys: Any) -> None:
    text = "- set: Brakelund 45\n- set: Brakelund B 210\n- set: Quillon Nova 3\n"
    (tmp_path / "facts").mkdir()
    (tmp_path / "facts" / "a.yaml").write_text(text + "- set: Van Tarn 7\n  badge: Van Tarn\n")
    assert run(["--data", str(tmp_path / "facts"), "book", str(tmp_path / "pages")]) == 0
    page = (tmp_path / "pages" / "index.html").read_text()
    heads = [" ".join(h.itertext()) for h in html5lib.parse(page, namespaceHTMLElements=False).iter("h2")]
    assert heads == ["Brakelund", "Quillon Nova", "Van Tarn"]


def test_what_to_look_for_and_what_own_units_give(demo: Path) -> None:
    seek = (demo / "seek.html").read_text()
    assert "<h1>To look for</h1>" in seek
    assert "Mirrabunda MB-21" in seek
    belts = (demo / "belts.html").read_text()
    assert 'data-label="Sets"><a href="sets/' in belts
    sets = [p.read_text() for p in (demo / "sets").glob("*.html")]
    assert any("What your own units give" in page and "not inspected" in page for page in sets)
