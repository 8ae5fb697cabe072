"""plan and hunt: what to take from where, and what to look for."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from kgraph import quantities, questions
from kgraph.api import asked_shelf, event_log
from kgraph.api.loaded import Loaded
from kgraph.cli import events
from kgraph.cli.asking import CAUTIONS_OPTION, MOST_OPTION, print_json, whole
from kgraph.cli.loading import load
from kgraph.cli.opening import opened
from kgraph.cli.settings import Settings
from kgraph.folder import writing
from kgraph.problems import CannotRun, WrongUse
from kgraph.render import plan as render
from kgraph.render.answers import MOST_SHOWN
from kgraph.render.cautions import WHOLE, Whole
from kgraph.render.terminal import visible
from kgraph.shelf import hunt as hunting
from kgraph.shelf import plan as planner
from kgraph.shelf.plan import SECONDS, Course, Line, Plan, Wishes
from kgraph.shelf.taking import UNLOOKED, counts_on_it


def _number(low: float, high: float) -> Callable[[click.Context, click.Parameter, str], float]:
    def read(ctx: click.Context, param: click.Parameter, value: str) -> float:
        try:
            return quantities.number(value, low, high)
        except quantities.QuantityError as error:
            raise click.BadParameter(str(error)) from None

    return read


_WISHES = [
    click.option(
        "--without-unit", "without", multiple=True, metavar="UNIT", help="Leave this unit alone."
    ),
    click.option(
        "--keep", multiple=True, metavar="UNIT=N", help="What opening a unit costs in this plan, 0 to 10."
    ),
    click.option(
        "--work", default="1", callback=_number(0, 1000), metavar="W", show_default=True,
        help="What a line with work costs.",
    ),
    click.option(
        "--doubt", default="1", callback=_number(0, 1000), metavar="D", show_default=True,
        help="How much -ln(certainty) of a line counts.",
    ),
    click.option(
        "--seconds", default=f"{SECONDS:g}", callback=_number(0, 86400), metavar="S", show_default=True,
        help="Time for the proof that nothing is better.",
    ),
    click.option(
        "--at-least", default="0", callback=_number(0, 1), metavar="C", help="Leave out what is less certain."
    ),
]  # fmt: skip


def _wishing(command: Callable[..., int]) -> Callable[..., int]:
    for option in reversed([*_WISHES, CAUTIONS_OPTION]):
        command = option(command)
    return command


@click.command(short_help="what to take from which unit, provably best")
@click.argument("units", nargs=-1, required=True, metavar="UNIT...")
@_wishing
@click.option(
    "--instead", type=click.IntRange(0, 50), default=0, metavar="N", help="Also the N next best plans."
)
@click.option(
    "--rob", multiple=True, metavar="UNIT", help="Allow that this unit goes without what it counts on."
)
@click.option("--take", "take_it", is_flag=True, help="Write the removals of the plan, all or none.")
@click.option("--by", default="", help="With --take: who takes them out.")
@click.option("--date", default="", help="With --take: when.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object instead of a table.")
@click.option("--proof", is_flag=True, help="The facts of each line, with file and line.")
@click.pass_obj
def plan(
    settings: Settings,
    /,
    units: tuple[str, ...],
    instead: int,
    rob: tuple[str, ...],
    take_it: bool,
    by: str,
    date: str,
    as_json: bool,
    proof: bool,
    **wished: Any,
) -> int:
    """What to take from where for the wants of these units: as many as can be met, then at the least cost.

    The cost: `keep` of every unit that is opened (5 if not said, half for one that was robbed before),
    1 for each line that needs work, and -ln(certainty) of each line. What the shelf cannot meet is to be
    bought, made or looked for. What another unit counts on, and nothing else on the shelf could be, is not
    planned but told as possible; --rob UNIT allows it. Example: kgraph plan U-09 --instead 2
    """
    seen = event_log.bytes_of(settings.folders) if take_it else {}
    loaded = load(settings._replace(strict=True)) if take_it else opened(settings)
    wishes = _wishes(loaded, **wished, instead=instead, rob=rob)
    found = planner.plan(loaded.graph, [_unit(loaded, u) for u in units], wishes)
    written: list[str] = []
    agreed = not (take_it and found.best.lines) or _agreed(loaded, found, wishes)
    if not agreed:
        print("nothing was written", file=sys.stderr)
    elif take_it and found.best.lines:
        written = _take(settings, loaded, found.best, seen, {"by": by, "date": date})
    if as_json:
        print_json(render.as_json(loaded.data, found, written), loaded)
    else:
        _print_plan(loaded, found, proof, written, WHOLE if take_it else whole())
    return 0 if found.best.lines and agreed else 1


def _print_plan(loaded: Loaded, found: Plan, proof: bool, written: Sequence[str], how: Whole) -> None:
    if not found.wants:
        names = ", ".join(loaded.data.text("unit", p) for p in found.patients)
        print(visible(f"nothing found: no want of {names} is open"), file=sys.stderr)
        return
    sys.stdout.write(render.as_text(loaded.data, found, sys.stdout.isatty(), proof, how))
    for where in written:
        print(f"written: {visible(where)}")
    if not found.best.lines:
        print("nothing found on the shelf", file=sys.stderr)
    for note in found.notes:
        print(visible(note), file=sys.stderr)


@click.command(short_help="which sets to look for, by the wants that each would meet")
@click.argument("names", nargs=-1, required=True, metavar="UNIT|SET...")
@_wishing
@click.option("--all-wants", is_flag=True, help="Also the wants that the shelf can meet.")
@MOST_OPTION
@click.option("--json", "as_json", is_flag=True, help="One JSON object instead of a table.")
@click.option("--proof", is_flag=True, help="The facts for each want, with file and line.")
@click.pass_obj
def hunt(
    settings: Settings,
    /,
    names: tuple[str, ...],
    all_wants: bool,
    most: int | None,
    as_json: bool,
    proof: bool,
    **wished: Any,
) -> int:
    """Which sets that are not on the shelf to look for: by how many open wants each is expected to meet.

    For a unit the wants that the shelf cannot meet count; for a set all its known places. A set of which a
    unit may be opened is on the shelf. Example: kgraph hunt U-08 U-09
    """
    loaded = opened(settings)
    units, sets = asked_shelf.units_and_sets(loaded.graph, names)
    wishes = _wishes(loaded, **wished)
    found = hunting.hunt(loaded.graph, units, sets, wishes, all_wants)
    if as_json:
        question = {
            "command": "hunt",
            "units": [loaded.data.text("unit", u) for u in units],
            "sets": [loaded.data.text("set", s) for s in sets],
        }
        print_json(render.hunt_json(loaded.data, question, found, most), loaded)
    else:
        shown = most or MOST_SHOWN
        sys.stdout.write(render.hunt_text(loaded.data, found, sys.stdout.isatty(), proof, shown, whole()))
        if not found.found:
            print("nothing found", file=sys.stderr)
        if len(found.found) > shown:
            print(render.more_sets(len(found.found) - shown), file=sys.stderr)
        for note in found.notes:
            print(visible(note), file=sys.stderr)
    return 0 if found.found else 1


# What was asked for ---------------------------------------------------------------------------


def _unit(loaded: Loaded, text: str) -> str:
    return questions.name_of(loaded.data, "unit", text)


def _wishes(loaded: Loaded, keep: tuple[str, ...], **wished: Any) -> Wishes:
    """What is wished, each `--keep UNIT=N` read."""
    return asked_shelf.wishes(loaded.graph, keep=dict(map(_keep, keep)), **wished)


def _keep(text: str) -> tuple[str, float]:
    name, sign, value = text.rpartition("=")
    if not sign or not name.strip():
        raise WrongUse(f"--keep {text!r} is not UNIT=N; write it like --keep U-02=9")
    try:
        return name.strip(), quantities.number(value.strip(), 0, 10)
    except quantities.QuantityError as error:
        raise WrongUse(f"--keep {text!r}: {error}") from None


def _agreed(loaded: Loaded, plan: Plan, wishes: Wishes) -> bool:
    """Whether all that `take` would warn of is wanted.

    Raises WrongUse where a line takes what another unit counts on, or may, and nobody can be asked.
    """
    robbing = [
        f"{render.taken_text(loaded.data, line)}: {counts_on_it(loaded.data, counting)}"
        for line in plan.best.lines
        for counting in line.counting
        if counting.want.unit not in wishes.rob
    ]
    robbing += [UNLOOKED] if plan.unlooked else []
    if not sys.stdin.isatty():
        if robbing:
            raise WrongUse(*robbing, "nothing was written; --rob UNIT allows that a unit goes without")
        return True
    doubts = [
        f"{render.taken_text(loaded.data, line)}: {remark}"
        for line in plan.best.lines
        for remark in render.doubts_of(line)
    ]
    for text in [*robbing, *doubts]:
        print(visible(text), file=sys.stderr)
    return not (robbing or doubts) or click.confirm("take all of the plan?", err=True)


# Written --------------------------------------------------------------------------------------


def _take(
    settings: Settings, loaded: Loaded, course: Course, seen: Mapping[Path, bytes], said: Mapping[str, str]
) -> list[str]:
    """Append what a course takes and puts in, all or nothing, to the folder as it was read; the places."""
    folder = settings.folders[0]
    target = event_log.file_for_events(loaded.graph, folder)
    pairs = [[*_event(loaded, line), *events.said_pairs(said)] for line in _in_order(course)]
    texts = event_log.told_anew(loaded.graph, [writing.entry_text(each) for each in pairs])
    _refuse_impossible(loaded, course, texts, folder, target)
    return event_log.append(settings.folders, target, texts, seen)


def _in_order(course: Course) -> list[Line]:
    """Whole assemblies first, so that what replaces a piece comes after; what comes along is no event."""
    return sorted((line for line in course.lines if not line.along), key=lambda line: not line.brings)


def _event(loaded: Loaded, line: Line) -> list[tuple[str, writing.Value]]:
    data = loaded.data
    wanted, patient = data.text("position", line.want.position), data.text("unit", line.want.unit)
    if not line.unit:
        return [("fitted", data.text("part", line.position)), ("to", patient), ("at", wanted)]
    pairs: list[tuple[str, writing.Value]] = [
        ("taken", data.text("position", line.position)),
        ("from", data.text("unit", line.unit)),
        ("to", patient),
    ]
    return pairs if line.position == line.want.position else [*pairs, ("at", wanted)]


def _refuse_impossible(
    loaded: Loaded, course: Course, texts: Sequence[str], folder: Path, target: Path
) -> None:
    """Read the new entries as the folder will be read, and see that the wants are then met."""
    new = event_log.entries_of(texts, "the plan")
    after = event_log.shelf_with(loaded.graph, new, folder, target)
    wrong = [p for p in event_log.new_problems(loaded.graph, after) if p.severity == "error"]
    if wrong or event_log.overtaken(loaded.graph, new, after):
        raise CannotRun(f"nothing was written: {event_log.OVERTAKEN.format(name=target)}", *wrong)
    still = [line.want for line in course.lines if line.want.position in after.units[line.want.unit].wants]
    if still:
        wants = "1 want" if len(still) == 1 else f"{len(still)} wants"
        raise CannotRun(f"nothing was written: {wants} of the plan would stay open")
