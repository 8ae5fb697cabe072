"""What is this set? What was seen of it against every recorded set, by Bayes' rule.

For each family there is also a sister that is not recorded, and beside all of them none of these.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import NamedTuple

from kgraph.facts import Fact
from kgraph.fits.graph import Graph
from kgraph.recognition import differing, traits
from kgraph.recognition.likelihood import LookFit, fitting
from kgraph.recognition.seen import Look, Seen
from kgraph.recognition.weighing import LookWeight, Member, weigher

PRIOR = (0.4, 0.4, 0.2)
"""Of the recorded sets, of their unrecorded sisters, of none of these: a scale of our own."""
ASSUMED = "what was seen at one key is taken to say nothing of another, save for keys that always go together"
SCALES_NOTE = (
    "How likely recorded sets, their unrecorded sisters and none of these are before anything was seen "
    "(--prior), how often a look is misread and how often sets differ are scales of our own."
)


class LookReason(NamedTuple):
    """One look for or against a set: what is known there, in bits, and by which facts."""

    look: Look
    has: tuple[str, ...]
    certainty: float
    source: str
    bits: float
    facts: tuple[Fact, ...]


class Candidate(NamedTuple):
    """One answer: a recorded set, an unrecorded sister (`set` is None), or none of these (both None)."""

    set: str | None
    family: str | None
    probability: float
    fit: float
    supports: tuple[LookReason, ...] = ()
    against: tuple[LookReason, ...] = ()
    unknown: int = 0


class Recognised(NamedTuple):
    """All candidates, best first, and what they rest on."""

    seen: Seen
    fittings: tuple[LookFit, ...]
    candidates: tuple[Candidate, ...]
    differ: tuple[float, float]
    sisters: Mapping[str, float]
    """Key seen -> how often sisters differ in it."""


def identify(
    graph: Graph, seen: Seen, prior: tuple[float, float, float] = PRIOR, hidden: Iterable[str] = ()
) -> Recognised:
    """Every hypothesis with its probability, best first; those hidden are taken as not recorded."""
    left_out = frozenset(hidden)
    family = traits.families(graph)
    members: dict[str, list[str]] = defaultdict(list)
    for owner in sorted(family):
        if owner not in left_out:
            members[family[owner]].append(owner)
    fittings = tuple(fitting(graph, look, left_out) for look in seen.looks)
    differ = differing.differences(graph)
    sisters = {f.trait.key: differ.sisters_at(f.trait.key) for f in fittings}
    weigh = weigher(fittings, _group_numbers(graph, fittings), sisters, differ.others)
    weighed = {owner: weigh(owner) for of_family in members.values() for owner in of_family}
    logs = _logs(weighed, members, prior)
    top = max(logs.values(), default=0.0)
    weights = {h: math.exp(w - top) for h, w in logs.items()}
    whole = math.fsum(weights.values())
    ranked = sorted(weights, key=lambda h: (-weights[h], h[1] or "~", h[0] or "~"))
    known = {f: _known_of_family(fittings, members[f], weighed) for f in members}
    made = []
    for at in ranked:
        fit, told = 1.0, 0
        if at[0] is not None:
            fit, told = weighed[at[0]].fit, weighed[at[0]].known
        elif at[1] is not None:
            fit, told = max(weighed[o].fit for o in members[at[1]]), known[at[1]]
        made.append(Candidate(*at, weights[at] / whole, fit, unknown=len(fittings) - told))
    return Recognised(seen, fittings, tuple(made), (differ.sisters, differ.others), sisters)


Hypothesis = tuple[str | None, str | None]


def _known_of_family(
    fittings: tuple[LookFit, ...], of_family: list[str], weighed: Mapping[str, LookWeight]
) -> int:
    """Of how many looks something is known of any of the family."""
    if any(weighed[o].known == len(fittings) for o in of_family):
        return len(fittings)
    return sum(any(o in f.number for o in of_family) for f in fittings)


def _logs(
    weighed: Mapping[str, LookWeight], members: Mapping[str, list[str]], prior: tuple[float, float, float]
) -> dict[Hypothesis, float]:
    """The log of prior times likelihood for each hypothesis, as ratio to the shares of what was seen."""
    recorded, unrecorded, none = prior if members else (0.0, 0.0, 1.0)
    logs: dict[Hypothesis, float] = {}
    for first, of_family in members.items():
        before = _log(recorded / len(members) / len(of_family))
        for owner in of_family:
            logs[owner, first] = weighed[owner].recorded + before
        logs[None, first] = _mean_log([weighed[o].sister for o in of_family]) + _log(
            unrecorded / len(members)
        )
    logs[None, None] = (_mean_log([w.other for w in weighed.values()]) if weighed else 0.0) + _log(none)
    return {h: w for h, w in logs.items() if w > -math.inf}


def _log(value: float) -> float:
    return math.log(value) if value > 0 else -math.inf


def _mean_log(logs: list[float]) -> float:
    top = max(logs)
    return top + math.log(math.fsum([math.exp(w - top) for w in logs]) / len(logs))


def _group_numbers(graph: Graph, fittings: tuple[LookFit, ...]) -> list[Member]:
    """For each look its group and its key; a part at a place and the sizes of it are one group."""
    keys = [f.trait.key for f in fittings]
    first = differing.groups(graph, keys) if len(set(keys)) > 1 else {}
    return [(first.get(key, key), f.look.key) for key, f in zip(keys, fittings, strict=True)]


def explained(graph: Graph, found: Recognised, candidate: Candidate) -> Candidate:
    """The candidate with what speaks for it and against it, the strongest first."""
    owner = candidate.set
    if owner is None and candidate.family is not None:
        sure = (c.set for c in found.candidates if c.family == candidate.family and c.set)
        owner = next(sure, None)
    if owner is None:
        return candidate
    supports: list[LookReason] = []
    against: list[LookReason] = []
    for f in found.fittings:
        if row := f.of(owner):
            k = f.trait.at[owner]
            has = tuple(sorted(f.trait.texts.get(v, v) for v in k.values))
            reason = LookReason(f.look, has, k.certainty, k.source, math.log2(row.chance / f.share), k.facts)
            (against if row.apart else supports).append(reason)
    supports.sort(key=lambda r: -r.bits)
    against.sort(key=lambda r: r.bits)
    return candidate._replace(supports=tuple(supports), against=tuple(against))


def by_family(found: Recognised) -> dict[str | None, float]:
    """The probability of each family, its unrecorded sister with it; None is none of these."""
    chances: dict[str | None, float] = defaultdict(float)
    for candidate in found.candidates:
        chances[candidate.family] += candidate.probability
    return dict(chances)


def left_over(found: Recognised) -> dict[str, float]:
    """The probability of each set with its part of its family's unrecorded sister, for what to ask next."""
    families = by_family(found)
    own = {c.set: c.probability for c in found.candidates if c.set}
    family = {c.set: c.family for c in found.candidates if c.set}
    whole: dict[str | None, float] = defaultdict(float)
    for owner, chance in own.items():
        whole[family[owner]] += chance
    return {
        owner: families[family[owner]] * chance / whole[family[owner]] if whole[family[owner]] else 0.0
        for owner, chance in own.items()
    }
