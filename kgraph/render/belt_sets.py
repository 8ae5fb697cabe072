"""Which belts a measured one can be, and the belts of a family, as JSON and as text."""

from __future__ import annotations

from typing import Any

from kgraph.collection import Collection
from kgraph.names import listed
from kgraph.questions.belt_families import FamilyAnswer, FamilyRow
from kgraph.questions.belt_finds import FindAnswer, FoundBelt
from kgraph.render.answers import MOST_SHOWN, left_out
from kgraph.render.belt_words import (
    KEEP,
    percent_of,
    place_json,
    proof_json,
    proof_text,
    tail,
    tail_json,
    wrapped_if,
)
from kgraph.render.cautions import SHORT, Whole
from kgraph.render.terminal import table

# Find -----------------------------------------------------------------------------------------


def find_json(data: Collection, answer: FindAnswer, proof: bool) -> dict[str, Any]:
    """The object of `belt find`; the proof of each place only where it is asked for, for there are many."""
    seen = answer.seen
    return {
        "question": {
            "command": "belt find",
            "section": {"form": seen.section.form, "sizes_mm": list(seen.section.sizes_mm)},
            "inside_length_mm": seen.length_mm,
            "section_error_mm": seen.section_error_mm,
            "length_error_mm": seen.length_error_mm,
            "worn": seen.worn,
        },
        "answers": [_found_json(data, found, proof) for found in answer.found],
        **tail_json(data, answer.assumed, answer.notes, answer.cautions),
    }


def sets(data: Collection, found: FoundBelt) -> list[str]:
    return list(dict.fromkeys(data.owner_text(r.set) for r in found.takers))


def _sets_and_basis(data: Collection, found: FoundBelt) -> list[str]:
    """The sets for a person: those that follow from equal size alone are marked."""
    sized = {r.set for r in found.takers} - {r.set for r in found.takers if not r.by_size}
    marked = {data.owner_text(s) for s in sized}
    return [f"{name} (by size)" if name in marked else name for name in sets(data, found)]


def _found_json(data: Collection, found: FoundBelt, proof: bool) -> dict[str, Any]:
    names = [data.text("part", p) for p in found.parts]
    return {
        "belt": names[0] if names else None,
        "also": names[1:],
        "probability": found.probability,
        "sets": sets(data, found),
        "places": [
            {
                "set": data.owner_text(r.set),
                "position": data.text("position", r.position),
                "standing": r.standing,
                "best": r.best,
                "basis": ["stated facts", *(["size"] if r.by_size else [])],
                **({"proof": proof_json(data, r.proof)} if proof else {}),
            }
            for r in found.takers
        ],
    }


def find_text(data: Collection, answer: FindAnswer, terminal: bool, proof: bool, whole: Whole = SHORT) -> str:
    """`belt find` for a person: what is less likely than one in a thousand, and of one belt all sets beyond
    the first, are counted, not listed."""
    most = answer.most or MOST_SHOWN
    shown = [f for f in answer.found if f.probability >= 0.001 or not f.parts]
    rows = [
        [
            listed([data.text("part", p) for p in f.parts], most) or "none of these",
            f"{f.probability * 100:.1f} %",
        ]
        for f in shown
    ]
    names = [[n.replace(" ", KEEP) if terminal else n for n in _sets_and_basis(data, f)] for f in shown]
    sets = [[listed(each, most)] if each else [] for each in names]
    out = table(("belt", "probability"), rows, terminal, sets).replace(KEEP, " ")
    if left := len(answer.found) - len(shown):
        out += f"{left} more {'is' if left == 1 else 'are'} less likely than 0.1 % each\n"
    if proof:
        for f in shown:
            for r in f.takers[:most]:
                place = f"{data.owner_text(r.set)} at {data.text('position', r.position)}"
                out += proof_text(data, place, r.proof, terminal)
    return out + tail(data, answer.assumed, answer.cautions, terminal, whole)


# Family ---------------------------------------------------------------------------------------


def family_json(data: Collection, answer: FamilyAnswer) -> dict[str, Any]:
    """The object of `belt family`."""
    return {
        "question": {"command": "belt family", **place_json(data, answer.place)},
        "answers": [_family_row_json(data, answer, row) for row in answer.rows[: answer.most]],
        **tail_json(data, answer.assumed, (*answer.says, *rest_of(answer, answer.most)), answer.cautions),
    }


def rest_of(answer: FamilyAnswer, most: int | None) -> tuple[str, ...]:
    """How many rows of a family are not shown, if any are not."""
    rest = len(answer.rows) - len(answer.rows[:most])
    return (left_out(rest),) if rest else ()


def _family_row_json(data: Collection, answer: FamilyAnswer, row: FamilyRow) -> dict[str, Any]:
    return {
        "set": data.owner_text(row.set),
        "position": data.text("position", answer.place.position),
        "belt": data.text("part", row.part) if row.part else None,
        "standing": row.standing,
        "certainty": row.certainty,
        "stretch": row.stretch,
        "off_mm": row.off_mm,
        "agrees": row.agrees,
        "proof": proof_json(data, row.proof),
    }


AGREES = {True: "yes", False: "NO", None: "not known"}


def family_text(
    data: Collection, answer: FamilyAnswer, terminal: bool, proof: bool, whole: Whole = SHORT
) -> str:
    """`belt family` for a person."""
    shown = answer.rows[: answer.most or MOST_SHOWN]
    position = data.text("position", answer.place.position)
    rows = [
        [
            data.owner_text(row.set),
            data.text("part", row.part) if row.part else "-",
            row.standing,
            percent_of(row.stretch),
            AGREES[row.agrees],
        ]
        for row in shown
    ]
    out = wrapped_if(position, terminal) if terminal else ""
    out += table(("set", "belt", "standing", "stretch", "agrees"), rows, terminal)
    out += "".join(wrapped_if(line, terminal) for line in answer.says)
    if proof:
        for row in shown:
            out += proof_text(data, data.owner_text(row.set), row.proof, terminal)
    return out + tail(data, answer.assumed, answer.cautions, terminal, whole)
