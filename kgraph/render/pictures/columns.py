"""The columns of a picture by year: one for each year, or for a few years together where they are many."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping

MOST_COLUMNS = 6
"""More columns than these and the words are too small on a page's width: years are then taken together."""
SPANS = (1, 2, 3, 5, 10, 20, 50, 200)
UNDATED = "year not recorded"

Columns = tuple[tuple[str, tuple[str, ...]], ...]
"""(heading, keys of the boxes below it), from left to right."""


def columns_of(years: Mapping[str, int | None]) -> Columns:
    """The columns of boxes whose years are given; none where no year is known.

    Each heading stands once: of the shortest span of years that leaves few enough columns. Boxes without a
    year stand in a column of their own, the last.
    """
    dated = {key: year for key, year in years.items() if year is not None}
    if not dated:
        return ()
    undated = tuple(sorted(key for key in years if key not in dated))
    most = MOST_COLUMNS - bool(undated)
    first = min(dated.values())
    span = next(s for s in SPANS if len({(year - first) // s for year in dated.values()}) <= most)
    found: dict[int, list[str]] = defaultdict(list)
    for key in sorted(dated):
        found[(dated[key] - first) // span].append(key)
    made = [(_heading(first + n * span, span), tuple(found[n])) for n in sorted(found)]
    return (*made, (UNDATED, undated)) if undated else tuple(made)


def _heading(start: int, span: int) -> str:
    return str(start) if span == 1 else f"{start}-{start + span - 1}"
