"""What the words of a question mean: a set, a part, a place; with the nearest names where none is known."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kgraph import trade
from kgraph.fits.graph import Graph, Place
from kgraph.names import did_you_mean, fold
from kgraph.problems import Problem, WrongUse

if TYPE_CHECKING:
    from kgraph.collection import Collection


def name_of(data: Collection, kind: str, text: str) -> str:
    """The key of a known thing; raises WrongUse with the nearest names."""
    key = data.key(kind, fold(text))
    if _knows(data, kind, key):
        return key
    if meant := data.meanings(kind, fold(text)):
        names = " or ".join(sorted(data.text(kind, k) for k in meant))
        raise WrongUse(Problem(None, "ambiguous-name", f"{text!r} may be {names}", "use its own name"))
    raise WrongUse(Problem(None, "unknown-name", f"no {kind} is called {text!r}", _meant(data, kind, text)))


def _meant(data: Collection, kind: str, text: str) -> str:
    """What somebody may have meant by a name that no thing of a kind has."""
    for other in ("set", "assembly", "part", "position", "unit"):
        if other != kind and data.knows(other, data.key(other, fold(text))):
            return f"{'an' if other == 'assembly' else 'a'} {other} is called so"
    near = did_you_mean(text, data.known(kind).values())
    return near or did_you_mean(text, trade.spellings(kind).values()) or "see `kgraph find`"


def _knows(data: Collection, kind: str, key: str) -> bool:
    """Whether a thing is known; a position is also where only an `except` names it."""
    return data.knows(kind, key) or (kind == "position" and data.leaves_out(key))


def part_named(data: Collection, text: str) -> str:
    """The key of a part, also by a maker's number that only one part has."""
    try:
        return name_of(data, "part", text)
    except WrongUse:
        found = data.parts_numbered(fold(text))
        if len(found) > 1:
            names = " or ".join(sorted(data.text("part", k) for k in found))
            says = f"{text!r} is a number of several parts"
            raise WrongUse(Problem(None, "ambiguous-name", says, f"ask for {names}")) from None
        if not found:
            raise
        return found.pop()


def place_named(data: Collection, words_given: tuple[str, ...]) -> tuple[str, str]:
    """(set key, position key) from the words of a command line, wherever the set's name ends."""
    for cut in range(1, len(words_given)):
        name, position = " ".join(words_given[:cut]), " ".join(words_given[cut:])
        set_key, position_key = data.key("set", fold(name)), data.key("position", fold(position))
        if _knows(data, "set", set_key) and _knows(data, "position", position_key):
            return set_key, position_key
    first = name_of(data, "set", words_given[0])
    return first, name_of(data, "position", " ".join(words_given[1:]))


def places_of(graph: Graph, set_key: str) -> list[str]:
    """The positions at which anything is known of a set: named on it, or on what it is alike."""
    owner = f"s:{set_key}"
    at = (graph.taken_at, graph.fits_from, graph.fits_to)

    def is_known(position: str) -> bool:
        recorded = any(Place(owner, position) in places for places in at)
        return recorded or next(iter(graph.like(owner, position)), None) is not None

    return sorted(filter(is_known, graph.data.known_keys("position")))
