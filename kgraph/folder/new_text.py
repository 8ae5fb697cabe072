"""The new bytes of a fact file: entries after its last one, in its own layout, read before they count."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from kgraph.folder.disk import MOST_BYTES
from kgraph.folder.nodes import Map, content
from kgraph.folder.reading import ReadFile, read_bytes, read_plain
from kgraph.problems import CannotRun, Problem, Where


@dataclass(frozen=True, slots=True)
class _Layout:
    """How a file is written: the column of its dashes and its line end."""

    indent: int
    newline: str


_END = re.compile(r"(?:\A|[\r\n])\.\.\.(?=[ \t\r\n]|\Z)")


_FIRST_ITEM = re.compile(r"(?:\A|[\r\n])(?P<indent> *)(?:---[ \t]+)?(?P<open>[^ \t\r\n#%])[^\r\n]*")


def _layout(text: str, name: str) -> _Layout:
    """The layout of a file that reads without errors; raises CannotRun if nothing can be appended."""
    if _END.search(text):
        raise CannotRun(f"{name}: ends with the line ...; take it out, or add to another file")
    indent = 0
    for match in _FIRST_ITEM.finditer(text.removeprefix("\ufeff")):
        if match[0].strip("\r\n").startswith("---") and match["open"] == "-":
            continue
        if match["open"] != "-":
            raise CannotRun(
                f"{name}: is one list in brackets [...]; add to another file, for example new.yaml"
            )
        indent = len(match["indent"])
        break
    ends = re.findall(r"\r\n|\n", text) or re.findall(r"\r", text) or ["\n"]
    return _Layout(indent, ends[-1])


def _appended(old: bytes, texts: Sequence[str], name: str) -> bytes:
    """The bytes of a file with the entries after its last one, in its own layout."""
    text = old.decode()
    layout = _layout(text, name)
    texts = [t.replace("\r\n", "\n") for t in texts]
    new = "".join(t if t.endswith("\n") else t + "\n" for t in texts)
    if layout.indent:
        new = re.sub(r"^(?=[^\n])", " " * layout.indent, new, flags=re.MULTILINE)
    if text.strip("\ufeff") and not text.endswith(("\n", layout.newline)):
        new = "\n" + new
    return old + new.replace("\n", layout.newline).encode()


def _single_entries(texts: Sequence[str]) -> list[Map]:
    """The entries of the texts to append; each must be exactly one."""
    entries: list[Map] = []
    for text in texts:
        read = read_bytes(text.encode(errors="surrogatepass"), "the new entry")
        errors = [p for p in read.problems if p.severity == "error"]
        if errors or len(read.entries) != 1:
            raise CannotRun("nothing was written: the new entry cannot be read back", *errors)
        entries += read.entries
    return entries


def _refuse_errors(read: ReadFile) -> None:
    errors = [p for p in read.problems if p.severity == "error"]
    if errors:
        raise CannotRun(f"{read.path}: nothing was added, for the file has errors; mend them first", *errors)


def _plainly_checked(
    old: bytes, texts: Sequence[str], new_entries: Sequence[Map]
) -> tuple[bytes, tuple[Map, ...]] | None:
    """The new bytes and the new entries in them, where old and new lines are of the plain shape; else None.

    A plain file is read line by line, and no line changes how one before it is read. So where the new text
    reads plainly, and its last entries are the new ones and begin in the line after the old text, the others
    are those of the old text, which has no fault: it need not be read by itself.
    """
    new = old + "".join(texts).encode()
    if len(new) > MOST_BYTES or not (old.endswith(b"\n") or not old) or not new.endswith(b"\n"):
        return None
    after = read_plain(new)
    if after is None or len(after) < len(texts):
        return None
    added = after[-len(texts) :]
    begins = added[0].line == old.count(b"\n") + 1
    return (new, added) if begins and [*map(content, added)] == [*map(content, new_entries)] else None


def checked(old: bytes, texts: Sequence[str], name: str) -> tuple[bytes, tuple[Where, ...]]:
    """The new bytes of a file, and where the new entries stand; raises CannotRun if they do not fit."""
    new_entries = _single_entries(texts)
    plainly = _plainly_checked(old, texts, new_entries)
    if plainly is not None:
        new, added = plainly
        return new, tuple(Where(name, e.line, e.column) for e in added)
    before = read_bytes(old, name)
    _refuse_errors(before)
    new = _appended(old, texts, name)
    if len(new) > MOST_BYTES:
        raise CannotRun(f"{name}: would be larger than {MOST_BYTES // 2**20} MiB; add to another file")
    after = read_bytes(new, name)
    count = len(before.entries)
    added = after.entries[count:]
    same = after.entries[:count] == before.entries
    if not same or [*map(content, added)] != [*map(content, new_entries)]:
        line = before.entries[-1].line if before.entries else 1
        mend = "end the file with an empty line at the left margin, or add to another file"
        says = "nothing was added, for the last entry would change"
        raise CannotRun(Problem(Where(name, line), "append", says, mend))
    _refuse_errors(after)
    return new, tuple(Where(name, e.line, e.column) for e in added)
