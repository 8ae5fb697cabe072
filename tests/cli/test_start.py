"""What a plain question loads: the list of modules, not a time."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from tests.support import DEMO, ROOT

HEAVY = {"rdflib", "networkx", "numpy", "scipy", "pandas", "rich", "graphviz", "jinja2", "problog", "pulp"}
SCRIPT = """
import json, sys
from kgraph.cli.main import run
status = run(sys.argv[1:])
print("\\n" + json.dumps([status, sorted({m.split(".")[0] for m in sys.modules})]))
"""


@pytest.mark.parametrize("words", [["--help"], ["find", "hz340"], ["takers", "HU-3001"]], ids=" ".join)
def test_heavy_libraries_stay_out(words: list[str]) -> None:
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, "--data", str(DEMO), *words],
        cwd=ROOT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    status, modules = json.loads(done.stdout.strip().splitlines()[-1])
    assert status == 0
    assert "click" in modules
    assert not HEAVY & set(modules)
