"""Many folders of random facts: every question ends, and what it says of certainty holds.

`python -m tests.bench.random_folders [FOLDERS] [SEED]`: so many folders of 20 to 500 sets, with one to five
facts for each set, and five questions to each. The process may use 1 GB of addresses. A question that takes
over 10 s of the processor, or an answer whose figures contradict each other, ends the run with the seed.
"""

from __future__ import annotations

import random
import resource
import sys
import time

from tests.bench import shapes
from tests.outside.test_any_shape import check, dense

MOST_SECONDS = 10.0


def main() -> None:
    """Ask, and print how many answers there were and the longest question."""
    resource.setrlimit(resource.RLIMIT_AS, (shapes.MOST_BYTES, shapes.MOST_BYTES))
    folders = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    answers, widest, times = 0, 0.0, []
    for seed in range(first, first + folders):
        chance = random.Random(seed)
        sets = chance.randint(20, 500)
        graph = dense(int(sets * chance.uniform(1.0, 5.0)), sets, seed)
        for name, ask in shapes.asks(graph, 5, seed):
            begun = time.process_time()
            rows = ask(graph).rows
            times.append(time.process_time() - begun)
            if times[-1] > MOST_SECONDS:
                sys.exit(f"seed {seed}, {name}: {times[-1]:.1f} s of the processor")
            for row in rows:
                check(row)
                widest = max(widest, row.bounds[1] - row.bounds[0] if row.bounds else 0.0)
            answers += len(rows)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{folders} folders, {len(times)} questions, {answers} answers; longest {max(times):.2f} s of the "
        f"processor, widest interval {widest:.4f}, {peak:.0f} MB"
    )


if __name__ == "__main__":
    main()
