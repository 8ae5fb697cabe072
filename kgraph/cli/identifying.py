"""identify: what a set may be, from what was seen of it."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import click

from kgraph import quantities, questions
from kgraph.api import asked_seen
from kgraph.api.asked_seen import Given, Prior
from kgraph.api.loaded import Loaded
from kgraph.cli.asking import AT_LEAST_OPTION, print_json
from kgraph.cli.opening import opened
from kgraph.cli.settings import Settings
from kgraph.names import fold
from kgraph.problems import WrongUse
from kgraph.questions import identify as asked
from kgraph.recognition.seen import read
from kgraph.recognition.traits import sets_of
from kgraph.render import identify as render
from kgraph.render.answers import cautions_text
from kgraph.render.terminal import visible, visible_lines

if TYPE_CHECKING:
    from kgraph.recognition.key import KeyStep

VALUES_SHOWN = 8
"""So many values of a key are named beside a question."""


@click.command(short_help="what is this set, from what was seen of it")
@click.argument("words", nargs=-1, metavar="[UNIT | SET...]")
@click.option("--seen", "seen", multiple=True, metavar="KEY=VALUE", help="One thing seen; may be repeated.")
@click.option(
    "--prior", metavar="A,B,C", help="Chances before: recorded sets, unrecorded sisters, none of these."
)
@click.option("--proof", is_flag=True, help="The facts of each reason, with file and line.")
@click.option("--ask", is_flag=True, help="Asks on a terminal, one question at a time.")
@click.option("--tried", is_flag=True, help="Hides each set and family in turn: how often is it found.")
@click.option("--key", "key", is_flag=True, help="An identification key of all sets, or of those named.")
@click.option("--markdown", is_flag=True, help="With --key: as Markdown, for a phone.")
@AT_LEAST_OPTION
@click.option("--most", type=click.IntRange(1), metavar="N", help="How many answers are given as JSON.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object: every hypothesis, all sum to 1.")
@click.pass_obj
def identify(
    settings: Settings, /, words: tuple[str, ...], seen: tuple[str, ...], prior: str | None,
    proof: bool, ask: bool, tried: bool, key: bool,
    markdown: bool, at_least: float, most: int | None, as_json: bool,
) -> int:  # fmt: skip
    """What a set may be, by what was seen of it: recorded sets, a sister not recorded, or none of these.

    What is written as `seen` of the unit counts, and each --seen. A size needs its unit; `?` says nobody
    looked, `faded` or `missing` that it is not to be seen, `cannot be` that there is no place for it.

    Example: kgraph identify --seen "mains=240 V 50 Hz" --seen "line socket=yes"
    """
    weights = _prior(prior)
    loaded = opened(settings)
    if tried:
        return _tried(loaded, weights, as_json)
    if key:
        from kgraph.render import key as key_render

        step = key_of(loaded, words)
        sys.stdout.write(visible_text(key_render.as_text(loaded.data, step, markdown)))
        asks = [here.key for here in key_render.numbered(step)]
        sys.stdout.write(
            cautions_text(loaded.data, render.cautions_of(loaded.graph, asks), sys.stdout.isatty())
        )
        return 0
    unit = asked_seen.unit_named(loaded.graph, words)
    given = [*asked_seen.seen_of_unit(loaded.graph, unit), *map(_pair, seen)]
    if ask:
        given = _ask(loaded, given, weights)
    if not given:
        raise WrongUse(asked_seen.NOTHING_SEEN)
    families = None if as_json else render.SHOWN
    found, best, following, less = asked_seen.identified(loaded.graph, given, weights, at_least, families)
    for note in (*found.seen.notes, *([less] if less and not as_json else [])):
        print(visible(note), file=sys.stderr)
    if as_json:
        question: dict[str, Any] = {"command": "identify", "seen": [f"{k}={v}" for k, v in given]}
        if unit:
            question["unit"] = loaded.data.text("unit", unit)
        print_json(render.as_json(loaded.graph, question, found, best, following, most, less), loaded)
        return 0 if best else 1
    sys.stdout.write(visible_text(render.as_text(loaded.data, found, best, following, proof)))
    sys.stdout.write(
        cautions_text(loaded.data, render.next_cautions(loaded.graph, following), sys.stdout.isatty())
    )
    print(asked.SCALES_NOTE, file=sys.stderr)
    for line in render.afterwards(loaded.data, found, unit):
        print(visible(line))
    return 0 if best else 1


def visible_text(text: str) -> str:
    """Lines in which nothing moves the cursor or hides."""
    return "".join(f"{visible(line)}\n" for line in text.split("\n")[:-1])


def key_of(loaded: Loaded, words: tuple[str, ...]) -> KeyStep:
    """The identification key of the sets named, or of all."""
    from kgraph.recognition.key import key_for

    named = [f"s:{questions.name_of(loaded.data, 'set', word)}" for word in words]
    owners = named or sets_of(loaded.data)
    if not owners:
        raise WrongUse("the folder names no set yet, and a key tells sets apart")
    return key_for(loaded.graph, owners)


def _pair(text: str) -> tuple[str, str]:
    key, equals, value = text.partition("=")
    if not equals or not key.strip():
        raise WrongUse(f"--seen {text!r} is no KEY=VALUE; write it like --seen knobs=5")
    return key.strip(), value.strip()


def _prior(text: str | None) -> Prior:
    if text is None:
        return asked.PRIOR
    try:
        parts = [quantities.number(p.strip(), 0.0, 1e6) for p in text.split(",")]
    except quantities.QuantityError as error:
        raise WrongUse(f"--prior: {error}") from None
    return asked_seen.prior_of(parts)


def _ask(loaded: Loaded, given: Given, prior: Prior) -> Given:
    """Asks what is best looked at next until nothing helps or the answer is empty."""
    if not sys.stdin.isatty():
        raise WrongUse("--ask needs a terminal; say --seen KEY=VALUE instead")
    print("answer, `?` for not looked at, `back` for the question before; an empty line ends")
    answers: Given = []
    while True:
        following = asked_seen.identified(loaded.graph, [*given, *answers], prior, families=0).following
        if not following:
            print("nothing more to look at helps alone")
            break
        name = following[0].name
        values = ", ".join(following[0].values[:VALUES_SHOWN])
        if more := len(following[0].values) - VALUES_SHOWN:
            values += f", and {more} more" if more > 0 else ""
        text = click.prompt(visible_lines(f"{name} ({values})"), default="", show_default=False).strip()
        if not text:
            break
        if fold(text) == "back":
            answers = answers[:-1]
        else:
            answers.append((name, text))
            for note in read(loaded.graph, [(name, text)]).notes:
                print(visible(f"{note}; `back` to answer again"))
    for name, text in answers:
        print(visible(f"  {name}: {text}"))
    return [*given, *answers]


def _tried(loaded: Loaded, prior: Prior, as_json: bool) -> int:
    from kgraph.questions.identify_tried import tried

    found = tried(loaded.graph, prior)
    if as_json:
        print_json(render.tried_json(found), loaded)
        return 0
    print(
        "ten looks each, misread as often as is assumed; a set that is hidden is looked at where its sisters"
        " tell something"
    )
    for name, says in _TRIED.items():
        tally = getattr(found, name)
        print(f"{says}: {tally.first} of {tally.tries}")
        print(f"  given 0.9 or more: {tally.sure}, right: {tally.sure_and_right}")
    return 0


_TRIED = {
    "sets": "nothing hidden, the right set first of the recorded ones",
    "families": "nothing hidden, the right family first",
    "sister": "the set hidden, its family's unrecorded sister first of all",
    "kin": "the set hidden, its family first, the unrecorded sister counted to it",
    "gone": "the family hidden, none of these first",
}
