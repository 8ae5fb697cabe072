"""A progress bar for what takes longer than a second: on a terminal, on standard error, else nothing."""

from __future__ import annotations

import contextlib
import os
import sys
import threading
import time
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.progress import Progress

AFTER_S = 1.0
"""Work that is done sooner shows no bar: it would only flicker."""


@contextlib.contextmanager
def steps(what: str, total: int | None = None) -> Iterator[Callable[..., None]]:
    """`with steps("reading", 40) as step:` and `step()` after each of the 40; without a total it only turns.

    `step(n, facts)` after n of them that held so many facts: the bar tells how many it is in a second.
    It goes when the work is done. Nothing is imported and nothing shown where standard error is no terminal,
    or one that cannot move its cursor.
    """
    if not _can_show():
        yield lambda done=1, facts=0: None
        return
    bar = _Bar(what, total)
    timer = threading.Timer(AFTER_S, bar.show)
    timer.daemon = True
    timer.start()
    try:
        yield bar.step
    finally:
        timer.cancel()
        bar.close()


def _can_show() -> bool:
    return sys.stderr.isatty() and os.environ.get("TERM") != "dumb"


class _Bar:
    """The bar, shown from another thread while the work goes on."""

    def __init__(self, what: str, total: int | None) -> None:
        self.what, self.total, self.done, self.facts = what, total, 0, 0
        self.start = time.monotonic()
        self.shown: Progress | None = None
        self.closed = False
        self.lock = threading.Lock()

    def step(self, done: int = 1, facts: int = 0) -> None:
        """So many more are done."""
        self.done += done
        self.facts += facts
        if self.shown is not None:
            self.shown.update(self.shown.task_ids[0], completed=self.done, description=self._told())

    def _told(self) -> str:
        if not self.facts:
            return self.what
        return f"{self.what}, {self.facts / (time.monotonic() - self.start):,.0f} facts/s"

    def show(self) -> None:
        """Begin to show; rich is imported here, while the work goes on."""
        from rich.console import Console
        from rich.progress import Progress

        with self.lock:
            if self.closed:
                return
            progress = Progress(console=Console(stderr=True), transient=True)
            progress.add_task(self._told(), total=self.total, completed=self.done)
            progress.start()
            self.shown = progress

    def close(self) -> None:
        """Take the bar away, wherever the work stopped."""
        with self.lock:
            self.closed = True
            if self.shown is not None:
                self.shown.stop()
