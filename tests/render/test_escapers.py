"""Each way out by itself: what stands there reads back as the text it was; nothing in it is obeyed."""

from __future__ import annotations

import csv
import io
import json
import re
import unicodedata
import xml.etree.ElementTree as ElementTree
from datetime import date, datetime, time, timedelta
from urllib.parse import unquote

import jinja2
import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kgraph import collection
from kgraph.book import addresses, pages, pictures, search
from kgraph.book.addresses import is_page_path, page_path, refs_of, slug
from kgraph.exchange import tables, terms, xlsx
from kgraph.exchange.cells import NotAValue, cell_of, header_key, read_cell
from kgraph.exchange.graphml import xml_text
from kgraph.exchange.tables import KindTable
from kgraph.folder import schema
from kgraph.problems import CannotRun
from kgraph.render.pictures import sheet, svg
from kgraph.render.terminal import visible

ODD = {c: unicodedata.category(c) for c in map(chr, range(0x110000)) if unicodedata.category(c) in (
    "Cc", "Cf", "Zl", "Zp"
)}  # fmt: skip
"""Every character that is no sign to see, but may hide others or be obeyed -> its kind."""
PLAIN = "aZ09 -\\\"'<>&;=éß½漢\u00a0\u3000\u0301\U0001f4fb"
TEXTS = st.lists(
    st.sampled_from(
        [*PLAIN, *"\t\n\r\x1b\x85\u202e\u2028\ufeff\U000e0041\ud800", "\\x1b", "]]>", "</script>"]
    )
    | st.characters()
).map("".join)


def by_number(char: str) -> str:
    """The escape of a character as messages and terminals show it."""
    code = ord(char)
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def data_of(text: str) -> collection.Collection:
    """The collection of facts written as YAML."""
    entries, problems = schema.entries_of(text.encode(), "a.yaml")
    assert not problems
    return collection.build(entries)


# --- Terminal ------------------------------------------------------------------------------------


def test_a_terminal_is_sent_no_character_that_it_obeys() -> None:
    joining = {"\u00ad", "\u200c", "\u200d"}
    for char in {*ODD, "\ud800", "\ufffe", "\uffff"} - joining:
        named = {"\t": "\\t", "\n": "\\n", "\r": "\\r"}
        assert visible(f"a{char}é") == f"a{named.get(char) or by_number(char)}é"
    for char in joining | set(PLAIN) | {"\ufffd"}:
        assert visible(char) == char


@given(TEXTS)
def test_a_terminal_shows_text_in_one_line_letter_for_letter(text: str) -> None:
    shown = visible(text)
    assert not any(c in ODD for c in shown if c not in "\u00ad\u200c\u200d")
    if not any(c in ODD or "\ud800" <= c <= "\udfff" or c in "\ufffe\uffff" for c in text):
        assert shown == text


# --- DOT and SVG ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "label", "tip"),
    [
        ("A 1", "A 1", "A 1"),
        ("a & b", "a &amp; b", "a &amp; b"),
        ("&lt;", "&amp;lt;", "&amp;lt;"),
        ("\\N", "\\\\N", "\\\\\\\\N"),
        ("a\x1b", "a\\\\x1b", "a\\\\\\\\x1b"),
    ],
)
def test_a_label_has_its_signs_escaped_once_and_a_tooltip_twice(text: str, label: str, tip: str) -> None:
    assert str(sheet.label_text(text)) == label
    assert str(sheet.tip_text(text)) == tip


def test_a_label_is_no_markup() -> None:
    """The library takes `<...>` for markup, and does not where the text says that it is none."""
    texts = [sheet.label_text("<b>x</b>"), sheet.tip_text("<b>x</b>"), sheet.label(["<b>x</b>"])]
    assert all(type(text) is not str for text in texts)


def test_a_label_of_several_lines() -> None:
    assert str(sheet.label(["A\\", "B"])) == "A\\\\\\nB"
    assert str(sheet.label(["A", "B"], left=True)) == "A\\lB\\l"


def test_a_tooltip_is_cut_to_what_is_read_of_it() -> None:
    assert sheet.TIP_LENGTH == 1000
    assert str(sheet.tip_text("a" * 1000)) == "a" * 1000
    assert str(sheet.tip_text("a" * 1001)) == "a" * 999 + "…"


@pytest.mark.parametrize(
    "url", ["sets/a-1.html", "a.html#b_c.d-1", "../A/b.html", "a", "azAZ09._/-#azAZ09._-"]
)
def test_a_relative_link_is_one_of_our_own(url: str) -> None:
    assert sheet.own_link(url) == url


@pytest.mark.parametrize(
    "url", ["", "/a", "//a", "a:b", "a?b", "a b", "a#", "a#b#c", "a#b/c", "#a", "a\n", "ä", "a#ä"]
)
def test_any_other_link_is_refused(url: str) -> None:
    with pytest.raises(ValueError, match="no relative link"):
        sheet.own_link(url)


SVG_HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink">'


def described(inner: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg.described(f"{SVG_HEAD}{inner}</svg>".encode()))


def test_a_drawing_is_told_to_who_cannot_see_it() -> None:
    root = described(
        '<g id="graph0" class="graph"><g id="a_graph0"><a xlink:title="all of it"><text>no</text></a></g>'
        '<g class="cluster"><title>c1</title><g><a xlink:title="its name"><text>name</text></a></g></g></g>'
    )
    assert root.get("role") == "img"
    assert [(e.tag, e.text) for e in list(root)[:2]] == [
        (f"{{{svg.SVG}}}title", "its name"),
        (f"{{{svg.SVG}}}desc", "all of it"),
    ]
    assert not [e for e in root.iter() if e.get("id")]
    assert root.find(f".//{{{svg.SVG}}}a") is None
    assert [t.text for t in root.iter(f"{{{svg.SVG}}}text")] == ["no", "name"]
    assert len(root.findall(f".//{{{svg.SVG}}}title")) == 1


def test_of_a_drawing_without_a_frame_the_first_line_is_the_title() -> None:
    root = described(
        '<g class="graph"><g><a xlink:title="all"/></g><text>first</text><text>second</text></g>'
    )
    assert [e.text for e in root][:2] == ["first", "all"]
    empty = described("")
    assert [(e.tag.rpartition("}")[2], e.text) for e in empty] == [("title", None), ("desc", None)]
    bare = described('<g class="graph"><text/></g>')
    assert not bare[0].text


def test_a_box_has_its_tip_as_title_in_the_place_of_its_id() -> None:
    root = described(
        '<g class="graph"><g class="node"><title>n1</title>'
        '<g id="a_n1"><a xlink:title="A &lt;1&gt;"><path d="M0"/>'
        '<text font-family="Arial">A&#160;1</text></a></g></g>'
        '<g class="node"><title>n2</title>'
        '<g><a xlink:href="a.html" xlink:title="B"><text>B</text></a></g></g>'
        '<g class="edge"><title>n1</title><g class="x"><a xlink:title="no"/></g><g><text>C</text></g></g></g>'
    )
    one, two, three = (list(g) for g in root.iter(f"{{{svg.SVG}}}g") if g.get("class") in ("node", "edge"))
    assert [(e.tag.rpartition("}")[2], e.text) for e in one] == [
        ("title", "A <1>"),
        ("path", None),
        ("text", "A 1"),
    ]
    assert [(e.tag.rpartition("}")[2], e.text) for e in two] == [("title", "B"), ("a", None)]
    assert [e.tag.rpartition("}")[2] for e in three] == ["g", "g"]
    link = two[1]
    assert link.attrib == {f"{{{svg.XLINK}}}href": "a.html"}
    assert root.get("role") == "group"
    fonts = [t.get("font-family") for t in root.iter(f"{{{svg.SVG}}}text")]
    assert fonts == ["Arial,sans-serif", "sans-serif", "sans-serif"]
    spaces = {t.get("{http://www.w3.org/XML/1998/namespace}space") for t in root.iter(f"{{{svg.SVG}}}text")}
    assert spaces == {"preserve"}


def test_a_drawing_is_written_as_xml_with_the_usual_names() -> None:
    made = svg.described(f'{SVG_HEAD}<a xlink:href="é.html"/></svg>'.encode())
    assert made.startswith(b'<?xml version="1.0" encoding="UTF-8"?>\n<svg xmlns="http://www.w3.org/2000/svg"')
    assert b"xlink:href" in made
    assert "é.html".encode() in made
    assert made.endswith(b"</svg>\n")
    with pytest.raises(CannotRun, match="drew an SVG that cannot be read: no element found"):
        svg.described(b"")


# --- Pages ---------------------------------------------------------------------------------------


@given(TEXTS)
def test_a_page_shows_text_as_text(text: str) -> None:
    templates = pages.Book.__new__(pages.Book)._templates
    made = templates.from_string("<p title='{{ x }}'>{{ x }}</p>").render(x=text)
    read = ElementTree.fromstring(made)
    assert (read.text or "", read.get("title")) == (visible(text), visible(text))


def test_a_page_leaves_numbers_and_markup_of_our_own_as_they_are() -> None:
    templates = pages.Book.__new__(pages.Book)._templates
    made = pictures.inline("<svg><text>&lt; é\n</text></svg>".encode(), frozenset(), "x")
    assert templates.from_string("{{ x }}{{ y }}").render(x=1, y=made) == f"1{made}"


def test_a_template_with_an_unknown_name_is_an_error_and_its_marks_leave_no_blank() -> None:
    templates = pages.Book.__new__(pages.Book)._templates
    with pytest.raises(jinja2.UndefinedError):
        templates.from_string("{{ x }}").render()
    assert (
        templates.from_string("{% if x %}\n  {% if x %}\na\n  {% endif %}\n{% endif %}\n").render(x=1)
        == "a\n"
    )
    assert templates.get_template("set.html")


DRAWN = """<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"
 width="{wide}" height="{high}">{inner}</svg>"""


def inlined(
    inner: str = "", wide: str = "", high: str = "", links: frozenset[str] = frozenset()
) -> ElementTree.Element:
    made = pictures.inline(DRAWN.format(inner=inner, wide=wide, high=high).encode(), links, 'a "name" <b>')
    assert made is not None
    return ElementTree.fromstring(made)


@pytest.mark.parametrize(
    ("wide", "high", "size"),
    [
        ("72pt", "36pt", ("96", "48")),
        ("25.4mm", "50.8mm", ("96", "192")),
        ("930px", "10px", ("930", "10")),
        ("1000px", "100px", ("930", "93")),
        ("2000px", "100px", ("1200", "60")),
        ("10", "10px", (None, None)),
        ("10px", "", (None, None)),
    ],
)
def test_a_drawing_is_fitted_to_the_page(wide: str, high: str, size: tuple[str, str]) -> None:
    made = inlined(wide=wide, high=high)
    assert (made.get("width"), made.get("height")) == size


def test_a_drawing_in_a_page_has_a_name_and_a_role() -> None:
    made = inlined()
    assert made.attrib == {"aria-label": 'a "name" <b>', "role": "img", "class": "whole"}
    made = inlined(links=frozenset({"a.html"}))
    assert (made.get("role"), made.get("class")) == ("group", "linked")


def test_every_element_and_attribute_of_our_drawings_is_let_through() -> None:
    names = [
        "g",
        "title",
        "desc",
        "text",
        "tspan",
        "path",
        "polygon",
        "polyline",
        "ellipse",
        "circle",
        "rect",
        "line",
    ]
    made = inlined("".join(f"<{n}>{n}</{n}>tail" for n in names))
    assert [(e.tag, e.text, e.tail) for e in made] == [(n, n, "tail") for n in names]
    drawn = [
        "viewBox",
        "role",
        "transform",
        "points",
        "d",
        "cx",
        "cy",
        "r",
        "rx",
        "ry",
        "x",
        "y",
        "x1",
        "y1",
        "x2",
        "y2",
        "width",
        "height",
        "fill",
        "stroke",
        "stroke-width",
        "stroke-dasharray",
        "stroke-linejoin",
        "text-anchor",
        "font-family",
        "font-size",
        "font-weight",
    ]
    said = " ".join(f'{name}="1"' for name in drawn)
    made = inlined(f"<rect {said}/>")
    assert set(made[0].attrib) == set(drawn)


@pytest.mark.parametrize(
    "inner",
    [
        "<script>x</script>", "<style>x</style>", "<image/>", "<foreignObject/>", "<use/>",
        "<animate/>", "<set/>", "<!-- x -->", "<?x y?>", "<iframe/>", "<metadata/>",
    ],
)  # fmt: skip
def test_no_other_element_of_a_drawing_is(inner: str) -> None:
    made = inlined(f"<g>a{inner}</g>")
    assert [e.tag for e in made.iter()] == ["svg", "g"]


@pytest.mark.parametrize(
    "name", ["onload", "style", "id", "class", "href", "xlink:href", "filter", "mask", "clip-path"]
)
def test_no_other_attribute_of_a_drawing_is(name: str) -> None:
    assert inlined(f'<rect {name}="a.html"/>', links=frozenset({"a.html"}))[0].attrib == {}


def test_a_link_in_a_drawing_leads_to_a_page_of_the_book_or_is_none() -> None:
    inner = '<a href="a.html">1</a><a xlink:href="a.html">2</a><a href="b.html">3</a><a>4</a>'
    inner += '<a href="javascript:x"/>'
    made = inlined(inner, links=frozenset({"a.html"}))
    assert [(e.tag, e.get("href")) for e in made] == [("a", "a.html")] * 2 + [("g", None)] * 3


def test_what_is_another_root_is_no_picture() -> None:
    assert pictures.inline(b"<g/>", frozenset(), "x") is None
    assert pictures.inline(b"<html/>", frozenset(), "x") is None
    assert pictures.inline(b"<svg", frozenset(), "x") is None


@given(st.text(st.sampled_from([*PLAIN, *"</script>"])).filter(lambda t: any(c.isalnum() for c in t)))
def test_the_script_of_the_index_gives_names_back_and_holds_no_markup(name: str) -> None:
    text = "".join(f"\\U{ord(c):08x}" for c in f"a{name}z")
    data = data_of(f'- position: "{text}"\n  also: ["{text}b", knob]\n')
    made = search.index_script(data, refs_of(data)).decode("ascii")
    assert "<" not in made
    match = re.fullmatch(r"bookIndex\((\[.*?\]),(\[\n.*\n\])\);\n", made, re.DOTALL)
    assert match
    kinds, rows = (json.loads(part) for part in match.groups())
    (ref,) = refs_of(data).values()
    assert kinds == ["set", "part", "assembly", "position", "unit"]
    assert rows == [[3, visible(f"a{name}z"), ref.href, visible(f"a{name}zb"), "knob"]]


def test_other_spellings_numbers_and_models_are_found_by_search() -> None:
    data = data_of(
        "- set: Arden 12\n  also: [A 12]\n- part: K-1\n  numbers: {Arden: 440}\n- assembly: TN7\n"
        "- unit: U-1\n  set: Arden 12\n- takes: K-1\n  in: Arden 12\n  position: knob\n"
    )
    made = search.index_script(data, refs_of(data)).decode()
    assert made.count("\n") == len(refs_of(data)) + 2
    rows = {
        row[1]: [row[0], *row[3:]]
        for row in json.loads(made.partition(",[\n")[2].removesuffix("\n]);\n").join("[]"))
    }
    assert rows == {"Arden 12": [0, "A 12", "12"], "K-1": [1, "440"], "TN7": [2], "knob": [3], "U-1": [4]}


def test_the_script_of_the_index_is_short() -> None:
    data = data_of('- set: "Arden 12"\n  also: ["A\\u200b<12"]\n')
    (ref,) = refs_of(data).values()
    assert search.INDEX == "index.js"
    kinds = '["set", "part", "assembly", "position", "unit"]'
    row = f'[0,"Arden 12","{ref.href}","A\\\\u200b\\u003c12","12"]'
    assert search.index_script(data, refs_of(data)).decode() == f"bookIndex({kinds},[\n{row}\n]);\n"


# --- File names ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "made"),
    [
        ("Larkfield LK-40", "larkfield-lk-40"),
        ("../../etc", "etc"),
        ("--A  z09--", "a-z09"),
        ("ＬＫ４０ é", "lk40-e"),
        ("漢字", ""),
        ("a" * 41, "a" * 40),
        ("a" * 39 + " b", "a" * 39),
    ],
)
def test_a_slug_is_of_our_own_letters(text: str, made: str) -> None:
    assert slug(text) == made


def test_a_page_is_named_by_kind_slug_and_hash() -> None:
    assert page_path("set", "lk40", "LK 40") == "sets/lk-40-2e93bd175a.html"
    assert page_path("unit", "\ud800", "漢字").startswith("units/unit-")
    folders = [page_path(kind, "k", "n").partition("/")[0] for kind in addresses.FOLDERS]
    named = ["sets", "assemblies", "parts", "positions", "units", "families", "arrivals", "lists"]
    assert folders == named
    paths = {page_path(kind, key, "n").partition("/")[2] for kind in ("set", "part") for key in ("a", "b")}
    assert len(paths) == 4


@pytest.mark.parametrize(
    "path", ["a.html", "sets/a-1.html", "book.css", "search.js", "book.json", f"{'a' * 12}/{'9' * 64}.css"]
)
def test_a_path_of_a_page(path: str) -> None:
    assert is_page_path(path)


@pytest.mark.parametrize(
    "path",
    [
        "", ".html", "/a.html", "../a.html", "a/b/c.html", "A.html", "a.HTML", "a_b.html", "a.txt",
        "a.html\n", "é.html", "1/a.html", f"{'a' * 13}/a.html", f"{'a' * 65}.html", "a.html/", "a/.html",
        "a/../b.html", "axhtml",
    ],
)  # fmt: skip
def test_no_path_of_a_page(path: str) -> None:
    assert not is_page_path(path)


def test_each_thing_has_a_page() -> None:
    data = data_of(
        "- set: B 2\n- set: A 1\n- assembly: T\n- part: K\n- position: p\n- unit: U\n"
        "  set: A 1\n- kind: knob\n"
    )
    refs = refs_of(data)
    assert [(ref.kind, ref.name) for ref in refs.values()] == [
        ("set", "A 1"),
        ("set", "B 2"),
        ("assembly", "T"),
        ("part", "K"),
        ("position", "p"),
        ("unit", "U"),
    ]
    assert all(ref.href == page_path(kind, key, ref.name) for (kind, key), ref in refs.items())


# --- Cells ---------------------------------------------------------------------------------------

FORMULAS = [
    "=1",
    "+1",
    "-1",
    "@a",
    "\t1",
    "\r1",
    "\uff1d1",
    "\uff0b1",
    "\uff0d1",
    "\uff201",
    " =1",
    "'=1",
    "'' +1",
]
ODD_CELLS = [
    "\x00",
    "\x08",
    "\x0b",
    "\x1f",
    "\x7f",
    "\x9f",
    "\u2028",
    "\u2029",
    "\ufeff",
    "\ufffe",
    "\uffff",
    "\r",
]


@pytest.mark.parametrize("text", FORMULAS)
def test_what_a_spreadsheet_takes_for_a_formula_is_guarded_in_csv(text: str) -> None:
    cell = cell_of("note", text, True)
    assert cell[0] in "'\""
    assert cell == f"'{text}" or text == "\r1"
    assert read_cell("note", cell, True) == text
    assert cell_of("note", text, False) in (text, f'"{text}"', '"\\x0d1"')
    assert read_cell("note", cell_of("note", text, False), False) == text


@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("K-1", "K-1"),
        ("it's", "it's"),
        ("a\nb", "a\nb"),
        ("", '""'),
        (" a", '" a"'),
        ("[a", '"[a"'),
        ("{", '"{"'),
        ('"a" \\', '"\\"a\\" \\\\"'),
        ('a"', 'a"'),
        ("a;b", "a;b"),
        ("a\x1b\n\u2028", '"a\\x1b\\x0a\\u2028"'),
        ("'a", "'a"),
    ],
)
def test_how_a_text_stands_in_a_cell(text: str, cell: str) -> None:
    assert cell_of("note", text, True) == cell_of("note", text, False) == cell


@pytest.mark.parametrize("char", ODD_CELLS)
@pytest.mark.parametrize("is_csv", [True, False])
def test_no_control_character_stands_in_a_cell(char: str, is_csv: bool) -> None:
    cell = cell_of("note", f"a{char}b", is_csv)
    assert cell == (f'"a\\x{ord(char):02x}b"' if ord(char) < 0x100 else f'"a\\u{ord(char):04x}b"')
    assert read_cell("note", cell, is_csv) == f"a{char}b"


def test_a_list_stands_in_a_cell_as_in_a_fact_file() -> None:
    for is_csv in (True, False):
        assert cell_of("also", ["LW", "a, b"], is_csv) == '[LW, "a, b"]'
        assert cell_of("state", {"speaker grille": "broken"}, is_csv) == "{speaker grille: broken}"
        assert read_cell("also", '[LW, "a, b"]', is_csv) == ["LW", "a, b"]
        assert read_cell("state", "{speaker grille: broken}", is_csv) == {"speaker grille": "broken"}
        assert cell_of("also", "a;b", is_csv) == '"a;b"'


@pytest.mark.parametrize(
    "key", ["also", "positions", "except", "wants", "must match", "rebadge", "same", "caution"]
)
def test_a_list_of_others_is_divided_by_semicolons(key: str) -> None:
    assert read_cell(key, "a; b;;c ", False) == ["a", "b", "c"]
    assert read_cell("note", "a; b", False) == "a; b"
    assert read_cell(key, "a", False) == "a"


def test_a_list_of_others_is_divided_by_what_the_mapping_says() -> None:
    assert read_cell("note", "a|b", False, "|") == ["a", "b"]
    assert read_cell("also", "a;b|c", False, "|") == ["a;b", "c"]


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("", None),
        ("  ", None),
        (" a ", "a"),
        ('""', ""),
        ('" a"', " a"),
        ('"a" b', '"a" b'),
        ('"a', '"a'),
        ('"a: b"', "a: b"),
        ('"a" # b', '"a" # b'),
        ('"a", b: c', '"a", b: c'),
        ('"a"\n  b: "c"', '"a"\n  b: "c"'),
        ("[a,\nb]", ["a", "b"]),
        ("'=a", "=a"),
        ("''=a", "'=a"),
        ("'a", "'a"),
        ("=a", "=a"),
    ],
)
def test_what_a_cell_says(cell: str, value: object) -> None:
    assert read_cell("note", cell, True) == value


def test_an_apostrophe_guards_nothing_in_a_workbook() -> None:
    assert read_cell("note", "'=a", False) == "'=a"


@pytest.mark.parametrize(
    "cell",
    [
        "[a",
        "{a",
        "{a: b",
        "[a] b",
        "[*a]",
        "{a: b}\n  c: d",
        "[a]\n- k: [b]",
        "[a], b: c",
        "[a] # b",
        "{a: b, a: c}",
    ],
)
def test_what_begins_as_a_list_and_is_none_is_told_of(cell: str) -> None:
    with pytest.raises(NotAValue):
        read_cell("note", cell, True)


def test_the_head_of_a_column_names_a_key() -> None:
    assert header_key(" note ", True) == "note"
    assert header_key('"a: b"', True) == "a: b"
    assert header_key("'=a", True) == "=a"
    assert header_key("[order]", True) == "[order]"
    assert header_key("{x", True) == "{x"
    assert header_key(" ", True) == ""


@given(st.lists(TEXTS, min_size=1))
def test_a_line_of_csv_gives_its_cells_back(cells: list[str]) -> None:
    text = ",".join(map(tables._field, cells))
    assert next(csv.reader(io.StringIO(text + "\r\n", newline=""))) == cells or cells == [""]
    for divider in ",;\t\n\r":
        assert tables._field(f"a{divider}b") == f'"a{divider}b"'
    assert tables._field('a"b') == '"a""b"'
    assert tables._field("a b") == "a b"


def workbook(text: str) -> KindTable:
    """A table of one set whose note is a text."""
    written = "".join(f"\\U{ord(c):08x}" for c in text)
    data = data_of(f'- set: Arden 12\n- set: Brunelle 7\n  note: "{written}"\n')
    return KindTable("set", ("set", "note"), [(n, e) for n, e in enumerate(data.entries, 1)])


@pytest.mark.parametrize(
    ("text", "stored"),
    [
        ("=1+1", "=1+1"),
        ("012", "012"),
        ("_x0041_", "_x005F_x0041_"),
        ("_x00g1_", "_x00g1_"),
        ("__x00aF_", "__x005F_x00aF_"),
        ("a\nb", "a\nb"),
    ],
)
def test_a_cell_of_a_workbook_is_a_text(text: str, stored: str) -> None:
    book = openpyxl.Workbook(write_only=True)
    xlsx._write(book.create_sheet("set"), tables.rows(workbook(text), False, xlsx.MOST_CELL))
    packed = io.BytesIO()
    book.save(packed)
    made = openpyxl.load_workbook(io.BytesIO(packed.getvalue())).active
    head, empty, row = made.iter_rows()
    assert [c.value for c in head] == ["set", "note", "[order]"]
    assert [c.value for c in empty] == ["Arden 12", None, "1"]
    assert [c.value for c in row] == ["Brunelle 7", stored, "2"]
    assert {(c.data_type, c.number_format) for c in (*head, *row)} == {("s", "@")}
    assert [c.font.bold for c in head] == [True] * 3
    assert not any(c.font.bold for c in row)
    assert made.freeze_panes == "B2"
    assert xlsx._text(stored) == text


def test_what_xml_cannot_hold_has_a_number_in_a_workbook() -> None:
    for char in [*map(chr, range(9)), *map(chr, range(0x0B, 0x20)), "\ufffe", "\uffff"]:
        stored = xlsx._ESCAPED.sub(lambda m: f"_x{ord(m[0]):04X}_", f"a{char}b")
        assert stored == f"a_x{ord(char):04X}_b"
        assert xlsx._text(stored) == f"a{char}b"
    for char in "\t\n _é\ufffd":
        assert not xlsx._ESCAPED.search(f"a{char}b")


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (True, "yes"),
        (False, "no"),
        (12, "12"),
        (12.0, "12"),
        (-3.0, "-3"),
        (1.25, "1.25"),
        (999999999999999.0, "999999999999999"),
        (1e15, "1000000000000000.0"),
        (-1e15, "-1000000000000000.0"),
        (datetime(1981, 3, 4), "1981-03-04"),
        (datetime(1981, 3, 4, 5, 6), "1981-03-04 05:06:00"),
        (date(1981, 3, 4), "1981-03-04"),
        (time(5, 6), "05:06:00"),
        (timedelta(hours=26), "1 day, 2:00:00"),
        ("_x0041_ _x00e9_ _x00E9_ _x41_", "A é é _x41_"),
    ],
)
def test_what_a_cell_of_a_workbook_says(value: object, text: str) -> None:
    assert xlsx._text(value) == text


# --- RDF -----------------------------------------------------------------------------------------

UNQUOTED = re.compile(r'\\(?:u([0-9A-F]{4})|U([0-9A-F]{8})|([\\\\"nrt]))')


def unquoted(literal: str) -> str:
    """The text of an N-Triples literal, by the grammar of the recommendation."""
    inner = literal[1:-1]
    assert re.fullmatch(r'(?:[^"\\\\\n\r]|\\u[0-9A-F]{4}|\\U[0-9A-F]{8}|\\[tbnrf"\'\\\\])*', inner)
    named = {"n": "\n", "r": "\r", "t": "\t", "\\": "\\", '"': '"'}
    return UNQUOTED.sub(lambda m: named[m[3]] if m[3] else chr(int(m[1] or m[2], 16)), inner)


@given(TEXTS)
def test_a_literal_gives_its_text_back(text: str) -> None:
    literal = terms.literal(text)
    assert literal[0] == literal[-1] == '"'
    assert unquoted(literal) == re.sub("[\ud800-\udfff]", "\ufffd", text)


@pytest.mark.parametrize(
    ("text", "literal"),
    [
        ("a b", '"a b"'),
        ('a"', '"a\\""'),
        ("a\\", '"a\\\\"'),
        ("a\n\r\t", '"a\\n\\r\\t"'),
        ("é", '"é"'),
        ('é"\\', '"é\\"\\\\"'),
        ("\ud800\udbff\udc00\udfff", '"\ufffd\ufffd\ufffd\ufffd"'),
        ("\ud7ff\ue000", '"\ud7ff\ue000"'),
    ],
)
def test_how_a_literal_is_written(text: str, literal: str) -> None:
    assert terms.literal(text) == literal
    assert terms.literal(text, "urn:x") == literal + "^^<urn:x>"


def test_a_literal_has_no_character_that_a_terminal_obeys() -> None:
    for char in {*ODD} - set("\n\r\t"):
        code = ord(char)
        assert terms.literal(char) == (f'"\\u{code:04X}"' if code < 0x10000 else f'"\\U{code:08X}"')
    assert terms.escape("\uffff") == "\\uFFFF"
    assert terms.escape("\U00010000") == "\\U00010000"


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"])), min_size=1, max_size=3))
def test_an_iri_is_ascii_and_gives_its_keys_back(keys: list[str]) -> None:
    made = terms.iri("fact", *keys)
    assert re.fullmatch(r"urn:kgraph:fact(?::[A-Za-z0-9._~%-]*)+", made)
    assert [unquote(key) for key in made.split(":")[3:]] == keys


def test_the_names_of_vocabularies_are_those_that_are_published() -> None:
    assert terms.TERM == "urn:kgraph:term:"
    assert terms.RDF + "type" == "http://www.w3.org/1999/02/22-rdf-syntax-ns#type"
    assert terms.RDFS + "label" == "http://www.w3.org/2000/01/rdf-schema#label"
    assert terms.SKOS + "exactMatch" == "http://www.w3.org/2004/02/skos/core#exactMatch"
    assert terms.PROV + "Agent" == "http://www.w3.org/ns/prov#Agent"
    assert terms.SCHEMA + "name" == "https://schema.org/name"
    assert terms.XSD + "integer" == "http://www.w3.org/2001/XMLSchema#integer"


# --- GraphML -------------------------------------------------------------------------------------


def test_what_xml_cannot_hold_is_an_escape_in_graphml() -> None:
    for char in [*map(chr, range(9)), "\x0b", "\x0c", *map(chr, range(0x0E, 0x20)), "\ufffe", "\uffff"]:
        assert xml_text(f"a\\{char}") == f"a\\\\{by_number(char)}"
    for text in ("a\\b\t\n\r", "\x7f\x80\xff\ufffd"):
        assert xml_text(text) == text
