"""The commands that write, each on a small invented folder, and what must hold after a fault in one."""

from __future__ import annotations

import base64
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.faults.build import Build, Files, files_of, put, temporary_files

FACTS = b"""\
# Invented facts; a comment that must stay.
- set: Arden 12
  market: UK
- set: Brunelle 7
- rebadge: [Arden 12, Brunelle 7]
  how: compared
  id: design
- takes: K-114
  in: Arden 12
  position: volume knob
"""
SHELF = b"""\
- unit: U-01
  set: Arden 12
- unit: U-03
  set: Brunelle 7
  wants: volume knob
- stock: K-114
"""
HOME: Files = {
    "facts/bench.yaml": FACTS,
    "facts/shelf.yaml": SHELF,
    "theirs/a.yaml": b"- rebadge: [Arden 12, Cassel 3]\n  how: fitted\n- set: Cassel 3\n",
    "in.csv": b"set,market\nDorn 5,DE\nEllis 9,UK\n",
    "in.png": base64.b64decode(
        "iVBORw0KGgoAAAANSUhEUgAAAAIAAAACCAIAAAD91JpzAAAAFklEQVR4nGM8wcXFwMDAxMDAwMDAAAALOADgEfTV1gAAAABJRU5ErkJggg=="
    ),
}
"""What lies there before any command."""

NEXT = ("--data", "{home}/facts", "add", "set", "Next 1", "--yes")
"""The next write: it must work, and leave nothing unfinished behind."""


@dataclass(frozen=True, slots=True)
class Job:
    """A command that writes; `{home}` in its words is the folder that it is tried in."""

    name: str
    words: tuple[str, ...]
    changes: str
    """The folder below home in which it writes."""
    again: bool = False
    """Whether it writes many files, so that the same command again is what finishes it."""

    def command(self, home: Path) -> list[str]:
        """The words for this home."""
        return [w.replace("{home}", str(home)) for w in self.words]

    def next(self, home: Path) -> list[str]:
        """The words of the command that is tried after a fault."""
        return self.command(home) if self.again else [w.replace("{home}", str(home)) for w in NEXT]

    def more(self, home: Path) -> dict[str, str]:
        """What of its surroundings is of its own."""
        return {"KGRAPH_CACHE": str(home / "cache")} if self.name == "index" else {}


def _job(name: str, *words: str, changes: str = "facts", again: bool = False) -> Job:
    return Job(name, ("--data", "{home}/facts", *words), changes, again)


JOBS = (
    _job("add", "add", "refuses", "K-114", "--in", "Brunelle 7", "--position", "volume knob", "--yes"),
    _job("withdraw", "withdraw", "design", "--why", "misread label", "--yes"),
    _job("correct", "correct", "design", "except", "line socket, dial scale", "--yes"),
    _job("take", "take", "volume knob", "--from", "U-01", "--to", "U-03", "--owed", "--date", "2024-01-02"),
    _job("inspect", "inspect", "U-01", "volume knob", "cracked", "--date", "2024-01-02"),
    _job("fit", "fit", "K-114", "--to", "U-03"),
    _job("add new file", "add", "set", "Farrow 2", "--yes", "--file", "new.yaml"),
    _job("add a picture", "add", "set", "Gable 4", "--photo", "{home}/in.png", "--yes"),
    _job("merge", "merge", "{home}/theirs"),
    _job("import", "import", "{home}/in.csv", "--kind", "set", "--yes"),
    _job("init", "init", "{home}/new", "--demo", changes="new", again=True),
    _job("index", "takers", "K-114", changes="cache", again=True),
    _job("book", "book", "{home}/pages", changes="pages", again=True),
)


@dataclass(frozen=True, slots=True)
class Clean:
    """A command as it goes without a fault."""

    old: Files
    new: Files
    out: bytes


def clean(build: Build, job: Job, home: Path) -> Clean:
    """Run a command without a fault; raises RuntimeError if it does not work or changes nothing."""
    put(home, HOME)
    old = files_of(home / job.changes)
    done = build.run(job.command(home), **job.more(home))
    new = files_of(home / job.changes)
    if done.returncode != 0 or old == new:
        raise RuntimeError(f"{job.name}: {done.returncode} {done.stdout.decode()} {done.stderr.decode()}")
    return Clean(old, new, done.stdout)


def state(job: Job, home: Path, was: Clean) -> str:
    """`old`, `new`, `between` (whole files of both), or what is broken."""
    now = files_of(home / job.changes)
    if now == was.old:
        return "old"
    if now == was.new:
        return "new"
    if job.name == "index":
        return "between"
    pictures = {name: data for name, data in was.new.items() if name.startswith("photos/")}
    if pictures and now == was.old | pictures:
        # A picture that no entry names harms nobody; an entry whose picture is not there would.
        return "picture alone"
    for name, data in now.items():
        if data not in (was.old.get(name), was.new.get(name)) and not _is_list(name):
            return f"broken: {name} has {len(data)} bytes"
    lost = sorted(set(was.old) - set(now))
    return "between" if job.again and not lost else f"broken: lost {lost}"


def _is_list(name: str) -> bool:
    # While a book is written its list names more pages than there are; the command again mends that.
    return name == "book.json"


def complaint_after(build: Build, job: Job, home: Path, was: Clean, found: str) -> str:
    """Run the next command after a fault; what is wrong with it, or nothing."""
    before = files_of(home / job.changes)
    if job.name == "init" and found == "new":
        # The folder is made; what comes next is its first entry.
        done = build.run(["--data", str(home / job.changes), "add", "set", "Next 1", "--yes"])
        now, expected = files_of(home / job.changes), before | {"bench.yaml": b"- set: Next 1\n"}
        return "" if now == expected and not temporary_files(home) else f"not as made: {done.stderr.decode()}"
    done = build.run(job.next(home), **job.more(home))
    if done.returncode != 0:
        return f"the next command ends with {done.returncode}: {done.stderr.decode()}"
    if left := temporary_files(home):
        return f"left lying after the next write: {left}"
    now = files_of(home / job.changes)
    if job.name == "index":
        return "" if done.stdout == was.out else "another answer"
    if job.again:
        return "" if now == was.new else f"not finished by the same command: {_differing(now, was.new)}"
    kept = {name: data for name, data in now.items() if name != "bench.yaml"}
    others = {name: data for name, data in before.items() if name != "bench.yaml"}
    expected = before["bench.yaml"] + b"- set: Next 1\n"
    return "" if kept == others and now["bench.yaml"] == expected else "the next write changed something else"


def _differing(one: Files, other: Files) -> list[str]:
    return sorted(name for name in {*one, *other} if one.get(name) != other.get(name))


def named(names: Sequence[str]) -> list[Job]:
    """The jobs of these names, in their order."""
    return [job for job in JOBS if job.name in names]


def home_in(place: Path, worker: int) -> Path:
    """A folder for one worker to try commands in."""
    return place / f"home{worker}-{os.getpid()}"
