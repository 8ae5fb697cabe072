"""Many writers at once, some killed, with an editor that saves in the midst and a reader beside them.

Each writer is a process that appends entries one by one and notes each as acknowledged. The editor knows no
lock: it saves between a writer's reading and renaming. So that its own saving overwrites nobody (that would
be the editor's fault, not the program's), it saves inside the writer that holds the lock, through the hook
for it. Counted is each entry and each saving: acknowledged entries are there once; one in flight when its
writer was killed may be there; every note of the editor is there; the reader never sees a file with an
error or one with fewer entries than before. Once with one file, once with four of one folder, to which each
writer adds in turn.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from collections import Counter
from dataclasses import astuple, dataclass
from pathlib import Path

from kgraph.folder.nodes import Map, Text
from kgraph.folder.reading import read_bytes
from tests.faults.build import Build, temporary_files
from tests.faults.tally import Tally

START = b"- set: Start 0\n"


FILES = (1, 4)
"""How many files the writers add to, in two rounds."""


@dataclass(frozen=True, slots=True)
class Crowd:
    """So many writers of so many entries each, so many of all entries killed, and the files they add to."""

    writers: int
    each: int
    kills: int
    files: int

    def file(self, number: int) -> str:
        """The file of a writer's entry of this number."""
        return f"{'abcd'[number % self.files]}.yaml"

    def doomed(self, writer: int) -> int:
        """How many entries of one writer are killed."""
        return self.kills // self.writers + (writer < self.kills % self.writers)


def figure(build: Build, size: str, place: Path) -> Tally:
    """`small`: 4 writers of 25 entries; `full`: 16 of 1,000. Every eighth entry of one the editor saves."""
    total = Tally()
    for files in FILES:
        crowd = Crowd(4, 25, 2, files) if size == "small" else Crowd(16, 1000, 160, files)
        begun = time.monotonic()
        part = gathered(build, place / str(files), crowd)
        if size == "full":
            print(part.report(f"  {files} files", time.monotonic() - begun), flush=True)
        total.add(part)
        if build.broken and total.wrong:
            break
    return total


def gathered(build: Build, place: Path, crowd: Crowd) -> Tally:
    """Let a crowd write in a new folder while a reader looks, and judge what is there."""
    folder = place / "facts"
    folder.mkdir(parents=True)
    paths = [folder / crowd.file(number) for number in range(crowd.files)]
    for path in paths:
        path.write_bytes(START)
    started = [_start(build, place, crowd, writer) for writer in range(crowd.writers)]
    tally = Tally()
    seen = dict.fromkeys(paths, 0)
    while any(p.poll() is None for p in started):
        begun = time.monotonic()
        for path in paths:
            errors, now = _look(path)
            tally.kinds["looks of the reader"] += 1
            if errors or now < seen[path]:
                tally.wrong.append(f"the reader saw {now} entries after {seen[path]}, {errors} errors")
            seen[path] = now
        # It rests as long as it looked, so that it does not take a whole processor from the writers.
        time.sleep(0.01 + time.monotonic() - begun)
    _judge(place, [p.returncode for p in started], crowd, tally)
    _next_write(build, folder, tally)
    return tally


def _start(build: Build, place: Path, crowd: Crowd, writer: int) -> subprocess.Popen[bytes]:
    words = [str(place), str(writer), *map(str, astuple(crowd)), build.broken]
    return subprocess.Popen(
        [sys.executable, "-m", "tests.faults.writers", *words],
        cwd=build.place,
        env=build.environment(),
        stderr=subprocess.DEVNULL if build.broken else None,
    )


def _look(path: Path) -> tuple[int, int]:
    found = read_bytes(path.read_bytes(), "a.yaml")
    return sum(p.severity == "error" for p in found.problems), len(found.entries)


def _names(path: Path) -> Counter[str]:
    entries = read_bytes(path.read_bytes(), "a.yaml").entries
    values = (e.pairs[0][1] for e in entries if isinstance(e, Map))
    return Counter(v.value for v in values if isinstance(v, Text))


def _judge(place: Path, ends: list[int | None], crowd: Crowd, tally: Tally) -> None:
    paths = sorted((place / "facts").glob("*.yaml"))
    texts = {path.name: path.read_text(encoding="utf-8") for path in paths}
    there = {path.name: _names(path) for path in paths}
    for writer in range(crowd.writers):
        noted = (place / f"W{writer}.log").read_text(encoding="utf-8").split("\n")
        acknowledged = {line[4:] for line in noted if line.startswith("ack ")}
        killed = {line[5:] for line in noted if line.startswith("kill ")}
        for number in range(crowd.each):
            name = f"W{writer} {number}"
            in_its_own = there[crowd.file(number)][name]
            times = sum(names[name] for names in there.values())
            good = times == in_its_own and (times == 1 or (name in killed and times == 0))
            happened = name in acknowledged or name in killed
            complaint = "" if good else f"there {times} times, {in_its_own} in its own file"
            tally.count(name, happened, complaint, "killed" if name in killed else "entries")
        for line in noted:
            if line.startswith("saved "):
                _, file, note = line.split(" ", 2)
                lost = f"# {note}\n" not in texts[file]
                tally.count(line, True, "lost" if lost else "", "savings of the editor")
    if any(ends):
        tally.wrong.append(f"writers ended with {sorted(map(str, ends))}")


def _next_write(build: Build, folder: Path, tally: Tally) -> None:
    """One more entry: what the dead left lying goes."""
    tally.kinds["left by the killed"] += len(temporary_files(folder))
    done = build.run(["--data", str(folder), "add", "set", "Last 1", "--yes", "--file", "a.yaml"])
    left = temporary_files(folder)
    if done.returncode or left:
        tally.wrong.append(f"the next write ends with {done.returncode}, left lying: {left}")


# What each writer does, in a process of its own --------------------------------------------------


def _write_all(place: Path, writer: int, crowd: Crowd) -> None:
    """Append all entries; the ones to be killed are written by a child that dies somewhere in the write."""
    name = f"W{writer}"
    chance = random.Random(name)
    doomed = set(chance.sample(range(crowd.each), crowd.doomed(writer)))
    log = os.open(place / f"{name}.log", os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    for number in range(crowd.each):
        entry = f"{name} {number}"
        target = place / "facts" / crowd.file(number)
        if number in doomed:
            _die_writing(target, entry, chance)
            os.write(log, f"kill {entry}\n".encode())
            continue
        saved = _append(target, entry, save=number % 8 == 3)
        os.write(log, f"{saved}ack {entry}\n".encode())


def _append(target: Path, entry: str, save: bool) -> str:
    from kgraph.folder import writing

    notes: list[str] = []

    def edit() -> None:
        if save and not notes:
            notes.append(f"saved {target.name} note of {entry}\n")
            beside = target.with_name(f"editor of {entry}")
            beside.write_bytes(f"# note of {entry}\n".encode() + target.read_bytes())
            os.rename(beside, target)

    writing.append(target.parent, target, [f"- set: {entry}\n"], before_rename=edit)
    return "".join(notes)


def _die_writing(target: Path, entry: str, chance: random.Random) -> None:
    """Write in a child that kills itself before one of the calls of the write, or half-way in one."""
    from tests.faults.years import die_at

    child = os.fork()
    if child == 0:
        try:
            die_at(chance.randrange(9))
            _append(target, entry, save=False)
        finally:
            os._exit(1)
    _, status = os.waitpid(child, 0)
    if not os.WIFSIGNALED(status):
        raise SystemExit(f"{entry}: the child was not killed")


def main() -> None:
    """PLACE WRITER, the numbers of a crowd, BROKEN"""
    from tests.faults.broken import WAYS

    place, writer, *numbers, broken = sys.argv[1:]
    if broken:
        WAYS[broken]()
    _write_all(Path(place), int(writer), Crowd(*map(int, numbers)))


if __name__ == "__main__":
    main()
