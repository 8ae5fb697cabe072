"""What questions may ask of the facts, whoever holds them: a collection in memory, or the rows of an index.

A holder that does not know something raises :class:`kgraph.problems.NotInIndex`; then the folder itself is
read. :class:`kgraph.collection.Collection` always knows.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from kgraph.facts import Fact, PlaceRules
from kgraph.names import Name
from kgraph.records import Value


class Facts(Protocol):
    """Names and what is recorded of things. All keys are folded names; owners are keys with their kind."""

    def key(self, kind: str, key: str) -> str:
        """The key of the thing that a folded name stands for, through `also` names."""

    def knows(self, kind: str, key: str) -> bool:
        """Whether a thing of a kind is declared or used, or the ground knows it."""

    def leaves_out(self, key: str) -> bool:
        """Whether some `except` names it, and nothing else does."""

    def meanings(self, kind: str, key: str) -> set[str]:
        """The keys that an ambiguous `also` may stand for."""

    def text(self, kind: str, key: str) -> str:
        """The name of a thing as it is shown."""

    def owner_text(self, owner: str) -> str:
        """The name of a set or assembly from its owner key."""

    def known(self, kind: str) -> Mapping[str, str]:
        """Key -> name of all things of a kind."""

    def attribute(self, kind: str, key: str, attribute: str) -> list[Value]:
        """All values recorded for an attribute of a thing."""

    def position_rules(self, key: str) -> PlaceRules:
        """What must match at a position, and its cautions."""

    def kind_of(self, part: str) -> str:
        """The key of the kind that a part is of, or ""."""

    def belt_kind(self) -> str:
        """The key of the kind that belts are of."""

    def kind_cautions(self, kind: str) -> tuple[Name, ...]:
        """The cautions of a kind of part."""

    def caution_text(self, key: str) -> str | None:
        """What the folder says of a caution, else the ground; None where neither does."""

    def assembly_kind(self, key: str) -> str | None:
        """What kind of assembly it is, as written."""

    def parts_numbered(self, number: str) -> set[str]:
        """The parts with a maker's number."""


class EqualSizes(Protocol):
    """Which parts are of equal size."""

    def equal(self, part: str, forward: bool) -> list[tuple[str, Fact]]:
        """The parts whose size a part agrees with (`forward`), or that agree with it."""
