"""list: what a folder holds, as a table on the screen or in a file."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from kgraph import listing
from kgraph.api.loaded import Loaded
from kgraph.cli.asking import AT_LEAST_OPTION, print_json
from kgraph.cli.numbers import Within
from kgraph.cli.opening import opened
from kgraph.cli.settings import Settings
from kgraph.folder import writing
from kgraph.listing import KINDS, List
from kgraph.listing.conditions import condition
from kgraph.problems import WrongUse
from kgraph.questions import SCALE_NOTE
from kgraph.questions.answer import Wanted
from kgraph.reason.budget import SECONDS
from kgraph.render import listed as render
from kgraph.render.terminal import visible

SUFFIXES = (".csv", ".xlsx", ".html")


@click.command(name="list", short_help="sets, units, parts, assemblies or facts that match, as a table")
@click.argument("what", type=click.Choice(list(KINDS)), metavar="|".join(KINDS))
@click.option("--where", multiple=True, metavar="KEY=VALUE", help="Only what has this; may be given again.")
@click.option("--columns", multiple=True, metavar="KEY,...", help="These columns, in this order; or all.")
@AT_LEAST_OPTION
@click.option(
    "--seconds", type=Within(0.1, 3600.0), default=SECONDS, show_default=True,
    help="Time for weighing what follows by the rules.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="One JSON object instead of a table.")
@click.option(
    "-o", "output", type=click.Path(path_type=Path), metavar="FILE",
    help=f"Into a file, by its suffix: {', '.join(SUFFIXES)}; a page is for print.",
)  # fmt: skip
@click.pass_obj
def list_(
    settings: Settings,
    /,
    what: str,
    where: tuple[str, ...],
    columns: tuple[str, ...],
    at_least: float,
    seconds: float,
    as_json: bool,
    output: Path | None,
) -> int:
    """What matches every --where, a row for each.

    VALUE is compared as everywhere: mains by volts and hertz, lengths by size. A..B is a range of years,
    dates, lengths or numbers, of which one end may be left out; nothing asks for what is not recorded.

    sets, units: assembly=NAME and part=NAME take what follows by the rules, with how certainly; so do
    set=NAME for parts and assemblies. A unit has what its set has. facts: by, via, source, grade, kind,
    date, file, note, and set, assembly, part or position that they name.

    Example: kgraph list sets --where years=1978..1981 --where mains=240
    """
    if output is not None and output.suffix.lower() not in SUFFIXES:
        raise WrongUse(f"no table is written as {output.suffix!r}; name a file in {', '.join(SUFFIXES)}")
    conditions = [condition(text) for text in where]
    loaded = opened(settings)
    found = listing.listed(loaded.graph, what, conditions, Wanted(at_least, seconds=seconds))
    chosen = render.chosen_columns(found, columns, whole=as_json or output is not None)
    if output is not None:
        writing.write_over(output, _file(loaded, found, chosen, output.suffix.lower()))
        print(f"written: {visible(str(output))}, {len(found.rows)} rows")
    elif as_json:
        print_json(render.as_json(loaded.data, found, chosen), loaded)
    elif found.rows:
        _print(loaded, found, chosen, bool(columns))
    else:
        print(f"no {KINDS[what]} matches", file=sys.stderr)
    return 0 if found.rows else 1


def _print(loaded: Loaded, found: List, columns: list[str], chosen: bool) -> None:
    sys.stdout.write(render.as_text(loaded.data, found, columns, sys.stdout.isatty()))
    number = len(found.rows)
    print(f"{number} {found.kind if number != 1 else KINDS[found.kind]}", file=sys.stderr)
    more = [name for name in render.all_columns(found) if name not in columns]
    if more and not chosen:
        print(visible(f"also recorded: {', '.join(more)}; --columns takes them, or all"), file=sys.stderr)
    if found.kind == "facts" or any(row.certain for row in found.rows):
        print(SCALE_NOTE, file=sys.stderr)


def _file(loaded: Loaded, found: List, columns: list[str], suffix: str) -> bytes:
    from kgraph.exchange import tables, xlsx

    if suffix == ".html":
        return render.page(loaded.data, found, columns).encode("utf-8", "backslashreplace")
    rows = ([render.cell(loaded.data, row, c) for c in columns] for row in found.rows)
    csv, most = suffix == ".csv", tables.MOST_CELL if suffix == ".csv" else xlsx.MOST_CELL
    cells = list(tables.cells_of(columns, rows, csv, most))
    return b"".join(tables.csv_of(cells)) if csv else xlsx.workbook([(found.kind, cells)])
