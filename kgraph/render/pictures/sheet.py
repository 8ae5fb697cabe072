r"""The sheet that every picture is drawn on: boxes and lines as DOT text.

The text is put together by the `graphviz` package alone. No text of the data is ever an id: ids
are our own (n1, n2, ...), and every text passes :func:`label_text` or :func:`tip_text`. Nothing that
opens or links to something (`URL`, `href`, `image`, `shapefile`) is taken from data: a link is one of
our own pages, given by the caller and held to that by :func:`own_link`.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import graphviz

from kgraph.render.terminal import visible

MOST_BOXES = 60
"""Past so many boxes a picture is folded: nobody reads more, and `dot` draws them wider than a page."""

# Okabe & Ito, "Color Universal Design" (2008): a set of colours that the colour-blind tell apart.
# Its yellow is left out, because a yellow outline on white paper is too faint to see.
BLUE, VERMILION, GREEN, PURPLE, SKY, ORANGE, BLACK = COLOURS = (
    *("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00"),
    "#000000",
)

GREY = "#E4E4E4"

STYLES = ((0.9, "solid", "0.9 or more"), (0.7, "dashed", "0.7 to 0.9"), (0.0, "dotted", "less than 0.7"))
"""Lowest certainty -> style of line, and what the legend says of it."""

_SAMPLES = {"solid": "———", "dashed": "–\u00a0–\u00a0–", "dotted": "·\u00a0·\u00a0·\u00a0·"}

SCALE = "certainty: a scale of our own, from the grade of each fact; a folder can override it"

FONT = "Arial"
"""Narrow, and known to every program that measures text; where it is missing another stands in."""

NAME_WIDTH = 80
LABEL_WIDTH = 20
LEGEND_WIDTH = 100
TIP_LENGTH = 1000
"""`dot` refuses a text of more than 16384 bytes, and an escape can make one character ten."""

_LINK = re.compile(r"(?!/)[A-Za-z0-9._/-]+(#[A-Za-z0-9._-]+)?")


@dataclass(frozen=True, slots=True)
class Box:
    """One node. `kind` is told in the SVG as its class; `link` is one of our own pages or ""."""

    key: str
    lines: tuple[str, ...]
    tip: str = ""
    kind: str = "set"
    shape: str = "box"
    colour: str = BLACK
    double: bool = False
    asked: bool = False
    left: bool = False
    link: str = ""


@dataclass(frozen=True, slots=True)
class Edge:
    """One edge, drawn from left to right (or downwards); `certainty` None is a plain solid line."""

    ends: tuple[str, str]
    lines: tuple[str, ...] = ()
    tip: str = ""
    certainty: float | None = None
    arrow: str = "none"
    disputed: bool = False


@dataclass(frozen=True, slots=True)
class Drawing:
    """A whole picture: what is drawn, and what is said about it in words.

    `name` is our own; `notes` stand below the title, `legend` at the foot and `foot` above it; `says` is
    the text for who cannot see the picture. `columns` are (heading, keys of the boxes in it), in their order.
    """

    name: str
    title: str
    boxes: tuple[Box, ...]
    lines: tuple[Edge, ...]
    legend: tuple[str, ...]
    notes: tuple[str, ...] = ()
    says: str = ""
    columns: tuple[tuple[str, tuple[str, ...]], ...] = ()
    down: bool = False
    foot: tuple[str, ...] = ()
    words_on_lines: bool = False
    """Whether the words of a line stand on it, as a place that it goes through, and not beside it."""


# --- Texts ---------------------------------------------------------------------------------------


def label_text(text: str) -> str:
    r"""A text as one line of a DOT label that is drawn letter for letter, as `terminal.visible` shows it.

    `&` becomes `&amp;`, since Graphviz reads entities in labels; the rest is `graphviz.escape`: every
    backslash doubled, `<...>` no markup.

    >>> str(label_text("A & B\\"))
    'A &amp; B\\\\'
    """
    plain: str = graphviz.escape(visible(text).replace("&", "&amp;"))
    return plain


def tip_text(text: str) -> str:
    """A text as one tooltip, cut to TIP_LENGTH characters.

    `dot` 2.43 expands escapes in tooltips twice, so backslashes are doubled twice.
    """
    shown = visible(text)
    short = shown if len(shown) <= TIP_LENGTH else shown[: TIP_LENGTH - 1] + "…"
    plain: str = graphviz.escape(label_text(short))
    return plain


def own_link(url: str) -> str:
    """The same URL if it is a relative one to a page of our own; raises ValueError for any other."""
    if not _LINK.fullmatch(url):
        raise ValueError(f"{url!r} is no relative link of letters, digits, and ._/-")
    return url


def label(lines: Iterable[str], left: bool = False) -> str:
    """A label of several lines, each centred, or each at the left."""
    texts = [label_text(line) for line in lines]
    joined: str = graphviz.nohtml("".join(f"{t}\\l" for t in texts) if left else "\\n".join(texts))
    return joined


def pieces(text: str, width: int = NAME_WIDTH) -> list[str]:
    """A text cut into pieces of at most `width` characters, no letter lost."""
    return [text[i : i + width] for i in range(0, len(text), width)]


def wrapped(text: str, width: int = LABEL_WIDTH) -> list[str]:
    """A text in lines of about `width` characters, broken at blanks."""
    return textwrap.wrap(visible(text), width, break_on_hyphens=False)


def listed(names: Sequence[str], most: int) -> str:
    """The names with commas, past `most` of them "+ n more"; long ones are cut."""
    shown = [short(n) for n in names[:most]]
    more = len(names) - len(shown)
    return ", ".join(shown) + (f" + {more} more" if more else "")


def short(text: str, width: int = 40) -> str:
    """The text as it is shown, cut to `width` characters."""
    shown = visible(text)
    return shown if len(shown) <= width else shown[: width - 1] + "…"


def count(number: int, what: str) -> str:
    """1 set, 2 sets."""
    return f"{number:,} {what}" if number == 1 else f"{number:,} {what}s"


def styles_in_words() -> str:
    """The legend's line about the styles of lines."""
    return ", ".join(f"{_SAMPLES[style]} {says}" for _, style, says in STYLES)


# --- The DOT text --------------------------------------------------------------------------------


def source(sheet: Drawing) -> str:
    """The DOT text of a sheet; the same sheet gives the same text."""
    dot = graphviz.Digraph(sheet.name, graph_attr=_graph_attributes(sheet))
    dot.attr("node", fontname=FONT, fontsize="12", penwidth="2", margin="0.12,0.06", height="0.3")
    dot.attr("edge", fontname=FONT, fontsize="10", penwidth="1.5")
    ids = {box.key: f"n{number}" for number, box in enumerate(sheet.boxes, 1)}
    with dot.subgraph(name="cluster_sheet") as inner:
        inner.attr(**_title_attributes(sheet))
        for number, (head, _) in enumerate(sheet.columns, 1):
            inner.node(f"y{number}", label=label([head]), shape="plaintext", **{"class": "head"})
        for box in sheet.boxes:
            inner.node(ids[box.key], **_box_attributes(box))
        _add_columns(inner, sheet, ids)
        column = {key: head for head, keys in sheet.columns for key in keys}
        for number, line in enumerate(sheet.lines, 1):
            ends = [ids[end] for end in line.ends]
            beside = line.ends[0] in column and len({column[end] for end in line.ends}) == 1
            if sheet.words_on_lines and (line.lines or beside):
                _through_words(inner, f"w{number}", line, ends, beside)
            else:
                inner.edge(*ends, **_line_attributes(line))
    text: str = dot.source
    return text


def _graph_attributes(sheet: Drawing) -> dict[str, str]:
    return {
        "rankdir": "TB" if sheet.down else "LR",
        "label": label(_foot(sheet), left=True),
        "labelloc": "b",
        "labeljust": "l",
        "tooltip": tip_text(" ".join([*(f"{note.rstrip('.')}." for note in sheet.notes), sheet.says])),
        "fontname": FONT,
        "fontsize": "10",
        "nodesep": "0.2",
        "ranksep": "0.35",
    }


def _foot(sheet: Drawing) -> Iterable[str]:
    """The lines at the foot: what is to be read there, then the legend."""
    for text in sheet.foot:
        yield from wrapped(text, LEGEND_WIDTH)
    if sheet.foot:
        yield " "
    yield "Legend"
    for text in sheet.legend:
        yield from wrapped(text, LEGEND_WIDTH)


def _title_attributes(sheet: Drawing) -> dict[str, str]:
    notes = [line for note in sheet.notes for line in wrapped(note, NAME_WIDTH)]
    return {
        "label": label([*pieces(sheet.title), *notes]),
        "labelloc": "t",
        "labeljust": "c",
        "tooltip": tip_text(sheet.title),
        "fontsize": "14",
        "peripheries": "0",
    }


def _box_attributes(box: Box) -> dict[str, str]:
    made = {
        "label": label(box.lines, box.left),
        "tooltip": tip_text(box.tip or " ".join(box.lines)),
        "class": box.kind,
        "color": box.colour,
    }
    made["shape"] = "box" if box.shape == "rounded" else box.shape
    if box.shape == "octagon":
        # It is drawn about the corners of its words: with the margin of a box it is twice as wide as others.
        made["margin"] = "0,0"
    styles = [*(["rounded"] if box.shape == "rounded" else []), *(["filled"] if box.asked else [])]
    made |= {"style": ",".join(styles)} if styles else {}
    made |= {"fillcolor": GREY} if box.asked else {}
    made |= {"peripheries": "2"} if box.double else {}
    return made | ({"URL": own_link(box.link), "target": "_top"} if box.link else {})


def _add_columns(dot: graphviz.Digraph, sheet: Drawing, ids: Mapping[str, str]) -> None:
    for number, (_, keys) in enumerate(sheet.columns, 1):
        with dot.subgraph(graph_attr={"rank": "same"}) as rank:
            rank.node(f"y{number}")
            for key in keys:
                rank.node(ids[key])
        for key in keys:
            # What has a line into another box of its column stands below it: so the heading stays on top.
            dot.edge(ids[key], f"y{number}", style="invis")
    for one, other in pairwise(range(1, len(sheet.columns) + 1)):
        # A rank between two columns is for the words of lines.
        dot.edge(
            f"y{one}", f"y{other}", style="invis", minlen="2" if sheet.words_on_lines else "1", weight="100"
        )


def _through_words(dot: graphviz.Digraph, name: str, line: Edge, ends: Sequence[str], beside: bool) -> None:
    """A line in two halves that meet at its words.

    Two boxes of one column, `beside` each other, are joined to the right of it: nothing runs inside a column.
    """
    made = _line_attributes(line)
    made.pop("label", None)
    if line.lines:
        look = {
            "label": label(line.lines),
            "shape": "plaintext",
            "margin": "0.03,0.01",
            "height": "0.1",
            "width": "0.1",
        }
    else:
        look = {"label": "", "shape": "point", "width": "0.01", "height": "0.01"}
    dot.node(name, fontsize="10", tooltip=made["tooltip"], **{"class": "words"}, **look)
    dot.edge(ends[0], name, **made)
    dot.edge(*((ends[1], name) if beside else (name, ends[1])), **made)


def style_of(certainty: float) -> str:
    """The style of a line of this certainty."""
    return next(style for least, style, _ in STYLES if certainty >= least)


def _line_attributes(line: Edge) -> dict[str, str]:
    made = {"dir": "none"} if line.arrow == "none" else {"arrowhead": line.arrow, "arrowsize": "0.8"}
    if line.certainty is not None:
        made["style"] = style_of(line.certainty)
    if line.disputed:
        # Two strokes side by side: told apart without colour, and in a copy in grey.
        made |= {"color": f"{VERMILION}:white:{VERMILION}"}
    if line.lines:
        # The blank line keeps a slanting line off the words.
        made["label"] = label([*line.lines, " "])
    tip = tip_text(line.tip or " ".join(line.lines) or " ")
    return {**made, "tooltip": tip, "labeltooltip": tip}
