"""An identification key as numbered questions, as Markdown, and as DOT text."""

from __future__ import annotations

from kgraph.collection import Collection
from kgraph.recognition.key import KeyStep
from kgraph.render.pictures.sheet import Box, Drawing, Edge, source, wrapped

NOT_TOLD_APART = "not told apart by what is recorded"
HEADING = "What is this set?"


def numbered(step: KeyStep) -> list[KeyStep]:
    """The questions in the order in which they are printed; the first is the first."""
    found, todo = [], [step]
    while todo:
        here = todo.pop(0)
        if here.answers:
            found.append(here)
            todo += [then for _, then in here.answers]
    return found


def _leads(data: Collection, then: KeyStep, number: dict[int, int]) -> str:
    if then.answers:
        return f"go to {number[id(then)]}"
    names = " or ".join(data.owner_text(o) for o in then.sets)
    return names if len(then.sets) == 1 else f"{names} ({NOT_TOLD_APART})"


def as_text(data: Collection, step: KeyStep, markdown: bool) -> str:
    """Every question with its answers and where each leads."""
    steps = numbered(step)
    number = {id(s): n for n, s in enumerate(steps, 1)}
    lines = [f"# {HEADING}", ""] if markdown else []
    for n, here in enumerate(steps, 1):
        lines.append(f"## {n}. {here.question}?" if markdown else f"{n}. {here.question}?")
        lines += [""] if markdown else []
        mark = "- " if markdown else "   "
        lines += [f"{mark}{answer}: {_leads(data, then, number)}" for answer, then in here.answers]
        lines.append("")
    if not steps:
        lines.append(_leads(data, step, number))
    return "\n".join(lines).rstrip("\n") + "\n"


def as_dot(data: Collection, step: KeyStep, title: str | None = None) -> str:
    """The key as a tree: a box for each question and each end, a line for each answer."""
    boxes: list[Box] = []
    lines: list[Edge] = []
    _draw(data, step, "1", boxes, lines)
    title = title or HEADING
    legend = ("A line is an answer; a box at its end is the next question, or the sets that it may be.",)
    return source(Drawing("key", title, tuple(boxes), tuple(lines), legend, says=as_text(data, step, False)))


def _draw(data: Collection, step: KeyStep, name: str, boxes: list[Box], lines: list[Edge]) -> None:
    ends = tuple(data.owner_text(o) for o in step.sets)
    boxes.append(Box(name, (f"{step.question}?",) if step.answers else ends, kind="key"))
    for n, (answer, then) in enumerate(step.answers, 1):
        lines.append(Edge((name, f"{name}.{n}"), tuple(wrapped(answer, 30))))
        _draw(data, then, f"{name}.{n}", boxes, lines)
