"""Fact files as bytes -> entries with their places; what YAML may do and we refuse.

The file is parsed as a stream of YAML events; nothing is ever constructed from it but text,
lists and mappings, so that `012`, `no` and `2024-01-01` stay the names that they are. Faults
are collected as problems: a fault in one entry does not hide the others.
"""

from __future__ import annotations

import gc
import io
import os
import re
import stat
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import yaml
from yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
    StreamEndEvent,
)

from kgraph import words
from kgraph.folder import plain
from kgraph.folder.nodes import LONGEST_KEY as LONGEST_KEY
from kgraph.folder.nodes import (
    MOST_KEYS,
    new_map,
    new_text,
    set_column,
    set_line,
    set_map_column,
    set_map_line,
    set_pairs,
    set_plain,
    set_value,
)
from kgraph.folder.nodes import Map as Map
from kgraph.folder.nodes import Node as Node
from kgraph.folder.nodes import Seq as Seq
from kgraph.folder.nodes import Text as Text
from kgraph.names import fold
from kgraph.problems import CannotRun, Problem, Severity, Where, in_order

MOST_BYTES = 64 * 2**20
"""The most bytes that a fact file may have."""
DEEPEST = 20
"""The most lists and mappings that may stand in each other, the file's own list included."""
MOST_FAULTS = 200
"""After so many places in a file at which YAML breaks off, the rest of it is not read."""
MOST_PROBLEMS = 1000
"""After so many problems of one file, more are not noted."""


@dataclass(frozen=True, slots=True)
class ReadFile:
    """What stands in one file: the entries that could be read, and everything that is wrong."""

    path: str
    entries: tuple[Map, ...]
    problems: tuple[Problem, ...]


def shown(text: str, most: int = 60) -> str:
    """A text of the user's for a message: cut short, nothing in it that a screen would obey."""
    cut = text if len(text) <= most else text[:most] + "..."
    return "".join(c if c.isprintable() else _escape(c) for c in cut)


def _escape(char: str) -> str:
    code = ord(char)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


# --- The text of a file, its lines and its problems ----------------------------------------------

_OTHER_BREAKS = re.compile("[\x85\u2028\u2029]")
_LONE_CR = re.compile(r"\r(?!\n)")
_HASH = re.compile(r"[ \t]#(?=[^\s#])")
_WORD = re.compile(r"[^\s,\[\]{}]*")
_INDENTING_TAB = re.compile(r" *\t")


@dataclass(eq=False)
class _Fault(Exception):
    """A refusal after which the rest of the entry is not read. `index` is counted in characters."""

    index: int
    code: str
    says: str
    mend: str = ""
    fatal: bool = False


class _Page:
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
        self.good_keys: set[tuple[str, ...]] = set()

    @cached_property
    def starts(self) -> list[int]:
        """The index at which each line starts."""
        return [0, *(m.end() for m in re.finditer(self.newline, self.text))]

    @cached_property
    def stream(self) -> io.StringIO:
        """The text as a stream without any translation of line ends."""
        return io.StringIO(self.text, newline="")

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


def _page(data: bytes, file: str) -> _Page:
    """The text of a file; what must not be in it is reported and blanked, so that reading can go on."""
    bare = data[3:] if data.startswith(b"\xef\xbb\xbf") else data
    try:
        text = bare.decode()
        page = _Page(text, file)
    except UnicodeDecodeError:
        text = bare.decode(errors="surrogateescape")
        page = _Page(text, file)
        _refuse_characters(page, _NOT_UTF8, _says_not_utf8)
    if not text.isascii() or bare.translate(None, _USUAL):
        _refuse_characters(page, _CONTROL, _says_control)
    if "<<<<<<<" in text or ">>>>>>>" in text:
        _refuse_conflicts(page)
    return page


def _says_not_utf8(char: str) -> tuple[str, str, str]:
    byte = ord(char) - 0xDC00
    return "not-utf-8", f"byte 0x{byte:02X} is not UTF-8", "save the file as UTF-8"


def _says_control(char: str) -> tuple[str, str, str]:
    name = _escape(char)
    return "control-character", f"control character {name}", "take it out"


def _refuse_characters(
    page: _Page, pattern: re.Pattern[str], says: Callable[[str], tuple[str, str, str]]
) -> None:
    """Report each such character and put U+FFFD in its place."""
    found = [m.start() for m in pattern.finditer(page.text)]
    for index in found[: MOST_PROBLEMS + 1]:
        page.report(index, *says(page.text[index]))
    if found:
        page.spoilt = sorted([*page.spoilt, *found])
        page.text = pattern.sub("\ufffd", page.text)


def _refuse_conflicts(page: _Page) -> None:
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
    return re.sub(r"[^\r\n]", " ", text)


# --- Events -> nodes -----------------------------------------------------------------------------


class _Run:
    """One pass over a stretch of the text: the items of its list, up to the first fault that stops."""

    def __init__(self, page: _Page, start: int, end: int | None = None) -> None:
        self.page = page
        self.start = start
        self.end = end
        self.first_line = page.place(start)[0] if start else 1
        self.top: list[Node] = []
        self.bad: set[int] = set()
        self.stack: list[tuple[list[Node], Any]] = []
        self.dash: int | None = None
        self.odd = not page.exact or any(c in page.text for c in "&!")
        self.error: _Fault | yaml.YAMLError | None = None
        self._go()

    def _go(self) -> None:
        loader: Any = yaml.CBaseLoader(self._source())
        try:
            self._documents(loader.get_event)
        except (_Fault, yaml.YAMLError) as error:
            self.error = error
        finally:
            loader.dispose()

    @property
    def opened(self) -> int | None:
        """Where the innermost bracket or brace stands of those that are not closed."""
        starts = (mark.index + self.start for _, mark in reversed(self.stack))
        return next((i for i in starts if self.page.text[i] in "[{"), None)

    def _source(self) -> str | io.StringIO:
        text = self.page.text
        if self.end is not None:
            return text[self.start : self.end]
        if not self.start:
            return text
        # From a stream the parser reads no more than it needs, so that a file with many
        # faults is not copied whole for each of them.
        self.page.stream.seek(self.start)
        return self.page.stream

    def _documents(self, get: Callable[[], Any]) -> None:
        seen = 0
        while True:
            event: Any = get()
            kind: type = type(event)
            if kind is StreamEndEvent:
                return
            if kind is not DocumentStartEvent:
                continue
            index = event.start_mark.index + self.start
            if seen:
                self.page.report(index, "documents", "a second document in one file", "take out the line ---")
            if event.tags:
                self.page.report(index, "tag", "tags are not used here", "take out the line %TAG")
            seen += 1
            self._document(get(), get)

    def _document(self, event: Any, get: Callable[[], Any]) -> None:
        index = event.start_mark.index + self.start
        kind = type(event)
        if kind is ScalarEvent and not event.value and not event.style:
            if event.anchor or event.tag:
                self._refuse(event)
            return
        if kind is not SequenceStartEvent:
            raise _not_a_list(self.page, index, kind is MappingStartEvent)
        if event.anchor or event.tag:
            self._refuse(event)
        if not event.flow_style:
            self.dash = event.start_mark.column
        self._items(get)

    def _items(self, get: Callable[[], Any]) -> None:
        """The events of the top-level list -> nodes in `top`. This loop is what reading costs."""
        page, offset, first_line, stack = self.page, self.start, self.first_line, self.stack
        ends = page.plain_ends if page.hashes else None
        odd = self.odd
        items = self.top
        while True:
            event = get()
            kind = type(event)
            if kind is ScalarEvent:
                mark = event.start_mark
                style = event.style
                text = new_text(Text)
                set_value(text, event.value)
                set_line(text, mark.line + first_line)
                set_column(text, mark.column + 1)
                set_plain(text, not style)
                if odd:
                    text = self._odd(event, text)
                if style:
                    if event.end_mark.line != mark.line:
                        self._over_lines(event)
                elif ends is not None:
                    ends.add(event.end_mark.index + offset)
                items.append(text)
            elif kind is MappingStartEvent or kind is SequenceStartEvent:
                stack.append((items, event.start_mark))
                items = []
                if odd or len(stack) >= DEEPEST:
                    self._refuse(event)
            elif kind is AliasEvent:
                self._refuse(event)
                items.append(Text(event.anchor, *self._place(event.start_mark), False))
            elif not stack:
                return
            else:
                outer, mark = stack.pop()
                outer.append(self._close(kind, items, mark))
                items = outer

    def _place(self, mark: Any) -> tuple[int, int]:
        if self.page.exact:
            return mark.line + self.first_line, mark.column + 1
        return self.page.place(mark.index + self.start)

    def _odd(self, event: Any, text: Text) -> Text:
        """What is looked at only in files that have a character that can make it necessary."""
        if event.tag is not None or event.anchor is not None:
            self._refuse(event)
        if self.page.exact:
            return text
        return Text(text.value, *self.page.place(event.start_mark.index + self.start), text.plain)

    def _close(self, kind: type, items: list[Node], mark: Any) -> Seq | Map:
        """The list or mapping that ends here."""
        line, column = self._place(mark)
        if kind is SequenceEndEvent:
            return Seq(tuple(items), line, column)
        try:
            keys = tuple([item.value for item in items[::2]])  # type: ignore[union-attr]
        except AttributeError:
            keys = None
        if keys not in self.page.good_keys:
            self._check_keys(items, mark)
        each = iter(items)
        made = new_map(Map)
        set_pairs(made, tuple(zip(each, each, strict=True)))  # type: ignore[arg-type]
        set_map_line(made, line)
        set_map_column(made, column)
        return made

    def _check_keys(self, items: list[Node], mark: Any) -> None:
        """Refuse what cannot be a key here; sets of keys that are in order are remembered."""
        faults = list(_key_faults(self.page, items[::2]))
        if len(items) // 2 > MOST_KEYS:
            says = f"{len(items) // 2} keys in one mapping; {MOST_KEYS} is the most"
            faults.append((mark.index + self.start, "many-keys", says, "make it several entries"))
        for fault in faults:
            self._report(*fault)
        if not faults and not any(isinstance(k, Text) and k.value == "<<" for k in items[::2]):
            self.page.good_keys.add(tuple(k.value for k in items[::2] if isinstance(k, Text)))

    def _report(self, index: int, code: str, says: str, mend: str) -> None:
        """Note a problem of the item that is being read, which is then left out."""
        self.page.report(index, code, says, mend)
        self.bad.add(len(self.top))

    def _refuse(self, event: Any) -> None:
        """Report an alias, an anchor, a tag or too deep a nesting where it stands."""
        if type(event) is not AliasEvent and event.anchor is None and event.tag is None:
            if len(self.stack) >= DEEPEST:
                raise _too_deep(event.start_mark.index + self.start)
            return
        index = event.start_mark.index + self.start
        word = shown(_WORD.match(self.page.text, index)[0])  # type: ignore[index]
        mend = f"take it out; or, if it is a name, {_in_quotes(self.page, index)}"
        if type(event) is AliasEvent:
            self._report(index, "alias", f"alias {word} refused", mend)
            return
        if event.anchor is not None:
            self._report(index, "anchor", f"anchor {word} refused", mend)
        if event.tag is not None:
            self._report(index, "tag", f"tag {word} refused", mend)
        if len(self.stack) >= DEEPEST:
            raise _too_deep(index)

    def _over_lines(self, event: Any) -> None:
        """Refuse a quoted text in which another entry seems to start: its quote was left open."""
        if event.style not in "'\"" or self.dash is None:
            return
        start, end = event.start_mark.index + self.start, event.end_mark.index + self.start
        if re.search(rf"[\r\n] {{0,{self.dash}}}-[ \r\n]", self.page.text[start:end]):
            raise _open_quote(start)


def _key_faults(page: _Page, keys: Iterable[Node]) -> Iterator[tuple[int, str, str, str]]:
    seen: dict[str, Text] = {}
    for key in keys:
        index = page.index(key.line, key.column)
        if not isinstance(key, Text):
            yield index, "key", "a list or mapping cannot be a key", "write key: value"
            continue
        if key.value == "<<" and key.plain:
            yield index, "merge-key", "merge key << refused", "write the keys themselves"
            continue
        if not key.value:
            yield index, "key", "a key is missing before ':'", "write key: value"
        if len(key.value) > LONGEST_KEY:
            yield index, "long-key", f"key of {len(key.value)} characters", f"{LONGEST_KEY} is the most"
        first = seen.setdefault(fold(key.value) or key.value, key)
        if first is not key:
            says = f"key '{shown(key.value)}' is already in line {first.line}"
            if first.value != key.value:
                says += f", written '{shown(first.value)}'"
            yield index, "duplicate-key", says, "keep one of the two; several values go in a list: [a, b]"


# --- Faults in words -----------------------------------------------------------------------------


def _too_deep(index: int) -> _Fault:
    says = f"nested deeper than {DEEPEST} lists and mappings"
    return _Fault(index, "nesting", says, "make it several entries")


def _open_quote(index: int) -> _Fault:
    says = "the quote that opens here is not closed in its entry"
    return _Fault(
        index, "open-quote", says, "close it; a quote mark in a text goes in the other kind of quotes"
    )


def _tab(index: int) -> _Fault:
    return _Fault(index, "tab", "tab in the indentation", "indent with spaces")


def _not_a_list(page: _Page, index: int, mapping: bool) -> _Fault:
    says = "a fact file is a list of entries"
    line = shown(page.line_at(index).lstrip(" -").rstrip())
    mend = (
        f"start each entry with '- ': - {line}" if mapping else "write - KIND: NAME, for example - set: NAME"
    )
    return _Fault(index, "not-a-list", says, mend, fatal=True)


def _quoted(value: str) -> str:
    if '"' in value or "\\" in value:
        return "'" + value.replace("'", "''") + "'"
    return f'"{value}"'


_FIRST_DASH = re.compile(r"(?:\A|[\r\n])( *)-[ \r\n]")
_LINE = re.compile(r"[ ]*(?:-[ ]+)?(?P<key>[^:\[{]+):[ ]+(?P<value>.*?)[ ]*$")


def _in_quotes(page: _Page, index: int) -> str:
    """A mend: the line of a character, with its value in quotes."""
    match = _LINE.match(page.line_at(index))
    within = match and page.place(index)[1] - 1 > match.start("value")
    if not match or (within and match["value"].startswith(("[", "{"))):
        return "put it in quotes"
    return f"put quotes round it: {shown(match['key'], 30)}: {shown(_quoted(match['value']))}"


def _value_start(page: _Page, at: int, context: int | None) -> _Fault:
    char = shown(page.text[at : at + 1])
    if char == "\\x09":
        return _tab(at)
    return _Fault(at, "indicator", f"a value cannot start with {char}", _in_quotes(page, at))


def _block_start(page: _Page, at: int, context: int | None) -> _Fault:
    return _value_start(page, at if context is None else context, None)


def _second_colon(page: _Page, at: int, context: int | None) -> _Fault:
    before = page.line_at(at)[: page.place(at)[1] - 1]
    if ": " in before:
        return _Fault(at, "colon", "a second ': ' in one line", _in_quotes(page, at))
    mend = "indent it exactly as the key above it, or put quotes round the text above"
    return _Fault(at, "indentation", f"'{shown(before.strip())}:' cannot stand here", mend)


def _open_bracket(page: _Page, at: int, context: int | None) -> _Fault:
    line = page.line_at(at if context is None else context)
    if context is None or (at < len(page.text) and page.place(context)[0] == page.place(at)[0]):
        says = "no ',' and no closing bracket before this"
        return _Fault(at, "open-bracket", says, "put a name that has brackets or commas in quotes")
    mend = "close it"
    if " #" in line:
        mend = "what follows ' #' is a comment: put the text in quotes"
    elif not line.rstrip().endswith((",", "[", "{")):
        mend += f", or {_in_quotes(page, context)}"
    return _Fault(context, "open-bracket", f"{page.text[context]} is not closed in its entry", mend)


def _no_colon(page: _Page, at: int, context: int | None) -> _Fault:
    start = at if context is None else context
    line = page.line_at(start).strip()
    if len(line) > 1000:
        return _Fault(start, "long-key", "key too long", f"{LONGEST_KEY} characters is the most")
    mend = "write key: value; a text that goes on is indented further than its key"
    return _Fault(start, "no-colon", f"no ': ' in this line: {shown(line)}", mend)


def _no_key(page: _Page, at: int, context: int | None) -> _Fault:
    column = page.place(at)[1]
    before = page.line_at(at)[: column - 1].strip(" -")
    if at == context or page.text.startswith(":", at):
        return _Fault(at, "key", "a key is missing before ':'", "write key: value")
    if before:
        rest = shown(page.line_at(at)[column - 1 :])
        mend = "one value a key; inside of '...' a ' is written twice"
        if re.search(r": +\"", before):
            mend = _in_quotes(page, at)
        return _Fault(at, "after-value", f"text after the value: {rest}", mend)
    mend = "indent it exactly as the other keys of its entry"
    return _Fault(at, "indentation", f"indentation of {column - 1} does not fit its entry", mend)


def _no_dash(page: _Page, at: int, context: int | None) -> _Fault:
    line = page.line_at(at).strip()
    says = f"this line belongs to no entry: {shown(line)}"
    mend = "start an entry with '- '; the other keys stand exactly under its first one"
    if line.startswith("-") and not line.startswith("- "):
        mend = "write a blank after the -"
    elif ": " in line and line.partition(":")[0] not in words.KINDS:
        mend = "indent it exactly as the other keys of its entry"
    return _Fault(at, "indentation", says, mend)


def _unclosed_quote(page: _Page, at: int, context: int | None) -> _Fault:
    return _open_quote(at if context is None else context)


_ESCAPE = re.compile(r"\\(?:x[0-9a-fA-F]{0,2}|u[0-9a-fA-F]{0,4}|U[0-9a-fA-F]{0,8}|.)")


def _escape_fault(page: _Page, at: int, context: int | None) -> _Fault:
    start = page.text.rfind("\\", 0, at + 1)
    match = _ESCAPE.match(page.text, max(start, 0))
    escape = shown(match[0]) if match else "this"
    mend = r"write \\ for a backslash, or use '...'; a character is written as itself"
    return _Fault(max(start, 0), "escape", f"{escape} is no character", mend)


def _directive(page: _Page, at: int) -> _Fault:
    return _Fault(at, "version", f"not known: {shown(page.line_at(at))}", "take out the line")


def _after_end(page: _Page, at: int, context: int | None) -> _Fault:
    above = page.text[:at].rstrip().rpartition(page.newline)[2]
    if not above.startswith(("...", "---")):
        mend = "indent it exactly as the entries above it"
        return _Fault(at, "indentation", "this line stands further left than the list", mend)
    return _Fault(at, "documents", "text after the end of the list", "take out the line ... or ---")


_WORDS: tuple[tuple[str, Callable[[_Page, int, int | None], _Fault]], ...] = (
    ("found character that cannot start any token", _value_start),
    ("mapping values are not allowed", _second_colon),
    ("block sequence entries are not allowed", _value_start),
    ("mapping keys are not allowed", _value_start),
    ("did not find expected comment or line break", _block_start),
    ("found an indentation indicator", _block_start),
    ("did not find expected node content", _value_start),
    ("did not find expected ','", _open_bracket),
    ("could not find expected ':'", _no_colon),
    ("did not find expected key", _no_key),
    ("did not find expected '-' indicator", _no_dash),
    ("did not find expected <document start>", _after_end),
    ("found unexpected end of stream", _unclosed_quote),
    ("found unexpected document indicator", _unclosed_quote),
    ("found unknown escape character", _escape_fault),
    ("found invalid Unicode character escape", _escape_fault),
    ("did not find expected hexdecimal number", _escape_fault),
    ("exceeded maximum nesting depth", lambda page, at, context: _too_deep(at)),
    ("did not find expected alphabetic or numeric", _block_start),
    ("undefined tag handle", _block_start),
)


def _explain(page: _Page, error: _Fault | yaml.YAMLError, offset: int, opened: int | None) -> _Fault:
    """What the parser found, in words and at the place that the user can mend.

    `opened`: the innermost bracket or brace that was open there.
    """
    if isinstance(error, _Fault):
        return error
    if not isinstance(error, yaml.MarkedYAMLError) or error.problem_mark is None:
        return _Fault(offset, "yaml", "not readable as YAML")
    at = error.problem_mark.index + offset
    context = error.context_mark.index + offset if error.context_mark else None
    line = page.line_at(at)
    if _INDENTING_TAB.match(line) and line.strip():
        return _tab(page.starts[page.place(at)[0] - 1] + line.index("\t"))
    if line.startswith("%"):
        return _directive(page, at)
    if (error.context or "").endswith(" a tag"):
        return _block_start(page, at, context)
    problem = error.problem or ""
    if opened is not None and "node content" in problem and page.text[at : at + 1] in ("", "-"):
        # After a comma the parser waits for one more item, and meets the next entry or the end.
        return _open_bracket(page, at, opened)
    for phrase, explain in _WORDS:
        if phrase in problem:
            return explain(page, at, context)
    return _Fault(at, "yaml", f"not readable as YAML: {problem}")


# --- Going on after a fault ----------------------------------------------------------------------


@dataclass(slots=True)
class _Reader:
    """Reads a page run by run: after a fault it goes on with the next entry."""

    page: _Page
    entries: list[Map] = field(default_factory=list)
    faults: int = 0
    dash: int | None = None
    starts: list[int] | None = None

    def read(self) -> None:
        start: int | None = 0
        first: _Fault | None = None
        while start is not None:
            run = _Run(self.page, start)
            self.dash = run.dash if self.dash is None else self.dash
            self._keep(run)
            if run.error is None:
                break
            fault = _explain(self.page, run.error, start, run.opened)
            first = first or fault
            start = self._mend(run, fault)
        if first and not any(p.severity == "error" for p in self.page.problems):
            self._fault(first)

    def _fault(self, fault: _Fault) -> None:
        self.faults += 1
        self.page.report(fault.index, fault.code, fault.says, fault.mend)

    def _mend(self, run: _Run, fault: _Fault) -> int | None:
        """Report the fault that ended a run; where the next run starts, or None for nowhere."""
        if self.faults >= MOST_FAULTS:
            self.page.report(fault.index, "more", "too many faults; the file is not read from here on")
            return None
        if fault.fatal:
            self._fault(fault)
            return None
        starts = self._entry_starts()
        which = self._faulty(run, starts)
        if which >= len(starts) or (not run.stack and fault.index < starts[which]):
            self._fault(fault)
            return starts[which] if which < len(starts) else None
        # The entry is read once more by itself: a quote left open then ends at its end, and
        # a fault that the parser met ahead of the entry's last line is left to the next run.
        end = starts[which + 1] if which + 1 < len(starts) else None
        alone = _Run(self.page, starts[which], len(self.page.text) if end is None else end)
        self._keep(alone)
        if alone.error:
            self._fault(_explain(self.page, alone.error, starts[which], alone.opened))
        return end

    def _entry_starts(self) -> list[int]:
        """Where the lines start that start an entry, were the file in order."""
        if self.starts is None:
            first = _FIRST_DASH.search(self.page.text)
            dash = len(first[1]) if first else 0
            self.starts = _entry_starts(self.page, dash if self.dash is None else self.dash)
        return self.starts

    def _faulty(self, run: _Run, starts: list[int]) -> int:
        """Which entry the fault of a run is in, as an index into `starts`."""
        if run.stack:
            return max(bisect_right(starts, run.stack[0][1].index + run.start) - 1, 0)
        if run.top:
            last = run.top[-1]
            return bisect_right(starts, self.page.index(last.line, last.column))
        return bisect_right(starts, run.start - 1)

    def _keep(self, run: _Run) -> None:
        """Take the items of a run that are entries; report those that are none."""
        if not run.bad and not self.page.spoilt and all(type(i) is Map and i.pairs for i in run.top):
            self.entries += run.top  # type: ignore[arg-type]
            return
        for number, item in enumerate(run.top):
            if number in run.bad:
                continue
            if not isinstance(item, Map) or not item.pairs:
                self._not_an_entry(item)
            elif not self.page.spoilt or not self._spoilt(run, number):
                self.entries.append(item)

    def _not_an_entry(self, item: Node) -> None:
        index = self.page.index(item.line, item.column)
        says = "this item is not an entry"
        if isinstance(item, Map) or (isinstance(item, Text) and not item.value):
            says = "an empty entry"
        elif isinstance(item, Text):
            says = f"this item is not an entry: {shown(item.value)}"
        self.page.report(index, "not-an-entry", says, "write - KIND: NAME, for example - set: NAME")

    def _spoilt(self, run: _Run, number: int) -> bool:
        """Whether something was blanked between this item and the next."""
        start = self.page.index(run.top[number].line, 1)
        if number + 1 < len(run.top):
            end = self.page.index(run.top[number + 1].line, 1)
        elif run.stack:
            end = run.stack[0][1].index + run.start
        elif run.end is not None:
            end = run.end
        else:
            starts = self._entry_starts()
            later = bisect_right(starts, start)
            end = starts[later] if later < len(starts) else len(self.page.text)
        spoilt = self.page.spoilt
        return bisect_left(spoilt, start) < bisect_left(spoilt, end)


def _entry_starts(page: _Page, dash: int) -> list[int]:
    pattern = rf"(?:\A|(?<={page.newline})) {{{dash}}}-(?=[ \t\r\n]|\Z)"
    return [m.start() for m in re.finditer(pattern, page.text)]


_IN_LIST = re.compile(r" *(?:- +)?[^\s#\"'][^:\"']*: +[\[{][^\]}\"']*[,\[{] *")
"""What stands before a '#' with which an item of a list that goes on in the next line begins."""


def _warn_of_cuts(page: _Page) -> None:
    """Warn of `K #114`, of which YAML reads `K` only."""
    for index in page.hashes:
        end = index
        while page.text[end - 1 : end] in (" ", "\t"):
            end -= 1
        line, column = page.line_at(index), page.place(index)[1] - 1
        if end in page.plain_ends or _IN_LIST.fullmatch(line, 0, column):
            says = f"{shown(line[column:], 30)} is read as a comment"
            page.report(index, "hash-cuts", says, _in_quotes(page, index), "warning")


_JOINED = re.compile(rf"^ *#[^\n]*[^\s#](- (?:{'|'.join(words.KINDS)}): [^\n]*)", re.MULTILINE)


def _warn_of_joined(page: _Page) -> None:
    """Warn of an entry whose first line was joined to a comment, and so is read as part of it."""
    for match in _JOINED.finditer(page.text):
        says = f"{shown(match[1].rstrip(), 30)} is read as part of the comment"
        mend = "if it is an entry, begin a new line with it"
        page.report(match.start(1), "joined-comment", says, mend, "warning")


# --- Files ---------------------------------------------------------------------------------------


@contextmanager
def _no_collection() -> Iterator[None]:
    """Hold the garbage collector: reading makes many objects, and no cycles."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            # What was made goes to the oldest generation at once, without being looked through,
            # unless the program keeps frozen objects of its own, which must stay so.
            if not gc.get_freeze_count():
                gc.freeze()
                gc.unfreeze()
            gc.enable()


def read_bytes(data: bytes, file: str) -> ReadFile:
    """The entries of a fact file's bytes and all that is wrong with it; never raises for bad input.

    An empty value is a :class:`Text` of no characters; `null`, `~`, `no`, `012` stay text.
    """
    if len(data) > MOST_BYTES:
        says = f"more than {MOST_BYTES // 2**20} MiB"
        return ReadFile(file, (), (Problem(Where(file), "size", says, "make it several files"),))
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        problem = Problem(Where(file), "utf-16", "the file is UTF-16", "save it as UTF-8")
        return ReadFile(file, (), (problem,))
    with _no_collection():
        quick = plain.entries(data)
        return by_yaml(data, file) if quick is None else ReadFile(file, quick, ())


def read_plain(data: bytes) -> tuple[Map, ...] | None:
    """The entries of bytes in the shape of :mod:`kgraph.folder.plain`, which have no fault; else None."""
    with _no_collection():
        return plain.entries(data)


def by_yaml(data: bytes, file: str) -> ReadFile:
    """The same of any bytes that are neither too many nor UTF-16, by a parser of all YAML."""
    page = _page(data, file)
    reader = _Reader(page)
    reader.read()
    if page.hashes:
        _warn_of_cuts(page)
    _warn_of_joined(page)
    return ReadFile(file, tuple(reader.entries), tuple(in_order(page.problems)))


def read_path(path: Path) -> bytes:
    """The bytes of a regular file, at most one more than :data:`MOST_BYTES`; never waits on a fifo."""
    descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
    with open(descriptor, "rb") as stream:
        if not stat.S_ISREG(os.fstat(stream.fileno()).st_mode):
            raise OSError(0, "not a regular file", str(path))
        return stream.read(MOST_BYTES + 1)


def bytes_of(path: Path) -> bytes:
    """The same; raises CannotRun that names the file and the reason."""
    try:
        return read_path(path)
    except OSError as error:
        raise CannotRun(f"{display(path)}: {reason(error)}") from None


def fact_files(folder: Path) -> list[Path]:
    """The fact files of a folder and its sub-folders, in order of their paths.

    Only regular `*.yaml` files inside of the folder: links out of it, hidden files and
    folders, and linked folders are left out. A folder that cannot be listed raises CannotRun.
    """
    try:
        root = folder.resolve(strict=True)
        found = [path for path in _yaml_files(folder) if _is_inside(path, root)]
    except (OSError, RuntimeError) as error:
        raise CannotRun(f"{shown(str(folder), 200)}: {reason(error)}") from None
    by_target: dict[Path, Path] = {}
    for path in sorted(found, key=lambda p: (p.is_symlink(), p.parts)):
        # A link to a file that is read anyway would say everything twice.
        by_target.setdefault(path.resolve(), path)
    return sorted(by_target.values(), key=lambda p: p.parts)


def reason(error: BaseException) -> str:
    """Why the system refused, in words."""
    return (error.strerror if isinstance(error, OSError) else None) or str(error) or type(error).__name__


def _yaml_files(folder: Path) -> Iterator[Path]:
    with os.scandir(folder) as listing:
        entries = [e for e in listing if not e.name.startswith(".")]
    for entry in entries:
        if entry.is_dir(follow_symlinks=False):
            yield from _yaml_files(folder / entry.name)
        elif entry.name.endswith(".yaml"):
            yield folder / entry.name


def _is_inside(path: Path, root: Path) -> bool:
    try:
        return stat.S_ISREG(path.stat().st_mode) and path.resolve().is_relative_to(root)
    except (OSError, RuntimeError) as error:
        # A link that leads nowhere is left out; a file that the disk refuses is not: reading it tells why.
        return not path.is_symlink() and not isinstance(error, FileNotFoundError)


def display(path: Path | str) -> str:
    """A path as text that can be encoded, whatever bytes its name has."""
    return os.fsencode(path).decode(errors="backslashreplace")


def read_folder(folder: Path) -> list[ReadFile]:
    """Every fact file of a folder; a file that cannot be opened is a problem of that file.

    Raises CannotRun for a folder that is missing, not a folder, or cannot be listed.
    """
    return [read_file(path) for path in fact_files(folder)]


def read_file(path: Path) -> ReadFile:
    """One fact file; that it cannot be opened is a problem of it."""
    name = display(path)
    try:
        data = read_path(path)
    except OSError as error:
        return ReadFile(name, (), (Problem(Where(name), "unreadable", f"cannot be read: {reason(error)}"),))
    return read_bytes(data, name)
