"""belt path, fit, find, family and speed, and draw run: ask, render, exit."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar

import click

from kgraph import belt_sizes
from kgraph.api import asked_belts as asked
from kgraph.api.loaded import Loaded
from kgraph.belts import drive
from kgraph.belts.tone import ToneReading
from kgraph.cli.asking import ASSUMED_OPTION, print_json, query_options, wanted, whole
from kgraph.cli.loading import as_it_is
from kgraph.cli.opening import opened
from kgraph.cli.settings import Settings
from kgraph.collection import Collection
from kgraph.problems import Problem, WrongUse
from kgraph.questions import belt_families, belt_finds, belt_fits, belt_paths, belt_places
from kgraph.render import belt_changes, belt_sets, belts, fitting_belts
from kgraph.render.answers import MOST_SHOWN
from kgraph.render.terminal import visible, wrapped

T = TypeVar("T")

_NO_RUN = "nothing found: no run is recorded for this place; `kgraph add run` adds one"


@click.group(short_help="the right belt, from a measure or from the pulleys")
def belt() -> None:
    """Belts: which one a measured belt can be, what a belt does in a set, and who shares it."""


def _tolerance(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    return None if value is None else asked.tolerance_class(value)


_tolerance_option = click.option(
    "--tolerance",
    "grade",
    callback=_tolerance,
    metavar="CLASS",
    help="How far belts are off as sold: M1 to M4 moulded, E1 to E3 extruded (ISO 3302-1). Default: M3.",
)


@dataclass(frozen=True)
class _Form(Generic[T]):
    """How one command's answer is shown: as JSON, as text, piece by piece, and its remarks."""

    as_json: Callable[[Collection, T], dict[str, Any]]
    as_text: Callable[[Collection, T, bool], str]
    said: Callable[[Collection, T], belt_changes.Said]
    notes: Callable[[T], tuple[str, ...]]


def _reply(
    settings: Settings, loaded: Loaded, ask: Callable[[Loaded], T], form: _Form[T], as_json: bool
) -> T:
    """Ask and print; where something is supposed, also what it changes."""
    answer = ask(loaded)
    before = None
    if settings.suppose or settings.without:
        before = _said_before(as_it_is(loaded), ask, form)
    after = form.said(loaded.data, answer)
    if as_json:
        found = form.as_json(loaded.data, answer)
        changed = {} if before is None else {"changed": belt_changes.changed_json(before, after)}
        print_json({**found, **changed}, loaded)
        return answer
    terminal = sys.stdout.isatty()
    sys.stdout.write(form.as_text(loaded.data, answer, terminal))
    _remark(form.notes(answer))
    if before is not None:
        sys.stdout.write(belt_changes.changed_text(before, after, terminal))
        print("Supposed only: nothing is written.", file=sys.stderr)
    return answer


def _said_before(loaded: Loaded, ask: Callable[[Loaded], T], form: _Form[T]) -> belt_changes.Said:
    """What is said without what is supposed; nothing where a name is known only by that."""
    try:
        return form.said(loaded.data, ask(loaded))
    except WrongUse:
        return {}


def _remark(notes: tuple[str, ...]) -> None:
    """Remarks to standard error, in lines no wider than a terminal."""
    for note in notes:
        text = visible(note)
        sys.stderr.write(wrapped(text) if sys.stderr.isatty() else f"{text}\n")


@belt.command("path", short_help="the path on the pulleys, and the lengths that fit")
@click.argument("words", nargs=-1, required=True, metavar="SET|UNIT [POSITION]")
@click.option("--section", metavar="SECTION", help='Another section than the recorded, like "square 1.2 mm".')
@click.option("--thickness", metavar="LENGTH", help="The recorded section, but this thick.")
@_tolerance_option
@ASSUMED_OPTION
@query_options
@click.pass_obj
def path_(
    settings: Settings,
    /,
    words: tuple[str, ...],
    section: str | None,
    thickness: str | None,
    grade: str | None,
    as_json: bool,
    proof: bool,
    **rest: Any,
) -> int:
    """The length of the belt's path, the inside lengths that give the wanted stretch, and what has them.

    Example: kgraph belt path "Larkfield LK-40" "main belt" --thickness "1.2 mm"
    """
    given = asked.section_given(section, thickness)

    def ask(of: Loaded) -> belt_paths.PathAnswer | None:
        place = asked.place(of.graph, words, wanted(**rest))
        return belt_paths.path(of.graph, place, given(of.graph, place), grade)

    loaded = opened(settings)
    place = asked.place(loaded.graph, words, wanted(**rest))
    form = _Form[belt_paths.PathAnswer | None](
        lambda data, a: belts.path_json(data, a) if a else belts.no_path_json(data, place),
        lambda data, a, terminal: belts.path_text(data, a, terminal, proof, whole()) if a else "",
        belt_changes.path_said,
        lambda a: a.notes if a else (*belt_places.less_certain(place), _NO_RUN),
    )
    answer = _reply(settings, loaded, ask, form, as_json)
    if answer is None and as_json:
        print(_NO_RUN, file=sys.stderr)
    return 1 if answer is None else 0


@belt.command("fit", short_help="what a belt does in a set: stretch, pull, speed")
@click.argument("belt_name", metavar="BELT")
@click.argument("words", nargs=-1, required=True, metavar="SET|UNIT [POSITION]")
@_tolerance_option
@ASSUMED_OPTION
@query_options
@click.pass_obj
def fit_(
    settings: Settings,
    /,
    belt_name: str,
    words: tuple[str, ...],
    grade: str | None,
    as_json: bool,
    proof: bool,
    **rest: Any,
) -> int:
    """Whether a recorded belt goes in a set, with every reason: stretch, pull, slip and tape speed.

    Example: kgraph belt fit "SQ 1.25 x 262" "Larkfield LK-40" "main belt"
    """

    def ask(of: Loaded) -> belt_fits.FitAnswer:
        return asked.fit(of.graph, belt_name, words, grade, wanted(**rest))

    form = _Form[belt_fits.FitAnswer](
        fitting_belts.fit_json,
        lambda data, a, terminal: fitting_belts.fit_text(data, a, terminal, proof, whole()),
        belt_changes.fit_said,
        lambda a: a.notes,
    )
    answer = _reply(settings, opened(settings), ask, form, as_json)
    return 1 if answer.fit.verdict == "not known" else 0


@belt.command("find", short_help="which recorded belt a measured one can be")
@click.option("--section", required=True, metavar="SECTION", help='Like "square 1.2 mm".')
@click.option("--inside-length", metavar="LENGTH", help='Around the inside at rest, like "262 mm".')
@click.option("--inside-diameter", metavar="LENGTH", help="Across the inside of the round belt.")
@click.option("--folded", metavar="LENGTH", help="Laid flat and doubled: half the inside length.")
@click.option("--worn", is_flag=True, help="The belt may have grown by 0 to 8 %.")
@click.option("--section-error", metavar="LENGTH", help="Default: 0.1 mm, 0.2 mm where it is about.")
@click.option(
    "--length-error", metavar="ERROR", help="A percentage or a length. Default: 1 %, 3 % where it is about."
)
@ASSUMED_OPTION
@query_options
@click.pass_obj
def find_(
    settings: Settings,
    /,
    section: str,
    worn: bool,
    section_error: str | None,
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
    seen = asked.measured(section, lengths, section_error, length_error, worn)

    def ask(of: Loaded) -> belt_finds.FindAnswer:
        return asked.find(of.graph, seen, wanted(**rest))

    form = _Form[belt_finds.FindAnswer](
        lambda data, a: belt_sets.find_json(data, a, proof),
        lambda data, a, terminal: belt_sets.find_text(data, a, terminal, proof, whole()),
        belt_changes.find_said,
        lambda a: a.notes,
    )
    answer = _reply(settings, opened(settings), ask, form, as_json)
    if len(answer.found) > 1:
        return 0
    print("nothing found: no belt of that form of section is recorded", file=sys.stderr)
    return 1


@belt.command("family", short_help="who shares the belt, and who contradicts whom")
@click.argument("words", nargs=-1, required=True, metavar="SET|UNIT [POSITION]")
@ASSUMED_OPTION
@query_options
@click.pass_obj
def family_(settings: Settings, /, words: tuple[str, ...], as_json: bool, proof: bool, **rest: Any) -> int:
    """One row for each set that shares the place: its belt, the stretch, and whether the rows agree.

    Example: kgraph belt family "Larkfield LK-40" "main belt"
    """
    wish = wanted(**rest)

    def ask(of: Loaded) -> belt_families.FamilyAnswer:
        return belt_families.family(of.graph, asked.place(of.graph, words, wish), wish)

    form = _Form[belt_families.FamilyAnswer](
        belt_sets.family_json,
        lambda data, a, terminal: belt_sets.family_text(data, a, terminal, proof, whole()),
        belt_changes.family_said,
        lambda a: belt_sets.rest_of(a, a.most or MOST_SHOWN),
    )
    answer = _reply(settings, opened(settings), ask, form, as_json)
    if any(row.part for row in answer.rows):
        return 0
    print("nothing found: no belt is recorded for this place", file=sys.stderr)
    return 1


@belt.command("speed", short_help="the speed error that a test tone tells")
@click.argument("words", nargs=-1, metavar="[SET|UNIT [POSITION]]")
@click.option("--tone", required=True, metavar="HZ", help="The tone on the test tape: 3150 or 3000.")
@click.option("--heard", required=True, metavar="HZ", help="The tone that was heard.")
@ASSUMED_OPTION
@query_options
@click.pass_obj
def speed_(
    settings: Settings,
    /,
    words: tuple[str, ...],
    tone: str,
    heard: str,
    as_json: bool,
    proof: bool,
    **rest: Any,
) -> int:
    """The speed error from a test tape's tone, and what would explain it; with a set, in its belt's terms.

    Example: kgraph belt speed --tone 3150 --heard 3087
    """
    tone_hz, heard_hz = asked.read(asked.hertz, tone), asked.read(asked.hertz, heard)
    if not words and (settings.suppose or settings.without):
        mend = "name the set that it is about"
        raise WrongUse(Problem(None, "no-set", "a fact changes nothing where no set is named", mend))
    if not words:
        reading = belt_paths.speed(tone_hz, heard_hz)
        if as_json:
            print_json(belts.speed_json(None, None, tone_hz, heard_hz, reading))
        else:
            sys.stdout.write(belts.speed_text(None, None, reading, sys.stdout.isatty(), False, whole()))
        return 0

    def ask(of: Loaded) -> tuple[belt_places.BeltPlace, ToneReading]:
        place = asked.place(of.graph, words, wanted(**rest))
        return place, belt_paths.speed(tone_hz, heard_hz, place)

    form = _Form[tuple[belt_places.BeltPlace, ToneReading]](
        lambda data, a: belts.speed_json(data, a[0], tone_hz, heard_hz, a[1], asked.place_notes(a[0])),
        lambda data, a, terminal: belts.speed_text(data, *a, terminal, proof, whole()),
        lambda data, a: belt_changes.speed_said(a[1]),
        lambda a: asked.place_notes(a[0]),
    )
    _reply(settings, opened(settings), ask, form, as_json)
    return 0


@click.command("run", short_help="a belt on its pulleys, to scale")
@click.argument("words", nargs=-1, required=True, metavar="SET|UNIT [POSITION]")
@click.option("--section", metavar="SECTION", help='Another section than the recorded, like "square 1.2 mm".')
@click.option(
    "-o", "--output", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE",
    help="svg, png or pdf by its suffix; without it SVG to standard output.",
)  # fmt: skip
@click.pass_obj
def run_picture(
    settings: Settings, /, words: tuple[str, ...], section: str | None, output: Path | None
) -> int:
    """The pulleys and the belt on them, to scale, with path, wraps and stretch: the command `draw run`.

    Example: kgraph draw run "Larkfield LK-40" "main belt" -o run.svg
    """
    from kgraph.folder import writing
    from kgraph.render import run_picture as picture

    form = output.suffix.lower().lstrip(".") if output is not None else "svg"
    if output is not None and form not in picture.FORMATS:
        says = f"{output.name!r} ends in none of {', '.join(picture.FORMATS)}"
        raise WrongUse(Problem(None, "format", says, "name it like run.svg"))
    given = None if section is None else asked.read(belt_sizes.section, section)
    loaded = opened(settings)
    place = asked.place(loaded.graph, words)
    answer = belt_paths.path(loaded.graph, place, given)
    if answer is None:
        print("nothing found: no run is recorded for this place; `kgraph add run` adds one", file=sys.stderr)
        return 1
    drawn = picture.svg(loaded.data, answer, _fitted(loaded.data, answer) if section is None else None)
    if output is None:
        sys.stdout.write(drawn.decode("utf-8") + "\n")
        return 0
    writing.write_over(output, picture.in_format(drawn, form))
    print(f"written: {output}")
    return 0


def _fitted(data: Collection, answer: belt_paths.PathAnswer) -> tuple[str, float] | None:
    """The recorded belt and its stretch on the run that is drawn."""
    recorded = answer.place.recorded
    if recorded is None or recorded.belt is None:
        return None
    stretch = drive.fit(recorded.belt, answer.place.run).stretch
    return None if stretch is None else (data.text("part", recorded.part), stretch)
