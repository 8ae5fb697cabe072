"""init: a new fact folder, empty or with the invented demo."""

from __future__ import annotations

import sys
from importlib import resources
from pathlib import Path

import click

from kgraph import trade
from kgraph.folder import placing, writing
from kgraph.folder.disk import display, reason
from kgraph.problems import CannotRun
from kgraph.render.terminal import wrapped

START = """\
# Facts of your own. An entry begins with "- " and its first key says what it is, for example:
# - set: Larkfield LK-40
#   market: UK
# - rebadge: [Larkfield LK-40, Orvanek 2200]
#   how: compared
# `kgraph add` asks for each field and appends it for you; `kgraph check` finds what is wrong.
# The places, kinds and cautions of the trade are there already: try `kgraph show "drive belt"`.
# Say of each set its mains, like mains: 240 V 50 Hz; what is on the mains side is compared by it.
"""


@click.command(short_help="a new fact folder")
@click.argument("folder", type=click.Path(path_type=Path), metavar="DIR")
@click.option("--demo", is_flag=True, help="With the demo facts, all of them invented.")
def init(folder: Path, demo: bool) -> int:
    """A new fact folder; --demo fills it with invented facts to try everything on.

    Example: kgraph init mine --demo
    """
    files = _demo_files() if demo else {"bench.yaml": START.encode()}
    there = _written_before(folder, files)
    writing.create_folder(folder)
    placing.remove_leftovers(folder)
    for name, data in files.items():
        if name not in there:
            writing.write_new(folder / name, data)
    print(f"{len(files)} {'file' if len(files) == 1 else 'files'} in {folder}")
    places, kinds = (len(trade.ground().things[kind]) for kind in ("position", "kind"))
    says = (
        f"below it lies what is common to the trade: {places} places with their other names, {kinds} kinds "
        "of part, cautions, and what must match on the mains side; `kgraph show NAME` tells what is from it"
    )
    sys.stdout.write(wrapped(says) if sys.stdout.isatty() else f"{says}\n")
    return 0


def _written_before(folder: Path, files: dict[str, bytes]) -> set[str]:
    """Which of the files a run that was cut off has written; raises CannotRun for anything else there."""
    try:
        found = [p for p in folder.iterdir() if not placing.is_leftover(p.name)] if folder.exists() else []
        mine = {p.name for p in found if p.name in files and p.is_file() and p.read_bytes() == files[p.name]}
    except OSError as error:
        raise CannotRun(f"{display(folder)}: {reason(error)}") from None
    if len(mine) < len(found) or (mine and len(mine) == len(files)):
        raise CannotRun(f"{display(folder)}: is there already and not empty; name a new folder")
    return mine


def _demo_files() -> dict[str, bytes]:
    shipped = resources.files("kgraph") / "demo"
    found = (
        {f.name: f.read_bytes() for f in shipped.iterdir() if f.name.endswith(".yaml")}
        if shipped.is_dir()
        else {}
    )
    if not found:  # Run from the source tree, where the demo lies beside the package.
        beside = Path(__file__).resolve().parents[2] / "data"
        found = {p.name: p.read_bytes() for p in sorted(beside.glob("*.yaml"))}
    if not found:
        raise CannotRun("the demo facts are not installed with this copy of kgraph")
    return found
