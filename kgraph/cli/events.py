"""Where events of the shelf are written, and what would come of them: for every command that writes one.

Events count in the order in which they are read, so a new one goes behind all earlier ones: into the last
file that holds any. What is written is first replayed as the folder will be read.
"""

from __future__ import annotations

import contextlib
import io
import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import click

from kgraph import collection, records
from kgraph.cli.settings import Settings, Whole
from kgraph.fits import graph as graphs
from kgraph.folder import disk, schema, writing
from kgraph.problems import CannotRun, Problem, WrongUse
from kgraph.shelf.ledger import Event, Shelf, shelf_now

NEW_FILE = "bench.yaml"


def bytes_of(settings: Settings) -> dict[Path, bytes]:
    """Every fact file as it is now; raises CannotRun for one that cannot be read."""
    return {p: disk.bytes_of(p) for folder in settings.folders for p in disk.fact_files(folder)}


def file_for_events(loaded: Whole, folder: Path, file_name: str | None = None) -> Path:
    """The file that a new event goes to: the one named, else the last of the folder that holds an event."""
    if file_name:
        return folder / file_name
    holding = {e.where.file for e in loaded.data.entries if isinstance(e, Event)}
    files = [p for p in disk.fact_files(folder) if disk.display(p) in holding]
    return files[-1] if files else folder / NEW_FILE


def entries_of(texts: Sequence[str], name: str) -> list[records.Entry]:
    """The entries of texts to be appended; raises WrongUse with every fault."""
    entries, problems = schema.entries_of("".join(texts).encode(), name)
    errors = [p for p in problems if p.severity == "error"]
    if errors:
        raise WrongUse(*(Problem(None, p.code, p.says, p.mend) for p in errors))
    return entries


def agreed(question: str) -> bool:
    """Whether the user wants it written; raises WrongUse where nobody can be asked."""
    if not sys.stdin.isatty():
        raise WrongUse("nothing was written: say --yes to write without being asked")
    return click.confirm(question)


@contextlib.contextmanager
def told_at_the_end(yes: bool) -> Iterator[None]:
    """Where nobody is asked or looks on, what is printed inside comes out at the end, when it is written.

    Else a reader of the output who has seen enough would end the command before it writes.
    """
    if not yes or sys.stdout.isatty():
        yield
        return
    held = io.StringIO()
    try:
        with contextlib.redirect_stdout(held):
            yield
    finally:
        sys.stdout.write(held.getvalue())


def undeclared_units(loaded: Whole, event: Event) -> list[str]:
    """Of each unit of an event that no entry declares, that it counts for nothing until one does."""
    names = [event.unit, event.to] if isinstance(event, records.Taken) else [event.to]
    data = loaded.data
    unknown = [n.text for n in names if n and data.key("unit", n.key) not in data.things["unit"]]
    return [
        f"unit {text!r} is not declared: the event counts for nothing on it until then" for text in unknown
    ]


def shelf_with(loaded: Whole, new: Sequence[records.Entry], folder: Path, target: Path) -> Shelf:
    """The shelf as it will be when these entries stand at the end of a file of the folder."""
    at = _place_of_new(loaded, folder, target)
    old = loaded.data.entries
    return shelf_now(graphs.build(collection.build([*old[:at], *new, *old[at:]])))


def overtaken(loaded: Whole, new: Sequence[records.Entry], after: Shelf) -> bool:
    """Whether events that are read later make of the new ones something else than they would be last."""
    last = shelf_now(graphs.build(collection.build([*loaded.data.entries, *new])))
    return (after.units, after.stock, after.owed) != (last.units, last.stock, last.owed)


OVERTAKEN = "events that are read after {name} touch the same places, and would count after the new one"
"""What is said where they do."""


def _place_of_new(loaded: Whole, folder: Path, target: Path) -> int:
    """Before which entry new ones of a file will stand."""
    files = sorted({*disk.fact_files(folder), target}, key=lambda p: p.parts)
    earlier = {disk.display(p) for p in files[: files.index(target) + 1]}
    return max((i for i, e in enumerate(loaded.data.entries, 1) if e.where.file in earlier), default=0)


def new_problems(loaded: Whole, after: Shelf) -> list[Problem]:
    """What is wrong with the shelf after new entries that was not wrong before."""
    before = set(shelf_now(loaded.graph).problems)
    return [p for p in after.problems if p not in before]


def append(settings: Settings, target: Path, texts: Sequence[str], seen: Mapping[Path, bytes]) -> list[str]:
    """Append events to the folder as it was read, all or none; FILE:LINE of each."""

    def unchanged() -> None:
        now = bytes_of(settings)
        if {p: b for p, b in now.items() if p != target} != {p: b for p, b in seen.items() if p != target}:
            raise CannotRun("the folder was changed meanwhile; nothing was written; ask again")

    folder = settings.folders[0]
    placed = writing.append(folder, target, texts, expect=seen.get(target, b""), before_rename=unchanged)
    return [f"{where.file}:{where.line}" for where in placed.places]
