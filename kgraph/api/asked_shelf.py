"""Questions about the shelf, asked by their words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from kgraph import questions
from kgraph.fits.graph import Graph
from kgraph.names import did_you_mean, fold
from kgraph.problems import WrongUse
from kgraph.questions import Wanted
from kgraph.shelf.ledger import Owed, Shelf, shelf_now
from kgraph.shelf.plan import SECONDS, Wishes


def unit_declared(graph: Graph, text: str) -> str:
    """The key of a unit that is declared; raises WrongUse for another name."""
    key = questions.name_of(graph.data, "unit", text)
    if key not in graph.data.things["unit"]:
        raise WrongUse(f"unit {text!r} is named in an event and not declared; add - unit: {text} first")
    return key


def units_and_sets(graph: Graph, names: Sequence[str]) -> tuple[list[str], list[str]]:
    """Which of these names are units, and which sets; raises WrongUse for one that is neither."""
    data = graph.data
    units: list[str] = []
    sets: list[str] = []
    for text in names:
        unit, set_key = data.key("unit", fold(text)), data.key("set", fold(text))
        if unit in data.known("unit"):
            units.append(unit)
        elif set_key in data.known("set"):
            sets.append(set_key)
        else:
            near = did_you_mean(text, [*data.known("unit").values(), *data.known("set").values()])
            raise WrongUse(f"no unit or set is called {text!r}; {near or 'see `kgraph find`'}")
    return list(dict.fromkeys(units)), list(dict.fromkeys(sets))


def wishes(
    graph: Graph,
    *,
    without: Iterable[str] = (),
    keep: Mapping[str, float] | None = None,
    work: float = 1.0,
    doubt: float = 1.0,
    seconds: float = SECONDS,
    at_least: float = 0.0,
    instead: int = 0,
    rob: Iterable[str] = (),
) -> Wishes:
    """What is wished of a plan, units by their names; raises WrongUse for one that is not known."""

    def unit(text: str) -> str:
        return questions.name_of(graph.data, "unit", text)

    return Wishes(
        rob=frozenset(map(unit, rob)),
        without=frozenset(map(unit, without)),
        keep={unit(name): cost for name, cost in (keep or {}).items()},
        work=work,
        doubt=doubt,
        seconds=seconds,
        instead=instead,
        wanted=Wanted(at_least),
    )


def owed(graph: Graph, names: Sequence[str], settled_too: bool) -> tuple[Shelf, list[Owed]]:
    """The shelf, and what these units, or all, are to get back."""
    shelf = shelf_now(graph)
    wanted = [unit_declared(graph, name) for name in names] or list(shelf.units)
    return shelf, [o for o in shelf.owed if o.unit in wanted and (settled_too or o.settled is None)]
