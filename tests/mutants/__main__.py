"""python -m tests.mutants [--module NAME] [--every N] [--list | --coverage] [--broken NAME]"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Sequence
from dataclasses import replace

from tests.mutants.making import Mutant, mutants
from tests.mutants.running import ROOT, Counts, Harness
from tests.mutants.targets import TARGETS

LEAST_KILLED = 0.95
BROKEN = ("blind", "unloaded")
"""`blind`: tests that run the module and check nothing; `unloaded`: no mutant takes its module's place."""


def main() -> int:
    """Print the counts of each module, and the mutants that no test noticed; the exit status."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutants")
    parser.add_argument("--module", action="append", choices=[t.module for t in TARGETS], default=[])
    parser.add_argument("--every", type=int, default=1, metavar="N", help="only every Nth mutant")
    parser.add_argument("--only", default="", metavar="TEXT", help="only mutants with this in their name")
    parser.add_argument("--list", action="store_true", help="the mutants alone, without running them")
    parser.add_argument("--coverage", action="store_true", help="what the tests come to, without mutants")
    parser.add_argument("--broken", choices=BROKEN, default="", help="what must be found out")
    given = parser.parse_args()
    whole, held = Counts(), True
    for target in TARGETS:
        if given.module and target.module not in given.module:
            continue
        if given.broken == "blind":
            target = replace(target, tests=("mutants/blind",))
        if given.list:
            source = (ROOT / target.file).read_text(encoding="utf-8")
            print("\n".join(f"{target.module}: {m.id}" for m in mutants(source, target.only)))
            continue
        harness = Harness(target, loading=given.broken != "unloaded")
        covered = harness.covered()
        print(f"{target.module}: {covered}", flush=True)
        held &= not covered.missing
        if not given.coverage:
            chosen = [m for m in harness.mutants if given.only in m.id][:: given.every]
            whole.add(_counted(harness, chosen))
    if whole.made:
        print(f"all: mutants made / run / killed: {whole}")
        held &= whole.run == whole.made and whole.killed >= LEAST_KILLED * whole.made
    return 0 if held else 1


def _counted(harness: Harness, chosen: Sequence[Mutant]) -> Counts:
    start, shown, counts = time.monotonic(), 0, Counts()
    for mutant in chosen:
        harness.count(counts, mutant)
        for survivor in counts.survivors[shown:]:
            print(f"  survived: {survivor}", flush=True)
        shown = len(counts.survivors)
    took = f"{time.monotonic() - start:.0f} s"
    print(f"{harness.target.module}: mutants made / run / killed: {counts} in {took}", flush=True)
    return counts


if __name__ == "__main__":
    if os.environ.get("PYTHONHASHSEED") != "0":
        # The order of sets is then the same in each run.
        os.execve(
            sys.executable,
            [sys.executable, "-m", "tests.mutants", *sys.argv[1:]],
            {**os.environ, "PYTHONHASHSEED": "0"},
        )
    sys.exit(main())
