"""What is this set? What was seen of it against every recorded set, by Bayes' rule.

For each family there is also a sister that is not recorded, and beside all of them none of these.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from kgraph.facts import Fact
from kgraph.fits.graph import Graph
from kgraph.recognition import differing, spreading, traits, weighing
from kgraph.recognition.likelihood import LookFit, fitting
from kgraph.recognition.seen import Look, Seen
from kgraph.recognition.weighing import LookWeight, Member

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
    chances: Mapping[str | None, float]
    """The probability of each family, its unrecorded sister with it; None is none of these."""
    differ: tuple[float, float]
    sisters: Mapping[str, float]
    """Key seen -> how often sisters differ in it."""
    members: Mapping[str, Sequence[str]]
    """Family -> the sets of it."""
    weighed: Mapping[str, LookWeight]


def identify(
    graph: Graph, seen: Seen, prior: tuple[float, float, float] = PRIOR, hidden: Iterable[str] = ()
) -> Recognised:
    """Every hypothesis with its probability, best first; those hidden are taken as not recorded."""
    left_out, members = frozenset(hidden), defaultdict[str, list[str]](list)
    family = traits.families(graph)
    for owner, of in family.items():
        if owner not in left_out:
            members[of].append(owner)
    fittings = tuple(fitting(graph, look, left_out) for look in seen.looks)
    differ = differing.differences(graph)
    sisters = {f.trait.key: differ.sisters_at(f.trait.key) for f in fittings}
    logs = weighing.weighed(fittings, _group_numbers(graph, fittings), sisters, differ.others)
    weighed = dict(zip(family, logs or [weighing.NOTHING] * len(family), strict=True))
    # Families come in the order of their keys, and their sets too: where weights are equal it stays so.
    supposed = [h for h in _hypotheses(len(fittings), weighed, members, prior) if h.log > -math.inf]
    top = max((h.log for h in supposed), default=0.0)
    weights = [math.exp(h.log - top) for h in supposed]
    whole, chances = math.fsum(weights), defaultdict[str | None, float](float)
    candidates = []
    for at in sorted(range(len(weights)), key=weights.__getitem__, reverse=True):
        _, owner_at, of_at, fit, unknown = supposed[at]
        candidates.append(Candidate(owner_at, of_at, weights[at] / whole, fit, unknown=unknown))
        chances[of_at] += weights[at] / whole
    beside = (differ.sisters, differ.others), sisters, members, weighed
    return Recognised(seen, fittings, tuple(candidates), chances, *beside)


class CandidateWeight(NamedTuple):
    """A candidate before all are known: the log of its weight, as ratio to the shares of what was seen."""

    log: float
    set: str | None
    family: str | None
    fit: float
    unknown: int


def _hypotheses(
    looks: int,
    weighed: Mapping[str, LookWeight],
    members: Mapping[str, Sequence[str]],
    prior: tuple[float, float, float],
) -> Iterator[CandidateWeight]:
    recorded, unrecorded, none = prior if members else (0.0, 0.0, 1.0)
    sister = _log(unrecorded / max(len(members), 1))
    others = []
    for first, of_family in members.items():
        those = [weighed[o] for o in of_family]
        alone, told, fit = _log(recorded / len(members) / len(those)), 0, 0.0
        for owner, w in zip(of_family, those, strict=True):
            yield CandidateWeight(w.recorded + alone, owner, first, w.fit, looks - w.told.bit_count())
            told, fit = told | w.told, max(fit, w.design_fit)
            others.append(w.other)
        mean = _mean_log([w.sister for w in those])
        yield CandidateWeight(mean + sister, None, first, fit, looks - told.bit_count())
    yield CandidateWeight((_mean_log(others) if others else 0.0) + _log(none), None, None, 1.0, looks)


def _log(value: float) -> float:
    return math.log(value) if value > 0 else -math.inf


def _mean_log(logs: list[float]) -> float:
    if len(logs) == 1:
        return logs[0]
    top = max(logs)
    return top + math.log(math.fsum([math.exp(w - top) for w in logs]) / len(logs))


def _group_numbers(graph: Graph, fittings: tuple[LookFit, ...]) -> list[Member]:
    """For each look its group and its key; a part at a place and the sizes of it are one group."""
    keys = [f.trait.key for f in fittings]
    first = differing.groups(graph) if len(set(keys)) > 1 else {}
    return [(first.get(key, key), f.look.key) for key, f in zip(keys, fittings, strict=True)]


def explained(graph: Graph, found: Recognised, candidate: Candidate) -> Candidate:
    """The candidate with what speaks for it and against it, the strongest first."""
    owner = candidate.set
    if owner is None and candidate.family is not None:
        owner = min(found.members[candidate.family], key=lambda o: (-found.weighed[o].recorded, o))
    if owner is None:
        return candidate
    supports: list[LookReason] = []
    against: list[LookReason] = []
    for f in found.fittings:
        if row := f.of(owner):
            k = f.trait.at[owner]
            has = tuple(sorted(f.trait.texts.get(v, v) for v in k.values))
            base = f.trait if f.look.size_mm is None else spreading.trait(graph, f.trait.key)
            source, facts = spreading.rests_on(graph, base, owner)
            differ = found.sisters[f.trait.key] if candidate.set is None else 0.0
            bits = math.log2((1.0 - differ) * row.chance / f.share + differ)
            reason = LookReason(f.look, has, k.certainty, source, bits, facts)
            (against if row.apart else supports).append(reason)
    supports.sort(key=lambda r: -r.bits)
    against.sort(key=lambda r: r.bits)
    return candidate._replace(supports=tuple(supports), against=tuple(against))


def left_over(found: Recognised) -> dict[str, float]:
    """The probability of each set with its part of its family's unrecorded sister, for what to ask next."""
    whole: dict[str | None, float] = defaultdict(float)
    for c in found.candidates:
        if c.set:
            whole[c.family] += c.probability
    share = {of: found.chances[of] / chance if chance else 0.0 for of, chance in whole.items()}
    return {c.set: c.probability * share[c.family] for c in found.candidates if c.set}
