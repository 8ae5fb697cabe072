"""Which sets take a part, asked of kgraph and of its peers: `python -m tests.bench.peers`.

Folders of 1,000 and 30,000 facts (`--million` for a million as well; `--folder DIR` for one that is there).
The peers get the graph multiplied out by position, for a property path cannot ask on the way whether an
exception holds: rdflib and pyoxigraph with property paths, sqlite3 with a recursive query, networkx with
its own searches. They tell sets and positions. kgraph is asked in four ways:

- `answer`: all that a user gets (certainty, proofs, what speaks against it, cautions), every row read anew;
- `warm`: the same of rows kept in memory, as peers keep theirs, and nothing of an earlier answer;
- `walk`: sets and positions, every row read anew;
- `kept`: sets and positions with the best proof and the strongest `no`, of rows kept in memory.

Every answer is compared: the same sets and positions, or the run ends with status 1. Prints medians and
their ratios. rdflib and networkx are not run at a million: their graphs do not go into memory.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import platform
import random
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from kgraph import questions
from kgraph.cli.loading import load
from kgraph.cli.settings import Settings
from kgraph.exchange import places
from kgraph.exchange.terms import TERM, iri
from kgraph.fits.graph import Graph
from kgraph.index import freshness
from kgraph.index.entries import StoredEntries
from kgraph.index.links import graph_of
from kgraph.index.store import Store, index_path
from kgraph.questions.asked import budget_of
from kgraph.questions.takers import rows_of_part
from kgraph.reason import rules
from kgraph.reason.rules import State
from kgraph.reason.walk import explore
from tests.bench import folders
from tests.support import ROOT

Node = places.Node
Found = frozenset[tuple[str, str]]
"""The (set, position) keys of an answer."""
Ask = Callable[[str], Found]
"""From the key of a part to its takers."""

SIZES = (1_000, 30_000)
MILLION = 1_000_000
CLASSES = (1, 10, 30, 100, 300, 10_000)
"""Answers are told apart by how many places they hold: 1 to 9, 10 to 29 and so on."""
IN_CLASS = 8
"""Parts asked of each class of answers."""
COLD = 11
"""Processes started for each median."""
RDFLIB_MOST = 100_000
NETWORKX_MOST = 100_000
OWN = 3
"""How many of the peers, the first ones, are ways to ask kgraph."""
WANTED = questions.Wanted(refused_too=True)
BEST = questions.BEST_ONLY._replace(refused_too=True)
QUERY = """PREFIX k: <urn:kgraph:term:>
SELECT DISTINCT ?place WHERE {
  { <PART> (k:sameAs|k:replaces)*/k:takenAt/k:likeAt* ?place } UNION
  { <PART> k:equalSize/k:takenAt/k:likeAt* ?place } UNION
  { <PART> k:sameAs*/k:originalAt/k:likeAt*/k:fitsAt/k:likeAt* ?place }
}"""
RECURSIVE = """WITH RECURSIVE
  alike(n) AS (SELECT :part UNION SELECT b FROM same JOIN alike ON a = n),
  under(n) AS (SELECT :part UNION
    SELECT b FROM (SELECT a, b FROM same UNION ALL SELECT a, b FROM replaces) JOIN under ON a = n),
  origin(n) AS (SELECT b FROM original JOIN alike ON a = n UNION SELECT b FROM like JOIN origin ON a = n),
  goes(n) AS (
    SELECT b FROM taken JOIN under ON a = n UNION
    SELECT taken.b FROM equal JOIN taken ON taken.a = equal.b WHERE equal.a = :part UNION
    SELECT b FROM fits JOIN origin ON a = n UNION
    SELECT b FROM like JOIN goes ON a = n)
SELECT n FROM goes"""
TABLE = {
    "likeAt": "like",
    "takenAt": "taken",
    "originalAt": "original",
    "sameAs": "same",
    "replaces": "replaces",
    "equalSize": "equal",
    "fitsAt": "fits",
}


@dataclass
class Peer:
    """One way to ask, and what it took."""

    name: str
    ask: Ask
    made_s: float = 0.0
    times: dict[int, list[float]] = field(default_factory=lambda: defaultdict(list))

    def median(self, group: int | None = None) -> float:
        """The median of one class of answers, or of all."""
        found = [t for g, ts in self.times.items() if group in (None, g) for t in ts]
        return statistics.median(found) if found else float("nan")


# The peers -------------------------------------------------------------------------------------


def links(graph: Graph) -> Iterator[places.Triple]:
    """The links that a question about takers walks."""
    return ((one, name, other) for one, name, other in places.links(graph) if name in TABLE and _asked(one))


def _asked(node: Node) -> bool:
    return node[0] in ("place", "part")


def _sets(nodes: Iterable[Node]) -> Found:
    return frozenset((n[1], n[2]) for n in nodes if n[1].startswith("s:"))


def by_triples(graph: Graph, scratch: Path) -> Path:
    """The links as N-Triples."""
    target = scratch / "links.nt"
    with target.open("w", encoding="ascii") as out:
        for one, name, other in links(graph):
            out.write(f"<{iri(*one)}> <{TERM}{name}> <{iri(*other)}> .\n")
    return target


def _places_of(names: Iterable[str]) -> Found:
    from urllib.parse import unquote

    split = ([unquote(piece) for piece in name.split(":")] for name in names)
    return _sets(tuple(pieces[2:]) for pieces in split)


def by_pyoxigraph(triples: Path) -> Ask:
    """pyoxigraph, its store in memory."""
    import pyoxigraph

    store = pyoxigraph.Store()
    store.bulk_load(path=str(triples), format=pyoxigraph.RdfFormat.N_TRIPLES)

    def ask(part: str) -> Found:
        found: Any = store.query(QUERY.replace("PART", iri("part", part)))
        return _places_of(row["place"].value for row in found)

    return ask


def by_rdflib(triples: Path) -> Ask:
    """rdflib, its graph in memory."""
    import rdflib

    graph = rdflib.Graph(bind_namespaces="none")
    with triples.open("rb") as data:
        graph.parse(data, format="nt")

    def ask(part: str) -> Found:
        found = graph.query(QUERY.replace("PART", iri("part", part)))
        return _places_of(str(row[0]) for row in found)  # type: ignore[index]

    return ask


def by_sqlite(graph: Graph, scratch: Path) -> Ask:
    """sqlite3: a table for each kind of link, indexed, in a file; one recursive query."""
    base = sqlite3.connect(scratch / "links.sqlite")
    base.execute("PRAGMA journal_mode = OFF")
    numbers: dict[Node, int] = {}

    def number(node: Node) -> int:
        return numbers.setdefault(node, len(numbers))

    rows: dict[str, list[tuple[int, int]]] = {table: [] for table in TABLE.values()}
    for one, name, other in links(graph):
        rows[TABLE[name]].append((number(one), number(other)))
    for table, pairs in rows.items():
        base.execute(f"CREATE TABLE {table} (a INTEGER, b INTEGER, PRIMARY KEY (a, b)) WITHOUT ROWID")
        base.executemany(f"INSERT OR IGNORE INTO {table} VALUES (?, ?)", pairs)
    base.execute("ANALYZE")
    base.commit()
    names = list(numbers)

    def ask(part: str) -> Found:
        asked = {"part": numbers.get(("part", part), -1)}
        return _sets(names[n] for (n,) in base.execute(RECURSIVE, asked))

    return ask


def by_networkx(graph: Graph) -> Ask:
    """networkx: a graph for each kind of step, and its own searches."""
    import networkx

    like, alike, under = networkx.Graph(), networkx.Graph(), networkx.DiGraph()
    one_step: dict[str, Any] = defaultdict(networkx.DiGraph)
    for one, name, other in links(graph):
        if name == "likeAt":
            like.add_edge(one, other)
        elif name in ("sameAs", "replaces"):
            under.add_edge(one, other)
            if name == "sameAs":
                alike.add_edge(one, other)
        else:
            one_step[name].add_edge(one, other)

    def reached(made: Any, starts: Iterable[Node]) -> set[Node]:
        found: set[Node] = set()
        for start in starts:
            if start not in found:
                found |= {start, *(networkx.descendants(made, start) if start in made else ())}
        return found

    def steps(name: str, starts: Iterable[Node]) -> set[Node]:
        made = one_step[name]
        return {to for start in starts if start in made for to in made.successors(start)}

    def ask(part: str) -> Found:
        asked = {("part", part)}
        taken = steps("takenAt", reached(under, asked) | steps("equalSize", asked))
        origins = reached(like, steps("originalAt", reached(alike, asked)))
        return _sets(reached(like, taken | steps("fitsAt", origins)))

    return ask


def by_kgraph(store: Store, folder: Path, whole: bool) -> Ask:
    """kgraph from its index, every row read anew for each question; `whole`: all that a user gets."""

    def ask(part: str) -> Found:
        graph = graph_of(StoredEntries(store, [str(folder)]))
        if whole:
            found = questions.takers_of_part(graph, part, WANTED)
            return frozenset((row.set, row.position) for row in found.rows)
        network = explore(State("asked", part), lambda s: rules.forward(graph, s))
        goes = (s for s in network.states if s.phase == "goes")
        return frozenset((s.owner, s.position) for s in goes if s.owner[0] == "s")

    return ask


def by_kept_rows(store: Store, folder: Path, whole: bool) -> Ask:
    """kgraph from its index, what one question read kept for the next; `whole`: all that a user gets."""
    graph = graph_of(StoredEntries(store, [str(folder)]))

    def ask(part: str) -> Found:
        if whole:
            graph.remembered.clear()
            rows = list(questions.takers_of_part(graph, part, WANTED).rows)
        else:
            rows = rows_of_part(graph, part, BEST, budget_of(BEST))
        return frozenset((r.set, r.position) for r in rows)

    return ask


# One size --------------------------------------------------------------------------------------


def chosen(graph: Graph) -> dict[int, list[str]]:
    """Parts to ask about, by the class of their answers."""
    found: dict[int, list[str]] = {least: [] for least in CLASSES[:-1]}
    parts = sorted(graph.data.known("part"))
    random.Random(1).shuffle(parts)
    for part in parts[:4000]:
        size = len(rows_of_part(graph, part, BEST, budget_of(BEST)))
        least = max((c for c in CLASSES if c <= size), default=0)
        if least in found and len(found[least]) < IN_CLASS:
            found[least].append(part)
    return {least: asked for least, asked in found.items() if asked}


def peers(graph: Graph, folder: Path, facts: int, scratch: Path) -> Iterator[Peer]:
    """Every peer that a folder of this size is within reach of, made one after another."""
    path = index_path([str(folder)])
    assert path is not None
    store = Store(path)
    yield Peer("kgraph answer", by_kgraph(store, folder, True))
    yield Peer("kgraph walk", by_kgraph(store, folder, False))
    yield Peer("kgraph warm", by_kept_rows(store, folder, True))
    yield Peer("kgraph kept", by_kept_rows(store, folder, False))
    made: list[tuple[str, int, Callable[[], Ask]]] = [
        ("sqlite3", MILLION, lambda: by_sqlite(graph, scratch)),
        ("networkx", NETWORKX_MOST, lambda: by_networkx(graph)),
        ("pyoxigraph", MILLION, lambda: by_pyoxigraph(by_triples(graph, scratch))),
        ("rdflib", RDFLIB_MOST, lambda: by_rdflib(scratch / "links.nt")),
    ]
    for name, most, make in made:
        if facts <= most:
            start = time.perf_counter()
            ask = make()
            yield Peer(name, ask, time.perf_counter() - start)


def measured(peer: Peer, asked: dict[int, list[str]], expected: dict[str, Found]) -> Peer:
    """Ask each part three times and keep the middle one; ends the run where an answer differs."""
    for least, parts in asked.items():
        for part in parts:
            times = []
            for _ in range(3):
                start = time.perf_counter()
                found = peer.ask(part)
                times.append(time.perf_counter() - start)
            if found != expected.setdefault(part, found):
                wrong = sorted(found ^ expected[part])[:5]
                sys.exit(f"{peer.name} differs for {part}: {len(found)}, {len(expected[part])}: {wrong}")
            peer.times[least].append(sorted(times)[1])
    return peer


@dataclass(frozen=True)
class Cold:
    """Medians over whole processes."""

    seconds: float
    peak_mb: float
    out: bytes


STARTER = """
import json, os, sys, time
command, times = json.loads(sys.argv[1]), int(sys.argv[2])
found = []
for turn in range(times):
    start = time.perf_counter()
    where = os.open(sys.argv[3], os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    child = os.posix_spawn(command[0], command, os.environ, file_actions=[(os.POSIX_SPAWN_DUP2, where, 1)])
    _, status, used = os.wait4(child, 0)
    found.append([time.perf_counter() - start, used.ru_maxrss / 1024, os.waitstatus_to_exitcode(status)])
    os.close(where)
print(json.dumps(found))
"""
"""A process begins with the peak memory of the one that starts it: so this one is small."""


def cold(command: list[str], out: Path, times: int = COLD, once_before: bool = True) -> Cold:
    """Run a command in a process of its own, some times over, and once before."""
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    told = [json.dumps(command), str(times + once_before), str(out)]
    starter = [sys.executable, "-I", "-S", "-c", STARTER, *told]
    done = subprocess.run(starter, capture_output=True, cwd=ROOT, env=environment, check=True)
    runs = json.loads(done.stdout)[once_before:]
    if any(status not in (0, 1) for _, _, status in runs):
        sys.exit(f"{command}: {done.stderr.decode()}")
    return Cold(
        statistics.median(r[0] for r in runs), statistics.median(r[1] for r in runs), out.read_bytes()
    )


def starts(graph: Graph, folder: Path, parts: list[str], expected: dict[str, Found], out: Path) -> None:
    """A question as a whole process, against the import of click alone."""
    click = cold([sys.executable, "-c", "import click"], out)
    data = graph.data
    print(f"  import click           {click.seconds * 1000:7.1f} ms  {click.peak_mb:5.1f} MB")
    for part in parts:
        words = ["--data", str(folder), "takers", data.text("part", part), "--json", "--all"]
        one = cold([sys.executable, "-m", "kgraph", *words], out)
        told = {(a["set"], a["position"]) for a in json.loads(one.out)["answers"]}
        if told != {(data.owner_text(s), data.text("position", p)) for s, p in expected[part]}:
            sys.exit(f"the command differs for {part}")
        print(
            f"  takers, {len(told):5} places   {one.seconds * 1000:7.1f} ms  {one.peak_mb:5.1f} MB"
            f"   {one.seconds / click.seconds:5.2f} times click"
        )


PARSER = """
import sys, time, yaml
texts = [open(p, "rb").read() for p in sys.stdin.read().splitlines()]
start = time.perf_counter()
for text in texts:
    for _ in yaml.parse(text, yaml.CBaseLoader):
        pass
print(time.perf_counter() - start)
"""


def first(folder: Path, words: list[str]) -> None:
    """The question that compiles the index, against libyaml's events of the same bytes alone."""
    paths = "\n".join(map(str, sorted(folder.rglob("*.yaml"))))
    parser = [sys.executable, "-c", PARSER]
    events = float(subprocess.run(parser, input=paths, stdout=subprocess.PIPE, text=True, check=True).stdout)
    start = time.perf_counter()
    running = subprocess.Popen([sys.executable, "-m", "kgraph", *words], stdout=subprocess.DEVNULL, cwd=ROOT)
    most_mb = 0.0
    while running.poll() is None:
        most_mb = max(most_mb, sum(map(_memory_mb, _with_children(running.pid))))
        time.sleep(0.05)
    took = time.perf_counter() - start
    print(
        f"  the first question, which compiles the index: {took:.1f} s, {most_mb:.0f} MB in its processes; "
        f"libyaml's events alone {events:.2f} s: {took / events:.1f} times that"
    )


def _with_children(process: int) -> list[int]:
    try:
        listed = Path(f"/proc/{process}/task/{process}/children").read_text(encoding="ascii")
    except OSError:
        return [process]
    return [process, *(found for child in listed.split() for found in _with_children(int(child)))]


def _memory_mb(process: int) -> float:
    """What a process holds, of shared pages its part; 0 where it has ended or the system tells nothing."""
    with contextlib.suppress(OSError):
        for line in Path(f"/proc/{process}/smaps_rollup").read_text(encoding="ascii").splitlines():
            if line.startswith("Pss:"):
                return float(line.split()[1]) / 1024
    return 0.0


ADDED = "- takes: {part}\n  in: Norvane {number}\n  position: volume knob\n  how: guess\n"


def changed(folder: Path, part: str, out: Path) -> None:
    """One file gets an entry more: the next answer, against one from an index that stands."""
    words = [sys.executable, "-m", "kgraph", "--data", str(folder), "takers", part, "--json"]
    files = random.Random(2).choices(sorted(folder.rglob("*.yaml")), k=COLD)
    times = []
    for number, file in enumerate(files):
        was = file.read_text(encoding="utf-8")
        file.write_text(was + ADDED.format(part=part, number=number), encoding="utf-8")
        times.append(cold(words, out, 1, once_before=False).seconds)
        file.write_text(was, encoding="utf-8")
        # A file that was changed within two seconds is read again by every question.
        time.sleep(freshness.YOUNG_NS / 1e9 + 0.1)
        cold(words, out, 1)
    usual, after = cold(words, out).seconds, statistics.median(times)
    print(
        f"  after one more entry in one of {len(list(folder.rglob('*.yaml')))} files {after * 1000:.0f} ms, "
        f"{after / usual:.1f} times a question to the index ({usual * 1000:.0f} ms)"
    )


def table(found: list[Peer], asked: dict[int, list[str]]) -> None:
    """A line for each peer, by class of answers, then kgraph's medians over those of the others."""
    head = "".join(f"{f'{least}+ places':>13}" for least in asked)
    print(f"\n  {'milliseconds':28}{head}{'all':>13}{'loaded in, s':>14}")
    for peer in found:
        cells = "".join(f"{peer.median(g) * 1000:13.2f}" for g in (*asked, None))
        print(f"  {peer.name:28}{cells}{peer.made_s:14.1f}")
    print("  ratios")
    for own in found[:OWN]:
        for peer in found[OWN:]:
            cells = "".join(f"{own.median(g) / peer.median(g):13.2f}" for g in (*asked, None))
            print(f"  {f'{own.name} / {peer.name}':28}{cells}")


def bench(folder: Path, facts: int, scratch: Path) -> None:
    """All of one size."""
    start = time.perf_counter()
    graph = load(Settings((folder,))).graph
    print(f"\n{len(graph.data.facts):,} facts, read in {time.perf_counter() - start:.1f} s")
    first(folder, ["--data", str(folder), "sisters", next(iter(graph.data.known("set").values())), "--json"])
    expected: dict[str, Found] = {}
    asked: dict[int, list[str]] = {}
    found = []
    for peer in peers(graph, folder, facts, scratch):
        asked = asked or chosen(graph)
        found.append(measured(peer, asked, expected))
    starts(graph, folder, [parts[0] for parts in asked.values()], expected, scratch / "out")
    table(found, asked)
    changed(folder, graph.data.text("part", next(iter(asked.values()))[0]), scratch / "out")


def machine() -> str:
    """What the figures were taken on."""
    name = platform.processor() or platform.machine()
    with contextlib.suppress(OSError):
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
        name = next((line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")), name)
    return f"{name}, {os.cpu_count()} cores, {platform.system()}, Python {platform.python_version()}"


def main() -> None:
    options = argparse.ArgumentParser(description="kgraph and its peers over the same facts")
    options.add_argument(
        "--million", action="store_true", help="a million facts as well: far longer, and up to 20 GB"
    )
    options.add_argument("--folder", type=Path, help="this folder, made by tests.bench.folders, instead")
    given = options.parse_args()
    print(machine())
    with tempfile.TemporaryDirectory() as name:
        scratch = Path(name)
        os.environ["KGRAPH_CACHE"] = str(scratch / "cache")
        if given.folder:
            bench(given.folder, sum(_facts_in(p) for p in given.folder.rglob("*.yaml")), scratch)
            return
        for size in (*SIZES, *([MILLION] if given.million else [])):
            folder = scratch / f"facts-{size}"
            folders.write(folder, size)
            inner = scratch / f"links-{size}"
            inner.mkdir()
            bench(folder, size, inner)


def _facts_in(path: Path) -> int:
    return path.read_text(encoding="utf-8").count("\n  how: ")


if __name__ == "__main__":
    main()
