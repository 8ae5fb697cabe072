"""The quick reader reads what the reader of all YAML reads, places and all, or leaves it alone."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from kgraph.folder import plain, reading
from tests.bench import folders
from tests.support import DEMO, ROOT

HOSTILE = ROOT / "tests" / "hostile"
FILES = sorted([*DEMO.rglob("*.yaml"), *HOSTILE.glob("*.yaml")])

KEYS = (
    "set",
    "takes",
    "in",
    "note",
    "inside length",
    "Set",
    "a1",
    "a" * 62,
    "two  words",
    "se:t",
    "",
    "note ",
)
PIECES = (
    *("LK-40", "012", "no", "~", "240 V 50 Hz", "a, b", "x:y", "x: y", "x:", ":x", "K #114", "K#114"),
    *("#", "-3", "- 3", "?a", "a?", "a ?b", "? a", "[", "]", "{", "}", "[a, b]", "[a,b]", "[a, b,]"),
    *("[a, b, ]", "[,]", "[]", "[a b , c]", '["a", \'b\']', '["a]", b]', '["a, b"]', "[a: b]"),
    *("[a, b: c]", "{a: b}", "{a: b, c: d}", "{a: b, A: c}", "{a : b}", "{a:b}", "{a: }", "{a, b: c}"),
    *("{a: [b]}", "[a,\n    b]", "[a\n    b]", "[a,\n  b]", "{a: b,\n    c: d}", '["a,\n   b"]', '"q"'),
    *("'q'", "'it''s'", '"\\t"', '"a" b', '"a', "'a", "|", ">-", "| x", "&a", "*a", "!t", "a & b", "%"),
    *("@x", "`x", "\xe9", "\xa0x", "x\x85y", "\ufeff", "\t", "x\ty", "x \t", "\x00", "\x7f", "\u2028"),
    *("a" * 300, "<<", "---", "...", "<<<<<<< x", "(1)", "a)", "x\r", "/", ".", "[~, /]", "[a?, b]"),
    *("[a #b, c]", "[a, #b\n   c]", "[(, +]", "[a,\n\n   b]", "[a,   b]", "[a, b]  ", "{a: 'b'}"),
)  # fmt: skip
LINES = (
    "",
    "# c",
    "  # c #d",
    " # x",
    "#",
    "x",
    "- ",
    "-",
    "  ",
    "- - a: b",
    "---",
    "...",
    "%TAG",
    "    more",
    "   b: c",
)


def agrees(data: bytes) -> bool:
    """Whether the plain shape was met; fails where the two readers differ."""
    quick = plain.entries(data)
    if quick is None:
        return False
    slow = reading.by_yaml(data, "f.yaml")
    assert slow.problems == ()
    assert slow.entries == quick
    return True


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_files_at_hand(path: Path) -> None:
    data = path.read_bytes()
    if not data.startswith((b"\xff\xfe", b"\xfe\xff")):
        agrees(data)


def test_the_usual_files_are_plain() -> None:
    """Else the quick reader would agree by never reading anything."""
    assert sum(agrees(p.read_bytes()) for p in DEMO.rglob("*.yaml")) >= 15
    texts = [text for _, text in folders.entries(900, 3)]
    assert len(texts) == 3
    assert all(agrees(text.encode()) for text in texts)


QUICK = (
    *("- a: b\n# x- : c\n", f"- a: {{{'k' * 200}: b}}\n"),
    *("", "\n", "# c\n", "  # c - d\n", "- a: b", "- a: b\n\n# c\n  c: d\n", "- a:   b  \n", "- a: b c\n"),
    *("- a: x:y\n", "- a: b:c:d e\n", "- a: a-b_c,d;e'f\"g?h\n", "- a: a[b]{c}!d&e*f|g>h%i@j`k\n"),
    *(f"- a: {c}x\n" for c in "AZaz09(+./~\u00a1\u024f"),
    *("- a: 'q'\n", '- a: "q"  \n', "- a: ''\n", '- a: ""\n', "- a: '\\#\"'\n", '- a: "\'#: "\n'),
    *(
        "- a: [b]\n",
        "- a: [b, c]  \n",
        "- a: [ b ,  c ]\n",
        "- a: [b,c]\n",
        "- a: ['b', \"c\" , d]\n",
        "- a: [b,]\n",
    ),
    *("- a: [b,\n    c]\n", "- a: [b,\n   c,\n     d]\n  e: f\n", "- a: {b: c}\n", "- a: {b: c, d: 'e'}\n"),
    *("- a: {b: c,\n    d: e}\n  f: g\n", '- a: {b: "c" }\n', "- a b: c\n", f"- {'a' * 61}: b\n"),
    *("- a: b\n- a: c\n", "- a: b\n  c: d\n- a: b\n  c: e\n"),
    "- k: v\n" + "".join(f"  {a}{b}: v\n" for a in "abcdefghi" for b in "abcdefg"),
)
LEFT = (
    *(
        '- a: "b" "c"\n',
        '- a: "b"c"\n',
        "- a: 'b' 'c'\n",
        "- a: [b:c]\n",
        "- a: {b:c}\n",
        "- a: {b]\n",
        "- a: {b, c]\n",
    ),
    *("- a: [b, c}\n", f"- a: {{{'k' * 201}: b}}\n", "- a: ['b' 'c']\n", "- a: [b,\n    c] d]\n"),
    *(
        "a: b\n",
        "  a: b\n",
        "- a: b\r\n",
        "- a: b\t\n",
        "- a: \x7f\n",
        "- a: \u0250\n",
        "- a: \u00a0b\n",
        "- a: b\n c: d\n",
    ),
    *(
        "- A: b\n",
        "- a1: b\n",
        f"- {'a' * 62}: b\n",
        "- a : b\n",
        "- a:\n",
        "- a:b\n",
        "- a: -b\n",
        "- a: b: c\n",
        "- a: b:\n",
    ),
    *(
        "- a: b #c\n",
        "- a: b#c\n",
        "- a: 'b' c\n",
        "- a: 'b''c'\n",
        '- a: "\\t"\n',
        "- a: 'b\n  c'\n",
        "- a: [b\n",
    ),
    *(
        "- a: [b\n    c]\n",
        "- a: [b,\n  c]\n",
        "- a: [b: c]\n",
        "- a: {b}\n",
        "- a: {b, c: d}\n",
        "- a: [b}\n",
        "- a: {b: c]\n",
    ),
    *(
        "- a: [[b]]\n",
        "- a: []\n",
        "- a: [b?]\n",
        "- a: [b #c]\n",
        "- a: [b, 'c' d]\n",
        "- a: [, b]\n",
        "- a: {b: c, B: d}\n",
    ),
    *(
        "- a: b\n  a: c\n",
        "- a: b\n  c: d\n  c: e\n- a: b\n",
        "- a: b\n  x y: c\n  xy: d\n",
        "- a: b\n# x- set: c\n",
        "- a: b\n# x- set: c",
    ),
    *(
        "- a: b\n# c",
        "x\n- a: b\n",
        "- a: b\nx\n",
        "- a: b\n  c\n",
        "- a: [b,\n\n    c]\n",
        "- a: [b,\n# x\n    c]\n",
        "- a: b\n  \n",
    ),
    "- k: v\n" + "".join(f"  {a}{b}: v\n" for a in "abcdefgh" for b in "abcdefgh"),
)


@pytest.mark.parametrize("text", dict.fromkeys(QUICK))
def test_what_is_in_the_usual_shape_is_read_quickly(text: str) -> None:
    assert agrees(text.encode())


@pytest.mark.parametrize("text", LEFT)
def test_what_is_not_is_left_to_the_other_reader(text: str) -> None:
    assert plain.entries(text.encode()) is None
    assert plain.entries(b"- zz: y\n" + text.encode()) is None or text == "  a: b\n"


def test_sets_of_keys_are_remembered_up_to_a_bound(monkeypatch: pytest.MonkeyPatch) -> None:
    known = {(str(number),) for number in range(4095)}
    monkeypatch.setattr(plain, "_good_keys", known)
    assert agrees(b"- a: b\n- c: d\n- e: f\n  g: h\n")
    assert len(known) == 4096
    assert ("a",) in known


def test_bytes_that_are_no_utf_8_are_left_to_the_other_reader() -> None:
    assert plain.entries(b"- a: \xe9\n") is None
    assert plain.entries("- a: é\n".encode()) is not None


@st.composite
def texts(draw: st.DrawFn) -> str:
    out = []
    for _ in range(draw(st.integers(1, 6))):
        if draw(st.integers(0, 5)) == 0:
            out.append(draw(st.sampled_from(LINES)))
        start = draw(st.sampled_from(("- ", "  ", "  ", "  ", "-  ", " ", "   ")) if out else st.just("- "))
        colon = draw(st.sampled_from((": ", ": ", ": ", ":  ", ":", " : ")))
        out.append(f"{start}{draw(st.sampled_from(KEYS))}{colon}{draw(st.sampled_from(PIECES))}")
    return "\n".join(out) + draw(st.sampled_from(("\n", "", "\n\n", " ", "\r\n")))


@settings(max_examples=1500, deadline=None)
@given(texts())
@example("- set: [a,\n    b]\n  note: c\n")
@example("- set: {a: b,\n    c: 'd'}\n  note: \"e: #f\"")
@example("- set: a\n  Set : b\n")
def test_made_up_texts(text: str) -> None:
    agrees(text.encode("utf-8", "surrogatepass"))


@settings(max_examples=1500, deadline=None)
@given(texts(), texts())
@example("- set: [a,\n    b]\n", "- set: c\n")
@example("- set: [a,\n", "    b]\n- set: c\n")
def test_what_is_added_changes_nothing_before_it(old: str, added: str) -> None:
    """Of a plain text the lines before an entry read by themselves as they read in it."""
    data = old.encode("utf-8", "surrogatepass")
    both = plain.entries(data + added.encode("utf-8", "surrogatepass"))
    if both is None or not data.endswith(b"\n"):
        return
    line = data.count(b"\n") + 1
    if any(entry.line == line for entry in both):
        assert plain.entries(data) == tuple(entry for entry in both if entry.line < line)


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_bytes_changed_anywhere(path: Path) -> None:
    """Each change at a place of its own: a byte turned, put in, taken out; a line moved."""
    whole = path.read_bytes()[:6000]
    whole = whole[: whole.rfind(b"\n") + 1] or b"- set: A 1\n"
    chance = random.Random(path.name)
    for _ in range(60):
        data = changed(whole, chance)
        if not data.startswith((b"\xff\xfe", b"\xfe\xff")):
            agrees(data)


SIGNS = b" \n:-#,[]{}\"'?&*!|>%@`\\~\t\rab0\x00\xc3"


def changed(whole: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(whole))
    sign = bytes([chance.choice(SIGNS)])
    kind = chance.randrange(4)
    if kind == 0:
        return whole[:at] + sign + whole[at + 1 :]
    if kind == 1:
        return whole[:at] + sign + whole[at:]
    if kind == 2:
        return whole[:at] + whole[at + chance.randint(1, 3) :]
    lines = whole.splitlines(keepends=True)
    lines.insert(chance.randrange(len(lines)), lines.pop(chance.randrange(len(lines))))
    return b"".join(lines)


@pytest.mark.parametrize(
    "data",
    [
        b"- a: b\x7f\n",
        b'- a: "b\n  c"\n',
        b"- a: b:c: d\n",
        b"- a: b:c #d\n",
        b"- a: [b\n    c]\n",
        b"- a: [b,\n    c\n    d]\n",
        b"- a: [b: c}\n",
        b"- a: {b: c]\n",
        b"- a: [b[c]\n",
        b"- a: [b]c]\n",
        b"- a: [b{c]\n",
        b"- a: [b}c]\n",
        b"- a: [b,\n    c[d]\n",
        b"- a: [b,\n    c]d]\n",
        b"- a: [b,\n    c{d]\n",
        b"- a: [b,\n    c}d]\n",
        b"- a: b\n  a: c\n- d: e\n",
        b"- set: A\n#x- set: B\n",
        b"- a: b\t\n",
    ],
)
def test_what_is_left_to_the_parser_of_all_yaml(data: bytes) -> None:
    assert plain.entries(data) is None
