"""What follows for every part: where it goes, how certain that is, and the facts that it was derived from."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from kgraph import questions
from kgraph.exchange import addressed, meant, places, stated
from kgraph.exchange.statements import Block, LiteralText, Pair, real
from kgraph.exchange.terms import PROV, TERM, iri
from kgraph.exchange.vocabulary import TYPE
from kgraph.fits.graph import Graph
from kgraph.names import fold
from kgraph.questions import Row


def blocks(graph: Graph, told: set[places.Node], step: Callable[[], None] = lambda: None) -> Iterator[Block]:
    """Every answer of `takers` for every part, those refused left out; `step` is called after each part.

    `told`: the nodes that need no telling any more.
    """
    for part in sorted(graph.data.known("part")):
        for row in questions.takers_of_part(graph, part).rows:
            yield from stated.nodes([("place", row.set, row.position)], told)
            yield from _sizes(row, told)
            yield answer(graph, part, row)
        step()


def _sizes(row: Row, told: set[places.Node]) -> Iterator[Block]:
    """Equal size stands in a proof as a fact that nobody wrote: it is told here, once."""
    for fact in row.proof:
        if fact.kind == "size" and ("fact", fact.id) not in told:
            told.add(("fact", fact.id))
            yield meant.fact_block(fact, ())


def answer(graph: Graph, part: str, row: Row) -> Block:
    """One answer of `takers`, with the facts of its best proof."""
    pairs: list[Pair] = [
        (TYPE, TERM + "Inferred"),
        (TERM + "part", iri("part", part)),
        (TERM + "place", addressed.iri_of(("place", row.set, row.position))),
        (TERM + "standing", LiteralText(row.standing)),
        (TERM + "best", real(row.best)),
        (TERM + "certainty", real(row.certainty)),
    ]
    if row.bounds:
        pairs.append((TERM + "certaintyAtMost", real(row.bounds[1])))
    pairs += [(TERM + "work", LiteralText(work)) for work in row.work]
    pairs += [(TERM + "warning", LiteralText(warning)) for warning in row.warnings]
    pairs += [(TERM + "caution", iri("caution", graph.data.key("caution", fold(c)))) for c in row.cautions]
    pairs += [(PROV + "wasDerivedFrom", iri("fact", fact.id)) for fact in row.proof]
    return Block(iri("inferred", part, row.set[2:], row.position), tuple(dict.fromkeys(pairs)))
