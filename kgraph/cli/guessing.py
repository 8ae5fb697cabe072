"""likely: pairs that no fact joins yet and that may be one design."""

from __future__ import annotations

import sys
from typing import Any

import click

from kgraph import questions
from kgraph.api.loaded import Loaded
from kgraph.cli.asking import AT_LEAST_OPTION, MOST_OPTION, print_json
from kgraph.cli.opening import opened
from kgraph.cli.settings import Settings
from kgraph.problems import WrongUse
from kgraph.questions import likely as guessed
from kgraph.questions.likely import TriedPairs
from kgraph.render import likely as render
from kgraph.render.answers import MOST_SHOWN, left_out
from kgraph.render.terminal import visible


@click.command(short_help="which sets may be one design though nobody said so")
@click.argument("words", nargs=-1, metavar="[SET]")
@click.option("--parts", is_flag=True, help="Parts that may be the same under two numbers, instead of sets.")
@click.option(
    "--tried", is_flag=True, help="Hides each recorded rebadge in turn and tells how often it is found."
)
@AT_LEAST_OPTION
@MOST_OPTION
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_obj
def likely(
    settings: Settings,
    /,
    words: tuple[str, ...],
    parts: bool,
    tried: bool,
    at_least: float,
    most: int | None,
    as_json: bool,
) -> int:
    """Pairs of sets that no fact joins yet and that may be one design, with what would settle it.

    Each key that both record counts by how rare its value is and how often recorded sisters agree in it.
    What was compared and is `distinct` does not come back.

    Example: kgraph likely "Quillon 31"
    """
    if parts and (words or tried):
        raise WrongUse("--parts takes neither a set nor --tried")
    loaded = opened(settings)
    if tried:
        return _tried(loaded, guessed.tried(loaded.graph), as_json)
    of = f"s:{questions.name_of(loaded.data, 'set', ' '.join(words))}" if words else ""
    every = guessed.likely_parts(loaded.graph) if parts else guessed.likely_sets(loaded.graph, of)
    all_found = every.at_least(at_least)
    found = all_found.pairs
    if as_json:
        question: dict[str, Any] = {"command": "likely"}
        if of:
            question["set"] = loaded.data.owner_text(of)
        print_json(render.as_json(loaded.graph, question, all_found, most, parts), loaded)
    elif found:
        shown = found[: most or MOST_SHOWN]
        said = (line for f in shown for line in render.lines(loaded.graph, f, parts))
        sys.stdout.write("".join(f"{visible(line)}\n" for line in said))
        if len(found) > len(shown):
            print(left_out(len(found) - len(shown)), file=sys.stderr)
    elif not all_found.less:
        print("nothing that is not joined yet looks like one design", file=sys.stderr)
    scale = [render.SCALES_NOTE] if found else []
    for note in () if as_json else (*render.told(all_found), *scale):
        print(note, file=sys.stderr)
    return 0 if found else 1


def _tried(loaded: Loaded, found: TriedPairs, as_json: bool) -> int:
    if as_json:
        print_json(render.tried_json(found), loaded)
        return 0
    print(
        f"{found.hidden} rebadges hidden in turn; {found.joined} more hide nothing, as others join their sets"
    )
    for most, n in found.first.items():
        print(f"  came back among the first {most}: {n} of {found.hidden}")
    for band, (n, true) in found.bands.items():
        print(f"  given {band / 10:.1f} to {(band + 1) / 10:.1f}: {true} of {n} true")
    return 0
