"""What all answers about belts are told with: sizes, proofs, assumptions, cautions, in words and as JSON."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from typing import Any

from kgraph.belt_sizes import Section
from kgraph.belts import runs, speed, tolerances
from kgraph.belts.sold import Sold
from kgraph.collection import Collection, build
from kgraph.facts import Fact
from kgraph.questions.belt_places import BeltPlace, strength
from kgraph.render.answers import caution_texts, fact_json, percent
from kgraph.render.cautions import Whole, block
from kgraph.render.sentences import says
from kgraph.render.terminal import table, visible, wrapped

Rows = list[tuple[str, str]]
KEEP = "\N{NO-BREAK SPACE}"
"""A space at which no line is broken; it is printed as a plain one."""
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:%|mm|N|cm/s|Hz|rpm)(?!\w))|(?<=±) (?=\d)")


def two_figures(value: float) -> str:
    """A number to two figures, without an exponent."""
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    decimals = 1 - math.floor(math.log10(abs(value)))
    return f"{round(value, decimals):.{max(0, decimals)}f}"


def range_of(low: float, high: float, unit: str) -> str:
    return f"{two_figures(low)} to {two_figures(high)} {unit}"


def percent_of(value: float | None) -> str:
    return "not known" if value is None else f"{value * 100:.1f} %"


def section_text(section: Section) -> str:
    return f"{section.form} {' x '.join(f'{size:.4g}' for size in section.sizes_mm)} mm"


def place_json(data: Collection, place: BeltPlace) -> dict[str, Any]:
    return {"set": data.owner_text(place.set), "position": data.text("position", place.position)}


def tail_json(
    data: Collection, assumed: Iterable[runs.Assumed], notes: Iterable[str], cautions: Sequence[str]
) -> dict[str, Any]:
    return {
        "assumed": [{"what": a.what, "value": a.value, "source": a.source} for a in assumed],
        "notes": list(notes),
        "cautions": list(cautions),
        "caution texts": caution_texts(data, cautions),
    }


def proof_json(data: Collection, facts: Iterable[Fact]) -> list[dict[str, Any]]:
    return [fact_json(data, f) for f in facts]


def block_text(
    data: Collection,
    rows: Rows,
    terminal: bool,
    cautions: Sequence[str],
    assumed: Iterable[runs.Assumed],
    whole: Whole,
    more: Sequence[tuple[str, str]] = (),
) -> str:
    """Named values, then sentences that are never cut, what was assumed, and the cautions."""
    more = [*more, *_assumed_rows(assumed, whole.assumed)]
    out = table(("what", "value"), rows, terminal)
    if terminal:
        out += "".join(wrapped_if(f"{head}: {text}", terminal) for head, text in more)
    else:
        out += "".join(f"{head}\t{visible(text)}\n" for head, text in more)
    return out + caution_text(data, cautions, terminal, whole)


def wrapped_if(text: str, terminal: bool) -> str:
    """A sentence, in lines of the terminal's width; in one line where it goes to a pipe."""
    shown = visible(text)
    if not terminal:
        return f"{shown}\n"
    # A number and its unit stay on one line.
    return wrapped(_BEFORE_UNIT.sub(KEEP, shown)).replace(KEEP, " ")


def caution_text(data: Collection, cautions: Sequence[str], terminal: bool, whole: Whole) -> str:
    return block(caution_texts(data, cautions), terminal, whole.cautions, "")


def _assumed_rows(assumed: Iterable[runs.Assumed], whole: bool) -> Rows:
    """What was assumed, each with its source, or all on one line without them."""
    each = list(assumed)
    if whole:
        return [("assumed", f"{a.what}: {a.value} ({a.source})") for a in each]
    said = "; ".join(f"{a.what} {a.value}" for a in each)
    return [("assumed", f"{said}; --assumed tells why")] if each else []


def proof_text(data: Collection, head: str, facts: Sequence[Fact], terminal: bool) -> str:
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
    return {"fraction": speed.SPEED_TOLERANCE, "source": speed.TOLERANCE_SOURCE}


def sold_json(sold: Sold | None) -> dict[str, Any] | None:
    if sold is None:
        return None
    return {
        "class": sold.grade,
        "thickness_plus_minus_mm": sold.thickness_mm,
        "length_plus_minus_mm": sold.length_mm,
        "stretch": pair_of(sold.stretch),
        "speed_change": pair_of(sold.speed),
        "source": tolerances.source_of(sold.grade),
    }


def tail(
    data: Collection,
    assumed: Iterable[runs.Assumed],
    cautions: Sequence[str],
    terminal: bool,
    whole: Whole,
) -> str:
    lines = [f"assumed: {text}" for _, text in _assumed_rows(assumed, whole.assumed)]
    return "".join(wrapped_if(line, terminal) for line in lines) + caution_text(
        data, cautions, terminal, whole
    )


def pair_of(ends: tuple[float, float] | None) -> list[float] | None:
    return None if ends is None else list(ends)


def nothing() -> Collection:
    """A folder that says nothing: the cautions are then those of the trade."""
    return build([])
