"""What goes wrong with a set, as JSON or as text."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from kgraph.collection import Collection
from kgraph.questions.faults import FaultRow, Faults
from kgraph.render.answers import (
    MOST_SHOWN,
    caution_texts,
    each_once,
    fact_json,
    left_out,
    percent,
    weighed_text,
)
from kgraph.render.sentences import says
from kgraph.render.terminal import table, visible, wrapped

NONE = "none of these"
COMMON = "every bench knows"


def as_json(data: Collection, question: dict[str, Any], found: Faults, most: int | None) -> dict[str, Any]:
    """The object of the contract, section 9."""
    rows, notes = found.rows[:most], list(found.notes)
    if len(rows) < len(found.rows):
        notes.insert(0, left_out(len(found.rows) - len(rows)))
    out: dict[str, Any] = {
        "question": question,
        "answers": [_row_json(data, row) for row in rows],
        "notes": notes,
    }
    if texts := caution_texts(data, each_once(c for r in rows for c in r.cautions)):
        out["caution texts"] = texts
    return out


def _row_json(data: Collection, row: FaultRow) -> dict[str, Any]:
    out: dict[str, Any] = {
        "fault": row.fault,
        "in": data.owner_text(row.owner) if row.owner else None,
        "position": data.text("position", row.position) if row.position else None,
        "signs": list(row.signs),
        "check": row.check,
        "cure": row.cure,
        "certainty": row.certainty,
        "weighed": row.weighed or None,
        "basis": row.basis,
        "counted": list(row.counted),
        "interval": list(row.interval) if row.interval else None,
    }
    if row.probability is not None:
        out["probability"] = row.probability
    return {**out, "cautions": list(row.cautions), "proof": [fact_json(data, f) for f in row.proof]}


def counted_text(row: FaultRow) -> str:
    """How often it was found: `4 of 6 (29 % to 82 %)`, or nothing where nobody looked."""
    if row.interval is None:
        return ""
    low, high = (f"{100 * end:.0f} %" for end in row.interval)
    return f"{row.counted[0]} of {row.counted[1]} ({low} to {high})"


def sure_text(row: FaultRow) -> str:
    """How surely a fault is known: its certainty, or what it rests on in its place."""
    if row.certainty is not None:
        return weighed_text(row.certainty, row.weighed)
    return "counted" if row.basis == "counted" else COMMON


def as_text(data: Collection, found: Faults, most: int | None, terminal: bool, proof: bool) -> str:
    """A table with what to check first below each fault, then (with `proof`) the facts, then the cautions."""
    rows = found.rows[: most or MOST_SHOWN]
    weighed = any(r.probability is not None for r in rows)
    head: tuple[str, ...] = ("fault", "place", "in", "certainty", "found", "cautions")
    cells = [_cells(data, r) for r in rows]
    if weighed:
        head = ("probability", *head)
        cells = [[percent(r.probability or 0.0), *c] for r, c in zip(rows, cells, strict=True)]
    text = table(head, cells, terminal, [_remarks(r) for r in rows])
    if proof:
        text += "".join(_proof(data, r) for r in rows if r.proof)
    texts = caution_texts(data, each_once(c for r in rows for c in r.cautions))
    return text + "".join(wrapped(visible(f"{name}: {said}")) for name, said in texts.items())


def _cells(data: Collection, row: FaultRow) -> list[str]:
    if row.fault is None:
        return [NONE, "", "", "", "", ""]
    place = data.text("position", row.position)
    where = data.owner_text(row.owner) if row.owner else "any set"
    return [row.fault, place, where, sure_text(row), counted_text(row), ", ".join(row.cautions)]


def _remarks(row: FaultRow) -> list[str]:
    told = (("signs", ", ".join(row.signs)), ("check first", row.check), ("cure", row.cure))
    return [f"{key}: {text}" for key, text in told if text]


def _proof(data: Collection, row: FaultRow) -> str:
    lines = [f"\n{row.fault}, {data.text('position', row.position)}:", *proof_lines(data, row)]
    return "".join(f"{visible(line)}\n" for line in lines)


def proof_lines(data: Collection, row: FaultRow) -> Iterable[str]:
    """The facts of a fault, a line for each, with file and line."""
    for fact in row.proof:
        where = fact.where
        at = f" {where.file}:{where.line}" if where else ""
        yield f"  {percent(fact.certainty)} {says(data, fact)}{at}"
