"""What is known at one key of every set and assembly, by their numbers: quick to keep and to go through."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any, NamedTuple


class Owners(NamedTuple):
    """All sets and then all assemblies, each in the order of their keys, and what tells them apart."""

    names: list[str]
    number: dict[str, int]
    family: dict[str, str]
    """Set -> the first of its family by key: all that rebadges join."""


class KnownTrait(NamedTuple):
    """What one set has at a key: the values, and how certain."""

    values: frozenset[str]
    certainty: float


class Known(Mapping[str, KnownTrait]):
    """Owner -> what is known of it.

    `alike` has all that is known of any, `column` for each owner by number where in it, or -1 for nothing.
    """

    def __init__(self, owners: Owners, alike: list[KnownTrait], column: list[int]) -> None:
        self.owners, self.alike, self.column = owners, alike, column

    def __getitem__(self, owner: str) -> KnownTrait:
        at = self.column[self.owners.number[owner]]
        if at < 0:
            raise KeyError(owner)
        return self.alike[at]

    def __contains__(self, owner: object) -> bool:
        number = self.owners.number.get(owner) if isinstance(owner, str) else None
        return number is not None and self.column[number] >= 0

    def __iter__(self) -> Iterator[str]:
        return (name for name, at in zip(self.owners.names, self.column, strict=True) if at >= 0)

    def __len__(self) -> int:
        return len(self.column) - self.column.count(-1)

    def by_owner(self) -> dict[str, KnownTrait]:
        """The same as a mapping that may be changed."""
        return {
            name: self.alike[at] for name, at in zip(self.owners.names, self.column, strict=True) if at >= 0
        }

    def without(self, owners: Iterable[str]) -> Known:
        """The same where nothing is known of these."""
        column = list(self.column)
        for owner in owners:
            column[self.owners.number[owner]] = -1
        return Known(self.owners, self.alike, column)

    def of_sets(self) -> Counter[frozenset[str]]:
        """How many sets have each list of values."""
        return self._lists(self.column[: len(self.owners.family)])

    def of_all(self) -> Counter[frozenset[str]]:
        """How many sets and assemblies have each list of values."""
        return self._lists(self.column)

    def _lists(self, column: list[int]) -> Counter[frozenset[str]]:
        found = Counter[frozenset[str]]()
        for at, n in Counter(column).items():
            if at >= 0:
                found[self.alike[at].values] += n
        return found

    def with_values(self, change: Callable[[frozenset[str]], frozenset[str]]) -> Known:
        """The same with other values; nothing is known any more of those that have none left."""
        places: list[int] = []
        alike: dict[KnownTrait, int] = {}
        for known in self.alike:
            new = known._replace(values=change(known.values))
            places.append(alike.setdefault(new, len(alike)) if new.values else -1)
        places.append(-1)
        return Known(self.owners, list(alike), [places[at] for at in self.column])

    def form(self) -> Any:
        """The same as JSON holds it."""
        return [[[sorted(k.values), k.certainty] for k in self.alike], self.column]


def from_form(owners: Owners, form: Any) -> Known:
    """What is known, from how JSON holds it."""
    alike, column = form
    return Known(owners, [KnownTrait(frozenset(values), certain) for values, certain in alike], column)


def from_mapping(owners: Owners, known: Mapping[str, KnownTrait]) -> Known:
    """What is known of these owners, and nothing of all others."""
    alike: dict[KnownTrait, int] = {}
    column = [-1] * len(owners.names)
    for owner, has in known.items():
        column[owners.number[owner]] = alike.setdefault(has, len(alike))
    return Known(owners, list(alike), column)
