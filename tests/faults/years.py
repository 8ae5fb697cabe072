"""Years at the bench: random commands on one folder, every tenth killed somewhere in its write.

After each command all that was ever acknowledged is there, once and in the order in which it came, with at
most the entries that were in flight when their command was killed. The commands run in children of this
process, which makes them quick; a child that is to die kills itself before one of the calls of its write,
or half-way through one.
"""

from __future__ import annotations

import importlib
import os
import random
import signal
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.faults.broken import WAYS
from tests.faults.build import Build, files_of, put, temporary_files
from tests.faults.tally import Tally

CALLS = ("open", "write", "fsync", "fchmod", "rename", "link", "unlink")
FILES = ("bench.yaml", "shelf.yaml", "new.yaml")


def figure(build: Build, size: str, place: Path) -> Tally:
    """`small`: 150 commands; `full`: 20,000 in 40 folders, each of another seed."""
    total = Tally()
    seeds, each = (1, 150) if size == "small" else (40, 500)
    for seed in range(seeds):
        total.add(bench(place / str(seed), each, seed, build.broken))
    return total


def bench(folder: Path, most: int, seed: int, broken: str = "") -> Tally:
    """So many random commands on a new folder; the faults counted are the killed ones and what followed."""
    # Loaded here once, so that no child has to.
    importlib.import_module("kgraph.cli.adding")
    chance = random.Random(seed)
    put(folder, {"bench.yaml": b"- set: Start 0\n"})
    expected = files_of(folder)
    tally = Tally()
    for number in range(most):
        name = chance.choice(FILES)
        kind = chance.random()
        if kind < 0.1 and name in expected:
            # Somebody edits a file by hand.
            expected[name] = f"# edited {number}\n".encode() + expected[name]
            (folder / name).write_bytes(expected[name])
            continue
        entry = f"- set: Entry {number}\n".encode()
        die = chance.randrange(12) if kind < 0.2 else None
        words = ["--data", str(folder), "add", "set", f"Entry {number}", "--yes", "--file", name]
        status = _run(words, die, broken)
        _judge(folder, expected, name, entry, (status, die), f"command {number} of {seed}", tally)
        if broken and tally.wrong:
            break
    return tally


def _judge(
    folder: Path,
    expected: dict[str, bytes],
    name: str,
    entry: bytes,
    ended: tuple[int, int | None],
    fault: str,
    tally: Tally,
) -> None:
    """Compare the folder with what must be in it; what a killed command wrote counts from now on."""
    status, die = ended
    now = files_of(folder)
    written = {**expected, name: expected.get(name, b"") + entry}
    killed = status == -signal.SIGKILL
    good = now == written or (killed and now == expected)
    complaint = (
        "" if good and (killed or status == 0) else f"ended with {status}, the folder is not as it must be"
    )
    if not killed and temporary_files(folder):
        complaint = complaint or f"left lying: {temporary_files(folder)}"
    tally.count(fault, killed == (die is not None), complaint, "killed" if killed else "done")
    expected.clear()
    expected.update(now)


def _run(words: list[str], die: int | None, broken: str) -> int:
    child = os.fork()
    if child == 0:
        status = 1
        try:
            _quiet()
            if broken:
                WAYS[broken]()
            from kgraph.cli import main

            if die is not None:
                die_at(die)
            status = main.run(words)
            if die is not None:
                # The write had fewer calls than that: it dies when all is written and before it ends.
                os.kill(os.getpid(), signal.SIGKILL)
        finally:
            os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def _quiet() -> None:
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)
    os.environ["KGRAPH_CACHE"] = "off"


def die_at(which: int) -> None:
    """From the taking of the lock on, let this process kill itself at the call of this number.

    A write is killed half-way. At a number beyond the last call it is killed when the lock is given back.
    """
    import fcntl

    left = [which]
    armed = [False]
    flock = fcntl.flock

    def lock(*arguments: Any) -> None:
        flock(*arguments)
        armed[0] = True

    fcntl.flock = lock
    for name in CALLS:
        setattr(os, name, _counted(name, getattr(os, name), left, armed))


def _counted(name: str, call: Callable[..., Any], left: list[int], armed: list[bool]) -> Callable[..., Any]:
    def counted(*arguments: Any, **options: Any) -> Any:
        if armed[0]:
            if left[0] == 0:
                if name == "write":
                    call(arguments[0], bytes(arguments[1])[: len(arguments[1]) // 2])
                os.kill(os.getpid(), signal.SIGKILL)
                time.sleep(60)
            left[0] -= 1
        return call(*arguments, **options)

    return counted
