"""Every command on the demo, with all its processes: what is opened, and that nobody is connected to.

The commands run under `strace -f`, so that the processes they start (`dot`, the one for queries and the one
for parsing RDF) are seen as well, and in a network of their own, without any interface, where `unshare -n`
is allowed. A file may be opened in the fact folder, the target, the cache, the installation and the
libraries of the system; trying to open another counts, whether it is there or not.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.faults.straced import MISSING
from tests.faults.tally import Tally
from tests.fuzz import audit
from tests.support import DEMO, ROOT

COMMANDS = (
    ("init", "play", "--demo"),
    ("takers", "KZ 60-11", "--proof"),
    ("donors", "Vessimorn 5510", "mains transformer"),
    ("sisters", "Drummelwick DW 210"),
    ("shares", "Drummelwick DW 210"),
    ("belt", "path", "Kazumorei KZR-8"),
    ("belt", "find", "--section", "square 1.6 mm", "--inside-length", "230 mm"),
    ("show", "KZ 60-11"),
    ("find", "hz340"),
    ("add", "set", "Arden 12", "--yes"),
    ("check",),
    ("doubts",),
    ("shelf",),
    ("plan", "U-09"),
    ("hunt", "U-08"),
    ("take", "cassette door", "--from", "U-04", "--to", "U-05", "--owed", "--date", "2026-03-02"),
    ("owed",),
    ("sheet", "U-05"),
    ("draw", "family", "Drummelwick DW 210", "-o", "family.svg"),
    ("draw", "takers", "KZ 60-11", "-o", "takers.dot"),
    ("book", "pages"),
    ("query", "sisters", "--set", "Drummelwick DW 210"),
    ("export", "--to", "turtle", "-o", "facts.ttl"),
    ("export", "--to", "xlsx", "-o", "facts.xlsx"),
    ("import", "facts.ttl"),
    ("import", "facts.xlsx"),
    ("merge", "theirs", "--dry-run"),
    ("completion", "bash"),
)
"""Each command of the program, by its words; they run one after the other in one folder."""
SMALL = {"init", "takers", "query", "export"}
FONTS = ("/etc/fonts", "/var/cache/fontconfig")
MACHINE = (
    *("/usr/", "/lib", "/etc/ld.so", "/etc/localtime", "/etc/mime.types"),
    *("/proc/", "/sys/fs/cgroup", "/sys/devices/", "/dev/"),
)
"""What the interpreter, the C library and `dot` read of a machine; never a file that data could name."""


def figure(size: str, place: Path) -> Tally:
    """`small`: four commands; `full`: all of them. What is counted are the files opened."""
    if MISSING:
        return Tally(skipped=MISSING)
    tally = Tally()
    home = place / "home"
    home.mkdir()
    shutil.copytree(DEMO, home / "theirs")
    for words in COMMANDS:
        if size == "small" and words[0] not in SMALL:
            continue
        data = [] if words[0] == "init" else ["--data", "play"]
        seen = watched(
            [sys.executable, "-m", "kgraph", *data, *words], home, (str(home), str(place / "cache"))
        )
        _count(" ".join(words), seen, tally)
    return tally


def _count(words: str, seen: Seen, tally: Tally) -> None:
    for line in seen.strange:
        tally.count(f"{words}: {line}", True, "not its own")
    good = seen.opened - sum(line.startswith("opens") for line in seen.strange)
    tally.injected, tally.happened, tally.survived = (
        n + good for n in (tally.injected, tally.happened, tally.survived)
    )
    complaint = f"exit {seen.status}: {seen.says[-200:]}" if seen.status not in (0, 1) else ""
    # A command that opens nothing of the folder was not watched.
    tally.count(words, seen.own > 0, complaint, "commands")
    tally.kinds["processes"] += seen.processes
    tally.kinds["without a network" if can_be_alone() else "the network not taken away"] += 1


@dataclass(frozen=True, slots=True)
class Seen:
    """How a command ended, how many files it opened, how many of them in its folders, and what is strange."""

    status: int
    says: str
    opened: int
    own: int
    processes: int
    strange: tuple[str, ...]


def watched(command: Sequence[str], home: Path, own: tuple[str, ...]) -> Seen:
    """Run a command in a folder and read from the log of `strace` what its processes opened and asked."""
    log = home.with_suffix(".log")
    traced = [
        "strace",
        "-f",
        "-qq",
        "-y",
        "-s",
        "4096",
        "-e",
        "trace=%network,open,openat,openat2",
        "-o",
        str(log),
    ]
    done = subprocess.run(
        [*(["unshare", "-n"] if can_be_alone() else []), *traced, *command],
        cwd=home,
        env={**os.environ, "PYTHONPATH": str(ROOT), "TMPDIR": str(home), "HOME": str(home)},
        capture_output=True,
        stdin=subprocess.DEVNULL,
        check=False,
    )
    lines = log.read_text(errors="replace").splitlines()
    paths = [path for line in lines if (path := opened_by(line))]
    foreign = [f"opens {path}" for path in paths if not allowed(path, own)]
    asked = [line.split(" ", 1)[1].strip()[:120] for line in lines if _ASKED.search(line)]
    inside = sum(path.startswith(own) for path in paths)
    processes = len({line.split(" ", 1)[0] for line in lines})
    says = done.stderr.decode(errors="replace")
    return Seen(done.returncode, says, len(paths), inside, processes, (*dict.fromkeys([*foreign, *asked]),))


_OPENED = re.compile(r'^\d+ +open(?:at2?)?\((?:\w+<(?P<from>[^>]*)>, )?"(?P<path>[^"]*)"')
_ASKED = re.compile(r"^\d+ +(?:connect|sendto|sendmsg|sendmmsg|bind|listen)\(")


def opened_by(line: str) -> str:
    """The path that a line of the log opens or tries to; nothing for another line."""
    found = _OPENED.match(line)
    return os.path.normpath(os.path.join(found["from"] or "/", found["path"])) if found else ""


def allowed(path: str, own: tuple[str, ...]) -> bool:
    """Whether a path is of the command's folders, of the installation or of the system's libraries."""
    installed = (str(ROOT / "kgraph"), str(ROOT / "data"), str(ROOT / "queries"), *audit.installation())
    # The interpreter lists each folder where modules may lie.
    return path in (str(ROOT), *sys.path) or path.startswith((*own, *installed, *MACHINE, *FONTS))


def can_be_alone() -> bool:
    """Whether a process may be given a network without any interface."""
    if not _alone:
        unshare = shutil.which("unshare")
        _alone.append(
            bool(unshare) and subprocess.run(["unshare", "-n", "true"], check=False).returncode == 0
        )
    return _alone[0]


_alone: list[bool] = []
