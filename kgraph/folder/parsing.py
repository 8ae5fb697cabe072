"""Fact files as a stream of YAML events -> entries with their places; what YAML may do and we refuse.

Nothing is ever constructed from a file but text, lists and mappings, so that `012`, `no` and `2024-01-01`
stay the names that they are. Faults are collected as problems: a fault in one entry does not hide the others.
"""

from __future__ import annotations

import io
import re
from bisect import bisect_left, bisect_right
from collections.abc import Callable
from dataclasses import dataclass, field
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

from kgraph.folder.faults import (
    ReadingFault,
    explain,
    in_quotes,
    key_faults,
    not_a_list,
    open_quote,
    too_deep,
    warn_of_cuts,
    warn_of_joined,
)
from kgraph.folder.nodes import (
    DEEPEST,
    MOST_KEYS,
    Map,
    Node,
    Seq,
    Text,
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
from kgraph.folder.text import Page, page_of
from kgraph.problems import Problem, in_order, shown

MOST_FAULTS = 200
"""After so many places in a file at which YAML breaks off, the rest of it is not read."""

_FIRST_DASH = re.compile(r"(?:\A|[\r\n])( *)-[ \r\n]")
_WORD = re.compile(r"[^\s,\]}]*")

Found = tuple[tuple[Map, ...], tuple[Problem, ...]]
"""The entries that could be read, and everything that is wrong."""


def entries(data: bytes, file: str) -> Found:
    """The entries of a file's bytes and its problems in order; never raises for bad input."""
    page = page_of(data, file)
    reader = _PageReader(page)
    reader.read()
    if page.hashes:
        warn_of_cuts(page)
    warn_of_joined(page)
    return tuple(reader.entries), tuple(in_order(page.problems))


def begun(data: bytes, file: str) -> int:
    """How many entries begin in a file's bytes, were each in order."""
    page = page_of(data, file)
    return len(_entry_starts(page, _indentation(page)))


# --- Events -> nodes -----------------------------------------------------------------------------


class _Pass:
    """One pass over a stretch of the text: the items of its list, up to the first fault that stops."""

    def __init__(self, page: Page, start: int, end: int | None = None) -> None:
        self.page = page
        self.start = start
        self.end = end
        self.first_line = page.place(start)[0] if start else 1
        self.top: list[Node] = []
        self.bad: set[int] = set()
        self.stack: list[tuple[list[Node], Any]] = []
        self.dash: int | None = None
        self.odd = not page.exact or any(c in page.text for c in "&!")
        self.error: ReadingFault | yaml.YAMLError | None = None
        self._go()

    def _go(self) -> None:
        loader: Any = yaml.CBaseLoader(self._source())
        try:
            self._documents(loader.get_event)
        except (ReadingFault, yaml.YAMLError) as error:
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
        seen = False
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
            seen = True
            self._document(get(), get)

    def _document(self, event: Any, get: Callable[[], Any]) -> None:
        index = event.start_mark.index + self.start
        kind = type(event)
        if kind is ScalarEvent and not event.value and not event.style:
            if event.anchor or event.tag:
                self._refuse(event)
            return
        if kind is not SequenceStartEvent:
            raise not_a_list(self.page, index, kind is MappingStartEvent)
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
                    if ends is not None:
                        page.quoted.add((mark.index + offset, event.end_mark.index + offset))
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
        faults = list(key_faults(self.page, items[::2]))
        if len(items) // 2 > MOST_KEYS:
            says = f"{len(items) // 2} keys in one mapping; {MOST_KEYS} is the most"
            faults.append((mark.index + self.start, "many-keys", says, "make it several entries"))
        for fault in faults:
            self._report(*fault)
        names = tuple(key.value for key in items[::2] if isinstance(key, Text))
        if not faults and "<<" not in names:
            self.page.good_keys.add(names)

    def _report(self, index: int, code: str, says: str, mend: str) -> None:
        """Note a problem of the item that is being read, which is then left out."""
        self.page.report(index, code, says, mend)
        self.bad.add(len(self.top))

    def _refuse(self, event: Any) -> None:
        """Report an alias, an anchor, a tag or too deep a nesting where it stands."""
        if event.anchor is None and event.tag is None:
            if len(self.stack) >= DEEPEST:
                raise too_deep(event.start_mark.index + self.start)
            return
        index = event.start_mark.index + self.start
        word = shown(_WORD.match(self.page.text, index)[0])  # type: ignore[index]
        mend = f"take it out; or, if it is a name, {in_quotes(self.page, index)}"
        if type(event) is AliasEvent:
            self._report(index, "alias", f"alias {word} refused", mend)
            return
        if event.anchor is not None:
            self._report(index, "anchor", f"anchor {word} refused", mend)
        if event.tag is not None:
            self._report(index, "tag", f"tag {word} refused", mend)
        if len(self.stack) >= DEEPEST:
            raise too_deep(index)

    def _over_lines(self, event: Any) -> None:
        """Refuse a quoted text in which another entry seems to start: its quote was left open."""
        if self.dash is None:
            return
        start, end = event.start_mark.index + self.start, event.end_mark.index + self.start
        if re.search(rf"[\r\n] {{0,{self.dash}}}-[ \r\n]", self.page.text[start:end]):
            raise open_quote(start)


# --- Going on after a fault ----------------------------------------------------------------------


@dataclass(slots=True)
class _PageReader:
    """Reads a page run by run: after a fault it goes on with the next entry."""

    page: Page
    entries: list[Map] = field(default_factory=list)
    faults: int = 0
    starts: list[int] | None = None

    def read(self) -> None:
        start: int | None = 0
        first: ReadingFault | None = None
        while start is not None:
            run = _Pass(self.page, start)
            self._keep(run)
            if run.error is None:
                break
            fault = explain(self.page, run.error, start, run.opened)
            first = first or fault
            start = self._mend(run, fault)
        if first and not any(p.severity == "error" for p in self.page.problems):
            self._fault(first)

    def _fault(self, fault: ReadingFault) -> None:
        self.faults += 1
        self.page.report(fault.index, fault.code, fault.says, fault.mend)

    def _mend(self, run: _Pass, fault: ReadingFault) -> int | None:
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
        alone = _Pass(self.page, starts[which], len(self.page.text) if end is None else end)
        self._keep(alone)
        if alone.error:
            self._fault(explain(self.page, alone.error, starts[which], alone.opened))
        return end

    def _entry_starts(self) -> list[int]:
        """Where the lines start that start an entry, were the file in order."""
        if self.starts is None:
            self.starts = _entry_starts(self.page, _indentation(self.page))
        return self.starts

    def _faulty(self, run: _Pass, starts: list[int]) -> int:
        """Which entry the fault of a run is in, as an index into `starts`."""
        if run.stack:
            return max(bisect_right(starts, run.stack[0][1].index + run.start) - 1, 0)
        if run.top:
            last = run.top[-1]
            return bisect_right(starts, self.page.index(last.line, last.column))
        return bisect_right(starts, run.start - 1)

    def _keep(self, run: _Pass) -> None:
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

    def _spoilt(self, run: _Pass, number: int) -> bool:
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


def _indentation(page: Page) -> int:
    """How far in the entries of a file begin."""
    first = _FIRST_DASH.search(page.text)
    return len(first[1]) if first else 0


def _entry_starts(page: Page, dash: int) -> list[int]:
    pattern = rf"(?:\A|(?<={page.newline})) {{{dash}}}-(?=[ \t\r\n]|\Z)"
    return [m.start() for m in re.finditer(pattern, page.text)]
