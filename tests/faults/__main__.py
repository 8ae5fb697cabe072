"""python -m tests.faults FIGURE [--size small|full] [--broken NAME]"""

from __future__ import annotations

import argparse
import importlib
import sys
import tempfile
import time
from pathlib import Path

from tests.faults.broken import WAYS
from tests.faults.build import frozen
from tests.faults.tally import Tally

FIGURES = ("kill", "power", "errors", "full", "writers", "signals", "cache", "years")


def run(name: str, size: str = "small", broken: str = "") -> Tally:
    """One figure, in temporary folders."""
    module = importlib.import_module(f"tests.faults.{name}")
    with frozen(broken) as build, tempfile.TemporaryDirectory(prefix="kgraph-faults-") as place:
        found: Tally = module.figure(build, size, Path(place).resolve())
        return found


def main() -> int:
    """Print the counts of a figure and the first things that went wrong."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults")
    parser.add_argument("figure", choices=FIGURES)
    parser.add_argument("--size", choices=("small", "full"), default="small")
    parser.add_argument("--broken", choices=sorted(WAYS), default="")
    given = parser.parse_args()
    start = time.monotonic()
    tally = run(given.figure, given.size, given.broken)
    print(tally.report(given.figure, time.monotonic() - start))
    return 0 if tally.holds or tally.skipped else 1


if __name__ == "__main__":
    sys.exit(main())
