"""kill -9 at every system call of every command that writes.

Old or new bytes whole; the next command works without repair; nothing unfinished lies there after it. A
command that writes many files (init, book) may stop between two of them: each is then whole, and the same
command again finishes. `small`: `add` and one each of the rarer ways to write, from the lock on. `full`:
all commands from the first call that touches the folder, and `add` from the start of the interpreter.
"""

from __future__ import annotations

import signal
import subprocess
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from queue import SimpleQueue

from tests.faults import jobs, straced
from tests.faults.build import Build, put, temporary_files
from tests.faults.jobs import Clean, Job
from tests.faults.straced import Call
from tests.faults.tally import Tally

WORKERS = 2
STEP_OF_A_BOOK = 5
"""Of the thousands of like calls of a book every fifth is taken, also in full."""
Point = tuple[Job, Call]


def figure(build: Build, size: str, place: Path) -> Tally:
    """The sweep over all commands of a size."""
    if straced.MISSING:
        return Tally(skipped=straced.MISSING)
    total = Tally()
    names = (
        ["add", "add new file", "add a picture", "correct"]
        if size == "small"
        else [job.name for job in jobs.JOBS]
    )
    for job in jobs.named(names):
        part = sweep(build, job, place, size)
        if size == "full":
            print(f"  {job.name}: {part}", flush=True)
        total.add(part)
        if build.broken and total.wrong:
            break
    return total


def sweep(build: Build, job: Job, place: Path, size: str) -> Tally:
    """Kill one command at each of its calls."""
    homes = [jobs.home_in(place, worker) for worker in range(WORKERS)]
    was = {home: jobs.clean(build, job, home) for home in homes}
    points = points_of(build, job, homes[0], size)
    seen: dict[tuple[object, ...], str] = {}
    tally = Tally()

    def one(home: Path, call: Call) -> None:
        _kill(build, job, home, was[home], call, seen, tally)

    over(homes, points, one, lambda: bool(build.broken and tally.wrong))
    return tally


def points_of(build: Build, job: Job, home: Path, size: str) -> list[Call]:
    """The calls of a command at which it is killed."""
    put(home, jobs.HOME)
    found = straced.calls(build, job.command(home), home.with_suffix(".log"), **job.more(home))
    # How often a command looks whether a process that draws has ended differs from run to run.
    found = [c for c in found if c.name != "poll"]
    if size == "small":
        return straced.from_first(found, str(home / job.changes) if job.again else ".kgraph.lock")
    if job.name == "add":
        return [c for c in found if c.name != "execve"]
    opened = straced.from_first(found, str(home / job.changes), "" if job.again else "openat")
    return opened[:: STEP_OF_A_BOOK if job.name == "book" else 1]


def over(
    homes: Sequence[Path],
    calls: Sequence[Call],
    one: Callable[[Path, Call], None],
    enough: Callable[[], bool] = lambda: False,
) -> None:
    """Do something at every call, each worker in a home of its own, until it is enough.

    Of a build that is broken one failure is enough.
    """
    free: SimpleQueue[Path] = SimpleQueue()
    for home in homes:
        free.put(home)

    def work(call: Call) -> None:
        if enough():
            return
        home = free.get()
        try:
            one(home, call)
        finally:
            free.put(home)

    with ThreadPoolExecutor(len(homes)) as pool:
        for done in [pool.submit(work, call) for call in calls]:
            done.result()


def _kill(
    build: Build,
    job: Job,
    home: Path,
    was: Clean,
    call: Call,
    seen: dict[tuple[object, ...], str],
    tally: Tally,
) -> None:
    put(home, jobs.HOME)
    fault = f"{job.name}, killed at {call}"
    log = home.with_suffix(".log")
    try:
        done, _ = straced.spoilt(build, job.command(home), call, "signal=KILL", log, **job.more(home))
    except subprocess.TimeoutExpired:
        tally.count(fault, False, "neither killed nor ended")
        return
    found = jobs.state(job, home, was)
    complaint = found if found.startswith("broken") else ""
    left = temporary_files(home)
    if not complaint:
        # The next command sees nothing but what lies there, so it is run once for each state of the folder.
        state = (home, tuple(sorted(jobs.files_of(home / job.changes).items())), len(left))
        if state not in seen:
            seen[state] = jobs.complaint_after(build, job, home, was, found)
        complaint = seen[state]
    kind = "broken" if found.startswith("broken") else found
    tally.count(fault, done.returncode == -signal.SIGKILL, complaint, kind)
    if left:
        tally.kinds["left something unfinished for the next write"] += 1
