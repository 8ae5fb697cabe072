"""The sizes of one kind of parts as an index has them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from kgraph import belt_sizes
from kgraph.fits.neighbours import Size
from kgraph.fits.sizes import Sizes
from kgraph.ratings import Rating


class FromRow(Sizes):
    """Sizes from the row of a kind."""

    def __init__(self, kind: str, row: Mapping[str, Any]) -> None:
        super().__init__()
        self.kind = kind
        rules, certainty = row["r"]
        self.how = (rules, certainty)
        self.sizes = {part: {k: _size(v) for k, v in of.items()} for part, of in row["s"].items()}

    def kind_of(self, part: str) -> str:
        """The one kind that the row is of."""
        return self.kind

    def rules(self, kind: str) -> tuple[Mapping[str, str], float] | None:
        """How parts of the kind compare, and how certain equal size is."""
        return self.how

    def of_kind(self, kind: str) -> Mapping[str, Mapping[str, Size]]:
        """For each part, by name, its recorded sizes."""
        return self.sizes


def _size(value: Any) -> Size:
    if isinstance(value, list):
        form, sizes = value
        return belt_sizes.Section(form, tuple(sizes)) if isinstance(sizes, list) else Rating(form, sizes)
    found: Size = value
    return found
