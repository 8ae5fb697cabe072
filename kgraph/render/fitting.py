"""A finding and a fitting, as text and as JSON. Computes nothing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from kgraph.collection import Collection
from kgraph.render.answers import (
    caution_texts,
    cautions_text,
    certainty_text,
    fact_json,
    fact_line,
    with_opening,
)
from kgraph.render.shelf import held_text
from kgraph.render.terminal import visible, wrapped
from kgraph.shelf.conditions import is_spoilt, sounds_spoilt
from kgraph.shelf.fitting import Fitting
from kgraph.shelf.ledger import Held
from kgraph.words import settles


def inspected_text(data: Collection, unit: str, before: Held, state: str, terminal: bool) -> str:
    """What was found, what was said before, what follows, and the cautions of the place in full."""
    place = data.text("position", before.position)
    said = [f"{place} of {data.text('unit', unit)}: {state}{_before(before)}", _follows(state)]
    cautions = [n.text for n in data.position_rules(before.position)[1]]
    whole = cautions_text(data, cautions, terminal)
    return "".join(f"{visible(line)}\n" for line in said) + whole + ("\n" if whole else "")


def _before(before: Held) -> str:
    return f"; before: {held_text(before)}" if before.condition or before.event else "; not inspected before"


def _follows(state: str) -> str:
    if is_spoilt(state):
        return "it gives nothing now"
    if not settles(state):
        return "that settles nothing: it counts as not inspected"
    if sounds_spoilt(state):
        return "warning: it counts as there and whole; is it?"
    return "it can be given"


def inspected_json(
    data: Collection, unit: str, before: Held, state: str, written: Sequence[str]
) -> dict[str, Any]:
    """A finding as one object."""
    asked = {"unit": data.text("unit", unit), "position": data.text("position", before.position)}
    answer = {**asked, "state": state, "before": before.condition or None, "usable": not is_spoilt(state)}
    question = {"command": "inspect", **asked, "state": state}
    return {"question": question, "answers": [answer], "written": list(written), "notes": [_follows(state)]}


def fitted_pairs(data: Collection, found: Fitting) -> list[tuple[str, str]]:
    """What the event says."""
    return [
        ("fitted", data.text("part", found.part)),
        ("to", data.text("unit", found.unit)),
        ("at", data.text("position", found.position)),
    ]


def fitting_text(data: Collection, found: Fitting, terminal: bool) -> str:
    """A fitting for a person: what goes where, why, what is left, the warnings, the cautions in full."""

    def line(text: str) -> str:
        return wrapped(visible(text)) if terminal else visible(text) + "\n"

    place, unit = data.text("position", found.position), data.text("unit", found.unit)
    out = line(f"{data.text('part', found.part)} from stock to {unit}, at {place}; {found.left} left")
    if row := found.row:
        out += line(f"goes there: {row.standing}, {certainty_text(row)}")
        out += "".join(fact_line(data, f) + "\n" for f in row.proof)
        out += (
            "  against it:\n" + "".join(fact_line(data, f) + "\n" for f in row.against) if row.against else ""
        )
        out += "".join(line(f"work: {w}") for w in row.work)
    out += "".join(line(f"warning: {w}") for w in found.warnings)
    return out + cautions_text(data, with_opening(found.cautions), terminal) + "\n"


def fitting_json(data: Collection, found: Fitting, written: Sequence[str]) -> dict[str, Any]:
    """A fitting, written or refused, as one object."""
    asked = {
        "part": data.text("part", found.part),
        "to": data.text("unit", found.unit),
        "at": data.text("position", found.position),
    }
    out: dict[str, Any] = {
        "question": {"command": "fit", **asked},
        "answers": [],
        "refused": 1,
        "written": [],
    }
    if found.gone:
        return {**out, "notes": [found.gone]}
    row, cautions = found.row, with_opening(found.cautions)
    answer = {
        **asked,
        "left": found.left,
        "standing": row.standing if row else None,
        "certainty": row.certainty if row else None,
        "bounds": list(row.bounds) if row and row.bounds else None,
        "work": list(row.work) if row else [],
        "proof": [fact_json(data, f) for f in row.proof] if row else [],
        "against": [fact_json(data, f) for f in row.against] if row else [],
        "warnings": list(found.warnings),
        "cautions": cautions,
    }
    texts = caution_texts(data, cautions)
    done = {"answers": [answer], "refused": 0, "written": list(written), "notes": [], "caution texts": texts}
    return {**out, **done}
