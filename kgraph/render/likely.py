"""Pairs that may be one design, as JSON or as text."""

from __future__ import annotations

import shlex
from typing import Any

from kgraph.fits.graph import Graph
from kgraph.questions.likely import Guessed, Likely, TriedPairs
from kgraph.recognition import traits
from kgraph.recognition.pairs import KeyWeight
from kgraph.render import answers

SCALES_NOTE = (
    "How often sisters agree is worked out from the folder's own rebadges, beginning with 0.9 with the "
    "weight of 10 pairs, a scale of our own."
)

LEAST_BITS = 0.05
"""A key that says less is not named on the screen."""


def as_json(
    graph: Graph, question: dict[str, Any], found: Guessed, most: int | None, parts: bool
) -> dict[str, Any]:
    """One object: each pair with what speaks for and against it, and what would settle it."""
    shown = found.pairs[:most]
    hidden = len(found.pairs) - len(shown)
    notes = [answers.left_out(hidden)] if hidden else []
    notes += [*told(found), *([SCALES_NOTE] if found.pairs else [])]
    return {"question": question, "answers": [_row(graph, f, parts) for f in shown], "notes": notes}


def tried_json(found: TriedPairs) -> dict[str, Any]:
    """How often hidden rebadges came back, as one object."""
    bands = [
        {"from": b / 10, "to": (b + 1) / 10, "given": n, "true": true} for b, (n, true) in found.bands.items()
    ]
    first = {str(most): n for most, n in found.first.items()}
    answer = {"hidden": found.hidden, "joined otherwise": found.joined, "first": first, "bands": bands}
    return {"question": {"command": "likely", "tried": True}, "answers": [answer], "notes": []}


def told(found: Guessed) -> list[str]:
    """What was left out as less certain, and what was too large to be compared, in words."""
    groups = f"{found.left_out} groups that share a value were not compared pair by pair"
    notes = [f"{groups}; name a SET to compare it"] if found.left_out else []
    return [*([found.less] if found.less else []), *notes]


def _names(graph: Graph, found: Likely, parts: bool) -> list[str]:
    ends = (found.pair.one, found.pair.other)
    return [graph.data.text("part", e) if parts else graph.data.owner_text(e) for e in ends]


def _key(graph: Graph, weight: KeyWeight) -> str:
    return traits.keys_of(graph).get(weight.key, weight.key)


def _command(graph: Graph, found: Likely, parts: bool) -> str:
    kind = "same" if parts else "rebadge"
    one, other = map(shlex.quote, _names(graph, found, parts))
    return f"kgraph add {kind} {one} {other} --how compared"


def _row(graph: Graph, found: Likely, parts: bool) -> dict[str, Any]:
    def reasons(agrees: bool) -> list[dict[str, Any]]:
        return [{"key": _key(graph, w), "bits": w.bits} for w in found.pair.weights if w.agrees is agrees]

    return {
        "parts" if parts else "sets": _names(graph, found, parts),
        "probability": found.pair.probability,
        "bits": found.pair.bits,
        "for": reasons(True),
        "against": reasons(False),
        "would settle it": found.settle,
        "add": _command(graph, found, parts),
        "others of the two families": found.alike,
    }


def lines(graph: Graph, found: Likely, parts: bool) -> list[str]:
    """One pair for a person."""
    one, other = _names(graph, found, parts)
    more = f"  (and {found.alike} more pairs of the same two families)" if found.alike else ""
    said = [f"{found.pair.probability:.4f}  {one} and {other}, {found.pair.bits:+.1f} bits{more}"]
    for word, agrees in (("for", True), ("against", False)):
        told = [w for w in found.pair.weights if w.agrees is agrees and abs(w.bits) >= LEAST_BITS]
        keys = [f"{_key(graph, w)} {w.bits:+.1f}" for w in told]
        said += [f"        {word}: {', '.join(keys)}"] if keys else []
    return [*said, f"        would settle it: {found.settle}", f"        {_command(graph, found, parts)}"]
