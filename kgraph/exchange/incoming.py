"""An RDF file that somebody sends, as entries: parsed in a process of its own that can open nothing."""

from __future__ import annotations

import importlib.util
import re

from kgraph.exchange import process
from kgraph.exchange.formats import FoundEntries, Incoming
from kgraph.folder.disk import MOST_BYTES, display
from kgraph.problems import CannotRun, Problem, Where

MEMORY_MIB = 4096
"""Of address space, not of memory in use."""


def read(incoming: Incoming, engine: str = "") -> FoundEntries:
    """The entries of a Turtle, TriG, N-Triples, N-Quads or JSON-LD file.

    Raises CannotRun with every fault.
    """
    file = display(incoming.path)
    if len(incoming.data) > MOST_BYTES:
        says = f"more than {MOST_BYTES >> 20} MiB"
        raise CannotRun(Problem(Where(file), "size", says, "Turtle is shorter than N-Triples; or send less"))
    job = {
        "file": file,
        "suffix": incoming.path.suffix.lower(),
        "engine": engine or default_engine(),
        "seconds": incoming.seconds,
        "memory_mib": MEMORY_MIB,
    }
    result = process.run("kgraph.exchange.parsing", job, [incoming.data])
    entries = [[(key, value) for key, value in pairs] for _, pairs in result["entries"]]
    notes = [] if entries else ["it holds no node of the class kgraph:Entry, and only those are read"]
    return FoundEntries(entries, [line for line, _ in result["entries"]], notes=notes)


def default_engine() -> str:
    """pyoxigraph where it is installed: it is three times as fast; else rdflib."""
    return "pyoxigraph" if importlib.util.find_spec("pyoxigraph") else "rdflib"


_DOCTYPE = re.compile(rb"<!DOCTYPE", re.IGNORECASE)


def refuse_xml(incoming: Incoming) -> FoundEntries:
    """Raises CannotRun: RDF/XML is not read at all, so no DOCTYPE can name a file or blow up."""
    file = display(incoming.path)
    mend = "convert it to Turtle or JSON-LD"
    if found := _DOCTYPE.search(incoming.data):
        before = incoming.data[: found.start()]
        where = Where(file, before.count(b"\n") + 1, found.start() - before.rfind(b"\n"))
        raise CannotRun(Problem(where, "doctype", "a DOCTYPE is refused, and RDF/XML is not read", mend))
    raise CannotRun(Problem(Where(file), "rdf-xml", "RDF/XML is not read", mend))
