"""How a set looks in every picture: its name and years, its badge's shape and colour."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from kgraph import records
from kgraph.names import compared, fold
from kgraph.render.pictures.sheet import COLOURS, pieces
from kgraph.source.facts import Names

# Nine shapes against seven colours: 63 badges before a shape and colour come together again.
SHAPES = ("box", "rounded", "octagon", "note", "tab", "box3d", "ellipse", "component", "folder")

_YEAR = re.compile(r"(?<!\d)(1[89]\d\d|20\d\d)(?!\d)")


def looks(badges: Iterable[str]) -> dict[str, tuple[str, str]]:
    """Folded badge -> its shape and colour, by the order of the badges."""
    names = sorted({compared(b) for b in badges})
    return {b: (SHAPES[i % len(SHAPES)], COLOURS[i % len(COLOURS)]) for i, b in enumerate(names)}


def badge_of(data: Names, key: str) -> str:
    """The badge of a set: as declared, else its name without the last word."""
    declared = data.declared("set", key)
    if isinstance(declared, records.SetModel):
        return declared.badge
    text = data.text("set", key).strip()
    return text.rpartition(" ")[0] or text


def year_of(data: Names, key: str) -> int | None:
    """The first year recorded for a set."""
    values = data.attribute("set", key, "years")
    return min((int(y) for v in values for y in _YEAR.findall(attribute_text(v))), default=None)


def attribute_text(value: records.Value) -> str:
    """An attribute's value as one text."""
    if isinstance(value, str):
        return value
    if isinstance(value, Mapping):
        return ", ".join(f"{k} {attribute_text(v)}" for k, v in value.items())
    return ", ".join(attribute_text(v) for v in value)


def set_lines(data: Names, key: str) -> tuple[str, ...]:
    """The lines of a set's box: its name, badge and model if written apart, years and market."""
    recorded = [
        " / ".join(sorted({attribute_text(v) for v in data.attribute("set", key, attribute)}))
        for attribute in ("years", "market")
    ]
    below = ", ".join(r for r in recorded if r)
    return (*pieces(data.text("set", key)), *_other_name(data, key), *pieces(below, 40))


def _other_name(data: Names, key: str) -> list[str]:
    """Badge and model where they were written apart and say something else than the name."""
    declared = data.declared("set", key)
    if not isinstance(declared, records.SetModel) or not {"badge", "model"} & {k for k, _ in declared.pairs}:
        return []
    apart = f"{declared.badge} {declared.model}"
    return [] if fold(apart) == key or fold(declared.model) == key else pieces(apart)
