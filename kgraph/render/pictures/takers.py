"""Who takes a part, or what is original at a place, and through which facts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from kgraph.claims import FitsClaim, TakesClaim
from kgraph.collection import Collection
from kgraph.facts import Fact
from kgraph.fits.graph import Graph, sort_of
from kgraph.questions import Answer, Row
from kgraph.reason import rules
from kgraph.reason.rules import State
from kgraph.render.answers import certainty_text, each_once, percent
from kgraph.render.pictures import sheet, told
from kgraph.render.pictures.sets import badge_of
from kgraph.render.pictures.sheet import BLUE, GREEN, MOST_BOXES, VERMILION, Box, Edge, count
from kgraph.render.pictures.trails import Bundle, Net, Node, Steps, cut, node_of, trail
from kgraph.render.sentences import says

MOST_REFUSALS = 8
REMARK_WIDTH = 28
WIDEST_REMARK = 60


@dataclass(frozen=True, slots=True)
class PicturedQuestion:
    """What the picture is about: a part by its key, or a place (a set's key and a position)."""

    part: str = ""
    set_key: str = ""
    position: str = ""

    @property
    def start(self) -> State:
        """Where the walk of the rules begins."""
        if self.part:
            return State("asked", self.part)
        return State("is", f"s:{self.set_key}", self.position)


def takers(
    graph: Graph,
    asked: PicturedQuestion,
    answer: Answer,
    *,
    title: str | None = None,
    links: Mapping[str, str] | None = None,
    notes: Sequence[str] = (),
) -> str:
    """DOT text of an answer of `takers`: from the item at the left, through facts, to each set and place.

    Each answer is drawn by its best proof, with its warnings and cautions. Past MOST_BOXES boxes what lies
    far out is folded. What speaks against an answer is drawn where it was stated. `notes` stand first below
    the title. The same answer gives the same text.
    """
    data = graph.data
    net = _net(graph, asked, answer.rows)
    rows = _by_node(answer.rows)
    seen = cut(net, MOST_BOXES, lambda node: _badge(data, node))
    boxes = {n: _box(data, n, rows, asked, links or {}) for n in seen.shown}
    bundles = {f"bundle {i}": b for i, b in enumerate(seen.bundles)}
    lines = [_hop_line(data, *hop) for hop in net.hops if hop[0] in boxes and hop[2] in boxes]
    lines += [_bundle_line(name, b) for name, b in bundles.items()]
    against, joins = _refusals(data, answer.rows, boxes)
    cautions = each_once(c for r in answer.rows for c in r.cautions)
    drawn = sheet.Drawing(
        "takers",
        title or f"who takes {_item(data, asked)}: {count(len(answer.rows), 'place')}",
        (*boxes.values(), *(_bundle_box(data, n, b, rows) for n, b in bundles.items()), *against),
        (*lines, *joins),
        _legend(bool(against)),
        (*notes, *_notes(answer, seen.bundles, rows), *told.caution_note(cautions)),
        _says(data, asked, answer.rows),
        foot=told.caution_foot(data, cautions),
    )
    return sheet.source(drawn)


def _net(graph: Graph, asked: PicturedQuestion, rows: Sequence[Row]) -> Net:
    steps = Steps(lambda state: rules.forward(graph, state))
    net = Net(node_of(asked.start))
    for row in rows:
        target = State("goes", row.set, row.position)
        net.add(trail(steps, asked.start, target, row.proof), node_of(target))
    return net


def _by_node(rows: Iterable[Row]) -> dict[Node, Row]:
    return {("place", row.set, row.position): row for row in rows}


def _badge(data: Collection, node: Node) -> str:
    return badge_of(data, node[1][2:]) if node[0] == "place" and node[1][0] == "s" else node[0]


def _item(data: Collection, asked: PicturedQuestion) -> str:
    if asked.part:
        return data.text("part", asked.part)
    return f"what {data.text('set', asked.set_key)} has at {data.text('position', asked.position)}"


# --- Boxes ---------------------------------------------------------------------------------------


def key_of(node: Node) -> str:
    """The key of a node's box."""
    return "\0".join(node)


def node_box(data: Collection, node: Node, links: Mapping[str, str], asked: bool = False) -> Box:
    """The box of a part, or of a place on a set or an assembly."""
    kind, owner, position = node
    if kind == "part":
        return _part_box(data, owner, links, asked)
    name, place = data.owner_text(owner), data.text("position", position) if position else ""
    lines = [*sheet.pieces(name), *(sheet.pieces(f"at {place}", 40) if place else [])]
    tip = " at ".join(t for t in (name, place) if t)
    what, shape, colour = ("set", "box", BLUE) if owner[0] == "s" else ("assembly", "component", GREEN)
    link = links.get(owner, "")
    return Box(key_of(node), tuple(lines), tip, what, shape, colour, asked=asked, link=link)


def _part_box(data: Collection, part: str, links: Mapping[str, str], asked: bool) -> Box:
    sort, name = sort_of(data, part), data.text("part", part)
    lines = [*sheet.pieces(name), *([f"({data.text('kind', sort)})"] if sort else [])]
    key, link = key_of(("part", part, "")), links.get(f"p:{part}", "")
    return Box(key, tuple(lines), name, "part", "ellipse", VERMILION, asked=asked, link=link)


def _box(
    data: Collection, node: Node, rows: Mapping[Node, Row], asked: PicturedQuestion, links: Mapping[str, str]
) -> Box:
    row = rows.get(node)
    box = node_box(data, node, links, node == node_of(asked.start))
    if row is None:
        return box
    # Where a long name makes the box wide, its remarks are as wide, so that it does not grow tall.
    width = max(REMARK_WIDTH, *(min(len(line), WIDEST_REMARK) for line in box.lines))
    remarks = [line for said in told.remarks(row) for line in sheet.wrapped(said, width)]
    lines = (*box.lines, f"{row.standing}, {certainty_text(row)}", *remarks)
    tip = ", ".join([box.tip, row.standing, *row.warnings, *(f"work: {w}" for w in row.work)])
    return replace(box, lines=lines, tip=tip, double=row.standing == "stated")


def _bundle_box(data: Collection, name: str, bundle: Bundle, rows: Mapping[Node, Row]) -> Box:
    nodes = [*bundle.near, *bundle.beyond]
    found = [rows[n] for n in nodes if n in rows]
    names = list(dict.fromkeys(data.owner_text(n[1]) for n in nodes if n[0] == "place" and n[1][0] == "s"))
    badges = {_badge(data, n) for n in bundle.near}
    head = next(iter(badges)) if len(badges) == 1 and bundle.near[0][0] == "place" else ""
    lines = [*([sheet.short(head)] if head else []), f"{count(len(names), 'set')} in one"]
    if beyond := len({n[1] for n in bundle.beyond if n in rows}):
        lines.append(f"{beyond:,} of them farther on")
    lines += sheet.wrapped(sheet.listed(names, 3), 28)
    if found:
        low, high = (percent(f(r.certainty for r in found)) for f in (min, max))
        lines.append(low if low == high else f"{low} to {high}")
    lines += [f"{n} {s}" for s in ("disputed", "refused") if (n := sum(r.standing == s for r in found))]
    if warned := sum(bool(r.warnings) for r in found):
        lines.append(f"{warned} with a warning")
    return Box(name, tuple(lines), ", ".join(names), "group", "folder", BLUE)


# --- Lines ---------------------------------------------------------------------------------------


_WORDS = {
    "rebadge": "one design",
    "uses": "built on",
    "same": "one part",
    "size": "equal size",
    "fits": "fitted",
    "takes": "original or substitute",
}


def _hop_words(data: Collection, fact: Fact) -> list[str]:
    """What a fact is, in the few words of a line."""
    what = fact.claim.role if isinstance(fact.claim, TakesClaim) else _WORDS.get(fact.kind, fact.kind)
    words = [f"{what}, {percent(fact.certainty)}"]
    if fact.left_out:
        names = [data.text("position", n) for n in fact.left_out]
        words += sheet.wrapped(f"except {sheet.listed(names, 4)}")
    if isinstance(fact.claim, FitsClaim) and fact.claim.work:
        words += sheet.wrapped(f"work: {sheet.short(fact.claim.work, 80)}")
    if fact.where and fact.where.file == "--suppose":
        words.append("supposed")
    return words


def _one_way(fact: Fact) -> bool:
    return fact.kind in ("replaces", "size") or (
        isinstance(fact.claim, FitsClaim) and not fact.claim.both_ways
    )


def _hop_line(data: Collection, one: Node, fact: Fact, other: Node) -> Edge:
    words = tuple(_hop_words(data, fact))
    arrow = "normal" if _one_way(fact) else "none"
    return Edge((key_of(one), key_of(other)), words, says(data, fact), fact.certainty, arrow)


def _bundle_line(name: str, bundle: Bundle) -> Edge:
    least, number = min(f.certainty for f in bundle.facts), len(bundle.facts)
    word = _WORDS.get(bundle.kind, bundle.kind)
    text = f"{number:,} x {word}" if number > 1 else word
    arrow = "normal" if any(_one_way(f) for f in bundle.facts) else "none"
    return Edge((key_of(bundle.parent), name), tuple(sheet.wrapped(text)), text, least, arrow)


# --- What speaks against -------------------------------------------------------------------------


def _refusals(
    data: Collection, rows: Sequence[Row], boxes: Mapping[Node, Box]
) -> tuple[list[Box], list[Edge]]:
    """A box for each refusal, joined to the answer that it bears on most directly."""
    nearest: dict[str, tuple[int, str, Fact]] = {}
    for row in rows:
        node = ("place", row.set, row.position)
        if node not in boxes:
            continue
        for fact in (f for f in row.against if f.kind == "refuses"):
            nearest.setdefault(fact.id, (len(row.against), key_of(node), fact))
            nearest[fact.id] = min(
                nearest[fact.id], (len(row.against), key_of(node), fact), key=lambda n: n[:2]
            )
    made, joins = [], []
    for name, (_, at, fact) in sorted(nearest.items())[:MOST_REFUSALS]:
        text = says(data, fact)
        lines = ("against:", *sheet.wrapped(text, 30), percent(fact.certainty))
        made.append(Box(name, lines, text, "against", "rounded", VERMILION))
        joins.append(Edge((at, name), (), f"against: {text}", fact.certainty, "tee", disputed=True))
    return made, joins


# --- Words ---------------------------------------------------------------------------------------


def _legend(against: bool) -> tuple[str, ...]:
    return (
        f"line: a stated fact; its certainty: {sheet.styles_in_words()}",
        "arrow: it holds in that direction only",
        "ellipse: a part; plain box: a set; box with two lugs: an assembly; folder: several sets in one; "
        "grey: what was asked about; double outline: stated, not inferred",
        *(["rounded box on a double line: what speaks against it"] if against else []),
        sheet.SCALE,
    )


def _notes(answer: Answer, bundles: Sequence[Bundle], rows: Mapping[Node, Row]) -> Iterable[str]:
    folded = [rows[n] for b in bundles for n in (*b.near, *b.beyond) if n in rows]
    if answer.less:
        yield answer.less
    if folded:
        boxes = "1 box" if len(bundles) == 1 else f"{len(bundles)} boxes"
        yield f"{len(folded):,} of the {len(answer.rows):,} answers are folded into {boxes}"
    if warned := sum(bool(r.warnings) for r in folded):
        yield f"{count(warned, 'folded answer')} with a warning: read it in `kgraph takers` before you fit it"
    if answer.refused and not any(r.standing == "refused" for r in answer.rows):
        yield f"{count(answer.refused, 'refused answer')} left out; --all draws them"
    if any("size" in r.basis for r in answer.rows):
        yield "equal size counts as the same article by common practice, no source: measure first"


def _says(data: Collection, asked: PicturedQuestion, rows: Sequence[Row]) -> str:
    first = [_row_says(data, row) for row in rows[:20]]
    more = [f"and {len(rows) - 20:,} more"] if len(rows) > 20 else []
    return f"{_item(data, asked)} goes on: " + "; ".join([*first, *more])


def _row_says(data: Collection, row: Row) -> str:
    place = f"{data.owner_text(row.set)} at {data.text('position', row.position)}"
    return ", ".join([f"{place}: {row.standing}", certainty_text(row), *told.remarks(row)])
