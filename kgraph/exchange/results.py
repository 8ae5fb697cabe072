"""The result of a query as JSON and as text, the same whichever engine gave it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from kgraph.exchange.engines import LANGUAGE, STRING, Cell, Result
from kgraph.exchange.terms import XSD, literal

_SMALL = ("int", "long", "short", "byte", "unsignedInt", "unsignedLong", "unsignedShort", "unsignedByte")
_SIGNED = ("nonNegativeInteger", "positiveInteger", "nonPositiveInteger", "negativeInteger")
INTEGERS = frozenset(XSD + name for name in ("integer", *_SMALL, *_SIGNED))
REALS = frozenset(XSD + name for name in ("decimal", "double", "float"))


def found(result: Result) -> bool:
    """Whether the query found anything: a row, a statement, or yes."""
    return bool(result["answer"] if result["form"] == "ask" else result["rows"])


def answers(result: Result) -> list[dict[str, Any]]:
    """One object for each row, variable to plain value; for a graph, three terms as N-Triples writes them."""
    if result["form"] == "ask":
        return [{"answer": result["answer"]}]
    if result["form"] == "graph":
        names = ("subject", "predicate", "object")
        return [dict(zip(names, map(ntriples, row), strict=True)) for row in sorted(result["rows"])]
    return [dict(zip(result["variables"], map(plain, row), strict=True)) for row in result["rows"]]


def plain(cell: Cell) -> Any:
    """A cell as a JSON value: a number or truth value where its datatype says so, else text, or None."""
    if cell is None:
        return None
    kind, value, datatype, _ = cell
    if kind == "blank":
        return f"_:{value}"
    if datatype == XSD + "boolean" and value in ("true", "false", "1", "0"):
        return value in ("true", "1")
    try:
        number = int(value) if datatype in INTEGERS else float(value) if datatype in REALS else None
    except ValueError:
        return value
    return value if number is None or not math.isfinite(number) else number


def texts(result: Result) -> tuple[list[str], list[list[str]]]:
    """Headings and cells for a table of a SELECT result."""
    head = [name.replace("_", " ") for name in result["variables"]]
    return head, [[_shown(plain(cell)) for cell in row] for row in result["rows"]]


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else str(value)


def lines(result: Result) -> Iterator[str]:
    """The statements of a graph as N-Triples, sorted."""
    for row in sorted(result["rows"]):
        yield " ".join(map(ntriples, row)) + " .\n"


def ntriples(cell: Cell) -> str:
    """A term as N-Triples writes it."""
    kind, value, datatype, language = cell or ["text", "", "", ""]
    if kind == "iri":
        return f"<{value}>"
    if kind == "blank":
        return f"_:{value}"
    if language:
        return f"{literal(value)}@{language}"
    return literal(value, "" if datatype in (STRING, LANGUAGE) else datatype)
