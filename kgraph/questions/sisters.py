"""The same design under other badges, and what differs."""

from __future__ import annotations

from kgraph.fits.graph import Graph
from kgraph.questions.answer import DEFAULT, Answer, Row, Wanted, answered
from kgraph.questions.asked import budget_of, exceptions_of, memo_of, weighed_row
from kgraph.questions.distinct import told_apart
from kgraph.reason import rules
from kgraph.reason.proofs import Proofs, minimal_proofs
from kgraph.reason.rules import State
from kgraph.reason.walk import Network, cut, explore
from kgraph.reason.weigh import Aims, Weighed, weigh


def sisters(graph: Graph, set_key: str, wanted: Wanted = DEFAULT) -> Answer:
    """Every set that is the same design under another badge, and what differs on the best way there."""
    budget = budget_of(wanted)
    network = explore(State("set", f"s:{set_key}"), lambda s: rules.rebadged(graph, s), budget)
    targets = range(1, len(network.states))
    steps = cut(network, targets)
    aims = Aims(wanted.seconds > 0, wanted.failures)
    found = weigh(network, steps, targets, budget, memo_of(graph), aims)
    listed = minimal_proofs(network, steps, targets) if wanted.proofs else {}
    rows = [plain_row(graph, network, network.states[t].owner, w, listed.get(t)) for t, w in found.items()]
    question = {"command": "sisters", "set": graph.data.text("set", set_key)}
    return answered(question, rows, wanted, graph.data)


def plain_row(graph: Graph, network: Network, owner: str, weighed: Weighed, listed: Proofs | None) -> Row:
    """An answer about a whole set, and not one of its places."""
    labels = weighed.best.labels
    row = Row(owner, proof=network.fact_list(labels), best=network.product(labels))
    row = weighed_row(network, row, weighed, listed)
    against = told_apart(graph, row.proof)
    standing = "stated" if len(row.proof) == 1 else "inferred"
    if against.facts:
        standing = "refused" if against.certainty >= row.best - 1e-12 else "disputed"
    return row._replace(
        standing=standing,
        differs=exceptions_of(graph.data, row.proof),
        against=against.facts,
        no=against.certainty,
    )
