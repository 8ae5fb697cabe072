"""From the words of a question to its answer: whoever asks, on the command line or from a program.

A name may be spelt loosely, as everywhere; one that nothing has raises WrongUse with the nearest names.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from kgraph import questions
from kgraph.names import fold
from kgraph.problems import Damaged, WrongUse
from kgraph.questions import DEFAULT, Answer, Wanted

if TYPE_CHECKING:
    from kgraph.doubts import Doubts
    from kgraph.fits.graph import Graph
    from kgraph.questions.faults import Faults
    from kgraph.shelf.ledger import UnitNow
    from kgraph.whynot import WhyNot

Words = tuple[str, ...]


# Sets, places and parts -----------------------------------------------------------------------


def takers(graph: Graph, words: Words, wish: Wanted = DEFAULT) -> Answer:
    """Which other sets take a part, or what a set or a unit has at a position."""
    if is_part(graph, words):
        return questions.takers_of_part(graph, questions.part_named(graph.data, " ".join(words)), wish)
    from kgraph.shelf import owned

    meant = owned.as_set(graph, words)
    set_key, position = questions.place_named(graph.data, meant.words)
    held = owned.put_in(meant.unit, position)
    if held is not None and held.part:
        found = questions.takers_of_part(graph, held.part, wish)
    elif held is not None and held.origin is not None:
        found = questions.takers_of_place(graph, held.origin.owner[2:], held.origin.position, wish)
    else:
        found = questions.takers_of_place(graph, set_key, position, wish)
    return _of_unit(graph, found, meant.unit, position)


def is_part(graph: Graph, words: Words) -> bool:
    """Whether the words name a part, and not a set and a position."""
    if len(words) == 1:
        return True
    try:
        questions.place_named(graph.data, words)
    except (WrongUse, Damaged):
        try:
            questions.part_named(graph.data, " ".join(words))
        except WrongUse:
            return False
        return True
    return False


def _of_unit(graph: Graph, answer: Answer, unit: UnitNow | None, position: str) -> Answer:
    """An answer with what the unit has there, where a unit was asked about."""
    if unit is None:
        return answer
    from kgraph.shelf import owned

    question = {**answer.question, "unit": graph.data.text("unit", unit.unit)}
    return answer._replace(question=question, notes=(*owned.says_of(graph, unit, position), *answer.notes))


def donors(graph: Graph, name: str, positions: Sequence[str], wish: Wanted = DEFAULT) -> Answer:
    """Which sets can give what a set wants at these places, or a unit of yours; own units are named."""
    from kgraph.shelf.ledger import is_known
    from kgraph.shelf.owned import own_shelf, refuse_unknown_set, with_units

    shelf = own_shelf(graph)
    set_key, places = places_wanted(graph, name, positions)
    if shelf is not None and not is_known(set_key):
        refuse_unknown_set(graph, shelf.units[set_and_unit(graph, name)[1]])
    answer = questions.donors(graph, set_key, places, wish)
    if not positions:
        answer = answer._replace(question={**answer.question, "by place": True})
    return with_units(graph, answer, shelf)


def places_wanted(graph: Graph, name: str, positions: Sequence[str]) -> tuple[str, list[str]]:
    """The set, and the places that are named; else what the unit wants, else all that the set has."""
    set_key, wants = set_or_unit(graph, name)
    keys = [questions.name_of(graph.data, "position", p) for p in positions]
    return set_key, list(dict.fromkeys(keys)) or wants or questions.places_of(graph, set_key)


def set_or_unit(graph: Graph, text: str) -> tuple[str, list[str]]:
    """The set of that name, or that of a unit with the places that it wants something for."""
    data = graph.data
    try:
        return questions.name_of(data, "set", text), []
    except WrongUse:
        if not data.knows("unit", data.key("unit", fold(text))):
            raise
    from kgraph.api.asked_shelf import unit_declared
    from kgraph.shelf.ledger import shelf_now
    from kgraph.shelf.owned import wants_of

    set_key, wants = wants_of(shelf_now(graph), unit_declared(graph, text))
    return set_key, list(wants)


def set_and_unit(graph: Graph, text: str) -> tuple[str, str]:
    """The set of that name, or that of a unit and the unit; "" for no unit."""
    data = graph.data
    set_key, _ = set_or_unit(graph, text)
    is_set = data.knows("set", data.key("set", fold(text)))
    return set_key, "" if is_set else data.key("unit", fold(text))


def parts(graph: Graph, words: Words, wish: Wanted = DEFAULT) -> Answer:
    """Which parts go at a place of a set or a unit."""
    from kgraph.shelf import owned

    meant = owned.as_set(graph, words)
    set_key, position = questions.place_named(graph.data, meant.words)
    return _of_unit(graph, questions.parts(graph, set_key, position, wish), meant.unit, position)


def sisters(graph: Graph, name: str, wish: Wanted = DEFAULT) -> Answer:
    """The same design under other badges."""
    return questions.sisters(graph, questions.name_of(graph.data, "set", name), wish)


def shares(graph: Graph, name: str, wish: Wanted = DEFAULT) -> Answer:
    """Which assemblies a set is built on, and which other sets are."""
    return questions.shares(graph, questions.name_of(graph.data, "set", name), wish)


# Why not --------------------------------------------------------------------------------------


def why_no_taker(graph: Graph, words: Words, other: str) -> WhyNot:
    """Why another set is not among the takers."""
    from kgraph import whynot
    from kgraph.shelf import owned

    target = questions.name_of(graph.data, "set", other)
    if is_part(graph, words):
        return whynot.takers_of_part(graph, questions.part_named(graph.data, " ".join(words)), target)
    set_key, position = questions.place_named(graph.data, owned.as_set(graph, words).words)
    _not_itself(set_key, target)
    return whynot.takers_of_place(graph, set_key, position, target)


def why_no_donor(graph: Graph, name: str, positions: Sequence[str], other: str) -> list[WhyNot]:
    """Why another set is not among the donors, for each place."""
    from kgraph import whynot

    set_key, keys = places_wanted(graph, name, positions)
    target = questions.name_of(graph.data, "set", other)
    _not_itself(set_key, target)
    return [whynot.donors(graph, set_key, key, target) for key in keys]


def _not_itself(set_key: str, target: str) -> None:
    if set_key == target:
        raise WrongUse("--why-not names the set that is asked about; it wants another one")


# What goes wrong, and what to look at ---------------------------------------------------------


def faults(
    graph: Graph, name: str, signs: Sequence[str] = (), wish: Wanted = DEFAULT
) -> tuple[dict[str, Any], Faults]:
    """The question in the folder's words, and what goes wrong with a set, or what explains signs."""
    from kgraph.questions import faults as asked

    if empty := [sign for sign in signs if not asked.names_a_sign(sign)]:
        raise WrongUse(f"the sign {empty[0]!r} has no word in it; write it like `one side weak`")
    set_key, _ = set_or_unit(graph, name)
    question: dict[str, Any] = {"command": "faults", "set": graph.data.text("set", set_key)}
    if signs:
        question["signs"] = list(signs)
    return question, asked.faults(graph, set_key, signs, wish)


def doubts(graph: Graph, name: str, seconds: float) -> tuple[dict[str, Any], Doubts]:
    """The question in the folder's words, and what is in doubt about a set, a unit, or in the folder."""
    from kgraph import doubts as weighing

    data, question = graph.data, {"command": "doubts"}
    if not name:
        return question, weighing.of_folder(graph, seconds)
    try:
        unit = questions.name_of(data, "unit", name)
    except WrongUse:
        key = questions.name_of(data, "set", name)
        return {**question, "set": data.text("set", key)}, weighing.of_set(graph, key)
    return {**question, "unit": data.text("unit", unit)}, weighing.of_unit(graph, unit)
