"""Answers about belts as JSON (contract, section 6) or as text. Computes nothing but units for the eye.

In text, tension and load are ranges to two figures, for hardness gives no better; JSON rounds nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

from kgraph.belt_questions import (
    BeltPlace,
    FamilyAnswer,
    FamilyRow,
    FindAnswer,
    FitAnswer,
    FoundBelt,
    PathAnswer,
    strength,
)
from kgraph.belts import drive
from kgraph.belts.tone import ToneReading
from kgraph.collection import Collection, Fact, build
from kgraph.quantities import Section
from kgraph.render.answers import caution_texts, fact_json, percent
from kgraph.render.sentences import says
from kgraph.render.terminal import table, visible

SPEED_CAUTIONS = ("moving mechanism", "mains")
_Rows = list[tuple[str, str]]


def two_figures(value: float) -> str:
    """A number to two figures, without an exponent."""
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    decimals = 1 - math.floor(math.log10(abs(value)))
    return f"{round(value, decimals):.{max(0, decimals)}f}"


def _range(low: float, high: float, unit: str) -> str:
    return f"{two_figures(low)} to {two_figures(high)} {unit}"


def _percent(value: float | None) -> str:
    return "not known" if value is None else f"{value * 100:.1f} %"


def _section(section: Section) -> str:
    return f"{section.form} {' x '.join(f'{size:.4g}' for size in section.sizes_mm)} mm"


def _place_json(data: Collection, place: BeltPlace) -> dict[str, Any]:
    return {"set": data.owner_text(place.set), "position": data.text("position", place.position)}


def _tail_json(data: Collection, notes: Iterable[str], cautions: Sequence[str]) -> dict[str, Any]:
    return {
        "notes": list(notes),
        "cautions": list(cautions),
        "caution texts": caution_texts(data, cautions),
    }


def _proof_json(data: Collection, facts: Iterable[Fact]) -> list[dict[str, Any]]:
    return [fact_json(data, f) for f in facts]


def _text(
    data: Collection,
    rows: _Rows,
    terminal: bool,
    cautions: Sequence[str],
    more: Sequence[tuple[str, str]] = (),
) -> str:
    """Named values, then sentences that are never cut, then the cautions."""
    out = table(("what", "value"), rows, terminal)
    out += "".join(f"{head}{': ' if terminal else chr(9)}{visible(text)}\n" for head, text in more)
    return out + _caution_text(data, cautions)


def _caution_text(data: Collection, cautions: Sequence[str]) -> str:
    texts = caution_texts(data, cautions)
    return "".join(f"Caution, {visible(name)}: {visible(text)}\n" for name, text in texts.items())


def _proof_text(data: Collection, head: str, facts: Sequence[Fact]) -> str:
    if not facts:
        return ""
    lines = [f"{visible(head)}, {percent(strength(facts))}:"]
    for fact in facts:
        where = f"{fact.where.file}:{fact.where.line}" if fact.where else "by size"
        lines.append(f"  {percent(fact.certainty):>6}  {visible(says(data, fact))}  {visible(where)}")
    return "\n".join(lines) + "\n"


# Path -----------------------------------------------------------------------------------------


def path_json(data: Collection, answer: PathAnswer) -> dict[str, Any]:
    """The object of `belt path`; lengths in mm, angles in degrees."""
    return {
        "question": {"command": "belt path", **_place_json(data, answer.place)},
        **_place_json(data, answer.place),
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
            }
            for r in answer.o_rings
        ],
        "assumed": _path_assumed(answer),
        "proof": _proof_json(data, answer.place.run_proof),
        **_tail_json(data, answer.notes, answer.cautions),
    }


def _path_assumed(answer: PathAnswer) -> list[dict[str, str]]:
    if not answer.wanted_assumed:
        return []
    low, high = answer.wanted
    value = f"{low * 100:.3g} % to {high * 100:.3g} %"
    return [{"what": "wanted stretch", "value": value, "source": drive.NO_SOURCE}]


def no_path_json(data: Collection, place: BeltPlace) -> dict[str, Any]:
    """The same keys where no run is recorded: nothing is known."""
    return {
        "question": {"command": "belt path", **_place_json(data, place)},
        **_place_json(data, place),
        "path_mm": None,
        "wraps_deg": {},
        "window_mm": None,
        "belts": [],
        "o_rings": [],
        "notes": ["no run is recorded for this place"],
    }


def path_text(data: Collection, answer: PathAnswer, terminal: bool, proof: bool) -> str:
    """`belt path` for a person."""
    low, high = answer.window_mm
    rows = [
        ("set", data.owner_text(answer.place.set)),
        ("position", data.text("position", answer.place.position)),
        ("section", _section(answer.section)),
        ("path along the mid-line", f"{answer.path.length_mm:.1f} mm"),
        *((f"wrap on {name}", f"{math.degrees(w):.0f}°") for name, w in answer.path.wraps_rad.items()),
        ("wanted stretch", f"{answer.wanted[0] * 100:.3g} % to {answer.wanted[1] * 100:.3g} %"),
        ("inside length at rest", f"{low:.1f} to {high:.1f} mm"),
        *((f"belt {data.text('part', b.part)}", f"stretch {_percent(b.stretch)}") for b in answer.belts),
        *(
            (
                f"O-ring {r.size}",
                f"{r.inside_diameter_mm:g} x {r.section_mm:g} mm, {r.inside_length_mm:.1f} mm round",
            )
            for r in answer.o_rings
        ),
    ]
    more = [("assumed", f"{a['what']} {a['value']} ({a['source']})") for a in _path_assumed(answer)]
    out = _text(data, rows, terminal, answer.cautions, more)
    return out + (_proof_text(data, "the run", answer.place.run_proof) if proof else "")


# Fit ------------------------------------------------------------------------------------------


def fit_json(data: Collection, answer: FitAnswer) -> dict[str, Any]:
    """The object of `belt fit`; what is not known is null."""
    fit, recorded = answer.fit, answer.recorded
    part = data.text("part", answer.part)
    place = _place_json(data, answer.place)
    return {
        "question": {"command": "belt fit", "belt": part, **place},
        "belt": part,
        **place,
        "verdict": fit.verdict,
        "stretch": fit.stretch,
        "tension_N": fit.tension_n,
        "tension_range_N": _pair(fit.tension_range_n),
        "shaft_load_N": {name: load.n for name, load in fit.shaft_loads.items()},
        "shaft_load_vector_N": {name: [load.x_n, load.y_n] for name, load in fit.shaft_loads.items()},
        "pull_limit_N": fit.pull_limit_n,
        "pull_limit_range_N": _pair(fit.pull_limit_range_n),
        "pull_needed_N": fit.pull_needed_n,
        "speed_ratios": dict(fit.speed_ratios),
        "speed_change": fit.speed_change,
        "tape_speed_cm_s": fit.tape_speed_cm_s,
        "tape_speed_error": fit.tape_speed_error,
        "path_mm": fit.path.length_mm if fit.path else None,
        "recorded_belt": data.text("part", recorded.part) if recorded else None,
        "reasons": list(fit.reasons),
        "assumed": [{"what": a.what, "value": a.value, "source": a.source} for a in fit.assumed],
        "proof": _proof_json(data, _fit_facts(answer)),
        **_tail_json(data, answer.notes, answer.cautions),
    }


def _fit_facts(answer: FitAnswer) -> tuple[Fact, ...]:
    facts = (*answer.place.run_proof, *(answer.recorded.proof if answer.recorded else ()))
    return tuple({f.id: f for f in facts}.values())


def _pair(ends: tuple[float, float] | None) -> list[float] | None:
    return None if ends is None else list(ends)


def fit_text(data: Collection, answer: FitAnswer, terminal: bool, proof: bool) -> str:
    """`belt fit` for a person: verdict, figures, every reason, every assumed value."""
    fit, recorded = answer.fit, answer.recorded
    rows = [
        ("belt", data.text("part", answer.part)),
        ("set", data.owner_text(answer.place.set)),
        ("position", data.text("position", answer.place.position)),
        ("verdict", fit.verdict),
        ("compared with", data.text("part", recorded.part) if recorded else "no belt is recorded here"),
        ("stretch", _percent(fit.stretch)),
        *_force_rows(fit),
    ]
    drives = fit.stretch is not None and fit.stretch > 0
    if drives and fit.speed_change is not None:
        rows.append(("change of speed", drive.signed(fit.speed_change)))
    if drives and fit.tape_speed_cm_s is not None:
        rows.append(("tape speed", f"{fit.tape_speed_cm_s:.2f} cm/s"))
    more = [("reason", r) for r in fit.reasons]
    more += [("assumed", f"{a.what}: {a.value} ({a.source})") for a in fit.assumed]
    out = _text(data, rows, terminal, answer.cautions, more)
    if proof:
        out += _proof_text(data, "the run", answer.place.run_proof)
        out += _proof_text(data, "the recorded belt", recorded.proof if recorded else ())
    return out


def _force_rows(fit: drive.Fit) -> _Rows:
    """Tension, loads and pull as ranges; a load spreads as the tension does."""
    if fit.tension_n is None or fit.tension_range_n is None:
        return []
    if fit.tension_n == 0:
        return [("tension", "none: it hangs loose")]
    rows = [("tension", _range(*fit.tension_range_n, "N"))]
    for name, load in fit.shaft_loads.items():
        ends = [load.n * end / fit.tension_n for end in fit.tension_range_n]
        rows.append((f"load on {name}", _range(ends[0], ends[1], "N")))
    if fit.pull_limit_range_n is not None:
        rows.append(("pulls before it slips", _range(*fit.pull_limit_range_n, "N")))
    return rows


# Find -----------------------------------------------------------------------------------------


def find_json(data: Collection, answer: FindAnswer) -> dict[str, Any]:
    """The object of `belt find`."""
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
        "answers": [_found_json(data, found) for found in answer.found],
        **_tail_json(data, answer.notes, answer.cautions),
    }


def _sets(data: Collection, found: FoundBelt) -> list[str]:
    return list(dict.fromkeys(data.owner_text(r.set) for r in found.takers))


def _sets_and_basis(data: Collection, found: FoundBelt) -> list[str]:
    """The sets for a person: those that follow from equal size alone are marked."""
    sized = {r.set for r in found.takers} - {r.set for r in found.takers if "size" not in r.basis}
    marked = {data.owner_text(s) for s in sized}
    return [f"{name} (by size)" if name in marked else name for name in _sets(data, found)]


def _found_json(data: Collection, found: FoundBelt) -> dict[str, Any]:
    names = [data.text("part", p) for p in found.parts]
    return {
        "belt": names[0] if names else None,
        "also": names[1:],
        "probability": found.probability,
        "sets": _sets(data, found),
        "places": [
            {
                "set": data.owner_text(r.set),
                "position": data.text("position", r.position),
                "standing": r.standing,
                "certainty": r.certainty,
                "basis": list(r.basis),
                "proof": _proof_json(data, r.proof),
            }
            for r in found.takers
        ],
    }


def find_text(data: Collection, answer: FindAnswer, terminal: bool, proof: bool) -> str:
    """`belt find` for a person: what is less likely than one in a thousand is counted, not listed."""
    shown = [f for f in answer.found if f.probability >= 0.001 or not f.parts]
    rows = [
        [
            ", ".join(data.text("part", p) for p in f.parts) or "none of these",
            f"{f.probability * 100:.1f} %",
            ", ".join(_sets_and_basis(data, f)) or "-",
        ]
        for f in shown
    ]
    out = table(("belt", "probability", "sets"), rows, terminal)
    if left := len(answer.found) - len(shown):
        out += f"{left} more {'is' if left == 1 else 'are'} less likely than 0.1 % each\n"
    if proof:
        for f in shown:
            for r in f.takers:
                place = f"{data.owner_text(r.set)} at {data.text('position', r.position)}"
                out += _proof_text(data, place, r.proof)
    return out + _caution_text(data, answer.cautions)


# Family ---------------------------------------------------------------------------------------


def family_json(data: Collection, answer: FamilyAnswer) -> dict[str, Any]:
    """The object of `belt family`."""
    return {
        "question": {"command": "belt family", **_place_json(data, answer.place)},
        "answers": [_family_row_json(data, answer, row) for row in answer.rows],
        **_tail_json(data, answer.says, answer.cautions),
    }


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
        "proof": _proof_json(data, row.proof),
    }


_AGREES = {True: "agrees", False: "CONTRADICTS", None: "not known"}


def family_text(data: Collection, answer: FamilyAnswer, terminal: bool, proof: bool) -> str:
    """`belt family` for a person."""
    position = data.text("position", answer.place.position)
    rows = [
        [
            data.owner_text(row.set),
            position,
            data.text("part", row.part) if row.part else "-",
            row.standing,
            _percent(row.stretch),
            _AGREES[row.agrees],
        ]
        for row in answer.rows
    ]
    out = table(("set", "position", "belt", "standing", "stretch", "agrees"), rows, terminal)
    out += "".join(f"{visible(line)}\n" for line in answer.says)
    if proof:
        out += "".join(_proof_text(data, data.owner_text(row.set), row.proof) for row in answer.rows)
    return out + _caution_text(data, answer.cautions)


# Speed ----------------------------------------------------------------------------------------


def speed_json(
    data: Collection | None, place: BeltPlace | None, tone_hz: float, heard_hz: float, reading: ToneReading
) -> dict[str, Any]:
    """The object of `belt speed`; the error is a fraction of one."""
    data = data or _nothing()
    where = _place_json(data, place) if place else {}
    return {
        "question": {"command": "belt speed", "tone_hz": tone_hz, "heard_hz": heard_hz, **where},
        "error": reading.error,
        "tape_speed_cm_s": reading.tape_speed_cm_s,
        "within_tolerance": reading.within_tolerance,
        "other_tape_hz": reading.other_tape_hz,
        "other_error": reading.other_error,
        "thickness_mm": reading.thickness_mm,
        "motor_change": reading.motor_change,
        "motor_rpm": reading.motor_rpm,
        "says": list(reading.says),
        "cautions": list(SPEED_CAUTIONS),
        "caution texts": caution_texts(data, SPEED_CAUTIONS),
    }


def speed_text(data: Collection | None, reading: ToneReading) -> str:
    """`belt speed` for a person: what is to be asked first stands first."""
    out = "".join(f"{visible(line)}\n" for line in reading.says)
    return out + _caution_text(data or _nothing(), SPEED_CAUTIONS)


def _nothing() -> Collection:
    """A folder that says nothing: the cautions are then those of the trade."""
    return build([])
