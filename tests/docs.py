"""Runs the console blocks of README.md as a user at a terminal, and writes their output into it.

`python -m tests.docs` brings the printed output in README.md up to date; the test compares it.
"""

from __future__ import annotations

import os
import pty
import re
import shlex
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.support import ROOT

README = ROOT / "README.md"
BLOCK = re.compile(r"^```console\n(.*?)^```$", re.M | re.S)


def commands(block: str) -> list[str]:
    """The commands of a console block."""
    return [line[2:] for line in block.splitlines() if line.startswith("$ ")]


def at_terminal(command: str, folder: Path) -> str:
    """What a command prints on a terminal 100 columns wide."""
    words = shlex.split(command)
    assert words[0] == "kgraph", command
    ours, theirs = pty.openpty()
    # A terminal that cannot move its cursor gets no progress bar, which would differ from run to run.
    environment = {**os.environ, "COLUMNS": "100", "NO_COLOR": "1", "TERM": "dumb", "PYTHONPATH": str(ROOT)}
    run = [sys.executable, "-m", "kgraph.cli.main", *words[1:]]
    done = subprocess.Popen(
        run, cwd=folder, env=environment, stdin=subprocess.DEVNULL, stdout=theirs, stderr=theirs
    )
    os.close(theirs)
    said = b"".join(_chunks(ours))
    done.wait()
    os.close(ours)
    return said.decode().replace("\r\n", "\n")


def _chunks(descriptor: int) -> Iterator[bytes]:
    while True:
        try:
            chunk = os.read(descriptor, 65536)
        except OSError:  # Linux says so when the other end is closed.
            return
        if not chunk:
            return
        yield chunk


def rewritten(text: str, folder: Path) -> str:
    """The page with the output of every console block as it is now."""

    def fill(found: re.Match[str]) -> str:
        said = "".join(f"$ {c}\n{at_terminal(c, folder)}" for c in commands(found[1]))
        return f"```console\n{said}```"

    return BLOCK.sub(fill, text)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as scratch:
        README.write_text(rewritten(README.read_text(encoding="utf-8"), Path(scratch)), encoding="utf-8")
