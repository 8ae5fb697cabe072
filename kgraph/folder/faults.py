"""What the YAML parser stumbles over, in words and at the place that the user can mend."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import yaml

from kgraph import words
from kgraph.folder.nodes import DEEPEST, LONGEST_KEY, Node, Text
from kgraph.folder.text import Page
from kgraph.names import fold
from kgraph.problems import shown

_INDENTING_TAB = re.compile(r" *\t")


@dataclass(eq=False)
class ReadingFault(Exception):
    """A refusal after which the rest of the entry is not read. `index` is counted in characters."""

    index: int
    code: str
    says: str
    mend: str = ""
    fatal: bool = False


def too_deep(index: int) -> ReadingFault:
    """Lists and mappings in each other, one more than may be."""
    says = f"nested deeper than {DEEPEST} lists and mappings"
    return ReadingFault(index, "nesting", says, "make it several entries")


def open_quote(index: int) -> ReadingFault:
    """A quote that is left open; `index` is where it opens."""
    says = "the quote that opens here is not closed in its entry"
    return ReadingFault(
        index, "open-quote", says, "close it; a quote mark in a text goes in the other kind of quotes"
    )


def _tab(index: int) -> ReadingFault:
    return ReadingFault(index, "tab", "tab in the indentation", "indent with spaces")


def not_a_list(page: Page, index: int, mapping: bool) -> ReadingFault:
    """A file that is one mapping, or one text, from `index` on."""
    says = "a fact file is a list of entries"
    line = shown(page.line_at(index).lstrip(" -").rstrip())
    mend = (
        f"start each entry with '- ': - {line}" if mapping else "write - KIND: NAME, for example - set: NAME"
    )
    return ReadingFault(index, "not-a-list", says, mend, fatal=True)


def _quoted(value: str) -> str:
    if '"' in value or "\\" in value:
        return "'" + value.replace("'", "''") + "'"
    return f'"{value}"'


_LINE = re.compile(r"[ ]*(?:-[ ]+)?(?P<key>[^:\[{]+):[ ]+(?P<value>.*?)[ ]*$")


def in_quotes(page: Page, index: int) -> str:
    """A mend: the line of a character, with its value in quotes."""
    match = _LINE.match(page.line_at(index))
    within = match and page.place(index)[1] - 1 > match.start("value")
    if not match or (within and match["value"].startswith(("[", "{"))):
        return "put it in quotes"
    return f"put quotes round it: {shown(match['key'], 30)}: {shown(_quoted(match['value']))}"


def _value_start(page: Page, at: int, context: int | None) -> ReadingFault:
    char = shown(page.text[at : at + 1])
    if char == "\\x09":
        return _tab(at)
    return ReadingFault(at, "indicator", f"a value cannot start with {char}", in_quotes(page, at))


def _block_start(page: Page, at: int, context: int | None) -> ReadingFault:
    return _value_start(page, at if context is None else context, None)


def _second_colon(page: Page, at: int, context: int | None) -> ReadingFault:
    before = page.line_at(at)[: page.place(at)[1] - 1]
    if ": " in before:
        first, _, rest = page.line_at(at).strip().removeprefix("- ").partition(": ")
        pair = rest.partition(" #")[0].strip()
        # Where a mapping belongs a text in quotes would not do.
        mend = f"write {first}: {{{pair}}}" if first in words.MAPPINGS else in_quotes(page, at)
        return ReadingFault(at, "colon", "a second ': ' in one line", mend)
    mend = "indent it exactly as the key above it, or put quotes round the text above"
    return ReadingFault(at, "indentation", f"'{shown(before.strip())}:' cannot stand here", mend)


def _open_bracket(page: Page, at: int, context: int | None) -> ReadingFault:
    line = page.line_at(at if context is None else context)
    if context is None or (at < len(page.text) and page.place(context)[0] == page.place(at)[0]):
        says = "no ',' and no closing bracket before this"
        return ReadingFault(at, "open-bracket", says, "put a name that has brackets or commas in quotes")
    mend = "close it"
    if " #" in line:
        mend = "what follows ' #' is a comment: put the text in quotes"
    elif not line.rstrip().endswith((",", "[", "{")):
        mend += f", or {in_quotes(page, context)}"
    # After two marks of byte order libyaml counts one character less.
    opening = page.text[context] if page.text[context] in "[{" else "a bracket"
    return ReadingFault(context, "open-bracket", f"{opening} is not closed in its entry", mend)


def _no_colon(page: Page, at: int, context: int | None) -> ReadingFault:
    start = at if context is None else context
    line = page.line_at(start).strip()
    if len(line) > 1000:
        return ReadingFault(start, "long-key", "key too long", f"{LONGEST_KEY} characters is the most")
    mend = "write key: value; a text that goes on is indented further than its key"
    return ReadingFault(start, "no-colon", f"no ': ' in this line: {shown(line)}", mend)


def _no_key(page: Page, at: int, context: int | None) -> ReadingFault:
    column = page.place(at)[1]
    before = page.line_at(at)[: column - 1].strip(" -")
    if at == context or page.text.startswith(":", at):
        return ReadingFault(at, "key", "a key is missing before ':'", "write key: value")
    if before:
        rest = shown(page.line_at(at)[column - 1 :])
        mend = "one value a key; inside of '...' a ' is written twice"
        if re.search(r": +\"", before):
            mend = in_quotes(page, at)
        return ReadingFault(at, "after-value", f"text after the value: {rest}", mend)
    mend = "indent it exactly as the other keys of its entry"
    return ReadingFault(at, "indentation", f"indentation of {column - 1} does not fit its entry", mend)


def _no_dash(page: Page, at: int, context: int | None) -> ReadingFault:
    line = page.line_at(at).strip()
    says = f"this line belongs to no entry: {shown(line)}"
    mend = "start an entry with '- '; the other keys stand exactly under its first one"
    if line.startswith("-") and not line.startswith("- "):
        mend = "write a blank after the -"
    elif ": " in line and line.partition(":")[0] not in words.KINDS:
        mend = "indent it exactly as the other keys of its entry"
    return ReadingFault(at, "indentation", says, mend)


def _unclosed_quote(page: Page, at: int, context: int | None) -> ReadingFault:
    return open_quote(at if context is None else context)


_ESCAPE = re.compile(r"\\(?:x[0-9a-fA-F]?|u[0-9a-fA-F]{0,4}|U[0-9a-fA-F]{0,8}|.)")


def _escape_fault(page: Page, at: int, context: int | None) -> ReadingFault:
    start = page.text.rfind("\\", 0, at + 1)
    escape = _ESCAPE.match(page.text, start)
    if escape is None:
        # The text ends here.
        return _unclosed_quote(page, at, context)
    mend = r"write \\ for a backslash, or use '...'; a character is written as itself"
    return ReadingFault(start, "escape", f"{shown(escape[0])} is no character", mend)


def _directive(page: Page, at: int) -> ReadingFault:
    return ReadingFault(at, "version", f"not known: {shown(page.line_at(at))}", "take out the line")


def _after_end(page: Page, at: int, context: int | None) -> ReadingFault:
    above = page.text[:at].rstrip().rpartition(page.newline)[2]
    if not above.startswith(("...", "---")):
        mend = "indent it exactly as the entries above it"
        return ReadingFault(at, "indentation", "this line stands further left than the list", mend)
    return ReadingFault(at, "documents", "text after the end of the list", "take out the line ... or ---")


_WORDS: tuple[tuple[str, Callable[[Page, int, int | None], ReadingFault]], ...] = (
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
    ("exceeded maximum nesting depth", lambda page, at, context: too_deep(at)),
    ("did not find expected alphabetic or numeric", _block_start),
    ("undefined tag handle", _block_start),
    ("found a tab character", lambda page, at, context: _tab(at)),
)


def explain(
    page: Page, error: ReadingFault | yaml.YAMLError, offset: int, opened: int | None
) -> ReadingFault:
    """What the parser found, in words and at the place that the user can mend.

    `opened`: the innermost bracket or brace that was open there.
    """
    if isinstance(error, ReadingFault):
        return error
    if not isinstance(error, yaml.MarkedYAMLError) or error.problem_mark is None:
        return ReadingFault(offset, "yaml", "not readable as YAML")
    at = error.problem_mark.index + offset
    context = error.context_mark.index + offset if error.context_mark else None
    line = page.line_at(at)
    if _INDENTING_TAB.match(line) and line.strip():
        return _tab(page.starts[page.place(at)[0] - 1] + line.index("\t"))
    if line.startswith("%"):
        return _directive(page, at)
    start = page.starts[max(page.place(at)[0] - 2, 0)]
    if page.text.startswith("%", start):
        # Of a directive the parser may complain only in the line below it.
        return _directive(page, start)
    if (error.context or "").endswith(" a tag"):
        return _block_start(page, at, context)
    problem = error.problem or ""
    if opened is not None and "node content" in problem and page.text[at : at + 1] in ("", "-"):
        # After a comma the parser waits for one more item, and meets the next entry or the end.
        return _open_bracket(page, at, opened)
    for phrase, explain in _WORDS:
        if phrase in problem:
            return explain(page, at, context)
    return ReadingFault(at, "yaml", f"not readable as YAML: {problem}")


# --- What YAML takes, and is refused or warned of here ---------------------------------------------


def key_faults(page: Page, keys: Iterable[Node]) -> Iterator[tuple[int, str, str, str]]:
    """What is wrong with the keys of one mapping: (index, code, what is wrong, what mends it) each."""
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


_COMMENT = re.compile(r"(?<![^ \t\r\n])#")


def warn_of_cuts(page: Page) -> None:
    """Warn of `K #114`, of which YAML reads `K` only, and of an item of a list that is no item."""
    quoted = sorted(page.quoted)
    for index in page.hashes:
        line, column = page.line_at(index), page.place(index)[1] - 1
        before = line[:column].rstrip(" \t")
        cuts = index - column + len(before) in page.plain_ends
        if cuts or (before.endswith((",", "[", "{")) and _begins_comment(page, index, quoted)):
            says = f"{shown(line[column:], 30)} is read as a comment"
            page.report(index, "hash-cuts", says, in_quotes(page, index), "warning")


def _begins_comment(page: Page, index: int, quoted: list[tuple[int, int]]) -> bool:
    """Whether a `#` is the first of its line that stands in no quotes."""
    start = index - page.place(index)[1] + 1
    for match in _COMMENT.finditer(page.text, start, index + 1):
        at = bisect_right(quoted, (match.start(), len(page.text))) - 1
        if at < 0 or quoted[at][1] <= match.start():
            return match.start() == index
    return False


_JOINED = re.compile(rf"^ *#[^\n]*[^\s#](- (?:{'|'.join(words.KINDS)}): [^\n]*)", re.MULTILINE)


def warn_of_joined(page: Page) -> None:
    """Warn of an entry whose first line was joined to a comment, and so is read as part of it."""
    for match in _JOINED.finditer(page.text):
        says = f"{shown(match[1].rstrip(), 30)} is read as part of the comment"
        mend = "if it is an entry, begin a new line with it"
        page.report(match.start(1), "joined-comment", says, mend, "warning")
