"""How often each grade held, as JSON or as a table."""

from __future__ import annotations

from typing import Any

from kgraph.calibration import GradeHeld
from kgraph.render.answers import percent
from kgraph.render.terminal import table

NOTE = (
    "Held: of what had been said and was then fitted or refused by hand. The interval holds 95 % of "
    "Beta(held + 1, not held + 1); a `grade` entry corrects the scale."
)


def as_json(found: tuple[GradeHeld, ...]) -> dict[str, Any]:
    """One object for each grade; numbers are not rounded."""
    grades = [
        {
            "grade": g.grade,
            "tried": g.tried,
            "held": g.held,
            "said": g.said,
            "mean": g.mean,
            "interval": [g.low, g.high],
        }
        for g in found
    ]
    return {"grades": grades, "notes": [NOTE] if found else []}


def as_text(found: tuple[GradeHeld, ...], terminal: bool) -> str:
    """A table, a grade a line."""
    head = ("weakest grade", "tried", "held", "had been said", "holds", "95 % interval")
    rows = [
        [
            g.grade,
            str(g.tried),
            str(g.held),
            percent(g.said),
            percent(g.mean),
            f"{percent(g.low)} to {percent(g.high)}",
        ]
        for g in found
    ]
    return table(head, rows, terminal)
