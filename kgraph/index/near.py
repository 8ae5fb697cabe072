"""Parts of equal size by the measures in an index, so that not every part of a kind is looked at."""

from __future__ import annotations

from collections.abc import Mapping

from kgraph import size_rules
from kgraph.facts import Fact
from kgraph.fits.neighbours import Size, window
from kgraph.fits.sizes import FromCollection, agree, recorded_sizes, size_fact
from kgraph.index.fetched import FetchedCollection
from kgraph.index.naming import bin_of, measure_of


class StoredSizes:
    """Which parts are of equal size, by the index."""

    def __init__(self, data: FetchedCollection, rules: FromCollection) -> None:
        self.data, self._rules = data, rules
        self._sizes: dict[str, dict[str, Size]] = {}
        self._near: dict[tuple[str, str, int, int], dict[str, int]] = {}

    def equal(self, part: str, forward: bool) -> list[tuple[str, Fact]]:
        """The parts whose size a part agrees with (`forward`), or that agree with it."""
        kind = self.data.kind_of(part)
        how = self._rules.rules(kind)
        if how is None or not self._recorded(part, how[0]):
            return []
        rules, certainty = how
        found = []
        for other in self._candidates(part, kind, rules, forward):
            offered, wanted = (part, other) if forward else (other, part)
            if other != part and agree(self._recorded(offered, rules), self._recorded(wanted, rules), rules):
                found.append((other, size_fact(offered, wanted, certainty)))
        return found

    def _recorded(self, part: str, rules: Mapping[str, str]) -> dict[str, Size]:
        if part not in self._sizes:
            self._sizes[part] = recorded_sizes(self.data, part, rules)
        return self._sizes[part]

    def _candidates(self, part: str, kind: str, rules: Mapping[str, str], forward: bool) -> list[str]:
        """The parts of a kind near this one in every measure, in order; all of them where it has none."""
        near: dict[str, int] | None = None
        is_belt = kind in ("", self.data.belt_kind())
        for key, size in self._recorded(part, rules).items():
            measure = measure_of(key, size, is_belt)
            if measure is None:
                continue
            name, value, scale = measure
            low, high = window(value, size_rules.compare_rule(rules.get(key, "same")), forward)
            found = self._in(kind, name, bin_of(low * scale), bin_of(high * scale))
            near = found if near is None else {p: n for p, n in near.items() if p in found}
        if near is None:
            return list(self._rules.parts.get(kind, ()))
        # All at once: one by one takes twice as long.
        self.data.stored.entries(sorted(near.values()))
        return sorted(p for p in near if self.data.kind_of(p) == kind)

    def _in(self, kind: str, measure: str, low: int, high: int) -> dict[str, int]:
        """The parts of which an entry names a kind, or none, and has the measure in these bins; and it."""
        asked = kind, measure, low, high
        if asked not in self._near:
            names = [*self.data.names_of("kind", kind), ""]
            found = (self.data.stored.in_bins(name, measure, low, high) for name in names)
            self._near[asked] = {part: number for of_name in found for part, number in of_name.items()}
        return self._near[asked]
