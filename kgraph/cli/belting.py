"""belt path, fit, find, family and speed: ask, render, exit."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from kgraph import belt_questions, quantities, questions
from kgraph.belts import drive, identify
from kgraph.cli.asking import print_json, query_options, wanted
from kgraph.cli.loading import Settings, load
from kgraph.collection import Collection
from kgraph.problems import Problem, WrongUse
from kgraph.render import belts
from kgraph.render.terminal import visible

T = TypeVar("T")

_LENGTHS = {
    "inside_length": "inside length",
    "inside_diameter": "inside diameter",
    "folded": "folded",
}


@click.group(short_help="the right belt, from a measure or from the pulleys")
def belt() -> None:
    """Belts: which one a measured belt can be, what a belt does in a set, and who shares it."""


def _read(reader: Callable[..., T], text: str, *rest: Any) -> T:
    """A quantity from the command line; a bad one is wrong use, with what would be right."""
    try:
        return reader(text, *rest)
    except quantities.QuantityError as error:
        raise WrongUse(Problem(None, "quantity", error.what, error.right)) from None


def _give(text: str, notes: tuple[str, ...]) -> None:
    """Text to standard output, remarks to standard error."""
    sys.stdout.write(text)
    for note in notes:
        print(visible(note), file=sys.stderr)


@belt.command("path", short_help="the path on the pulleys, and the lengths that fit")
@click.argument("words", nargs=-1, required=True, metavar="SET [POSITION]")
@click.option("--section", metavar="SECTION", help='Another section than the recorded, like "square 1.2 mm".')
@query_options
@click.pass_obj
def path_(
    settings: Settings,
    /,
    words: tuple[str, ...],
    section: str | None,
    as_json: bool,
    proof: bool,
    **rest: Any,
) -> int:
    """The length of the belt's path, the inside lengths that give the wanted stretch, and what has them.

    Example: kgraph belt path "Larkfield RC-40" "main belt"
    """
    given = None if section is None else _read(quantities.section, section)
    loaded = load(settings)
    place = belt_questions.belt_place(loaded.graph, words, wanted(**rest))
    answer = belt_questions.path(loaded.graph, place, given)
    if answer is None:
        if as_json:
            print_json(belts.no_path_json(loaded.data, place))
        print("nothing found: no run is recorded for this place; `kgraph add run` adds one", file=sys.stderr)
        return 1
    if as_json:
        print_json(belts.path_json(loaded.data, answer))
    else:
        _give(belts.path_text(loaded.data, answer, sys.stdout.isatty(), proof), answer.notes)
    return 0


@belt.command("fit", short_help="what a belt does in a set: stretch, pull, speed")
@click.argument("belt_name", metavar="BELT")
@click.argument("words", nargs=-1, required=True, metavar="SET [POSITION]")
@query_options
@click.pass_obj
def fit_(
    settings: Settings,
    /,
    belt_name: str,
    words: tuple[str, ...],
    as_json: bool,
    proof: bool,
    **rest: Any,
) -> int:
    """Whether a recorded belt goes in a set, with every reason: stretch, pull, slip and tape speed.

    Example: kgraph belt fit "SQ 1.25 x 262" "Larkfield RC-40" "main belt"
    """
    loaded = load(settings)
    part = questions.part_named(loaded.data, belt_name)
    place = belt_questions.belt_place(loaded.graph, words, wanted(**rest))
    answer = belt_questions.fit(loaded.graph, part, place)
    if as_json:
        print_json(belts.fit_json(loaded.data, answer))
    else:
        _give(belts.fit_text(loaded.data, answer, sys.stdout.isatty(), proof), answer.notes)
    return 1 if answer.fit.verdict == "not known" else 0


@belt.command("find", short_help="which recorded belt a measured one can be")
@click.option("--section", required=True, metavar="SECTION", help='Like "square 1.2 mm".')
@click.option("--inside-length", metavar="LENGTH", help='Around the inside at rest, like "262 mm".')
@click.option("--inside-diameter", metavar="LENGTH", help="Across the inside of the round belt.")
@click.option("--folded", metavar="LENGTH", help="Laid flat and doubled: half the inside length.")
@click.option("--worn", is_flag=True, help="The belt may have grown by 0 to 8 %.")
@click.option("--section-error", default="0.1 mm", metavar="LENGTH", help="Default: 0.1 mm.")
@click.option("--length-error", metavar="ERROR", help="A percentage or a length. Default: 1 %.")
@query_options
@click.pass_obj
def find_(
    settings: Settings,
    /,
    section: str,
    worn: bool,
    section_error: str,
    length_error: str | None,
    as_json: bool,
    proof: bool,
    inside_length: str | None,
    inside_diameter: str | None,
    folded: str | None,
    **rest: Any,
) -> int:
    """Which recorded belts a measured one can be, how likely each is, and which sets take it.

    Example: kgraph belt find --section "square 1.2 mm" --folded "131 mm" --worn
    """
    lengths = {"inside_length": inside_length, "inside_diameter": inside_diameter, "folded": folded}
    seen = _measured(section, lengths, section_error, length_error, worn)
    loaded = load(settings)
    try:
        answer = belt_questions.find(loaded.graph, seen, wanted(**rest))
    except identify.MeasureError as error:
        raise WrongUse(Problem(None, "measure", str(error), "see `kgraph check`")) from None
    if as_json:
        print_json(belts.find_json(loaded.data, answer))
    else:
        _give(belts.find_text(loaded.data, answer, sys.stdout.isatty(), proof), answer.notes)
    if len(answer.found) > 1:
        return 0
    print("nothing found: no belt of that form of section is recorded", file=sys.stderr)
    return 1


def _measured(
    section: str, lengths: dict[str, str | None], section_error: str, length_error: str | None, worn: bool
) -> identify.Measured:
    """The measurement that the options describe. Raises WrongUse."""
    given = [(name, text) for name, text in lengths.items() if text is not None]
    if len(given) != 1:
        says = "the belt's length must be given in exactly one way"
        mend = "use one of --inside-length, --inside-diameter and --folded"
        raise WrongUse(Problem(None, "one-length", says, mend))
    read = _read(quantities.inside_length, given[0][1], _LENGTHS[given[0][0]])
    fraction, error_mm = identify.LENGTH_ERROR, read.plus_minus_mm or None
    if length_error is not None and length_error.strip().endswith("%"):
        fraction, error_mm = _read(quantities.percent, length_error), None
    elif length_error is not None:
        error_mm = _read(quantities.length, length_error).mm
    try:
        return identify.measured(
            _read(quantities.section, section),
            read.mm,
            section_error_mm=_read(quantities.length, section_error).mm,
            length_error=fraction,
            length_error_mm=error_mm,
            worn=worn,
        )
    except identify.MeasureError as error:
        raise WrongUse(Problem(None, "measure", str(error), "measure it again")) from None


@belt.command("family", short_help="who shares the belt, and who contradicts whom")
@click.argument("words", nargs=-1, required=True, metavar="SET [POSITION]")
@query_options
@click.pass_obj
def family_(settings: Settings, /, words: tuple[str, ...], as_json: bool, proof: bool, **rest: Any) -> int:
    """One row for each set that shares the place: its belt, the stretch, and whether the rows agree.

    Example: kgraph belt family "Larkfield RC-40" "main belt"
    """
    loaded = load(settings)
    wish = wanted(**rest)
    place = belt_questions.belt_place(loaded.graph, words, wish)
    answer = belt_questions.family(loaded.graph, place, wish)
    if as_json:
        print_json(belts.family_json(loaded.data, answer))
    else:
        _give(belts.family_text(loaded.data, answer, sys.stdout.isatty(), proof), ())
    if any(row.part for row in answer.rows):
        return 0
    print("nothing found: no belt is recorded for this place", file=sys.stderr)
    return 1


def _hertz(text: str) -> float:
    clean = text.strip()
    return quantities.number(clean[:-2] if clean.lower().endswith("hz") else clean, 20.0, 20000.0)


@belt.command("speed", short_help="the speed error that a test tone tells")
@click.argument("words", nargs=-1, metavar="[SET [POSITION]]")
@click.option("--tone", required=True, metavar="HZ", help="The tone on the test tape: 3150 or 3000.")
@click.option("--heard", required=True, metavar="HZ", help="The tone that was heard.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object instead of text.")
@click.pass_obj
def speed_(settings: Settings, /, words: tuple[str, ...], tone: str, heard: str, as_json: bool) -> int:
    """The speed error from a test tape's tone, and what would explain it; with a set, in its belt's terms.

    Example: kgraph belt speed --tone 3150 --heard 3087
    """
    tone_hz, heard_hz = _read(_hertz, tone), _read(_hertz, heard)
    loaded = load(settings) if words else None
    place = belt_questions.belt_place(loaded.graph, words) if loaded else None
    reading = belt_questions.speed(tone_hz, heard_hz, place)
    data = loaded.data if loaded else None
    if as_json:
        print_json(belts.speed_json(data, place, tone_hz, heard_hz, reading))
    else:
        sys.stdout.write(belts.speed_text(data, reading))
    return 0


@click.command("run", short_help="a belt on its pulleys, to scale")
@click.argument("words", nargs=-1, required=True, metavar="SET [POSITION]")
@click.option("--section", metavar="SECTION", help='Another section than the recorded, like "square 1.2 mm".')
@click.option(
    "-o", "--output", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE",
    help="An svg file; without it SVG to standard output.",
)  # fmt: skip
@click.pass_obj
def run_picture(
    settings: Settings, /, words: tuple[str, ...], section: str | None, output: Path | None
) -> int:
    """The pulleys and the belt on them, to scale, with path, wraps and stretch: the command `draw run`.

    Example: kgraph draw run "Larkfield RC-40" "main belt" -o run.svg
    """
    from kgraph.folder import writing
    from kgraph.render import run_picture as picture

    if output is not None and output.suffix.lower() != ".svg":
        raise WrongUse(Problem(None, "format", f"{output.name!r} is no svg file", "name it like run.svg"))
    given = None if section is None else _read(quantities.section, section)
    loaded = load(settings)
    place = belt_questions.belt_place(loaded.graph, words)
    answer = belt_questions.path(loaded.graph, place, given)
    if answer is None:
        print("nothing found: no run is recorded for this place; `kgraph add run` adds one", file=sys.stderr)
        return 1
    drawn = picture.svg(loaded.data, answer, _fitted(loaded.data, answer) if section is None else None)
    if output is None:
        sys.stdout.write(drawn.decode("utf-8") + "\n")
        return 0
    writing.write_over(output, drawn)
    print(f"written: {output}")
    return 0


def _fitted(data: Collection, answer: belt_questions.PathAnswer) -> tuple[str, float] | None:
    """The recorded belt and its stretch on the run that is drawn."""
    recorded = answer.place.recorded
    if recorded is None or recorded.belt is None:
        return None
    stretch = drive.fit(recorded.belt, answer.place.run).stretch
    return None if stretch is None else (data.text("part", recorded.part), stretch)
