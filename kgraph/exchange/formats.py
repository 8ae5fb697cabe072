"""The formats that `export` writes and `import` reads, by name and by suffix; each is loaded when asked for.

A format to write is one line in FORMATS and a function from an `Export` to chunks of bytes; one to read is
one line in READERS and a function from an `Incoming` to a `FoundEntries`.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from kgraph.exchange.sheets import TableSheet
    from kgraph.fits.graph import Graph
    from kgraph.folder.writing import Value
    from kgraph.problems import Problem, Where

Pairs = list[tuple[str, "Value"]]
"""An entry as `folder.writing.entry_text` takes it, the key that says its kind first."""


@dataclass(frozen=True, slots=True)
class Export:
    """What is to be written: a folder, and how much of it."""

    graph: Graph
    inferred: bool = False
    places: bool = False
    kind: str = ""
    """Tables: the one kind of entry that is wanted; empty for all."""
    step: Callable[[], None] = lambda: None
    """Called after each part whose answers are worked out."""


@dataclass(frozen=True, slots=True)
class Incoming:
    """What is to be read: the file, its bytes, and what the command line said of it."""

    path: Path
    data: bytes
    seconds: float = 120.0
    mapping: tuple[Path, bytes] | None = None
    """Tables: the file that says which column is which key."""
    kind: str = ""
    """Tables: the kind of entry that the rows are; empty where the columns tell it."""
    encoding: str = "utf-8"
    """CSV: the coding of its text."""
    sheets: tuple[str, ...] = ()
    """Tables: the names of the sheets that are read; none for all."""


class RowFault(NamedTuple):
    """What is wrong with a row of a table, and which row it is: the number of its sheet, and its line."""

    problem: Problem
    row: tuple[int, int]


@dataclass(frozen=True, slots=True)
class FoundEntries:
    """The entries of a file in their order, the line on which each stands, and remarks.

    `places`: of each entry of a table, where each of its keys stands, and under "" its row. `guess`: how the
    columns were understood, as a mapping file, where that was guessed. `doubts`: what of it nobody should
    take unasked. `skipped`: rows that cannot be read; `asked`: rows that nobody should take unasked. A reader
    raises CannotRun with every other fault.
    """

    entries: Sequence[Pairs]
    lines: Sequence[int]
    notes: Sequence[str] = ()
    places: Sequence[Mapping[str, Where]] = ()
    guess: str = ""
    doubts: Sequence[Problem] = ()
    warnings: Sequence[Problem] = ()
    skipped: Sequence[RowFault] = ()
    asked: Sequence[RowFault] = ()
    rows: Sequence[tuple[int, int]] = ()
    """Of each entry of a table its row, as a Fault names it."""
    tables: Sequence[TableSheet] = ()
    sources: frozenset[str] = frozenset()
    """The names of the tables as sources of the facts that stand in them."""


Writer = Callable[[Export], Iterable[bytes]]
Reader = Callable[[Incoming], FoundEntries]


@dataclass(frozen=True, slots=True)
class Format:
    """A format to write: where its writer is, what it is in words, its suffixes, and whether it is RDF."""

    module: str
    function: str
    says: str
    suffixes: tuple[str, ...]
    rdf: bool = False

    def writer(self) -> Writer:
        """The function that writes it."""
        found: Writer = getattr(importlib.import_module(f"kgraph.exchange.{self.module}"), self.function)
        return found


FORMATS: dict[str, Format] = {
    "turtle": Format("rdf", "turtle", "RDF as Turtle, to read and to send", (".ttl",), rdf=True),
    "jsonld": Format("rdf", "jsonld", "RDF as JSON-LD", (".jsonld",), rdf=True),
    "trig": Format("rdf", "trig", "RDF as TriG, in four named graphs", (".trig",), rdf=True),
    "nquads": Format("rdf", "nquads", "RDF as N-Quads, in four named graphs", (".nq",), rdf=True),
    "ntriples": Format("rdf", "ntriples", "RDF as N-Triples, a statement to a line", (".nt",), rdf=True),
    "csv": Format("tables", "csv", "tables, one for each kind of entry, as CSV", (".csv",)),
    "xlsx": Format("xlsx", "xlsx", "tables, one for each kind of entry, in a workbook", (".xlsx",)),
    "graphml": Format(
        "graphml", "graphml", "sets, assemblies, parts and the facts between them", (".graphml",)
    ),
}
"""Name -> format, as `export --to` takes them."""

FOLDER = "/"
"""What stands for the suffix of a folder."""

READERS: dict[str, tuple[str, str]] = {
    ".ttl": ("incoming", "read"),
    ".trig": ("incoming", "read"),
    ".nt": ("incoming", "read"),
    ".nq": ("incoming", "read"),
    ".jsonld": ("incoming", "read"),
    ".rdf": ("incoming", "refuse_xml"),
    ".owl": ("incoming", "refuse_xml"),
    ".xml": ("incoming", "refuse_xml"),
    ".csv": ("columns", "read_csv"),
    ".tsv": ("columns", "read_csv"),
    ".xlsx": ("columns", "read_xlsx"),
    FOLDER: ("columns", "read_folder"),
}
"""Suffix of a file -> (module of this room, function that reads it), as `import` takes them."""


def reader(suffix: str) -> Reader:
    """The function that reads files of a suffix; KeyError where there is none."""
    module, function = READERS[suffix]
    found: Reader = getattr(importlib.import_module(f"kgraph.exchange.{module}"), function)
    return found
