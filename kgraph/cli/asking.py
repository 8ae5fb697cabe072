"""takers, donors, sisters, shares: ask, render, exit."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import click

from kgraph.api import asked
from kgraph.api.leaving import told
from kgraph.api.loaded import Loaded
from kgraph.cli.numbers import Within
from kgraph.cli.opening import opened
from kgraph.cli.settings import Settings
from kgraph.fits.graph import Graph
from kgraph.problems import WrongUse
from kgraph.questions import Answer, Wanted
from kgraph.reason.budget import SECONDS
from kgraph.render import answers
from kgraph.render.cautions import Whole
from kgraph.render.terminal import visible

if TYPE_CHECKING:
    from kgraph.whynot import WhyNot

F = TypeVar("F", bound=Callable[..., Any])
Ask = Callable[[Loaded], Answer]


def share(ctx: click.Context, param: click.Parameter, value: str) -> float:
    """A share from 0 to 1 given on the command line, also in per cent."""
    if value == "0":
        return 0.0
    from kgraph import quantities

    try:
        return quantities.number(value, 0.0, 1.0)
    except quantities.QuantityError as error:
        raise click.BadParameter(str(error)) from None


def _suppose(ctx: click.Context, param: click.Parameter, value: tuple[str, ...]) -> None:
    if value:
        from kgraph.cli.loading import supposed, with_entries

        ctx.obj = with_entries(ctx.obj, [e for text in value for e in supposed(text)])


def _without(ctx: click.Context, param: click.Parameter, value: tuple[str, ...]) -> None:
    if value:
        ctx.obj = ctx.obj._replace(without=(*ctx.obj.without, *value))


SECONDS_OPTION = click.option(
    "--seconds", type=Within(0.1, 3600.0), default=SECONDS, show_default=True,
    help="Time for weighing; more narrows what is drawn at random.",
)  # fmt: skip
AT_LEAST_OPTION = click.option(
    "--at-least", default="0", callback=share, metavar="C", help="Leave out what is less certain."
)
MOST_OPTION = click.option("--most", type=click.IntRange(1), metavar="N", help="How many answers are shown.")

_WHOLE = "kgraph.whole"
"""Where it is kept what is to be printed whole."""


def _keep_whole(ctx: click.Context, param: click.Parameter, value: bool) -> None:
    if value:
        ctx.meta[_WHOLE] = {*ctx.meta.get(_WHOLE, ()), param.name}


CAUTIONS_OPTION = click.option(
    "--cautions", is_flag=True, callback=_keep_whole, expose_value=False, help="The cautions whole."
)
ASSUMED_OPTION = click.option(
    "--assumed", is_flag=True, callback=_keep_whole, expose_value=False, help="All that was assumed, and why."
)


def whole() -> Whole:
    """What the user wants to read whole."""
    asked = click.get_current_context().meta.get(_WHOLE, set())
    return Whole("cautions" in asked, "assumed" in asked)


def query_options(command: F) -> F:
    """The options that every query takes."""
    command = asking_options(command)
    for option in reversed(
        [
            MOST_OPTION,
            click.option("--json", "as_json", is_flag=True, help="One JSON object instead of a table."),
            click.option("--proof", is_flag=True, help="The facts of each answer, with file and line."),
            CAUTIONS_OPTION,
        ]
    ):
        command = option(command)
    return command


def asking_options(command: F) -> F:
    """The options that change what is answered, for whatever shows answers."""
    for option in reversed(
        [
            AT_LEAST_OPTION,
            click.option("--all", "refused_too", is_flag=True, help="Refused answers too."),
            SECONDS_OPTION,
            click.option(
                "--suppose",
                multiple=True,
                callback=_suppose,
                expose_value=False,
                metavar="FACT",
                help="The answer as it would be with one more fact: '{rebadge: [A 1, B 2], how: compared}'.",
            ),
            click.option(
                "--without",
                multiple=True,
                callback=_without,
                expose_value=False,
                metavar="ID",
                help="The answer as it would be without a fact.",
            ),
        ]
    ):
        command = option(command)
    return command


def wanted(
    at_least: float, refused_too: bool, seconds: float, proof: bool = False, most: int | None = None
) -> Wanted:
    """The asker's wishes as one value."""
    return Wanted(at_least, refused_too, seconds, proofs=proof, most=most)


def reply(settings: Settings, loaded: Loaded, ask: Ask, as_json: bool, proof: bool) -> int:
    """Ask and print; where something is supposed, also what it changes."""
    answer = ask(loaded)
    if not settings.suppose and not settings.without:
        return give(loaded, answer, as_json, proof)
    from kgraph import whatif
    from kgraph.cli.loading import as_it_is
    from kgraph.render import whatif as render_whatif

    before = as_it_is(loaded)
    changed = whatif.compare(_answer_or_none(before, ask), answer)
    if as_json:
        found = answers.as_json(loaded.data, answer)
        print_json({**found, "changed": render_whatif.as_json(loaded.data, changed)}, loaded)
        return 0 if answer.rows else 1
    status = give(loaded, answer, as_json, proof)
    sys.stdout.write(render_whatif.as_text(loaded.data, changed))
    print("Supposed only: nothing is written.", file=sys.stderr)
    return status


def _answer_or_none(loaded: Loaded, ask: Ask) -> Answer:
    """The answer, an empty one where a name is known only by what was supposed."""
    try:
        return ask(loaded)
    except WrongUse:
        return Answer({})


def explain(loaded: Loaded, answer: Answer, found: list[WhyNot], as_json: bool) -> int:
    """Print why a set is not among the answers."""
    from kgraph.render import whynot as render_whynot

    if as_json:
        said = [render_whynot.as_json(loaded.data, w) for w in found]
        print_json({**answers.as_json(loaded.data, answer), "why not": said}, loaded)
    else:
        sys.stdout.write("".join(render_whynot.as_text(loaded.data, w) for w in found))
    return 0


def give(loaded: Loaded, answer: Answer, as_json: bool, proof: bool) -> int:
    """Print an answer: data to standard output, remarks to standard error. 1 if it is empty."""
    if as_json:
        print_json(answers.as_json(loaded.data, answer), loaded)
    else:
        sys.stdout.write(answers.as_text(loaded.data, answer, sys.stdout.isatty(), proof, whole()))
        if not answer.rows:
            print("nothing found", file=sys.stderr)
        shown = len(answers.shown_rows(answer)[0])
        if not answer.question.get("by place") and shown < len(answer.rows):
            print(answers.left_out(len(answer.rows) - shown), file=sys.stderr)
        for note in answer.notes:
            print(visible(note), file=sys.stderr)
    return 0 if answer.rows else 1


def print_json(value: dict[str, Any], loaded: Loaded | None = None) -> None:
    """One JSON object in UTF-8, whatever the locale says; with what the folder it is of leaves out."""
    value = told(value, loaded)
    text = json.dumps(value, ensure_ascii=False, indent=1, allow_nan=False)
    sys.stdout.flush()
    buffer = getattr(sys.stdout, "buffer", None)
    if buffer is None:
        sys.stdout.write(text + "\n")
    else:
        buffer.write(text.encode("utf-8", "backslashreplace") + b"\n")
        buffer.flush()


_why_not = click.option("--why-not", metavar="SET", help="Why this set is not among the answers.")


@click.command(short_help="which other sets take this knob or belt")
@click.argument("words", nargs=-1, required=True, metavar="PART | SET|UNIT POSITION")
@_why_not
@query_options
@click.pass_obj
def takers(
    settings: Settings,
    /,
    words: tuple[str, ...],
    why_not: str | None,
    as_json: bool,
    proof: bool,
    **rest: Any,
) -> int:
    """Which other sets take a part, or what a set or a unit of yours has at a position.

    Example: kgraph takers "Larkfield LK-40" "volume knob" --proof
    """
    wish = wanted(**rest, proof=proof)

    def ask(of: Loaded) -> Answer:
        return asked.takers(of.graph, words, wish)

    if why_not is None:
        return reply(settings, opened(settings), ask, as_json, proof)
    loaded = opened(settings)
    return explain(loaded, ask(loaded), [asked.why_no_taker(loaded.graph, words, why_not)], as_json)


@click.command(short_help="which sets can give it, best first")
@click.argument("set_name", metavar="SET|UNIT")
@click.argument("positions", nargs=-1, metavar="[POSITION]...")
@click.option(
    "-o",
    "--output",
    type=click.Path(dir_okay=False),
    metavar="FILE",
    help="One HTML page for print: places down, own units across.",
)
@_why_not
@query_options
@click.pass_obj
def donors(
    settings: Settings,
    /,
    set_name: str,
    positions: tuple[str, ...],
    output: str | None,
    why_not: str | None,
    as_json: bool,
    proof: bool,
    **rest: Any,
) -> int:
    """Which sets can give what a set wants at these positions; own units of theirs are named.

    Without a position: a line for each place, with the best donor. For a unit: what it wants.

    Example: kgraph donors "Larkfield LK-40" "volume knob" "dial glass"
    """

    def ask(of: Loaded) -> Answer:
        return asked.donors(of.graph, set_name, positions, wanted(**rest, proof=proof))

    if output is not None:
        return _grid(settings, set_name, positions, wanted(**rest), output)
    if why_not is None:
        return reply(settings, opened(settings), ask, as_json, proof)
    loaded = opened(settings)
    found = asked.why_no_donor(loaded.graph, set_name, positions, why_not)
    return explain(loaded, ask(loaded), found, as_json)


def _grid(settings: Settings, name: str, positions: Sequence[str], wish: Wanted, output: str) -> int:
    """Write the grid of a set's places and own units; raises WrongUse for another form than HTML."""
    from pathlib import Path

    from kgraph.folder import writing
    from kgraph.render import glance as render
    from kgraph.shelf.glance import grid
    from kgraph.shelf.ledger import shelf_now

    if not output.lower().endswith((".html", ".htm")):
        raise WrongUse(f"{output!r} is no name of a page; name it like donors.html")
    loaded = opened(settings)
    shelf = shelf_now(loaded.graph)
    found = grid(loaded.graph, *asked.places_wanted(loaded.graph, name, positions), wish, shelf)
    text = render.page(loaded.data, found, {u: shelf.units[u].set for u in found.units})
    writing.write_over(Path(output), text.encode("utf-8"))
    print(f"written: {visible(output)}")
    return 0


@click.command(short_help="which part numbers go there: what to ask a seller for")
@click.argument("words", nargs=-1, required=True, metavar="SET|UNIT POSITION")
@query_options
@click.pass_obj
def parts(settings: Settings, /, words: tuple[str, ...], as_json: bool, proof: bool, **rest: Any) -> int:
    """Which parts go at a place of a set, each with its role, and the sets that are known to have it.

    Example: kgraph parts "Larkfield LK-40" "volume knob"
    """
    wish = wanted(**rest, proof=proof)

    def ask(of: Loaded) -> Answer:
        return asked.parts(of.graph, words, wish)

    return reply(settings, opened(settings), ask, as_json, proof)


def _of_set(
    settings: Settings,
    question: Callable[[Graph, str, Wanted], Answer],
    set_name: str,
    as_json: bool,
    proof: bool,
    wish: Wanted,
) -> int:
    """Ask a question about one set by its name, and print the answer."""

    def ask(of: Loaded) -> Answer:
        return question(of.graph, set_name, wish)

    return reply(settings, opened(settings), ask, as_json, proof)


@click.command(short_help="the same design under other badges")
@click.argument("set_name", metavar="SET")
@query_options
@click.pass_obj
def sisters(settings: Settings, /, set_name: str, as_json: bool, proof: bool, **rest: Any) -> int:
    """The same design under other badges, and what differs.

    Example: kgraph sisters "Larkfield LK-40"
    """
    return _of_set(settings, asked.sisters, set_name, as_json, proof, wanted(**rest, proof=proof))


@click.command(short_help="which assemblies a set is built on, and with whom")
@click.argument("set_name", metavar="SET")
@query_options
@click.pass_obj
def shares(settings: Settings, /, set_name: str, as_json: bool, proof: bool, **rest: Any) -> int:
    """Which assemblies a set is built on, and which other sets are.

    Example: kgraph shares "Larkfield LK-40"
    """
    return _of_set(settings, asked.shares, set_name, as_json, proof, wanted(**rest, proof=proof))
