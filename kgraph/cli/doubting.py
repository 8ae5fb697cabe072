"""doubts: which single thing to look at next would settle most."""

from __future__ import annotations

import sys
from typing import Any

import click

from kgraph import doubts as weighing
from kgraph import questions
from kgraph.cli.asking import print_json
from kgraph.cli.loading import load
from kgraph.cli.settings import Settings, Whole
from kgraph.doubts import Doubts
from kgraph.problems import WrongUse
from kgraph.render import doubts as render


@click.command(short_help="which single thing to look at next would settle most")
@click.argument("words", nargs=-1, metavar="[SET | UNIT]")
@click.option("--most", type=click.IntRange(1), default=20, show_default=True, help="How many are shown.")
@click.option(
    "--seconds", type=click.FloatRange(0.1, 3600.0), default=weighing.SECONDS, show_default=True,
    help="Time for weighing where nothing is named.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="One JSON object instead of a table.")
@click.pass_obj
def doubts(settings: Settings, /, words: tuple[str, ...], most: int, seconds: float, as_json: bool) -> int:
    """Which facts, once looked at or measured, are expected to settle most of the answers.

    For a set: its donors at every position known. For a unit: donors of what it wants. Without
    a name: the takers of every part. Example: kgraph doubts U-07
    """
    loaded = load(settings)
    question, found = _weigh(loaded, " ".join(words), seconds)
    if as_json:
        print_json(render.as_json(loaded.data, question, found, most), loaded)
    elif found.found:
        sys.stdout.write(render.as_text(loaded.data, found, most, sys.stdout.isatty()))
        for note in render.notes(found, most):
            print(note, file=sys.stderr)
    else:
        print("nothing is in doubt here", file=sys.stderr)
    return 0 if found.found else 1


def _weigh(loaded: Whole, text: str, seconds: float) -> tuple[dict[str, Any], Doubts]:
    data, question = loaded.data, {"command": "doubts"}
    if not text:
        return question, weighing.of_folder(loaded.graph, seconds)
    try:
        unit = questions.name_of(data, "unit", text)
    except WrongUse:
        key = questions.name_of(data, "set", text)
        return {**question, "set": data.text("set", key)}, weighing.of_set(loaded.graph, key)
    return {**question, "unit": data.text("unit", unit)}, weighing.of_unit(loaded.graph, unit)
