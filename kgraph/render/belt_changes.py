"""What an answer about belts says before and after a supposed fact."""

from __future__ import annotations

from typing import Any

from kgraph.belts.tone import ToneReading
from kgraph.collection import Collection
from kgraph.questions.belt_families import FamilyAnswer
from kgraph.questions.belt_finds import FindAnswer
from kgraph.questions.belt_fits import FitAnswer
from kgraph.questions.belt_paths import PathAnswer
from kgraph.render.belt_sets import AGREES, sets
from kgraph.render.belt_words import percent_of, wrapped_if

# What a supposed fact changes ------------------------------------------------------------------

Said = dict[str, tuple[Any, str]]
"""What an answer says, piece by piece: its name -> the value, unrounded, and as text."""


def path_said(data: Collection, answer: PathAnswer | None) -> Said:
    """The pieces of `belt path`."""
    if answer is None:
        return {}
    low, high = answer.window_mm
    return {
        "path": (answer.path.length_mm, f"{answer.path.length_mm:.1f} mm"),
        "inside length at rest": ([low, high], f"{low:.1f} to {high:.1f} mm"),
        **{f"belt {data.text('part', b.part)}": (b.stretch, percent_of(b.stretch)) for b in answer.belts},
        **{f"O-ring {r.size}": (r.inside_length_mm, f"{r.inside_length_mm:.1f} mm") for r in answer.o_rings},
    }


def fit_said(data: Collection, answer: FitAnswer) -> Said:
    """The pieces of `belt fit`."""
    fit, recorded = answer.fit, answer.recorded
    against = data.text("part", recorded.part) if recorded else None
    return {
        "verdict": (fit.verdict, fit.verdict),
        "compared with": (against, against or "nothing"),
        "stretch": (fit.stretch, percent_of(fit.stretch)),
        "change of speed": (fit.speed_change, percent_of(fit.speed_change)),
        "tape speed error": (fit.tape_speed_error, percent_of(fit.tape_speed_error)),
    }


def find_said(data: Collection, answer: FindAnswer) -> Said:
    """The pieces of `belt find`: each belt's probability, and the sets that take it."""
    found: Said = {}
    for each in answer.found:
        name = data.text("part", each.parts[0]) if each.parts else "none of these"
        found[name] = (each.probability, f"{each.probability * 100:.1f} %")
        for text in sets(data, each):
            found[f"{name} in {text}"] = (True, "takes it")
    return found


def family_said(data: Collection, answer: FamilyAnswer) -> Said:
    """The pieces of `belt family`: a row each."""
    found: Said = {}
    for row in answer.rows:
        belt = data.text("part", row.part) if row.part else "no belt"
        text = f"{row.standing}, stretch {percent_of(row.stretch)}, agrees: {AGREES[row.agrees]}"
        value = {"standing": row.standing, "stretch": row.stretch, "agrees": row.agrees}
        found[f"{data.owner_text(row.set)}, {belt}"] = (value, text)
    return found


def speed_said(reading: ToneReading) -> Said:
    """The pieces of `belt speed`."""
    thick, rpm = reading.thickness_mm, reading.motor_rpm
    return {
        "belt thickness that would explain it": (thick, f"{thick:.2f} mm" if thick else "not known"),
        "motor speed that would explain it": (rpm, f"{rpm:.0f} rpm" if rpm else "not known"),
    }


def changed_json(before: Said, after: Said) -> dict[str, Any]:
    """`gained`, `lost` and `different` pieces; numbers are not rounded."""
    return {
        "gained": [{"what": k, "value": v} for k, (v, _) in after.items() if k not in before],
        "lost": [{"what": k, "value": v} for k, (v, _) in before.items() if k not in after],
        "different": [
            {"what": k, "before": before[k][0], "after": v}
            for k, (v, _) in after.items()
            if k in before and before[k][0] != v
        ],
    }


def changed_text(before: Said, after: Said, terminal: bool) -> str:
    """A line for each piece that is gained, lost or different; `no change` where there is none."""
    lines = [f"gained: {k}: {text}" for k, (_, text) in after.items() if k not in before]
    lines += [f"lost: {k}: {text}" for k, (_, text) in before.items() if k not in after]
    lines += [
        f"different: {k}: {_then(before[k], both)}"
        for k, both in after.items()
        if k in before and before[k][0] != both[0]
    ]
    return "".join(wrapped_if(line, terminal) for line in lines or ["no change"])


def _then(before: tuple[Any, str], after: tuple[Any, str]) -> str:
    """Both as text; unrounded where the text does not tell them apart."""
    if before[1] != after[1]:
        return f"{before[1]}, then {after[1]}"
    return f"{before[0]!r}, then {after[0]!r}"
