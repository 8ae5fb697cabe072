"""What a supposed fact changes, as JSON or as lines of text."""

from __future__ import annotations

from typing import Any

from kgraph.collection import Collection
from kgraph.questions import Row
from kgraph.render.answers import percent
from kgraph.render.terminal import visible
from kgraph.whatif import ChangedRows


def as_json(data: Collection, changed: ChangedRows) -> dict[str, Any]:
    """`gained`, `lost` and `different` rows; numbers are not rounded."""
    return {
        "gained": [{**_place(data, r), **_state(data, r)} for r in changed.gained],
        "lost": [{**_place(data, r), **_state(data, r)} for r in changed.lost],
        "different": [
            {**_place(data, after), "before": _state(data, before), "after": _state(data, after)}
            for before, after in changed.different
        ],
    }


def _place(data: Collection, row: Row) -> dict[str, str]:
    out = {"set": data.owner_text(row.set)}
    if row.position:
        out["position"] = data.text("position", row.position)
    if row.wanted:
        out["for"] = data.text("position", row.wanted)
    if row.assembly:
        out["assembly"] = data.owner_text(row.assembly)
    return out


def _state(data: Collection, row: Row) -> dict[str, Any]:
    return {
        "standing": row.standing,
        "parts": [data.text("part", p) for p in row.parts],
        "best": row.best,
        "certainty": row.certainty,
        "no": row.no,
    }


def as_text(data: Collection, changed: ChangedRows) -> str:
    """A line for each row that is gained, lost or different; `no change` where there is none."""
    lines = [f"gained: {_words(data, r)}: {_said(r)}" for r in changed.gained]
    lines += [f"lost: {_words(data, r)}: {_said(r)}" for r in changed.lost]
    lines += [f"different: {_words(data, b)}: {_difference(data, b, a)}" for b, a in changed.different]
    return "".join(visible(line) + "\n" for line in lines or ["no change"])


def _words(data: Collection, row: Row) -> str:
    place = _place(data, row)
    text = place["set"]
    text += f" at {place['position']}" if "position" in place else ""
    text += f" for {place['for']}" if "for" in place else ""
    return text + (f" through {place['assembly']}" if "assembly" in place else "")


def _difference(data: Collection, before: Row, after: Row) -> str:
    said = [f"{_said(before)}, then {_said(after)}"] if _said(before) != _said(after) else []
    more = [data.text("part", p) for p in after.parts if p not in before.parts]
    fewer = [data.text("part", p) for p in before.parts if p not in after.parts]
    said += [f"parts more: {', '.join(more)}"] if more else []
    said += [f"parts fewer: {', '.join(fewer)}"] if fewer else []
    return "; ".join(said) or f"{before.certainty!r}, then {after.certainty!r}"


def _said(row: Row) -> str:
    return f"{row.standing}, {percent(row.certainty)}"
