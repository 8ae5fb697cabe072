"""What holds for every test: its indexes are its own, never those of who runs it."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def _own_cache(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """One cache folder for the whole run."""
    monkeypatch.setenv("KGRAPH_CACHE", str(Path(tmp_path_factory.getbasetemp()) / "kgraph-cache"))


SLOW = (
    "browser/",
    "outside/",
    "laws/",
    "faults/test_faults.py",
    "fuzz/test_",
    "mutants/test_mutants.py",
    "book/test_book.py",
    "cli/test_completion.py",
    "cli/test_many_hands.py",
    "exchange/test_query.py",
    "folder/test_plain.py",
    "folder/test_writing.py",
    "photographs/test_hostile_pictures.py",
    "source/test_compiling.py",
    "test_docs.py",
)
"""Folders and files of tests that together take more than the three minutes of the README's command."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark as slow what stands in `SLOW`."""
    here = Path(__file__).parent
    for item in items:
        if item.path.relative_to(here).as_posix().startswith(SLOW):
            item.add_marker(pytest.mark.slow)


def pytest_addoption(parser: pytest.Parser) -> None:
    """`--audit FILE`: write down what the run opens and connects to outside of what it may."""
    parser.addoption(
        "--audit", default="", metavar="FILE", help="write foreign opens and connections to FILE"
    )


def pytest_configure(config: pytest.Config) -> None:
    """Watch from the start, before any test is read."""
    if config.getoption("--audit"):
        from tests.fuzz import audit

        audit.watch(Path(config.getoption("--audit")))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say how much was watched, so that a watch that saw nothing is no success."""
    if terminalreporter.config.getoption("--audit"):
        from tests.fuzz.audit import seen

        terminalreporter.write_line(f"audited: {seen['open']} opened, {seen['socket']} of sockets")
