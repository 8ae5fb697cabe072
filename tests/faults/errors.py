"""Nine error codes at every system call of a write that touches the folder.

The calls are those from the first opening in the folder on whose path or descriptor is the folder's or a
file's in it, so also the reading before the write. Each fault must end in one of three ways:

* refused: exit status not 0, one clear message and no traceback, the folder as it was;
* unconfirmed: the new text is in place and the flush of the folder failed; the message says just that;
* tolerated: the call did not matter (is this a terminal? are there attributes?), or was repeated after
  EINTR; then the exit status is 0, the output and the files are those of a run without a fault.

A flush, a write or a renaming that failed may never be tolerated, but for EINTR, after which nothing may
fail.
"""

from __future__ import annotations

import re
from pathlib import Path

from tests.faults import jobs, kill, straced
from tests.faults.build import Build, put, temporary_files
from tests.faults.jobs import Clean, Job
from tests.faults.straced import Call
from tests.faults.tally import Tally

CODES = ("EIO", "ENOSPC", "EINTR", "EMFILE", "EDQUOT", "EROFS", "EACCES", "ENOMEM", "EPERM")
MUST_MATTER = {"fsync", "write", "rename", "link", "openat", "flock"}
SMALL = {"fsync", "write", "rename", "link", "openat", "fchmod", "unlink", "flock"}
NEVER_INTERRUPTED = {"newfstatat", "getdents64", "close"}
"""The manual pages give these no EINTR, but for close, which has closed by then: a clear refusal will do."""
NOT_CONFIRMED = b"written, but the disk did not confirm it"


def figure(build: Build, size: str, place: Path) -> Tally:
    """`small`: two commands, three codes, the calls that change something; `full`: seven, all, all."""
    if straced.MISSING:
        return Tally(skipped=straced.MISSING)
    total = Tally()
    more = ["add new file", "withdraw", "take", "merge", "import"]
    names = ["add", "correct", *(more if size == "full" else ())]
    for job in jobs.named(names):
        part = sweep(build, job, place, size)
        if size == "full":
            print(f"  {job.name}: {part}", flush=True)
        total.add(part)
    return total


def sweep(build: Build, job: Job, place: Path, size: str) -> Tally:
    """Every code at every call of one command."""
    homes = [jobs.home_in(place, worker) for worker in range(kill.WORKERS)]
    was = {home: jobs.clean(build, job, home) for home in homes}
    found = points_of(build, job, homes[0], size)
    tally = Tally()
    for code in CODES if size == "full" else ("EIO", "ENOSPC", "EINTR"):

        def one(home: Path, call: Call, code: str = code) -> None:
            _inject(build, job, home, was[home], call, code, tally)

        kill.over(homes, found, one, lambda: bool(build.broken and tally.wrong))
    return tally


def points_of(build: Build, job: Job, home: Path, size: str) -> list[Call]:
    """The calls of a command that touch the folder."""
    put(home, jobs.HOME)
    mark = str(home / "facts")
    traced = straced.calls(build, job.command(home), home.with_suffix(".log"))
    touching = (c for c in straced.from_first(traced, mark, "openat") if mark in c.line)
    found = [c for c in touching if not _TOLD.search(c.line)]
    if size == "full":
        return [c for c in found if c.name != "exit_group"]
    lock = straced.from_first(found, ".kgraph.lock")
    return [c for c in lock if c.name in SMALL]


_TOLD = re.compile(r"\bwrite\([12]<")
"""A line for the user that names a file of the folder: its bytes, and not its place, are the folder's."""


def _inject(build: Build, job: Job, home: Path, was: Clean, call: Call, code: str, tally: Tally) -> None:
    put(home, jobs.HOME)
    log = home.with_suffix(".log")
    done, happened = straced.spoilt(build, job.command(home), call, f"error={code}", log)
    found = jobs.state(job, home, was)
    says = done.stderr.decode(errors="replace")
    kind, complaint = "refused", ""
    if done.returncode == 0:
        kind = "tolerated"
        complaint = "another answer" if found != "new" or done.stdout != was.out else ""
        if call.name in MUST_MATTER and code != "EINTR" and _matters(call, code):
            complaint = "passed over in silence"
    elif NOT_CONFIRMED in done.stderr:
        kind, complaint = "unconfirmed", "" if found == "new" else f"said to be written, and is {found}"
    else:
        complaint = "" if found == "old" else f"refused, and the folder is {found}"
    if code == "EINTR" and done.returncode != 0 and call.name not in NEVER_INTERRUPTED and not _lists(call):
        complaint = complaint or "an interrupted call ended the command"
    if "Traceback" in says or (done.returncode and not _is_clear(says, home)):
        complaint = complaint or f"not clear: {says!r}"
    if done.returncode not in (0, 3):
        complaint = complaint or f"exit status {done.returncode}"
    if temporary_files(home) and call.name != "unlink":
        complaint = complaint or "left something unfinished"
    tally.count(
        f"{job.name}, {code} at {call}", happened, complaint and f"{complaint} ({says.strip()[-150:]})", kind
    )


def _matters(call: Call, code: str) -> bool:
    # File systems without hard links say so by these; the name is then given by renaming.
    if call.name == "link" and code in ("EPERM", "EACCES"):
        return False
    # A descriptor of standard output that happens to be called the same is not the folder's.
    return call.name != "openat" or "O_CREAT" in call.line


def _lists(call: Call) -> bool:
    """Whether a call opens a folder to list it."""
    return "O_DIRECTORY" in call.line


def _is_clear(says: str, home: Path) -> bool:
    """Whether a message names a file of the folder and says why."""
    last = says.strip().splitlines()[-1:] or [""]
    return str(home) in last[0] and ": " in last[0] and len(last[0]) < 400
