"""Parts of equal size: which sizes are compared, how, and the fact that two parts agree.

Parts of a generic kind (belts, screws, O-rings) are one article where their recorded sizes agree.
"""

from __future__ import annotations

import hashlib
from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from functools import lru_cache

from kgraph import belt_sizes, quantities, ratings, records, size_rules, words
from kgraph.claims import SizeClaim
from kgraph.collection import Collection
from kgraph.facts import Fact
from kgraph.fits.neighbours import Neighbours, Size
from kgraph.names import compared

ASKED_ALONE = 4
"""Of so many parts of a kind each is compared with all others: to lay out the kind takes as long as that."""


class Sizes(ABC):
    """The recorded sizes of generic parts, and which of them agree."""

    def __init__(self) -> None:
        self._asked: dict[str, int] = {}
        self._neighbours: dict[str, Neighbours] = {}

    @abstractmethod
    def kind_of(self, part: str) -> str:
        """The key of a part's kind, or ""."""

    @abstractmethod
    def rules(self, kind: str) -> tuple[Mapping[str, str], float] | None:
        """How parts of a kind compare, and how certain equal size is; None where it is not enough."""

    @abstractmethod
    def of_kind(self, kind: str) -> Mapping[str, Mapping[str, Size]]:
        """For each part of a kind, by name, its recorded sizes."""

    def equal(self, part: str, forward: bool) -> list[tuple[str, Fact]]:
        """The parts whose size a part agrees with (`forward`), or that agree with it."""
        kind = self.kind_of(part)
        how = self.rules(kind)
        if how is None:
            return []
        rules, certainty = how
        recorded = self.of_kind(kind)
        found = []
        for other in self._near(kind, part, forward):
            offered, wanted = (part, other) if forward else (other, part)
            if agree(recorded[offered], recorded[wanted], rules):
                found.append((other, size_fact(offered, wanted, certainty)))
        return found

    def _near(self, kind: str, part: str, forward: bool) -> list[str]:
        """The other parts of a kind that may be equal to a part: of the first few that are asked for, all."""
        recorded = self.of_kind(kind)
        self._asked[kind] = self._asked.get(kind, 0) + 1
        if self._asked[kind] <= ASKED_ALONE:
            return [other for other in recorded if other != part]
        if kind not in self._neighbours:
            how = self.rules(kind)
            self._neighbours[kind] = Neighbours(recorded, how[0] if how else {})
        return self._neighbours[kind].of(part, forward)


class FromCollection(Sizes):
    """Sizes as a collection has them, each read once."""

    def __init__(self, data: Collection, parts: Mapping[str, Sequence[str]]) -> None:
        super().__init__()
        self.data, self.parts = data, parts
        self.known: dict[str, dict[str, dict[str, Size]]] = {}

    def kind_of(self, part: str) -> str:
        """The key of a part's kind, or ""."""
        return self.data.kind_of(part)

    def rules(self, kind: str) -> tuple[Mapping[str, str], float] | None:
        """How parts of a kind compare, and how certain equal size is."""
        rules = compare_rules(self.data, kind)
        return None if rules is None else (rules, size_certainty(self.data, kind))

    def of_kind(self, kind: str) -> Mapping[str, Mapping[str, Size]]:
        """For each part of a kind, by name, its recorded sizes."""
        if kind not in self.known:
            rules = compare_rules(self.data, kind) or {}
            parts = self.parts.get(kind, ())
            self.known[kind] = {part: recorded_sizes(self.data, part, rules) for part in parts}
        return self.known[kind]


def recorded_sizes(data: Collection, part: str, rules: Mapping[str, str]) -> dict[str, Size]:
    """The recorded sizes of a part, by name, that count in a comparison by these rules."""
    keys = rules or sorted(_attribute_keys(data, part))
    sizes = {key: recorded_size(data, part, key) for key in keys}
    return {key: size for key, size in sizes.items() if size is not None}


def agree(offered: Mapping[str, Size], wanted: Mapping[str, Size], rules: Mapping[str, str]) -> bool:
    """Whether all recorded sizes of two parts agree; one recorded on a single side is no agreement."""
    compared = False
    for key in rules or sorted({*offered, *wanted}):
        verdict = values_agree(offered.get(key), wanted.get(key), rules.get(key, "same"))
        if verdict is False:
            return False
        compared = compared or verdict is True
    return compared


def compare_rules(data: Collection, kind: str) -> dict[str, str] | None:
    """The sizes by which generic parts of a kind compare; None where equal size is not enough.

    An empty mapping means that every recorded size must be the same.
    """
    return rules_said(data, kind) if kind and data.kind_rules(kind).generic else None


def rules_said(data: Collection, kind: str) -> dict[str, str]:
    """What is said of comparing parts of a kind, whether or not it is generic."""
    return dict(data.kind_rules(kind).compare)


NO_SIZES = records.SAID_BESIDE | {"note", "caution"}
"""Attributes of parts that are no sizes, where every recorded size must be the same."""


def _attribute_keys(data: Collection, part: str) -> set[str]:
    return {k for t in data.things["part"].get(part, ()) for k, _ in t.attributes if k not in NO_SIZES}


def size_agrees(data: Collection, offered: str, wanted: str, key: str, rule: str) -> bool | None:
    """Whether one size agrees; None where neither part records it."""
    return values_agree(recorded_size(data, offered, key), recorded_size(data, wanted, key), rule)


def values_agree(one: Size | None, other: Size | None, rule: str) -> bool | None:
    """Whether the size offered does for the one wanted; None where neither is recorded."""
    if one is None or other is None:
        return None if one is other else False
    if isinstance(one, belt_sizes.Section) and isinstance(other, belt_sizes.Section):
        parsed = size_rules.compare_rule(rule)
        return one.form == other.form and all(
            size_rules.within(b, a, parsed) for a, b in zip(one.sizes_mm, other.sizes_mm, strict=True)
        )
    if isinstance(one, float) and isinstance(other, float):
        return size_rules.within(other, one, size_rules.compare_rule(rule))
    if isinstance(one, ratings.Rating) and isinstance(other, ratings.Rating):
        parsed = size_rules.compare_rule(rule)
        alike = one.unit == other.unit and parsed.how in ("same", "at least", "relative")
        return alike and size_rules.within(other.value, one.value, parsed)
    return isinstance(one, str) and isinstance(other, str) and rule == "same" and one == other


def recorded_size(data: Collection, part: str, key: str) -> Size | None:
    """A part's size as a section, as mm, as a rating, or else as folded text; None if not recorded.

    The length of a belt is one size, by whichever of its three names it is asked for and was written.
    """
    things = [t for t in data.things["part"].get(part, ()) if isinstance(t, records.Part)]
    if key in belt_sizes.BELT_MEASURES and data.kind_of(part) in ("", data.belt_kind()):
        lengths = (mm for t in things if (mm := data.inside_length_mm(t)) is not None)
        return next((mm / belt_sizes.BELT_MEASURES[key] for mm in lengths), None)
    wanted = compared(key)
    for thing in things:
        if key == "section" and thing.section is not None:
            return thing.section
        for attribute, value in thing.attributes:
            if compared(attribute) == wanted:
                return size_of(value)
    return None


def size_of(value: records.Value) -> Size:
    """A recorded value as mm, as a rating, or else as folded text."""
    return _size_of_text(value) if isinstance(value, str) else str(value)


@lru_cache(maxsize=65536)
def _size_of_text(text: str) -> Size:
    try:
        return quantities.length(text).mm
    except quantities.QuantityError:
        return ratings.rating(text) or compared(text)


def size_certainty(data: Collection, kind: str) -> float:
    """How certain equal size is to mean the same article: 0.90 unless the kind says otherwise."""
    certainty = data.kind_rules(kind).certainty
    return words.SIZE_CERTAINTY if certainty is None else certainty


def size_fact(offered: str, wanted: str, certainty: float) -> Fact:
    """Equal size as a fact of its own."""
    digest = hashlib.sha256(f"size\0{offered}\0{wanted}".encode()).hexdigest()[:16]
    return Fact(digest, "size", SizeClaim(offered, wanted), certainty)
