"""The program with one safety taken out: what a harness must notice.

The product has no switch for any of this: its functions are replaced from here while a figure runs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any
from unittest import mock

Patches = list[tuple[Any, str, object]]


def errors_swallowed() -> Patches:
    """The reader leaves out what it cannot read, and says nothing."""
    from kgraph.folder import reading, schema

    read, check = reading.read_bytes, schema.check_entry

    def quiet(data: bytes, file: str) -> reading.ReadFile:
        return reading.ReadFile(file, read(data, file).entries, ())

    return [
        (reading, "read_bytes", quiet),
        (schema, "check_entry", lambda node, file: (check(node, file)[0], [])),
    ]


def places_lost() -> Patches:
    """Every fault is told at the beginning of its file."""
    from kgraph.folder import schema, text

    real = text.Page.report

    def report(page: text.Page, index: int, *said: Any) -> None:
        real(page, 0, *said)

    return [
        (text.Page, "report", report),
        (schema._Context, "where", lambda self, node: schema.Where(self.file)),
    ]


def no_escape() -> Patches:
    """Every text goes out as it is."""
    from kgraph.book import pages
    from kgraph.exchange import cells, statements, terms
    from kgraph.render import terminal
    from kgraph.render.pictures import sheet

    def bare(text: str, *more: Any) -> str:
        return text

    return [
        (terminal, "visible", bare),
        (pages, "_shown", bare),
        (pages.jinja2, "Environment", _without_escape(pages.jinja2.Environment)),
        (sheet, "label_text", bare),
        (sheet, "tip_text", bare),
        (terms, "literal", lambda text, datatype="": f'"{text}"'),
        (statements, "literal", lambda text, datatype="": f'"{text}"'),
        (cells, "_needs_quotes", lambda *given: False),
        (cells, "FORMULA", __import__("re").compile(r"(?!)")),
    ]


def _without_escape(real: Callable[..., Any]) -> Callable[..., Any]:
    return lambda **given: real(**{**given, "autoescape": False})


def names_as_files() -> Patches:
    """A thing's page is named as the thing is."""
    from kgraph.book import addresses

    return [(addresses, "page_path", lambda kind, key, name: f"{addresses.FOLDERS[kind]}/{name}.html")]


def raises() -> Patches:
    """The reader lets through what the parser of YAML raises."""
    from kgraph.folder import parsing

    def explain(page: object, error: Exception, *place: object) -> None:
        raise error

    return [(parsing, "explain", explain)]


WAYS: dict[str, Callable[[], Patches]] = {
    way.__name__: way for way in (errors_swallowed, places_lost, no_escape, names_as_files, raises)
}
"""Name -> what takes the safety out of the modules of this process."""


@contextmanager
def without(name: str) -> Iterator[None]:
    """The program without the safety of this name, until the end; nothing is changed where it is empty."""
    patches = WAYS[name]() if name else []
    stack = [mock.patch.object(place, attribute, value) for place, attribute, value in patches]
    for patch in stack:
        patch.start()
    try:
        yield
    finally:
        for patch in reversed(stack):
            patch.stop()
