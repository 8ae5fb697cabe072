"""What a new fact, or one taken back, changes in the answers: told before anything is written."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from kgraph import questions
from kgraph.facts import Fact
from kgraph.fits.graph import Graph
from kgraph.questions import Wanted

MOST_SETS = 12
"""The most sets whose answers are compared; beyond, the count is said to be of these alone."""


@dataclass(frozen=True, slots=True)
class Change:
    """Answers gained and lost, those that a fact speaks against, and whether all sets were looked at."""

    gained: int
    lost: int
    contradicted: int
    complete: bool

    def __str__(self) -> str:
        said = [f"this makes {_count(self.gained, 'new answer')}"]
        said += [f"it takes {_count(self.lost, 'answer')} away"] if self.lost else []
        said += [f"it contradicts {self.contradicted}"] if self.contradicted else []
        tail = "" if self.complete else f" (counted over {MOST_SETS} of the sets concerned)"
        return "; ".join(said) + tail


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def compare(before: Graph, after: Graph, fact: Fact) -> Change:
    """How the answers about everything that the fact names differ between two states of a folder."""
    owners = _owners(after, fact) | _owners(before, fact)
    looked = sorted(owners)[:MOST_SETS]
    old = _answers(before, fact, looked)
    new = _answers(after, fact, looked)
    standing = {"stated", "inferred"}
    contradicted = sum(1 for k, s in new.items() if s not in standing and old.get(k, "inferred") in standing)
    gained = sum(1 for k, s in new.items() if k not in old and s != "refused")
    lost = sum(1 for k in old if k not in new)
    return Change(gained, lost, contradicted, len(looked) == len(owners))


_Key = tuple[str, str, str, str]


def _answers(graph: Graph, fact: Fact, owners: Iterable[str]) -> dict[_Key, str]:
    everything = Wanted(refused_too=True)
    found: dict[_Key, str] = {}
    for owner in owners:
        key = owner[2:]
        positions = _positions(graph, fact, key)
        rows = questions.donors(graph, key, positions, everything).rows
        found.update({(owner, r.wanted, r.set, r.position): r.standing for r in rows})
    for part in _parts(fact):
        rows = questions.takers_of_part(graph, part, everything).rows
        found.update({(part, "", r.set, r.position): r.standing for r in rows})
    return found


def _parts(fact: Fact) -> list[str]:
    named = {"takes": fact.args[:1], "same": fact.args, "replaces": fact.args, "refuses": fact.args[:1]}
    return [p for p in named.get(fact.kind, ()) if p]


def _positions(graph: Graph, fact: Fact, set_key: str) -> list[str]:
    if fact.kind in ("takes", "refuses", "fits"):
        at = {"takes": (2,), "refuses": (4,), "fits": (1, 3)}[fact.kind]
        return sorted({fact.args[i] for i in at})
    return questions.places_of(graph, set_key) if fact.kind in ("rebadge", "uses") else []


def _owners(graph: Graph, fact: Fact) -> set[str]:
    """The sets that a fact names, and those built on an assembly that it names."""
    slots = {"rebadge": (0, 1), "uses": (1,), "takes": (1,), "fits": (0, 2), "refuses": (3,)}
    named = {fact.args[i] for i in slots.get(fact.kind, ())}
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
