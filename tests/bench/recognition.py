"""Sets recognised on open data of other fields, beside plain naive Bayes.

`python -m tests.bench.recognition` prints the table of `tests/RUNS.md`; `--case NAME...` some of it. With
`--sets 10000` the command is timed instead, in a made folder of so many sets, from the shell: first while
nothing is kept, then again, and beside it CategoricalNB that learns as many cases and tells one.
The data are those that scikit-learn brings in its wheel: iris, wine and breast_cancer (UCI), digits (UCI,
every fourth case). Each measure is cut into four values at the quartiles of the cases learnt from; a case is
a set, a class a family. Ten folds, drawn with `random_state` 1.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from sklearn import datasets
from sklearn.model_selection import StratifiedKFold
from sklearn.naive_bayes import CategoricalNB

from kgraph import collection
from kgraph.fits import graph as graphs
from kgraph.folder import schema
from kgraph.questions.identify import identify
from kgraph.recognition import traits
from kgraph.recognition.seen import Look, Seen
from tests.bench import folders

FACTS_OF_SET = 3.65
"""So many facts a set has in a made folder."""
LOOKS = (
    *("mains=240 V 50 Hz", "bands=LW, FM, MW", "knobs=5", "speakers=2", "width=400 mm"),
    *("line socket=yes", "cells=6 D", "years=1980"),
)
MOST_CASES = 10_000
"""CategoricalNB holds cases times classes in memory: of 100,000 and a third of that 27 GB."""
PEER = """
import sys
import numpy as np
from sklearn.naive_bayes import CategoricalNB
sets, looks = map(int, sys.argv[1:])
cases = np.random.default_rng(1).integers(0, 8, (sets, looks))
CategoricalNB().fit(cases, np.arange(sets) // 3).predict_proba(cases[:1])
"""
CASES = ("iris", "wine", "breast_cancer", "digits")
VALUES = 4
SURE = 0.9


class Score(NamedTuple):
    """Of so many cases: right, given 0.9 or more, right of these; given it with the true class hidden."""

    cases: int
    right: int
    sure: int
    sure_right: int
    naive_right: int
    naive_sure: int
    naive_sure_right: int
    hidden_sure: int
    naive_hidden_sure: int


def cut(learnt: Any, cases: Any) -> Any:
    """Each measure as a number from 0 to 3, by the quartiles of what is learnt from."""
    edges = np.quantile(learnt, [0.25, 0.5, 0.75], axis=0)
    return np.stack([np.searchsorted(edges[:, i], cases[:, i]) for i in range(cases.shape[1])], axis=1)


def graph_of(rows: Sequence[Sequence[int]], classes: Sequence[int]) -> graphs.Graph:
    """Every case as a set, those of one class joined one by one."""
    lines, last = [], {}
    for n, (row, of) in enumerate(zip(rows, classes, strict=True)):
        lines.append(f"- set: Quillon {n}\n" + "".join(f"  look {i}: v{v}\n" for i, v in enumerate(row)))
        if of in last:
            lines.append(f"- rebadge: [Quillon {last[of]}, Quillon {n}]\n  certainty: 1\n")
        last[of] = n
    entries, problems = schema.entries_of("".join(lines).encode(), "made.yaml")
    assert not problems, problems[:3]
    return graphs.build(collection.build(entries))


def folds(name: str) -> Iterator[tuple[Any, Any, Any, Any]]:
    """(rows learnt from, their classes, rows to tell, their classes) of each of ten folds."""
    data, target = getattr(datasets, f"load_{name}")(return_X_y=True)
    if name == "digits":
        data, target = data[::4, data.std(axis=0) > 0], target[::4]
    for learn, tell in StratifiedKFold(10, shuffle=True, random_state=1).split(data, target):
        yield cut(data[learn], data[learn]), target[learn], cut(data[learn], data[tell]), target[tell]


def score(name: str) -> Score:
    """All ten folds of one of the data."""
    total = np.zeros(len(Score._fields), dtype=int)
    for rows, classes, cases, true in folds(name):
        total += np.array(_fold(rows, classes, cases, true))
    return Score(*map(int, total))


def _fold(rows: Any, classes: Any, cases: Any, true: Any) -> Score:
    graph = graph_of(rows.tolist(), classes.tolist())
    family = traits.families(graph)
    class_of = {family[f"s:quillon{n}"]: int(c) for n, c in enumerate(classes)}
    members = {c: [f"s:quillon{n}" for n, of in enumerate(classes) if of == c] for c in set(classes.tolist())}
    plain = CategoricalNB(min_categories=VALUES).fit(rows, classes)
    without = {
        c: CategoricalNB(min_categories=VALUES).fit(rows[classes != c], classes[classes != c])
        for c in members
    }
    found = [0] * len(Score._fields)
    for case, of in zip(cases, true.tolist(), strict=True):
        seen = Seen(
            tuple(Look(f"look{i}", f"look {i}", f"v{v}", f"v{v}") for i, v in enumerate(case)), (), ()
        )
        best, chance = _best(graph, seen, class_of)
        theirs = plain.predict_proba([case])[0]
        sure, theirs_sure = chance >= SURE, theirs.max() >= SURE
        their_best = int(plain.classes_[theirs.argmax()])
        _, hidden_chance = _best(graph, seen, class_of, members[of])
        counts = (
            1, best == of, sure, sure and best == of,
            their_best == of, theirs_sure, theirs_sure and their_best == of,
            hidden_chance >= SURE, without[of].predict_proba([case])[0].max() >= SURE,
        )  # fmt: skip
        found = [a + int(b) for a, b in zip(found, counts, strict=True)]
    return Score(*found)


def _best(
    graph: graphs.Graph, seen: Seen, class_of: dict[str, int], hidden: Sequence[str] = ()
) -> tuple[int, float]:
    """The likeliest class, none of these aside, and its probability."""
    chances = {f: p for f, p in identify(graph, seen, hidden=hidden).chances.items() if f}
    best = max(chances, key=lambda f: (chances[f], f))
    return class_of[best], chances[best]


def cpu_s(*words: str) -> float:
    """Seconds of the processor that a Python of its own takes for some words."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, *words], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def timed(sets: int) -> None:
    """Prints how long `identify` takes in a folder of so many sets, and how long its peer."""
    with tempfile.TemporaryDirectory() as scratch:
        os.environ["KGRAPH_CACHE"] = str(Path(scratch) / "cache")
        folder = Path(scratch) / "facts"
        folders.write(folder, int(sets * FACTS_OF_SET), looks=True)
        command = ("-m", "kgraph", "--data", str(folder))
        cpu_s(*command, "find", "TM1 mechanism")
        looks = [word for look in LOOKS for word in ("--seen", look)]
        first, *again = (cpu_s(*command, "identify", *looks) for _ in range(4))
    start, peer = cpu_s("-c", "import click"), cpu_s("-c", PEER, str(min(sets, MOST_CASES)), str(len(LOOKS)))
    took = statistics.median(again)
    print(f"{sets} sets: {first:.2f} s of CPU while nothing is kept, then {took:.2f} s")
    print(f"CategoricalNB {peer:.2f} s, {took / peer:.2f} of it")
    print(f"`import click` {start:.2f} s, {took / start:.0f} times that")


def main() -> None:
    if sys.argv[1:2] == ["--sets"]:
        timed(int(sys.argv[2]))
        return
    names = sys.argv[2:] if sys.argv[1:2] == ["--case"] else CASES
    print("| data | cases | right | naive Bayes | 0.9 or more | naive Bayes | class hidden | naive Bayes |")
    print("|---|---|---|---|---|---|---|---|")
    for name in names:
        start = time.process_time()
        s = score(name)
        print(
            f"| {name} | {s.cases} | {s.right} | {s.naive_right} | {s.sure_right} of {s.sure} |"
            f" {s.naive_sure_right} of {s.naive_sure} | {s.hidden_sure} | {s.naive_hidden_sure} |"
        )
        print(f"{name}: {time.process_time() - start:.0f} s of CPU", file=sys.stderr)


if __name__ == "__main__":
    main()
