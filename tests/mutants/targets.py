"""Which modules are changed, the tests that must notice, and the changes that nobody could notice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Target:
    """A module, or the functions and constants of it that are named, and what tests them."""

    module: str
    tests: tuple[str, ...]
    only: tuple[str, ...] = ()
    same: Mapping[str, str] = field(default_factory=dict)
    """A mutant that does the same as the module -> why."""

    @property
    def file(self) -> str:
        """The module's file, from the top of the project."""
        return f"kgraph/{self.module}.py"


# Changes of what only saves time or memory, and others that change nothing that can be seen.
_NO_MAPPING = "neither a letter of a text nor a key is a mapping"
_SLOWER = "slower: what the pattern does not take is read by the reader, and is then written the same"
_COLLECTED = "slower: the collector then looks through what is being made"
_FORGOTTEN = "slower: keys that were in order are looked at again"
_ALL_THE_SAME = "slower: the pattern is then looked for, and does not find it"
_NO_SUCH_CHARACTER = "the one character in question can be printed, and is not written by number"
_BY_YAML = "slower: the file is left to the parser of all YAML, which reads it alike"
_BRACKET_FIRST = "a bracket comes first, and no end of a line"
_LONG_KEY = "slower: reading refuses so long a key"
_NO_NEXT_LINE = "what does not begin in the next line is refused for that"
_SHOWN = {
    "_escape: code < 256 -> code <= 256": _NO_SUCH_CHARACTER,
    "_escape: code < 65536 -> code <= 65536": _NO_SUCH_CHARACTER,
    "_escape: 256 -> 257": _NO_SUCH_CHARACTER,
    "_escape: 65536 -> 65537": _NO_SUCH_CHARACTER,
}
_SAME_ESCAPED = {mutant.removeprefix("_").replace("escape", "escaped"): why for mutant, why in _SHOWN.items()}
_SAME_DISK = {"read_path: 0 -> 1": "the words are told, and not the number"}
_SAME_WRITING = {
    **_SHOWN,
    r"_SAFE: [^\W_](?:[\w./ -> [^\W](?:[\w./": _SLOWER,
    r"_SAFE: ]|[ ](?=[\w./+-]))*\Z -> ]|[ ](?=[^\w./+-]))*\Z": _SLOWER,
    "_after_key: isinstance(value, list) and any((isinstance(item, dic... -> any((isinstance(item, dict) for item in value))": _NO_MAPPING,  # noqa: E501
    "_reads_plain: not text or not text.isprintable() or (place in ('key... -> not text or not text.isprintable()": _LONG_KEY,  # noqa: E501
    "_reads_plain: 'key' -> ''": _LONG_KEY,
    "_reads_plain: 'flow' -> ''": _LONG_KEY,
    "_reads_plain: '' -> 'X'": "the name of the file is not asked",
    r"_SAFE: ^\W_](?:[\w./+-]|[ ](?=[ -> ^\W_](?:[./+-]|[ ](?=[": _SLOWER,
    r"_SAFE: ^\W_](?:[\w./+-]|[ ](?=[ -> ^\W_](?:[\w/+-]|[ ](?=[": _SLOWER,
    r"_SAFE: ^\W_](?:[\w./+-]|[ ](?=[ -> ^\W_](?:[\w.+-]|[ ](?=[": _SLOWER,
    r"_SAFE: ^\W_](?:[\w./+-]|[ ](?=[ -> ^\W_](?:[\w./-]|[ ](?=[": _SLOWER,
    r"_SAFE: ^\W_](?:[\w./+-]|[ ](?=[ -> ^\W_](?:[\w./+]|[ ](?=[": _SLOWER,
    r"_SAFE: ]|[ ](?=[\w./+-]))*\Z -> ]|[ ](?=[./+-]))*\Z": _SLOWER,
    r"_SAFE: ]|[ ](?=[\w./+-]))*\Z -> ]|[ ](?=[\w/+-]))*\Z": _SLOWER,
    r"_SAFE: ]|[ ](?=[\w./+-]))*\Z -> ]|[ ](?=[\w.+-]))*\Z": _SLOWER,
    r"_SAFE: ]|[ ](?=[\w./+-]))*\Z -> ]|[ ](?=[\w./-]))*\Z": _SLOWER,
    r"_SAFE: ]|[ ](?=[\w./+-]))*\Z -> ]|[ ](?=[\w./+]))*\Z": _SLOWER,
    r"_SAFE: w./+-]))*\Z -> w./+-]))+\Z": _SLOWER,
    "_scalar: _SAFE.match(text) or _reads_plain(text, place) -> _reads_plain(text, place)": _SLOWER,
    "_reads_plain: not read.problems and [*map(content, read.entries)] =... -> [*map(content, read.entries)] == [expected[place]]": "what leads to a warning does not read as itself",  # noqa: E501
}
_SAME_NEW_TEXT = {
    "_plainly_checked: '' -> 'X'": "slower: the old text is then read by itself",
    r"_plainly_checked: len(new) > MOST_BYTES or not (old.endswith(b'\n') or ... -> len(new) > MOST_BYTES or not new.endswith(b'\n')": _NO_NEXT_LINE,  # noqa: E501
    r"_plainly_checked: b'\n' -> b''": _NO_NEXT_LINE,
    r"_FIRST_ITEM: ---[ \t]+)?(?P<op -> ---[ \t]*)?(?P<op": "no file that reads without errors has it",
    "checked: 1 -> 2 (2)": "a file without entries does not change them",
}
_SAME_LOCKING = {
    "locked: os.O_RDONLY | os.O_CREAT -> os.O_CREAT": "it is 0",
}
_SAME_PLACING = {
    "_is_old: path.lstat().st_mtime < time.time() - LEFT_OVER_S -> path.lstat().st_mtime <= time.time() - LEFT_OVER_S": "no file is a day old to the last bit",  # noqa: E501
    "write_file: memoryview(piece) -> piece": "slower: what is left is then copied",
}
_PLACED = "slower: places are then looked up one by one"
_NO_BREAK = "a text of one line, in which no end of a line is found"
_SAME_TEXT = {
    "_OTHER_BREAKS: [\\x85\\u2028\\u2029] -> [^\\x85\\u2028\\u2029]": _PLACED,
    "Page.__init__: not has_lf and '\\r' in text -> not has_lf": _NO_BREAK,
    "Page.__init__: '\\r' -> ''": _NO_BREAK,
    "Page.__init__: text.isascii() or not _OTHER_BREAKS.search(text) -> text.isascii() and (not _OTHER_BREAKS.search(text))": _PLACED,  # noqa: E501
    "Page.__init__: text.isascii() or not _OTHER_BREAKS.search(text) -> not _OTHER_BREAKS.search(text)": _PLACED,  # noqa: E501
    "Page.__init__: text.isascii() or not _OTHER_BREAKS.search(text) -> text.isascii()": _PLACED,
    "Page.__init__: has_lf and _LONE_CR.search(text) -> has_lf or _LONE_CR.search(text)": _PLACED,
    "Page.__init__: has_lf and _LONE_CR.search(text) -> _LONE_CR.search(text)": _PLACED,
    "Page.__init__: has_lf and _LONE_CR.search(text) -> has_lf": _PLACED,
    "Page.__init__: '#' -> ''": "slower: marks of comments are then looked for where there are none",
    "_refuse_characters: 1 -> 2": "what is too much is not noted",
    "_refuse_characters: :MOST_PROBLEMS + 1 -> :": "slower: what is too much is not noted",
    "_USUAL: 10 -> 11": _ALL_THE_SAME,
    "_USUAL: 9 -> 10": _ALL_THE_SAME,
    "_USUAL: 13 -> 14": _ALL_THE_SAME,
    "_USUAL: 32 -> 33": _ALL_THE_SAME,
}
_OTHER_LETTER = "one letter is then found as any other is"
_SAME_FAULTS = {
    "_ESCAPE: 9a-fA-F]?|u[0-9a- -> 9a-fA-F]|u[0-9a-": _OTHER_LETTER,
    "_ESCAPE: 9a-fA-F]{0,4}|U[0-9a- -> 9a-fA-F]{1,4}|U[0-9a-": _OTHER_LETTER,
    "_ESCAPE: 9a-fA-F]{0,8}|.) -> 9a-fA-F]{1,8}|.)": _OTHER_LETTER,
    "_escape_fault: 0 -> 1": "a text that begins with it has no quotes before it",
    "explain: '' -> 'X'": "one says as little of a tag as the other",
    "_begins_comment: 1 -> 2 (3)": "a mark behind the one in question does not come first",
    "_begins_comment: quoted[at][1] <= match.start() -> quoted[at][1] < match.start()": "a blank is between",
}
_SAME_PARSING = {
    "_Pass._go: loader.dispose() -> nothing": "the parser gives its memory back later",
    "_Pass._items: False -> True": "how an alias was written is not asked: it is refused",
    "_Pass._close: ::2 -> :": _FORGOTTEN,
    "_Pass._close: 2 -> 3": _FORGOTTEN,
    "_Pass._close: True -> False": "the parser gives keys and values by turns",
    "_Pass._check_keys: self.page.good_keys.add(names) -> nothing": _FORGOTTEN,
    "_Pass._check_keys: ::2 -> : (2)": _FORGOTTEN,
    "_Pass._check_keys: 2 -> 3 (4)": _FORGOTTEN,
    r"_FIRST_DASH: \r\n])( *)-[ \r\n -> \r\n])( +)-[ \r\n": "where there is none, none is found",
    r"_WORD: ^\s,\]}]* -> ^\s,\]}]+": "a mark comes first",
    "_PageReader._spoilt: 1 -> 2 (4)": "an item begins with a blank or a dash, never with what was blanked",
}
_SAME_READING = {
    "read_plain: with _no_collection() -> nothing": _COLLECTED,
    "_no_collection: gc.disable() -> nothing": _COLLECTED,
    "_no_collection: gc.freeze() -> nothing": _COLLECTED,
    "read_bytes: with _no_collection() -> nothing": _COLLECTED,
}
_SAME_PLAIN = {
    "_USUAL: 10 -> 11": "slower: the text is looked through by the pattern, which takes it as well",
    "_USUAL: 32 -> 33": "slower: the text is looked through by the pattern, which takes it as well",
    r"_LETTERS: \n -~¡-ɏ]* -> \n -~¡-ɏ]+": "no text at all is usual",
    r"_LINE: )[^:#\n]*)*)|([\[ -> )[^:#\n]+)*)|([\[": _BY_YAML,
    r"_LINE: [\]{}\n]+)*[\]}]) -> [\]{}\n]*)*[\]}])": _BY_YAML,
    r"_LINE: ?![^\n]*[^\s#]- [a-z]+ -> ?![^\n]*[^\s]- [a-z]+": _BY_YAML,
    r"_LINE: : )[^\n]*\n|\n) -> : )[^\n]+\n|\n)": _BY_YAML,
    r"_LINE: :\n|\Z)|^( *#(?![ -> :\n|\Z)|( *#(?![": "slower: each blank of a long run is tried",
    "_PlainReader.take: False -> True": "at the end of the file the same entry is asked again",
    "_in_order: fold(k) or k -> fold(k)": _BY_YAML,
    "_flow: newline >= 0 -> newline > 0": _BRACKET_FIRST,
    "_flow: 0 -> 1": _BRACKET_FIRST,
    "_PlainReader.take: intern(key) -> key": "equal keys are then kept more than once",
}


TARGETS: tuple[Target, ...] = (
    Target("problems", ("folder/test_reading",), ("shown", "escaped"), same=_SAME_ESCAPED),
    Target("folder/disk", ("folder/test_reading",), same=_SAME_DISK),
    Target("folder/text", ("folder/test_reading",), same=_SAME_TEXT),
    Target("folder/faults", ("folder/test_reading",), same=_SAME_FAULTS),
    Target("folder/parsing", ("folder/test_reading",), same=_SAME_PARSING),
    Target("folder/reading", ("folder/test_reading",), same=_SAME_READING),
    Target("folder/plain", ("folder/test_plain",), same=_SAME_PLAIN),
    Target("folder/nodes", ("folder/test_reading", "folder/test_plain")),
    Target("folder/writing", ("folder/test_writing",), same=_SAME_WRITING),
    Target("folder/new_text", ("folder/test_writing",), same=_SAME_NEW_TEXT),
    Target("folder/locking", ("folder/test_writing",), same=_SAME_LOCKING),
    Target("folder/placing", ("folder/test_writing",), same=_SAME_PLACING),
    Target(
        "render/terminal",
        ("render/test_escapers",),
        ("visible", "_hidden", "_escape", "_SAFE_FORMAT"),
        same=_SHOWN,
    ),
    Target(
        "render/pictures/sheet",
        ("render/test_escapers",),
        ("label_text", "tip_text", "own_link", "label", "_LINK", "TIP_LENGTH"),
    ),
    Target(
        "render/pictures/svg",
        ("render/test_escapers", "render/test_pictures_sheet", "render/test_pictures_answers"),
    ),
    Target("book/pages", ("render/test_escapers",), ("_shown", "Book._templates")),
    Target("book/pictures", ("render/test_escapers",)),
    Target("book/search", ("render/test_escapers",)),
    Target("book/addresses", ("render/test_escapers",)),
    Target("exchange/cells", ("render/test_escapers",)),
    Target("exchange/tables", ("render/test_escapers",), ("_field",)),
    Target("exchange/xlsx", ("render/test_escapers",), ("_ESCAPED", "_ESCAPE", "_write", "_text")),
    Target("exchange/terms", ("render/test_escapers",)),
    Target("exchange/graphml", ("render/test_escapers",), ("_NO_XML", "xml_text")),
)

LEFT_OUT = ("test_two_writers_lose_nothing",)
"""Tests that start a Python of their own, in which no module is changed."""
