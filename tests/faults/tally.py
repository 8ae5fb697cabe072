"""Counting faults: asked for, seen to have happened, survived."""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

MOST_SHOWN = 12


@dataclass(slots=True)
class Tally:
    """The counts of one figure, and what went wrong, each with the fault that showed it."""

    injected: int = 0
    happened: int = 0
    survived: int = 0
    wrong: list[str] = field(default_factory=list)
    kinds: Counter[str] = field(default_factory=Counter)
    """How the faults ended, for the reader of the figure."""
    skipped: str = ""
    """Why nothing could be tried here, if so."""

    def count(self, fault: str, happened: bool, complaint: str, kind: str = "") -> None:
        """One fault; `complaint` is empty if all was as it must be."""
        self.injected += 1
        self.happened += happened
        self.survived += happened and not complaint
        if kind:
            self.kinds[kind] += 1
        if not happened or complaint:
            self.wrong.append(f"{fault}: {complaint or 'did not happen'}")

    def add(self, other: Tally) -> None:
        """Take in the counts of a part of the figure."""
        self.injected += other.injected
        self.happened += other.happened
        self.survived += other.survived
        self.wrong += other.wrong
        self.kinds += other.kinds

    @property
    def holds(self) -> bool:
        """Whether faults were tried, every one happened and was survived, and nothing else went wrong."""
        return self.injected > 0 and self.injected == self.happened == self.survived and not self.wrong

    def __str__(self) -> str:
        if self.skipped:
            return f"skipped: {self.skipped}"
        how = ", ".join(f"{n} {kind}" for kind, n in self.kinds.most_common())
        return f"{self.injected} / {self.happened} / {self.survived}" + (f" ({how})" if how else "")

    def report(self, figure: str, seconds: float) -> str:
        """The counts of a figure and the first things that went wrong, as lines of text."""
        head = f"{figure}: injected / happened / survived: {self} in {seconds:.0f} s"
        more = len(self.wrong) - MOST_SHOWN
        rest = [f"  ... and {more} more"] if more > 0 else []
        return "\n".join([head, *(f"  {line}" for line in self.wrong[:MOST_SHOWN]), *rest])


def command_line(
    program: str, figures: Sequence[str], ways: Iterable[str], run: Callable[[str, str, str], Tally]
) -> int:
    """Print the counts of a figure and the first things that went wrong; the exit status."""
    parser = argparse.ArgumentParser(prog=f"python -m {program}")
    parser.add_argument("figure", choices=figures)
    parser.add_argument("--size", choices=("small", "full"), default="small")
    parser.add_argument("--broken", choices=sorted(ways), default="")
    given = parser.parse_args()
    start = time.monotonic()
    tally = run(given.figure, given.size, given.broken)
    print(tally.report(given.figure, time.monotonic() - start))
    return 0 if tally.holds or tally.skipped else 1
