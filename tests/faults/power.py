"""A power cut after every system call of a write, on an ext4 file system of its own.

The command is killed at a call; then the file system is shut down by its own ioctl as if the power were
gone, mounted again and read. Flag 1 keeps the journal, 2 drops it. The file system is mounted with
`noauto_da_alloc`, so that nothing flushes on behalf of a program that does not. Old or new bytes, never
empty or zeros; what was acknowledged is there.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import signal
import struct
import subprocess
from pathlib import Path

from tests.faults import full, jobs, straced
from tests.faults.build import Build, put
from tests.faults.jobs import Clean, Job
from tests.faults.straced import Call
from tests.faults.tally import Tally

SHUTDOWN = 0x8004587D
"""The ioctl of ext4 and xfs, from the header xfs_fs.h: _IOR('X', 125, __u32); from memory."""
KEEP_JOURNAL, DROP_JOURNAL = 1, 2
IMAGE_BYTES = 32 << 20


def figure(build: Build, size: str, place: Path) -> Tally:
    """`small`: two commands, every eighth call, the journal kept; `full`: four commands, every call, both."""
    missing = straced.MISSING or ("" if full.can_mount() else "mounting is not allowed here")
    if missing or not shutil.which("mkfs.ext4"):
        return Tally(skipped=missing or "mkfs.ext4 is not installed")
    small = size == "small"
    total = Tally()
    for job in jobs.named(["add", "add new file"] if small else ["add", "add new file", "withdraw", "take"]):
        for flag in (KEEP_JOURNAL,) if small else (KEEP_JOURNAL, DROP_JOURNAL):
            total.add(sweep(build, job, place, flag, 8 if small else 1))
    return total


def sweep(build: Build, job: Job, place: Path, flag: int, step: int) -> Tally:
    """Cut the power after each call of one command, and after it has said that all is written."""
    image, point = place / "image", place / "disk"
    with image.open("wb") as stream:
        stream.truncate(IMAGE_BYTES)
    subprocess.run(["mkfs.ext4", "-q", "-F", str(image)], check=True, capture_output=True)
    what = ["-o", "loop,noauto_da_alloc", str(image)]
    home = point / "home"
    with full.mounted(what, point):
        was = jobs.clean(build, job, home)
        put(home, jobs.HOME)
        found = straced.calls(build, job.command(home), place / "log")
        calls: list[Call | None] = [*straced.from_first(found, ".kgraph.lock")]
    tally = Tally()
    tried = [*calls[::step], None, None]
    for call in tried:
        _cut(build, job, what, point, call, was, flag, tally)
        if build.broken and tally.wrong:
            break
    return tally


def _cut(
    build: Build,
    job: Job,
    what: list[str],
    point: Path,
    call: Call | None,
    was: Clean,
    flag: int,
    tally: Tally,
) -> None:
    home = point / "home"
    with full.mounted(what, point):
        put(home, jobs.HOME)
        os.sync()
        if call is None:
            status = build.run(job.command(home)).returncode
            happened = status == 0
        else:
            done, _ = straced.spoilt(build, job.command(home), call, "signal=KILL", point.with_suffix(".log"))
            status, happened = done.returncode, done.returncode == -signal.SIGKILL
        before = jobs.state(job, home, was)
        shut_down(point, flag)
        happened = happened and not _can_write(point)
    with full.mounted(what, point):
        after = jobs.state(job, home, was)
        complaint = after if after.startswith("broken") else ""
        if status == 0 and after != "new":
            complaint = f"acknowledged, and {after} after the cut"
        if not complaint:
            complaint = jobs.complaint_after(build, job, home, was, after)
    tally.count(
        f"{job.name}, cut at {call or 'the end'}, flag {flag}", happened, complaint, f"{before} to {after}"
    )


def shut_down(point: Path, flag: int) -> None:
    """Take the power from a file system; nothing reaches it from now on."""
    descriptor = os.open(point, os.O_RDONLY)
    try:
        fcntl.ioctl(descriptor, SHUTDOWN, struct.pack("I", flag))
    finally:
        os.close(descriptor)


def _can_write(point: Path) -> bool:
    try:
        (point / "probe").write_bytes(b"x")
    except OSError:
        return False
    return True
