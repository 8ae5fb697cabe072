"""Parts of equal size through an index: only those near a part in one of its sizes are looked at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from kgraph import quantities, records
from kgraph.fits.neighbours import window
from kgraph.fits.sizes import Size, Sizes
from kgraph.ratings import Rating
from kgraph.source.fetched import FetchedNames
from kgraph.source.lines import LENGTH, REF, in_order, size_key

_MARGIN = 1e-12
"""A length goes through two units on its way to a key: no rounding may lose a part."""


def _first(size: quantities.Section | Rating | float) -> float:
    """The number by which a size lies in order."""
    if isinstance(size, quantities.Section):
        return size.sizes_mm[0]
    return size.value if isinstance(size, Rating) else size


class FromIndex(Sizes):
    """Sizes as the entries of an index say them."""

    data: FetchedNames

    def near(self, kind: str, part: str, forward: bool) -> Sequence[str]:
        """The other parts of a kind that may be equal to a part, in order."""
        how = self.rules(kind)
        rules = how[0] if how else {}
        least: list[str] | None = None
        for key, size in self.recorded(kind, part).items():
            found = self._lines(kind, key, size, rules, forward)
            least = found if least is None or len(found) < len(least) else least
        entries = [self.data.index.entry(ref) for ref in {line[-REF:] for line in least or ()}]
        names = {e.name.key for e in entries if isinstance(e, records.Part)} - {part}
        return sorted(n for n in names if self.data.kind_of(n) == kind)

    def _lines(self, kind: str, key: str, size: Size, rules: Mapping[str, str], forward: bool) -> list[str]:
        """The lines of the entries that record a size which may do for this one, or which this may do for."""
        rule, index = quantities.compare_rule(rules.get(key, "same")), self.data.index
        if isinstance(size, str):
            return [*index.starting(f"{size_key(key, size)}\t")] if rule.how == "same" else []
        first = _first(size)
        low, high = window(first, rule, forward)
        if key in quantities.BELT_MEASURES and kind == self.data.belt_kind():
            key, factor = LENGTH, quantities.BELT_MEASURES[key]
            low, high = low * factor, high * factor
        beginning = size_key(key, size).rpartition(in_order(first))[0]
        ends = [in_order(low * (1 - _MARGIN)), in_order(high * (1 + _MARGIN))]
        return [*index.between(beginning + ends[0], beginning + ends[1] + "\x7f")]
