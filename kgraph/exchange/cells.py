"""A value in one cell of a table, and back: letter for letter, and nothing that a spreadsheet would obey.

A text stands as it is. A list or mapping stands as in a fact file: `[LW, MW]`, `{dial glass: cracked}`. A
text that would be taken for one of these, an empty one, and one with blanks at its ends or control characters
stands in double quotes, as YAML has them. In CSV a cell that a spreadsheet could take for a formula gets a
`'` in front, which reading takes off again.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from kgraph import records
from kgraph.folder.nodes import Node, Text
from kgraph.folder.reading import read_bytes
from kgraph.folder.values import plain
from kgraph.folder.writing import Value, flow_text
from kgraph.words import LISTS

FORMULA = re.compile(r"'*\s*[=+\-@\t\r\uff1d\uff0b\uff0d\uff20]")
"""Beginnings that spreadsheets take for a formula, the full-width forms too (OWASP, "CSV Injection")."""
_GUARDED = re.compile(r"'+\s*[=+\-@\t\r\uff1d\uff0b\uff0d\uff20]")
_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff]")

ORDER = "[order]"
"""The column that says as which entry of the folder a row was read; no key is written like this."""
WHY = "[why]"
"""The column of a table of wrong rows that says what is wrong; reading leaves it out."""
_MADE_DECIMAL = re.compile(r"(0|[1-9]\d{0,14})\.0\Z")
"""A whole number as programs write it that hold a column with blanks as fractions."""


def cell_of(key: str, value: records.Value, csv: bool) -> str:
    """The cell that a value of a key stands in; in CSV guarded against formulas."""
    text = value if isinstance(value, str) else flow_text(records.plain(value))
    if isinstance(value, str) and _needs_quotes(key, value, csv):
        text = _quoted(value)
    return f"'{text}" if csv and FORMULA.match(text) else text


def _needs_quotes(key: str, text: str, csv: bool) -> bool:
    if (
        not text
        or text[0] in '[{"'
        or _MADE_DECIMAL.match(text)
        or _CONTROL.search(text)
        or (key in LISTS and ";" in text)
    ):
        return True
    return text != text.strip() and not (csv and FORMULA.match(text))


def _quoted(text: str) -> str:
    return '"' + "".join(_escaped(c) if c in '"\\\n' or _CONTROL.match(c) else c for c in text) + '"'


def _escaped(char: str) -> str:
    code = ord(char)
    return f"\\{char}" if char in '"\\' else f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"


class NotAValue(ValueError):
    """A cell begins like a list or mapping and is none."""


def read_cell(key: str, cell: str, csv: bool, divide: Sequence[str] = ()) -> Value | None:
    """The value in a cell, None where it is empty; raises NotAValue. Of 8.0 it is 8.

    `divide`: what the items of a list are divided by; where there is nothing, by `;` under the keys of lists.
    """
    if csv and _GUARDED.match(cell):
        return cell[1:]
    text = cell.strip()
    if not text:
        return None
    if text[0] in "[{":
        return _structured(text)
    if text[0] == '"' and (inner := _unquoted(text)) is not None:
        return inner
    divide = divide or ((";",) if key in LISTS else ())
    if any(sign in text for sign in divide):
        return list(divided(text, divide))
    return whole_number(text)


def whole_number(text: str) -> str:
    """A text without the `.0` that another program gave a whole number."""
    return text[:-2] if _MADE_DECIMAL.match(text) else text


def divided(text: str, signs: Sequence[str]) -> list[str]:
    """The pieces of a text between signs; a comma or point between two digits divides nothing."""
    each = [
        rf"(?<!\d){re.escape(s)}|{re.escape(s)}(?!\d)" if s in (",", ".") else re.escape(s) for s in signs
    ]
    return [piece.strip() for piece in re.split("|".join(each), text) if piece.strip()]


def _value_of(text: str) -> Node | None:
    """The one value that a text is in a fact file; None where it is none, or more than one."""
    # Inside of braces a comment, which would be lost, leaves them open, and is a fault.
    # Bytes that are no UTF-8 have a stand-in each until the row is refused: a fault of their own here.
    read = read_bytes(f"- {{k: {' '.join(text.splitlines())}}}\n".encode("utf-8", "surrogatepass"), "")
    pairs = [pair for entry in read.entries for pair in entry.pairs]
    return None if read.problems or len(pairs) != 1 else pairs[0][1]


def _structured(text: str) -> Value:
    node = _value_of(text)
    if node is None:
        raise NotAValue
    return records.plain(plain(node))


def _unquoted(text: str) -> str | None:
    """The text inside double quotes, None where they do not hold all of it."""
    node = _value_of(text)
    return node.value if isinstance(node, Text) else None


def header_key(cell: str, csv: bool) -> str:
    """The key that a cell of the first row names, as it is written."""
    found = read_cell("", cell, csv) if cell.strip() and cell.strip()[0] not in "[{" else cell.strip()
    return found if isinstance(found, str) else ""
