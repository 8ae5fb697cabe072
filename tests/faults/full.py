"""A full disk: at every byte of an append, and at every number of free pages.

By bytes: the process may write files up to a length (RLIMIT_FSIZE), from the old length to one more than
the new. By pages: a file system of 64 kB in memory, filled but for some pages; needs root, and is left out
without.
"""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.faults import jobs
from tests.faults.build import Build, put, temporary_files
from tests.faults.jobs import Clean, Job
from tests.faults.tally import Tally

PAGE = 4096
DISK = 16 * PAGE


def figure(build: Build, size: str, place: Path) -> Tally:
    """`small`: every eighth byte and page; `full`: all."""
    total = Tally()
    for name in ("add", "correct", "add a picture"):
        total.add(by_bytes(build, place, name, 8 if size == "small" else 1))
    total.add(by_pages(build, place, "add", 2 if size == "small" else 1))
    total.add(by_pages(build, place, "add a picture", 1))
    return total


def by_bytes(build: Build, place: Path, name: str, step: int) -> Tally:
    """A limit at every length between the old and the new one, and at both ends, for one command.

    A command that writes several files has the limits of each.
    """
    (job,) = jobs.named([name])
    home = jobs.home_in(place, 0)
    was = jobs.clean(build, job, home)
    old, lengths = len(was.old["bench.yaml"]), [len(data) for data in _changed(was)]
    first, last = min(old, *(n - 1 for n in lengths)), max(lengths)
    ends = {n + beside for n in lengths for beside in (-1, 0, 1)}
    tally = Tally()
    for most in sorted({*range(first, last + 2, step), old, *ends}):
        put(home, jobs.HOME)
        done = _limited(build, job.command(home), most)
        _judge(job, home, was, done, most >= last, f"most {most} bytes", tally)
    return tally


def _changed(was: Clean) -> list[bytes]:
    """The files that a command writes: the fact file, and the picture where it copies one."""
    return [data for name, data in was.new.items() if was.old.get(name) != data]


def _limited(build: Build, words: list[str], most: int) -> subprocess.CompletedProcess[bytes]:
    limit = {"preexec_fn": lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (most, most)), "timeout": 60}
    return build.run_as(build.command(words), limit)


def by_pages(build: Build, place: Path, name: str, step: int) -> Tally:
    """Free pages from none to all that are left beside the facts."""
    if not can_mount():
        print("  by pages: skipped, mounting is not allowed here")
        return Tally()
    (job,) = jobs.named([name])
    point = place / "disk"
    with mounted(["-t", "tmpfs", "-o", f"size={DISK}", "none"], point):
        home = point / "home"
        was = jobs.clean(build, job, home)
        put(home, jobs.HOME)
        free = os.statvfs(point).f_bavail
        tally = Tally()
        for pages in range(0, free, step):
            put(home, jobs.HOME)
            (point / "filler").write_bytes(bytes(PAGE * (free - pages)))
            left = os.statvfs(point).f_bavail
            done = build.run(job.command(home))
            _judge(job, home, was, done, left >= len(_changed(was)), f"{left} pages free", tally)
            (point / "filler").unlink()
    return tally


def _judge(
    job: Job,
    home: Path,
    was: Clean,
    done: subprocess.CompletedProcess[bytes],
    fits: bool,
    fault: str,
    tally: Tally,
) -> None:
    found = jobs.state(job, home, was)
    says = done.stderr.decode(errors="replace")
    full = "File too large" in says or "No space left on device" in says
    # A picture that no entry names may stay; an entry whose picture is not there is broken.
    wanted = (0, "new") if fits else (3, found if found == "picture alone" else "old")
    good = (done.returncode, found) == wanted
    # What a picture is turned in lies in the folder for temporary files, which may be full too.
    named = fits or (full and (str(home / "facts") in says or "set TMPDIR" in says))
    clear = named and "Traceback" not in says and not temporary_files(home)
    complaint = "" if good and clear else f"exit {done.returncode}, {found}: {says.strip()[-200:]}"
    tally.count(f"{job.name}, {fault}", fits or full, complaint, "room" if fits else f"full, {found}")


def can_mount() -> bool:
    """Whether this process may mount file systems; found out by asking for one."""
    if os.geteuid() != 0 or sys.platform != "linux" or not shutil.which("mount"):
        return False
    import tempfile

    with tempfile.TemporaryDirectory(prefix="kgraph-faults-") as name:
        done = subprocess.run(["mount", "-t", "tmpfs", "none", name], capture_output=True)
        if done.returncode == 0:
            subprocess.run(["umount", name], check=True)
        return done.returncode == 0


@contextmanager
def mounted(what: list[str], point: Path) -> Iterator[None]:
    """Something mounted at a folder, until the end."""
    point.mkdir(exist_ok=True)
    subprocess.run(["mount", *what, str(point)], check=True, capture_output=True)
    try:
        yield
    finally:
        subprocess.run(["umount", str(point)], check=True, capture_output=True)
