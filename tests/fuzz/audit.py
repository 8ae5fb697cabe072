"""A plugin of pytest that writes down what a run opens and connects to: `python -m pytest --audit FILE ...`.

Allowed are the data, the tests, temporary folders, the installation, and sockets on loopback. All else is
written to the file, a line for each. What child processes do is watched by the tests that start them.
"""

from __future__ import annotations

import os
import sys
import sysconfig
import tempfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
LOOPBACK = ("127.", "::1", "localhost")


def allowed_folders() -> tuple[str, ...]:
    """Below these anything may be opened."""
    own = (str(ROOT), tempfile.gettempdir())
    # What the interpreter and the C library read of the machine; never a file that data could name.
    machine = ("/usr/", "/lib", "/etc/ld.so", "/etc/mime.types", "/proc/self", "/sys/fs/cgroup", "/dev/")
    return (*(os.path.realpath(p) for p in own), *own, *installation(), *machine)


def installation() -> tuple[str, ...]:
    """Where the interpreter and the libraries are installed."""
    found = (sys.prefix, sys.base_prefix, sysconfig.get_path("stdlib"))
    return (*(os.path.realpath(p) for p in found), *found)


def strange(event: str, args: tuple[Any, ...], allowed: tuple[str, ...]) -> str:
    """What an event of the interpreter does that it must not, or nothing."""
    if event == "open" and isinstance(args[0], str | bytes):
        path = os.path.abspath(os.fsdecode(args[0]))
        return "" if path.startswith(allowed) else f"open {path!a}"
    if event in ("socket.connect", "socket.getaddrinfo", "socket.gethostbyname", "socket.sendto"):
        where = args[1] if event in ("socket.connect", "socket.sendto") else args[0]
        host = where[0] if isinstance(where, tuple) else where
        return "" if host is None or str(host).startswith((*LOOPBACK, "/")) else f"{event} {where!a}"
    return ""


def watch(target: Path) -> None:
    """From here on, until the process ends, write down what is strange."""
    allowed = allowed_folders()
    descriptor = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
    seen.update(open=0, socket=0)

    def note(event: str, args: tuple[Any, ...]) -> None:
        kind = event.split(".")[0]
        if kind in seen:
            seen[kind] += 1
            if says := strange(event, args, allowed):
                os.write(descriptor, f"{says}\n".encode())

    sys.addaudithook(note)


seen: dict[str, int] = {}
"""How many events of each kind were looked at."""
