"""Whose temporary file it is that was left over."""

from __future__ import annotations

import os


def is_alive(pid: int) -> bool:
    """Whether a process of this machine has this number; this one itself counts as done."""
    # Under the lock nothing of this process itself is being written.
    if pid == os.getpid():
        return False
    try:
        os.kill(pid, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:
        return True
    return True
