"""What the names in another folder's statements mean there, and what they will mean in this one."""

from __future__ import annotations

from collections.abc import Iterable

from kgraph import collection, records
from kgraph.collection import Collection, fact_ids
from kgraph.collection.resolving import names_used
from kgraph.exchange.formats import Pairs
from kgraph.folder import schema
from kgraph.folder.writing import Value, entry_text
from kgraph.names import fold


class Meanings:
    """This folder with the other's things in it, as far as they are taken in."""

    def __init__(self, ours: Collection, theirs: Collection, things: Iterable[Pairs]) -> None:
        text = "".join(entry_text(pairs) for pairs in things)
        entries, _ = schema.entries_of(text.encode(), "merged")
        # What is a set here, were it only named, is not made an assembly by what they build on it.
        assemblies = theirs.assemblies - ours.things["set"].keys() - ours.spelt["set"].keys()
        self.theirs = theirs
        self.here = collection.build([*ours.entries, *entries], assemblies)

    def said_here(self, record: records.Statement) -> dict[str, Value] | None:
        """A statement in names that mean the same here, None where it cannot be said."""
        said: dict[str, Value] = {key: records.plain(value) for key, value in record.pairs}
        for kind, used in names_used(self.theirs, record):
            there = self.theirs.key(kind, used.key)
            wanted = (kind, self.here.key(kind, there))
            if self._means(kind, used.key) == wanted:
                continue
            if self._means(kind, there) != wanted:
                return None
            name = self.theirs.text(kind, there)
            said = {
                key: _renamed(value, used.key, name) if key in fact_ids.NAMING_KEYS else value
                for key, value in said.items()
            }
        return said

    def _means(self, kind: str, key: str) -> tuple[str, str]:
        if kind not in ("set", "assembly"):
            return kind, self.here.key(kind, key)
        owner = self.here.owner(key)
        return "set" if owner[0] == "s" else "assembly", owner[2:]


def _renamed(value: Value, key: str, name: str) -> Value:
    if isinstance(value, str):
        return name if fold(value) == key else value
    if isinstance(value, list):
        return [_renamed(v, key, name) for v in value]
    return {k: _renamed(v, key, name) for k, v in value.items()}
