"""Belt questions on one large family against plain loading: `python -m tests.bench.belts [SETS]`.

One invented family of SETS sets (default 300) on one mechanism with a run: half state the mechanism, one in
ten states a belt of its own, and 100 belts lie beside. Prints the seconds of each question and their ratio
to the seconds that reading the same folder takes.
"""

from __future__ import annotations

import random
import sys
import time
from collections.abc import Callable

from kgraph import belt_sizes
from kgraph.belts import identify
from kgraph.questions import belt_families, belt_finds, belt_fits, belt_paths, belt_places
from tests.support import graph_of

RUN = """
- assembly: TM mechanism
  kind: tape mechanism
  positions: [main belt]
- run: main belt
  in: TM mechanism
  pulleys:
    - {name: motor, x: 0 mm, y: 0 mm, diameter: 9 mm, drives: yes, rpm: 2400}
    - {name: flywheel, x: 61 mm, y: 4 mm, diameter: 60 mm, capstan: 2.2 mm}
- takes: B0
  in: TM mechanism
  position: main belt
"""


def family(sets: int, seed: int = 1) -> str:
    """The facts of such a family."""
    chance = random.Random(seed)
    text = [RUN]
    for i in range(100):
        size = chance.choice((1.2, 1.4, 1.6))
        length = 226 if i == 0 else chance.randrange(180, 280)
        text.append(
            f"- part: B{i}\n  kind: belt\n  section: square {size} mm\n  inside length: {length} mm\n"
        )
    for i in range(sets):
        if i:
            text.append(f"- rebadge: [Set {chance.randrange(max(0, i - 8), i)}, Set {i}]\n  how: printed\n")
        if chance.random() < 0.5:
            text.append(f"- uses: TM mechanism\n  in: Set {i}\n  how: compared\n")
        if chance.random() < 0.1:
            text.append(f"- takes: B{chance.randrange(100)}\n  in: Set {i}\n  position: main belt\n")
    return "".join(text)


def seconds(work: Callable[[], object]) -> float:
    """How long a piece of work takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def main() -> None:
    sets = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    text = family(sets)
    loading = seconds(lambda: graph_of(text))
    print(f"loading {sets} sets: {loading:.2f} s")
    graph = graph_of(text)
    seen = identify.measured(belt_sizes.section("square 1.6 mm"), 230.0, worn=True)

    def place() -> belt_places.BeltPlace:
        return belt_places.belt_place(graph, ["Set 7"])

    questions: dict[str, Callable[[], object]] = {
        "belt path": lambda: belt_paths.path(graph, place()),
        "belt fit": lambda: belt_fits.fit(graph, "b0", place()),
        "belt family": lambda: belt_families.family(graph, place()),
        "belt find": lambda: belt_finds.find(graph, seen),
    }
    for name, ask in questions.items():
        took = seconds(ask)
        print(f"{name}: {took:.2f} s, {took / loading:.1f} times loading")


if __name__ == "__main__":
    main()
