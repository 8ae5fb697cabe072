"""faults: what goes wrong with a set, and which of it explains a sign."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from kgraph.api import asked
from kgraph.cli.asking import print_json, query_options, wanted
from kgraph.cli.opening import opened
from kgraph.cli.picturing import form_of, give_page
from kgraph.cli.settings import Settings
from kgraph.render.terminal import visible


@click.command(short_help="what goes wrong with a set, and what explains a sign")
@click.argument("name", metavar="SET|UNIT")
@click.option("--sign", "signs", multiple=True, metavar="TEXT", help="Seen or heard: what explains it?")
@query_options
@click.pass_obj
def faults(
    settings: Settings, /, name: str, signs: tuple[str, ...], as_json: bool, proof: bool, **rest: Any
) -> int:
    """What goes wrong with a set, by what is known of every place like one of its own.

    With what its units and those of its sisters were found with, and what every bench knows. With --sign
    (again for each sign): which fault explains them, `none of these` among the answers.

    Example: kgraph faults "Larkfield LK-40" --sign "oscillates while recording"
    """
    from kgraph.render import faults as render
    from kgraph.render.answers import MOST_SHOWN, left_out

    loaded = opened(settings)
    wish = wanted(**rest, proof=proof)
    question, found = asked.faults(loaded.graph, name, signs, wish)
    if as_json:
        print_json(render.as_json(loaded.data, question, found, wish.most), loaded)
    else:
        sys.stdout.write(render.as_text(loaded.data, found, wish.most, sys.stdout.isatty(), proof))
        if (hidden := len(found.rows) - (wish.most or MOST_SHOWN)) > 0:
            print(left_out(hidden), file=sys.stderr)
        for note in found.notes:
            print(visible(note), file=sys.stderr)
    return 0 if found.rows else 1


@click.command(short_help="one page to read before the back comes off")
@click.argument("name", metavar="SET|UNIT")
@click.option("--markdown", is_flag=True, help="As Markdown.")
@click.option(
    "-o", "--output", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE",
    help="To a file; FILE.html is for one sheet of A4.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_obj
def arrive(settings: Settings, name: str, markdown: bool, output: Path | None, as_json: bool) -> int:
    """What it is, the cautions in full, what to check first, what to have at hand, and who could give it.

    Example: kgraph arrive "Larkfield LK-40" -o arrival.html
    """
    from kgraph.render import arrival

    loaded = opened(settings)
    set_key, unit = asked.set_and_unit(loaded.graph, name)
    page = arrival.page(loaded.graph, set_key, unit)
    if as_json:
        print_json(arrival.as_json(loaded.data, set_key, unit, page), loaded)
        return 0
    give_page(settings, page, "markdown" if markdown else form_of(output), output)
    return 0
