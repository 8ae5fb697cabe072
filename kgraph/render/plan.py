"""A plan and a hunt as JSON or as text. Computes nothing; rounds only what is shown to a person."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Sequence
from typing import Any

from kgraph import records
from kgraph.collection import Collection
from kgraph.mains import OPENING
from kgraph.render.answers import (
    caution_texts,
    certainty_text,
    each_once,
    fact_json,
    fact_line,
    percent,
    remarks_of,
)
from kgraph.render.cautions import SHORT, Whole, block
from kgraph.render.terminal import table, visible, wrapped
from kgraph.shelf import ledger
from kgraph.shelf.hunt import Hunt, Quarry, Sought
from kgraph.shelf.plan import Cost, Course, Line, Plan, Possible
from kgraph.shelf.routes import Unmet
from kgraph.shelf.taking import counts_on_it
from kgraph.shelf.task import Want

STOCK = "stock"


# JSON -----------------------------------------------------------------------------------------


def as_json(data: Collection, plan: Plan, written: Sequence[str] = ()) -> dict[str, Any]:
    """A plan as one object: its lines, its cost in three parts, what is proven, and what is left."""
    out: dict[str, Any] = {
        "question": {"command": "plan", "units": [data.text("unit", p) for p in plan.patients]},
        **_course_json(data, plan.best),
        "wants": len(plan.wants),
        "optimal": plan.optimal,
        "gap": plan.gap,
        "met at most": plan.met_at_most,
        "unmet": [_unmet_json(data, u) for u in plan.unmet],
        "possible": [_possible_json(data, p) for p in plan.possible],
        "instead": [_course_json(data, c) for c in plan.instead],
        "notes": list(plan.notes),
    }
    if written:
        out["written"] = list(written)
    if texts := caution_texts(data, cautions_of(plan)):
        out["caution texts"] = texts
    return out


def _course_json(data: Collection, course: Course) -> dict[str, Any]:
    return {
        "lines": [_line_json(data, line) for line in course.lines],
        "met": len(course.lines),
        "cost": course.cost.total,
        "parts of cost": {
            "opened": course.cost.opened,
            "work": course.cost.work,
            "doubt": course.cost.doubt,
        },
        "opened": [{"unit": data.text("unit", u), "cost": c} for u, c in course.opened.items()],
    }


def _line_json(data: Collection, line: Line) -> dict[str, Any]:
    row = line.row
    part = row.part if line.unit else line.position
    out: dict[str, Any] = {
        "for": data.text("unit", line.want.unit),
        "want": data.text("position", line.want.position),
        "unit": data.text("unit", line.unit) if line.unit else STOCK,
        "set": set_name(data, line.set) if line.unit else None,
        "position": data.text("position", line.position) if line.unit else None,
        "part": None if part is None else data.text("part", part),
        "certainty": row.certainty,
        "goes": row.certainty / row.sound,
        "sound": row.sound,
        "bounds": None if row.bounds is None else list(row.bounds),
        "standing": row.standing,
        "work": list(row.work),
        "proof": [fact_json(data, f) for f in row.proof],
        "cautions": list(row.cautions),
        "warnings": list(row.warnings),
        "differs": list(row.differs),
        "basis": list(row.basis),
    }
    if line.counting:
        out["counted on"] = [counts_on_it(data, c) for c in line.counting]
    if row.against:
        out["against"] = [fact_json(data, f) for f in row.against]
    if row.sound < 1:
        out["settle"] = inspect_by(data, line.unit, line.position)
    if line.unit:
        out["brings"] = [data.text("position", p) for p in line.brings]
        out["along"] = line.along
        out["condition"] = line.condition or None
    else:
        out["where"] = lies_in(data, line.position) or None
    return out


def _unmet_json(data: Collection, unmet: Unmet) -> dict[str, Any]:
    return {
        "for": data.text("unit", unmet.want.unit),
        "want": data.text("position", unmet.want.position),
        "route": unmet.route,
        "says": unmet.says,
        "why": unmet.why,
        "parts": [data.text("part", p) for p in unmet.parts],
        "sets": [{"set": data.owner_text(s), "certainty": c} for s, c in unmet.sets],
        "cautions": list(unmet.cautions),
    }


def _possible_json(data: Collection, possible: Possible) -> dict[str, Any]:
    """A line that was not planned, with the wants of other units that would then go without."""
    without = [
        {"unit": data.text("unit", w.unit), "want": data.text("position", w.position)}
        for w in possible.without
    ]
    return {**_line_json(data, possible.line), "without": without}


def cautions_of(plan: Plan) -> list[str]:
    """The cautions of a plan, each name once: of opening a set, of its lines, of what is left to do."""
    courses = (plan.best, *plan.instead)
    opened = any(c.opened for c in courses) or any(p.line.unit for p in plan.possible)
    found = list(OPENING) if opened else []
    found += [c for course in courses for line in course.lines for c in line.row.cautions]
    found += [c for possible in plan.possible for c in possible.line.row.cautions]
    found += [c for unmet in plan.unmet for c in unmet.cautions]
    return each_once(found)


def set_name(data: Collection, set_key: str) -> str | None:
    """The name of the set that a unit is; None while nobody knows it."""
    return data.text("set", set_key) if ledger.is_known(set_key) else None


def lies_in(data: Collection, part: str) -> str:
    """Where a loose part lies, as recorded."""
    entries = [s for s in data.things["stock"].get(part, ()) if isinstance(s, records.Stock)]
    return ", ".join(dict.fromkeys(s.place for s in entries if s.place))


# Text -----------------------------------------------------------------------------------------


def as_text(data: Collection, plan: Plan, terminal: bool, proof: bool, whole: Whole = SHORT) -> str:
    """The plan for the bench: what to take from where, what is left to do, what it costs, the cautions."""
    out = ""
    if plan.best.lines:
        head = ("for", "want", "take from", "its place", "certainty")
        rows = [_cells(data, line) for line in plan.best.lines]
        out += table(head, rows, terminal, [_line_remarks(data, line) for line in plan.best.lines])
    if proof:
        out += "".join(_proof_text(data, line) for line in plan.best.lines)
    if plan.unmet:
        routes = [[*_want_cells(data, u.want), u.route] for u in plan.unmet]
        said = [_unmet_remarks(data, plan, u) for u in plan.unmet]
        out += ("\n" if out else "") + table(("for", "still wanted", "what to do"), routes, terminal, said)
    out += "\n" + "".join(_sentence(s, terminal) for s in _sums(data, plan))
    for number, course in enumerate(plan.instead, 1):
        out += _instead_text(data, plan, number, course, terminal)
    return out + block(caution_texts(data, cautions_of(plan)), terminal, whole.cautions)


def inspect_by(data: Collection, unit: str, position: str) -> str:
    """The command that says what a place of a unit is like."""
    names = (data.text("unit", unit), data.text("position", position))
    return f"kgraph inspect {' '.join(map(shlex.quote, names))} STATE"


def _unmet_remarks(data: Collection, plan: Plan, unmet: Unmet) -> list[str]:
    possible = [_possible_text(data, p) for p in plan.possible if p.line.want == unmet.want]
    return [unmet.says, *possible, *([f"on the shelf: {unmet.why}"] if unmet.why else [])]


def _possible_text(data: Collection, possible: Possible) -> str:
    """What could be taken all the same, who would go without, and how to allow it."""
    unit, place = _from_cells(data, possible.line)
    line = f"possible: {unit}, {place}, {certainty_text(possible.line.row)}"
    without = ", ".join(f"{u} its {p}" for u, p in (_want_cells(data, w) for w in possible.without))
    units = dict.fromkeys(data.text("unit", w.unit) for w in possible.without)
    allowed = " ".join(f"--rob {shlex.quote(u)}" for u in units)
    remarks = "".join(f"; {remark}" for remark in _line_remarks(data, possible.line))
    return f"{line}{remarks}; then nothing is left to give {without}; {allowed} allows it"


def _sentence(text: str, terminal: bool) -> str:
    return wrapped(visible(text)) if terminal else visible(text) + "\n"


def _want_cells(data: Collection, want: Want) -> tuple[str, str]:
    return data.text("unit", want.unit), data.text("position", want.position)


def _cells(data: Collection, line: Line) -> list[str]:
    return [*_want_cells(data, line.want), *_from_cells(data, line), certainty_text(line.row)]


def _from_cells(data: Collection, line: Line) -> tuple[str, str]:
    if not line.unit:
        where = lies_in(data, line.position)
        return f"{STOCK}, {where}" if where else STOCK, data.text("part", line.position)
    return (
        f"{data.text('unit', line.unit)}, {data.text('set', line.set)}",
        data.text("position", line.position),
    )


def taken_text(data: Collection, line: Line) -> str:
    """What a line takes, from where and for whom, in a few words."""
    unit, place = _from_cells(data, line)
    return f"{unit}, {place}, for {' '.join(_want_cells(data, line.want))}"


def doubts_of(line: Line) -> list[str]:
    """What is doubtful about a line's going there."""
    size = ["by equal size: measure first"] if "size" in line.row.basis else []
    return [*_disputed(line), *size, *line.row.warnings]


def _disputed(line: Line) -> list[str]:
    if line.row.standing != "disputed":
        return []
    return [f"disputed: {percent(line.row.no)} that it does not go; try it before you rely on it"]


def _line_remarks(data: Collection, line: Line) -> list[str]:
    said = []
    if line.along:
        said.append("comes off with the whole assembly taken from the same unit")
    if line.brings:
        names = ", ".join(data.text("position", p) for p in line.brings)
        said.append(f"taken whole, with: {names}")
    said += _disputed(line)
    if line.row.sound < 1:
        goes, sound = percent(line.row.certainty / line.row.sound), percent(line.row.sound)
        by = inspect_by(data, line.unit, line.position)
        said.append(f"nobody looked at it: goes there {goes}, sound {sound}; when you have: {by}")
    if line.condition.strip().lower() not in ("", "good", "whole"):
        said.append(f"recorded of it: {line.condition}")
    said += [counts_on_it(data, c) for c in line.counting]
    return [*said, *remarks_of(line.row)]


def _proof_text(data: Collection, line: Line) -> str:
    unit, place = _from_cells(data, line)
    goes = " ".join(_want_cells(data, line.want))
    head = f"\n{visible(f'{unit}, {place} for {goes}')}: {line.row.standing}, {certainty_text(line.row)}\n"
    facts = "".join(fact_line(data, f) + "\n" for f in line.row.proof)
    if line.row.against:
        facts += "  against it:\n" + "".join(fact_line(data, f) + "\n" for f in line.row.against)
    return head + (facts or "  the same place of the same set\n")


def _sums(data: Collection, plan: Plan) -> Iterable[str]:
    """How many wants are met, what it costs, and how far that is proven."""
    best = plan.best
    yield f"{len(best.lines)} of {_wants(len(plan.wants))} met; {_cost_text(data, best)}"
    if not best.lines and plan.optimal:
        yield "Nothing on the shelf goes there and may be taken."
    elif plan.optimal:
        if len(best.lines) == len(plan.wants):
            yield "Proven the least: no plan that meets them all costs less."
        else:
            yield "Proven the least: no plan meets more, and none that meets as many costs less."
    else:
        yield _not_proven(plan)


def _not_proven(plan: Plan) -> str:
    if plan.met_at_most > len(plan.best.lines):
        return f"Not proven: up to {_wants(plan.met_at_most)} may be met by another plan."
    return f"Not proven the least: another plan may cost up to {plan.gap:.2f} less."


def _wants(number: int) -> str:
    return f"{number} want" if number == 1 else f"{number} wants"


def _cost_text(data: Collection, course: Course) -> str:
    units = ", ".join(f"{data.text('unit', u)} {c:g}" for u, c in course.opened.items())
    opened = f"opening {units}" if units else "nothing opened"
    return f"cost {_three(course.cost)} ({opened})"


def _three(cost: Cost) -> str:
    return f"{cost.total:.2f} = {cost.opened:.2f} opened + {cost.work:.2f} work + {cost.doubt:.2f} doubt"


def _instead_text(data: Collection, plan: Plan, number: int, course: Course, terminal: bool) -> str:
    """Another course: its cost, and only the lines in which it differs from the best."""
    best = {(a.want, a.unit, a.position) for a in plan.best.lines}
    others = [a for a in course.lines if (a.want, a.unit, a.position) not in best]
    head = f"Instead, {number}: {len(course.lines)} of {_wants(len(plan.wants))} met; "
    said = "\n" + _sentence(head + _cost_text(data, course), terminal)
    for line in others:
        unit, place = _from_cells(data, line)
        goes = " ".join(_want_cells(data, line.want))
        said += f"  {visible(f'{goes}: {unit}, {place}, {certainty_text(line.row)}')}\n"
        said += "".join(f"    {visible(remark)}\n" for remark in _line_remarks(data, line))
    left = {a.want for a in plan.best.lines} - {a.want for a in course.lines}
    return said + "".join(f"  {visible(' '.join(_want_cells(data, w)))}: not met\n" for w in sorted(left))


# A hunt ---------------------------------------------------------------------------------------


def hunt_json(data: Collection, question: dict[str, Any], hunt: Hunt, most: int | None) -> dict[str, Any]:
    """A hunt as one object; at most `most` sets."""
    shown = hunt.found[:most]
    hidden = len(hunt.found) - len(shown)
    out: dict[str, Any] = {
        "question": question,
        "answers": [
            {
                "set": data.owner_text(q.set),
                "expected_wants": q.expected,
                "wants": {_sought_text(data, hunt, s): r.certainty for s, r in q.wants.items()},
                "sound": {_sought_text(data, hunt, s): r.sound for s, r in q.wants.items()},
                "warnings": {_sought_text(data, hunt, s): list(r.warnings) for s, r in q.wants.items()},
                "proofs": {
                    _sought_text(data, hunt, s): [fact_json(data, f) for f in r.proof]
                    for s, r in q.wants.items()
                },
            }
            for q in shown
        ],
        "sought": len(hunt.sought),
        "met": hunt.met,
        "notes": [*([more_sets(hidden)] if hidden else []), *hunt.notes],
    }
    if texts := caution_texts(data, _hunt_cautions(hunt, shown)):
        out["caution texts"] = texts
    return out


def more_sets(number: int) -> str:
    """How many sets are not shown, and how to see them."""
    return f"{number} more {'set' if number == 1 else 'sets'}; --most shows more."


def _hunt_cautions(hunt: Hunt, shown: Iterable[Quarry]) -> list[str]:
    rows = (*(r for q in shown for r in q.wants.values()), *hunt.unlike)
    return list(dict.fromkeys(c for r in rows for c in r.cautions))


def _sought_text(data: Collection, hunt: Hunt, sought: Sought) -> str:
    """The wanted place; with whom it is for where more than one is asked about."""
    position = data.text("position", sought.place.position)
    whose = {(s.unit, s.place.owner) for s in hunt.sought}
    if len(whose) == 1:
        return position
    name = data.text("unit", sought.unit) if sought.unit else data.owner_text(sought.place.owner)
    return f"{name}: {position}"


def hunt_text(
    data: Collection, hunt: Hunt, terminal: bool, proof: bool, most: int | None, whole: Whole = SHORT
) -> str:
    """The sets for a person, the best first, each with the wants that it would meet."""
    shown = hunt.found[:most]
    rows = [[data.owner_text(q.set), f"{q.expected:.2f}", str(len(q.wants))] for q in shown]
    said = [[", ".join(_wants_met(data, hunt, q))] for q in shown]
    out = table(("set", "expected wants", "at most"), rows, terminal, said) if rows else ""
    if proof:
        out += "".join(_quarry_proof(data, hunt, q) for q in shown)
    return out + block(caution_texts(data, _hunt_cautions(hunt, shown)), terminal, whole.cautions)


def _wants_met(data: Collection, hunt: Hunt, quarry: Quarry) -> list[str]:
    found = []
    for sought, row in quarry.wants.items():
        warned = "".join(f" (warning: {w})" for w in row.warnings)
        found.append(f"{_sought_text(data, hunt, sought)} {percent(row.certainty)}{warned}")
    return found


def _quarry_proof(data: Collection, hunt: Hunt, quarry: Quarry) -> str:
    out = f"\n{visible(data.owner_text(quarry.set))}\n"
    for sought, row in quarry.wants.items():
        place = data.text("position", row.position)
        goes = f"goes there {percent(row.certainty / row.sound)}, sound {percent(row.sound)}"
        sure = certainty_text(row) if row.sound == 1 else f"{certainty_text(row)}: {goes}"
        says = f"{_sought_text(data, hunt, sought)}: its {place}, {row.standing}, {sure}"
        out += f" {visible(says)}\n" + "".join(fact_line(data, f) + "\n" for f in row.proof)
    return out
