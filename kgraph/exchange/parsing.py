"""An RDF file to the entries in it, inside a process that can open nothing.

The text is judged first (`judging`), then parsed by pyoxigraph where it is installed, else by rdflib, and
the entries are put together from its statements. Sources: RDF 1.1 Concepts (W3C Recommendation, 2014).
"""

from __future__ import annotations

import re
import sys
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any, BinaryIO, NamedTuple

from kgraph import system
from kgraph.exchange import judging, process, written
from kgraph.exchange.terms import RDF
from kgraph.exchange.vocabulary import TYPE
from kgraph.folder.entry_keys import keys_of
from kgraph.folder.nodes import DEEPEST
from kgraph.problems import CannotRun, Problem, Where, shown
from kgraph.words import KINDS


class Term(NamedTuple):
    """An `iri`, a `blank` node or a `text`, by its value."""

    kind: str
    value: str


Triple = tuple[Term, str, Term]

FORMATS = {".ttl": "turtle", ".trig": "trig", ".nt": "nt", ".nq": "nquads", ".jsonld": "json-ld"}
"""Suffix -> the name that rdflib has for the format."""

NIL, FIRST, REST = RDF + "nil", RDF + "first", RDF + "rest"


def answer(job: dict[str, Any], data: BinaryIO) -> dict[str, Any]:
    """`{"entries": [[line, [[key, value], ...]], ...]}` of a job that names `file`, `suffix` and `engine`."""
    file, suffix = job["file"], job["suffix"]
    text = _text(data.read(), file)
    if faults := judging.json_ld(text, file) if suffix == ".jsonld" else judging.turtle(text, file):
        raise CannotRun(*faults)
    sys.setrecursionlimit(10_000)
    triples = ENGINES[job["engine"]](text, FORMATS[suffix], file)
    found = _EntriesMade(triples, file, text)
    entries = found.read()
    if found.problems:
        raise CannotRun(*found.problems)
    return {"entries": entries}


def _text(data: bytes, file: str) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8-sig")
        where = judging.place(file, before, len(before))
        raise CannotRun(Problem(where, "encoding", "this is no UTF-8", "save it as UTF-8")) from None


# Parsers --------------------------------------------------------------------------------------


def _by_rdflib(text: str, form: str, file: str) -> set[Triple]:
    import logging

    import rdflib

    logging.getLogger("rdflib").setLevel(logging.CRITICAL)
    rdflib.NORMALIZE_LITERALS = False
    sample = "{}" if form == "json-ld" else ""
    # What a parser loads late is loaded now, for nothing can be opened afterwards.
    rdflib.Dataset().parse(data=sample, format=form)
    system.open_nothing_more()
    dataset = rdflib.Dataset()
    try:
        dataset.parse(data=text, format=form, publicID="urn:kgraph:file:")
    except MemoryError:
        raise
    except Exception as error:
        raise CannotRun(_rdflib_fault(error, text, form, file)) from None
    terms = {rdflib.URIRef: "iri", rdflib.BNode: "blank", rdflib.Literal: "text"}
    return {
        (Term(terms[type(s)], str(s)), str(p), Term(terms[type(o)], str(o)))
        for s, p, o, _ in dataset.quads((None, None, None, None))
        if isinstance(p, rdflib.URIRef)
    }


def _rdflib_fault(error: Exception, text: str, form: str, file: str) -> Problem:
    if isinstance(error, RecursionError):
        return Problem(Where(file), "deep", "it is nested too deeply", "flatten it")
    says = f"this is no {form}: {' '.join(str(error).split())[:200]}"
    source, at = getattr(error, "_str", None), getattr(error, "_i", None)
    if isinstance(source, bytes) and isinstance(at, int):
        at = len(source[:at].decode("utf-8", "replace"))
        why = getattr(error, "_why", "it cannot be read")
        return Problem(judging.place(file, text, min(at, len(text))), "syntax", f"this is no {form}: {why}")
    if form in ("nt", "nquads"):
        return Problem(Where(file, _bad_line(text)), "syntax", says)
    return Problem(Where(file), "syntax", says)


_TERM = r'(?:<[^>]*>|_:[^\s<"]+|"(?:[^"\\\n\r]|\\.)*"(?:@[A-Za-z0-9-]+|\^\^<[^>]*>)?)'
_LINE = re.compile(rf"[ \t]*(?:{_TERM}[ \t]*<[^>]*>[ \t]*{_TERM}[ \t]*(?:{_TERM}[ \t]*)?\.[ \t]*)?(?:#.*)?\Z")


def _bad_line(text: str) -> int:
    """The first line that cannot be a statement of N-Triples or N-Quads."""
    lines = text.splitlines()
    return next((n for n, line in enumerate(lines, 1) if not _LINE.match(line)), 1)


def _by_pyoxigraph(text: str, form: str, file: str) -> set[Triple]:
    import pyoxigraph as oxi

    forms = {
        "turtle": oxi.RdfFormat.TURTLE,
        "trig": oxi.RdfFormat.TRIG,
        "nt": oxi.RdfFormat.N_TRIPLES,
        "nquads": oxi.RdfFormat.N_QUADS,
        "json-ld": oxi.RdfFormat.JSON_LD,
    }
    system.open_nothing_more()
    terms = {oxi.NamedNode: "iri", oxi.BlankNode: "blank", oxi.Literal: "text"}
    try:
        quads = oxi.parse(text, format=forms[form], base_iri="urn:kgraph:file:")
        found = ((q.subject, q.predicate.value, q.object) for q in quads)
        return {(Term(terms[type(s)], s.value), p, Term(terms[type(o)], o.value)) for s, p, o in found}
    except (SyntaxError, ValueError, KeyError) as error:
        line, column = getattr(error, "lineno", None) or 1, getattr(error, "offset", None) or 1
        says = getattr(error, "msg", None) or str(error)
        raise CannotRun(Problem(Where(file, line, column), "syntax", f"this is no {form}: {says}")) from None


ENGINES: dict[str, Callable[[str, str, str], set[Triple]]] = {
    "rdflib": _by_rdflib,
    "pyoxigraph": _by_pyoxigraph,
}
"""Name -> parser; each closes the process to files and network before it parses."""


# Statements to entries ------------------------------------------------------------------------

Value = str | list[Any] | dict[str, Any]


@dataclass(eq=False)
class _WrongStatement(Exception):
    says: str
    mend: str = ""


@dataclass
class _EntriesMade:
    """The entries among statements, with every fault of them."""

    triples: Iterable[Triple]
    file: str
    text: str
    problems: list[Problem] = field(default_factory=list)
    about: dict[Term, dict[str, list[Term]]] = field(default_factory=dict)
    used: set[Term] = field(default_factory=set)

    def read(self) -> list[tuple[int, list[tuple[str, Value]]]]:
        """(line, pairs) of each entry, in the order told."""
        gathered: dict[Term, dict[str, list[Term]]] = defaultdict(lambda: defaultdict(list))
        for subject, predicate, object_ in self.triples:
            gathered[subject][predicate].append(object_)
        self.about = {s: dict(said) for s, said in gathered.items()}
        entry = Term("iri", written.ENTRY)
        found = [s for s, said in self.about.items() if entry in said.get(TYPE, ())]
        lines = self._lines()
        read = []
        for subject in sorted(found, key=self._order):
            line = next((lines[d] for d in _DIGEST.findall(subject.value) if d in lines), 1)
            try:
                read.append((line, self._entry(subject)))
            except _WrongStatement as wrong:
                named = f"the entry {shown(subject.value, 80)}"
                where = Where(self.file, line)
                self.problems.append(Problem(where, "entry", f"{named} {wrong.says}", wrong.mend))
        return read

    def _lines(self) -> dict[str, int]:
        """Digest of an entry -> the line on which its name stands first."""
        found: dict[str, int] = {}
        for number, line in enumerate(self.text.split("\n"), 1):
            for digest in _DIGEST.findall(line):
                found.setdefault(digest, number)
        return found

    def _order(self, subject: Term) -> tuple[int, str, str]:
        told = min((o.value for o in self.about[subject].get(written.ORDER, ())), default="")
        return int(told) if re.fullmatch(r"\d{1,9}", told, re.ASCII) else 10**9, told, subject.value

    def _entry(self, subject: Term) -> list[tuple[str, Value]]:
        kinds = {o.value for o in self.about[subject].get(written.ENTRY_OF, ())}
        if len(kinds) != 1:
            raise _WrongStatement("does not say what kind it is of", "give it one kgraph:entryOf")
        kind = kinds.pop()
        pairs = self._pairs(subject, 1)
        if kind not in dict(pairs):
            raise _WrongStatement(f"is of the kind {shown(kind)} and has no such key", f"give it key:{kind}")
        usual = keys_of(kind) if kind in KINDS else [kind]
        return sorted(self._in_order(subject, pairs, usual), key=lambda pair: pair[0] != kind)

    def _pairs(self, node: Term, depth: int) -> list[tuple[str, Value]]:
        pairs: list[tuple[str, Value]] = []
        for predicate, objects in self.about.get(node, {}).items():
            key = written.key_of(predicate)
            if key is None:
                continue
            if len(objects) != 1:
                says = f"has {len(objects)} values of {shown(key)}"
                raise _WrongStatement(says, "one value; several are an RDF list")
            pairs.append((key, self._value(objects[0], key, depth)))
        return pairs

    def _in_order(
        self, node: Term, pairs: list[tuple[str, Value]], usual: Iterable[str]
    ) -> list[tuple[str, Value]]:
        told = sorted(o.value for o in self.about.get(node, {}).get(written.KEY_ORDER, ()))
        by_key = dict(pairs)
        order = written.told_order(told[0]) if told else usual
        return [(key, by_key[key]) for key in written.keys_in_order(by_key, order)]

    def _value(self, node: Term, key: str, depth: int) -> Value:
        if node.kind == "text":
            if any("\ud800" <= c <= "\udfff" for c in node.value):
                raise _WrongStatement(f"has half of a character in {shown(key)}", "write the whole character")
            return node.value
        if depth > DEEPEST:
            raise _WrongStatement(f"is nested more than {DEEPEST} deep in {shown(key)}", "flatten it")
        if node.value == NIL:
            return []
        if node.kind == "iri" and node not in self.about:
            says = f"has the IRI {shown(node.value)} as its {shown(key)}"
            raise _WrongStatement(says, "a text in quotes, a list, or a node with keys")
        if FIRST in self.about.get(node, {}):
            return [self._value(item, key, depth + 1) for item in list(self._items(node, key))]
        self._take(node, key)
        return dict(self._in_order(node, self._pairs(node, depth + 1), ()))

    def _items(self, cell: Term, key: str) -> Iterator[Term]:
        while cell.value != NIL:
            self._take(cell, key)
            first, rest = (self.about.get(cell, {}).get(p, []) for p in (FIRST, REST))
            if len(first) != 1 or len(rest) != 1:
                raise _WrongStatement(
                    f"has a list that is not whole in {shown(key)}", "one first and one rest to a cell"
                )
            yield first[0]
            cell = rest[0]

    def _take(self, node: Term, key: str) -> None:
        """Each node and cell belongs to one value, or a few could be told as millions."""
        if node in self.used:
            says = f"shares a node or list with another value in {shown(key)}"
            raise _WrongStatement(says, "write it out again for each")
        self.used.add(node)


_DIGEST = re.compile(r"(?<![0-9a-f])[0-9a-f]{32}(?![0-9a-f])(?::\d{1,9})?")


if __name__ == "__main__":
    sys.exit(process.serve(answer))
