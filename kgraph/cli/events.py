"""What may be said of every event of the shelf on the command line, and how it is asked and told."""

from __future__ import annotations

import contextlib
import io
import sys
from collections.abc import Callable, Iterator, Mapping

import click

from kgraph.folder import writing
from kgraph.problems import WrongUse

_SAID = [
    click.option("--by", default="", help="Who did it."),
    click.option("--date", default="", help="When, like 2026-03-31."),
    click.option("--note", default="", help="Anything else worth keeping."),
    click.option("--cost", default="", metavar="SUM", help="What was paid, like '4.50 EUR'."),
    click.option("--hours", default="", metavar="N", help="What it took."),
    click.option("--file", "file_name", default=None, metavar="FILE", help="File of the folder to write to."),
]


def event_options(command: Callable[..., int]) -> Callable[..., int]:
    """What may be said of every event, and the file that it goes to."""
    for option in reversed(_SAID):
        command = option(command)
    return command


def said_pairs(said: Mapping[str, str]) -> list[tuple[str, writing.Value]]:
    """What is said of an event, in the order of the options, whatever the order in which it was typed."""
    return [(key, said[key]) for key in ("by", "date", "note", "cost", "hours") if said.get(key)]


def agreed(question: str) -> bool:
    """Whether the user wants it written; raises WrongUse where nobody can be asked."""
    if not sys.stdin.isatty():
        raise WrongUse("nothing was written: say --yes to write without being asked")
    return click.confirm(question)


@contextlib.contextmanager
def told_at_the_end(yes: bool) -> Iterator[None]:
    """Where nobody is asked or looks on, what is printed inside comes out at the end, when it is written.

    Else a reader of the output who has seen enough would end the command before it writes.
    """
    if not yes or sys.stdout.isatty():
        yield
        return
    held = io.StringIO()
    try:
        with contextlib.redirect_stdout(held):
            yield
    finally:
        sys.stdout.write(held.getvalue())
