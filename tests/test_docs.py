"""README.md does what it says: its commands are run, and what they print is compared."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from kgraph.cli.main import COMMANDS, cli
from tests.docs import BLOCK, README, rewritten


def test_every_command_of_the_readme_prints_what_the_page_says(tmp_path: Path) -> None:
    """If this fails because the output was meant to change: python -m tests.docs."""
    page = README.read_text(encoding="utf-8")
    assert len(BLOCK.findall(page)) >= 8
    assert rewritten(page, tmp_path) == page


def test_the_readme_opens_with_the_job() -> None:
    first = README.read_text(encoding="utf-8").split("\n\n")[1]
    assert "restore" in first
    assert "which other sets take" in first


def test_the_second_command_runs_the_tests() -> None:
    assert ".venv/bin/python -m pytest" in README.read_text(encoding="utf-8")


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_an_example(name: str) -> None:
    command = cli.get_command(None, name)  # type: ignore[arg-type]
    assert command is not None
    subcommands = getattr(command, "commands", None)
    for one in subcommands.values() if subcommands else [command]:
        assert re.search(r"Example: kgraph ", one.help or ""), f"{name} {one.name}"
