"""Writing fact files: text of entries, appending whole or not at all, faults of the system."""

from __future__ import annotations

import csv
import errno
import multiprocessing
import os
import stat
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NoReturn

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kgraph import system
from kgraph.folder import locking, new_text, placing, writing
from kgraph.folder.nodes import Map, Node, Seq, Text
from kgraph.folder.reading import read_bytes
from kgraph.folder.writing import Value, append, create_folder, entry_text, write_new
from kgraph.problems import CannotRun, Where, WrongUse
from tests.support import DEMO, ROOT

HOSTILE = ROOT / "tests" / "hostile"
with (HOSTILE / "index.tsv").open(encoding="utf-8") as _index:
    INDEX = [row for row in csv.DictReader(_index, delimiter="\t") if row["file"].endswith(".yaml")]

NEW = "- set: Brunelle 7\n  market: FR\n"
OLD = b"- set: Arden 12\n  market: UK\n"

LETTERS = st.characters(exclude_categories=["Cs"])
SPECIAL = st.sampled_from(
    [*" -:#?&*!|>'\"%@`,[]{}\\\n\r\t~=<.\x00\x1b\x85\u2028\ufeff\xa0", ": ", " #", "- ", "012"]
)
TEXTS = st.lists(SPECIAL | LETTERS, max_size=12).map("".join)
VALUES: st.SearchStrategy[Value] = st.recursive(
    TEXTS,
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.text(st.sampled_from("abcdef "), min_size=1, max_size=4), inner, max_size=3)
    ),
    max_leaves=6,
)
KEYS = st.lists(
    st.sampled_from(["set", "in", "a b", "<<", "x #y", "no", "-", "?", "k: l", "'"]), unique=True, min_size=1
)


def _distinct(value: Value) -> bool:
    """Whether no two keys of a mapping fold alike, which the reader refuses."""
    if isinstance(value, str):
        return True
    if isinstance(value, list):
        return all(map(_distinct, value))
    folded = [k.replace(" ", "") or k for k in value]
    return len(set(folded)) == len(folded) and all(map(_distinct, value.values()))


ENTRIES = (
    KEYS.flatmap(lambda keys: st.tuples(*[st.tuples(st.just(k), VALUES) for k in keys]))
    .map(list)
    .filter(lambda pairs: all(_distinct(value) for _, value in pairs))
)


def plain(node: Node) -> object:
    if isinstance(node, Text):
        return node.value
    if isinstance(node, Seq):
        return [plain(item) for item in node.items]
    return {key.value: plain(value) for key, value in node.pairs}


def entries(data: bytes) -> list[object]:
    found = read_bytes(data, "f.yaml")
    assert [p for p in found.problems if p.severity == "error"] == []
    return [plain(entry) for entry in found.entries]


def temporary_files(folder: Path) -> list[str]:
    return [name for name in os.listdir(folder) if name.endswith(".tmp")]


@pytest.fixture
def target(tmp_path: Path) -> Path:
    path = tmp_path / "a.yaml"
    path.write_bytes(OLD)
    return path


# --- The text of an entry


@settings(max_examples=300, deadline=None)
@given(TEXTS | st.text(LETTERS))
def test_every_text_comes_back_letter_for_letter(text: str) -> None:
    pairs: list[tuple[str, Value]] = [
        ("a", text),
        ("b", [text, text]),
        ("c", {"x": text}),
        ("d", [{"x": text}, text]),
    ]
    written = entry_text(pairs)
    expected = dict(pairs)
    assert entries(written.encode()) == [expected]
    assert written.replace("\n", "").isprintable()
    assert not read_bytes(written.encode(), "f").problems


@settings(max_examples=100, deadline=None)
@given(TEXTS | st.text(LETTERS))
def test_quotes_only_where_they_are_needed(text: str) -> None:
    written = entry_text([("a", text)])
    bare = f"- a: {text}\n"
    found = read_bytes(bare.encode(), "f")
    reads_bare = (
        text.isprintable() and not found.problems and [plain(e) for e in found.entries] == [{"a": text}]
    )
    assert (written == bare) == bool(reads_bare and text)


@settings(max_examples=150, deadline=None)
@given(ENTRIES)
def test_every_entry_comes_back(pairs: list[tuple[str, Value]]) -> None:
    assert entries(entry_text(pairs).encode()) == [dict(pairs)]


@pytest.mark.parametrize(
    ("value", "written"),
    [
        ("K-114", "K-114"),
        ("no", "no"),
        ("012", "012"),
        ("", '""'),
        ("K #114", '"K #114"'),
        ("a: b", '"a: b"'),
        ("a:b", "a:b"),
        ('12"', '12"'),
        ('"12"', "'\"12\"'"),
        (" a", '" a"'),
        ("a\nb\x1b", '"a\\nb\\x1b"'),
        ("it's", "it's"),
        ("it's " + "long " * 50 + "x", "it's " + "long " * 50 + "x"),
        (["a", "b, c"], '[a, "b, c"]'),
        (["it's", "a b"], "[it's, a b]"),
        ('a\\"\n\r\t\x7f\u2028\U000e0041', r'"a\\\"\n\r\t\x7f\u2028\U000e0041"'),
        ({"x": "0 mm", "y": "{"}, '{x: 0 mm, y: "{"}'),
        ([{"name": "motor"}, {"name": "idler"}], "\n    - {name: motor}\n    - {name: idler}"),
        ([], "[]"),
    ],
)
def test_how_a_value_is_written(value: Value, written: str) -> None:
    space = "" if written.startswith("\n") else " "
    assert entry_text([("set", "A"), ("v", value)]) == f"- set: A\n  v:{space}{written}\n"


def test_what_cannot_be_written() -> None:
    with pytest.raises(WrongUse):
        entry_text([])
    with pytest.raises(WrongUse, match=r"\\udc80"):
        entry_text([("a", "\udc80")])


# --- Appending


def test_append_says_where(target: Path) -> None:
    done = append(target.parent, target, [NEW, "- set: C\n"])
    assert target.read_bytes() == OLD + NEW.encode() + b"- set: C\n"
    assert done.places == (Where(str(target), 3, 3), Where(str(target), 5, 3))
    assert sorted(os.listdir(target.parent)) == [".kgraph.lock", "a.yaml"]


def test_append_makes_the_file(tmp_path: Path) -> None:
    append(tmp_path, tmp_path / "new.yaml", [NEW])
    assert (tmp_path / "new.yaml").read_bytes() == NEW.encode()
    assert (tmp_path / "new.yaml").stat().st_nlink == 1
    assert not temporary_files(tmp_path)


REFUSED = {"y31-document-end.yaml": r"\.\.\.", "y34-flow-file.yaml": "another file"}


@pytest.mark.parametrize("row", INDEX, ids=lambda row: row["file"])
def test_append_to_a_hostile_file(row: dict[str, str], tmp_path: Path) -> None:
    path = tmp_path / row["file"]
    old = (HOSTILE / row["file"]).read_bytes()
    path.write_bytes(old)
    broken = any(p.severity == "error" for p in read_bytes(old, "f").problems)
    if broken or row["file"] in REFUSED:
        with pytest.raises(CannotRun, match=REFUSED.get(row["file"], row["file"])):
            append(tmp_path, path, [NEW])
        assert path.read_bytes() == old
    else:
        append(tmp_path, path, [NEW])
        new = path.read_bytes()
        assert new.startswith(old)
        assert entries(new) == [*entries(old), {"set": "Brunelle 7", "market": "FR"}]
    assert not temporary_files(tmp_path)


@pytest.mark.parametrize(
    ("old", "added"),
    [
        (b"- a: b", b"\n- set: A\n"),
        (b"  - a: b\n", b"  - set: A\n"),
        (b"  - a: b", b"\n  - set: A\n"),
        (b"- a: b\r\n", b"- set: A\r\n"),
        (b"- a: b\r\n- c: d", b"\r\n- set: A\r\n"),
        (b"- a: b\r- c: d\r", b"- set: A\r"),
        (b"\xef\xbb\xbf", b"- set: A\n"),
        (b"\xef\xbb\xbf  - a: b\n", b"  - set: A\n"),
        (b"# note", b"\n- set: A\n"),
        (b"---\n", b"- set: A\n"),
        (b"%YAML 1.1\n--- # x\n  - a: b\n", b"  - set: A\n"),
        (b"- a: |\n    x\n\n\n", b"- set: A\n"),
        (b"- a: |+\n    x\n\n\n", b"- set: A\n"),
        (b"- a: b # c", b"\n- set: A\n"),
        (b"", b"- set: A\n"),
    ],
)
def test_append_takes_the_layout_of_the_file(old: bytes, added: bytes, tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_bytes(old)
    append(tmp_path, path, ["- set: A\n"])
    assert path.read_bytes() == old + added
    assert entries(old + added) == [*entries(old), {"set": "A"}]


def test_an_open_block_text_that_would_change_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_bytes(b"- set: A\n  note: |\n    no line end")
    with pytest.raises(CannotRun, match="would change"):
        append(tmp_path, path, [NEW])
    assert path.read_bytes().endswith(b"no line end")


@pytest.mark.parametrize("text", ["", "- set: A\n- set: B\n", "- set: @\n", "set: A\n", "- set: \ud800\n"])
def test_only_one_whole_entry_is_appended(text: str, target: Path) -> None:
    with pytest.raises(CannotRun, match="cannot be read back"):
        append(target.parent, target, [NEW, text])
    assert target.read_bytes() == OLD


def test_a_file_with_errors_is_refused_with_all_of_them(target: Path) -> None:
    target.write_bytes(b"- set: @A\n- set: B\n- set: *C\n")
    with pytest.raises(CannotRun) as caught:
        append(target.parent, target, [NEW])
    assert [p.where.line for p in caught.value.problems if p.where] == [1, 3]


def _checked_or_refused(before: bytes, added: str) -> tuple[bytes, tuple[Where, ...]] | CannotRun:
    try:
        return new_text.checked(before, [added], "f.yaml")
    except CannotRun as refusal:
        return refusal


ENTRY = "- set: A\n  note: b\n"
ADDED = (
    *(ENTRY, "- set: A\n", "-  set: A\n", "- set: A", "- set: A\r\n", "  - set: A\n", "# c\n- set: A\n"),
    *('- set: "\\t"\n', "- set: [a, b]\n", "- set: A\n  Set: B\n", "- set: @\n", "- note: |\n    x\n", ""),
)


@pytest.mark.parametrize(
    "path", sorted([*DEMO.glob("*.yaml"), *HOSTILE.glob("*.yaml")]), ids=lambda p: p.name
)
def test_a_plain_file_is_checked_as_any_other(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is read once gives the bytes, places and refusals of what is read before and after."""
    old = path.read_bytes()
    whole = (old, old[: old.rfind(b"\n") + 1], old[: len(old) // 2])
    tried = [(data, added) for data in whole[: 3 if len(old) < 10_000 else 1] for added in ADDED]
    quick = [_checked_or_refused(*one) for one in tried]
    monkeypatch.setattr(new_text, "_plainly_checked", lambda *given: None)
    slow = [_checked_or_refused(*one) for one in tried]
    assert [*map(_comparable, quick)] == [*map(_comparable, slow)]


def _comparable(found: object) -> object:
    return (str(found), found.problems) if isinstance(found, CannotRun) else found


def test_a_plain_file_is_read_once(target: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    read: list[bytes] = []
    real = new_text.read_plain

    def noting(data: bytes) -> tuple[Map, ...] | None:
        read.append(data)
        return real(data)

    monkeypatch.setattr(new_text, "read_plain", noting)
    monkeypatch.setattr(new_text, "_appended", None)
    append(target.parent, target, [NEW])
    assert read == [OLD + NEW.encode()]


HEADS = st.sampled_from(["", "\ufeff", "# c\n", "---\n", "\n\n", "%YAML 1.1\n--- # c\n"])
TAILS = st.sampled_from(
    ["", "\n", "\n\n", "  ", "# c", "\n  # c\n", " # c", "\t", "    more", "...\n", "\n    - x"]
)
BLOCKS = st.sampled_from(
    ["", "  note: |\n    x\n", "  note: |+\n    x\n\n", "  note: >-\n    x\n", "  note: |2\n     x"]
)


@settings(max_examples=300, deadline=None)
@given(HEADS, st.lists(ENTRIES, max_size=3), BLOCKS, TAILS, st.sampled_from([0, 2]), st.booleans(), ENTRIES)
def test_what_was_read_is_read_again(
    head: str, old: list[Any], block: str, tail: str, indent: int, crlf: bool, new: list[Any]
) -> None:
    body = "".join(entry_text(pairs) for pairs in old) + (block if old else "")
    text = head + "".join(" " * indent + line for line in body.splitlines(keepends=True)) + tail
    before = (text.replace("\n", "\r\n") if crlf else text).encode()
    added = entry_text(new)
    broken = any(p.severity == "error" for p in read_bytes(before, "f").problems)
    open_block = bool(old and block) and not before.endswith(b"\n")
    result = _checked_or_refused(before, added)
    if isinstance(result, CannotRun):
        assert broken or tail.endswith("...\n") or (open_block and "would change" in str(result))
        return
    after, places = result
    assert after.startswith(before)
    assert entries(after) == [*entries(before), *entries(added.encode())]
    assert len(places) == 1


# --- The file system


def test_mode_and_link_stay(tmp_path: Path) -> None:
    (tmp_path / "store").mkdir()
    real = tmp_path / "store" / "real.yaml"
    real.write_bytes(OLD)
    real.chmod(0o640)
    link = tmp_path / "link.yaml"
    link.symlink_to("store/real.yaml")
    append(tmp_path, link, [NEW])
    assert os.readlink(link) == "store/real.yaml"
    assert real.read_bytes() == OLD + NEW.encode()
    assert stat.S_IMODE(real.stat().st_mode) == 0o640


@pytest.mark.skipif(os.getuid() != 0, reason="only root can give a file away")
def test_owner_stays(target: Path) -> None:
    os.chown(target, 65534, 65534)
    append(target.parent, target, [NEW])
    assert (target.stat().st_uid, target.stat().st_gid) == (65534, 65534)


def test_a_hard_linked_file_is_refused(target: Path) -> None:
    os.link(target, target.parent / "b.yaml")
    with pytest.raises(CannotRun, match="hard link"):
        append(target.parent, target, [NEW])
    assert target.read_bytes() == OLD


def test_only_fact_files_of_the_folder(tmp_path: Path) -> None:
    folder = tmp_path / "facts"
    (folder / ".hid").mkdir(parents=True)
    (tmp_path / "out.yaml").write_bytes(OLD)
    (folder / "link.yaml").symlink_to(tmp_path / "out.yaml")
    for name in ("../out.yaml", "link.yaml", "a.txt", ".a.yaml", ".hid/a.yaml"):
        with pytest.raises(WrongUse, match="not a fact file"):
            append(folder, folder / name, [NEW])
    assert (tmp_path / "out.yaml").read_bytes() == OLD


def test_links_within_the_folder_are_followed_and_no_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, outside = tmp_path / "facts", tmp_path / "outside"
    for made in (folder, outside):
        made.mkdir()
    (folder / "a.yaml").write_bytes(OLD)
    (tmp_path / "link").symlink_to(folder)
    append(tmp_path / "link", tmp_path / "link" / "a.yaml", [NEW])
    monkeypatch.chdir(tmp_path)
    append(Path("facts"), Path("facts") / "a.yaml", [NEW])
    (outside / "b.yaml").symlink_to(folder / "a.yaml")
    with pytest.raises(WrongUse, match="not a fact file"):
        append(folder, outside / "b.yaml", [NEW])
    assert (folder / "a.yaml").read_bytes() == OLD + 2 * NEW.encode()


def test_a_folder_is_no_fact_file(tmp_path: Path) -> None:
    (tmp_path / "a.yaml" / "b").mkdir(parents=True)
    with pytest.raises(CannotRun, match=r"a\.yaml: not a regular file; nothing was written"):
        append(tmp_path, tmp_path / "a.yaml", [NEW])


def test_a_fifo_does_not_hang(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "a.yaml")
    with pytest.raises(CannotRun, match="not a regular file"):
        append(tmp_path, tmp_path / "a.yaml", [NEW])


def test_the_lock_is_not_taken_through_a_link(target: Path) -> None:
    (target.parent / locking.LOCK_NAME).symlink_to(target.parent / "elsewhere")
    with pytest.raises(CannotRun, match="lock"):
        append(target.parent, target, [NEW])
    assert not (target.parent / "elsewhere").exists()


def test_waiting_for_the_lock_ends(target: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(locking, "LOCK_WAIT_S", 0.05)
    with locking.locked(target.parent), pytest.raises(CannotRun, match="another program"):
        append(target.parent, target, [NEW])


def test_those_who_take_turns_are_waited_for(target: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The time is up only where one and the same writer has kept the lock for so long."""
    monkeypatch.setattr(locking, "LOCK_WAIT_S", 0.3)
    held = threading.Event()

    def others() -> None:
        with locking.locked(target.parent):
            held.set()
            for _ in range(60):
                time.sleep(0.02)
                os.utime(target.parent / locking.LOCK_NAME)

    thread = threading.Thread(target=others)
    thread.start()
    held.wait()
    append(target.parent, target, [NEW])
    thread.join()
    assert target.read_bytes() == OLD + NEW.encode()


def test_whoever_takes_the_lock_marks_it(target: Path) -> None:
    append(target.parent, target, [NEW])
    os.utime(target.parent / locking.LOCK_NAME, (0, 0))
    append(target.parent, target, [NEW])
    assert (target.parent / locking.LOCK_NAME).stat().st_mtime > 0


def test_an_editor_that_saves_meanwhile_keeps_its_text(target: Path) -> None:
    saved: list[bytes] = []

    def save() -> None:
        if not saved:
            saved.append(b"# edited\n" + OLD)
            target.write_bytes(saved[0])

    append(target.parent, target, [NEW], before_rename=save)
    assert target.read_bytes() == saved[0] + NEW.encode()
    assert not temporary_files(target.parent)


def test_an_editor_that_saves_all_the_time_is_never_overwritten(target: Path) -> None:
    def save() -> None:
        target.write_bytes(target.read_bytes() + b"# again\n")

    with pytest.raises(CannotRun, match="keeps saving"):
        append(target.parent, target, [NEW], before_rename=save)
    assert target.read_bytes() == OLD + b"# again\n" * writing.TRIES
    assert not temporary_files(target.parent)


def test_a_file_that_appears_meanwhile_is_not_overwritten(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.yaml"
    real = os.link

    def late(source: Any, name: Any) -> None:
        if not path.exists():
            path.write_bytes(OLD)
        real(source, name)

    monkeypatch.setattr(os, "link", late)
    append(tmp_path, path, [NEW])
    assert path.read_bytes() == OLD + NEW.encode()
    assert not temporary_files(tmp_path)


def _failing(code: int) -> Callable[..., NoReturn]:
    def fail(*_: Any) -> NoReturn:
        raise OSError(code, os.strerror(code))

    return fail


NO_LINKS = [errno.EPERM, errno.EACCES, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK]


@pytest.mark.parametrize("code", NO_LINKS)
def test_a_new_file_where_there_are_no_hard_links(
    code: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "link", _failing(code))
    append(tmp_path, tmp_path / "a.yaml", [NEW])
    assert (tmp_path / "a.yaml").read_bytes() == NEW.encode()


@pytest.mark.parametrize("code", [errno.EIO, errno.ENOSPC])
def test_a_disk_that_fails_to_give_the_name_is_no_disk_without_links(
    code: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "link", _failing(code))
    with pytest.raises(CannotRun, match="nothing was written"):
        append(tmp_path, tmp_path / "a.yaml", [NEW])
    assert not [p for p in tmp_path.iterdir() if p.name != locking.LOCK_NAME]


def test_a_new_file_is_written_though_its_other_name_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as broken:
        broken.setattr(os, "unlink", _failing(errno.EIO))
        append(tmp_path, tmp_path / "a.yaml", [NEW])
    assert (tmp_path / "a.yaml").read_bytes() == NEW.encode()
    append(tmp_path, tmp_path / "a.yaml", [NEW])
    assert (tmp_path / "a.yaml").read_bytes() == 2 * NEW.encode()
    assert not list(tmp_path.glob(".kgraph-*"))


def test_expected_bytes(target: Path) -> None:
    with pytest.raises(CannotRun, match="changed meanwhile"):
        append(target.parent, target, [NEW], expect=b"other")
    append(target.parent, target, [NEW], expect=OLD)
    append(target.parent, target.parent / "b.yaml", [NEW], expect=b"")


def _fail(code: int) -> Callable[..., NoReturn]:
    def fail(*arguments: object, **options: object) -> NoReturn:
        raise OSError(code, os.strerror(code))

    return fail


@pytest.mark.parametrize("call", ["fsync", "replace", "write", "fchmod", "open"])
@pytest.mark.parametrize("code", [errno.EIO, errno.ENOSPC, errno.EROFS, errno.EMFILE])
def test_a_fault_leaves_the_old_bytes(
    call: str, code: int, target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(os, call, _fail(code))
        with pytest.raises(CannotRun) as caught:
            append(target.parent, target, [NEW])
    assert str(target) in str(caught.value)
    assert os.strerror(code) in str(caught.value)
    assert target.read_bytes() == OLD
    assert not temporary_files(target.parent)


@pytest.mark.parametrize("call", ["replace", "link", "unlink", "listdir"])
def test_an_interrupted_call_is_made_again(
    call: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Network drives break calls off for a signal; Python itself begins these not again."""
    real, broken_off = getattr(os, call), []

    def once(*arguments: Any, **options: Any) -> Any:
        if not broken_off:
            broken_off.append(arguments)
            raise InterruptedError(errno.EINTR, os.strerror(errno.EINTR))
        return real(*arguments, **options)

    old = tmp_path / "a.yaml"
    if call == "replace":
        old.write_bytes(b"- set: Arden 12\n")
    monkeypatch.setattr(os, call, once)
    writing.append(tmp_path, old, ["- set: Brunelle 7\n"])
    assert broken_off
    assert old.read_bytes().endswith(b"- set: Brunelle 7\n")
    assert sorted(os.listdir(tmp_path)) == [".kgraph.lock", "a.yaml"]


def test_an_interrupt_leaves_the_old_bytes(target: Path) -> None:
    def interrupt() -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        append(target.parent, target, [NEW], before_rename=interrupt)
    assert target.read_bytes() == OLD
    assert not temporary_files(target.parent)


def test_order_of_the_steps(target: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    steps: list[str] = []
    for call in ("fchmod", "write", "fsync", "replace"):
        real = getattr(os, call)

        def noted(*arguments: Any, real: Any = real, call: str = call) -> Any:
            is_folder = call == "fsync" and stat.S_ISDIR(os.fstat(arguments[0]).st_mode)
            steps.append("fsync folder" if is_folder else call)
            return real(*arguments)

        monkeypatch.setattr(os, call, noted)
    append(target.parent, target, [NEW])
    assert steps == ["fchmod", "write", "fsync", "replace", "fsync folder"]


def test_a_folder_that_is_not_confirmed_is_no_success(target: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = os.fsync

    def only_files(descriptor: int) -> None:
        if stat.S_ISDIR(os.fstat(descriptor).st_mode):
            raise OSError(errno.EIO, "Input/output error")
        real(descriptor)

    monkeypatch.setattr(os, "fsync", only_files)
    says = r": written, but the disk did not confirm it: Input/output error; look whether the text is there"
    with pytest.raises(CannotRun, match=says):
        append(target.parent, target, [NEW])
    assert not temporary_files(target.parent)


@pytest.mark.parametrize("descriptors", ["file", "folder"])
def test_closing_that_is_broken_off_is_done(
    descriptors: str, target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Linux closes a file whatever close(2) answers to a signal, by its manual page."""
    real, broken_off = os.close, []

    def close(descriptor: int) -> None:
        is_folder = stat.S_ISDIR(os.fstat(descriptor).st_mode)
        real(descriptor)
        if is_folder == (descriptors == "folder"):
            broken_off.append(descriptor)
            raise InterruptedError(errno.EINTR, os.strerror(errno.EINTR))

    with monkeypatch.context() as broken:
        broken.setattr(placing.os, "close", close)
        append(target.parent, target, [NEW])
    assert broken_off
    assert target.read_bytes() == OLD + NEW.encode()
    assert not temporary_files(target.parent)


@pytest.mark.parametrize("there", ["file", "link"])
def test_a_name_for_what_is_not_finished_is_never_one_that_is_there(
    there: str, target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    taken, elsewhere = target.parent / ".kgraph-taken", target.parent / "elsewhere"
    elsewhere.write_bytes(b"x")
    if there == "file":
        taken.write_bytes(b"y")
    else:
        taken.symlink_to(elsewhere)
    monkeypatch.setattr(writing, "temporary_name", lambda folder: taken)
    monkeypatch.setattr(writing, "TRIES", 1)
    with pytest.raises(CannotRun):
        append(target.parent, target, [NEW])
    assert target.read_bytes() == OLD
    assert elsewhere.read_bytes() == b"x"


def test_short_writes_go_on(target: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = os.write
    monkeypatch.setattr(os, "write", lambda descriptor, data: real(descriptor, bytes(data[:7])))
    append(target.parent, target, [NEW])
    assert target.read_bytes() == OLD + NEW.encode()


def test_leftovers_of_the_dead_are_removed(target: Path) -> None:
    dead = subprocess.Popen([sys.executable, "-c", ""])
    dead.wait()
    folder = target.parent
    mine, living = f".kgraph-{dead.pid}-0123456789ab.tmp", f".kgraph-{os.getppid()}-0123456789ab.tmp"
    for name in (mine, living, ".kgraph-1.tmp"):
        (folder / name).write_bytes(b"x")
    append(folder, target, [NEW])
    assert sorted(temporary_files(folder)) == sorted([living, ".kgraph-1.tmp"])


def test_what_lies_there_for_a_day_is_taken_away_whoever_has_its_number(tmp_path: Path) -> None:
    old, new = (tmp_path / f".kgraph-{os.getppid()}-{digits * 12}.tmp" for digits in "01")
    for path in (old, new):
        path.write_bytes(b"x")
    os.utime(old, (time.time() - placing.LEFT_OVER_S - 1,) * 2)
    placing.remove_leftovers(tmp_path)
    assert os.listdir(tmp_path) == [new.name]


def test_a_writer_killed_between_link_and_unlink_blocks_nobody(tmp_path: Path) -> None:
    dead = subprocess.Popen([sys.executable, "-c", ""])
    dead.wait()
    path = tmp_path / "a.yaml"
    path.write_bytes(OLD)
    os.link(path, tmp_path / f".kgraph-{dead.pid}-0123456789ab.tmp")
    append(tmp_path, path, [NEW])
    assert path.read_bytes() == OLD + NEW.encode()


def _append_many(folder: str, name: str, count: int) -> None:
    for number in range(count):
        append(Path(folder), Path(folder) / "a.yaml", [entry_text([("set", f"{name} {number}")])])


def test_two_writers_lose_nothing(tmp_path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    writers = [context.Process(target=_append_many, args=(str(tmp_path), name, 50)) for name in "AB"]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join(60)
        assert writer.exitcode == 0
    got = entries((tmp_path / "a.yaml").read_bytes())
    assert sorted(str(e) for e in got) == sorted(str({"set": f"{n} {i}"}) for n in "AB" for i in range(50))


def test_write_new_and_create_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "a" / "b"
    create_folder(folder)
    create_folder(folder)
    write_new(folder / "x.yaml", b"text")
    assert (folder / "x.yaml").read_bytes() == b"text"
    with pytest.raises(CannotRun, match=r"x\.yaml"):
        write_new(folder / "x.yaml", b"other")
    assert (folder / "x.yaml").read_bytes() == b"text"
    with pytest.raises(CannotRun, match=r"x\.yaml"):
        create_folder(folder / "x.yaml")
    monkeypatch.setattr(os, "fsync", _fail(errno.EIO))
    with pytest.raises(CannotRun, match=r"y\.yaml"):
        write_new(folder / "y.yaml", b"text")
    assert os.listdir(folder) == ["x.yaml"]


def test_a_folder_that_another_makes_meanwhile_is_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a").mkdir()
    monkeypatch.setattr(Path, "exists", lambda self: False)
    create_folder(tmp_path / "a" / "b")
    assert (tmp_path / "a" / "b").is_dir()


def test_write_new_where_hard_links_are_not_known(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "link", _fail(errno.EPERM))
    write_new(tmp_path / "x.yaml", b"text")
    with pytest.raises(CannotRun, match="already"):
        write_new(tmp_path / "x.yaml", b"other")
    assert (tmp_path / "x.yaml").read_bytes() == b"text"
    assert not temporary_files(tmp_path)


def test_a_pipe_is_written_into_and_stays(tmp_path: Path) -> None:
    """Results for a device must not put a file in its place."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    try:
        writing.write_over(pipe, b"answer")
        assert os.read(reader, 100) == b"answer"
    finally:
        os.close(reader)
    assert pipe.is_fifo()


# --- What a file system or a machine may lack, or have besides


def test_a_lock_that_is_no_file_is_told_of(target: Path) -> None:
    os.mkfifo(target.parent / locking.LOCK_NAME)
    with pytest.raises(CannotRun, match=r"kgraph\.lock: not a regular file; take it away"):
        append(target.parent, target, [NEW])
    assert target.read_bytes() == OLD


def test_the_lock_can_be_taken_by_all_who_may_write_there(target: Path) -> None:
    before = os.umask(0o002)
    try:
        append(target.parent, target, [NEW])
    finally:
        os.umask(before)
    assert oct(stat.S_IMODE((target.parent / locking.LOCK_NAME).stat().st_mode)) == "0o664"


def test_the_lock_is_given_back(target: Path) -> None:
    before = len(os.listdir("/proc/self/fd"))
    for _ in range(3):
        append(target.parent, target, [NEW])
    with locking.locked(target.parent):
        pass
    assert len(os.listdir("/proc/self/fd")) == before


def test_a_lock_that_cannot_be_marked_is_taken(target: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(locking.os, "utime", _failing(errno.EPERM))
    append(target.parent, target, [NEW])
    assert target.read_bytes() == OLD + NEW.encode()


def test_a_lock_that_fails_to_close_undoes_nothing(target: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    usual, failed = os.close, []

    def close(descriptor: int) -> None:
        usual(descriptor)
        failed.append(descriptor)
        raise OSError(errno.EIO, "no")

    with locking.locked(target.parent):
        monkeypatch.setattr(placing.os, "close", close)
    monkeypatch.undo()
    assert len(failed) == 1
    append(target.parent, target, [NEW])
    assert target.read_bytes() == OLD + NEW.encode()


def test_a_writer_waits_for_another(target: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    waited: list[float] = []
    held = locking.locked(target.parent)
    held.__enter__()

    def sleep(seconds: float) -> None:
        waited.append(seconds)
        if len(waited) == 3:
            held.__exit__(None, None, None)

    monkeypatch.setattr(locking.time, "sleep", sleep)
    append(target.parent, target, [NEW])
    assert len(waited) == 3
    assert all(0 < seconds < 0.1 for seconds in waited)
    assert target.read_bytes() == OLD + NEW.encode()


def test_nobody_waits_for_ever(target: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    clock = iter([0.0, 0.0, 30.0, 60.0, 60.1, 1e9])
    monkeypatch.setattr(locking.time, "monotonic", lambda: next(clock))
    monkeypatch.setattr(locking.time, "sleep", lambda seconds: None)
    with locking.locked(target.parent), pytest.raises(CannotRun, match="writing for 60 s"):
        append(target.parent, target, [NEW])
    assert next(clock) == 1e9


def test_a_file_grows_to_the_bound_and_no_further(target: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(new_text, "MOST_BYTES", len(OLD) + len(NEW) - 1)
    with pytest.raises(CannotRun, match=r"a\.yaml: would be larger than 0 MiB; add to another file"):
        append(target.parent, target, [NEW])
    assert target.read_bytes() == OLD
    monkeypatch.setattr(new_text, "MOST_BYTES", len(OLD) + len(NEW))
    append(target.parent, target, [NEW])
    monkeypatch.undo()
    assert new_text.MOST_BYTES == 64 * 2**20


def test_nothing_to_append_is_nothing_done(target: Path) -> None:
    assert append(target.parent, target, []).places == ()
    assert os.listdir(target.parent) == ["a.yaml"]


def test_links_in_a_ring_are_told_of(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").symlink_to("b.yaml")
    (tmp_path / "b.yaml").symlink_to("a.yaml")
    with pytest.raises(CannotRun, match=r"a\.yaml: Symlink loop from '.*a\.yaml'$"):
        append(tmp_path, tmp_path / "a.yaml", [NEW])


def test_attributes_stay_but_for_those_of_the_security_system(
    target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept: dict[str, bytes] = {}
    monkeypatch.setattr(os, "listxattr", lambda path: ["security.label", "user.note"])
    monkeypatch.setattr(os, "getxattr", lambda path, name: f"{path}: {name}".encode())
    monkeypatch.setattr(os, "setxattr", lambda descriptor, name, value: kept.update({name: value}))
    append(target.parent, target, [NEW])
    assert kept == {"user.note": f"{target}: user.note".encode()}


@pytest.mark.parametrize("way", ["none", "refused"])
def test_without_attributes_a_file_is_written_all_the_same(
    way: str, target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if way == "none":
        monkeypatch.delattr(os, "listxattr")
    else:
        monkeypatch.setattr(os, "listxattr", _fail(errno.EOPNOTSUPP))
    append(target.parent, target, [NEW])
    assert target.read_bytes() == OLD + NEW.encode()


def test_an_attribute_that_cannot_be_kept_is_no_success(
    target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "listxattr", lambda path: ["user.note"])
    monkeypatch.setattr(os, "getxattr", lambda path, name: b"x")
    monkeypatch.setattr(os, "setxattr", _fail(errno.ENOSPC))
    with pytest.raises(CannotRun, match="nothing was written"):
        append(target.parent, target, [NEW])
    assert target.read_bytes() == OLD
    assert not temporary_files(target.parent)


@pytest.mark.parametrize("changed", [(0, 1), (1, 0)])
def test_owner_or_group_alone_is_kept(
    changed: tuple[int, int], target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever may give files away or not: asked for is the owner of the old file, where it is another."""
    asked: list[tuple[int, int]] = []
    real = os.fstat

    def other(descriptor: int) -> os.stat_result:
        now = list(real(descriptor))
        now[4], now[5] = now[4] + changed[0], now[5] + changed[1]
        return os.stat_result(now)

    monkeypatch.setattr(os, "fstat", other)
    monkeypatch.setattr(os, "fchown", lambda descriptor, user, group: asked.append((user, group)))
    append(target.parent, target, [NEW])
    assert asked == [(target.stat().st_uid, target.stat().st_gid)]


def test_what_is_being_written_is_read_by_nobody_else(target: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Until it has the rights of the old file, the new one has none for others."""
    target.chmod(0o644)
    seen: list[int] = []
    real = os.fchmod

    def noted(descriptor: int, mode: int) -> None:
        seen.append(stat.S_IMODE(os.fstat(descriptor).st_mode))
        real(descriptor, mode)

    monkeypatch.setattr(os, "fchmod", noted)
    append(target.parent, target, [NEW])
    assert seen == [0o600]
    assert stat.S_IMODE(target.stat().st_mode) == 0o644


def test_a_new_file_has_the_usual_rights(tmp_path: Path) -> None:
    for mask, mode in ((0o027, 0o640), (0, 0o666)):
        folder = tmp_path / str(mask)
        folder.mkdir()
        before = os.umask(mask)
        try:
            append(folder, folder / "a.yaml", [NEW])
            write_new(folder / "b.yaml", b"x")
            writing.write_over(folder / "c.txt", b"x")
        finally:
            os.umask(before)
        for name in ("a.yaml", "b.yaml", "c.txt"):
            assert stat.S_IMODE((folder / name).stat().st_mode) == mode


def test_what_a_living_writer_of_another_user_left_stays(
    target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    left = target.parent / ".kgraph-77-0123456789ab.tmp"
    left.write_bytes(b"x")
    monkeypatch.setattr(os, "kill", _fail(errno.EPERM))
    append(target.parent, target, [NEW])
    assert left.exists()


@pytest.mark.parametrize(
    ("name", "is_one"),
    [
        (".kgraph-1-0123456789ab.tmp", True),
        (".kgraph-4194305-abcdef012345.tmp", True),
        (".kgraph-9999999999-0123456789ab.tmp", True),
        (".kgraph-99999999999-0123456789ab.tmp", False),
        (".kgraph--0123456789ab.tmp", False),
        (".kgraph-1-0123456789a.tmp", False),
        (".kgraph-1-0123456789abc.tmp", False),
        (".kgraph-1-0123456789aB.tmp", False),
        (".kgraph-1-0123456789ab.tmp.yaml", False),
        (".kgraph-1-0123456789ab.tmp\n", False),
        ("a.kgraph-1-0123456789ab.tmp", False),
        ("xkgraph-1-0123456789ab.tmp", False),
        (".kgraph-1-0123456789abxtmp", False),
        ("a.yaml", False),
    ],
)
def test_which_names_are_of_what_is_not_finished(name: str, is_one: bool) -> None:
    assert placing.is_leftover(name) == is_one


def test_what_is_written_meanwhile_has_such_a_name(target: Path) -> None:
    seen: list[str] = []
    append(target.parent, target, [NEW], before_rename=lambda: seen.extend(temporary_files(target.parent)))
    assert len(seen) == 1
    assert placing.is_leftover(seen[0])
    assert seen[0].startswith(f".kgraph-{os.getpid()}-")


def test_a_number_that_no_process_can_have_is_of_none() -> None:
    assert not system.is_alive(9_999_999_999)
    assert not system.is_alive(os.getpid())
    assert system.is_alive(os.getppid())


# --- Results


def test_results_take_the_place_of_older_ones(tmp_path: Path) -> None:
    (tmp_path / "real").write_bytes(b"old")
    (tmp_path / "real").chmod(0o604)
    (tmp_path / "link").symlink_to("real")
    writing.write_over(tmp_path / "link", iter([b"new ", b"text"]))
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_bytes() == b"new text"
    assert stat.S_IMODE((tmp_path / "real").stat().st_mode) == 0o604
    assert sorted(os.listdir(tmp_path)) == ["link", "real"]


def test_results_that_fail_half_way_leave_the_older_ones(tmp_path: Path) -> None:
    def pieces() -> Iterator[bytes]:
        yield b"half"
        raise CannotRun("no more")

    path = tmp_path / "a.csv"
    path.write_bytes(b"old")
    with pytest.raises(CannotRun, match="no more"):
        writing.write_over(path, pieces())
    assert path.read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["a.csv"]


def test_results_that_are_not_confirmed_are_no_success(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    steps: list[str] = []
    real = os.fsync

    def noted(descriptor: int) -> None:
        steps.append("folder" if stat.S_ISDIR(os.fstat(descriptor).st_mode) else "file")
        real(descriptor)

    monkeypatch.setattr(os, "fsync", noted)
    writing.write_over(tmp_path / "a.csv", b"x")
    write_new(tmp_path / "b.csv", b"x")
    create_folder(tmp_path / "c" / "d")
    assert steps == ["file", "folder", "file", "folder", "folder", "folder"]


def test_results_for_a_device_are_written_piece_by_piece(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    try:
        writing.write_over(pipe, iter([b"one ", b"two"]))
        assert os.read(reader, 100) == b"one two"
    finally:
        os.close(reader)
    assert os.listdir(tmp_path) == ["pipe"]


def test_a_refusal_names_the_file_and_what_else_is_in_the_way(tmp_path: Path) -> None:
    with pytest.raises(CannotRun) as caught:
        writing.write_over(tmp_path / "absent" / "a.csv", b"x")
    says = f"{tmp_path}/absent/a.csv: No such file or directory ({tmp_path}/absent); nothing was written"
    assert str(caught.value) == says
    with pytest.raises(CannotRun) as caught:
        write_new(tmp_path / "absent" / "a.csv", b"x")
    assert "No such file" in str(caught.value)
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(CannotRun) as caught:
        create_folder(tmp_path / "file")
    assert str(caught.value) == f"{tmp_path}/file: not a folder; nothing was written"
    write_new(tmp_path / "one", b"x")
    with pytest.raises(CannotRun) as caught:
        write_new(tmp_path / "one", b"y")
    assert str(caught.value).startswith(f"{tmp_path}/one: File exists")


def test_a_refusal_by_the_number_of_an_open_file_names_the_file_alone(target: Path) -> None:
    def refuse() -> NoReturn:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), 7)

    with pytest.raises(CannotRun) as caught:
        append(target.parent, target, [NEW], before_rename=refuse)
    assert str(caught.value) == f"{target}: No space left on device; nothing was written"


def test_messages_name_paths_whatever_their_bytes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each message can be printed where UTF-8 is printed, and names the file by its bytes."""
    folder = tmp_path / os.fsdecode(b"caf\xe9")
    folder.mkdir()
    path = folder / os.fsdecode(b"\xe8.yaml")
    path.write_bytes(OLD)
    said: list[str] = []

    def refused(call: Callable[[], object]) -> None:
        with pytest.raises((CannotRun, WrongUse)) as caught:
            call()
        said.append(str(caught.value))

    refused(lambda: append(folder, path, [NEW], expect=b""))
    refused(
        lambda: append(folder, path, [NEW], before_rename=lambda: path.write_bytes(path.read_bytes() + b"\n"))
    )
    refused(lambda: append(folder, folder.parent / path.name, [NEW]))
    refused(lambda: write_new(path, b"x"))
    os.link(path, folder / "b.yaml")
    refused(lambda: append(folder, path, [NEW]))
    (folder / "b.yaml").unlink()
    (folder / "ring.yaml").symlink_to("ring.yaml")
    refused(lambda: append(folder, folder / "ring.yaml", [NEW]))
    monkeypatch.setattr(locking, "LOCK_WAIT_S", 0.0)
    with locking.locked(folder):
        refused(lambda: append(folder, path, [NEW]))
    real = os.fsync
    monkeypatch.setattr(
        os, "fsync", lambda d: _fail(errno.EIO)() if stat.S_ISDIR(os.fstat(d).st_mode) else real(d)
    )
    refused(lambda: append(folder, path, [NEW]))
    (folder / locking.LOCK_NAME).unlink()
    os.mkfifo(folder / locking.LOCK_NAME)
    refused(lambda: append(folder, path, [NEW]))
    path.write_bytes(b"- set: @\n")
    assert len(said) == 9
    for text in said:
        assert "\\xe9" in text or "\\xe8" in text
        text.encode()


@pytest.mark.parametrize(
    ("old", "says"),
    [
        (b"- a: b\n...\n", "a.yaml: ends with the line ...; take it out, or add to another file"),
        (b"- a: b\n... # c\n", "a.yaml: ends with the line ...; take it out, or add to another file"),
        (b"- a: b\r\n...\r\n", "a.yaml: ends with the line ...; take it out, or add to another file"),
        (b"[{a: b}]\n", "a.yaml: is one list in brackets [...]; add to another file, for example new.yaml"),
        (
            b"# c\n\n--- [{a: b}]\n",
            "a.yaml: is one list in brackets [...]; add to another file, for example new.yaml",
        ),
        (
            b"---\t[{a: b}]\n",
            "a.yaml: is one list in brackets [...]; add to another file, for example new.yaml",
        ),
        (
            b"- a: b\n  c: |\n    d",
            "a.yaml:1:1: nothing was added, for the last entry would change; "
            "end the file with an empty line at the left margin, or add to another file",
        ),
        (
            b"- a: b\n- c: d\n  e: |\n    f",
            "a.yaml:2:1: nothing was added, for the last entry would change; "
            "end the file with an empty line at the left margin, or add to another file",
        ),
        (b"- a: @\n", "a.yaml: nothing was added, for the file has errors; mend them first"),
    ],
)
def test_why_nothing_can_be_appended(old: bytes, says: str) -> None:
    with pytest.raises(CannotRun) as caught:
        new_text.checked(old, [NEW], "a.yaml")
    assert str(caught.value).splitlines()[0] == says


@pytest.mark.parametrize(
    ("old", "indent", "newline"),
    [
        ("", 0, "\n"),
        ("# - x\n  - a: b\n- c: d\n", 2, "\n"),
        ("---\n   - a: b\n", 3, "\n"),
        ("%YAML 1.1\n---\n - a: b\n", 1, "\n"),
        ("---   # c\n  - a: b\n", 2, "\n"),
        ("\ufeff  - a: b\r\n", 2, "\r\n"),
        ("- a: b\r\n- c: d\n", 0, "\n"),
        ("- a: b\n- c: d\r\n", 0, "\r\n"),
        ("  - a: b\r", 2, "\r"),
        ("\t\n  - a: ...\n", 2, "\n"),
        ("- a: ...b\n- ...\n", 0, "\n"),
        ("- a: b\n...b\n", 0, "\n"),
        ("# x\r  - a: b\r", 2, "\r"),
        ("\r\n  - a: b\r\n", 2, "\r\n"),
        ("---\r  - a: b\r", 2, "\r"),
        ("  -\n    a: b\n", 2, "\n"),
    ],
)
def test_how_a_file_is_laid_out(old: str, indent: int, newline: str) -> None:
    assert new_text._layout(old, "a.yaml") == new_text._Layout(indent, newline)


AWKWARD = (
    *("a,b", "a[b", "a]b", "a{b", "a}b", "[a", "a]", "{a", "a}", "a, b", "a , b", "a#b", "a #b", "#"),
    *("a:b", "a: b", "a:", ":a", "_a", "-a", "- a", "- ", "?a", "? a", "---", "...", "<<", "|", ">"),
    *("a'b", 'a"b', '"a', "'a", "a''b", 'it\'s "x"', "a\\b", ": \\", "': \"", "@", "`", "%a", "!a", "&a"),
    *(
        "-",
        "?",
        ":",
        "&",
        "*",
        "!",
        "k",
        "~",
        "no",
        "012",
        "a\tb",
        "a\nb",
        " a",
        "a ",
        "\x7f",
        "\u00a0b",
        "\u00e9",
        "\ud7ff",
        "\ue000",
    ),
    *("x" * 200, "(" + "x" * 199, "(" + "x" * 200, "\U0001f4fb"),
)


@pytest.mark.parametrize("text", AWKWARD, ids=ascii)
def test_awkward_texts_come_back_from_every_place(text: str) -> None:
    pairs: list[tuple[str, Value]] = [
        ("a", text),
        ("b", [text, "x", text]),
        ("c", {"x": text}),
        ("d", [{"x": text}, text]),
    ]
    if len(text) <= 198:
        pairs += [(f"{text} y", "z"), ("e", {text: "x"})]
    assert entries(entry_text(pairs).encode()) == [dict(pairs)]


@pytest.mark.parametrize(
    ("pair", "written"),
    [
        (("(a)", "b"), "- (a): b\n"),
        (("(" + "x" * 199, "b"), f"- ({'x' * 199}: b\n"),
        (("a", ["(" + "x" * 199]), f"- a: [({'x' * 199}]\n"),
        (("a", ["b,c", "d"]), '- a: ["b,c", d]\n'),
        (("a", 'it\'s: "x"'), "- a: 'it''s: \"x\"'\n"),
        (("a", ": \\"), "- a: ': \\'\n"),
        (("a", "b: c"), '- a: "b: c"\n'),
        (("a", "b (c)"), "- a: b (c)\n"),
        (("a", ["(b)", "-", {"x": "y"}]), '- a:\n    - (b)\n    - "-"\n    - {x: y}\n'),
    ],
)
def test_no_more_is_put_in_quotes_than_must(pair: tuple[str, Value], written: str) -> None:
    assert entry_text([pair]) == written


def test_half_a_character_is_not_written() -> None:
    for half in (0xD800, 0xDBFF, 0xDC00, 0xDFFF):
        with pytest.raises(WrongUse, match="is not text: it holds half of a character"):
            entry_text([("a", f"b{chr(half)}")])
    with pytest.raises(WrongUse, match="an entry has at least one key"):
        entry_text([])


@pytest.mark.parametrize("end", ["...\r", "...\t\n", "... \n", "...", "...\r\n"])
def test_nothing_is_added_behind_the_end_of_a_document(end: str) -> None:
    with pytest.raises(CannotRun, match=r"a.yaml: ends with the line \.\.\.; take it out"):
        new_text._layout(f"- a: b\r{end}", "a.yaml")


@pytest.mark.parametrize(
    ("texts", "added"),
    [
        (["- set: A"], b"  - set: A\n"),
        (["- set: A", "- set: B"], b"  - set: A\n  - set: B\n"),
        (["- set: A\r\n  market: UK\r\n"], b"  - set: A\n    market: UK\n"),
        (["- set: A # b\n"], b"  - set: A # b\n"),
        (["- set: A #b\n"], b"  - set: A #b\n"),
    ],
)
def test_texts_are_added_each_with_its_end_of_line(texts: list[str], added: bytes, tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_bytes(b"  - a: b\n")
    append(tmp_path, path, texts)
    assert path.read_bytes() == b"  - a: b\n" + added


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("\ufeff- set: A\n", "nothing was added, for the last entry would change"),
        ("---\n- set: A\n", "nothing was added, for the file has errors"),
    ],
)
def test_what_is_read_otherwise_behind_others_is_not_added(text: str, says: str) -> None:
    assert len(new_text._single_entries([text])) == 1
    with pytest.raises(CannotRun, match=says) as caught:
        new_text.checked(b"- a: b\n", [text], "a.yaml")
    assert all(problem.code for problem in caught.value.problems)


def test_an_entry_that_cannot_be_read_is_not_added(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_bytes(b"- a: b\n")
    for text in ("- set: @A\n", "- set: A\n- set: @B\n"):
        with pytest.raises(CannotRun) as caught:
            append(tmp_path, path, [text])
        assert str(caught.value).startswith(
            "nothing was written: the new entry cannot be read back\nthe new entry:"
        )
    assert path.read_bytes() == b"- a: b\n"


def test_how_long_a_writer_waits_and_how_often_it_tries() -> None:
    assert (locking.LOCK_WAIT_S, writing.TRIES) == (60.0, 5)


@pytest.mark.parametrize(
    ("old", "texts", "plainly"),
    [
        (b"", ["- set: A\n"], True),
        (b"- a: b\n", ["- set: A\n"], True),
        (b"- a: b\n", ["- set: A\n", "- set: B\n"], True),
        (b"# c\n", ["- set: A\n"], True),
        # The end of a line is missing, so that the last line of the old text would go on.
        (b"- a: b", ["- set: A\n"], False),
        (b"# c", ["- set: A\n"], False),
        (b"- a: b\n", ["- set: A"], False),
        # The old text is not of the plain shape, or takes the new one in.
        (b"- a: &b c\n", ["- set: A\n"], False),
        (b"- a: [b,\n", ["    c]\n"], False),
        (b"- a: b\n", ["  c: d\n"], False),
        (b"- a: b\n", ["- set: A\n- set: B\n"], False),
        (b"\xef\xbb\xbf", ["- set: A\n"], False),
        # What is new does not begin in the next line, or is fewer entries than texts.
        (b"- a: b\n", ["# c\n- set: A\n"], False),
        (b"", ["- set: A\n", "# c\n"], False),
    ],
)
def test_what_is_checked_by_one_reading(old: bytes, texts: list[str], plainly: bool) -> None:
    wanted = [read_bytes(text.encode(), "f").entries[:1] for text in texts]
    entries_of_texts = [entry for found in wanted for entry in found]
    found = new_text._plainly_checked(old, texts, entries_of_texts)
    assert (found is not None) == plainly
    if found is not None:
        assert found[0] == old + "".join(texts).encode()
        assert [e.line for e in found[1]] == [old.count(b"\n") + n for n in range(1, len(texts) + 1)]


def test_what_reads_otherwise_in_its_file_is_not_checked_by_one_reading() -> None:
    other = read_bytes(b"- set: B\n", "f").entries
    assert new_text._plainly_checked(b"- a: b\n", ["- set: A\n"], other) is None


def test_the_largest_file_is_still_added_to(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    new = b"- set: A\n"
    for old in (b"- a: b\n", b"- a: 'b # &\n    c'\n"):
        monkeypatch.setattr(new_text, "MOST_BYTES", len(old + new))
        assert new_text.checked(old, [new.decode()], "a.yaml")[0] == old + new
        plainly = new_text._plainly_checked(old, [new.decode()], read_bytes(new, "f").entries)
        assert (plainly is not None) == (b"&" not in old)
        monkeypatch.setattr(new_text, "MOST_BYTES", len(old + new) - 1)
        with pytest.raises(CannotRun):
            new_text.checked(old, [new.decode()], "a.yaml")
    monkeypatch.setattr(new_text, "MOST_BYTES", 21 << 20)
    with pytest.raises(CannotRun, match=r"^a.yaml: would be larger than 21 MiB; add to another file$"):
        new_text.checked(b"- a: ~ # " + b"x" * (21 << 20) + b"\n", [new.decode()], "a.yaml")


def test_one_thread_waits_for_another_without_locks_of_the_system(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "fcntl", None)
    held, done = threading.Event(), threading.Event()

    def hold() -> None:
        with locking.locked(tmp_path):
            held.set()
            done.wait(10)

    thread = threading.Thread(target=hold)
    thread.start()
    held.wait(10)
    monkeypatch.setattr(locking, "LOCK_WAIT_S", 0.05)
    with pytest.raises(CannotRun, match="another program has been writing"):
        append(tmp_path, tmp_path / "a.yaml", [NEW])
    done.set()
    thread.join()
    append(tmp_path, tmp_path / "a.yaml", [NEW])
    assert sorted(os.listdir(tmp_path)) == [".kgraph.lock", "a.yaml"]


def test_a_lock_that_cannot_be_given_back_undoes_nothing(
    target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(system.Lock, "give_back", _failing(errno.EIO))
    append(target.parent, target, [NEW])
    assert target.read_bytes() == OLD + NEW.encode()


def test_the_lock_is_marked_by_its_path_where_that_is_the_only_way(
    target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    marked: list[object] = []
    monkeypatch.setattr(os, "utime", marked.append)
    monkeypatch.setattr(os, "supports_fd", {os.utime})
    append(target.parent, target, [NEW])
    assert [type(one) for one in marked] == [int]
    monkeypatch.setattr(os, "supports_fd", {os.stat})
    append(target.parent, target, ["- set: Norvane 8\n"])
    assert marked[1:] == [target.parent / locking.LOCK_NAME]


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("nul.yaml", "Windows keeps the name nul for a device; choose another name"),
        ("a:b.yaml", "Windows has no ':' in names; choose another name"),
        (
            "bENCH.yaml",
            "differs from Bench.yaml in the case of letters alone, "
            "and Windows and macOS take them for one file; choose another name",
        ),
        (
            os.fsdecode(b"B\xe9.yaml"),
            "differs from b\\xe9.yaml in the case of letters alone, "
            "and Windows and macOS take them for one file; choose another name",
        ),
    ],
)
def test_no_new_file_gets_a_name_that_not_every_system_has(tmp_path: Path, name: str, says: str) -> None:
    for there in ("Bench.yaml", os.fsdecode(b"b\xe9.yaml")):
        (tmp_path / there).write_text("- set: Norvane 1\n", encoding="utf-8")
    with pytest.raises(WrongUse) as caught:
        append(tmp_path, tmp_path / name, ["- set: Norvane 7\n"])
    shown = os.fsencode(tmp_path / name).decode(errors="backslashreplace")
    assert str(caught.value) == f"{shown}: {says}"
    assert not (tmp_path / name).exists()
    # One that is there already is the user's own affair.
    (tmp_path / name).write_text("- set: Norvane 2\n", encoding="utf-8")
    append(tmp_path, tmp_path / name, ["- set: Norvane 7\n"])
    assert (tmp_path / name).read_text(encoding="utf-8") == "- set: Norvane 2\n- set: Norvane 7\n"


def test_what_is_gone_or_a_link_by_now_is_no_leftover_to_stumble_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = time.time() - placing.LEFT_OVER_S - 1
    link, gone = (f".kgraph-{os.getppid()}-{digit * 12}.tmp" for digit in "23")
    (tmp_path / "elsewhere").write_bytes(b"x")
    os.utime(tmp_path / "elsewhere", (old, old))
    # The link itself is of today.
    (tmp_path / link).symlink_to("elsewhere")
    real, removed = os.listdir, []
    monkeypatch.setattr(os, "listdir", lambda folder: [*real(folder), gone])
    monkeypatch.setattr(placing, "remove", removed.append)
    placing.remove_leftovers(tmp_path)
    assert removed == []
