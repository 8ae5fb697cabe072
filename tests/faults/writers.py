"""Many writers at once, some killed, with an editor that saves in the midst and a reader beside them.

Each writer is a process that appends entries one by one and notes each as acknowledged. The editor knows no
lock: it saves between a writer's reading and renaming. So that its own saving overwrites nobody (that would
be the editor's fault, not the program's), it saves inside the writer that holds the lock, through the hook
for it. Counted is each entry and each saving: acknowledged entries are there once; one in flight when its
writer was killed may be there; every note of the editor is there; the reader never sees a file with an
error or one with fewer entries than before.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

from kgraph.folder.reading import Map, Text, read_bytes
from tests.faults.build import Build, temporary_files
from tests.faults.tally import Tally

START = b"- set: Start 0\n"


def figure(build: Build, size: str, place: Path) -> Tally:
    """`small`: 4 writers of 25 entries; `full`: 16 of 1,000. Every eighth entry of one the editor saves."""
    count, each = (4, 25) if size == "small" else (16, 1000)
    return crowd(build, place, count, each, kills=2 if size == "small" else 160)


def crowd(build: Build, place: Path, count: int, each: int, kills: int) -> Tally:
    """So many writers, each writing so many entries, with so many of the entries ending in a kill."""
    folder = place / "facts"
    folder.mkdir()
    (folder / "a.yaml").write_bytes(START)
    started = [
        _start(build, place, f"W{w}", 0, each, kills // count + (w < kills % count)) for w in range(count)
    ]
    tally = Tally()
    seen = 0
    looks = 0
    while any(p.poll() is None for p in started):
        errors, now = _look(folder / "a.yaml")
        looks += 1
        if errors or now < seen:
            tally.wrong.append(f"the reader saw {now} entries after {seen}, {errors} errors")
        seen = now
        time.sleep(0.01)
    _judge(folder, place, [p.returncode for p in started], count, each, tally)
    tally.kinds["looks of the reader"] += looks
    return tally


def _start(
    build: Build, place: Path, name: str, first: int, each: int, kills: int
) -> subprocess.Popen[bytes]:
    words = [str(place), name, str(first), str(each), str(kills), build.broken]
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


def _judge(folder: Path, place: Path, ends: list[int | None], count: int, each: int, tally: Tally) -> None:
    text = (folder / "a.yaml").read_text(encoding="utf-8")
    there = _names(folder / "a.yaml")
    for writer in range(count):
        noted = (place / f"W{writer}.log").read_text(encoding="utf-8").split("\n")
        acknowledged = {line[4:] for line in noted if line.startswith("ack ")}
        killed = {line[5:] for line in noted if line.startswith("kill ")}
        for number in range(each):
            name = f"W{writer} {number}"
            happened = name in acknowledged or name in killed
            complaint = (
                ""
                if there[name] == 1 or (name in killed and there[name] == 0)
                else f"there {there[name]} times"
            )
            tally.count(name, happened, complaint, "killed" if name in killed else "entries")
        for line in noted:
            if line.startswith("saved "):
                tally.count(line, True, "" if f"# {line[6:]}\n" in text else "lost", "savings of the editor")
    if any(ends):
        tally.wrong.append(f"writers ended with {sorted(map(str, ends))}")
        tally.survived -= 1
    elif temporary_files(folder) and not any("kill " in p.read_text() for p in place.glob("W*.log")):
        tally.wrong.append(f"left lying: {temporary_files(folder)}")
        tally.survived -= 1


# What each writer does, in a process of its own --------------------------------------------------


def _write_all(place: Path, name: str, each: int, kills: int) -> None:
    """Append all entries; the ones to be killed are written by a child that dies somewhere in the write."""
    chance = random.Random(name)
    doomed = set(chance.sample(range(each), kills))
    log = os.open(place / f"{name}.log", os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    for number in range(each):
        entry = f"{name} {number}"
        if number in doomed:
            _die_writing(place, entry, chance)
            os.write(log, f"kill {entry}\n".encode())
            continue
        saved = _append(place, entry, save=number % 8 == 3)
        os.write(log, f"{saved}ack {entry}\n".encode())


def _append(place: Path, entry: str, save: bool) -> str:
    from kgraph.folder import writing

    notes: list[str] = []

    def edit() -> None:
        if save and not notes:
            notes.append(f"saved note of {entry}\n")
            target = place / "facts" / "a.yaml"
            beside = target.with_name(f"editor of {entry}")
            beside.write_bytes(f"# note of {entry}\n".encode() + target.read_bytes())
            os.rename(beside, target)

    folder = place / "facts"
    writing.append(folder, folder / "a.yaml", [f"- set: {entry}\n"], before_rename=edit)
    return "".join(notes)


def _die_writing(place: Path, entry: str, chance: random.Random) -> None:
    """Write in a child that kills itself before one of the calls of the write, or half-way in one."""
    from tests.faults.years import die_at

    child = os.fork()
    if child == 0:
        try:
            die_at(chance.randrange(9))
            _append(place, entry, save=False)
        finally:
            os._exit(1)
    _, status = os.waitpid(child, 0)
    if not os.WIFSIGNALED(status):
        raise SystemExit(f"{entry}: the child was not killed")


def main() -> None:
    """PLACE NAME FIRST EACH KILLS BROKEN"""
    from tests.faults.broken import WAYS

    place, name, _, each, kills, broken = sys.argv[1:]
    if broken:
        WAYS[broken]()
    _write_all(Path(place), name, int(each), int(kills))


if __name__ == "__main__":
    main()
