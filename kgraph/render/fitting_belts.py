"""What a belt does at a place, as JSON and as text."""

from __future__ import annotations

from typing import Any

from kgraph.belts import drive, speed
from kgraph.collection import Collection
from kgraph.facts import Fact
from kgraph.questions.belt_fits import FitAnswer
from kgraph.render.belt_words import (
    Rows,
    block_text,
    pair_of,
    percent_of,
    place_json,
    proof_json,
    proof_text,
    range_of,
    sold_json,
    tail_json,
    tolerance_json,
)
from kgraph.render.cautions import SHORT, Whole

# Fit ------------------------------------------------------------------------------------------


def fit_json(data: Collection, answer: FitAnswer) -> dict[str, Any]:
    """The object of `belt fit`; what is not known is null."""
    fit, recorded = answer.fit, answer.recorded
    part = data.text("part", answer.part)
    place = place_json(data, answer.place)
    return {
        "question": {"command": "belt fit", "belt": part, **place},
        "belt": part,
        **place,
        "verdict": fit.verdict,
        "stretch": fit.stretch,
        "tension_N": fit.tension_n,
        "tension_range_N": pair_of(fit.tension_range_n),
        "shaft_load_N": {name: load.n for name, load in fit.shaft_loads.items()},
        "shaft_load_vector_N": {name: [load.x_n, load.y_n] for name, load in fit.shaft_loads.items()},
        "pull_limit_N": fit.pull_limit_n,
        "pull_limit_range_N": pair_of(fit.pull_limit_range_n),
        "pull_needed_N": fit.pull_needed_n,
        "speed_ratios": dict(fit.speed_ratios),
        "speed_change": fit.speed_change,
        "tape_speed_cm_s": fit.tape_speed_cm_s,
        "tape_speed_error": fit.tape_speed_error,
        "tape_speed_within": _within(fit.tape_speed_error),
        "speed_tolerance": tolerance_json(),
        "stretch_range": pair_of(fit.stretch_range),
        "as_sold": sold_json(answer.sold),
        "path_mm": fit.path.length_mm if fit.path else None,
        "recorded_belt": data.text("part", recorded.part) if recorded else None,
        "reasons": list(answer.reasons),
        "proof": proof_json(data, _fit_facts(answer)),
        **tail_json(data, answer.assumed, answer.notes, answer.cautions),
    }


def _fit_facts(answer: FitAnswer) -> tuple[Fact, ...]:
    facts = (*answer.place.run_proof, *(answer.recorded.proof if answer.recorded else ()))
    return tuple({f.id: f for f in facts}.values())


def fit_text(data: Collection, answer: FitAnswer, terminal: bool, proof: bool, whole: Whole = SHORT) -> str:
    """`belt fit` for a person: verdict, figures, every reason, every assumed value."""
    fit, recorded = answer.fit, answer.recorded
    rows = [
        ("belt", data.text("part", answer.part)),
        ("set", data.owner_text(answer.place.set)),
        ("position", data.text("position", answer.place.position)),
        ("verdict", fit.verdict),
        ("compared with", data.text("part", recorded.part) if recorded else "no belt is recorded here"),
        ("stretch", percent_of(fit.stretch)),
        *_stretch_rows(answer),
        *_force_rows(fit),
    ]
    drives = fit.stretch is not None and fit.stretch > 0
    if drives and fit.speed_change is not None:
        rows.append(("change of speed", drive.signed(fit.speed_change)))
    if drives and fit.tape_speed_cm_s is not None:
        rows.append(("tape speed", f"{fit.tape_speed_cm_s:.2f} cm/s"))
    if drives and fit.tape_speed_error is not None:
        held = "within" if _within(fit.tape_speed_error) else "OUTSIDE"
        error = f"{drive.signed(fit.tape_speed_error)}, {held} {speed.SPEED_TOLERANCE * 100:g} %"
        rows.append(("tape speed error", f"{error} ({speed.TOLERANCE_NAME})"))
    more = [("reason", r) for r in answer.reasons]
    out = block_text(data, rows, terminal, answer.cautions, answer.assumed, whole, more)
    if proof:
        out += proof_text(data, "the run", answer.place.run_proof, terminal)
        out += proof_text(data, "the recorded belt", recorded.proof if recorded else (), terminal)
    return out


def _within(error: float | None) -> bool | None:
    """Whether a speed error is inside the tolerance; its bounds are, in spite of binary rounding."""
    return None if error is None else abs(error) <= speed.SPEED_TOLERANCE + 1e-9


def _stretch_rows(answer: FitAnswer) -> Rows:
    """The stretch as far as it was measured, and as far as a belt is sold to size."""
    rows = []
    if answer.fit.stretch_range is not None:
        low, high = answer.fit.stretch_range
        rows.append(("stretch, as measured", f"{low * 100:.1f} to {high * 100:.1f} %"))
    if answer.sold is not None and answer.sold.stretch is not None:
        low, high = answer.sold.stretch
        rows.append((f"stretch, class {answer.sold.grade}", f"{low * 100:.1f} to {high * 100:.1f} %"))
    return rows


def _force_rows(fit: drive.Fit) -> Rows:
    """Tension, loads and pull as ranges; a load spreads as the tension does."""
    if fit.tension_n is None or fit.tension_range_n is None:
        return []
    if fit.tension_n == 0:
        return [("tension", "none: it hangs loose")]
    rows = [("tension", range_of(*fit.tension_range_n, "N"))]
    for name, load in fit.shaft_loads.items():
        ends = [load.n * end / fit.tension_n for end in fit.tension_range_n]
        rows.append((f"load on {name}", range_of(ends[0], ends[1], "N")))
    if fit.pull_limit_range_n is not None:
        rows.append(("pulls before it slips", range_of(*fit.pull_limit_range_n, "N")))
    return rows
