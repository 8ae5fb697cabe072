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
from kgraph.recognition.likelihood import Fitting, fit_of, fitting
from kgraph.recognition.seen import Look, Seen

PRIOR = (0.4, 0.4, 0.2)
"""Of the recorded sets, of their unrecorded sisters, of none of these: a scale of our own."""
ASSUMED = "what was seen at one key is taken to say nothing of another, save for keys that always go together"


class Reason(NamedTuple):
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
    supports: tuple[Reason, ...] = ()
    against: tuple[Reason, ...] = ()
    unknown: int = 0


class Found(NamedTuple):
    """All candidates, best first, and what they rest on."""

    seen: Seen
    fittings: tuple[Fitting, ...]
    candidates: tuple[Candidate, ...]
    differ: tuple[float, float]


def identify(
    graph: Graph, seen: Seen, prior: tuple[float, float, float] = PRIOR, hidden: Iterable[str] = ()
) -> Found:
    """Every hypothesis with its probability, best first; those hidden are taken as not recorded."""
    left_out = frozenset(hidden)
    family = traits.families(graph)
    members: dict[str, list[str]] = defaultdict(list)
    for owner in sorted(family):
        if owner not in left_out:
            members[family[owner]].append(owner)
    fittings = tuple(fitting(graph, look, left_out) for look in seen.looks)
    differ = differences(graph)
    logs = _logs(graph, fittings, members, prior, differ)
    top = max(logs.values(), default=0.0)
    weights = {h: math.exp(w - top) for h, w in logs.items()}
    whole = math.fsum(weights.values())
    ranked = sorted(weights, key=lambda h: (-weights[h], h[1] or "~", h[0] or "~"))
    made = tuple(_candidate(h, weights[h] / whole, fittings, members) for h in ranked)
    return Found(seen, fittings, made, differ)


def differences(graph: Graph) -> tuple[float, float]:
    """d1 and d2 of the folder, worked out once."""
    if "recognition differ" not in graph.remembered:
        graph.remembered["recognition differ"] = (
            differing.sisters_differ(graph),
            differing.others_differ(graph),
        )
    known: tuple[float, float] = graph.remembered["recognition differ"]
    return known


Hypothesis = tuple[str | None, str | None]
Member = tuple[str, str]
"""The group that a look belongs to, and its key."""


def _logs(
    graph: Graph,
    fittings: tuple[Fitting, ...],
    members: Mapping[str, list[str]],
    prior: tuple[float, float, float],
    differ: tuple[float, float],
) -> dict[Hypothesis, float]:
    """The log of prior times likelihood for each hypothesis, as ratio to the shares of what was seen."""
    recorded, unrecorded, none = prior if members else (0.0, 0.0, 1.0)
    group = _group_numbers(graph, fittings)
    d1, d2 = differ
    logs: dict[Hypothesis, float] = {}
    everywhere: list[float] = []
    for first, of_family in members.items():
        sisters = []
        for owner in of_family:
            ratios = [f.chance.get(owner, f.share) / f.share for f in fittings]
            logs[owner, first] = _sum(ratios, group, 0.0) + _log(recorded / len(members) / len(of_family))
            sisters.append(_sum(ratios, group, d1))
            everywhere.append(_sum(ratios, group, d2))
        logs[None, first] = _mean_log(sisters) + _log(unrecorded / len(members))
    logs[None, None] = (_mean_log(everywhere) if everywhere else 0.0) + _log(none)
    return {h: w for h, w in logs.items() if w > -math.inf}


def _log(value: float) -> float:
    return math.log(value) if value > 0 else -math.inf


def _mean_log(logs: list[float]) -> float:
    top = max(logs)
    return top + math.log(math.fsum(math.exp(w - top) for w in logs) / len(logs))


def _group_numbers(graph: Graph, fittings: tuple[Fitting, ...]) -> list[Member]:
    """For each look its group and its key."""
    first = differing.groups(graph) if len(fittings) > 1 else {}
    return [(first.get(f.look.key, f.look.key), f.look.key) for f in fittings]


def _sum(ratios: list[float], group: list[Member], differ: float) -> float:
    """The log of the product of the looks, each mixed with its share by `differ`; see `joined`."""
    return joined([math.log((1.0 - differ) * r + differ) if r else -math.inf for r in ratios], group)


def joined(logs: list[float], group: list[Member]) -> float:
    """The sum of weights where keys of one group weigh no more than the strongest of them.

    What is seen at one key, such as each item of a list, is added up first.
    """
    if len({g for g, _ in group}) == len(group):
        return math.fsum(logs)
    by_group: dict[str, dict[str, float]] = defaultdict(lambda: defaultdict(float))
    for weight, (of, key) in zip(logs, group, strict=True):
        by_group[of][key] += weight
    total = 0.0
    for weights in by_group.values():
        whole, strongest = sum(weights.values()), max(map(abs, weights.values()))
        total += math.copysign(min(abs(whole), strongest), whole)
    return total


def _candidate(
    hypothesis: Hypothesis, chance: float, fittings: tuple[Fitting, ...], members: Mapping[str, list[str]]
) -> Candidate:
    owner, family = hypothesis
    if owner is not None:
        apart = [f.look for f in fittings if owner in f.disagrees]
        known = [f.trait.misread for f in fittings if owner in f.chance]
        return Candidate(owner, family, chance, fit_of(known, len(apart)), unknown=len(fittings) - len(known))
    if family is None:
        return Candidate(None, None, chance, 1.0, unknown=len(fittings))
    unknown = sum(not any(o in f.chance for o in members[family]) for f in fittings)
    best = max(
        fit_of([f.trait.misread for f in fittings if o in f.chance], sum(o in f.disagrees for f in fittings))
        for o in members[family]
    )
    return Candidate(None, family, chance, best, unknown=unknown)


def explained(graph: Graph, found: Found, candidate: Candidate) -> Candidate:
    """The candidate with what speaks for it and against it, the strongest first."""
    owner = candidate.set
    if owner is None and candidate.family is not None:
        sure = (c.set for c in found.candidates if c.family == candidate.family and c.set)
        owner = next(sure, None)
    if owner is None:
        return candidate
    reasons = []
    for f in found.fittings:
        if owner in f.chance:
            k = f.trait.at[owner]
            has = tuple(sorted(f.trait.texts.get(v, v) for v in k.values))
            bits = math.log2(f.chance[owner] / f.share)
            reasons.append((f, Reason(f.look, has, k.certainty, k.source, bits, k.facts)))
    supports = sorted((r for f, r in reasons if owner not in f.disagrees), key=lambda r: -r.bits)
    against = sorted((r for f, r in reasons if owner in f.disagrees), key=lambda r: r.bits)
    return candidate._replace(supports=tuple(supports), against=tuple(against))


def by_family(found: Found) -> dict[str | None, float]:
    """The probability of each family, its unrecorded sister with it; None is none of these."""
    chances: dict[str | None, float] = defaultdict(float)
    for candidate in found.candidates:
        chances[candidate.family] += candidate.probability
    return dict(chances)


def left_over(found: Found) -> dict[str, float]:
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
