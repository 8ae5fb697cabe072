"""Reading fact files: the hostile set, places, refusals, and going on after a fault."""

from __future__ import annotations

import csv
import gc
import os
import socket
from pathlib import Path

import pytest
import yaml
from hypothesis import example, given, settings
from hypothesis import strategies as st

from kgraph.folder import disk, nodes, parsing, reading
from kgraph.folder import faults as told
from kgraph.folder import text as texts
from kgraph.folder.disk import fact_files
from kgraph.folder.nodes import Map, Node, Seq, Text
from kgraph.folder.reading import read_bytes, read_folder
from kgraph.problems import CannotRun, shown
from tests.support import ROOT

HOSTILE = ROOT / "tests" / "hostile"
INDEX = [
    row
    for row in csv.DictReader((HOSTILE / "index.tsv").open(encoding="utf-8"), delimiter="\t")
    if row["file"].endswith(".yaml")
]
# Faults of meaning: the reader gives these files' entries, and the schema refuses them.
SCHEMA = {
    "y11-int-5000-digits.yaml",
    "y19-quoted-escape.yaml",
    "y27-long-name.yaml",
    "y41-unknown-kind.yaml",
    "y47-not-a-number.yaml",
    "y48-lengths.yaml",
    "n03-fold-to-nothing.yaml",
    "n05-bidi.yaml",
}
# The reader finds the items that are not mappings, the schema the wrong shapes before them.
PARTLY = {"y50-wrong-shapes.yaml": 8}
# More faults than the index's first: every line with an error, from reading the files by eye.
ALL_LINES = {
    "y01-alias-bomb.yaml": set(range(4, 13)),
    "y02-anchor-once.yaml": {3, 5},
    "y05-other-tags.yaml": {3, 4, 5, 6},
    "y43-merge-conflict.yaml": {3, 5, 7},
    "y46-indicator-starts.yaml": set(range(1, 13)),
    "y50-wrong-shapes.yaml": {8, 9, 10, 11},
}
CODES = {
    "y12-tab-indent.yaml": "tab",
    "y18-raw-escape.yaml": "control-character",
    "y21-latin1.yaml": "not-utf-8",
    "y22-utf16.yaml": "utf-16",
    "y24-deep-flow.yaml": "nesting",
    "y25-deep-block.yaml": "nesting",
    "y26-deep-mapping.yaml": "nesting",
    "y28-long-key.yaml": "long-key",
    "y29-many-keys.yaml": "many-keys",
    "y30-two-documents.yaml": "documents",
    "y37-top-mapping.yaml": "not-a-list",
    "y42-half-saved.yaml": "open-quote",
    "y43-merge-conflict.yaml": "merge-conflict",
    "y44-colon-in-value.yaml": "colon",
}


def read(text: str) -> reading.ReadFile:
    return read_bytes(text.encode(), "f.yaml")


def values(node: Node) -> object:
    if isinstance(node, Text):
        return node.value
    if isinstance(node, Seq):
        return [values(item) for item in node.items]
    return {key.value: values(value) for key, value in node.pairs}


def faults(text: str) -> list[tuple[int, int, str]]:
    return [
        (p.where.line, p.where.column, p.code)
        for p in read(text).problems
        if p.where and p.severity == "error"
    ]


@pytest.mark.parametrize("row", INDEX, ids=lambda row: row["file"])
def test_hostile_file(row: dict[str, str]) -> None:
    name = row["file"]
    found = read_bytes((HOSTILE / name).read_bytes(), name)
    lines = [p.where.line for p in found.problems if p.where and p.severity == "error"]
    for problem in found.problems:
        assert str(problem).isprintable()
        assert len(str(problem)) < 400
    if row["class"] != "error" or name in SCHEMA:
        assert not lines
        assert found.entries or name in {"y39-empty.yaml", "y40-comment-only.yaml"}
        return
    assert lines[0] == PARTLY.get(name, int(row["line"]))
    assert set(lines) == ALL_LINES.get(name, {lines[0]})
    if name in CODES:
        assert {p.code for p in found.problems} == {CODES[name]}


def test_the_index_names_every_file() -> None:
    assert {row["file"] for row in INDEX} == {p.name for p in HOSTILE.glob("*.yaml")}


def test_scalars_come_back_letter_for_letter() -> None:
    data = (HOSTILE / "y08-scalars-stay-text.yaml").read_bytes()
    written = [line.split(": ", 1)[1].strip() for line in data.decode().splitlines() if "part:" in line]
    entries = read_bytes(data, "f").entries
    got = [e.pairs[0][1].value for e in entries if isinstance(e.pairs[0][1], Text)]
    assert got == [w.strip("'\"") for w in written]
    assert {"012", "no", "NO", "1.0", "1.10", "null", "2024-01-01"} <= set(got)


def test_places_and_plainness() -> None:
    (entry,) = read("- set: A\n  also: [b, 'c']\n  state: {x: \"y\"}\n").entries
    assert (entry.line, entry.column) == (1, 3)
    also = entry.get("also")
    assert isinstance(also, Seq)
    assert also == Seq((Text("b", 2, 10, True), Text("c", 2, 13, False)), 2, 9)
    assert entry.get("state") == Map(((Text("x", 3, 11, True), Text("y", 3, 14, False)),), 3, 10)
    assert entry.get("absent") is None


def test_an_empty_value_is_text() -> None:
    (entry,) = read("- rebadge: [A, B]\n  certainty:\n  note: ~\n").entries
    assert [values(v) for _, v in entry.pairs] == [["A", "B"], "", "~"]


@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_lines_and_columns_by_line_end(newline: str, mark: str) -> None:
    text = mark + "- set: A é\n  b: [1,\n      2]\n".replace("\n", newline)
    (entry,) = read(text).entries
    seq = entry.get("b")
    assert isinstance(seq, Seq)
    assert (seq.items[1].line, seq.items[1].column) == (3, 7)


@pytest.mark.parametrize("other", ["\x85", "\u2028", "\u2029"])
def test_other_line_ends_do_not_count(other: str) -> None:
    found = read(f'- set: "a{other}b"\n- set: C\n- part: *x\n')
    assert [e.line for e in found.entries] == [1, 2]
    assert [(p.where.line, p.where.column) for p in found.problems if p.where] == [(3, 9)]


CASES = {
    "- set: A\n- set: B: c\n- set: D\n- set: @E\n": [(2, 9, "colon"), (4, 8, "indicator")],
    '- set: "A\n- set: B\n- set: "C\n': [(1, 8, "open-quote"), (3, 8, "open-quote")],
    # The parser would join these two into one text, and one entry would be gone without a word.
    '- set: "A\n- set: B"\n- set: C\n': [(1, 8, "open-quote")],
    "- set: A\nmarket: UK\n- set: B\n": [(2, 1, "indentation")],
    "- set: A\n    market: UK\n": [(2, 11, "indentation")],
    "- set: A\n  market\n  on: b\n": [(2, 3, "no-colon")],
    "- set: [A, B\n- set: C\n": [(1, 8, "open-bracket")],
    "- set: [K #114, B]\n- set: C\n": [(1, 8, "open-bracket")],
    "- set: 'it's'\n": [(1, 12, "after-value")],
    '- set: "a\\q"\n': [(1, 10, "escape")],
    "- ? [a]\n  : b\n": [(1, 5, "key")],
    "- <<: {a: b}\n": [(1, 3, "merge-key")],
    '- "<<": a\n- <<: a\n': [(2, 3, "merge-key")],
    "- a: 1\n  b: 2\n  A: 3\n": [(3, 3, "duplicate-key")],
    "- '-': 1\n  '+': 2\n  '-': 3\n": [(3, 3, "duplicate-key")],
    "%TAG ! x:\n---\n- a: b\n": [(1, 1, "tag")],
    "%YAML 1.1\n---\n- a: b\n": [],
    "- a: b\n...\n- c: d\n": [(3, 1, "documents")],
    "- a: b\n-\n- []\n": [(2, 2, "not-an-entry"), (3, 3, "not-an-entry")],
    "---\n": [],
    "--- text\n": [(1, 5, "not-a-list")],
}


@pytest.mark.parametrize("text", CASES)
def test_faults_stand_where_they_can_be_mended(text: str) -> None:
    assert faults(text) == CASES[text]


with (HOSTILE / "messages.tsv").open(encoding="utf-8", newline="") as _messages:
    MESSAGES = list(csv.DictReader(_messages, delimiter="\t", quoting=csv.QUOTE_NONE))


@pytest.mark.parametrize("written", dict.fromkeys(row["text"] for row in MESSAGES))
def test_what_is_said_of_a_fault(written: str) -> None:
    """The list was read through by eye: the place, what is wrong, what mends it, and what is read."""
    rows = [row for row in MESSAGES if row["text"] == written]
    text = written.encode("latin-1").decode("unicode_escape")
    for found in (reading.by_yaml(text.encode(), "f"), read_bytes(text.encode(), "f")):
        said = [(p.severity, p.code, str(p).removeprefix("f:")) for p in found.problems]
        assert said == [(row["severity"], row["code"], row["message"]) for row in rows if row["code"]]
        firsts = [getattr(entry.pairs[0][1], "value", "...") for entry in found.entries]
        assert ", ".join(firsts) == rows[0]["read"].encode("latin-1").decode("unicode_escape")


def test_the_other_entries_are_read() -> None:
    found = read("- set: A\n- set: @B\n- set: C\n- &x\n  set: D\n- set: E\n- set: 'F\n- set: G\n")
    assert [values(e) for e in found.entries] == [{"set": n} for n in "ACEG"]


def test_both_sides_of_a_merge_are_not_read_as_one_entry() -> None:
    text = "- set: A\n<<<<<<< ours\n  market: UK\n=======\n  market: DE\n>>>>>>> theirs\n- set: B: c\n"
    assert [code for *_, code in faults(text)] == ["merge-conflict"] * 3 + ["colon"]


def test_duplicate_key_names_both_lines() -> None:
    (problem,) = read("- a: 1\n  b: 2\n  a: 3\n").problems
    assert str(problem).startswith("f.yaml:3:3: key 'a' is already in line 1")


@pytest.mark.parametrize(
    ("text", "column"),
    [
        ("- part: K #114\n", 11),
        ("- part: #114\n", 9),
        ("- part: K # 114\n", 0),
        ("- part: 'K' #114\n", 0),
        ("- part: 'K #114'\n", 0),
        ("- part: K#114\n", 0),
        ("- part: K\n  #114\n", 0),
        ("#a #b\n- part: K\n", 0),
    ],
)
def test_a_cut_value_is_warned_of(text: str, column: int) -> None:
    found = [(p.code, p.severity, p.where.column) for p in read(text).problems if p.where]
    assert found == ([("hash-cuts", "warning", column)] if column else [])


def test_bounds() -> None:
    deep = 18
    assert not faults("- a: " + "[" * deep + "]" * deep + "\n")
    assert [code for *_, code in faults("- a: " + "[" * (deep + 1) + "]" * (deep + 1) + "\n")] == ["nesting"]
    keys = "".join(f"  k{i}: v\n" for i in range(63))
    assert not faults("- k: v\n" + keys)
    assert [code for *_, code in faults("- k: v\n" + keys + "  l: v\n")] == ["many-keys"]
    assert not faults(f"- {'k' * 200}: v\n")
    assert [code for *_, code in faults(f"- {'k' * 201}: v\n")] == ["long-key"]


def test_size_bound(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "MOST_BYTES", 20)
    assert not read("- set: A\n").problems
    assert [p.code for p in read("- set: A\n" * 3).problems] == ["size"]


def test_the_collector_is_left_as_it_was() -> None:
    read("- set: A\n")
    assert gc.isenabled()
    gc.disable()
    try:
        read("- set: A\n")
        assert not gc.isenabled()
    finally:
        gc.enable()
    assert gc.get_freeze_count() == 0


def test_many_faults_end() -> None:
    found = read("- a: @b\n" * 5000)
    assert len(found.problems) == parsing.MOST_FAULTS + 1
    found = read("- a: *b\n" * 5000)
    assert len(found.problems) == texts.MOST_PROBLEMS + 1


PIECES = st.sampled_from(
    [
        *"ab\n'\"[]{},#&*!|>%@\t\r\u2028\ufeff\0\\é=~",
        "- ",
        ": ",
        "  ",
        "? ",
        "<<",
        "---\n",
        "...\n",
        "\n- a: ",
    ]
)


@settings(max_examples=400, deadline=None)
@given(st.lists(PIECES, max_size=30).map("".join))
@example("\ufeff\ufeff[---\na")
@example("\ufeff\ufeff\ufeff#: '")
def test_no_input_raises_and_no_fault_is_silent(text: str) -> None:
    found = read(text)
    lines = text.count("\n") + text.count("\r") + 1
    for problem in found.problems:
        assert problem.where
        assert 1 <= problem.where.line <= lines
        assert str(problem).isprintable()
    try:
        # The mark of byte order is no part of the text, and is taken off before libyaml reads it.
        for _ in yaml.parse(text.removeprefix("\ufeff"), Loader=yaml.CBaseLoader):
            pass
    except yaml.YAMLError:
        assert any(p.severity == "error" for p in found.problems)


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=60))
def test_no_bytes_raise(data: bytes) -> None:
    read_bytes(b"- a: " + data, "f")
    read_bytes(data, "f")


def test_fact_files_are_those_inside(tmp_path: Path) -> None:
    folder = tmp_path / "facts"
    (folder / "sub").mkdir(parents=True)
    (folder / ".hidden").mkdir()
    (tmp_path / "outside.yaml").write_text("- set: X\n")
    for name in ("b.yaml", "sub/a.yaml", ".hidden/h.yaml", ".dot.yaml", "note.txt"):
        (folder / name).write_text("- set: A\n")
    (folder / "d.yaml").mkdir()
    (folder / "out.yaml").symlink_to(tmp_path / "outside.yaml")
    (folder / "loop.yaml").symlink_to(folder / "loop.yaml")
    (folder / "again.yaml").symlink_to(folder / "b.yaml")
    (folder / "up").symlink_to(tmp_path)
    (folder / "note.yaml").symlink_to(folder / "note.txt")
    os.mkfifo(folder / "fifo.yaml")
    with socket.socket(socket.AF_UNIX) as sock:
        sock.bind(str(folder / "s.yaml"))
    names = [str(p.relative_to(folder)) for p in fact_files(folder)]
    assert names == ["b.yaml", "note.yaml", "sub/a.yaml"]
    assert [f.path for f in read_folder(folder)] == [str(folder / n) for n in names]


def test_a_missing_folder_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(CannotRun, match="absent"):
        read_folder(tmp_path / "absent")
    (tmp_path / "file").write_text("")
    with pytest.raises(CannotRun, match="file"):
        read_folder(tmp_path / "file")


def test_the_folder_is_named_as_given(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "a.yaml").write_text("- set: A\n")
    monkeypatch.chdir(tmp_path)
    assert [f.path for f in read_folder(Path("data"))] == ["data/a.yaml"]


def test_a_file_name_that_is_not_text(tmp_path: Path) -> None:
    (tmp_path / os.fsdecode(b"caf\xe9.yaml")).write_text("- set: A\n")
    assert [Path(f.path).name for f in read_folder(tmp_path)] == ["caf\\xe9.yaml"]


def test_a_file_that_cannot_be_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a.yaml").write_text("- set: A\n")
    (tmp_path / "b.yaml").write_text("- set: B\n")
    real = disk.read_path

    def denied(path: Path) -> bytes:
        if path.name == "a.yaml":
            raise PermissionError(13, "Permission denied")
        return real(path)

    monkeypatch.setattr(reading, "read_path", denied)
    first, second = read_folder(tmp_path)
    assert [p.code for p in first.problems] == ["unreadable"]
    assert len(second.entries) == 1


# --- Bounds, files, and what is told of them


def test_the_bounds_are_those_that_are_promised() -> None:
    assert (disk.MOST_BYTES, nodes.DEEPEST, nodes.LONGEST_KEY) == (64 * 2**20, 20, 200)
    assert (parsing.MOST_FAULTS, texts.MOST_PROBLEMS) == (200, 1000)


def said(data: bytes) -> list[str]:
    return [str(p) for p in read_bytes(data, "f").problems]


def test_what_is_said_of_a_whole_file(monkeypatch: pytest.MonkeyPatch) -> None:
    for mark in (b"\xff\xfe", b"\xfe\xff"):
        assert said(mark + b"-\0") == ["f:1:1: the file is UTF-16; save it as UTF-8"]
    many = said(b"- a: @b\n" * 300)
    assert many[-1] == "f:201:6: too many faults; the file is not read from here on"
    many = said(b"- a: *b\n" * 1200)
    assert many[-1] == "f:1001:6: more problems in this file are not shown"
    assert len(said(b"- a: *b\n" * 1000)) == 1000
    monkeypatch.setattr(reading, "MOST_BYTES", 8)
    assert said(b"- a: bcd\n") == ["f:1:1: more than 0 MiB; make it several files"]
    assert said(b"- a: bc\n") == []
    monkeypatch.setattr(reading, "MOST_BYTES", 2**20)
    assert said(b"#" * (2**20 + 1)) == ["f:1:1: more than 1 MiB; make it several files"]


def test_bytes_that_are_no_utf_8_are_told_of_one_by_one() -> None:
    assert said(b"- a: \xe9b\xff\n- set: C\n- x: \x80") == [
        "f:1:6: byte 0xE9 is not UTF-8; save the file as UTF-8",
        "f:1:8: byte 0xFF is not UTF-8; save the file as UTF-8",
        "f:3:6: byte 0x80 is not UTF-8; save the file as UTF-8",
    ]
    found = read_bytes(b"- a: \xe9\n- set: C\n", "f")
    assert [values(e) for e in found.entries] == [{"set": "C"}]
    assert len(said(b"- a: " + b"\xe9" * 1500)) == texts.MOST_PROBLEMS + 1


def test_every_control_character_is_told_of() -> None:
    refused = [
        *range(9),
        0x0B,
        0x0C,
        *range(0x0E, 0x20),
        *range(0x7F, 0x85),
        *range(0x86, 0xA0),
        0xFFFE,
        0xFFFF,
    ]
    for code in refused:
        name = f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"
        assert said(f"- a: b{chr(code)}\n".encode()) == [f"f:1:7: control character {name}; take it out"]
    for code in (0x20, 0x7E, 0xA0, 0xFFFD, 0x10000):
        assert said(f"- a: b{chr(code)}c\n".encode()) == []


def test_a_fault_hides_no_entry_beside_it() -> None:
    """Whatever stands in the middle entry, those around it are read."""
    middles = (
        "*x",
        "@",
        "'",
        '"',
        "[",
        "{",
        "[a,",
        "{a: b,",
        "a: b",
        "\x00",
        "\\udcff",
        "<<: b",
        "'a' b",
        "!t",
        "&a",
        '"\\q"',
    )
    for middle in middles:
        for layout in ("- set: A\n- b: {}\n- set: C\n", "- set: A\n- set: B\n  b: {}\n  c: d\n- set: C\n"):
            data = layout.replace("{}", middle).encode("utf-8", "surrogateescape")
            found = read_bytes(data, "f")
            assert {"A", "C"} <= {getattr(e.pairs[0][1], "value", "") for e in found.entries}, data
            assert len(found.entries) == 2 or not found.problems


class Broken:
    """A parser of YAML that has nothing to say but an error."""

    error = yaml.YAMLError("no words")

    def __init__(self, source: object) -> None:
        pass

    def get_event(self) -> None:
        raise self.error

    def dispose(self) -> None:
        pass


def test_what_the_parser_cannot_put_in_words_is_a_fault_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(yaml, "CBaseLoader", Broken)
    assert [str(p) for p in reading.by_yaml(b"- a: b\n", "f").problems] == ["f:1:1: not readable as YAML"]


def test_words_of_the_parser_that_are_not_known_are_passed_on(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(told, "_WORDS", ())
    assert said(b"- a: @\n") == ["f:1:6: not readable as YAML: found character that cannot start any token"]


def test_objects_that_a_program_froze_stay_frozen() -> None:
    gc.freeze()
    try:
        frozen = gc.get_freeze_count()
        read("- set: A\n")
        assert gc.get_freeze_count() == frozen > 0
        assert gc.isenabled()
    finally:
        gc.unfreeze()


def test_a_message_shows_text_cut_short_and_without_anything_that_is_obeyed() -> None:
    assert shown("a" * 60) == "a" * 60
    assert shown("a" * 61) == "a" * 60 + "..."
    assert shown("abcd", 3) == "abc..."
    assert shown("\x1b\xff\x85\u202e\U000e0041é\n") == "\\x1bÿ\\x85\\u202e\\U000e0041é\\x0a"
    assert shown("\ue000\uffff\U00010000\U0001fffe") == "\\ue000\\uffff\U00010000\\U0001fffe"
    assert disk.display(os.fsdecode(b"caf\xe9")) == "caf\\xe9"
    assert disk.display(Path("é")) == "é"


def test_why_the_system_refuses_in_words() -> None:
    assert disk.reason(OSError(2, "No such file")) == "No such file"
    assert disk.reason(OSError("odd")) == "odd"
    assert disk.reason(RuntimeError("a ring")) == "a ring"
    assert disk.reason(RuntimeError()) == "RuntimeError"


def test_the_bytes_of_a_file_or_why_not(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a.yaml").write_bytes(b"- set: A\n")
    assert disk.bytes_of(tmp_path / "a.yaml") == b"- set: A\n"
    odd = tmp_path / os.fsdecode(b"\xe9.yaml")
    with pytest.raises(CannotRun) as caught:
        disk.bytes_of(odd)
    assert str(caught.value) == f"{tmp_path}/\\xe9.yaml: No such file or directory"
    os.mkfifo(tmp_path / "fifo.yaml")
    assert [str(p) for p in reading.read_file(tmp_path / "fifo.yaml").problems] == [
        f"{tmp_path}/fifo.yaml:1:1: cannot be read: not a regular file"
    ]
    monkeypatch.setattr(disk, "MOST_BYTES", 3)
    assert disk.read_path(tmp_path / "a.yaml") == b"- se"


def test_of_a_file_and_links_to_it_the_file_is_read(tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / "z.yaml").write_text("- set: A\n")
    (tmp_path / "a.yaml").symlink_to("b/z.yaml")
    (tmp_path / "b.yaml").write_text("- set: B\n")
    (tmp_path / "lost.yaml").symlink_to("absent")
    assert [str(p.relative_to(tmp_path)) for p in fact_files(tmp_path)] == ["b/z.yaml", "b.yaml"]


def _facts_cannot_be_looked_at(monkeypatch: pytest.MonkeyPatch, error: OSError) -> None:
    real = Path.stat

    def refused(path: Path, **options: bool) -> os.stat_result:
        if path.suffix == ".yaml" and options.get("follow_symlinks", True):
            raise error
        return real(path, **options)

    monkeypatch.setattr(Path, "stat", refused)


def test_a_file_that_the_disk_refuses_is_not_left_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a.yaml").write_text("- set: A\n")
    (tmp_path / "l.yaml").symlink_to("a.yaml")
    _facts_cannot_be_looked_at(monkeypatch, OSError(5, "Input/output error"))
    assert [p.name for p in fact_files(tmp_path)] == ["a.yaml"]


def test_a_folder_that_is_a_ring_of_links_is_told_of(tmp_path: Path) -> None:
    (tmp_path / "ring").symlink_to("ring")
    with pytest.raises(CannotRun, match=r"ring: Symlink loop"):
        fact_files(tmp_path / "ring")
    with pytest.raises(CannotRun, match=r"a\\x1bb: there is no such folder; `kgraph init"):
        fact_files(tmp_path / "a\x1bb")


def test_a_node_is_equal_by_what_it_is_and_stays_so() -> None:
    text = Text("A", 1, 3, True)
    assert text == Text("A", 1, 3, True)
    assert text != Text("A", 1, 4, True)
    assert Seq((), 1, 1) != Map((), 1, 1)
    assert text != "A"
    assert repr(Seq((text,), 2, 5)) == "Seq(5, (Text(3, 1, True, 'A'),), 2)"
    with pytest.raises(AttributeError, match="line cannot be changed"):
        text.line = 2
    with pytest.raises(AttributeError):
        text.more = 2  # type: ignore[attr-defined]


def test_what_is_plain_is_read_so_or_not_at_all() -> None:
    assert reading.read_plain(b"- set: A\n") == read_bytes(b"- set: A\n", "f").entries
    assert reading.read_plain(b"- set: &a A\n") is None


def test_words_of_a_parser_of_another_version(monkeypatch: pytest.MonkeyPatch) -> None:
    class Mark:
        index = 2

    def says(**error: object) -> None:
        monkeypatch.setattr(Broken, "error", yaml.MarkedYAMLError(**error))

    monkeypatch.setattr(yaml, "CBaseLoader", Broken)
    says(problem="found something new", problem_mark=Mark())
    (problem,) = reading.by_yaml(b"- a: b\n", "f").problems
    assert (str(problem), problem.code) == ("f:1:3: not readable as YAML: found something new", "yaml")
    says(problem_mark=Mark())
    assert [str(p) for p in reading.by_yaml(b"- a: b\n", "f").problems] == ["f:1:3: not readable as YAML: "]
    says(problem="found something new")
    (problem,) = reading.by_yaml(b"- a: b\n", "f").problems
    assert (str(problem), problem.code) == ("f:1:1: not readable as YAML", "yaml")


def test_what_was_blanked_is_known_in_the_order_of_the_file_whichever_was_found_first() -> None:
    for first, gone in ((b"- a: b\x01\n", 1), (b"<<<<<<< a\n- a: b\n>>>>>>> b\n", 2)):
        found = reading.by_yaml(first + b"- c: d\n- e: \xe9\n- g: h\n", "f")
        assert [e.pairs[0][0].value for e in found.entries] == ["c", "g"]
        assert len(found.problems) == gone + 1
        assert str(found.problems[-1]).endswith(":6: byte 0xE9 is not UTF-8; save the file as UTF-8")


def test_a_file_with_too_many_warnings_says_so_as_an_error() -> None:
    problems = reading.by_yaml(b"- a: b #x\n" * 1001, "f").problems
    assert [(p.code, p.severity) for p in problems[-2:]] == [("hash-cuts", "warning"), ("more", "error")]
    assert len(problems) == texts.MOST_PROBLEMS + 1


def test_the_name_of_a_folder_is_cut_short_in_a_message() -> None:
    with pytest.raises(CannotRun) as caught:
        fact_files(Path("x" * 300))
    assert str(caught.value) == f"{'x' * 200}...: File name too long"


def test_a_file_that_goes_while_a_folder_is_listed_is_left_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a.yaml").write_text("- set: A\n")
    _facts_cannot_be_looked_at(monkeypatch, FileNotFoundError(2, "No such file or directory"))
    assert fact_files(tmp_path) == []


def test_what_is_read_is_a_value() -> None:
    key, value = Text("a", 1, 3, True), Text("b", 1, 6, True)
    assert reading.by_yaml(b"- a: b\n", "f") == ("f", (Map(((key, value),), 1, 3),), (), False)
    item = Text("b", 1, 7, True)
    assert reading.by_yaml(b"- a: [b]\n", "f").entries == (Map(((key, Seq((item,), 1, 6)),), 1, 3),)
    assert type(reading.by_yaml(b"- a: &b\n", "f").problems) is tuple
