"""doubts: which single thing to look at next would settle most."""

from __future__ import annotations

import sys

import click

from kgraph import doubts as weighing
from kgraph.api import asked
from kgraph.cli.asking import CAUTIONS_OPTION, MOST_OPTION, print_json, whole
from kgraph.cli.numbers import Within
from kgraph.cli.opening import opened
from kgraph.cli.settings import Settings
from kgraph.render import doubts as render
from kgraph.render.answers import MOST_SHOWN


@click.command(short_help="which single thing to look at next would settle most")
@click.argument("words", nargs=-1, metavar="[SET | UNIT]")
@MOST_OPTION
@click.option(
    "--seconds", type=Within(0.1, 3600.0), default=weighing.SECONDS, show_default=True,
    help="Time for weighing where nothing is named.",
)  # fmt: skip
@click.option("--bits", is_flag=True, help="Also how many bits each look is expected to settle.")
@click.option("--proof", is_flag=True, help="The facts in doubt, with file and line.")
@CAUTIONS_OPTION
@click.option("--json", "as_json", is_flag=True, help="One JSON object instead of a table.")
@click.pass_obj
def doubts(
    settings: Settings,
    /,
    words: tuple[str, ...],
    most: int | None,
    seconds: float,
    bits: bool,
    proof: bool,
    as_json: bool,
) -> int:
    """Which facts, once looked at or measured, are expected to settle most of the answers.

    For a set: its donors at every position known. For a unit: donors of what it wants. Without
    a name: the takers of every part. Example: kgraph doubts U-07
    """
    loaded = opened(settings)
    question, found = asked.doubts(loaded.graph, " ".join(words), seconds)
    if as_json:
        print_json(render.as_json(loaded.data, question, found, most), loaded)
    elif found.found:
        shown = most or MOST_SHOWN
        terminal = sys.stdout.isatty()
        sys.stdout.write(render.as_text(loaded.data, found, shown, terminal, whole(), bits, proof))
        for note in render.notes(found, shown):
            print(note, file=sys.stderr)
    else:
        print("nothing is in doubt here", file=sys.stderr)
    return 0 if found.found else 1
