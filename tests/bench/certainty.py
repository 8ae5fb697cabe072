"""Certainty on dense families against ProbLog, in one run: `python -m tests.bench.certainty [seconds]`.

Families of 10, 20, 40 and 80 sets, three rebadge facts to each set. Every set's certainty of being a
sister of the first is asked of kgraph in one question, and of ProbLog by one query for each set, until
the seconds that ProbLog is given (default 60) are over. Prints the times, their ratio and the widest bounds.
"""

from __future__ import annotations

import itertools
import multiprocessing
import random
import sys
import time

from kgraph import questions
from tests.support import graph_of

SIZES = (10, 20, 40, 80)
Edges = list[tuple[int, int, float]]


def family(members: int, seed: int = 1) -> Edges:
    """A random family: three times as many facts as sets."""
    chosen = random.Random(seed)
    pairs = chosen.sample(list(itertools.combinations(range(members), 2)), 3 * members)
    return [(a, b, chosen.choice([0.4, 0.6, 0.7, 0.85, 0.95])) for a, b in pairs]


def ours(edges: Edges) -> tuple[float, float]:
    """Seconds for all sisters of the first set, and the widest bounds."""
    graph = graph_of("".join(f"- rebadge: [Set {a}, Set {b}]\n  certainty: {p}\n" for a, b, p in edges))
    start = time.perf_counter()
    rows = questions.sisters(graph, "set0").rows
    return time.perf_counter() - start, max((r.bounds[1] - r.bounds[0] if r.bounds else 0.0) for r in rows)


def theirs(edges: Edges) -> None:
    """The same by ProbLog."""
    from problog import get_evaluatable
    from problog.program import PrologString

    facts = "".join(f"{p}::w(s{a},s{b}).\n" for a, b, p in edges)
    rules = "e(X,Y) :- w(X,Y).\ne(X,Y) :- w(Y,X).\np(X,Y) :- e(X,Y).\np(X,Y) :- e(X,Z), p(Z,Y).\n"
    members = sorted({m for a, b, _ in edges for m in (a, b)} - {0})
    get_evaluatable().create_from(
        PrologString(facts + rules + "".join(f"query(p(s0,s{m})).\n" for m in members))
    ).evaluate()


def timed_theirs(edges: Edges, seconds: float) -> float | None:
    """Seconds that ProbLog takes, or None if it is not done in time."""
    start = time.perf_counter()
    run = multiprocessing.Process(target=theirs, args=(edges,))
    run.start()
    run.join(seconds)
    if run.is_alive():
        run.kill()
        run.join()
        return None
    return time.perf_counter() - start if run.exitcode == 0 else None


def main(seconds: float = 60.0) -> None:
    print("sets  facts  kgraph s  widest bounds  ProbLog s  ratio")
    for size in SIZES:
        edges = family(size)
        mine, gap = ours(edges)
        other = timed_theirs(edges, seconds)
        said = f"{other:9.2f}  {other / mine:5.1f}" if other else f">{seconds:8.0f}  >{seconds / mine:4.0f}"
        print(f"{size:4}  {len(edges):5}  {mine:8.2f}  {gap:13.2g}  {said}", flush=True)


if __name__ == "__main__":
    main(*(float(a) for a in sys.argv[1:]))
