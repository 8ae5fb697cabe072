"""Answers about belts as JSON (contract, section 6) or as text. Computes nothing but units for the eye.

In text, tension and load are ranges to two figures, for hardness gives no better; JSON rounds nothing.
"""

from __future__ import annotations

import math
import re
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
from kgraph.belts import drive, tolerances
from kgraph.belts.sold import Sold
from kgraph.belts.tone import ToneReading
from kgraph.collection import build
from kgraph.facts import Fact
from kgraph.quantities import Section
from kgraph.render.answers import caution_texts, fact_json, percent
from kgraph.render.sentences import says
from kgraph.render.terminal import table, visible, wrapped
from kgraph.source.facts import Names

SPEED_CAUTIONS = ("moving mechanism", "mains")
_Rows = list[tuple[str, str]]
_KEEP = "\N{NO-BREAK SPACE}"
"""A space at which no line is broken; it is printed as a plain one."""
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:%|mm|N|cm/s|Hz|rpm)(?!\w))|(?<=±) (?=\d)")


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


def _place_json(data: Names, place: BeltPlace) -> dict[str, Any]:
    return {"set": data.owner_text(place.set), "position": data.text("position", place.position)}


def _tail_json(
    data: Names, assumed: Iterable[drive.Assumed], notes: Iterable[str], cautions: Sequence[str]
) -> dict[str, Any]:
    return {
        "assumed": [{"what": a.what, "value": a.value, "source": a.source} for a in assumed],
        "notes": list(notes),
        "cautions": list(cautions),
        "caution texts": caution_texts(data, cautions),
    }


def _proof_json(data: Names, facts: Iterable[Fact]) -> list[dict[str, Any]]:
    return [fact_json(data, f) for f in facts]


def _text(
    data: Names,
    rows: _Rows,
    terminal: bool,
    cautions: Sequence[str],
    more: Sequence[tuple[str, str]] = (),
) -> str:
    """Named values, then sentences that are never cut, then the cautions."""
    out = table(("what", "value"), rows, terminal)
    if terminal:
        out += "".join(_wrapped(f"{head}: {text}", terminal) for head, text in more)
    else:
        out += "".join(f"{head}\t{visible(text)}\n" for head, text in more)
    return out + _caution_text(data, cautions, terminal)


def _wrapped(text: str, terminal: bool) -> str:
    """A sentence, in lines of the terminal's width; in one line where it goes to a pipe."""
    shown = visible(text)
    if not terminal:
        return f"{shown}\n"
    # A number and its unit stay on one line.
    return wrapped(_BEFORE_UNIT.sub(_KEEP, shown)).replace(_KEEP, " ")


def _caution_text(data: Names, cautions: Sequence[str], terminal: bool) -> str:
    texts = caution_texts(data, cautions)
    return "".join(_wrapped(f"Caution, {name}: {text}", terminal) for name, text in texts.items())


def _assumed_rows(assumed: Iterable[drive.Assumed]) -> _Rows:
    return [("assumed", f"{a.what}: {a.value} ({a.source})") for a in assumed]


def _proof_text(data: Names, head: str, facts: Sequence[Fact], terminal: bool) -> str:
    if not facts:
        return ""
    out = f"{visible(head)}, {percent(strength(facts))}:\n"
    for fact in facts:
        where = f"{fact.where.file}:{fact.where.line}" if fact.where else "by size"
        line = f"{percent(fact.certainty):>6}  {visible(says(data, fact))}  {visible(where)}"
        out += wrapped(line, "  ") if terminal else f"  {line}\n"
    return out


def tolerance_json() -> dict[str, Any]:
    """The tolerance that a tape speed is held against, with its source."""
    return {"fraction": drive.SPEED_TOLERANCE, "source": drive.TOLERANCE_SOURCE}


def _sold_json(sold: Sold | None) -> dict[str, Any] | None:
    if sold is None:
        return None
    return {
        "class": sold.grade,
        "thickness_plus_minus_mm": sold.thickness_mm,
        "length_plus_minus_mm": sold.length_mm,
        "stretch": _pair(sold.stretch),
        "speed_change": _pair(sold.speed),
        "source": tolerances.source_of(sold.grade),
    }


# Path -----------------------------------------------------------------------------------------


def path_json(data: Names, answer: PathAnswer) -> dict[str, Any]:
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
                "length_plus_minus_mm": r.length_plus_minus_mm,
            }
            for r in answer.o_rings
        ],
        "path_error_mm": answer.path_error_mm,
        "as_sold": {**(_sold_json(answer.sold) or {}), "window_mm": _pair(answer.sold_window_mm)},
        "proof": _proof_json(data, answer.place.run_proof),
        **_tail_json(data, answer.assumed, answer.notes, answer.cautions),
    }


def no_path_json(data: Names, place: BeltPlace) -> dict[str, Any]:
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


def path_text(data: Names, answer: PathAnswer, terminal: bool, proof: bool) -> str:
    """`belt path` for a person."""
    low, high = answer.window_mm
    rows = [
        ("set", data.owner_text(answer.place.set)),
        ("position", data.text("position", answer.place.position)),
        ("section", _section(answer.section)),
        ("path along the mid-line", f"{answer.path.length_mm:.1f} mm{_plus_minus(answer.path_error_mm)}"),
        *((f"wrap on {name}", f"{math.degrees(w):.0f}°") for name, w in answer.path.wraps_rad.items()),
        ("wanted stretch", f"{answer.wanted[0] * 100:.3g} % to {answer.wanted[1] * 100:.3g} %"),
        ("inside length at rest", f"{low:.1f} to {high:.1f} mm"),
        *_sold_rows(answer),
        *((f"belt {data.text('part', b.part)}", f"stretch {_percent(b.stretch)}") for b in answer.belts),
        *(
            (
                f"O-ring {r.size}",
                f"{r.inside_diameter_mm:g} x {r.section_mm:g} mm, {r.inside_length_mm:.1f} "
                f"± {r.length_plus_minus_mm:.1f} mm round",
            )
            for r in answer.o_rings
        ),
    ]
    out = _text(data, rows, terminal, answer.cautions, _assumed_rows(answer.assumed))
    return out + (_proof_text(data, "the run", answer.place.run_proof, terminal) if proof else "")


def _plus_minus(error_mm: float) -> str:
    return f" ± {two_figures(error_mm)} mm" if error_mm else ""


def _sold_rows(answer: PathAnswer) -> _Rows:
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


# Fit ------------------------------------------------------------------------------------------


def fit_json(data: Names, answer: FitAnswer) -> dict[str, Any]:
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
        "tape_speed_within": _within(fit.tape_speed_error),
        "speed_tolerance": tolerance_json(),
        "stretch_range": _pair(fit.stretch_range),
        "as_sold": _sold_json(answer.sold),
        "path_mm": fit.path.length_mm if fit.path else None,
        "recorded_belt": data.text("part", recorded.part) if recorded else None,
        "reasons": list(answer.reasons),
        "proof": _proof_json(data, _fit_facts(answer)),
        **_tail_json(data, answer.assumed, answer.notes, answer.cautions),
    }


def _fit_facts(answer: FitAnswer) -> tuple[Fact, ...]:
    facts = (*answer.place.run_proof, *(answer.recorded.proof if answer.recorded else ()))
    return tuple({f.id: f for f in facts}.values())


def _pair(ends: tuple[float, float] | None) -> list[float] | None:
    return None if ends is None else list(ends)


def fit_text(data: Names, answer: FitAnswer, terminal: bool, proof: bool) -> str:
    """`belt fit` for a person: verdict, figures, every reason, every assumed value."""
    fit, recorded = answer.fit, answer.recorded
    rows = [
        ("belt", data.text("part", answer.part)),
        ("set", data.owner_text(answer.place.set)),
        ("position", data.text("position", answer.place.position)),
        ("verdict", fit.verdict),
        ("compared with", data.text("part", recorded.part) if recorded else "no belt is recorded here"),
        ("stretch", _percent(fit.stretch)),
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
        error = f"{drive.signed(fit.tape_speed_error)}, {held} {drive.SPEED_TOLERANCE * 100:g} %"
        rows.append(("tape speed error", f"{error} ({drive.TOLERANCE_NAME})"))
    more = [*(("reason", r) for r in answer.reasons), *_assumed_rows(answer.assumed)]
    out = _text(data, rows, terminal, answer.cautions, more)
    if proof:
        out += _proof_text(data, "the run", answer.place.run_proof, terminal)
        out += _proof_text(data, "the recorded belt", recorded.proof if recorded else (), terminal)
    return out


def _within(error: float | None) -> bool | None:
    """Whether a speed error is inside the tolerance; its bounds are, in spite of binary rounding."""
    return None if error is None else abs(error) <= drive.SPEED_TOLERANCE + 1e-9


def _stretch_rows(answer: FitAnswer) -> _Rows:
    """The stretch as far as it was measured, and as far as a belt is sold to size."""
    rows = []
    if answer.fit.stretch_range is not None:
        low, high = answer.fit.stretch_range
        rows.append(("stretch, as measured", f"{low * 100:.1f} to {high * 100:.1f} %"))
    if answer.sold is not None and answer.sold.stretch is not None:
        low, high = answer.sold.stretch
        rows.append((f"stretch, class {answer.sold.grade}", f"{low * 100:.1f} to {high * 100:.1f} %"))
    return rows


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


def find_json(data: Names, answer: FindAnswer, proof: bool) -> dict[str, Any]:
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
        **_tail_json(data, answer.assumed, answer.notes, answer.cautions),
    }


def _sets(data: Names, found: FoundBelt) -> list[str]:
    return list(dict.fromkeys(data.owner_text(r.set) for r in found.takers))


def _sets_and_basis(data: Names, found: FoundBelt) -> list[str]:
    """The sets for a person: those that follow from equal size alone are marked."""
    sized = {r.set for r in found.takers} - {r.set for r in found.takers if not r.by_size}
    marked = {data.owner_text(s) for s in sized}
    return [f"{name} (by size)" if name in marked else name for name in _sets(data, found)]


def _found_json(data: Names, found: FoundBelt, proof: bool) -> dict[str, Any]:
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
                "best": r.best,
                "basis": ["stated facts", *(["size"] if r.by_size else [])],
                **({"proof": _proof_json(data, r.proof)} if proof else {}),
            }
            for r in found.takers
        ],
    }


def find_text(data: Names, answer: FindAnswer, terminal: bool, proof: bool) -> str:
    """`belt find` for a person: what is less likely than one in a thousand is counted, not listed."""
    shown = [f for f in answer.found if f.probability >= 0.001 or not f.parts]
    rows = [
        [
            ", ".join(data.text("part", p) for p in f.parts) or "none of these",
            f"{f.probability * 100:.1f} %",
        ]
        for f in shown
    ]
    names = [[n.replace(" ", _KEEP) if terminal else n for n in _sets_and_basis(data, f)] for f in shown]
    sets = [[", ".join(each)] if each else [] for each in names]
    out = table(("belt", "probability"), rows, terminal, sets).replace(_KEEP, " ")
    if left := len(answer.found) - len(shown):
        out += f"{left} more {'is' if left == 1 else 'are'} less likely than 0.1 % each\n"
    if proof:
        for f in shown:
            for r in f.takers:
                place = f"{data.owner_text(r.set)} at {data.text('position', r.position)}"
                out += _proof_text(data, place, r.proof, terminal)
    return out + _tail(data, answer.assumed, answer.cautions, terminal)


def _tail(data: Names, assumed: Iterable[drive.Assumed], cautions: Sequence[str], terminal: bool) -> str:
    lines = [f"assumed: {text}" for _, text in _assumed_rows(assumed)]
    return "".join(_wrapped(line, terminal) for line in lines) + _caution_text(data, cautions, terminal)


# Family ---------------------------------------------------------------------------------------


def family_json(data: Names, answer: FamilyAnswer) -> dict[str, Any]:
    """The object of `belt family`."""
    return {
        "question": {"command": "belt family", **_place_json(data, answer.place)},
        "answers": [_family_row_json(data, answer, row) for row in answer.rows],
        **_tail_json(data, answer.assumed, answer.says, answer.cautions),
    }


def _family_row_json(data: Names, answer: FamilyAnswer, row: FamilyRow) -> dict[str, Any]:
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


_AGREES = {True: "yes", False: "NO", None: "not known"}


def family_text(data: Names, answer: FamilyAnswer, terminal: bool, proof: bool) -> str:
    """`belt family` for a person."""
    position = data.text("position", answer.place.position)
    rows = [
        [
            data.owner_text(row.set),
            data.text("part", row.part) if row.part else "-",
            row.standing,
            _percent(row.stretch),
            _AGREES[row.agrees],
        ]
        for row in answer.rows
    ]
    out = _wrapped(position, terminal) if terminal else ""
    out += table(("set", "belt", "standing", "stretch", "agrees"), rows, terminal)
    out += "".join(_wrapped(line, terminal) for line in answer.says)
    if proof:
        for row in answer.rows:
            out += _proof_text(data, data.owner_text(row.set), row.proof, terminal)
    return out + _tail(data, answer.assumed, answer.cautions, terminal)


# Speed ----------------------------------------------------------------------------------------


def speed_json(
    data: Names | None,
    place: BeltPlace | None,
    tone_hz: float,
    heard_hz: float,
    reading: ToneReading,
    notes: Sequence[str] = (),
) -> dict[str, Any]:
    """The object of `belt speed`; the error is a fraction of one."""
    data = data or _nothing()
    where = _place_json(data, place) if place else {}
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
        "proof": _proof_json(data, place.run_proof) if place else [],
        "notes": list(notes),
        "cautions": list(SPEED_CAUTIONS),
        "caution texts": caution_texts(data, SPEED_CAUTIONS),
    }


def speed_text(
    data: Names | None, place: BeltPlace | None, reading: ToneReading, terminal: bool, proof: bool
) -> str:
    """`belt speed` for a person: what is to be asked first stands first."""
    data = data or _nothing()
    out = "".join(_wrapped(line, terminal) for line in reading.says)
    if proof and place:
        out += _proof_text(data, "the run", place.run_proof, terminal)
    return out + _caution_text(data, SPEED_CAUTIONS, terminal)


# What a supposed fact changes ------------------------------------------------------------------

Said = dict[str, tuple[Any, str]]
"""What an answer says, piece by piece: its name -> the value, unrounded, and as text."""


def path_said(data: Names, answer: PathAnswer | None) -> Said:
    """The pieces of `belt path`."""
    if answer is None:
        return {}
    low, high = answer.window_mm
    return {
        "path": (answer.path.length_mm, f"{answer.path.length_mm:.1f} mm"),
        "inside length at rest": ([low, high], f"{low:.1f} to {high:.1f} mm"),
        **{f"belt {data.text('part', b.part)}": (b.stretch, _percent(b.stretch)) for b in answer.belts},
        **{f"O-ring {r.size}": (r.inside_length_mm, f"{r.inside_length_mm:.1f} mm") for r in answer.o_rings},
    }


def fit_said(data: Names, answer: FitAnswer) -> Said:
    """The pieces of `belt fit`."""
    fit, recorded = answer.fit, answer.recorded
    against = data.text("part", recorded.part) if recorded else None
    return {
        "verdict": (fit.verdict, fit.verdict),
        "compared with": (against, against or "nothing"),
        "stretch": (fit.stretch, _percent(fit.stretch)),
        "change of speed": (fit.speed_change, _percent(fit.speed_change)),
        "tape speed error": (fit.tape_speed_error, _percent(fit.tape_speed_error)),
    }


def find_said(data: Names, answer: FindAnswer) -> Said:
    """The pieces of `belt find`: each belt's probability, and the sets that take it."""
    found: Said = {}
    for each in answer.found:
        name = data.text("part", each.parts[0]) if each.parts else "none of these"
        found[name] = (each.probability, f"{each.probability * 100:.1f} %")
        for text in _sets(data, each):
            found[f"{name} in {text}"] = (True, "takes it")
    return found


def family_said(data: Names, answer: FamilyAnswer) -> Said:
    """The pieces of `belt family`: a row each."""
    found: Said = {}
    for row in answer.rows:
        belt = data.text("part", row.part) if row.part else "no belt"
        text = f"{row.standing}, stretch {_percent(row.stretch)}, agrees: {_AGREES[row.agrees]}"
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
    return "".join(_wrapped(line, terminal) for line in lines or ["no change"])


def _then(before: tuple[Any, str], after: tuple[Any, str]) -> str:
    """Both as text; unrounded where the text does not tell them apart."""
    if before[1] != after[1]:
        return f"{before[1]}, then {after[1]}"
    return f"{before[0]!r}, then {after[0]!r}"


def _nothing() -> Names:
    """A folder that says nothing: the cautions are then those of the trade."""
    return build([])
