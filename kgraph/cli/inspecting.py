"""inspect and fit: what was found at a place of a unit, and a loose part put in."""

from __future__ import annotations

import sys

import click

from kgraph import questions
from kgraph.api import asked_shelf, event_log
from kgraph.api.entries import with_pictures
from kgraph.cli import events
from kgraph.cli.asking import print_json
from kgraph.cli.loading import load
from kgraph.cli.picturing import photo_options
from kgraph.cli.settings import Settings
from kgraph.folder import writing
from kgraph.render import fitting as render
from kgraph.render.terminal import visible
from kgraph.shelf import fitting
from kgraph.shelf.ledger import Held, shelf_now


@click.command(short_help="record what was found at a place of a unit")
@click.argument("unit", metavar="UNIT")
@click.argument("position", metavar="POSITION")
@click.argument("state", metavar="STATE")
@events.event_options
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@photo_options
@click.pass_obj
def inspect(
    settings: Settings,
    /,
    unit: str,
    position: str,
    state: str,
    photos: tuple[str, ...],
    full: bool,
    file_name: str | None,
    as_json: bool,
    **said: str,
) -> int:
    """Record in which state a place of a unit was found. What is found last counts; nothing is deleted.

    Missing, broken, cracked, snapped, perished, worn out and altered give nothing; any other word can be
    given. With `?` at its end it settles nothing. Example: kgraph inspect U-01 "main belt" perished
    """
    seen = event_log.bytes_of(settings.folders)
    loaded = load(settings)
    data, key = loaded.data, asked_shelf.unit_declared(loaded.graph, unit)
    place = questions.name_of(data, "position", position)
    pairs: list[tuple[str, writing.Value]] = [("inspected", data.text("position", place))]
    pairs += [("of", data.text("unit", key)), ("state", state), *events.said_pairs(said)]
    pairs += [("photo", list(photos))] if photos else []
    pairs, pictures = with_pictures(pairs, settings.folders[0], full)
    text = writing.entry_text(pairs)
    before = shelf_now(loaded.graph).units[key].places.get(place) or Held(place, "", None, None, True)
    written = event_log.write(settings.folders, loaded.graph, [text], seen, file_name, pictures)
    if as_json:
        print_json(render.inspected_json(data, key, before, state, written))
        return 0
    sys.stdout.write(render.inspected_text(data, key, before, state, sys.stdout.isatty()))
    for where in written:
        print(f"written: {visible(where)}")
    return 0


@click.command(short_help="record that a loose part is put in a unit")
@click.argument("part", nargs=-1, required=True, metavar="PART")
@click.option("--to", "unit", required=True, metavar="UNIT", help="The unit that it goes in.")
@click.option("--at", "position", default="", metavar="POSITION", help="Its place there.")
@events.event_options
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_obj
def fit(
    settings: Settings,
    /,
    part: tuple[str, ...],
    unit: str,
    position: str,
    file_name: str | None,
    as_json: bool,
    **said: str,
) -> int:
    """Record that a loose part is put in a unit, and one less in stock; with status 1 if none is left.

    Without --at it is the one place of the unit at which the part goes, of several the one that wants it.
    Example: kgraph fit K-114 --to U-03 --at "volume knob"
    """
    seen = event_log.bytes_of(settings.folders)
    loaded = load(settings)
    data = loaded.data
    found = fitting.look(
        loaded.graph,
        shelf_now(loaded.graph),
        questions.part_named(data, " ".join(part)),
        asked_shelf.unit_declared(loaded.graph, unit),
        questions.name_of(data, "position", position) if position else "",
    )
    written: list[str] = []
    if not found.gone:
        pairs = [*render.fitted_pairs(data, found), *events.said_pairs(said)]
        written = event_log.write(
            settings.folders, loaded.graph, [writing.entry_text(pairs)], seen, file_name
        )
    if as_json:
        print_json(render.fitting_json(data, found, written))
    elif not found.gone:
        sys.stdout.write(render.fitting_text(data, found, sys.stdout.isatty()))
        for where in written:
            print(f"written: {visible(where)}")
    if found.gone:
        print(visible(f"{found.gone}; nothing was written"), file=sys.stderr)
    return 1 if found.gone else 0
