"""Answers about belts as JSON (contract, section 6) or as text. Computes nothing but units for the eye.

In text, tension and load are ranges to two figures, for hardness gives no better; JSON rounds nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from kgraph.belts.tone import ToneReading
from kgraph.collection import Collection
from kgraph.questions.belt_paths import PathAnswer
from kgraph.questions.belt_places import BeltPlace
from kgraph.render.answers import caution_texts
from kgraph.render.belt_words import (
    Rows,
    block_text,
    caution_text,
    nothing,
    pair_of,
    percent_of,
    place_json,
    proof_json,
    proof_text,
    section_text,
    sold_json,
    tail_json,
    tolerance_json,
    two_figures,
    wrapped_if,
)
from kgraph.render.cautions import SHORT, Whole

SPEED_CAUTIONS = ("moving mechanism", "mains")


# Path -----------------------------------------------------------------------------------------


def path_json(data: Collection, answer: PathAnswer) -> dict[str, Any]:
    """The object of `belt path`; lengths in mm, angles in degrees."""
    return {
        "question": {"command": "belt path", **place_json(data, answer.place)},
        **place_json(data, answer.place),
        "section": {"form": answer.section.form, "sizes_mm": list(answer.section.sizes_mm)},
        "path_mm": answer.path.length_mm,
        "wraps_deg": {name: math.degrees(wrap) for name, wrap in answer.path.wraps_rad.items()},
        "wanted_stretch": list(answer.wanted),
        "window_mm": list(answer.window_mm),
        "belts": [
            {
                "belt": data.text("part", b.part),
                "section": {"form": b.belt.section.form, "sizes_mm": list(b.belt.section.sizes_mm)},
                "inside_length_mm": b.belt.inside_length_mm,
                "stretch": b.stretch,
            }
            for b in answer.belts
        ],
        "o_rings": [
            {
                "size": r.size,
                "inside_diameter_mm": r.inside_diameter_mm,
                "section_mm": r.section_mm,
                "inside_length_mm": r.inside_length_mm,
                "length_plus_minus_mm": r.length_plus_minus_mm,
            }
            for r in answer.o_rings
        ],
        "path_error_mm": answer.path_error_mm,
        "as_sold": {**(sold_json(answer.sold) or {}), "window_mm": pair_of(answer.sold_window_mm)},
        "proof": proof_json(data, answer.place.run_proof),
        **tail_json(data, answer.assumed, answer.notes, answer.cautions),
    }


def no_path_json(data: Collection, place: BeltPlace) -> dict[str, Any]:
    """The same keys where no run is recorded: nothing is known."""
    return {
        "question": {"command": "belt path", **place_json(data, place)},
        **place_json(data, place),
        "path_mm": None,
        "wraps_deg": {},
        "window_mm": None,
        "belts": [],
        "o_rings": [],
        "notes": ["no run is recorded for this place"],
    }


def path_text(data: Collection, answer: PathAnswer, terminal: bool, proof: bool, whole: Whole = SHORT) -> str:
    """`belt path` for a person."""
    low, high = answer.window_mm
    rows = [
        ("set", data.owner_text(answer.place.set)),
        ("position", data.text("position", answer.place.position)),
        ("section", section_text(answer.section)),
        ("path along the mid-line", f"{answer.path.length_mm:.1f} mm{_plus_minus(answer.path_error_mm)}"),
        *((f"wrap on {name}", f"{math.degrees(w):.0f}°") for name, w in answer.path.wraps_rad.items()),
        ("wanted stretch", f"{answer.wanted[0] * 100:.3g} % to {answer.wanted[1] * 100:.3g} %"),
        ("inside length at rest", f"{low:.1f} to {high:.1f} mm"),
        *_sold_rows(answer),
        *((f"belt {data.text('part', b.part)}", f"stretch {percent_of(b.stretch)}") for b in answer.belts),
        *(
            (
                f"O-ring {r.size}",
                f"{r.inside_diameter_mm:g} x {r.section_mm:g} mm, {r.inside_length_mm:.1f} "
                f"± {r.length_plus_minus_mm:.1f} mm round",
            )
            for r in answer.o_rings
        ),
    ]
    out = block_text(data, rows, terminal, answer.cautions, answer.assumed, whole)
    return out + (proof_text(data, "the run", answer.place.run_proof, terminal) if proof else "")


def _plus_minus(error_mm: float) -> str:
    return f" ± {two_figures(error_mm)} mm" if error_mm else ""


def _sold_rows(answer: PathAnswer) -> Rows:
    """What a belt of the class may be off, and the lengths to order that are safe in spite of it."""
    sold = answer.sold
    if sold.thickness_mm is None:
        return [(f"sold to class {sold.grade}", "no figures for such a section")]
    off = f"± {two_figures(sold.thickness_mm)} mm thick"
    off += f", ± {two_figures(sold.length_mm)} mm long" if sold.length_mm else ", length not published"
    rows = [(f"sold to class {sold.grade}", off)]
    if answer.sold_window_mm:
        low, high = answer.sold_window_mm
        rows.append(("named length, to be safe", f"{low:.1f} to {high:.1f} mm"))
    elif sold.length_mm:
        rows.append(("named length, to be safe", "none: measure the belt that comes"))
    return rows


# Speed ----------------------------------------------------------------------------------------


def speed_json(
    data: Collection | None,
    place: BeltPlace | None,
    tone_hz: float,
    heard_hz: float,
    reading: ToneReading,
    notes: Sequence[str] = (),
) -> dict[str, Any]:
    """The object of `belt speed`; the error is a fraction of one."""
    data = data or nothing()
    where = place_json(data, place) if place else {}
    return {
        "question": {"command": "belt speed", "tone_hz": tone_hz, "heard_hz": heard_hz, **where},
        "error": reading.error,
        "tape_speed_cm_s": reading.tape_speed_cm_s,
        "within_tolerance": reading.within_tolerance,
        "speed_tolerance": tolerance_json(),
        "other_tape_hz": reading.other_tape_hz,
        "other_error": reading.other_error,
        "thickness_mm": reading.thickness_mm,
        "motor_change": reading.motor_change,
        "motor_rpm": reading.motor_rpm,
        "run_speed_cm_s": reading.run_speed_cm_s,
        "says": list(reading.says),
        "proof": proof_json(data, place.run_proof) if place else [],
        "notes": list(notes),
        "cautions": list(SPEED_CAUTIONS),
        "caution texts": caution_texts(data, SPEED_CAUTIONS),
    }


def speed_text(
    data: Collection | None,
    place: BeltPlace | None,
    reading: ToneReading,
    terminal: bool,
    proof: bool,
    whole: Whole = SHORT,
) -> str:
    """`belt speed` for a person: what is to be asked first stands first."""
    data = data or nothing()
    out = "".join(wrapped_if(line, terminal) for line in reading.says)
    if proof and place:
        out += proof_text(data, "the run", place.run_proof, terminal)
    return out + caution_text(data, SPEED_CAUTIONS, terminal, whole)
