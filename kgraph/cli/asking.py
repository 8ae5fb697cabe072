"""takers, donors, sisters, shares: ask, render, exit."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from typing import Any, TypeVar

import click

from kgraph import questions
from kgraph.cli.loading import Loaded, Settings, load
from kgraph.problems import WrongUse
from kgraph.questions import Answer, Wanted
from kgraph.render import answers

F = TypeVar("F", bound=Callable[..., Any])


def _share(ctx: click.Context, param: click.Parameter, value: str) -> float:
    from kgraph import quantities

    try:
        return quantities.number(value, 0.0, 1.0)
    except quantities.QuantityError as error:
        raise click.BadParameter(str(error)) from None


def query_options(command: F) -> F:
    """The options that every query takes."""
    for option in reversed(
        [
            click.option("--json", "as_json", is_flag=True, help="One JSON object instead of a table."),
            click.option("--proof", is_flag=True, help="The facts of each answer, with file and line."),
            click.option(
                "--at-least",
                default="0",
                callback=_share,
                metavar="C",
                help="Leave out what is less certain.",
            ),
            click.option("--all", "refused_too", is_flag=True, help="Refused answers too."),
            click.option(
                "--effort", type=click.IntRange(1, 1000), default=1, help="More work for narrower bounds."
            ),
        ]
    ):
        command = option(command)
    return command


def wanted(at_least: float, refused_too: bool, effort: int) -> Wanted:
    """The asker's wishes as one value."""
    return Wanted(at_least, refused_too, effort)


def give(loaded: Loaded, answer: Answer, as_json: bool, proof: bool) -> int:
    """Print an answer: data to standard output, remarks to standard error. 1 if it is empty."""
    if as_json:
        print_json(answers.as_json(loaded.data, answer))
    else:
        sys.stdout.write(answers.as_text(loaded.data, answer, sys.stdout.isatty(), proof))
        if not answer.rows:
            print("nothing found", file=sys.stderr)
        for note in answer.notes:
            print(note, file=sys.stderr)
    return 0 if answer.rows else 1


def print_json(value: Any) -> None:
    """One JSON object in UTF-8, whatever the locale says."""
    text = json.dumps(value, ensure_ascii=False, indent=1, allow_nan=False)
    sys.stdout.flush()
    buffer = getattr(sys.stdout, "buffer", None)
    if buffer is None:
        sys.stdout.write(text + "\n")
    else:
        buffer.write(text.encode("utf-8", "backslashreplace") + b"\n")
        buffer.flush()


@click.command(short_help="which other sets take this knob or belt")
@click.argument("words", nargs=-1, required=True, metavar="PART | SET POSITION")
@query_options
@click.pass_obj
def takers(settings: Settings, /, words: tuple[str, ...], as_json: bool, proof: bool, **rest: Any) -> int:
    """Which other sets take a part, or what a set has at a position.

    Example: kgraph takers "Larkfield RC-40" "tuning knob" --proof
    """
    loaded = load(settings)
    wish = wanted(**rest)
    if _is_part(loaded, words):
        answer = questions.takers_of_part(
            loaded.graph, questions.part_named(loaded.data, " ".join(words)), wish
        )
    else:
        answer = questions.takers_of_place(loaded.graph, *questions.place_named(loaded.data, words), wish)
    return give(loaded, answer, as_json, proof)


def _is_part(loaded: Loaded, words: tuple[str, ...]) -> bool:
    if len(words) == 1:
        return True
    try:
        questions.place_named(loaded.data, words)
    except WrongUse:
        try:
            questions.part_named(loaded.data, " ".join(words))
        except WrongUse:
            return False
        return True
    return False


@click.command(short_help="which sets can give it, best first")
@click.argument("set_name", metavar="SET")
@click.argument("positions", nargs=-1, metavar="[POSITION]...")
@query_options
@click.pass_obj
def donors(
    settings: Settings, /, set_name: str, positions: tuple[str, ...], as_json: bool, proof: bool, **rest: Any
) -> int:
    """Which sets can give what a set wants at these positions; without one, at every position known.

    Example: kgraph donors "Larkfield RC-40" "tuning knob" "back"
    """
    loaded = load(settings)
    set_key = questions.name_of(loaded.data, "set", set_name)
    keys = [questions.name_of(loaded.data, "position", p) for p in positions]
    keys = list(dict.fromkeys(keys)) or questions.places_of(loaded.graph, set_key)
    return give(loaded, questions.donors(loaded.graph, set_key, keys, wanted(**rest)), as_json, proof)


@click.command(short_help="the same design under other badges")
@click.argument("set_name", metavar="SET")
@query_options
@click.pass_obj
def sisters(settings: Settings, /, set_name: str, as_json: bool, proof: bool, **rest: Any) -> int:
    """The same design under other badges, and what differs.

    Example: kgraph sisters "Larkfield RC-40"
    """
    loaded = load(settings)
    key = questions.name_of(loaded.data, "set", set_name)
    return give(loaded, questions.sisters(loaded.graph, key, wanted(**rest)), as_json, proof)


@click.command(short_help="which assemblies a set is built on, and with whom")
@click.argument("set_name", metavar="SET")
@query_options
@click.pass_obj
def shares(settings: Settings, /, set_name: str, as_json: bool, proof: bool, **rest: Any) -> int:
    """Which assemblies a set is built on, and which other sets are.

    Example: kgraph shares "Larkfield RC-40"
    """
    loaded = load(settings)
    key = questions.name_of(loaded.data, "set", set_name)
    return give(loaded, questions.shares(loaded.graph, key, wanted(**rest)), as_json, proof)
