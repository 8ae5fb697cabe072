"""The photographs that things, sayings and events rest on, as other programs read them.

A photograph is `urn:kgraph:photo:PATH`, with its path from the root of the folder and, where it is kept under
it, the first 16 hex digits of its SHA-256. No picture is opened for it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from kgraph import records
from kgraph.collection import Collection
from kgraph.exchange.statements import Block, LiteralText, Pair
from kgraph.exchange.terms import SCHEMA, TERM, iri
from kgraph.exchange.vocabulary import TYPE


def images(paths: Iterable[str]) -> Iterator[Pair]:
    """That something is seen in these pictures."""
    for path in dict.fromkeys(paths):
        yield SCHEMA + "image", iri("photo", path)


def of(entry: records.Entry) -> Iterator[Pair]:
    """The pictures that an entry names."""
    return images(records.photos_of(entry))


def photos(data: Collection) -> Iterator[Block]:
    """Every photograph that an entry names, once, by its path."""
    for path in sorted({p for entry in data.entries for p in records.photos_of(entry)}):
        pairs: list[Pair] = [(TYPE, SCHEMA + "ImageObject"), (SCHEMA + "contentUrl", LiteralText(path))]
        if found := records.KEPT_PHOTO.match(path):
            pairs.append((TERM + "hash", LiteralText(found[1])))
        yield Block(iri("photo", path), tuple(pairs))
