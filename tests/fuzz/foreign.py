"""The reading tests without network and without foreign files: what they open and connect to is written down.

They run by `pytest --audit` (:mod:`tests.fuzz.audit`), and in a network of their own, without any
interface, where `unshare -n` is allowed.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

from tests.faults.tally import Tally
from tests.support import ROOT

SMALL = ("tests/folder/test_reading.py", "tests/test_quantities.py")
FULL = (
    *SMALL,
    "tests/cli/test_hostile.py",
    "tests/exchange/test_tables.py",
    "tests/exchange/test_rdf.py",
    "tests/checks/test_checks.py",
)


def figure(size: str, place: Path) -> Tally:
    """`small`: the tests of reading and of quantities; `full`: hostile files, tables and RDF too."""
    tally = Tally()
    tests = [t for t in (SMALL if size == "small" else FULL) if (ROOT / t).is_file()]
    target = place / "audit"
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", f"--audit={target}", *tests]
    alone = shutil.which("unshare") and subprocess.run(["unshare", "-n", "true"], check=False).returncode == 0
    done = subprocess.run(
        [*(["unshare", "-n"] if alone else []), *command],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    seen = re.search(r"audited: (\d+) opened, (\d+) of sockets", done.stdout)
    if seen is None:
        tally.count("audit", False, f"nothing was seen: {done.stdout[-400:]}{done.stderr[-200:]}")
        return tally
    lines = sorted(set(target.read_text(encoding="utf-8").splitlines()))
    opened = int(seen[1]) + int(seen[2])
    tally.injected = tally.happened = opened
    tally.survived = opened - len(lines)
    tally.wrong += lines
    failed = done.stdout[-400:] if done.returncode else ""
    tally.count("the tests", True, failed, "without a network" if alone else "the network not taken away")
    return tally
