"""System calls listed and spoilt by `strace`.

Two traps, both met: `when=` counts per *name* of a call, so a fault is named by (name, k), not by its place
among all calls; and with `--seccomp-bpf` strace 6.1 injects errors but no signals, so that a sweep would
pass empty. Whether a fault happened is therefore always read from the log or from how the process ended.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.faults.build import Build

MISSING = "" if shutil.which("strace") else "strace is not installed"


@dataclass(frozen=True, slots=True)
class Call:
    """The k-th call of a name, and the line of the log that shows it."""

    name: str
    k: int
    line: str

    def __str__(self) -> str:
        return f"{self.name}#{self.k}"


_LINE = re.compile(r"(\d+) +(\w+)\(")


def calls(build: Build, words: Sequence[str], log: Path, **more: str) -> list[Call]:
    """Every system call of the main process of a command, run once without a fault."""
    done = build.run_as(
        ["strace", "-f", "-qq", "-y", "-s", "64", "-o", str(log), *build.command(words)], **more
    )
    if done.returncode != 0:
        raise RuntimeError(f"{words} fails without any fault: {done.stderr.decode()}")
    found: list[Call] = []
    counts: Counter[str] = Counter()
    main = ""
    for line in log.read_text(errors="replace").splitlines():
        match = _LINE.match(line)
        if match is None:
            continue
        main = main or match[1]
        if match[1] == main:
            counts[match[2]] += 1
            found.append(Call(match[2], counts[match[2]], line))
    return found


def from_first(found: Sequence[Call], mark: str, name: str = "") -> list[Call]:
    """The calls from the first one on, whose line holds the mark, after the program's own start."""
    for number, call in enumerate(found):
        if mark in call.line and call.name != "execve" and name in ("", call.name):
            return [*found[number:]]
    return []


def spoilt(
    build: Build, words: Sequence[str], call: Call, fault: str, log: Path, **more: str
) -> tuple[subprocess.CompletedProcess[bytes], bool]:
    """Run a command with a fault at a call; how it ended, and whether the fault was seen to happen."""
    inject = f"inject={call.name}:{fault}:when={call.k}"
    # Without -f: a child, such as `dot`, makes calls of the same names, and is not what the fault is for.
    trace = ["strace", "-qq", "-o", str(log), "-e", f"trace={call.name}", "-e", inject]
    done = build.run_as([*trace, *build.command(words)], **more)
    text = log.read_text(errors="replace")
    return done, "(INJECTED)" in text or "killed by SIGKILL" in text
