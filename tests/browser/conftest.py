"""A real browser for the pages of a book: Chromium as Debian ships it, without a window or a network."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from kgraph.cli.main import run
from tests.fuzz import opened
from tests.support import DEMO


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    """A browser for one file of tests: while it runs, no other can be started in the same process."""
    if opened.MISSING:
        pytest.skip(opened.MISSING)
    with opened.chromium() as started:
        yield started


@pytest.fixture(scope="session")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo as a book."""
    folder: Path = tmp_path_factory.mktemp("book") / "pages"
    assert run(["--data", str(DEMO), "book", str(folder)]) == 0
    return folder


@dataclass
class Watched:
    """What a page asked for and what it complained of."""

    asked: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)


def watch(page: object) -> Watched:
    """Everything that a page requests, logs or throws from now on."""
    seen = Watched()
    page.on("request", lambda request: seen.asked.append(request.url))  # type: ignore[attr-defined]
    page.on("console", lambda message: seen.said.append(message.text))  # type: ignore[attr-defined]
    page.on("pageerror", lambda error: seen.said.append(str(error)))  # type: ignore[attr-defined]
    page.on("dialog", lambda dialog: (seen.said.append(dialog.message), dialog.dismiss()))  # type: ignore[attr-defined]
    return seen
