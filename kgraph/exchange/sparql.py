"""A SPARQL query as a file: its title, what it may be given, and its text with the given values in place.

A query says of itself, in comment lines before its first keyword::

    # title: Which sets take a part
    # asks: every set and position that the part goes to
    # parameter: part (part, needed): the part asked about
    # parameter: here (place): at this position of this set alone

and holds `VALUES ?part { UNDEF }`, or `VALUES (?set ?position) { (UNDEF UNDEF) }`, wherever the values
belong. UNDEF is what the standard writes for "any", so the file is a whole query by itself; a value
takes the place of that one word.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import takewhile
from typing import NamedTuple

from kgraph.exchange.guard import Token, place_of, tokens
from kgraph.problems import CannotRun, Problem, Where

KINDS = ("set", "assembly", "part", "position", "source", "unit", "kind", "place", "number")
"""What a parameter can be: a thing of the folder; a place, given as --set and --position; a number."""

_LINE = re.compile(r"# (?P<key>title|asks|parameter): *(?P<said>.*)")
_PARAMETER = re.compile(r"(?P<name>[a-z]\w*) \((?P<kind>\w+)(?P<needed>, needed)?\): (?P<says>.+)")
_IRI = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*:[A-Za-z0-9._~:/%+-]*\Z")
_NUMBER = re.compile(r"\d{1,9}(\.\d{1,9})?\Z")


class Parameter(NamedTuple):
    """What a query may be given: the variable's name, what kind of thing, whether it must be given."""

    name: str
    kind: str
    needed: bool
    says: str

    @property
    def options(self) -> tuple[str, ...]:
        """The options of the command line that give it: a place takes two."""
        return ("set", "position") if self.kind == "place" else (self.name,)


@dataclass(frozen=True, slots=True)
class Query:
    """A query as its file has it; `file` is the name shown in errors."""

    name: str
    file: str
    text: str
    title: str = ""
    asks: str = ""
    parameters: tuple[Parameter, ...] = ()
    shipped: bool = False
    """Whether it comes with the program."""


def read(name: str, file: str, data: bytes, shipped: bool = False) -> Query:
    """The query of a file's bytes; raises CannotRun where they are no text or its head is ill-written."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8-sig")
        where = place_of(file, before, len(before))
        raise CannotRun(Problem(where, "encoding", "this is no UTF-8", "save it as UTF-8")) from None
    # To one reader of SPARQL a comment ends at a carriage return, to another it does not.
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    said: dict[str, list[tuple[int, str]]] = {"title": [], "asks": [], "parameter": []}
    for number, line in enumerate(_head(text), 1):
        if found := _LINE.match(line):
            said[found["key"]].append((number, found["said"].strip()))
    parameters = [_parameter(file, number, line) for number, line in said["parameter"]]
    query = Query(name, file, text, _joined(said["title"]), _joined(said["asks"]), tuple(parameters), shipped)
    _check_spots(query)
    return query


def _head(text: str) -> list[str]:
    """The comment lines and blank lines that the text begins with."""
    lines = text.split("\n")
    ends = next((i for i, line in enumerate(lines) if line.strip() and not line.startswith("#")), len(lines))
    return lines[:ends]


def _joined(said: list[tuple[int, str]]) -> str:
    return " ".join(line for _, line in said)


def _parameter(file: str, number: int, line: str) -> Parameter:
    found = _PARAMETER.fullmatch(line)
    if found is None:
        mend = "write `# parameter: part (part, needed): what it is`"
        raise CannotRun(Problem(Where(file, number), "parameter", "this parameter cannot be read", mend))
    if found["kind"] not in KINDS:
        says = f"no parameter is of the kind {found['kind']!r}"
        raise CannotRun(Problem(Where(file, number), "parameter", says, f"one of {', '.join(KINDS)}"))
    return Parameter(found["name"], found["kind"], bool(found["needed"]), found["says"])


def _check_spots(query: Query) -> None:
    """Raises CannotRun for a parameter without a place in the text, and for one option of two parameters."""
    options = [option for parameter in query.parameters for option in parameter.options]
    for option in {o for o in options if options.count(o) > 1}:
        says = f"two parameters take --{option}"
        raise CannotRun(Problem(Where(query.file), "parameter", says, "give one of them another name"))
    spots = {name for name, _ in _spots(query.text)}
    for parameter in query.parameters:
        if parameter.name not in spots:
            says = f"the query has no place for its parameter {parameter.name!r}"
            mend = f"write `VALUES ?{parameter.name} {{ UNDEF }}` in it"
            raise CannotRun(Problem(Where(query.file), "parameter", says, mend))


def _spots(text: str) -> list[tuple[str, Token]]:
    """(variable, the token UNDEF) for each of `VALUES ?a { UNDEF }`, `VALUES (?a ?b) { (UNDEF UNDEF) }`."""
    found = list(tokens(text))
    spots = []
    for number, token in enumerate(found):
        if token.text.upper() == "VALUES" and token.kind == "word":
            head = _until(found, number + 1, "{")
            row = _until(found, number + 2 + len(head), "}")
            names = [t.text[1:] for t in head if t.kind == "variable"]
            values = [t for t in row if t.text not in ("(", ")")]
            if len(names) == len(values) and all(t.text.upper() == "UNDEF" for t in values):
                spots += list(zip(names, values, strict=True))
    return spots


def _until(found: list[Token], begin: int, end: str) -> list[Token]:
    return list(takewhile(lambda t: t.text != end, found[begin:]))


INFERRED = ("Inferred", "standing", "best", "certaintyAtMost")
"""Words of ours that only answers have, which stand in the data with --inferred alone."""


def wants_inferred(text: str) -> str:
    """The first word of a query that only answers have, as it is written there; "" where there is none."""
    names = {f":{word}" for word in INFERRED}
    found = (t.text for t in tokens(text) if t.kind not in ("string", "comment"))
    return next((f.strip("<>") for f in found if any(f.rstrip(">").endswith(name) for name in names)), "")


def bound(query: Query, given: Mapping[str, str]) -> str:
    """The text with each given IRI or number (as text) in its place, and no place for what is not given.

    Raises ValueError for a value that is neither: nothing that could end a term gets into a query.
    """
    terms = {name: _term(value) for name, value in given.items()}
    text = query.text
    for name, undef in reversed(_spots(text)):
        if name in terms:
            text = text[: undef.at] + terms[name] + text[undef.at + len(undef.text) :]
    return _without_any(text) if query.shipped else text


def _without_any(text: str) -> str:
    """A text without each `VALUES ?a { UNDEF }`: it says nothing, and keeps engines from joining by it."""
    found = list(tokens(text))
    for number in reversed(range(len(found) - 4)):
        five = found[number : number + 5]
        shape = [t.text.upper() if t.kind != "variable" else "?" for t in five]
        if shape == ["VALUES", "?", "{", "UNDEF", "}"] and five[0].kind == "word":
            text = text[: five[0].at] + text[five[4].at + 1 :]
    return text


def _term(value: str) -> str:
    if _NUMBER.match(value):
        return value
    if not _IRI.match(value):
        raise ValueError(f"{value!r} is neither an IRI in plain ASCII nor a number")
    return f"<{value}>"
