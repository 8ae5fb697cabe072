"""Fact files that are not files of their own, or no files, on every system."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from kgraph import system
from kgraph.folder.disk import display, fact_files
from kgraph.problems import Problem, Where


def names_not_everywhere(folder: Path) -> Iterator[Problem]:
    """A warning for each fact file that cannot be on every system, or is another one on some."""
    seen: dict[str, Path] = {}
    for path in fact_files(folder):
        inside = path.relative_to(folder)
        says = next((why for part in inside.parts if (why := system.not_everywhere(part))), "")
        twin = seen.setdefault(str(inside).casefold(), path)
        if twin != path:
            says = f"{display(twin.relative_to(folder))} differs from it in the case of letters alone"
            says += ": Windows and macOS take them for one file"
        if says:
            mend = "give it another name; facts are found by what they say, in whatever file"
            yield Problem(Where(display(path)), "file-name", says, mend, "warning")
