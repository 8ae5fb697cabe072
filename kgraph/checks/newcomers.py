"""The names that new entries bring into a folder, each with the known name that is nearest to it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from kgraph import collection, records
from kgraph.checks.ground import Near
from kgraph.checks.names import features_of, nearly_equal, place_names
from kgraph.collection import Collection, sayings
from kgraph.collection.resolving import names_used
from kgraph.names import Name, nearest
from kgraph.problems import Problem


class Newcomer(NamedTuple):
    """A name that a folder does not know yet; `near` is the known name that it is most like, or "".

    `declared`: whether an entry of its own declares it. `doubtful`: whether it names a place and is so like a
    known one that it may be meant.
    """

    kind: str
    name: str
    near: str
    declared: bool
    doubtful: bool


def newcomers(data: Collection, entries: Iterable[records.Entry]) -> list[Newcomer]:
    """The new names of entries that come to a folder, each once, in their order."""
    come = list(entries)
    after = collection.build([*data.entries, *come])
    known = _KnownNames(data)
    found: dict[tuple[str, str], Newcomer] = {}
    for entry in come:
        for kind, named, declared in _named(after, entry):
            key = after.key(kind, named.key)
            if (kind, key) in found or data.knows(kind, key) or data.knows(kind, data.key(kind, named.key)):
                continue
            near, doubtful = known.near(kind, named)
            called = named.text if key == named.key else after.text(kind, key)
            found[kind, key] = Newcomer(kind, called, near, declared, doubtful)
        for named in getattr(entry, "exceptions", ()):
            if near := known.near_exception(named):
                found.setdefault(("except", named.key), Newcomer("except", named.text, near, False, True))
    return list(found.values())


def _named(after: Collection, entry: records.Entry) -> Iterator[tuple[str, Name, bool]]:
    """(kind, name, whether declared) of every name in an entry but those of an `except`."""
    if isinstance(entry, records.Thing) and entry.kind != "stock":
        yield entry.kind, entry.name, True
    yield from ((kind, used, False) for kind, used in names_used(after, entry))


def said_in_vain(data: Collection, entries: Iterable[records.Entry]) -> Iterator[Problem]:
    """What new entries a withdrawal of the folder takes back already: they would count for nothing."""
    if not any(isinstance(e, records.Withdraw) for e in data.entries):
        return
    come = [e for e in entries if not isinstance(e, records.Withdraw)]
    after = collection.build([*data.entries, *come])
    stand = {e.where for fact in after.facts.values() for e in fact.evidence}
    gone = {e.where: by for fact, by in after.withdrawn.values() for e in fact.evidence}
    for entry in come:
        back = after.gone_things.get(id(entry))
        if back or (isinstance(entry, sayings.FACT_TYPES) and entry.where not in stand):
            by = back[1] if back else gone.get(entry.where)
            says = f"this {entry.kind} was withdrawn" + (
                f" at {by.where} ({by.why})" if by else " for its source"
            )
            yield Problem(
                entry.where, "withdrawn", says, "withdraw the withdrawal first: `kgraph show` has its id"
            )


class _KnownNames:
    """The names of a folder, by kind, to look for near ones among."""

    def __init__(self, data: Collection) -> None:
        self.data = data
        self.by_kind: dict[str, Near] = {}
        self.features: set[str] | None = None

    def _of(self, kind: str) -> Near:
        if kind not in self.by_kind:
            names = place_names(self.data) if kind == "position" else self.data.known(kind).items()
            self.by_kind[kind] = Near(names)
        return self.by_kind[kind]

    def near(self, kind: str, named: Name) -> tuple[str, bool]:
        """The nearest known name, and whether it is a place that is nearly this one."""
        if kind == "position" and (found := nearly_equal(named.key, self._of(kind))):
            return found[1], True
        near = nearest(named.text, (text for _, text in self._of(kind).around(named.key)), 1)
        return (near[0] if near else ""), False

    def near_exception(self, named: Name) -> str:
        """The place that an exception was most likely meant to name, where it names nothing known."""
        data = self.data
        if data.knows("position", data.key("position", named.key)) or named.key in data.features:
            return ""
        found = nearly_equal(named.key, self._of("position"))
        if found is None or data.knows("assembly", data.key("assembly", named.key)):
            return ""
        if self.features is None:
            self.features = features_of(data)
        return "" if named.key in self.features else found[1]
