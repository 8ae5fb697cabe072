"""One answer as its chain of facts, each with its source, place and certainty; both sides if disputed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from kgraph.collection import Collection
from kgraph.facts import Evidence, Fact
from kgraph.fits.graph import Graph
from kgraph.questions import Row
from kgraph.reason import rules
from kgraph.reason.rules import State
from kgraph.render.answers import certainty_text, percent
from kgraph.render.pictures import sheet, told
from kgraph.render.pictures.sheet import GREEN, VERMILION, Box, Edge
from kgraph.render.pictures.takers import PicturedQuestion, key_of, node_box
from kgraph.render.pictures.trails import Hop, Node, Steps, node_of, trail
from kgraph.render.sentences import says

EVIDENCE_SHOWN = 3
_WIDE = 60


def proof_of_taker(
    graph: Graph,
    asked: PicturedQuestion,
    row: Row,
    *,
    title: str | None = None,
    notes: Sequence[str] = (),
) -> str:
    """DOT text of the best proof of one answer of `takers`: from the item down to the place it goes."""
    target = State("goes", row.set, row.position)
    hops = trail(Steps(lambda s: rules.forward(graph, s)), asked.start, target, row.proof)
    return _picture(graph.data, node_of(asked.start), hops, node_of(target), row, title, notes)


def proof_of_donor(
    graph: Graph, set_key: str, row: Row, *, title: str | None = None, notes: Sequence[str] = ()
) -> str:
    """DOT text of the best proof of one answer of `donors`: from the donor's place down to the wanted one."""
    start, target = State("goes", f"s:{set_key}", row.wanted), State("is", row.set, row.position)
    back = trail(Steps(lambda s: rules.backward(graph, s)), start, target, row.proof)
    hops = [(other, fact, one) for one, fact, other in reversed(back)]
    return _picture(graph.data, node_of(target), hops, node_of(start), row, title, notes)


def proof_of_sister(
    graph: Graph, set_key: str, row: Row, *, title: str | None = None, notes: Sequence[str] = ()
) -> str:
    """DOT text of the best proof of one answer of `sisters`: from the set down to its sister."""
    start, target = State("set", f"s:{set_key}"), State("set", row.set)
    hops = trail(Steps(lambda s: rules.rebadged(graph, s)), start, target, row.proof)
    return _picture(graph.data, node_of(start), hops, node_of(target), row, title, notes)


def _picture(
    data: Collection,
    start: Node,
    hops: Sequence[Hop],
    target: Node,
    row: Row,
    title: str | None,
    notes: Sequence[str],
) -> str:
    nodes = list(dict.fromkeys([start, *(n for a, _, b in hops for n in (a, b)), target]))
    boxes = [_node(data, n, n == target, row) for n in nodes]
    facts = [_fact_box(data, f"for {i}", fact) for i, (_, fact, _) in enumerate(hops)]
    lines = [line for i, hop in enumerate(hops) for line in _through(f"for {i}", hop)]
    no_boxes, no_lines = _against(data, row, key_of(target))
    whole = f"{_name(data, target)}: {row.standing}, {certainty_text(row)}"
    drawn = sheet.Drawing(
        "proof",
        title or _title(data, start, target),
        (*boxes, *facts, *no_boxes),
        (*lines, *no_lines),
        _legend(bool(no_boxes)),
        (*notes, *_notes(row)),
        whole + ". " + " ".join(f"{says(data, f)} (certainty {f.certainty:.4g})." for _, f, _ in hops),
        down=True,
        foot=told.caution_foot(data, row.cautions),
    )
    return sheet.source(drawn)


def _title(data: Collection, start: Node, target: Node) -> str:
    one, other = _name(data, start), _name(data, target)
    return f"{one} on {other}" if start[0] == "part" else f"from {one} to {other}"


def _name(data: Collection, node: Node) -> str:
    kind, owner, position = node
    if kind == "part":
        return data.text("part", owner)
    return data.owner_text(owner) + (f" at {data.text('position', position)}" if position else "")


def _node(data: Collection, node: Node, last: bool, row: Row) -> Box:
    box = node_box(data, node, {})
    if not last:
        return box
    lines = (*box.lines, f"{row.standing}, {certainty_text(row)}")
    return Box(box.key, lines, box.tip, box.kind, box.shape, box.colour, double=True, link=box.link)


def _fact_box(data: Collection, key: str, fact: Fact, against: bool = False) -> Box:
    """A fact in words, with who says so and where it is written."""
    text = says(data, fact)
    lines = [*(["against:"] if against else []), *sheet.wrapped(text, _WIDE), *_evidence(fact)]
    kind, colour = ("against", VERMILION) if against else ("fact", GREEN)
    return Box(key, tuple(lines), text, kind, "rounded" if against else "note", colour, left=True)


def _evidence(fact: Fact) -> Iterable[str]:
    if not fact.evidence:
        yield f"{percent(fact.certainty)}, by equal size: common practice, no source"
    ordered = sorted(fact.evidence, key=lambda e: (-e.certainty, e.where.file, e.where.line))
    for said in ordered[:EVIDENCE_SHOWN]:
        yield from sheet.wrapped(_said(said), _WIDE)
        yield from sheet.pieces(_place(said), _WIDE)
    if len(ordered) > EVIDENCE_SHOWN:
        yield f"+ {len(ordered) - EVIDENCE_SHOWN} more sayings of it"


def _said(e: Evidence) -> str:
    said = ", ".join(v for v in (e.told or "no grade", e.pictured) if v)
    return f"{percent(e.certainty)}, {said}"


def _place(e: Evidence) -> str:
    return "supposed" if e.where.file == "--suppose" else f"{e.where.file}:{e.where.line}"


def _through(key: str, hop: Hop) -> tuple[Edge, Edge]:
    """A fact stands between the two things it joins."""
    one, fact, other = hop
    return (
        Edge((key_of(one), key), (), "", fact.certainty),
        Edge((key, key_of(other)), (), "", fact.certainty, "normal"),
    )


def _against(data: Collection, row: Row, target: str) -> tuple[list[Box], list[Edge]]:
    """The other side: the refusal, and the facts that carry it to the answer."""
    facts = list(reversed(row.against))
    boxes = [_fact_box(data, f"against {i}", f, True) for i, f in enumerate(facts)]
    keys = [*(b.key for b in boxes), target]
    lines = [
        Edge(
            (keys[i], keys[i + 1]),
            ("against it:", percent(row.no)) if keys[i + 1] == target else (),
            "against it",
            fact.certainty,
            "tee" if keys[i + 1] == target else "normal",
            disputed=True,
        )
        for i, fact in enumerate(facts)
    ]
    return boxes, lines


def _legend(against: bool) -> tuple[str, ...]:
    return (
        f"line: its fact's certainty: {sheet.styles_in_words()}",
        "note: a stated fact, how it is known, by whom, and where it is written; double outline: the answer",
        *(["rounded boxes on double lines: what speaks against it"] if against else []),
        sheet.SCALE,
    )


def _notes(row: Row) -> Iterable[str]:
    yield f"{row.standing}, {certainty_text(row)}; this proof alone: {percent(row.best)}"
    if len(row.proofs) > 1:
        more = "" if row.all_proofs else " or more"
        yield f"{len(row.proofs)}{more} proofs in all; the best one is drawn"
    yield from (f"work: {w}" for w in row.work)
    yield from (f"warning: {w}" for w in row.warnings)
    if row.differs:
        yield f"differs: {sheet.listed(row.differs, 8)}"
    yield from told.caution_note(row.cautions)
