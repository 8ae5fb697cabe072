"""likely: pairs that no fact joins yet and that may be one design."""

from __future__ import annotations

import shlex
import sys
from typing import Any

import click

from kgraph import questions
from kgraph.cli.asking import print_json
from kgraph.cli.loading import load
from kgraph.cli.settings import Loaded, Settings
from kgraph.problems import WrongUse
from kgraph.questions import likely as guessed
from kgraph.questions.likely import Likely, Tried
from kgraph.recognition import traits
from kgraph.recognition.pairs import Weight
from kgraph.render.terminal import visible


@click.command(short_help="which sets may be one design though nobody said so")
@click.argument("words", nargs=-1, metavar="[SET]")
@click.option("--parts", is_flag=True, help="Parts that may be the same under two numbers, instead of sets.")
@click.option(
    "--tried", is_flag=True, help="Hides each recorded rebadge in turn and tells how often it is found."
)
@click.option("--most", type=click.IntRange(1), default=20, show_default=True, help="How many are shown.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_obj
def likely(
    settings: Settings, /, words: tuple[str, ...], parts: bool, tried: bool, most: int, as_json: bool
) -> int:
    """Pairs of sets that no fact joins yet and that may be one design, with what would settle it.

    Each key that both record counts by how rare its value is and how often recorded sisters agree in it.
    What was compared and is `distinct` does not come back.

    Example: kgraph likely "Quillon 31"
    """
    if parts and (words or tried):
        raise WrongUse("--parts takes neither a set nor --tried")
    loaded = load(settings)
    if tried:
        return _tried(loaded, guessed.tried(loaded.graph), as_json)
    of = f"s:{questions.name_of(loaded.data, 'set', ' '.join(words))}" if words else ""
    all_found = guessed.likely_parts(loaded.graph) if parts else guessed.likely_sets(loaded.graph, of)
    found = all_found.pairs
    if as_json:
        question: dict[str, Any] = {"command": "likely"}
        if of:
            question["set"] = loaded.data.owner_text(of)
        rows = [_row(loaded, f, parts) for f in found[:most]]
        notes = [f"{len(found) - most} more are not shown"] if len(found) > most else []
        notes += [_left_out(all_found.left_out)] if all_found.left_out else []
        print_json({"question": question, "answers": rows, "notes": notes}, loaded)
    elif found:
        sys.stdout.write("".join(f"{visible(t)}\n" for f in found[:most] for t in _lines(loaded, f, parts)))
    else:
        print("nothing that is not joined yet looks like one design", file=sys.stderr)
    if all_found.left_out and not as_json:
        print(_left_out(all_found.left_out), file=sys.stderr)
    return 0 if found else 1


def _left_out(groups: int) -> str:
    return f"{groups} groups that share a value were not compared pair by pair; name a SET to compare it"


def _names(loaded: Loaded, found: Likely, parts: bool) -> list[str]:
    ends = (found.pair.one, found.pair.other)
    return [loaded.data.text("part", e) if parts else loaded.data.owner_text(e) for e in ends]


def _key(loaded: Loaded, weight: Weight) -> str:
    return traits.keys_of(loaded.graph).get(weight.key, weight.key)


def _command(loaded: Loaded, found: Likely, parts: bool) -> str:
    kind = "same" if parts else "rebadge"
    one, other = map(shlex.quote, _names(loaded, found, parts))
    return f"kgraph add {kind} {one} {other} --how compared"


def _row(loaded: Loaded, found: Likely, parts: bool) -> dict[str, Any]:
    def reasons(agrees: bool) -> list[dict[str, Any]]:
        return [{"key": _key(loaded, w), "bits": w.bits} for w in found.pair.weights if w.agrees is agrees]

    return {
        "parts" if parts else "sets": _names(loaded, found, parts),
        "probability": found.pair.probability,
        "bits": found.pair.bits,
        "for": reasons(True),
        "against": reasons(False),
        "would settle it": found.settle,
        "add": _command(loaded, found, parts),
        "others of the two families": found.alike,
    }


def _lines(loaded: Loaded, found: Likely, parts: bool) -> list[str]:
    one, other = _names(loaded, found, parts)
    more = f"  (and {found.alike} more pairs of the same two families)" if found.alike else ""
    lines = [f"{found.pair.probability:.4f}  {one} and {other}, {found.pair.bits:+.1f} bits{more}"]
    for word, agrees in (("for", True), ("against", False)):
        said = [f"{_key(loaded, w)} {w.bits:+.1f}" for w in found.pair.weights if w.agrees is agrees]
        lines += [f"        {word}: {', '.join(said)}"] if said else []
    return [*lines, f"        would settle it: {found.settle}", f"        {_command(loaded, found, parts)}"]


def _tried(loaded: Loaded, found: Tried, as_json: bool) -> int:
    if as_json:
        bands = [
            {"from": b / 10, "to": (b + 1) / 10, "given": n, "true": true}
            for b, (n, true) in found.bands.items()
        ]
        first = {str(most): n for most, n in found.first.items()}
        answer = {"hidden": found.hidden, "joined otherwise": found.joined, "first": first, "bands": bands}
        print_json(
            {"question": {"command": "likely", "tried": True}, "answers": [answer], "notes": []}, loaded
        )
        return 0
    print(
        f"{found.hidden} rebadges hidden in turn; {found.joined} more hide nothing, as others join their sets"
    )
    for most, n in found.first.items():
        print(f"  came back among the first {most}: {n} of {found.hidden}")
    for band, (n, true) in found.bands.items():
        print(f"  given {band / 10:.1f} to {(band + 1) / 10:.1f}: {true} of {n} true")
    return 0
