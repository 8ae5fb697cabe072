"""What the checks share: all uses of names in one order, near names, places that are alike."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from heapq import nsmallest
from typing import NamedTuple

from kgraph import records, trade
from kgraph.collection import Collection
from kgraph.collection.resolving import names_used
from kgraph.facts import Fact
from kgraph.fits.graph import Graph, Place
from kgraph.names import Name, did_you_mean, fold
from kgraph.problems import Problem, Where, shown
from kgraph.shelf.ledger import Shelf, shelf_now

_MOST_NEAR = 4
_MOST_LOOKED_AT = 300


class Use(NamedTuple):
    """A name where an entry uses it; `key` is that of the thing meant, through `also` names."""

    kind: str
    key: str
    name: Name
    entry: records.Entry


class Near:
    """Names by the pairs of letters in them, so that near ones are found without comparing all."""

    def __init__(self, known: Iterable[tuple[str, str]]) -> None:
        self._text = dict(sorted(known))
        self._having: dict[str, list[str]] = defaultdict(list)
        for key in self._text:
            for pair in _pairs(key):
                self._having[pair].append(key)

    def around(self, key: str) -> list[tuple[str, str]]:
        """(key, text) of the few known names that share the most pairs of letters with a key."""
        lists = sorted((self._having[p] for p in _pairs(key) if p in self._having), key=len)
        shared: Counter[str] = Counter()
        left = _MOST_LOOKED_AT
        # The rarest pairs say the most; looking at all of the common ones would cost the square.
        for having in lists:
            shared.update(having[:left])
            left -= len(having)
            if left <= 0:
                break
        shared.pop(key, None)
        # Of as many shared pairs, the name with fewer pairs of its own is nearer; then by the alphabet.
        best = nsmallest(_MOST_NEAR, [(-n, len(k), k) for k, n in shared.items()])
        return [(k, self._text[k]) for _, _, k in best]


def _pairs(key: str) -> set[str]:
    ends = f"^{key}$"
    return {ends[i : i + 2] for i in range(len(ends) - 1)}


@dataclass
class CheckGround:
    """A collection and its graph, with what several checks need and none should work out twice."""

    data: Collection
    graph: Graph
    _near: dict[tuple[str, ...], Near] = field(default_factory=dict)
    _alike: dict[Place, frozenset[str]] = field(default_factory=dict)

    @cached_property
    def entries(self) -> list[records.Entry]:
        """The entries that stand, by file, line and column."""
        return sorted(self.data.standing, key=lambda e: (e.where.file, e.where.line, e.where.column))

    @cached_property
    def shelf(self) -> Shelf:
        """The shelf after all its events."""
        return shelf_now(self.graph)

    @cached_property
    def uses(self) -> list[Use]:
        """Every use of a name but in an `except`, in the order of the entries."""
        data = self.data
        return [Use(k, data.key(k, n.key), n, e) for e in self.entries for k, n in names_used(data, e)]

    @cached_property
    def exceptions(self) -> list[tuple[Name, records.Entry]]:
        """Every name in an `except`, in the order of the entries."""
        both = (records.Rebadge, records.Uses)
        return [(n, e) for e in self.entries if isinstance(e, both) for n in e.exceptions]

    @cached_property
    def names(self) -> list[tuple[str, Name, records.Entry]]:
        """(kind, name, entry) for every name declared or used, where it stands first."""
        first: dict[tuple[str, str], tuple[str, Name, records.Entry]] = {}
        for entry in self.entries:
            if isinstance(entry, records.Thing) and entry.kind != "stock":
                first.setdefault((entry.kind, entry.name.key), (entry.kind, entry.name, entry))
        for use in self.uses:
            before = first.setdefault((use.kind, use.name.key), (use.kind, use.name, use.entry))
            if use.entry.where < before[2].where:
                first[use.kind, use.name.key] = (use.kind, use.name, use.entry)
        return sorted(first.values(), key=lambda n: n[2].where)

    @cached_property
    def by_name(self) -> dict[tuple[str, str], list[Use]]:
        """(kind, key) -> its uses."""
        found: dict[tuple[str, str], list[Use]] = defaultdict(list)
        for use in self.uses:
            found[use.kind, use.key].append(use)
        return dict(found)

    def where(self, kind: str, key: str) -> Where | None:
        """Where a thing is declared first, else where it is used first."""
        if declared := self.data.declared(kind, key):
            return declared.where
        uses = self.by_name.get((kind, key))
        return uses[0].entry.where if uses else None

    def near(self, *kinds: str) -> Near:
        """The declared names of these kinds, and those that the ground of the trade knows."""
        if kinds not in self._near:
            known = [(k, self.data.text(kind, k)) for kind in kinds for k in self.data.things[kind]]
            known += [pair for kind in kinds for pair in trade.spellings(kind).items()]
            self._near[kinds] = Near(known)
        return self._near[kinds]

    def did_you_mean(self, text: str, *kinds: str) -> str:
        """The nearest declared names as a phrase, or ""."""
        return did_you_mean(text, (t for _, t in self.near(*kinds).around(fold(text))))

    def alike(self, owner: str, position: str) -> frozenset[str]:
        """All owners that facts make alike at a position, this one among them."""
        if owner not in self.graph.links:
            return frozenset((owner,))
        place = Place(owner, position)
        if place not in self._alike:
            seen, todo = {owner}, [owner]
            while todo:
                new = {other for other, _ in self.graph.like(todo.pop(), position)} - seen
                seen |= new
                todo += new
            found = frozenset(seen)
            self._alike.update((Place(o, position), found) for o in found)
        return self._alike[place]

    def place_text(self, place: Place) -> str:
        """A place for a message."""
        owner, position = self.data.owner_text(place.owner), self.data.text("position", place.position)
        return f"the {shown(position)} of {shown(owner)}"

    def of_kind(self, kind: str) -> Iterator[Fact]:
        """The facts of a kind that hold."""
        return (fact for fact in self.data.facts.values() if fact.kind == kind)


Check = Callable[[CheckGround], Iterable[Problem]]


def error(where: Where | None, code: str, says: str, mend: str = "") -> Problem:
    """An error at a place."""
    return Problem(where, code, says, mend)


def warning(where: Where | None, code: str, says: str, mend: str = "") -> Problem:
    """A warning at a place."""
    return Problem(where, code, says, mend, "warning")


def at(where: Where | None) -> str:
    """A second place inside a message: file and line."""
    return f"{where.file}:{where.line}" if where else "nowhere"
