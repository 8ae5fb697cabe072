"""show and find."""

from __future__ import annotations

import sys

import click

from kgraph import lookup, words
from kgraph.cli.asking import MOST_OPTION, print_json
from kgraph.cli.opening import opened
from kgraph.cli.settings import Settings
from kgraph.names import fold
from kgraph.questions import SCALE_NOTE
from kgraph.render import things
from kgraph.render.answers import MOST_SHOWN, left_out


@click.command(short_help="all that is known of a thing")
@click.argument("name")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_obj
def show(settings: Settings, name: str, as_json: bool) -> int:
    """All that is known of a set, part, assembly, position, unit or source, or of one fact by its id.

    Of an id its first six characters or more do, where no other begins so; `doubts` prints eight.

    Example: kgraph show "Larkfield LK-40"
    """
    loaded = opened(settings)
    data = loaded.data
    if not any(data.knows(kind, data.key(kind, fold(name))) for kind in words.THINGS):
        name = lookup.whole_id(data, name)
    fact = lookup.fact_with_id(data, name)
    event = None if fact else lookup.event_with_id(data, name)
    known = [] if fact or event else lookup.show(loaded.graph, name)
    if as_json:
        print_json(things.as_json(data, name, known, fact, event), loaded)
    elif fact:
        sys.stdout.write(things.fact_text(data, fact))
    elif event:
        sys.stdout.write(things.event_text(data, event))
    else:
        sys.stdout.write("\n".join(things.as_text(data, k) for k in known))
    if not as_json and things.weighs(known, fact):
        print(SCALE_NOTE, file=sys.stderr)
    return 0


@click.command(short_help="names near a text, and what is recorded so")
@click.argument("text", nargs=-1, required=True)
@MOST_OPTION
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_obj
def find(settings: Settings, text: tuple[str, ...], most: int | None, as_json: bool) -> int:
    """Names near a text: other spellings, makers' part numbers and near misses too;
    and the things of which a value or a note holds it: a stamp, a feature, a drawer.

    Example: kgraph find lk40
    """
    wanted = " ".join(text)
    loaded = opened(settings)
    found = lookup.find(loaded.data, wanted)
    if as_json:
        print_json(things.found_json(wanted, found, most), loaded)
    elif found:
        shown = found[: most or MOST_SHOWN]
        sys.stdout.write(things.found_text(shown, sys.stdout.isatty()))
        if len(found) > len(shown):
            print(left_out(len(found) - len(shown)), file=sys.stderr)
    else:
        print("nothing found", file=sys.stderr)
    return 0 if found else 1
