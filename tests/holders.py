"""The two holders of a folder's facts: read whole, and fetched through an index."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest

from kgraph.cli.opening import opened
from kgraph.cli.progress import steps
from kgraph.cli.settings import Settings
from kgraph.source import store
from kgraph.source.facts import Facts
from kgraph.source.fetched import FetchedFacts
from tests.support import graph_of_folder

Holder = Callable[[Path], Facts]


def fetched(folder: Path) -> Facts:
    """The facts of a folder through its index, which is made or brought up to date first."""
    place = store.place_of([str(folder)])
    assert place is not None
    index = store.standing(place) or store.renewed(place, steps) or store.made(place, steps)
    assert index is not None
    return FetchedFacts(index)


def fetched_of(text: str) -> Facts:
    """The same of facts written as YAML, which are gone by then but for what the index holds of them."""
    with tempfile.TemporaryDirectory() as where:
        (Path(where) / "facts.yaml").write_text(text, encoding="utf-8")
        return fetched(Path(where))


HOLDERS: dict[str, Holder] = {"whole": graph_of_folder, "fetched": fetched}
on_both_holders = pytest.mark.parametrize("holder", HOLDERS.values(), ids=HOLDERS.keys())


def stands(*folders: Path) -> bool:
    """Whether an index stands for these folders as they are."""
    return opened(Settings(folders)) is not None
