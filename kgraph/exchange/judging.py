"""What is refused in an RDF file before a parser sees it: contexts from elsewhere, bad IRIs, deep nesting.

Sources: Turtle 1.1 (W3C Recommendation, 2014), section 6.5, for IRIREF and strings; JSON-LD 1.1 (2020),
sections 3.1 and 9.15, for contexts that name others.
"""

from __future__ import annotations

import itertools
import json
import re
from collections.abc import Iterator

from kgraph.problems import Problem, Where

DEEPEST = 44
"""The most brackets of Turtle inside each other: twice what fact files may nest, and some."""
DEEPEST_JSON = 100
"""The same for JSON-LD, where a list takes two."""
MOST_FAULTS = 50
"""After so many faults of a file, more are not looked for."""

# Possessive, so that an open quote cannot make the search go back over the whole file.
_TURTLE = re.compile(
    r'''
    (?P<comment>\#[^\n\r]*+)
  | (?P<string>"""(?:[^"\\]++|\\.|"(?!""))*+"""|\'\'\'(?:[^'\\]++|\\.|'(?!\'\'))*+\'\'\'
      |"(?:[^"\\\n\r]++|\\.)*+"|'(?:[^'\\\n\r]++|\\.)*+')
  | (?P<quoted><<)
  | (?P<iri><[^>\n\r]*+>)
  | (?P<open>[\[({])
  | (?P<close>[\])}])
    ''',
    re.VERBOSE | re.DOTALL,
)
_IRI = re.compile(r'(?:[^\x00-\x20<>"{}|^`\\]|\\u[0-9A-Fa-f]{4}|\\U[0-9A-Fa-f]{8})*+\Z')
_ESCAPE = re.compile(r"\\u([0-9A-Fa-f]{4})|\\U([0-9A-Fa-f]{8})")
_NO_IRI = re.compile(r'[\x00-\x20<>"{}|^`\\]')
_JSON = re.compile(
    r'(?P<string>"(?:[^"\\]++|\\.)*+")|(?P<open>[\[{])|(?P<close>[\]}])|(?P<sign>[:,])', re.DOTALL
)


def place(file: str, text: str, at: int) -> Where:
    """The line and column of an index of a text."""
    return Where(file, text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at))


def turtle(text: str, file: str) -> list[Problem]:
    """Why a text of the Turtle family may not be parsed; nothing where it may."""
    found: list[Problem] = []
    depth = 0
    for token in _TURTLE.finditer(text):
        kind = token.lastgroup
        if kind == "open":
            depth += 1
            if depth > DEEPEST:
                says = f"brackets more than {DEEPEST} deep"
                return [*found, _problem(file, text, token.start(), "deep", says, "flatten it")]
        elif kind == "close":
            depth = max(0, depth - 1)
        elif kind == "iri" and not is_iri(token[0][1:-1]):
            says, mend = f"{token[0][:80]!r} is no IRI", "percent-encode what an IRI cannot hold"
            found.append(_problem(file, text, token.start(), "iri", says, mend))
        elif kind == "quoted":
            says, mend = "a statement about a statement, <<...>>", "name the statement by a node"
            found.append(_problem(file, text, token.start(), "quoted-statement", says, mend))
        if len(found) >= MOST_FAULTS:
            break
    return found


def is_iri(text: str) -> bool:
    """Whether a text between angle brackets can be an IRI, escapes undone."""
    if _IRI.match(text) is None:
        return False
    codes = [int(short or long, 16) for short, long in _ESCAPE.findall(text)]
    return all(
        code <= 0x10FFFF and not 0xD800 <= code <= 0xDFFF and not _NO_IRI.match(chr(code)) for code in codes
    )


def json_ld(text: str, file: str) -> list[Problem]:
    """Why a JSON-LD text may not be parsed: no JSON, too deep, or a context that is elsewhere."""
    found = list(itertools.islice(_contexts(text, file), MOST_FAULTS))
    if any(p.code == "deep" for p in found):
        return found
    try:
        json.loads(text, parse_constant=_no_constant)
    except json.JSONDecodeError as error:
        found.append(_problem(file, text, error.pos, "json", f"this is no JSON: {error.msg}", "mend it"))
    except (ValueError, RecursionError) as error:
        found.append(Problem(Where(file), "json", f"this is no JSON: {error}"))
    return found


def _no_constant(text: str) -> None:
    raise ValueError(f"{text} is no number of JSON")


_TERMS = {"@context": "context", "@import": "import", "@id": "id"}


def _contexts(text: str, file: str) -> Iterator[Problem]:
    """Each context that names another file or address, each bad IRI, and nesting that is too deep."""
    stack: list[str] = []
    key = ""
    for token in _JSON.finditer(text):
        kind = token.lastgroup
        if kind == "open":
            # The items of a list of contexts are contexts.
            stack.append(key if token[0] == "[" else "")
            key = stack[-1]
            if len(stack) > DEEPEST_JSON:
                says = f"brackets more than {DEEPEST_JSON} deep"
                yield _problem(file, text, token.start(), "deep", says, "flatten it")
                return
        elif kind == "close":
            if stack:
                stack.pop()
            key = ""
        elif kind == "sign":
            if token[0] == ",":
                key = stack[-1] if stack else ""
        elif key == "id":
            key = ""
            if _NO_IRI.search(_unquoted(token[0])):
                says, mend = f"{token[0][:80]} is no IRI", "percent-encode what an IRI cannot hold"
                yield _problem(file, text, token.start(), "iri", says, mend)
        elif key:
            says = f"a {key} that is not in the file itself: {token[0][:80]}"
            mend = "write the context into the file: nothing is fetched and no other file is opened"
            yield _problem(file, text, token.start(), "remote-context", says, mend)
        elif _is_key(text, token.end()):
            key = _TERMS.get(_unquoted(token[0]), "")


def _is_key(text: str, at: int) -> bool:
    return re.compile(r"[ \t\r\n]*+:").match(text, at) is not None


def _unquoted(text: str) -> str:
    if "\\" not in text:
        return text[1:-1]
    try:
        return str(json.loads(text))
    except ValueError:
        return ""


def _problem(file: str, text: str, at: int, code: str, says: str, mend: str = "") -> Problem:
    return Problem(place(file, text, at), code, says, mend)
