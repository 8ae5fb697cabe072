"""The bytes of a fact file -> its text, with its lines and what is wrong with it so far.

What must not stand in a text is reported and blanked, so that reading can go on.
"""

from __future__ import annotations

import io
import re
from bisect import bisect_right
from collections.abc import Callable
from functools import cached_property

from kgraph.problems import Problem, Severity, Where, escaped, shown

MOST_PROBLEMS = 1000
"""After so many problems of one file, more are not noted."""

_OTHER_BREAKS = re.compile("[\x85\u2028\u2029]")
_LONE_CR = re.compile(r"\r(?!\n)")
_HASH = re.compile(r"[ \t]#(?=[^\s#])")


class Page:
    """The text of a file: index -> line and column, and the problems found so far."""

    def __init__(self, text: str, file: str) -> None:
        self.text = text
        self.file = file
        self.problems: list[Problem] = []
        self.spoilt: list[int] = []
        has_lf = "\n" in text
        # A file of an old system that ends its lines with CR alone; elsewhere CR is no line end.
        self.newline = "\r" if not has_lf and "\r" in text else "\n"
        # The parser also counts NEL, LS, PS and a lone CR as line ends, which editors do not.
        self.exact = (text.isascii() or not _OTHER_BREAKS.search(text)) and not (
            has_lf and _LONE_CR.search(text)
        )
        self.hashes = [m.end() - 1 for m in _HASH.finditer(text)] if "#" in text else []
        self.plain_ends: set[int] = set()
        self.quoted: set[tuple[int, int]] = set()
        self.good_keys: set[tuple[str, ...]] = set()

    @cached_property
    def starts(self) -> list[int]:
        """The index at which each line starts."""
        return [0, *(m.end() for m in re.finditer(self.newline, self.text))]

    @cached_property
    def stream(self) -> io.StringIO:
        """The text as a stream without any translation of line ends."""
        return io.StringIO(self.text)

    def place(self, index: int) -> tuple[int, int]:
        """Line and column, from 1, of a character."""
        line = bisect_right(self.starts, index)
        return line, index - self.starts[line - 1] + 1

    def index(self, line: int, column: int) -> int:
        """The character at a line and column."""
        return self.starts[line - 1] + column - 1

    def line_at(self, index: int) -> str:
        """The line in which a character stands, without its end."""
        start = self.starts[self.place(index)[0] - 1]
        end = self.text.find(self.newline, start)
        return self.text[start : end if end >= 0 else len(self.text)].rstrip("\r")

    def report(self, index: int, code: str, says: str, mend: str = "", severity: Severity = "error") -> None:
        """Note a problem at a character."""
        if len(self.problems) > MOST_PROBLEMS:
            return
        if len(self.problems) == MOST_PROBLEMS:
            code, says, mend, severity = "more", "more problems in this file are not shown", "", "error"
        self.problems.append(Problem(Where(self.file, *self.place(index)), code, says, mend, severity))


# --- Bytes -> text -------------------------------------------------------------------------------

_NOT_UTF8 = re.compile("[\udc80-\udcff]")
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\ufffe\uffff]")
_USUAL = bytes([9, 10, 13, *range(0x20, 0x7F)])
_MARKER = re.compile(r"^(<{7}|\|{7}|>{7})(?: [^\n]*)?$|^={7}\r?$", re.MULTILINE)


def page_of(data: bytes, file: str) -> Page:
    """The text of a file; what must not be in it is reported and blanked, so that reading can go on."""
    bare = data[3:] if data.startswith(b"\xef\xbb\xbf") else data
    try:
        text = bare.decode()
        page = Page(text, file)
    except UnicodeDecodeError:
        text = bare.decode(errors="surrogateescape")
        page = Page(text, file)
        _refuse_characters(page, _NOT_UTF8, _says_not_utf8)
    if bare.translate(None, _USUAL):
        _refuse_characters(page, _CONTROL, _says_control)
    _refuse_conflicts(page)
    return page


def _says_not_utf8(char: str) -> tuple[str, str, str]:
    byte = ord(char) - 0xDC00
    return "not-utf-8", f"byte 0x{byte:02X} is not UTF-8", "save the file as UTF-8"


def _says_control(char: str) -> tuple[str, str, str]:
    name = escaped(char)
    return "control-character", f"control character {name}", "take it out"


def _refuse_characters(
    page: Page, pattern: re.Pattern[str], says: Callable[[str], tuple[str, str, str]]
) -> None:
    """Report each such character and put U+FFFD in its place."""
    found = [m.start() for m in pattern.finditer(page.text)]
    for index in found[: MOST_PROBLEMS + 1]:
        page.report(index, *says(page.text[index]))
    if found:
        page.spoilt = sorted([*page.spoilt, *found])
        page.text = pattern.sub("\ufffd", page.text)


def _refuse_conflicts(page: Page) -> None:
    """Report the marker lines of an unresolved merge and read on with the first side only."""
    marks = list(_MARKER.finditer(page.text))
    if not any(m[1] for m in marks):
        return
    pieces: list[str] = []
    done = 0
    second_side = False
    for mark in marks:
        says = f"unresolved merge: {shown(mark[0].rstrip(), 20)}"
        page.report(mark.start(), "merge-conflict", says, "choose one of the two sides, take out the marks")
        page.spoilt = sorted([*page.spoilt, mark.start()])
        between = page.text[done : mark.start()]
        pieces += [_blank(between) if second_side else between, _blank(mark[0])]
        second_side = mark[1] is None or mark[1].startswith("|")
        done = mark.end()
    page.text = "".join([*pieces, page.text[done:]])


def _blank(text: str) -> str:
    return re.sub(r"[^\n]", " ", text)
