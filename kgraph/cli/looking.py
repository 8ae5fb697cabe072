"""show and find."""

from __future__ import annotations

import sys
from typing import Any

import click

from kgraph import lookup
from kgraph.cli.asking import print_json
from kgraph.cli.opening import with_folder
from kgraph.cli.settings import Loaded, Settings
from kgraph.render.terminal import table


@click.command(short_help="all that is known of a thing")
@click.argument("name")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_obj
def show(settings: Settings, name: str, as_json: bool) -> int:
    """All that is known of a set, part, assembly, position, unit or source, or of one fact by its id.

    Example: kgraph show "Larkfield LK-40"
    """

    from kgraph.render import things

    def said(loaded: Loaded) -> tuple[dict[str, Any] | str, Loaded]:
        data = loaded.data
        fact = lookup.fact_with_id(data, name)
        event = None if fact else lookup.event_with_id(data, name)
        known = [] if fact or event else lookup.show(loaded.graph, name)
        if as_json:
            return things.as_json(data, name, known, fact, event), loaded
        if fact:
            return things.fact_text(data, *fact), loaded
        texts = [things.event_text(data, event)] if event else [things.as_text(data, k) for k in known]
        return "\n".join(texts), loaded

    found, loaded = with_folder(settings, said)
    if isinstance(found, str):
        sys.stdout.write(found)
    else:
        print_json(found, loaded)
    return 0


@click.command(short_help="names near a text")
@click.argument("text", nargs=-1, required=True)
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_obj
def find(settings: Settings, text: tuple[str, ...], as_json: bool) -> int:
    """Names near a text: other spellings, makers' part numbers and near misses too.

    Example: kgraph find lk40
    """
    wanted = " ".join(text)
    found, loaded = with_folder(settings, lambda loaded: (lookup.find(loaded.data, wanted), loaded))
    if as_json:
        rows = [{"kind": f.kind, "name": f.name, "met": f.met, "by": f.by} for f in found]
        print_json({"question": {"command": "find", "text": wanted}, "answers": rows, "notes": []}, loaded)
    elif found:
        cells = [[f.kind, f.name, f.met, f.by if f.by != f.name else ""] for f in found]
        sys.stdout.write(table(("kind", "name", "match", "written"), cells, sys.stdout.isatty()))
    else:
        print("nothing found", file=sys.stderr)
    return 0 if found else 1
