"""What a SPARQL query may not do here: reach another place, name graphs to fetch, or change anything.

A query is judged twice, and both must let it pass: by what rdflib's grammar makes of it, and by a small
reader of tokens. Texts that two SPARQL readers might take for different queries are refused before either.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, NamedTuple

from kgraph.problems import Problem, Where

LONGEST = 1 << 20
"""The most characters that a query may have."""

DEEPEST = 40
"""The most brackets of any kind inside each other."""


class Token(NamedTuple):
    """One token of a query and the index at which it begins."""

    kind: str
    text: str
    at: int


_TOKENS = re.compile(
    r"""
    (?P<blank>[ \t\n]+)
  | (?P<comment>\#[^\n]*)
  | (?P<iri><[^\x00-\x20<>"{}|^`\\]*>)
  | (?P<string>\"\"\"(?:\"{0,2}(?:[^\"\\]|\\.))*\"\"\"|'''(?:'{0,2}(?:[^'\\]|\\.))*'''
      |"(?:[^"\\\n]|\\.)*"|'(?:[^'\\\n]|\\.)*')
  | (?P<variable>[?$]\w+)
  | (?P<language>@[A-Za-z]+(?:-[A-Za-z0-9]+)*)
  | (?P<name>(?:\w(?:[\w.-]*\w)?)?:(?:[\w:.%-]|\\.)*)
  | (?P<word>[^\W\d]\w*)
  | (?P<number>\d[\d.eE]*)
  | (?P<sign>.)
    """,
    re.VERBOSE | re.DOTALL,
)

_SAYS = {
    "SERVICE": (
        "SERVICE asks another machine, and a query here reaches none",
        "leave it out; `--endpoint URL` asks one endpoint the whole query",
    ),
    "FROM": (
        "FROM names data to fetch, and a query here fetches none",
        "leave it out: the folder is the data",
    ),
    "UPDATE": (
        "an update would change data, and a query here changes none",
        "SELECT, ASK, CONSTRUCT or DESCRIBE; facts are added by `kgraph add`",
    ),
}
_SAID_BY_TOKENS = frozenset(_SAYS)
_UPDATES = frozenset({"LOAD", "CLEAR", "DROP", "CREATE", "ADD", "MOVE", "COPY", "INSERT", "DELETE"})
_NODES = {"ServiceGraphPattern": "SERVICE", "DatasetClause": "FROM"}


def tokens(text: str) -> Iterator[Token]:
    """Every token but blanks and comments."""
    for found in _TOKENS.finditer(text):
        if found.lastgroup not in ("blank", "comment"):
            yield Token(found.lastgroup or "sign", found[0], found.start())


def place_of(file: str, text: str, at: int) -> Where:
    """The line and column of an index of the text."""
    before = text[:at]
    return Where(file, before.count("\n") + 1, at - before.rfind("\n"))


def faults(text: str, file: str) -> list[Problem]:
    """Why a query may not be run; nothing where it may. Reads no file and opens no socket."""
    if found := _unclear(text, file) or _too_deep(text, file):
        return [found]
    named = {_said(t) for t in tokens(text) if t.kind == "word"} & _SAID_BY_TOKENS
    if named:
        return [_refused(text, file, what) for what in sorted(named)]
    return _by_grammar(text, file)


def makes_a_graph(text: str) -> bool:
    """Whether a query without faults answers with statements (CONSTRUCT, DESCRIBE) and not with rows."""
    from rdflib.plugins.sparql.parser import parseQuery

    return parseQuery(text)[1].name in ("ConstructQuery", "DescribeQuery")


def _said(token: Token) -> str:
    word = token.text.upper()
    return "UPDATE" if word in _UPDATES else word


def _refused(text: str, file: str, what: str) -> Problem:
    at = next((t.at for t in tokens(text) if t.kind == "word" and _said(t) == what), 0)
    return Problem(place_of(file, text, at), "refused-query", *_SAYS[what])


_CODE_POINT = re.compile(r"\\[uU][0-9A-Fa-f]{4}")
# A line may end by LF alone: to one reader a comment ends at a carriage return, to another it does not.
_UNSEEN = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff]")


def _unclear(text: str, file: str) -> Problem | None:
    """The first thing that two readers of SPARQL may read in two ways."""
    if len(text) > LONGEST:
        return Problem(
            Where(file), "long-query", f"a query of more than {LONGEST} characters", "a shorter one"
        )
    if found := _CODE_POINT.search(text):
        says = f"{found[0]} is read in different ways by different engines"
        return Problem(place_of(file, text, found.start()), "escaped", says, "write the character itself")
    if found := _UNSEEN.search(text):
        says = f"a control character, U+{ord(found[0]):04X}"
        return Problem(place_of(file, text, found.start()), "control", says, "take it out")
    return None


def _too_deep(text: str, file: str) -> Problem | None:
    depth = 0
    for token in tokens(text):
        depth += (token.text in ("{", "(", "[")) - (token.text in ("}", ")", "]"))
        if depth > DEEPEST:
            says = f"brackets more than {DEEPEST} deep"
            return Problem(place_of(file, text, token.at), "deep-query", says, "a flatter query")
    return None


def _by_grammar(text: str, file: str) -> list[Problem]:
    from pyparsing import ParseBaseException
    from rdflib.plugins.sparql.algebra import translateQuery
    from rdflib.plugins.sparql.parser import parseQuery

    try:
        tree = parseQuery(text)
        found = set(_nodes(tree))
        # What the grammar lets pass and no engine would: a prefix that is not declared, and its kind.
        translateQuery(tree)
    except ParseBaseException as error:
        # The grammar's own words name its rules, not what the user wrote.
        where = place_of(file, text, error.loc)
        return [Problem(where, "syntax", "this is no SPARQL 1.1 query from here on", _near(text, error.loc))]
    except RecursionError:
        return [Problem(Where(file), "deep-query", "the query is nested too deeply", "a flatter query")]
    except Exception as error:
        return [Problem(Where(file), "syntax", f"this is no SPARQL 1.1 query: {_first_line(error)}")]
    return [_refused(text, file, what) for what in sorted(found)]


def _first_line(error: Exception) -> str:
    return (str(error).strip() or type(error).__name__).split("\n", 1)[0][:200]


def _near(text: str, at: int) -> str:
    line = text[at:].lstrip().split("\n", 1)[0].strip()
    return f"it stops before {line[:60]!r}" if line else "it ends too early; is a bracket open?"


def _nodes(part: Any) -> Iterator[str]:
    """What of the refused a parsed query holds, wherever it stands."""
    name = getattr(part, "name", None)
    if isinstance(name, str) and name in _NODES:
        yield _NODES[name]
    if isinstance(part, dict):
        for inner in part.values():
            yield from _nodes(inner)
    elif not isinstance(part, str) and hasattr(part, "__iter__"):
        for inner in part:
            yield from _nodes(inner)
