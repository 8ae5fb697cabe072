"""take, owed, shelf and sheet: what is on the bench and the shelf, what goes from one to another."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from kgraph import questions
from kgraph.api import asked_shelf, event_log
from kgraph.api.entries import with_pictures
from kgraph.api.leaving import told
from kgraph.api.loaded import Loaded
from kgraph.cli import events
from kgraph.cli.asking import print_json
from kgraph.cli.loading import load
from kgraph.cli.opening import opened
from kgraph.cli.picturing import form_of, give_page, photo_options, write_told
from kgraph.cli.settings import Settings
from kgraph.folder import writing
from kgraph.render import owing
from kgraph.render import shelf as render
from kgraph.render.terminal import visible
from kgraph.shelf import taking
from kgraph.shelf.ledger import shelf_now
from kgraph.shelf.taking import Taking


@click.command(short_help="record what is taken from one unit for another")
@click.argument("position", nargs=-1, required=True, metavar="POSITION")
@click.option("--from", "giver", required=True, metavar="UNIT", help="The unit that it comes off.")
@click.option("--to", "getter", default="", metavar="UNIT", help="The unit that it goes on, if any.")
@click.option("--at", default="", metavar="POSITION", help="Its place there, where that is another.")
@click.option("--owed", is_flag=True, help="The first unit is to get one back.")
@events.event_options
@photo_options
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_obj
def take(
    settings: Settings,
    /,
    position: tuple[str, ...],
    giver: str,
    getter: str,
    at: str,
    owed: bool,
    photos: tuple[str, ...],
    full: bool,
    file_name: str | None,
    as_json: bool,
    **said: str,
) -> int:
    """Record that something is taken from a unit; refused, with status 1, if it is not there or not whole.

    Said before it is written: why it goes there or that no fact says so, who else counts on it, what comes
    off with it, the cautions. Example: kgraph take "volume knob" --from U-01 --to U-03 --owed
    """
    seen = event_log.bytes_of(settings.folders)
    loaded = load(settings)
    found = _looked(loaded, " ".join(position), giver, getter, at)
    written: list[str] = []
    if not found.gone:
        pairs: list[tuple[str, writing.Value]] = [("taken", loaded.data.text("position", found.position))]
        pairs += [("from", loaded.data.text("unit", found.giver))]
        pairs += [("to", loaded.data.text("unit", found.getter))] if getter else []
        pairs += [("at", loaded.data.text("position", found.at))] if found.at != found.position else []
        pairs += [("owed", "yes")] if owed else []
        pairs += events.said_pairs(said)
        pairs += [("photo", list(photos))] if photos else []
        pairs, pictures = with_pictures(pairs, settings.folders[0], full)
        text = writing.entry_text(pairs)
        written = event_log.write(settings.folders, loaded.graph, [text], seen, file_name, pictures)
    if as_json:
        print_json(render.taking_json(loaded.data, found, owed, written))
    elif not found.gone:
        sys.stdout.write(render.taking_text(loaded.data, found, sys.stdout.isatty()))
        for where in written:
            print(f"written: {visible(where)}")
    if found.gone:
        print(visible(render.gone_text(loaded.data, found)), file=sys.stderr)
    return 1 if found.gone else 0


def _looked(loaded: Loaded, position: str, giver: str, getter: str, at: str) -> Taking:
    """The removal that is asked for, looked at; raises WrongUse for a name that is not known."""
    data = loaded.data
    return taking.look(
        loaded.graph,
        shelf_now(loaded.graph),
        asked_shelf.unit_declared(loaded.graph, giver),
        questions.name_of(data, "position", position),
        asked_shelf.unit_declared(loaded.graph, getter) if getter else "",
        questions.name_of(data, "position", at) if at else "",
    )


@click.command(short_help="what donors are to get back")
@click.argument("units", nargs=-1, metavar="[UNIT]...")
@click.option("--all", "all_too", is_flag=True, help="Also what has been given back.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object instead of a table.")
@click.pass_obj
def owed(settings: Settings, units: tuple[str, ...], all_too: bool, as_json: bool) -> int:
    """What units are to get back: the place, since when, where it went, and how to settle it.

    It is settled when one is put back: `kgraph add restored`, or `take` from another unit to that place.
    Example: kgraph owed --all
    """
    loaded = opened(settings)
    shelf, found = asked_shelf.owed(loaded.graph, units, all_too)
    if as_json:
        print_json(owing.owed_json(loaded.data, shelf, found, units), loaded)
    elif found:
        sys.stdout.write(owing.owed_text(loaded.data, shelf, found, sys.stdout.isatty()))
    else:
        print("nothing is owed", file=sys.stderr)
    return 0 if found else 1


@click.command(short_help="the units, what each still gives, waits for and is owed")
@click.argument("units", nargs=-1, metavar="[UNIT]...")
@click.option("--json", "as_json", is_flag=True, help="One JSON object, with every place.")
@click.pass_obj
def shelf(settings: Settings, units: tuple[str, ...], as_json: bool) -> int:
    """Each unit: what it is, what it still gives, what it waits for, what it is owed; then the loose parts.

    Of what it gives, that which another unit waits for comes first. With UNIT every place of it is told.
    Example: kgraph shelf U-01
    """
    from kgraph.shelf.overview import overview

    loaded = opened(settings)
    found = overview(loaded.graph, [asked_shelf.unit_declared(loaded.graph, u) for u in units])
    if as_json:
        print_json(render.shelf_json(loaded.data, found, units), loaded)
    elif found.units or found.stock:
        sys.stdout.write(render.shelf_text(loaded.data, found, sys.stdout.isatty(), bool(units)))
        for note in found.notes:
            print(visible(note), file=sys.stderr)
    else:
        print("nothing is on the shelf: add - unit: or - stock: entries", file=sys.stderr)
    return 0 if found.units or found.stock else 1


@click.command(short_help="the job sheet of a unit: found, done, from where, on what evidence")
@click.argument("unit", metavar="UNIT")
@click.option(
    "--to", "form", type=click.Choice(["text", "markdown", "html"]), default=None, help="Default: text."
)
@click.option("-o", "--output", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE")
@click.option("--proof", is_flag=True, help="Also where each thing stands, with file and line.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_obj
def sheet(
    settings: Settings, unit: str, form: str | None, output: Path | None, proof: bool, as_json: bool
) -> int:
    """The job sheet of a unit, for the next owner and the next repair: one side of A4 for a common job.

    How it came in, what was done, what was fitted from which unit and on what evidence, what remains open
    or doubtful, what it cost, the cautions in full, and lines for the pen.
    Example: kgraph sheet U-05 -o u-05.html
    """
    from kgraph.render import sheet as render_sheet
    from kgraph.shelf.sheet import sheet_of

    loaded = opened(settings)
    made = sheet_of(loaded.graph, asked_shelf.unit_declared(loaded.graph, unit))
    if as_json:
        _give_json(told(render_sheet.as_json(loaded.data, made), loaded), output)
        return 0
    give_page(settings, render_sheet.page(loaded.data, made, proof), form or form_of(output), output)
    return 0


def _give_json(value: dict[str, Any], output: Path | None) -> None:
    import json

    if output is None:
        print_json(value)
        return
    write_told(output, json.dumps(value, ensure_ascii=False, indent=1).encode("utf-8") + b"\n")
