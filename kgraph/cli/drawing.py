"""draw: pictures, each made as DOT text and drawn by Graphviz or what stands in for it."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, TypeVar

import click

from kgraph import questions
from kgraph.api import asked
from kgraph.api.loaded import Loaded
from kgraph.cli.asking import asking_options, wanted
from kgraph.cli.belting import run_picture
from kgraph.cli.opening import opened
from kgraph.cli.progress import steps
from kgraph.cli.settings import Settings
from kgraph.folder import writing
from kgraph.questions import Answer, Row, Wanted
from kgraph.render.answers import caution_texts
from kgraph.render.terminal import visible

F = TypeVar("F", bound=Callable[..., Any])

_QUESTIONS = ("takers", "donors", "sisters")


@click.group(short_help="pictures of families, of what is shared, and of proofs")
def draw() -> None:
    """Pictures: svg, png, pdf or dot, by the suffix of the file."""


def _file_options(command: F) -> F:
    for option in reversed(
        [
            click.option(
                "-o",
                "--output",
                type=click.Path(path_type=Path, dir_okay=False),
                metavar="FILE",
                help="svg, png, pdf or dot by its suffix; without it DOT text to standard output.",
            ),
            click.option("--title", metavar="TEXT", help="Another title for the picture."),
        ]
    ):
        command = option(command)
    return command


def _picture_options(command: F) -> F:
    """Where the picture goes, its title, and what changes the answer that it shows."""
    return _file_options(asking_options(command))


@draw.command(short_help="one design under its badges")
@click.argument("set_name", metavar="SET")
@_picture_options
@click.pass_obj
def family(settings: Settings, /, set_name: str, output: Path | None, title: str | None, **rest: Any) -> int:
    """The family of a set: one design under its badges, by year, and what differs.

    Example: kgraph draw family "Larkfield LK-40" -o family.svg
    """
    from kgraph.render import dot

    loaded = _begin(settings, output)
    set_key = questions.name_of(loaded.data, "set", set_name)
    wish = wanted(**rest)
    only, notes = None, _supposed(settings, loaded)
    if wish.at_least > 0:
        sure = questions.sisters(loaded.graph, set_key, wish)
        only = {row.set for row in sure.rows}
        notes += (sure.less,) if sure.less else ()
    text = dot.family(loaded.data, loaded.graph, set_key, title=title, only=only, notes=notes)
    return _finish(settings, text, output)


@draw.command("takers", short_help="who takes a part, and through which facts")
@click.argument("words", nargs=-1, required=True, metavar="PART | SET POSITION")
@_picture_options
@click.pass_obj
def takers_(
    settings: Settings, /, words: tuple[str, ...], output: Path | None, title: str | None, **rest: Any
) -> int:
    """Who takes a part, or what a set has at a position, through which facts.

    Example: kgraph draw takers "Larkfield LK-40" "volume knob" -o knob.svg
    """
    from kgraph.render import dot

    loaded = _begin(settings, output)
    what, answer = _takers(loaded, words, wanted(**rest))
    if not answer.rows:
        return _nothing(loaded, answer)
    notes = (*_supposed(settings, loaded), *questions.unlike_notes(loaded.data, answer.unlike))
    return _finish(settings, dot.takers(loaded.graph, what, answer, title=title, notes=notes), output)


@draw.command("shares", short_help="a set against the chassis, mechanisms and boards it shares")
@click.argument("set_name", metavar="SET")
@_picture_options
@click.pass_obj
def shares_(settings: Settings, /, set_name: str, output: Path | None, title: str | None, **rest: Any) -> int:
    """What a set is built on, and which other sets share which of it.

    Example: kgraph draw shares "Larkfield LK-40" -o shared.pdf
    """
    from kgraph.render import dot

    loaded = _begin(settings, output)
    set_key = questions.name_of(loaded.data, "set", set_name)
    answer = questions.shares(loaded.graph, set_key, wanted(**rest))
    if not answer.rows:
        return _nothing(loaded, answer)
    notes = _supposed(settings, loaded)
    return _finish(settings, dot.shares(loaded.data, set_key, answer, title=title, notes=notes), output)


@draw.command("proof", short_help="one answer as its chain of facts")
@click.argument("question", type=click.Choice(_QUESTIONS), metavar="|".join(_QUESTIONS))
@click.argument("words", nargs=-1, required=True, metavar="PART | SET [POSITION]")
@click.option("--set", "answer_set", metavar="SET", help="Which answer; without it the best one.")
@click.option("--at", "at", metavar="POSITION", help="Which answer, where a set has several.")
@_picture_options
@click.pass_obj
def proof_(
    settings: Settings,
    /,
    question: str,
    words: tuple[str, ...],
    answer_set: str | None,
    at: str | None,
    output: Path | None,
    title: str | None,
    **rest: Any,
) -> int:
    """One answer of takers, donors or sisters as its chain of facts: each with its source, file, line and
    certainty; where the answer is disputed, both sides. A refused answer is drawn as well.

    Example: kgraph draw proof takers K-114 --set "Orvanek 2200" -o proof.svg
    """
    loaded = _begin(settings, output)
    heading = title, _supposed(settings, loaded)
    text = _proof(loaded, question, words, (answer_set, at), heading, wanted(**rest, proof=True))
    if text is None:
        print("nothing found", file=sys.stderr)
        return 1
    return _finish(settings, text, output)


@draw.command("shelf", short_help="what a plan takes from which unit")
@click.argument("units", nargs=-1, required=True, metavar="UNIT...")
@_file_options
@click.pass_obj
def shelf_(settings: Settings, /, units: tuple[str, ...], output: Path | None, title: str | None) -> int:
    """The plan for the wants of these units, as `kgraph plan` makes it: who gives what to whom.

    Example: kgraph draw shelf U-09 -o plan.svg
    """
    from kgraph.render.plan_picture import shelf_picture
    from kgraph.shelf.plan import plan

    loaded = _begin(settings, output)
    found = plan(loaded.graph, [questions.name_of(loaded.data, "unit", u) for u in units])
    if not found.wants:
        print("nothing found: no want of these units is open", file=sys.stderr)
        return 1
    return _finish(settings, shelf_picture(found, loaded.graph, title), output)


@draw.command("key", short_help="an identification key: which set is this")
@click.argument("sets", nargs=-1, metavar="[SET...]")
@_file_options
@click.pass_obj
def key_(settings: Settings, /, sets: tuple[str, ...], output: Path | None, title: str | None) -> int:
    """An identification key for print: questions, their answers, and the sets that these lead to.

    Example: kgraph draw key "Larkfield LK-40" "Quillon 31" -o key.svg
    """
    from kgraph.cli.identifying import key_of
    from kgraph.render.key import as_dot

    loaded = _begin(settings, output)
    return _finish(settings, as_dot(loaded.data, key_of(loaded, sets), title), output)


draw.add_command(run_picture)


# What is asked --------------------------------------------------------------------------------


def _takers(loaded: Loaded, words: tuple[str, ...], wish: Wanted) -> tuple[Any, Answer]:
    from kgraph.render.dot import PicturedQuestion

    if asked.is_part(loaded.graph, words):
        part = questions.part_named(loaded.data, " ".join(words))
        return PicturedQuestion(part=part), questions.takers_of_part(loaded.graph, part, wish)
    set_key, position = questions.place_named(loaded.data, words)
    place = PicturedQuestion(set_key=set_key, position=position)
    return place, questions.takers_of_place(loaded.graph, set_key, position, wish)


def _proof(
    loaded: Loaded,
    question: str,
    words: tuple[str, ...],
    which: tuple[str | None, str | None],
    heading: tuple[str | None, tuple[str, ...]],
    wish: Wanted,
) -> str | None:
    """The picture of one proof under its title and notes; None where there is no answer."""
    from kgraph.render import dot

    title, notes = heading

    # One that is named is drawn even if it is refused: its picture shows what speaks against it.
    wish = Wanted(wish.at_least, wish.refused_too or which[0] is not None, wish.seconds, proofs=True)
    graph = loaded.graph
    if question == "takers":
        what, answer = _takers(loaded, words, wish)
        row = _chosen(loaded, answer, *which)
        return dot.proof_of_taker(graph, what, row, title=title, notes=notes) if row else None
    if question == "donors":
        set_key, position = questions.place_named(loaded.data, words)
        row = _chosen(loaded, questions.donors(graph, set_key, [position], wish), *which)
        return dot.proof_of_donor(graph, set_key, row, title=title, notes=notes) if row else None
    set_key = questions.name_of(loaded.data, "set", " ".join(words))
    row = _chosen(loaded, questions.sisters(graph, set_key, wish), which[0], None)
    return dot.proof_of_sister(graph, set_key, row, title=title, notes=notes) if row else None


def _chosen(loaded: Loaded, answer: Answer, set_name: str | None, at: str | None) -> Row | None:
    """The answer about this set, at this position; of several the best, and the others are said.

    Where all are refused, one of those: its picture says why.
    """
    rows: Sequence[Row] = answer.rows or answer.unlike
    if set_name is not None:
        owner = f"s:{questions.name_of(loaded.data, 'set', set_name)}"
        rows = [row for row in rows if row.set == owner]
    if at is not None:
        position = questions.name_of(loaded.data, "position", at)
        rows = [row for row in rows if row.position == position]
    if len({row.position for row in rows}) > 1 and set_name is not None:
        places = ", ".join(sorted({loaded.data.text("position", row.position) for row in rows}))
        print(f"the best of several places: {places}; --at chooses one", file=sys.stderr)
    return rows[0] if rows else None


# What is written ------------------------------------------------------------------------------


def _begin(settings: Settings, output: Path | None) -> Loaded:
    """The folder; a file whose suffix names no picture is refused before anything is read."""
    if output is not None:
        from kgraph.render.dot import format_of

        format_of(output)
    return opened(settings)


def _supposed(settings: Settings, loaded: Loaded) -> tuple[str, ...]:
    """What the picture says is supposed only, so that nobody takes it for what the folder says."""
    from kgraph.render.pictures import told

    return told.supposed(loaded.data, settings.suppose, settings.without)


def _nothing(loaded: Loaded, answer: Answer) -> int:
    print("nothing found", file=sys.stderr)
    for note in answer.notes:
        print(visible(note), file=sys.stderr)
    for name, text in caution_texts(loaded.data, (c for r in answer.unlike for c in r.cautions)).items():
        print(visible(f"Caution, {name}: {text}"), file=sys.stderr)
    return 1


def _finish(settings: Settings, text: str, output: Path | None) -> int:
    """Write the picture, or its DOT text to standard output."""
    if output is None:
        sys.stdout.write(text)
    else:
        from kgraph.render import dot

        with steps("drawing"):
            picture = dot.render(text, output)
        writing.write_over(output, picture)
        print(f"written: {output}")
    if settings.suppose or settings.without:
        print("Supposed only: no fact is written.", file=sys.stderr)
    return 0
