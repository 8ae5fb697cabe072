"""What is recorded of one owner as it holds of others: through sisters, and of what a set is built on.

The surest record comes first, from owner to owner, as long as any owner can still get one.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator, Sequence, Set
from itertools import accumulate
from typing import Any, NamedTuple

from kgraph.facts import Fact
from kgraph.fits.graph import Graph, Link
from kgraph.recognition import traits
from kgraph.recognition.known import Known, KnownTrait, Owners, from_form, from_mapping
from kgraph.recognition.traits import Trait


class Tie(NamedTuple):
    """What a link carries from one owner to another, without the fact."""

    other: str
    certainty: float
    left_out: frozenset[str]
    to_assembly: str


class Ties:
    """The ties of every owner, made when they are asked for."""

    def __init__(self, owners: Owners, form: Any) -> None:
        self._owners, (counts, self._others, self._kinds, self._sorts) = owners, form
        self._ends = list(accumulate(counts))
        self._left_out = [frozenset(out) for _, out, _ in self._sorts]
        self._known: dict[str, list[Tie]] = {}

    def of(self, owner: str) -> Sequence[Tie]:
        """The ties of one owner, in the order of its links."""
        if owner not in self._known:
            self._known[owner] = self._made(owner)
        return self._known[owner]

    def tied(self) -> set[str]:
        """The owners that have any."""
        before = [0, *self._ends]
        return {self._owners.names[n] for n, end in enumerate(self._ends) if end > before[n]}

    def _made(self, owner: str) -> list[Tie]:
        number = self._owners.number.get(owner)
        if number is None:
            return []
        found = []
        for at in range(self._ends[number - 1] if number else 0, self._ends[number]):
            other, kind = self._owners.names[self._others[at]], self._kinds[at]
            certain, _, to = self._sorts[kind]
            found.append(Tie(other, certain, self._left_out[kind], ("", other, owner)[to]))
        return found


def ties(graph: Graph) -> Ties:
    """What the links of the folder carry."""
    return traits.worked_out(
        graph, "ties", lambda: _ties(graph), lambda form: Ties(traits.owners(graph), form)
    )


def _ties(graph: Graph) -> Any:
    """How many each owner has; the other ends; the sort of each: certainty, what is left out, to where."""
    owners = traits.owners(graph)
    counts, others, kinds = [], [], []
    sorts: dict[tuple[float, frozenset[str], int], int] = {}
    for owner in owners.names:
        links = graph.links.get(owner, ())
        counts.append(len(links))
        for link in links:
            to = ("", link.other, owner).index(link.to_assembly)
            others.append(owners.number[link.other])
            kinds.append(sorts.setdefault((link.fact.certainty, link.left_out, to), len(sorts)))
    return [counts, others, kinds, [[certain, sorted(out), to] for certain, out, to in sorts]]


def trait(graph: Graph, key: str) -> Trait:
    """What is known at one key; nothing at all for a key that the folder does not have."""
    alone = traits.recorded(graph, key)
    return traits.worked_out(
        graph,
        f"known {key}",
        lambda: _Spreading(graph, alone).ended().form(),
        lambda form: alone._replace(at=from_form(traits.owners(graph), form)),
    )


def near(graph: Graph, key: str, region: Set[str]) -> Trait:
    """What is known at one key of the owners of a region, by what is recorded in the region."""
    alone = traits.recorded(graph, key)
    inside = {o: alone.direct[o] for o in region if o in alone.direct}
    inner = alone._replace(direct=from_mapping(traits.owners(graph), inside))
    return alone._replace(at=_Spreading(graph, inner, region).ended())


def region_of(graph: Graph, owners: Iterable[str]) -> set[str]:
    """The sets of the families of these owners, and the assemblies that they are built on."""
    tied, region = ties(graph), set(owners)
    todo = list(region)
    while todo:
        for tie in tied.of(todo.pop()):
            if tie.to_assembly in ("", tie.other) and tie.other not in region:
                region.add(tie.other)
                todo.append(tie.other)
    return region


def without(graph: Graph, found: Trait, owners: frozenset[str]) -> Trait:
    """The same as if nothing were recorded on these owners."""
    if owners.isdisjoint(found.direct):
        return found
    gone = {*owners, *(o for o, sister in found.excepted.items() if sister in owners)}
    gone &= found.direct.keys()
    alone = found._replace(direct=found.direct.without(gone))
    reached = _reached(graph, alone, gone)
    rest = found.at.without(reached)
    return alone._replace(at=_Spreading(graph, alone, known=rest, lacking=reached).ended())


def _reached(graph: Graph, alone: Trait, start: Set[str]) -> set[str]:
    """These owners and all those of which nothing is recorded that a record of them may come to."""
    carries, tied, found, todo = _carrying(graph, alone), ties(graph), set(start), list(start)
    while todo:
        for tie in tied.of(todo.pop()):
            if tie.other not in found and tie.other not in alone.direct and carries(tie, tie.other):
                found.add(tie.other)
                todo.append(tie.other)
    return found


class _Spreading:
    """The surest record first, from owner to owner, as long as any owner can still get one."""

    def __init__(
        self,
        graph: Graph,
        alone: Trait,
        region: Set[str] | None = None,
        known: Known | None = None,
        lacking: Set[str] | None = None,
    ) -> None:
        """`region`: nothing is told of owners outside it; `known`: of all but those that are `lacking`."""
        self.region, self.ties, self.owners = region, ties(graph), traits.owners(graph)
        self.carries = _carrying(graph, alone)
        self.found = (known or alone.direct).by_owner()
        self.queue: list[tuple[float, str, str]] = []
        if lacking is None and region is None:
            lacking = self.ties.tied() - self.found.keys()
        if lacking is None or len(lacking) > len(self.found):
            for owner in alone.direct:
                self._reach(owner)
        else:
            self._reach_from_the_end(lacking)

    def _put(self, before: str, owner: str, certain: float) -> None:
        heapq.heappush(self.queue, (-self.found[before].certainty * certain, owner, before))

    def _reach(self, owner: str) -> None:
        for tie in self.ties.of(owner):
            if tie.other in self.found or (self.region is not None and tie.other not in self.region):
                continue
            if self.carries(tie, tie.other):
                self._put(owner, tie.other, tie.certainty)

    def _reach_from_the_end(self, lacking: Iterable[str]) -> None:
        """Where few lack a record: what can come to them is looked for from their end."""
        for owner in lacking:
            for tie in self.ties.of(owner):
                if tie.other in self.found and self.carries(tie, owner):
                    self._put(tie.other, owner, tie.certainty)

    def ended(self) -> Known:
        """What every owner has in the end."""
        while self.queue:
            cost, owner, before = heapq.heappop(self.queue)
            if owner not in self.found:
                self.found[owner] = KnownTrait(self.found[before].values, -cost)
                self._reach(owner)
        return from_mapping(self.owners, self.found)


class _Carrying:
    """Whether what holds at one end of a tie holds at the other, as far as one key goes.

    What is recorded of an assembly holds of what is built on it, not the reverse; a place does both ways.
    """

    def __init__(self, key: str, declaring: Set[str] | None) -> None:
        self.key, self.declaring = key, declaring

    def __call__(self, tie: Tie | Link, to: str) -> bool:
        if self.key in tie.left_out or self.key == traits.BADGE:
            return False
        if self.declaring is not None and tie.to_assembly:
            return tie.to_assembly in self.declaring
        return to != tie.to_assembly


def _carrying(graph: Graph, alone: Trait) -> _Carrying:
    if not alone.place:
        return _Carrying(alone.key, None)
    return _Carrying(alone.key, {a for a, of in traits.declares(graph).items() if alone.key in of})


def rests_on(graph: Graph, found: Trait, owner: str) -> tuple[str, tuple[Fact, ...]]:
    """Where what is known of an owner is recorded, and the facts by which it holds of the owner."""
    carries, tied, has = _carrying(graph, found), ties(graph), found.at[owner].values
    queue: list[tuple[float, str, tuple[str, ...], bool]] = [(-1.0, owner, (), False)]
    done: set[str] = set()
    while queue:
        cost, here, way, ended = heapq.heappop(queue)
        if ended and found.direct[here].values == has:
            return here, (*traits.facts_of(graph, found, here), *_facts_along(graph, carries, here, way))
        if ended or here in done:
            continue
        done.add(here)
        if here in found.direct:
            heapq.heappush(queue, (cost * found.direct[here].certainty, here, way, True))
            continue
        for tie in tied.of(here):
            if tie.other not in done and carries(tie, here):
                heapq.heappush(queue, (cost * tie.certainty, tie.other, (*way, here), False))
    raise KeyError(owner)


def _facts_along(graph: Graph, carries: _Carrying, start: str, way: Sequence[str]) -> Iterator[Fact]:
    """The facts from where something is recorded to the owner that the way set out from."""
    for owner in reversed(way):
        links = (k for k in graph.links[owner] if k.other == start and carries(k, owner))
        yield max(links, key=lambda k: k.fact.certainty).fact
        start = owner
