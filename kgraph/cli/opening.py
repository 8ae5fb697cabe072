"""A folder for one question: through its index, which is made or brought up to date first, else read whole.

An index never changes an answer. Whatever is wrong with it, it is made anew, or the files are read.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

from kgraph.cli.progress import steps
from kgraph.cli.settings import Loaded, Settings
from kgraph.problems import Damaged
from kgraph.source import store

if TYPE_CHECKING:
    from kgraph.source.index import Index

T = TypeVar("T")


def with_folder(settings: Settings, body: Callable[[Loaded], T]) -> T:
    """Run what asks a folder; where the index is torn in the middle, once more.

    `body` prints nothing before it has all of its answer.
    """
    place = _place(settings)
    for open_index in (_as_it_is, store.made) if place else ():
        try:
            if place and (index := open_index(place, steps)):
                return body(_loaded(settings, index))
        except Damaged:
            continue
    from kgraph.cli.loading import load

    return body(load(settings))


def _place(settings: Settings) -> store.Folders | None:
    """None where something is supposed, which no index knows, and where there is nothing to make one of."""
    place = None if settings.suppose or settings.without else store.place_of(settings.shown)
    return place if place and all(place.stamps) else None


def _as_it_is(place: store.Folders, told: store.Steps) -> Index | None:
    return store.standing(place) or store.renewed(place, told) or store.made(place, told)


def _loaded(settings: Settings, index: Index) -> Loaded:
    """The folder as an index has it; what cannot be read is left out, and told in one line.

    Raises CannotRun for a file that cannot be read at all, and, where it is to be strict, for any fault.
    """
    from kgraph.source.fetched import FetchedFacts

    faults, left_out, unread = index.faults()
    loaded = Loaded(FetchedFacts(index), tuple(faults), left_out)
    if faults:
        from kgraph.cli.loading import refuse, tell

        refuse(settings, faults, unread)
        tell(loaded)
    return loaded


def opened(settings: Settings) -> Loaded | None:
    """The folder by its index, where that stands for the files as they are."""
    place = _place(settings)
    index = store.standing(place) if place else None
    return _loaded(settings, index) if index else None


def against_files(settings: Settings) -> tuple[int, list[str]] | None:
    """How many lines of the index say what the files say, and what is wrong with it; None without one."""
    place = _place(settings)
    return store.against_files(place, steps) if place else None
