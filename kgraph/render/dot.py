r"""Pictures as DOT text, the language of Graphviz, and DOT text as svg, png, pdf.

The text is put together by the `graphviz` package alone. No text of the data is ever an id: ids
are our own (n1, n2, ...), and every label passes :func:`label_text`. No attribute that opens or
links to something (`URL`, `href`, `image`, `shapefile`) is written at all.
"""

from __future__ import annotations

import re
import textwrap
import unicodedata
from collections import Counter, defaultdict, deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import graphviz

from kgraph import records
from kgraph.collection import Collection, Fact
from kgraph.fits.graph import Graph
from kgraph.names import fold
from kgraph.problems import CannotRun, Problem, WrongUse

FORMATS = ("svg", "png", "pdf", "dot")
"""The formats that a picture is written in, by the suffix of the file."""

MOST_BOXES = 60
"""Past so many sets a family is folded by badge: `dot` draws wider than anyone can read."""

NAMES_SHOWN = 6
"""So many differing positions are written at a line; the rest are counted (all are in its tooltip)."""

# Okabe & Ito, "Color Universal Design" (2008): a set of colours that the colour-blind tell apart.
# Its yellow is left out, because a yellow outline on white paper is too faint to see.
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00", "#000000")
# Eight shapes against seven colours: 56 badges before a shape and colour come together again.
SHAPES = ("box", "ellipse", "octagon", "note", "hexagon", "tab", "house", "box3d")

STYLES = ((0.9, "solid", "0.9 or more"), (0.7, "dashed", "0.7 to 0.9"), (0.0, "dotted", "less than 0.7"))
"""Lowest certainty -> style of line, and what the legend says of it."""

NO_DOT = (
    "the program `dot` of Graphviz is not installed; install it with `apt-get install graphviz` (Debian), "
    "`brew install graphviz` (macOS) or from graphviz.org, or write .dot"
)

_YEAR = re.compile(r"(?<!\d)(1[89]\d\d|20\d\d)(?!\d)")
_NAME_WIDTH = 80
_EDGE_WIDTH = 26
_JOINERS = "\u200c\u200d"


@dataclass(frozen=True, slots=True)
class _Box:
    """One node of the picture: a set, or the sets of a badge folded into one (`members`)."""

    key: str
    title: str
    badge: str
    lines: tuple[str, ...]
    year: int | None
    members: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Line:
    """One line of the picture: the rebadge facts between two boxes."""

    ends: tuple[str, str]
    facts: tuple[Fact, ...]


# --- Texts ---------------------------------------------------------------------------------------


def label_text(text: str) -> str:
    r"""A text as one line of a DOT label that is drawn letter for letter.

    Control characters, marks that turn the direction of writing and whatever cannot be seen or
    encoded are shown as escapes. `&` becomes `&amp;`, since Graphviz reads entities in labels; the
    rest is `graphviz.escape`: every backslash doubled, `<...>` no markup.

    >>> str(label_text("A & B\\"))
    'A &amp; B\\\\'
    """
    plain: str = graphviz.escape(_visible(text).replace("&", "&amp;"))
    return plain


def _visible(text: str) -> str:
    return "".join(_escape(c) if _is_hidden(c) else c for c in text)


def _is_hidden(char: str) -> bool:
    # The two joiners change how letters of some scripts look and nothing else, so they stay.
    return unicodedata.category(char) in {"Cc", "Cf", "Cs", "Cn", "Zl", "Zp"} and char not in _JOINERS


def _escape(char: str) -> str:
    code = ord(char)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def tip_text(text: str) -> str:
    """A text as one tooltip: `dot` 2.43 expands escapes in them twice, so backslashes are doubled twice."""
    plain: str = graphviz.escape(label_text(text))
    return plain


def _label(lines: Iterable[str]) -> str:
    """A label of several lines, each centred."""
    joined: str = graphviz.nohtml("\\n".join(label_text(line) for line in lines))
    return joined


def _pieces(text: str, width: int) -> list[str]:
    """A text cut into pieces of at most `width` characters, no letter lost."""
    return [text[i : i + width] for i in range(0, len(text), width)]


def _some(names: Sequence[str], width: int = _EDGE_WIDTH) -> list[str]:
    """The names as lines, past `NAMES_SHOWN` of them shortened with "+ n more"."""
    shown = [n if len(n) <= 40 else n[:39] + "…" for n in names[:NAMES_SHOWN]]
    more = len(names) - len(shown)
    text = ", ".join(shown) + (f" + {more} more" if more else "")
    return textwrap.wrap(_visible(text), width)


# --- The family of a set -------------------------------------------------------------------------


def family(data: Collection, graph: Graph, set_key: str) -> str:
    """DOT text of the rebadge family of a set: every set that `rebadge` facts join to it.

    `set_key` is a folded name (an `also` name serves). The same data give the same text. Past
    MOST_BOXES sets, the sets of one badge are one node. Raises WrongUse for a set not known.
    """
    start = data.key("set", set_key)
    if start not in data.known("set"):
        raise WrongUse(Problem(None, "unknown-set", f"there is no set {_visible(set_key)}", "see `find`"))
    keys, facts = _members(graph, start)
    boxes, lines = _boxes_and_lines(data, keys, facts)
    root, why = _root(data, keys)
    title = f"{data.text('set', start)} and its rebadges: {_count(len(keys), 'set')}"
    return _picture(data, title, boxes, lines, (_holder(boxes, root), why))


def _members(graph: Graph, start: str) -> tuple[list[str], list[Fact]]:
    """The keys of the family, sorted, and its rebadge facts by id."""
    seen, facts = {start}, {}
    queue = deque([start])
    while queue:
        for link in graph.links.get(f"s:{queue.popleft()}", ()):
            if link.fact.kind != "rebadge":
                continue
            facts[link.fact.id] = link.fact
            if link.other[2:] not in seen:
                seen.add(link.other[2:])
                queue.append(link.other[2:])
    return sorted(seen), [facts[i] for i in sorted(facts)]


def _root(data: Collection, keys: Sequence[str]) -> tuple[str, str]:
    """The set that the family comes from, and why it is taken to be; ("", "") where nothing says so."""
    builders = {k: {b for v in data.attribute("set", k, "builder") if (b := _key_of(data, v))} for k in keys}
    own = [k for k in keys if builders[k] & {k, fold(_badge(data, k))}]
    if own:
        return own[0], "built by its own badge"
    named = Counter(b for found in builders.values() for b in found if b in builders)
    if named:
        return min(
            named, key=lambda k: (-named[k], k)
        ), f"named as builder by {_count(max(named.values()), 'set')}"
    dated = [(year, k) for k in keys if (year := _year(data, k))]
    return (min(dated)[1], "the earliest year recorded") if dated else ("", "")


def _key_of(data: Collection, value: records.Value) -> str:
    return data.key("set", fold(value)) if isinstance(value, str) else ""


def _badge(data: Collection, key: str) -> str:
    declared = data.declared("set", key)
    if isinstance(declared, records.SetModel):
        return declared.badge
    text = data.text("set", key).strip()
    return text.rpartition(" ")[0] or text


def _year(data: Collection, key: str) -> int | None:
    """The first year recorded for a set."""
    found = [int(y) for v in data.attribute("set", key, "years") for y in _YEAR.findall(_text(v))]
    return min(found, default=None)


def _text(value: records.Value) -> str:
    if isinstance(value, str):
        return value
    if isinstance(value, Mapping):
        return ", ".join(f"{k} {_text(v)}" for k, v in value.items())
    return ", ".join(_text(v) for v in value)


def _set_box(data: Collection, key: str) -> _Box:
    title = data.text("set", key)
    recorded = [
        " / ".join(sorted({_text(v) for v in data.attribute("set", key, attribute)}))
        for attribute in ("years", "market")
    ]
    below = ", ".join(r for r in recorded if r)
    lines = [*_pieces(title, _NAME_WIDTH), *_other_name(data, key)]
    return _Box(key, title, _badge(data, key), (*lines, *_pieces(below, 40)), _year(data, key), (key,))


def _other_name(data: Collection, key: str) -> list[str]:
    """Badge and model where they were written apart and say something else than the name."""
    declared = data.declared("set", key)
    if not isinstance(declared, records.SetModel) or not {"badge", "model"} & {k for k, _ in declared.pairs}:
        return []
    apart = f"{declared.badge} {declared.model}"
    return [] if fold(apart) == key or fold(declared.model) == key else _pieces(apart, _NAME_WIDTH)


def _boxes_and_lines(
    data: Collection, keys: Sequence[str], facts: Sequence[Fact]
) -> tuple[list[_Box], list[_Line]]:
    boxes = [_set_box(data, k) for k in keys]
    if len(boxes) > MOST_BOXES:
        boxes = _folded(boxes)
    holder = {m: box.key for box in boxes for m in box.members}
    between: dict[tuple[str, str, str], list[Fact]] = defaultdict(list)
    for fact in facts:
        one, other = sorted(holder[owner[2:]] for owner in fact.args[:2])
        if one != other:
            # Folded boxes are joined by one line for all their facts, sets by one for each.
            between[one, other, "" if len(boxes) < len(keys) else fact.id].append(fact)
    return boxes, [_Line((one, other), tuple(found)) for (one, other, _), found in sorted(between.items())]


def _folded(boxes: Sequence[_Box]) -> list[_Box]:
    """One box for each badge; where the badges are too many as well, the smallest in one box."""
    by_badge: dict[str, list[_Box]] = defaultdict(list)
    for box in boxes:
        by_badge[fold(box.badge) or box.badge].append(box)
    groups = sorted(by_badge.items(), key=lambda item: (-len(item[1]), item[0]))
    kept, rest = groups, []
    if len(groups) > MOST_BOXES:
        kept, rest = groups[: MOST_BOXES - 1], groups[MOST_BOXES - 1 :]
    made = [_group(found[0].badge, found) for _, found in kept]
    if rest:
        made.append(_group(f"{len(rest)} other badges", [box for _, found in rest for box in found]))
    return sorted(made, key=lambda box: box.key)


def _group(badge: str, boxes: Sequence[_Box]) -> _Box:
    if len(boxes) == 1:
        return boxes[0]
    years = sorted(b.year for b in boxes if b.year)
    span = "-".join(str(y) for y in sorted({years[0], years[-1]})) if years else ""
    lines = (
        *_pieces(badge, _NAME_WIDTH),
        f"{len(boxes)} sets folded into one",
        *([f"from {span}"] if span else []),
    )
    members = tuple(b.key for b in boxes)
    return _Box(members[0], badge, badge, lines, years[0] if years else None, members)


def _holder(boxes: Sequence[_Box], key: str) -> str:
    return next((b.key for b in boxes if key in b.members), "")


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


# --- The DOT text --------------------------------------------------------------------------------


def _picture(
    data: Collection, title: str, boxes: Sequence[_Box], lines: Sequence[_Line], root: tuple[str, str]
) -> str:
    folded = sum(len(b.members) for b in boxes) > len(boxes)
    says = [*_pieces(title, _NAME_WIDTH), *(["folded by badge: see each box for how many"] if folded else [])]
    dot = graphviz.Digraph("family", graph_attr=_graph_attributes(says, title, lines))
    dot.attr("node", fontname="sans-serif", fontsize="12", penwidth="2.5", margin="0.15,0.08")
    dot.attr("edge", fontname="sans-serif", fontsize="10", dir="none", penwidth="1.5")
    ids = {box.key: f"n{number}" for number, box in enumerate(boxes, 1)}
    looks = _looks(boxes)
    for box in boxes:
        _add_box(data, dot, ids[box.key], box, looks[box.badge], root[1] if box.key == root[0] else "")
    _add_years(dot, boxes, ids)
    # Lines run from the older to the newer set; where no year says, from the one with more rebadges.
    joined = Counter(end for line in lines for end in line.ends)
    order = {b.key: (b.year or 9999, b.key != root[0], -joined[b.key], b.key) for b in boxes}
    for line in lines:
        one, other = sorted(line.ends, key=lambda end: order[end])
        dot.edge(ids[one], ids[other], **_edge_attributes(data, line))
    _add_legend(dot, bool(root[0]))
    text: str = dot.source
    return text


def _graph_attributes(says: Sequence[str], title: str, lines: Sequence[_Line]) -> dict[str, str]:
    facts = sum(len(line.facts) for line in lines)
    return {
        "rankdir": "LR",
        "label": _label(says),
        "tooltip": tip_text(f"{title}, joined by {_count(facts, 'stated rebadge fact')}"),
        "labelloc": "t",
        "fontname": "sans-serif",
        "fontsize": "16",
        "nodesep": "0.3",
        "ranksep": "0.6",
    }


def _looks(boxes: Sequence[_Box]) -> dict[str, dict[str, str]]:
    """Badge -> its shape and colour, by the order of the badges."""
    badges = sorted({fold(b.badge) or b.badge for b in boxes})
    look = {
        badge: {"shape": SHAPES[i % len(SHAPES)], "color": COLOURS[i % len(COLOURS)]}
        for i, badge in enumerate(badges)
    }
    return {b.badge: look[fold(b.badge) or b.badge] for b in boxes}


def _add_box(
    data: Collection, dot: graphviz.Digraph, node: str, box: _Box, look: Mapping[str, str], why: str
) -> None:
    tip = ", ".join([*(data.text("set", m) for m in box.members), *([why] if why else [])])
    marks = {"peripheries": "2"} if why else {}
    dot.node(
        node,
        label=_label([*box.lines, *([f"({why})"] if why else [])]),
        tooltip=tip_text(tip),
        **look,
        **marks,
    )


def _add_years(dot: graphviz.Digraph, boxes: Sequence[_Box], ids: Mapping[str, str]) -> None:
    """A row of years, each in one rank with the boxes that begin in it; last, those without a year."""
    years: list[int | None] = [*sorted({b.year for b in boxes if b.year})]
    if years and not all(b.year for b in boxes):
        # Without a rank of their own they would be drawn beneath a year that nobody recorded.
        years.append(None)
    for year in years:
        with dot.subgraph(graph_attr={"rank": "same"}) as rank:
            head = str(year) if year else "year not recorded"
            rank.node(f"y{year or ''}", label=head, shape="plaintext", tooltip="first year recorded")
            for box in (b for b in boxes if b.year == year):
                rank.node(ids[box.key])
    for one, other in pairwise(years):
        dot.edge(f"y{one}", f"y{other or ''}", style="invis")


def _edge_attributes(data: Collection, line: _Line) -> dict[str, str]:
    # Of several facts on one line the weakest is drawn: a line must not look surer than it is.
    certainty = min(f.certainty for f in line.facts)
    differs = sorted({name for f in line.facts for name in _exceptions(data, f)})
    made = {"style": next(style for least, style, _ in STYLES if certainty >= least)}
    shown = _some(differs)
    if len(line.facts) > 1:
        shown = [f"{len(line.facts)} facts", *shown]
    if shown:
        # The blank line keeps a slanting line off the words.
        made["label"] = _label([*shown, " "])
    tip = f"rebadge, certainty {certainty:.4g}" + (f", except {', '.join(differs)}" if differs else "")
    return {**made, "tooltip": tip_text(tip), "labeltooltip": tip_text(tip)}


def _exceptions(data: Collection, fact: Fact) -> list[str]:
    """The names of what two sets differ in: as the position is declared, else as written."""
    if not isinstance(fact.record, records.Rebadge):
        return list(fact.args[2])
    written = {data.key("position", n.key): n.text for n in fact.record.exceptions}
    return [data.text("position", k) if data.declared("position", k) else written[k] for k in sorted(written)]


def _add_legend(dot: graphviz.Digraph, root: bool) -> None:
    notes = ["line: a stated rebadge; its words: what differs", "shape and colour: one for each badge"]
    if root:
        notes.append("double outline: where the design comes from")
    with dot.subgraph(name="cluster_legend") as legend:
        legend.attr(label=_label(notes), fontsize="10", labelloc="b", color="#808080", tooltip="legend")
        legend.attr("node", shape="box", penwidth="1.5", fontsize="10", height="0.25", tooltip="legend")
        for number, (_, style, says) in enumerate(STYLES, 1):
            legend.node(f"k{number}", label=f"certainty {says}", style=style)


# --- Drawing -------------------------------------------------------------------------------------


def render(dot_source: str, target: Path) -> bytes:
    """The bytes of the picture in the format of the target's suffix; nothing is written.

    Raises WrongUse for a suffix not in FORMATS, CannotRun where `dot` is missing or fails.
    """
    kind = target.suffix.lower().removeprefix(".")
    if kind not in FORMATS:
        what = f"a picture cannot be written as {_visible(target.suffix) or 'a file without suffix'}"
        raise WrongUse(Problem(None, "unknown-format", what, f"write one of .{', .'.join(FORMATS)}"))
    if kind == "dot":
        return dot_source.encode()
    try:
        made: bytes = graphviz.pipe("dot", kind, dot_source.encode(), quiet=True)
    except graphviz.ExecutableNotFound:
        raise CannotRun(NO_DOT) from None
    except graphviz.CalledProcessError as error:
        said = (error.stderr or b"").decode(errors="replace").strip().splitlines()[:1]
        raise CannotRun(f"`dot` could not draw the picture: {_visible(''.join(said))}") from None
    return _undated(made) if kind == "pdf" else made


def _undated(pdf: bytes) -> bytes:
    """The PDF without the moment at which it was made, so that the same data are the same bytes."""
    # Digit by digit, for the places of a PDF's objects are counted in bytes.
    return re.sub(rb"/(?:CreationDate|ModDate) \(D:[^)]*", lambda m: re.sub(rb"\d", b"0", m[0]), pdf)
