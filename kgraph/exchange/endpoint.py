"""A question to somebody's SPARQL endpoint: one POST to one host, with a bound on the reply.

SPARQL 1.1 Protocol, section 2.1.3 (query by POST directly); the reply is read as SPARQL 1.1 Query Results
JSON, or as N-Triples where the query makes a graph.
"""

from __future__ import annotations

import http.client
import json
import time
from typing import Any
from urllib.parse import SplitResult, urlsplit

from kgraph.exchange.engines import LANGUAGE, STRING, Cell, Result
from kgraph.problems import CannotRun, WrongUse

MOST_BYTES = 64 << 20
"""The largest reply that is read."""

ROWS = "application/sparql-results+json"
TRIPLES = "application/n-triples"


def address(url: str) -> SplitResult:
    """The parts of an endpoint's address; raises WrongUse for what is none."""
    mend = "write it as https://HOST/PATH"
    try:
        parts = urlsplit(url)
        bad = parts.scheme not in ("http", "https") or not parts.hostname or parts.port == 0
    except ValueError:
        raise WrongUse(f"{url!r} is no address of an endpoint; {mend}") from None
    if bad or not url.isascii() or not url.isprintable() or " " in url:
        raise WrongUse(f"{url!r} is no address of an endpoint; {mend}")
    if parts.username is not None or parts.password is not None or parts.fragment:
        raise WrongUse(f"an endpoint's address holds no name, password or fragment; {mend}")
    return parts


def ask(url: str, text: str, graph: bool, seconds: float) -> Result:
    """The result of a judged query at an endpoint; `graph`: it answers with statements, and not with rows.

    Raises CannotRun where the endpoint gives no such result.
    """
    parts = address(url)
    kind = http.client.HTTPSConnection if parts.scheme == "https" else http.client.HTTPConnection
    connection = kind(parts.hostname or "", parts.port, timeout=seconds)
    try:
        kind_of_reply, body = _reply(connection, parts, text, TRIPLES if graph else ROWS, seconds)
    except (OSError, http.client.HTTPException) as error:
        raise CannotRun(f"{parts.netloc}: no answer: {error or type(error).__name__}") from None
    finally:
        connection.close()
    # Some servers send N-Triples as the plain text that it is, and SPARQL's JSON as JSON.
    if kind_of_reply not in ((TRIPLES, "text/plain") if graph else (ROWS, "application/json")):
        says = f"{parts.netloc} answers with {kind_of_reply or 'no content type'}"
        raise CannotRun(f"{says}; an endpoint is to answer with {TRIPLES if graph else ROWS}")
    return {"form": "graph", "rows": triples(body, parts.netloc)} if graph else rows(body, parts.netloc)


def _reply(
    connection: http.client.HTTPConnection, parts: SplitResult, text: str, accept: str, seconds: float
) -> tuple[str, bytes]:
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    headers = {
        "Content-Type": "application/sparql-query",
        "Accept": accept,
        "Accept-Encoding": "identity",
        "User-Agent": "kgraph",
    }
    ends = time.monotonic() + seconds
    connection.request("POST", path, body=text.encode(), headers=headers)
    reply = connection.getresponse()
    body = bytearray()
    while chunk := reply.read1(1 << 16):
        body += chunk
        if len(body) > MOST_BYTES:
            raise CannotRun(f"{parts.netloc}: the answer is larger than {MOST_BYTES >> 20} MiB; ask for less")
        if time.monotonic() > ends:
            raise TimeoutError("the time is up")
    _check(reply, bytes(body[:300]), parts)
    return (reply.getheader("Content-Type") or "").split(";")[0].strip().lower(), bytes(body)


def _check(reply: http.client.HTTPResponse, begins: bytes, parts: SplitResult) -> None:
    if 300 <= reply.status < 400:
        to = reply.getheader("Location") or "nowhere"
        raise CannotRun(f"{parts.netloc} sends on to {to}; if you trust that address, give it to --endpoint")
    if reply.status != 200:
        said = begins.decode("utf-8", "replace").strip()
        raise CannotRun(
            f"{parts.netloc}: {reply.status} {reply.reason}" + (f"; it says: {said}" if said else "")
        )
    if (reply.getheader("Content-Encoding") or "identity").lower() != "identity":
        raise CannotRun(f"{parts.netloc}: the answer is packed, though that was not asked for")


def rows(body: bytes, host: str) -> Result:
    """A SELECT or ASK result from SPARQL 1.1 Query Results JSON."""
    try:
        said = json.loads(body)
        if isinstance(said.get("boolean"), bool):
            return {"form": "ask", "answer": said["boolean"]}
        names = [str(v) for v in said["head"]["vars"]]
        found = [[_cell(row.get(name)) for name in names] for row in said["results"]["bindings"]]
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise CannotRun(f"{host}: the answer is no SPARQL 1.1 Query Results JSON") from None
    return {"form": "select", "variables": names, "rows": found}


_KINDS = {"uri": "iri", "bnode": "blank", "literal": "text", "typed-literal": "text"}


def _cell(said: dict[str, Any] | None) -> Cell:
    if said is None:
        return None
    kind, language = _KINDS[said["type"]], str(said.get("xml:lang", ""))
    plain = LANGUAGE if language else STRING
    return [kind, str(said["value"]), str(said.get("datatype", plain)) if kind == "text" else "", language]


def triples(body: bytes, host: str) -> list[list[Cell]]:
    """The rows of an N-Triples reply."""
    import rdflib

    from kgraph.exchange.engines import _rdflib_cell

    graph = rdflib.Graph(bind_namespaces="none")
    try:
        graph.parse(data=body, format="nt")
    except Exception:
        raise CannotRun(f"{host}: the answer is no N-Triples") from None
    return [[_rdflib_cell(term) for term in triple] for triple in graph]
