"""What a new fact, or one taken back, changes in the answers: told before anything is written."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from kgraph import questions
from kgraph.claims import (
    DistinctClaim,
    FitsClaim,
    RebadgeClaim,
    RefusesClaim,
    ReplacesClaim,
    SameClaim,
    TakesClaim,
    UsesClaim,
)
from kgraph.facts import Fact
from kgraph.fits.graph import Graph
from kgraph.questions import Wanted

MOST_SETS = 12
"""The most sets whose answers are compared; beyond, the count is said to be of these alone."""


@dataclass(frozen=True, slots=True)
class Change:
    """Answers gained and lost, those that a fact speaks against, and those made more or less certain.

    `complete`: whether all sets were looked at.
    """

    gained: int
    lost: int
    contradicted: int
    surer: int
    weaker: int
    complete: bool

    def __str__(self) -> str:
        said = [f"this makes {_count(self.gained, 'new answer')}"]
        said += [f"it takes {_count(self.lost, 'answer')} away"] if self.lost else []
        said += [f"it contradicts {self.contradicted}"] if self.contradicted else []
        said += [f"{self.surer} become more certain"] if self.surer else []
        said += [f"{self.weaker} become less certain"] if self.weaker else []
        tail = "" if self.complete else f" (counted over {MOST_SETS} of the sets concerned)"
        return "; ".join(said) + tail


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def compare(before: Graph, after: Graph, *facts: Fact) -> Change:
    """How the answers about everything that the facts name differ between two states of a folder."""
    owners = {owner for fact in facts for graph in (after, before) for owner in _owners(graph, fact)}
    looked = sorted(owners)[:MOST_SETS]
    old = {k: v for fact in facts for k, v in _answers(before, fact, looked).items()}
    new = {k: v for fact in facts for k, v in _answers(after, fact, looked).items()}
    both = [(old[k], now) for k, now in new.items() if k in old]
    nothing = ("stated", 0.0)
    against = [_SPOKEN_AGAINST[now[0]] > _SPOKEN_AGAINST[old.get(k, nothing)[0]] for k, now in new.items()]
    return Change(
        gained=sum(1 for k, now in new.items() if k not in old and now[0] != "refused"),
        lost=sum(1 for k in old if k not in new),
        contradicted=sum(against),
        surer=sum(now > was + _MOVED for (_, was), (_, now) in both),
        weaker=sum(now < was - _MOVED for (_, was), (_, now) in both),
        complete=len(looked) == len(owners),
    )


_Key = tuple[str, str, str, str]
_SPOKEN_AGAINST = {"stated": 0, "inferred": 0, "disputed": 1, "refused": 2}
_MOVED = 1e-9
"""Certainties nearer to each other than this differ by the order of the sums alone."""


def _answers(graph: Graph, fact: Fact, owners: Iterable[str]) -> dict[_Key, tuple[str, float]]:
    """The standing and the certainty of each answer."""
    everything = Wanted(refused_too=True)
    found: dict[_Key, tuple[str, float]] = {}
    for owner in owners:
        key = owner[2:]
        positions = _positions(graph, fact, key)
        rows = questions.donors(graph, key, positions, everything).rows
        found.update({(owner, r.wanted, r.set, r.position): (r.standing, r.certainty) for r in rows})
    for part in _parts(fact):
        rows = questions.takers_of_part(graph, part, everything).rows
        found.update({(part, "", r.set, r.position): (r.standing, r.certainty) for r in rows})
    return found


def _parts(fact: Fact) -> list[str]:
    claim = fact.claim
    if isinstance(claim, TakesClaim | RefusesClaim):
        return [claim.part] if claim.part else []
    return [*claim] if isinstance(claim, SameClaim | ReplacesClaim) else []


def _positions(graph: Graph, fact: Fact, set_key: str) -> list[str]:
    claim = fact.claim
    if isinstance(claim, TakesClaim | RefusesClaim):
        return [claim.position]
    if isinstance(claim, FitsClaim):
        return sorted({claim.position, claim.at})
    return questions.places_of(graph, set_key) if fact.kind in ("rebadge", "uses", "distinct") else []


def _named(fact: Fact) -> set[str]:
    """The owners of which a fact says something."""
    claim = fact.claim
    if isinstance(claim, RebadgeClaim | DistinctClaim):
        return {claim.one, claim.other}
    if isinstance(claim, UsesClaim | TakesClaim | RefusesClaim):
        return {claim.owner}
    return {claim.owner, claim.to} if isinstance(claim, FitsClaim) else set()


def _owners(graph: Graph, fact: Fact) -> set[str]:
    """The sets that a fact names, and those built on an assembly that it names."""
    named = _named(fact)
    sets = {o for o in named if o[0] == "s"}
    todo = [o for o in named if o[0] == "a"]
    seen = set(todo)
    while todo:
        here = todo.pop()
        for link in graph.links.get(here, ()):
            if link.to_assembly == here and link.other not in seen:
                seen.add(link.other)
                todo.append(link.other)
    return sets | {o for o in seen if o[0] == "s"}
