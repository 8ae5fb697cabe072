"""The two SPARQL engines that run here, each from N-Triples and a judged query to one plain result.

A result is what a process can send to another: `{"form": "select", "variables": [...], "rows": [...]}`,
`{"form": "ask", "answer": true}` or `{"form": "graph", "rows": [...]}` with three cells to a row. A cell
is None, or `[kind, value, datatype, language]` with kind `iri`, `text` or `blank`.
"""

from __future__ import annotations

import importlib.util
import sys
import threading
from collections.abc import Callable
from typing import Any, BinaryIO

from kgraph.problems import CannotRun

Cell = list[str] | None
Result = dict[str, Any]
Close = Callable[[], None]
"""Shuts the process off from files and network; called when the data are in and before the query runs."""

STRING = "http://www.w3.org/2001/XMLSchema#string"
LANGUAGE = "http://www.w3.org/1999/02/22-rdf-syntax-ns#langString"
DEEP = 200_000
STACK = 512 << 20
"""rdflib follows a path by calls inside calls, one for each step: a chain of thousands of sets needs room."""


def has_pyoxigraph() -> bool:
    """Whether the faster engine is installed; it is not loaded by asking."""
    return importlib.util.find_spec("pyoxigraph") is not None


def run(engine: str, data: BinaryIO, text: str, close: Close) -> Result:
    """The result of a judged query over N-Triples by one of ENGINES; raises CannotRun where it fails."""
    return ENGINES[engine](data, text, close)


def _with_room(work: Callable[[], Result]) -> Result:
    """The same work in a thread whose stack has room for deep calls."""
    done: list[Result] = []
    failed: list[BaseException] = []

    def body() -> None:
        try:
            done.append(work())
        except BaseException as error:
            failed.append(error)

    sys.setrecursionlimit(DEEP)
    threading.stack_size(STACK)
    thread = threading.Thread(target=body)
    thread.start()
    thread.join()
    if failed:
        raise failed[0]
    return done[0]


def _rdflib(data: BinaryIO, text: str, close: Close) -> Result:
    # rdflib loads this late, when nothing can be opened any more.
    import xml.dom.expatbuilder  # noqa: F401

    import rdflib
    import rdflib.plugins.sparql

    # Without this rdflib reads whatever FROM names; the guard refuses FROM before.
    rdflib.plugins.sparql.SPARQL_LOAD_GRAPHS = False
    graph = rdflib.Graph(bind_namespaces="none")
    graph.parse(data, format="nt")
    list(graph.query("SELECT * { ?s ?p ?o } LIMIT 1"))
    close()
    return _with_room(lambda: rdflib_result(graph, text))


def rdflib_result(graph: Any, text: str) -> Result:
    """The result of a query over a graph of rdflib."""
    found = graph.query(text, initNs={})
    if found.type == "ASK":
        return {"form": "ask", "answer": bool(found.askAnswer)}
    if found.type == "SELECT":
        names = [str(v) for v in found.vars]
        rows = [[_rdflib_cell(row[v]) for v in found.vars] for row in found]
        return {"form": "select", "variables": names, "rows": rows}
    return {"form": "graph", "rows": [[_rdflib_cell(t) for t in triple] for triple in found.graph]}


def _rdflib_cell(term: Any) -> Cell:
    import rdflib

    if term is None:
        return None
    if isinstance(term, rdflib.Literal):
        datatype = str(term.datatype or (LANGUAGE if term.language else STRING))
        return ["text", str(term), datatype, term.language or ""]
    return ["iri" if isinstance(term, rdflib.URIRef) else "blank", str(term), "", ""]


def _pyoxigraph(data: BinaryIO, text: str, close: Close) -> Result:
    try:
        import pyoxigraph
    except ImportError:
        raise CannotRun(
            "pyoxigraph is not installed; `pip install 'kgraph[fast]'`, or `--engine rdflib`"
        ) from None
    store = pyoxigraph.Store()
    store.bulk_load(data, format=pyoxigraph.RdfFormat.N_TRIPLES)
    close()
    return pyoxigraph_result(store, text)


class BadStore(Exception):
    """A store on disk that cannot be opened or read."""


def run_standing(path: str, text: str, close: Close) -> Result:
    """The result of a judged query over a store on disk; raises BadStore where that is out of order."""
    import pyoxigraph

    try:
        # All of its files are opened now: afterwards nothing can be.
        store = pyoxigraph.Store.read_only(path)
        close()
        return pyoxigraph_result(store, text)
    except (OSError, RuntimeError) as error:
        raise BadStore(str(error)) from None


def pyoxigraph_result(store: Any, text: str) -> Result:
    """The result of a query over a store of pyoxigraph."""
    import pyoxigraph

    found = store.query(text)
    if isinstance(found, pyoxigraph.QueryBoolean):
        return {"form": "ask", "answer": bool(found)}
    if isinstance(found, pyoxigraph.QueryTriples):
        return {"form": "graph", "rows": [[_oxi_cell(t) for t in triple] for triple in found]}
    names = [v.value for v in found.variables]
    rows = [[_oxi_cell(row[name]) for name in names] for row in found]
    return {"form": "select", "variables": names, "rows": rows}


def _oxi_cell(term: Any) -> Cell:
    import pyoxigraph

    if term is None:
        return None
    if isinstance(term, pyoxigraph.Literal):
        return ["text", term.value, term.datatype.value, term.language or ""]
    return ["iri" if isinstance(term, pyoxigraph.NamedNode) else "blank", term.value, "", ""]


ENGINES: dict[str, Callable[[BinaryIO, str, Close], Result]] = {
    "rdflib": _rdflib,
    "pyoxigraph": _pyoxigraph,
}
"""Name -> engine, as `--engine` takes them."""
