"""Which cautions an answer carries: those of its places, and of the kinds of its parts."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from kgraph.fits.graph import sort_of

if TYPE_CHECKING:
    from kgraph.collection import Collection


def cautions_of(data: Collection, positions: Iterable[str], parts: Iterable[str]) -> tuple[str, ...]:
    """The names of the cautions of these places and of the kinds of these parts, each once."""
    names: dict[str, str] = {}
    for position in positions:
        names.update((n.key, n.text) for n in data.position_rules(position).cautions)
    for part in parts:
        names.update(part_cautions(data, part))
    keys = {k: data.key("caution", k) for k in names}
    called = (
        data.text("caution", keys[k]) if data.knows("caution", keys[k]) else t for k, t in names.items()
    )
    return tuple(dict.fromkeys(called))


def part_cautions(data: Collection, part: str) -> dict[str, str]:
    """Key -> name of the cautions of the kind that a part is of."""
    return {n.key: n.text for n in data.kind_cautions(sort_of(data, part))}
