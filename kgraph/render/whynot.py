"""Why a set is not among the answers, as JSON or as text."""

from __future__ import annotations

from typing import Any

from kgraph.collection import Collection
from kgraph.render.answers import fact_json, percent
from kgraph.render.sentences import says
from kgraph.render.terminal import visible
from kgraph.whynot import GOES, Reason, WhyNot


def as_json(data: Collection, found: WhyNot) -> dict[str, Any]:
    """The verdict, its reasons with their facts, and both proofs of a refused answer."""
    out: dict[str, Any] = {"set": data.owner_text(found.set), "verdict": found.verdict}
    if found.wanted:
        out["for"] = data.text("position", found.wanted)
    out["reasons"] = [_reason_json(data, r) for r in found.reasons]
    if found.row:
        out["position"] = data.text("position", found.row.position)
        out["certainty"] = found.row.certainty
        out["proof"] = [fact_json(data, f) for f in found.row.proof]
        out["against"] = [fact_json(data, f) for f in found.row.against]
    return out


def _reason_json(data: Collection, reason: Reason) -> dict[str, Any]:
    return {
        "rule": reason.rule,
        "says": reason.says,
        "settle": reason.settle or None,
        "facts": [fact_json(data, f) for f in reason.facts],
    }


def as_text(data: Collection, found: WhyNot) -> str:
    """The verdict and its reasons, a line each, with the facts below them."""
    place = f" for {data.text('position', found.wanted)}" if found.wanted else ""
    lines = [f"{data.owner_text(found.set)}{place}: {found.verdict}"]
    if found.row and found.verdict == GOES:
        at = data.text("position", found.row.position)
        lines.append(f"  it is an answer, at {at}: {found.row.standing}, {percent(found.row.certainty)}")
    elif found.row:
        lines += ["  for it:", *(_line(data, f) for f in found.row.proof)]
    for reason in found.reasons:
        lines.append(f"  {reason.says} (rule: {reason.rule})")
        lines += [_line(data, f) for f in reason.facts]
        lines += [f"    would settle it: {reason.settle}"] if reason.settle else []
    return "".join(visible(line) + "\n" for line in lines)


def _line(data: Collection, fact: Any) -> str:
    where = f"{fact.where.file}:{fact.where.line}" if fact.where else "by size"
    return f"    {percent(fact.certainty):>6}  {says(data, fact)}  {where}"
