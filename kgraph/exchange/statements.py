"""Statements by subject, with lists and nested nodes, and the same flat, as lines of N-Triples or N-Quads.

Every IRI is made by `terms.iri` or stands as a constant of `terms`; a text of the data is a `LiteralText`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import count

from kgraph.exchange.terms import RDF, XSD, literal


@dataclass(frozen=True, slots=True)
class LiteralText:
    """A literal; without a datatype it is plain text."""

    text: str
    datatype: str = ""


@dataclass(frozen=True, slots=True)
class TermList:
    """A list, in its order."""

    objects: tuple[Object, ...]


@dataclass(frozen=True, slots=True)
class Nested:
    """A node without a name, told with what it belongs to."""

    pairs: tuple[tuple[str, Object], ...]


Object = str | LiteralText | TermList | Nested
"""What a statement ends in: an IRI, or one of the three above."""

Pair = tuple[str, Object]


@dataclass(frozen=True, slots=True)
class Block:
    """All that is said of one subject at one place: (predicate, object) in order."""

    subject: str
    pairs: tuple[Pair, ...]


def real(value: float) -> LiteralText:
    """A number as a double, by the shortest digits that give it back."""
    return LiteralText(repr(float(value)), XSD + "double")


def whole(value: int) -> LiteralText:
    """A whole number."""
    return LiteralText(str(value), XSD + "integer")


@dataclass
class Flat:
    """Flattens blocks to lines; nodes without a name are labelled by what their block says.

    So a label, and every line, stays the same wherever something else is changed.
    """

    graph: str = ""
    """The named graph that the lines are of; empty in N-Triples."""

    def lines(self, blocks: Iterable[Block]) -> Iterator[str]:
        """Each statement as one line."""
        tail = self._tail()
        for block in blocks:
            self._labels = _labels(block)
            subject = f"<{block.subject}>"
            for predicate, object_ in block.pairs:
                # Most end in a name, and of a large folder there are millions.
                if type(object_) is str:
                    yield f"{subject} <{predicate}> <{object_}>{tail} .\n"
                else:
                    yield from self._one(subject, predicate, object_)

    def _about(self, subject: str, pairs: Iterable[Pair]) -> Iterator[str]:
        for predicate, object_ in pairs:
            yield from self._one(subject, predicate, object_)

    def _one(self, subject: str, predicate: str, object_: Object) -> Iterator[str]:
        if isinstance(object_, LiteralText):
            yield self._line(subject, predicate, literal(object_.text, object_.datatype))
        elif isinstance(object_, str):
            yield self._line(subject, predicate, f"<{object_}>")
        elif isinstance(object_, Nested):
            here = next(self._labels)
            yield self._line(subject, predicate, here)
            yield from self._about(here, object_.pairs)
        else:
            yield from self._list(subject, predicate, object_)

    def _list(self, subject: str, predicate: str, items: TermList) -> Iterator[str]:
        for item in items.objects:
            cell = next(self._labels)
            yield self._line(subject, predicate, cell)
            yield from self._one(cell, RDF + "first", item)
            subject, predicate = cell, RDF + "rest"
        yield self._line(subject, predicate, f"<{RDF}nil>")

    def _line(self, subject: str, predicate: str, shown: str) -> str:
        return f"{subject} <{predicate}> {shown}{self._tail()} .\n"

    def _tail(self) -> str:
        return f" <{self.graph}>" if self.graph else ""


def _labels(block: Block) -> Iterator[str]:
    """Labels for the nodes without a name of a block; they are worked out where there is one."""
    said = repr((block.subject, block.pairs)).encode("utf-8", "surrogatepass")
    begun = hashlib.blake2b(said, digest_size=8).hexdigest()
    yield from (f"_:b{begun}n{number}" for number in count())
