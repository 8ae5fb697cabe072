"""Folders of shapes that defeat a search without a budget.

`python -m tests.bench.shapes [SHAPE] [QUESTIONS]`.

Each folder is built from a seed, in memory; the process may use 1 GB of addresses. For each shape: how long a
question took (median, longest), the memory at its height, and how many certainties were exact and drawn.

- `engines`: 883 sets on 280 assemblies that all declare one position, 1,171 parts that one to four of them
  take, and 314 fits from one to another, one way;
- `one piece`: 10,000 sets, of which some 4,300 places hang together by numbers declared the same at random;
- `dense N SETS`: N facts of all kinds at random on so many sets.
"""

from __future__ import annotations

import gc
import random
import resource
import statistics
import sys
import time
from collections.abc import Callable, Iterator

from kgraph import collection, questions
from kgraph.fits import graph as graphs
from kgraph.fits.graph import Graph
from kgraph.folder import schema
from kgraph.questions import Answer

MOST_BYTES = 1 << 30
HOW = ("fitted", "measured", "printed", "compared", "photo", "reported", "guess")
Ask = Callable[[Graph], Answer]


def engines(chance: random.Random) -> Iterator[str]:
    """Many assemblies at one position."""
    for a in range(280):
        yield f"- assembly: Block {a}\n  positions: [filter]\n"
    for s in range(883):
        for a in {int(280 * chance.random() ** 2) for _ in range(chance.choice((1, 1, 1, 2, 3)))}:
            yield f"- uses: Block {a}\n  in: Car {s}\n  how: {chance.choice(HOW)}\n"
    for p in range(1171):
        for a in {chance.randrange(280) for _ in range(chance.randint(1, 4))}:
            yield f"- takes: F{p}\n  in: Block {a}\n  position: filter\n  how: {chance.choice(HOW)}\n"
    for _ in range(314):
        one, other = chance.sample(range(280), 2)
        yield f"- fits: Block {one}\n  position: filter\n  to: Block {other}\n  how: {chance.choice(HOW)}\n"


def one_piece(chance: random.Random) -> Iterator[str]:
    """Sets with mechanisms at random, and parts declared the same at random."""
    for m in range(300):
        yield f"- assembly: Mech {m}\n  positions: [main belt, counter belt, pinch roller]\n"
        for place in ("main belt", "counter belt", "pinch roller"):
            part = chance.randrange(3300)
            yield f"- takes: P{part}x\n  in: Mech {m}\n  position: {place}\n  how: {chance.choice(HOW)}\n"
    for s in range(10_000):
        yield f"- uses: Mech {chance.randrange(300)}\n  in: Set {s}\n  how: {chance.choice(HOW)}\n"
        if s and chance.random() < 0.6:
            yield f"- rebadge: [Set {s}, Set {chance.randrange(s)}]\n  how: {chance.choice(HOW)}\n"
        if chance.random() < 0.9:
            part, place = chance.randrange(3300), chance.choice(("volume knob", "dial glass", "main belt"))
            yield f"- takes: P{part}x\n  in: Set {s}\n  position: {place}\n  how: {chance.choice(HOW)}\n"
    for _ in range(2000):
        one, other = chance.sample(range(3300), 2)
        yield f"- same: [P{one}x, P{other}x]\n  how: {chance.choice(HOW)}\n"


def dense(facts: int, sets: int) -> Callable[[random.Random], Iterator[str]]:
    """Facts of all kinds at random on a few sets."""

    def made(chance: random.Random) -> Iterator[str]:
        places = ("main belt", "volume knob", "dial glass", "meter lamp")
        yield "- kind: screw\n  generic: yes\n  compare: {length: 0.2 mm}\n"
        for a in range(sets // 10):
            yield f"- assembly: Mech {a}\n  positions: [{', '.join(chance.sample(places, 2))}]\n"
        for p in range(sets // 2):
            yield f"- part: P{p}x\n  kind: screw\n  length: {chance.randrange(100)} mm\n"
        for _ in range(facts):
            yield _any_fact(chance, sets, places)

    return made


def _any_fact(chance: random.Random, sets: int, places: tuple[str, ...]) -> str:
    one, other = chance.sample(range(sets), 2)
    first, second = chance.sample(range(sets // 2), 2)
    place, at, mech = chance.choice(places), chance.choice(places), chance.randrange(sets // 10)
    how = f"  how: {chance.choice(HOW)}\n"
    without = f"  except: [{chance.choice(places)}]\n" if chance.random() < 0.2 else ""
    match chance.randrange(10):
        case 0 | 1 | 2:
            return f"- rebadge: [Set {one}, Set {other}]\n{without}{how}"
        case 3:
            return f"- uses: Mech {mech}\n  in: Set {one}\n{without}{how}"
        case 4 | 5:
            owner = f"Set {one}" if chance.random() < 0.7 else f"Mech {mech}"
            return f"- takes: P{first}x\n  in: {owner}\n  position: {place}\n{how}"
        case 6:
            return f"- same: [P{first}x, P{second}x]\n{how}"
        case 7:
            return f"- replaces: P{first}x\n  old: P{second}x\n{how}"
        case 8:
            both = "  both ways: yes\n" if chance.random() < 0.5 else ""
            return f"- fits: Set {one}\n  position: {place}\n  to: Set {other}\n  at: {at}\n{both}{how}"
        case _:
            return f"- refuses: P{first}x\n  in: Set {one}\n  position: {place}\n{how}"


SHAPES: dict[str, Callable[[random.Random], Iterator[str]]] = {
    "engines": engines,
    "one piece": one_piece,
    "dense 200 60": dense(200, 60),
    "dense 700 200": dense(700, 200),
    "dense 2500 500": dense(2500, 500),
}


def graph_of(shape: str, seed: int = 1) -> Graph:
    """The graph of a folder of this shape."""
    text = "".join(SHAPES[shape](random.Random(seed)))
    entries, problems = schema.entries_of(text.encode(), f"{shape}.yaml")
    assert not [p for p in problems if p.severity == "error"], problems[:3]
    return graphs.build(collection.build(entries))


def asks(graph: Graph, number: int, seed: int = 2) -> list[tuple[str, Ask]]:
    """So many questions of all kinds, at random."""
    chance = random.Random(seed)
    data = graph.data
    sets, parts = sorted(data.known("set")), sorted(data.known("part"))
    places = sorted(data.known_keys("position"))
    found: list[tuple[str, Ask]] = []
    for i in range(number):
        s, p, place = chance.choice(sets), chance.choice(parts), chance.choice(places)
        found.append(
            [
                (f"takers {p}", lambda g, p=p: questions.takers_of_part(g, p)),
                (f"donors {s} {place}", lambda g, s=s, at=place: questions.donors(g, s, [at])),
                (f"takers {s} {place}", lambda g, s=s, at=place: questions.takers_of_place(g, s, at)),
                (f"sisters {s}", lambda g, s=s: questions.sisters(g, s)),
                (f"shares {s}", lambda g, s=s: questions.shares(g, s)),
            ][i % 5]
        )
    return found


def main() -> None:
    """Ask, and print a line for each shape."""
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    wanted = sys.argv[1] if len(sys.argv) > 1 else ""
    number = int(sys.argv[2]) if len(sys.argv) > 2 else 25
    for shape in SHAPES:
        if wanted in ("", "all", shape):
            _one_shape(shape, number, verbose=wanted == shape)


def _one_shape(shape: str, number: int, verbose: bool) -> None:
    graph = graph_of(shape)
    gc.collect()
    gc.freeze()
    gc.disable()  # As every command does.
    times, how = [], {"exact": 0, "drawn": 0}
    for name, ask in asks(graph, number):
        begun = time.process_time()
        rows = ask(graph).rows
        times.append(time.process_time() - begun)
        for row in rows:
            how[row.weighed] += 1
        if verbose:
            widest = max((b[1] - b[0] for r in rows if (b := r.bounds)), default=0.0)
            unproven = sum(not r.proven for r in rows)
            print(
                f"  {times[-1]:6.2f} s {len(rows):6} answers, widest {widest:.3f}, "
                f"unproven {unproven}: {name}"
            )
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{shape}: {number} questions, median {statistics.median(times):.2f} s, longest {max(times):.2f} s, "
        f"{peak:.0f} MB, {how['exact']} exact, {how['drawn']} drawn"
    )


if __name__ == "__main__":
    main()
