"""Which assemblies a set is built on, and which other sets are."""

from __future__ import annotations

from kgraph.fits.graph import Graph
from kgraph.questions.answer import DEFAULT, Answer, Row, Wanted, answered, order
from kgraph.questions.asked import budget_of, memo_of, unasked_note
from kgraph.questions.sisters import plain_row
from kgraph.reason.budget import Budget
from kgraph.reason.proofs import minimal_proofs
from kgraph.reason.sharing import Sharing, built_on, sharing_of
from kgraph.reason.weigh import Aims, weigh


def shares(graph: Graph, set_key: str, wanted: Wanted = DEFAULT) -> Answer:
    """Every assembly that a set is built on, and the other sets built on it."""
    owner = f"s:{set_key}"
    budget = budget_of(wanted)
    assemblies = built_on(graph, owner)
    rows: list[Row] = []
    alone = []
    unasked: list[str] = []
    for number, assembly in enumerate(assemblies):
        if number and budget.over:
            unasked = [graph.data.owner_text(a) for a in assemblies[number:]]
            break
        with budget.share(len(assemblies) - number) as share:
            sharing = sharing_of(graph, assembly, share)
            if owner in sharing.sets:
                found = _rows(graph, sharing, owner, wanted, share, len(assemblies))
                rows += [r._replace(assembly=assembly) for r in found]
                if not found:
                    alone.append(graph.data.owner_text(assembly))
    question = {"command": "shares", "set": graph.data.text("set", set_key)}
    notes = [f"{name} is shared with no other recorded set." for name in sorted(alone)]
    notes += unasked_note(unasked, "--seconds gives more")
    answer = answered(question, rows, wanted, graph.data, notes)
    ordered = sorted(answer.rows, key=lambda r: (graph.data.owner_text(r.assembly), *order(graph.data, r)))
    return answer._replace(rows=tuple(ordered))


def _rows(
    graph: Graph, sharing: Sharing, owner: str, wanted: Wanted, budget: Budget, questions: int
) -> list[Row]:
    network, targets = sharing.network, {n: o for o, n in sharing.sets.items() if o != owner}
    beside = sharing.sets[owner]
    aims = Aims(wanted.seconds > 0, wanted.failures, beside, questions)
    found = weigh(network, sharing.steps, targets, budget, memo_of(graph), aims)
    best = sharing.best_from(owner, budget)
    size = len(sharing.steps)
    listed = minimal_proofs(*sharing.twice(owner), [t + size for t in targets]) if wanted.proofs else {}
    rows = []
    for target, weighed in found.items():
        proof = best[targets[target]]
        row = plain_row(
            graph, network, targets[target], weighed.with_best(proof, network), listed.get(target + size)
        )
        rows.append(row._replace(standing="inferred" if row.standing == "stated" else row.standing))
    return rows
