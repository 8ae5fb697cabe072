"""Ctrl-C and the signal to end at random moments; closed pipes; a full standard output; locales and names.

The moments are spread over the whole of a command, by the time that it takes here. A shell says 130 for
Ctrl-C and 143 for the signal to end, whether the program ends by that number or by the signal itself; both
count. A command that was done before the signal came ends with 0: then the signal did not happen, and the
moment is tried again, earlier.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import time
from pathlib import Path

from tests.faults import jobs
from tests.faults.build import Build, put
from tests.faults.jobs import Clean, Job
from tests.faults.tally import Tally

SIGNALS = (signal.SIGINT, signal.SIGTERM)
TRIES = 20
READING = ("check", "takers K-114", "show Arden 12", "shelf", "doubts", "plan U-03")
LOCALES = (
    {"LC_ALL": "C"},
    {"LC_ALL": "POSIX", "PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": "0"},
    {"LC_ALL": "C.UTF-8"},
    {"LC_ALL": "xx_XX.none"},
    {"PYTHONIOENCODING": "ascii"},
    {"PYTHONIOENCODING": "latin-1"},
    {"PYTHONIOENCODING": "utf-16"},
    {"PYTHONIOENCODING": "cp437"},
    {"TERM": "dumb", "LC_ALL": "C"},
    {"TERM": "", "COLUMNS": "1"},
    {"COLUMNS": "100000", "LC_ALL": "C.UTF-8"},
    {"NO_COLOR": "1", "TERM": "xterm-256color", "LC_ALL": "C", "PYTHONUTF8": "1"},
)
STRANGE = "a b 'c' \u00e9\u4e2d\U0001f4fb $x;`y`"
"""A folder's name: blanks, quotes, letters of several alphabets, and what a shell would run."""


def figure(build: Build, size: str, place: Path) -> Tally:
    """`small`: 12 moments of one command; `full`: 500 each of two. The rest is the same."""
    # What runs in the background of a shell does not hear Ctrl-C, nor does what it starts.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    total = Tally()
    for job in jobs.named(["add"] if size == "small" else ["add", "take"]):
        total.add(moments(build, job, place, 12 if size == "small" else 500))
    total.add(outputs(build, place, READING[:3] if size == "small" else READING))
    total.add(surroundings(build, place))
    return total


def moments(build: Build, job: Job, place: Path, most: int) -> Tally:
    """Signals at random moments of one command."""
    home = jobs.home_in(place, 0)
    was = jobs.clean(build, job, home)
    start = time.monotonic()
    jobs.clean(build, job, home)
    takes = time.monotonic() - start
    chance = random.Random(job.name)
    tally = Tally()
    for number in range(most):
        wanted = SIGNALS[number % 2]
        _signal(build, job, home, was, wanted, takes, chance, tally)
        if build.broken and tally.wrong:
            break
    return tally


def _signal(
    build: Build,
    job: Job,
    home: Path,
    was: Clean,
    wanted: signal.Signals,
    takes: float,
    chance: random.Random,
    tally: Tally,
) -> None:
    for _ in range(TRIES):
        put(home, jobs.HOME)
        after = chance.random() * takes
        status, says = _run_and_signal(build, job.command(home), wanted, after)
        if status != 0 and not _too_early(says):
            break
        takes *= 0.9 if status == 0 else 1
    found = jobs.state(job, home, was)
    right = status in (-wanted, 128 + wanted)
    complaint = "" if right else f"ended with {status}: {says[-300:]!r}"
    if found not in ("old", "new"):
        complaint = complaint or found
    if "Traceback" in says:
        complaint = complaint or f"a traceback: {says.strip().splitlines()[-1]}"
    complaint = complaint or jobs.complaint_after(build, job, home, was, found)
    tally.count(
        f"{job.name}, {wanted.name} after {after:.3f} s", status != 0, complaint, f"{wanted.name} {found}"
    )


def _too_early(says: str) -> bool:
    """Whether Python itself was still starting: what it says then is not the program's to mend."""
    return "Traceback" in says and "kgraph/cli" not in says


def _run_and_signal(build: Build, words: list[str], wanted: int, after: float) -> tuple[int, str]:
    running = subprocess.Popen(
        build.command(words),
        cwd=build.place,
        env=build.environment(),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    time.sleep(after)
    running.send_signal(wanted)
    _, says = running.communicate(timeout=60)
    return running.returncode, says.decode(errors="replace")


def outputs(build: Build, place: Path, commands: tuple[str, ...]) -> Tally:
    """A reader that closes at once: quiet. A standard output that is full: an error, and not success."""
    home = jobs.home_in(place, 0)
    put(home, jobs.HOME)
    tally = Tally()
    for command in commands:
        words = ["--data", str(home / "facts"), *command.split(" ", 1)]
        reading, writing = os.pipe()
        os.close(reading)
        done = _to(build, words, writing)
        usual = build.run(words)
        # Warnings go to standard error whoever reads the answers.
        quiet = done.stderr == usual.stderr and done.returncode in (0, 141, -13)
        complaint = "" if quiet else f"{done.returncode} {done.stderr[-200:]!r}"
        tally.count(f"{command}, closed pipe", bool(usual.stdout), complaint, "closed pipes")
        done = _to(build, words, os.open("/dev/full", os.O_WRONLY))
        clear = done.returncode == 3 and b"No space left" in done.stderr and b"Traceback" not in done.stderr
        happened = b"No space left" in done.stderr
        tally.count(
            f"{command}, full output", happened, "" if clear else f"{done.returncode}", "full outputs"
        )
    return tally


def _to(build: Build, words: list[str], descriptor: int) -> subprocess.CompletedProcess[bytes]:
    try:
        return build.run_as(build.command(words), {"stdout": descriptor, "timeout": 60})
    finally:
        os.close(descriptor)


def surroundings(build: Build, place: Path) -> Tally:
    """Locales and terminals, with a folder of a strange name and a set of another: written, and read back."""
    tally = Tally()
    for number, settings in enumerate(LOCALES):
        folder = place / f"{STRANGE} {number}"
        put(folder, {"bench.yaml": jobs.FACTS})
        add = ["--data", str(folder), "add", "set", f"Zoë {STRANGE}", "--yes"]
        wrote, shown = build.run(add, **settings), build.run(["--data", str(folder), "check"], **settings)
        text = (folder / "bench.yaml").read_bytes()
        complaint, kind = "", "surroundings"
        if wrote.returncode == 2 and b"is not text" in wrote.stderr and text == jobs.FACTS:
            # Where bytes above 127 are no letters, words of them cannot be taken: nothing is written.
            kind = "surroundings in which the words are refused"
        elif wrote.returncode != 0 or f"Zoë {STRANGE}".encode() not in text:
            complaint = f"{wrote.returncode} {wrote.stderr.decode(errors='replace')[-200:]}"
        elif shown.returncode not in (0, 1) or b"Traceback" in wrote.stderr + shown.stderr:
            complaint = f"check: {shown.returncode} {shown.stdout.decode(errors='replace')[-200:]}"
        tally.count(f"{settings}", True, complaint, kind)
    return tally
