"""The trade's ground as a question has it: kept in the cache, and an entry taken up when it is wanted.

To read its files anew would take longer than most questions. What is kept is named by their digest.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping
from functools import cache as once

from kgraph import records, trade
from kgraph.source import cache
from kgraph.source.lines import kept, taken_up


class _Under(Mapping[str, tuple[records.Thing, ...]]):
    """Key -> the entry of the ground, taken up when asked for."""

    def __init__(self, said: Mapping[str, tuple[str, str]]) -> None:
        self.said = said
        self.found: dict[str, tuple[records.Thing, ...]] = {}

    def __getitem__(self, key: str) -> tuple[records.Thing, ...]:
        if key not in self.found:
            file, text = self.said[key]
            entry = taken_up(text, file)
            assert isinstance(entry, records.Thing)
            self.found[key] = (entry,)
        return self.found[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self.said)

    def __len__(self) -> int:
        return len(self.said)

    def __contains__(self, key: object) -> bool:
        return key in self.said


@once
def _kept() -> Mapping[str, tuple[trade.Laid, Mapping[str, str]]] | None:
    """Kind -> the ground and its spellings, as the cache has them; None where it cannot be kept there."""
    base = cache.cache_folder()
    if base is None:
        return None
    path = os.path.join(base, f"ground-{trade.digest()}.json")
    try:
        with open(path, encoding="utf-8") as stream:
            said = json.load(stream)
        return {k: (trade.Laid(n, _Under(under)), spelt) for k, (n, under, spelt) in said.items()}
    except (OSError, ValueError, TypeError, AttributeError):
        pass
    try:
        with cache.writing(path) as out:
            out.write(json.dumps({kind: _said(kind) for kind in trade.KINDS}).encode())
    except OSError:
        return None
    return None


def _said(kind: str) -> tuple[object, ...]:
    laid = trade.untouched(kind)
    # A line begins with its letter and number, which an entry of the ground has not.
    under = {key: (e.where.file, kept(e, "")[2:]) for key, (e,) in laid.under.items()}
    return dict(laid.names), under, dict(trade.spellings(kind))


def untouched(kind: str) -> trade.Laid:
    """The ground under a folder that declares nothing of a kind."""
    found = _kept()
    return found[kind][0] if found else trade.untouched(kind)


def names(kind: str) -> Mapping[str, str]:
    """Every name of the ground -> the key of its entry."""
    return untouched(kind).names


def spellings(kind: str) -> Mapping[str, str]:
    """Key -> text of every name that the ground knows of things of a kind."""
    found = _kept()
    return found[kind][1] if found else trade.spellings(kind)
