"""Which entries of a folder have changed since a revision of git; nothing that git keeps is changed or run.

An old file is taken from git's store byte by byte, by no filter, hook or program of the repository.
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Sequence
from pathlib import Path

from kgraph.folder.disk import MOST_BYTES, bytes_of, display, fact_files
from kgraph.problems import CannotRun, Where, WrongUse, shown

_SECONDS = 60
_BEGINS = re.compile(rb"^- ", re.M)


class ChangedEntries:
    """The entries of folders that no file held so at a revision, by file and line."""

    def __init__(self, folders: Sequence[Path], revision: str) -> None:
        self._new: dict[str, list[tuple[int, int]]] = {}
        for folder in folders:
            old = {block for data in _old_files(folder, revision) for _, block in _blocks(data)}
            for path in fact_files(folder):
                data = bytes_of(path)
                blocks = _blocks(data)
                ends = [start for start, _ in blocks[1:]] + [data.count(b"\n") + 2]
                self._new[display(path)] = [
                    (start, end)
                    for (start, block), end in zip(blocks, ends, strict=True)
                    if block and block not in old
                ]

    def holds(self, where: Where | None) -> bool:
        """Whether a place lies in an entry that is new or changed."""
        spans = self._new.get(where.file, ()) if where else ()
        return any(start <= where.line < end for start, end in spans) if where else False


def _blocks(data: bytes) -> list[tuple[int, bytes]]:
    """The line on which each entry begins, and its text without comments and blanks below it."""
    data = data.replace(b"\r\n", b"\n")
    starts = [m.start() for m in _BEGINS.finditer(data)]
    if not starts or starts[0] > 0:
        starts = [0, *starts]
    found = []
    for start, end in zip(starts, [*starts[1:], len(data)], strict=True):
        lines = [line for line in data[start:end].split(b"\n") if line.strip() and not line.startswith(b"#")]
        found.append((data.count(b"\n", 0, start) + 1, b"\n".join(lines)))
    return found


def _old_files(folder: Path, revision: str) -> list[bytes]:
    """The fact files of a folder at a revision; raises WrongUse for what is no revision there."""
    if not _git(folder, "rev-parse", "--is-inside-work-tree", unless=b""):
        raise WrongUse(f"{shown(display(folder), 200)} is in no repository of git, which --since asks")
    named = _git(
        folder, "rev-parse", "--verify", "--quiet", "--end-of-options", f"{revision}^{{commit}}", unless=b""
    )
    if not named.strip():
        raise WrongUse(f"git knows no revision {shown(revision)!r} of {shown(display(folder), 200)}")
    listing = _git(folder, "ls-tree", "-r", "-l", "-z", named.strip().decode(), "--", ".")
    found = []
    for line in listing.split(b"\0"):
        about, _, path = line.partition(b"\t")
        kept = about.split()
        if path.endswith(b".yaml") and kept[1] == b"blob" and int(kept[3]) <= MOST_BYTES:
            found.append(_git(folder, "cat-file", "blob", kept[2].decode()))
    return found


def _git(folder: Path, *words: str, unless: bytes | None = None) -> bytes:
    """What git prints; `unless` in its place where it fails."""
    run = ["git", "--no-optional-locks", "-C", str(folder), "-c", "core.fsmonitor=false", *words]
    try:
        done = subprocess.run(
            run, capture_output=True, check=False, timeout=_SECONDS, stdin=subprocess.DEVNULL
        )
    except FileNotFoundError:
        raise CannotRun("git is not installed, which --since asks") from None
    except subprocess.TimeoutExpired:
        raise CannotRun(f"git gave no answer in {_SECONDS} s") from None
    if done.returncode == 0:
        return done.stdout
    if unless is not None:
        return unless
    says = done.stderr.decode("utf-8", "backslashreplace").strip().splitlines()
    raise CannotRun(f"git: {shown(says[0] if says else 'it failed', 200)}")
