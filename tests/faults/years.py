"""Years at the bench: random commands on one folder, every tenth killed somewhere in its write, power cuts.

After each command all that was ever acknowledged is there, once and in the order in which it came, with at
most the entries that were in flight when their command was killed. The commands run in children of this
process, which makes them quick; a child that is to die kills itself before one of the calls of its write,
or half-way through one.

The folder lies on an ext4 file system of its own, and every hundredth command is followed at once by a power
cut, with the journal kept or dropped; some of these commands were killed before. What is there afterwards is,
file by file, what was there when the file was last acknowledged, or with what killed commands added since.
Where mounting is not allowed, nothing is cut, and the counts say so.
"""

from __future__ import annotations

import importlib
import os
import random
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.faults import full, power
from tests.faults.broken import WAYS
from tests.faults.build import Build, Files, files_of, put, temporary_files
from tests.faults.tally import Tally

CALLS = ("open", "write", "fsync", "fchmod", "replace", "link", "unlink")
FLAGS = (power.KEEP_JOURNAL, power.DROP_JOURNAL)
FILES = ("bench.yaml", "shelf.yaml", "new.yaml")


def figure(build: Build, size: str, place: Path) -> Tally:
    """`small`: 150 commands, 6 cuts; `full`: 20,000 in 40 folders, each of another seed, and 200 cuts."""
    total = Tally()
    seeds, each, between = (1, 150, 25) if size == "small" else (40, 500, 100)
    missing = power.missing_here()
    if missing:
        print(f"  no power is cut: {missing}")
    for seed in range(seeds):
        with disk(place / str(seed), not missing) as cut:
            part = bench(place / str(seed) / "facts", each, seed, build.broken, cut, between)
        if size == "full":
            print(f"  seed {seed}: {part}", flush=True)
        total.add(part)
        if build.broken and total.wrong:
            break
    return total


Cut = Callable[[int], None]
"""Cuts the power, with the flag for the journal, and gives it back; raises OSError if it was not cut."""


@contextmanager
def disk(point: Path, own: bool) -> Iterator[Cut | None]:
    """A folder on a disk of its own, and what cuts its power; a usual folder where that is not allowed."""
    point.mkdir()
    if not own:
        yield None
        return
    what = power.EXT4.made(point.with_suffix(".image"))
    mounts = ExitStack()
    mounts.enter_context(full.mounted(what, point))

    def cut(flag: int) -> None:
        power.shut_down(point, flag)
        if power.can_write(point):
            raise OSError(0, "the power was not cut", str(point))
        mounts.close()
        mounts.enter_context(full.mounted(what, point))

    try:
        yield cut
    finally:
        mounts.close()
        point.with_suffix(".image").unlink()


@dataclass(slots=True)
class Folder:
    """What must be in a folder: each file as it was seen last, and as else it may be after a power cut."""

    seen: Files
    lasting: dict[str, list[bytes | None]] = field(default_factory=dict)
    """File -> its text when it was last acknowledged, and every text that was seen since."""

    def acknowledged(self, name: str, text: bytes) -> None:
        """From now on no cut may take this text away."""
        self.seen[name] = text
        self.lasting[name] = [text]

    def unconfirmed(self, now: Files, name: str, written: bytes) -> None:
        """A command was killed: what it wrote of a file may last or not, seen or not."""
        self.lasting.setdefault(name, [None]).extend((now.get(name), written))
        self.seen = now

    def may_be(self, now: Files) -> bool:
        """Whether a folder may look so after a cut."""
        names = {*now, *self.lasting}
        return all(now.get(name) in self.lasting.get(name, []) for name in names)


def bench(
    folder: Path, most: int, seed: int, broken: str = "", cut: Cut | None = None, between: int = 100
) -> Tally:
    """So many random commands on a new folder; the faults counted are the killed ones and what followed."""
    # Loaded here once, so that no child has to.
    importlib.import_module("kgraph.cli.adding")
    chance = random.Random(seed)
    put(folder, {})
    known = Folder({})
    _edit(folder / "bench.yaml", b"- set: Start 0\n", known)
    tally = Tally()
    for number in range(1, most + 1):
        name = chance.choice(FILES)
        kind = chance.random()
        fault = f"command {number} of {seed}"
        if kind < 0.1 and name in known.seen:
            # Somebody edits a file by hand.
            _edit(folder / name, f"# edited {number}\n".encode() + known.seen[name], known)
        else:
            die = chance.randrange(12) if kind < 0.2 else None
            words = ["--data", str(folder), "add", "set", f"Entry {number}", "--yes", "--file", name]
            status = _run(words, die, broken)
            _judge(folder, known, name, f"- set: Entry {number}\n".encode(), (status, die), fault, tally)
        if cut and not number % between:
            _after_cut(folder, known, cut, chance.choice(FLAGS), f"power cut after {fault}", tally)
        if broken and tally.wrong:
            break
    return tally


def _edit(path: Path, text: bytes, known: Folder) -> None:
    """Write as a careful editor does, so that what a cut takes away is nobody's fault but the program's."""
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT)
    os.write(descriptor, text)
    os.fsync(descriptor)
    os.close(descriptor)
    known.acknowledged(path.name, text)


def _judge(
    folder: Path,
    known: Folder,
    name: str,
    entry: bytes,
    ended: tuple[int, int | None],
    fault: str,
    tally: Tally,
) -> None:
    """Compare the folder with what must be in it; what a killed command wrote counts from now on."""
    status, die = ended
    now = files_of(folder)
    written = {**known.seen, name: known.seen.get(name, b"") + entry}
    killed = status == -signal.SIGKILL
    good = now == written or (killed and now == known.seen)
    complaint = (
        "" if good and (killed or status == 0) else f"ended with {status}, the folder is not as it must be"
    )
    if not killed and temporary_files(folder):
        complaint = complaint or f"left lying: {temporary_files(folder)}"
    tally.count(fault, killed == (die is not None), complaint, "killed" if killed else "done")
    if killed:
        known.unconfirmed(now, name, written[name])
    else:
        known.seen = now
        known.acknowledged(name, written[name])


def _after_cut(folder: Path, known: Folder, cut: Cut, flag: int, fault: str, tally: Tally) -> None:
    """Cut the power; what the folder then holds is what lasts from now on."""
    try:
        cut(flag)
    except OSError as error:
        tally.count(fault, False, str(error))
        return
    now = files_of(folder)
    complaint = "" if known.may_be(now) else f"not what was acknowledged: {_differing(known, now)}"
    kind = "cuts" if now == known.seen else "cuts that took away what nobody was told of"
    tally.count(f"{fault}, flag {flag}", True, complaint, kind)
    known.seen = now
    known.lasting = {name: [text] for name, text in now.items()}


def _differing(known: Folder, now: Files) -> list[str]:
    names = sorted({*known.seen, *now})
    return [
        f"{n} of {len(now.get(n, b''))} bytes, not {len(known.seen.get(n, b''))}"
        for n in names
        if now.get(n) != known.seen.get(n)
    ]


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
