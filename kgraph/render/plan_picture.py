"""The picture of a plan: which unit or drawer gives what to whom, and what stays wanted, as DOT text."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from kgraph.collection import Collection
from kgraph.fits.graph import Graph
from kgraph.render.answers import percent
from kgraph.render.pictures import told
from kgraph.render.pictures.sheet import (
    BLUE,
    SCALE,
    VERMILION,
    Box,
    Drawing,
    count,
    source,
    styles_in_words,
    wrapped,
)
from kgraph.render.pictures.sheet import Edge as Stroke
from kgraph.render.plan import STOCK, cautions_of, lies_in
from kgraph.shelf.ledger import set_of
from kgraph.shelf.plan import Line, Plan
from kgraph.shelf.task import Want

_WIDTH = 34
"""So many characters stand on one line of a box."""
_REMARK_WIDTH = 46
"""So many of a remark at a line: a line goes round words that are many, one below the other."""


def shelf_picture(
    plan: Plan, graph: Graph, title: str | None = None, links: Mapping[str, str] | None = None
) -> str:
    """DOT text of a plan: what gives on the left, the wants in the middle, the units that want on the right.

    A line runs from what gives to the want that it meets; its style is its certainty, and its work,
    warnings and cautions are written on it. The same plan gives the same text. `links` are relative pages of
    our own by owner key.
    """
    data = graph.data
    pages = links or {}
    givers = sorted({_giver(line) for line in plan.best.lines})
    boxes = [_giver_box(data, plan, pages, *giver) for giver in givers]
    boxes += [_want_box(data, plan, want) for want in plan.wants]
    boxes += [_patient_box(data, pages, patient) for patient in plan.patients]
    strokes = [_stroke(data, line) for line in plan.best.lines]
    strokes += [
        Stroke((_want_key(w), f"patient {w.unit}"), tip=data.text("unit", w.unit)) for w in plan.wants
    ]
    title = title or f"Plan for {', '.join(data.text('unit', p) for p in plan.patients)}"
    summary = _summary(plan)
    says = "; ".join([f"{title}: {summary}", *(_in_words(data, line) for line in plan.best.lines)])
    # The other courses are not drawn, so that their cautions are of nothing that stands here.
    cautions = cautions_of(replace(plan, instead=()))
    notes, foot = (summary, *told.caution_note(cautions)), told.caution_foot(data, cautions)
    legend = tuple(_legend(plan))
    return source(Drawing("shelf", title, tuple(boxes), tuple(strokes), legend, notes, says, foot=foot))


def _summary(plan: Plan) -> str:
    proven = "proven the least" if plan.optimal else "not proven the least"
    met = f"{len(plan.best.lines)} of {count(len(plan.wants), 'want')} met"
    return f"{met}, cost {plan.best.cost.total:.2f}, {proven}"


def _giver(line: Line) -> tuple[str, str]:
    """A donor is one box; each loose part is one of its own."""
    return (line.unit, "") if line.unit else ("", line.position)


def _want_key(want: Want) -> str:
    return f"want {want.unit} {want.position}"


def _folded(lines: Iterable[str], width: int = _WIDTH) -> tuple[str, ...]:
    return tuple(piece for line in lines for piece in wrapped(line, width))


def _giver_box(data: Collection, plan: Plan, pages: Mapping[str, str], unit: str, part: str) -> Box:
    if unit:
        set_key = set_of(data, unit)
        cost = f"opening it costs {plan.best.opened[unit]:g}"
        lines = [data.text("unit", unit), data.text("set", set_key), cost]
        link = pages.get(f"s:{set_key}", "")
        return Box(f"unit {unit}", _folded(lines), ", ".join(lines), "unit", colour=BLUE, link=link)
    where = lies_in(data, part)
    lines = [data.text("part", part), f"{STOCK}, {where}" if where else STOCK]
    return Box(f"part {part}", _folded(lines), ", ".join(lines), "part", "note", BLUE)


def _want_box(data: Collection, plan: Plan, want: Want) -> Box:
    position = data.text("position", want.position)
    left = next((u for u in plan.unmet if u.want == want), None)
    if left is None:
        return Box(_want_key(want), _folded([position]), position, "want", "ellipse")
    tip = f"{position}: {left.route}: {left.says}"
    return Box(_want_key(want), _folded([position, left.route]), tip, "unmet", "octagon", VERMILION)


def _patient_box(data: Collection, pages: Mapping[str, str], patient: str) -> Box:
    set_key = set_of(data, patient)
    lines = [data.text("unit", patient), data.text("set", set_key)]
    link = pages.get(f"s:{set_key}", "")
    return Box(f"patient {patient}", _folded(lines), ", ".join(lines), "patient", link=link)


def _stroke(data: Collection, line: Line) -> Stroke:
    said = [percent(line.row.certainty), *(f"work: {w}" for w in line.row.work)]
    if line.unit and line.position != line.want.position:
        said.insert(0, f"its {data.text('position', line.position)}")
    if line.along or line.brings:
        said.append("comes along" if line.along else "taken whole")
    remarks = told.remarks(line.row)
    remarks += ["by equal size: measure first"] if "size" in line.row.basis else []
    giver = f"unit {line.unit}" if line.unit else f"part {line.position}"
    disputed = line.row.standing == "disputed"
    ends = (giver, _want_key(line.want))
    words = (*_folded(said), *_folded(remarks, _REMARK_WIDTH))
    return Stroke(ends, words, ", ".join([*said, *remarks]), line.row.certainty, "normal", disputed)


def _in_words(data: Collection, line: Line) -> str:
    giver = data.text("unit", line.unit) if line.unit else f"{STOCK} {data.text('part', line.position)}"
    return f"{data.text('unit', line.want.unit)} {data.text('position', line.want.position)} from {giver}"


def _legend(plan: Plan) -> Iterable[str]:
    yield "blue box: a unit that is opened; note: a loose part; ellipse: a want that is met"
    if plan.unmet:
        yield "octagon: a want that is not met, and what to do: buy, make or hunt"
    words = "the place in the donor, if another, the work, warnings and cautions"
    yield f"line: {styles_in_words()}; its words: {words}"
    if any(line.row.standing == "disputed" for line in plan.best.lines):
        yield "double line: disputed"
    yield SCALE
