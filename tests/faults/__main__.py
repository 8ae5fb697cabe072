"""python -m tests.faults FIGURE [--size small|full] [--broken NAME]"""

from __future__ import annotations

import importlib
import sys
import tempfile
from pathlib import Path

from tests.faults.broken import WAYS
from tests.faults.build import frozen
from tests.faults.tally import Tally, command_line

FIGURES = ("kill", "power", "errors", "full", "writers", "signals", "cache", "years")


def run(name: str, size: str = "small", broken: str = "") -> Tally:
    """One figure, in temporary folders."""
    module = importlib.import_module(f"tests.faults.{name}")
    with frozen(broken) as build, tempfile.TemporaryDirectory(prefix="kgraph-faults-") as place:
        found: Tally = module.figure(build, size, Path(place).resolve())
        return found


if __name__ == "__main__":
    sys.exit(command_line("tests.faults", FIGURES, WAYS, run))
