"""A power cut after every system call of a write, on a file system of its own: ext4, and xfs.

The command is killed at a call; then the file system is shut down by its own ioctl as if the power were
gone, mounted again and read. Flag 1 keeps the journal, 2 drops it. Ext4 is mounted with `noauto_da_alloc`,
so that nothing flushes on behalf of a program that does not. Old or new bytes, never empty or zeros; what
was acknowledged is there. Btrfs has no such ioctl in Linux 6.18 and is left out.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import signal
import struct
import subprocess
from dataclasses import dataclass
from pathlib import Path

from tests.faults import full, jobs, straced
from tests.faults.build import Build, put
from tests.faults.jobs import Clean, Job
from tests.faults.straced import Call
from tests.faults.tally import Tally

SHUTDOWN = 0x8004587D
"""The ioctl of ext4 and xfs, from the header xfs_fs.h: _IOR('X', 125, __u32); from memory."""
KEEP_JOURNAL, DROP_JOURNAL = 1, 2


@dataclass(frozen=True, slots=True)
class Disk:
    """A kind of file system: how it is made, mounted, and how large it is at the least."""

    name: str
    make: tuple[str, ...]
    options: str
    size: int

    def missing(self) -> str:
        """Why it cannot be tried here, or nothing."""
        if not shutil.which(self.make[0]):
            return f"{self.make[0]} is not installed"
        known = Path("/proc/filesystems").read_text(encoding="ascii").split()
        return "" if self.name in known else f"{self.name} is not in this kernel"

    def made(self, image: Path) -> list[str]:
        """Make an empty one in a file; what to mount, as words for `mount`."""
        with image.open("wb") as stream:
            stream.truncate(self.size)
        subprocess.run([*self.make, str(image)], check=True, capture_output=True)
        return ["-t", self.name, "-o", self.options, str(image)]


EXT4 = Disk("ext4", ("mkfs.ext4", "-q", "-F"), "loop,noauto_da_alloc", 32 << 20)
XFS = Disk("xfs", ("mkfs.xfs", "-q", "-f"), "loop", 300 << 20)
_WHOLE = ("add", "add new file", "add a picture", "withdraw", "correct", "take", "merge", "import")
STEPS = {**dict.fromkeys(_WHOLE, 1), "init": 3}
"""The commands of the full size, and which of their calls: of the many like ones of `init` every third."""


def figure(build: Build, size: str, place: Path) -> Tally:
    """`small`: three commands, every eighth call, ext4, the journal kept; `full`: nine, both, ext4 and xfs.

    Of the copying of a picture every fourth call.
    """
    missing = missing_here()
    if missing:
        return Tally(skipped=missing)
    small = size == "small"
    steps = {"add": 8, "add new file": 8, "add a picture": 4} if small else STEPS
    total = Tally()
    for disk in (EXT4,) if small else (EXT4, XFS):
        if missing := disk.missing():
            print(f"  {disk.name}: skipped, {missing}")
            continue
        for job in jobs.named([*steps]):
            for flag in (KEEP_JOURNAL,) if small else (KEEP_JOURNAL, DROP_JOURNAL):
                part = sweep(build, job, place, disk, flag, steps[job.name])
                if not small:
                    print(f"  {disk.name}, {job.name}, flag {flag}: {part}", flush=True)
                total.add(part)
                if build.broken and total.wrong:
                    return total
    return total


def missing_here() -> str:
    """Why no power can be cut here, or nothing."""
    return straced.MISSING or EXT4.missing() or ("" if full.can_mount() else "mounting is not allowed here")


def sweep(build: Build, job: Job, place: Path, disk: Disk, flag: int, step: int) -> Tally:
    """Cut the power after each call of one command, and after it has said that all is written."""
    point = place / "disk"
    what = disk.made(place / "image")
    home = point / "home"
    with full.mounted(what, point):
        was = jobs.clean(build, job, home)
        put(home, jobs.HOME)
        found = straced.calls(build, job.command(home), place / "log")
        mark = str(home / job.changes) if job.again else ".kgraph.lock"
        calls: list[Call | None] = [*straced.from_first(found, mark)]
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
        happened = happened and not can_write(point)
    with full.mounted(what, point):
        after = jobs.state(job, home, was)
        complaint = after if after.startswith("broken") else ""
        if status == 0 and after != "new":
            complaint = f"acknowledged, and {after} after the cut"
        if not complaint:
            complaint = jobs.complaint_after(build, job, home, was, after)
    tally.count(
        f"{job.name} on {what[1]}, cut at {call or 'the end'}, flag {flag}",
        happened,
        complaint,
        f"{before} to {after}",
    )


def shut_down(point: Path, flag: int) -> None:
    """Take the power from a file system; nothing reaches it from now on."""
    descriptor = os.open(point, os.O_RDONLY)
    try:
        fcntl.ioctl(descriptor, SHUTDOWN, struct.pack("I", flag))
    finally:
        os.close(descriptor)


def can_write(point: Path) -> bool:
    """Whether a file system still takes files: it must not after a cut."""
    try:
        (point / "probe").write_bytes(b"x")
    except OSError:
        return False
    return True
