"""python -m tests.fuzz FIGURE [--size small|full] [--broken NAME]"""

from __future__ import annotations

import importlib
import os
import sys
import tempfile
from pathlib import Path

from tests.faults.tally import Tally, command_line
from tests.fuzz.broken import WAYS, without

FIGURES = ("hostile", "damage", "planted", "guided", "exits", "foreign", "children", "grammar")


def run(name: str, size: str = "small", broken: str = "") -> Tally:
    """One figure, in temporary folders and with a cache folder of its own."""
    module = importlib.import_module(f"tests.fuzz.{name}")
    with tempfile.TemporaryDirectory(prefix="kgraph-fuzz-") as folder, without(broken):
        place = Path(folder).resolve()
        before = os.environ.get("KGRAPH_CACHE")
        os.environ["KGRAPH_CACHE"] = str(place / "cache")
        try:
            found: Tally = module.figure(size, place)
        finally:
            del os.environ["KGRAPH_CACHE"]
            if before is not None:
                os.environ["KGRAPH_CACHE"] = before
        return found


if __name__ == "__main__":
    sys.exit(command_line("tests.fuzz", FIGURES, WAYS, run))
