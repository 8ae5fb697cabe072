"""draw: pictures through Graphviz."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from kgraph import questions
from kgraph.cli.belting import run_picture
from kgraph.cli.loading import Settings, load
from kgraph.folder import writing


@click.group(short_help="pictures of families")
def draw() -> None:
    """Pictures: svg, png, pdf or dot, by the suffix of the file."""


@draw.command(short_help="one design under its badges")
@click.argument("set_name", metavar="SET")
@click.option(
    "-o", "--output", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE",
    help="svg, png, pdf or dot by its suffix; without it DOT text to standard output.",
)  # fmt: skip
@click.pass_obj
def family(settings: Settings, set_name: str, output: Path | None) -> int:
    """The family of a set: one design under its badges, and what differs.

    Example: kgraph draw family "Larkfield RC-40" -o family.svg
    """
    from kgraph.render import dot

    loaded = load(settings)
    text = dot.family(loaded.data, loaded.graph, questions.name_of(loaded.data, "set", set_name))
    if output is None:
        sys.stdout.write(text)
        return 0
    picture = dot.render(text, output)
    writing.write_over(output, picture)
    print(f"written: {output}")
    return 0


draw.add_command(run_picture)
