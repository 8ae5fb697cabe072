"""Which fact files a folder holds, and how each one stands, told without opening any."""

from __future__ import annotations

import os
import stat

PICTURES = "photos"
"""The folder, in a fact folder, of the pictures that entries name. No question lists it: it may be large."""
Stamp = tuple[str, int, int, int, int]
"""Path inside the folder, size, time of change, time of change of the entry, inode; times in ns."""


def stamps(folder: str) -> list[Stamp] | None:
    """The stamps of a folder's `*.yaml` files, by path; None where a link or another odd file is among them.

    Hidden files and folders, linked folders and the pictures are left out, as in reading. Raises OSError for
    a folder that cannot be listed.
    """
    found: list[Stamp] = []
    todo = [("", folder)]
    while todo:
        inside, path = todo.pop()
        with os.scandir(path) as listing:
            for entry in listing:
                name = entry.name
                if name.startswith(".") or (not inside and name == PICTURES):
                    continue
                if entry.is_dir(follow_symlinks=False):
                    todo.append((f"{inside}{name}/", entry.path))
                elif name.endswith(".yaml"):
                    state = entry.stat(follow_symlinks=False)
                    if not stat.S_ISREG(state.st_mode):
                        return None
                    times = (state.st_mtime_ns, state.st_ctime_ns)
                    found.append((inside + name, state.st_size, *times, state.st_ino))
    found.sort()
    return found
