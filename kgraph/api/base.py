"""What every question of a folder stands on: the folder as it is now, and an answer made of it."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypedDict, TypeVar

from kgraph.api import leaving, opening
from kgraph.api.decoding import decoded
from kgraph.api.loaded import Loaded
from kgraph.api.replies import Reply
from kgraph.folder import files
from kgraph.problems import WrongUse
from kgraph.questions import Wanted
from kgraph.reason.budget import SECONDS

if TYPE_CHECKING:
    from kgraph import records
    from kgraph.fits.graph import Graph

R = TypeVar("R", bound=Reply)
PathGiven = str | os.PathLike[str]


class Opening:
    """Fact folders, read when they are first asked about and again when a file of theirs has changed."""

    def __init__(
        self,
        *folders: PathGiven,
        strict: bool = False,
        suppose: tuple[records.Entry, ...] = (),
        without: tuple[str, ...] = (),
    ) -> None:
        self.folders = tuple(map(Path, folders))
        """The folders; the first is the one that is written to."""
        self.strict = strict
        """Whether a folder in which an entry cannot be read is refused."""
        self._suppose, self._without = suppose, without
        self._held: Loaded | None = None
        self._stamps: object = None

    def __repr__(self) -> str:
        named = ", ".join(repr(str(folder)) for folder in self.folders)
        return f"kgraph.open({named})"

    def _opened(self) -> Loaded:
        stamps = self._stamps_now()
        if self._held is None or stamps is None or stamps != self._stamps:
            said = opening.Supposed(self._suppose, self._without)
            self._held = opening.opened(self.folders, self.strict, said)
            self._stamps = stamps
        return self._held

    def _stamps_now(self) -> object:
        """How the files stand; None where that cannot be told without reading them."""
        try:
            found = [files.stamps(str(folder)) for folder in self.folders]
        except OSError:
            return None
        return None if None in found else found

    @property
    def _graph(self) -> Graph:
        return self._opened().graph

    def _reply(
        self, cls: type[R], said: Mapping[str, Any], richer: Mapping[str, Any] | None = None, **more: Any
    ) -> R:
        """The answer of a class from what JSON says; `richer`: the same, with more in it than JSON has."""
        whole = leaving.told(said, self._opened())
        return decoded(cls, {**whole, **(richer or {})}, said=whole, **more)


class WeighingWishes(TypedDict, total=False):
    """What may be said with every question that weighs its answers."""

    at_least: float
    """Leave out what is less certain; 0 to 1."""
    seconds: float
    """The time meant for weighing."""


class SetWishes(WeighingWishes, total=False):
    """What may be said with a question about sets and parts."""

    refused: bool
    """Keep refused answers."""
    proofs: bool
    """List all minimal proofs, and not the best one alone."""
    most: int | None
    """So many rows at most."""


LONGEST_S = 3600.0


def refuse_odd(*, at_least: float = 0.0, seconds: float = 0.0, most: int | None = None) -> None:
    """Raise WrongUse for a wish that cannot be."""
    if not 0.0 <= at_least <= 1.0:
        raise WrongUse(f"at_least is {at_least}; a certainty is 0 to 1")
    if not 0.0 <= seconds <= LONGEST_S:
        raise WrongUse(f"seconds is {seconds}; ask for 0 to {LONGEST_S:g}")
    if most is not None and most < 1:
        raise WrongUse(f"most is {most}; ask for one row at least")


def wish(
    *,
    at_least: float = 0.0,
    refused: bool = False,
    seconds: float = SECONDS,
    proofs: bool = False,
    most: int | None = None,
) -> Wanted:
    """The asker's wishes as one value; raises WrongUse for one that cannot be."""
    refuse_odd(at_least=at_least, seconds=seconds, most=most)
    return Wanted(at_least, refused, seconds, proofs=proofs, most=most)
