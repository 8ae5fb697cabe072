"""The answers of a folder as a program has them: the same as `--json` prints, and each key with its type."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Mapping
from typing import Any

import click
import pytest

import kgraph
from kgraph.api.decoding import LISTED, key_of
from kgraph.cli.main import COMMANDS, WRITING, cli
from tests.support import DEMO, ask

SET, PLACE = "Ystrane YN-1", "volume knob"
Ask = Callable[[kgraph.Folder], Any]

QUESTIONS: dict[str, tuple[list[str], Ask]] = {
    "takers": (["takers", SET, PLACE], lambda f: f.takers(SET, PLACE)),
    "takers of a part": (
        ["takers", "HU-3001", "--proof", "--all", "--at-least", "0.3"],
        lambda f: f.takers("HU-3001", proofs=True, refused=True, at_least=0.3),
    ),
    "donors": (["donors", SET, PLACE, "--most", "2"], lambda f: f.donors(SET, PLACE, most=2)),
    "donors of a unit": (["donors", "U-02"], lambda f: f.donors("U-02")),
    "parts": (["parts", SET, PLACE], lambda f: f.parts(SET, PLACE)),
    "sisters": (["sisters", "Quorrimel Q-4"], lambda f: f.sisters("Quorrimel Q-4")),
    "shares": (["shares", SET], lambda f: f.shares(SET)),
    "why no taker": (
        ["takers", "HU-3001", "--why-not", "Quorrimel Q-300"],
        lambda f: f.why_no_taker("Quorrimel Q-300", "HU-3001"),
    ),
    "why no donor": (
        ["donors", SET, PLACE, "--why-not", "Quorrimel Q-300"],
        lambda f: f.why_no_donor("Quorrimel Q-300", SET, PLACE),
    ),
    "faults": (["faults", SET], lambda f: f.faults(SET)),
    "faults by a sign": (["faults", SET, "--sign", "hum"], lambda f: f.faults(SET, signs=["hum"])),
    "identify": (
        ["identify", "--seen", "mains=240 V 50 Hz", "--seen", "knobs=5"],
        lambda f: f.identify({"mains": "240 V 50 Hz", "knobs": "5"}),
    ),
    "likely": (["likely"], lambda f: f.likely()),
    "identify tried": (["identify", "--tried"], lambda f: f.identify_tried()),
    "likely tried": (["likely", "--tried"], lambda f: f.likely_tried()),
    "arrive": (["arrive", SET], lambda f: f.arrive(SET)),
    "arrive, a unit": (["arrive", "U-02"], lambda f: f.arrive("U-02")),
    "list": (
        ["list", "sets", "--where", "years=1978..1981", "--where", "mains=240"],
        lambda f: f.list("sets", {"years": "1978..1981", "mains": "240"}),
    ),
    "list by a rule": (
        ["list", "sets", "--where", "part=HU-3001", "--at-least", "0.5"],
        lambda f: f.list("sets", [("part", "HU-3001")], at_least=0.5),
    ),
    "list facts": (
        ["list", "facts", "--where", "grade=fitted", "--columns", "fact,says,certainty"],
        lambda f: f.list("facts", {"grade": "fitted"}, columns=["fact", "says", "certainty"]),
    ),
    "query": (
        ["query", "takers", "--part", "HU-3001"],
        lambda f: f.query("takers", {"part": "HU-3001"}),
    ),
    "queries": (["query"], lambda f: f.queries()),
    "grades": (["check", "--grades"], lambda f: f.grades()),
    "likely parts": (["likely", "--parts"], lambda f: f.likely(parts=True)),
    "doubts": (["doubts", SET], lambda f: f.doubts(SET)),
    "show": (["show", SET], lambda f: f.show(SET)),
    "show a unit": (["show", "U-02"], lambda f: f.show("U-02")),
    "show a part": (["show", "HU-3001"], lambda f: f.show("HU-3001")),
    "show a fact": (["show", "02dc33504884b0f4"], lambda f: f.show("02dc33504884b0f4")),
    "find": (["find", "yn1"], lambda f: f.find("yn1")),
    "belt path": (["belt", "path", SET, "main belt"], lambda f: f.belt_path(SET, "main belt")),
    "belt path, thinner": (
        ["belt", "path", SET, "main belt", "--thickness", "1.1 mm", "--tolerance", "M2"],
        lambda f: f.belt_path(SET, "main belt", thickness="1.1 mm", tolerance="m2"),
    ),
    "belt fit": (
        ["belt", "fit", "SQ 1.2 x 211", SET, "main belt"],
        lambda f: f.belt_fit("SQ 1.2 x 211", SET, "main belt"),
    ),
    "belt find": (
        ["belt", "find", "--section", "square 1.2 mm", "--folded", "131 mm", "--worn", "--proof"],
        lambda f: f.belt_find("square 1.2 mm", folded="131 mm", worn=True),
    ),
    "belt family": (["belt", "family", SET, "main belt"], lambda f: f.belt_family(SET, "main belt")),
    "belt speed": (
        ["belt", "speed", "--tone", "3150", "--heard", "3087 Hz"],
        lambda f: f.belt_speed("3150", "3087 Hz"),
    ),
    "belt speed in a set": (
        ["belt", "speed", SET, "main belt", "--tone", "3150", "--heard", "3087"],
        lambda f: f.belt_speed("3150", "3087", SET, "main belt"),
    ),
    "shelf": (["shelf"], lambda f: f.shelf()),
    "owed": (["owed", "--all"], lambda f: f.owed(settled_too=True)),
    "sheet": (["sheet", "U-05"], lambda f: f.sheet("U-05")),
    "plan": (
        ["plan", "U-09", "U-05", "--instead", "2", "--keep", "U-01=2"],
        lambda f: f.plan("U-09", "U-05", instead=2, keep={"U-01": 2.0}),
    ),
    "check": (["check"], lambda f: f.check()),
    "hunt": (["hunt", "U-09", "U-08", SET], lambda f: f.hunt("U-09", "U-08", SET)),
}
"""A question on the command line, and the same from a program."""


@pytest.mark.parametrize("name", QUESTIONS)
def test_a_program_has_the_answer_of_the_command_with_every_key_typed(name: str, capsys: Any) -> None:
    words, question = QUESTIONS[name]
    status, expected = ask(capsys, "--data", str(DEMO), *words)
    assert status in (0, 1)
    reply = question(kgraph.open(DEMO))
    assert reply.as_json() == expected
    # Of a fact that was asked for, what is known stands in a field of its own.
    assert set(unlike(reply, expected)) <= ({"answers: 0 of 1"} if name == "show a fact" else set())


OTHERWISE = {
    "belt": "each question below it has a method: belt_path, belt_fit, belt_find, belt_family, belt_speed",
    "draw": "writes a picture; family() draws itself",
    "book": "writes a folder of pages",
    "export": "writes a file; to_rdflib() and to_networkx() hand on what it holds",
    "upgrade": "is about the files' format, not about what they say",
    "init": "starts a folder and asks nothing",
    "completion": "is for the shell",
}
"""Commands without a method of their name, and why."""
ASKED_BY_OPTION = {
    ("takers", "why_not"): "why_no_taker",
    ("donors", "why_not"): "why_no_donor",
    ("identify", "tried"): "identify_tried",
    ("likely", "tried"): "likely_tried",
    ("check", "grades"): "grades",
    ("takers", "suppose"): "supposing",
    ("takers", "without"): "without",
}
"""Options with which a command answers another question."""


def test_every_question_of_the_command_line_has_a_method() -> None:
    questions = set(COMMANDS) - WRITING
    methods = {name for name in dir(kgraph.Folder) if not name.startswith("_")}
    assert questions - methods == set(OTHERWISE)
    belts = cli.get_command(click.Context(cli), "belt")
    assert isinstance(belts, click.Group)
    assert {f"belt_{name}" for name in belts.commands} <= methods
    for (command, option), method in ASKED_BY_OPTION.items():
        found = cli.get_command(click.Context(cli), command)
        assert found is not None
        assert option in {param.name for param in found.params}
        assert method in methods
    asked = {words[0] for words, _ in QUESTIONS.values()}
    assert asked == (questions - set(OTHERWISE)) | {"belt"}


def test_a_fact_and_an_event_are_shown_by_their_ids() -> None:
    folder = kgraph.open(DEMO)
    (proof,) = {row.proof for row in folder.takers(SET, PLACE)[:1]}
    found = folder.show(proof.facts[0].id)
    assert found.fact == dataclasses.replace(proof.facts[0], kind="takes")
    event = folder.show("U-02")[0].history[0]
    assert folder.show(event.id).event == event


def unlike(reply: Any, said: Mapping[str, Any]) -> Iterator[str]:
    """The keys of JSON that no field holds, or that one holds otherwise."""
    held = {key_of(one, said): getattr(reply, one.name) for one in dataclasses.fields(reply)}
    for key, value in said.items():
        if key not in held:
            yield key
        else:
            yield from (f"{key}: {inner}" for inner in _unlike(held[key], value))


def _unlike(held: Any, said: Any) -> Iterator[str]:
    if dataclasses.is_dataclass(held):
        (listed,) = [f.name for f in dataclasses.fields(held) if LISTED in f.metadata] or [""]
        yield from _unlike(getattr(held, listed), said) if listed else unlike(held, said)
    elif isinstance(held, tuple):
        said = [said] if isinstance(said, str) else said
        if len(held) != len(said):
            yield f"{len(held)} of {len(said)}"
        for one, other in zip(held, said, strict=False):
            # Of a further proof JSON has the ids alone.
            yield from _unlike(one.id if isinstance(other, str) and hasattr(one, "id") else one, other)
    elif isinstance(held, Mapping):
        if set(held) != set(said):
            yield f"{sorted(held)}"
        for key in held:
            yield from _unlike(held[key], said[key])
    elif held != said or type(held) is not type(said):
        yield f"{held!r} is not {said!r}"
