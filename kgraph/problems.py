"""Faults as data: where they stand, what is wrong, and what would be right.

A fault in the user's files or words is a :class:`Problem` in a list, so that one run can
report all of them. An exception is only for what stops the work.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterable
from typing import Literal, NamedTuple

Severity = Literal["error", "warning"]


class Where(NamedTuple):
    """A place in a text file, counted from 1; line ends are LF and CR LF, as editors count."""

    file: str
    line: int = 1
    column: int = 1

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


class Problem(NamedTuple):
    """One fault: `says` is what is wrong, `mend` what would be right (may be empty)."""

    where: Where | None
    code: str
    says: str
    mend: str = ""
    severity: Severity = "error"

    def __str__(self) -> str:
        text = f"{self.says}; {self.mend}" if self.mend else self.says
        return f"{self.where}: {text}" if self.where else text


def shown(text: str, most: int = 60) -> str:
    """A text of the user's for a message: cut short, nothing in it that a screen would obey."""
    cut = text if len(text) <= most else text[:most] + "..."
    return "".join(c if c.isprintable() else escaped(c) for c in cut)


def command(*words: str) -> str:
    """A command of ours with these words, to be pasted into a shell; `...` stands for what to fill in."""
    return " ".join(["kgraph", *(w if w == "..." else shlex.quote(shown(w, 200)) for w in words)])


def escaped(char: str) -> str:
    code = ord(char)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def in_order(problems: Iterable[Problem]) -> list[Problem]:
    """The same problems by file, line and column; those without a place first."""
    return sorted(
        set(problems),
        key=lambda p: (p.where or Where("", 0, 0), p.code, p.says),
    )


class Stop(Exception):
    """Work that cannot go on. `status` is the exit status that the command line gives."""

    status = 3

    def __init__(self, *problems: Problem | str) -> None:
        self.problems = tuple(p if isinstance(p, Problem) else Problem(None, "stop", p) for p in problems)
        super().__init__("\n".join(str(p) for p in self.problems))


class WrongUse(Stop):
    """A question that cannot be asked so: an unknown name, a value out of range."""

    status = 2


class CannotRun(Stop):
    """Data that cannot be read, a full disk, a missing program."""

    status = 3


class Damaged(Exception):
    """An index cannot be believed: the folder itself is to be read."""
