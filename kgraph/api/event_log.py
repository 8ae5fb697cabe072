"""Where events of the shelf are written, and what would come of them: for whatever writes one.

Events count in the order in which they are read, so a new one goes behind all earlier ones: into the last
file that holds any. What is written is first replayed as the folder will be read.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import chain, count
from pathlib import Path

from kgraph import collection, photographs, records
from kgraph.collection.fact_ids import written_id
from kgraph.events import Event, withdrawal_of
from kgraph.fits import graph as graphs
from kgraph.fits.graph import Graph
from kgraph.folder import disk, schema, writing
from kgraph.photographs import Picture
from kgraph.problems import CannotRun, Problem, WrongUse
from kgraph.shelf.ledger import Shelf, shelf_now

NEW_FILE = "bench.yaml"
OVERTAKEN = "events that are read after {name} touch the same places, and would count after the new one"
"""What is said where they do."""


def bytes_of(folders: Sequence[Path]) -> dict[Path, bytes]:
    """Every fact file as it is now; raises CannotRun for one that cannot be read."""
    return {p: disk.bytes_of(p) for folder in folders for p in disk.fact_files(folder)}


def file_for_events(graph: Graph, folder: Path, file_name: str | None = None) -> Path:
    """The file that a new event goes to: the one named, else the last of the folder that holds an event."""
    if file_name:
        return folder / file_name
    holding = {e.where.file for e in graph.data.entries if isinstance(e, Event)}
    files = [p for p in disk.fact_files(folder) if disk.display(p) in holding]
    return files[-1] if files else folder / NEW_FILE


def entries_of(texts: Sequence[str], name: str) -> list[records.Entry]:
    """The entries of texts to be appended; raises WrongUse with every fault."""
    entries, problems = schema.entries_of("".join(texts).encode(), name)
    errors = [p for p in problems if p.severity == "error"]
    if errors:
        raise WrongUse(*(Problem(None, p.code, p.says, p.mend) for p in errors))
    return entries


def told_anew(graph: Graph, texts: Sequence[str]) -> list[str]:
    """The texts of new entries; an event of which the like was taken back before has an id of its own.

    It happened again, and would be taken back still: so it says that it corrects what was taken back.
    """
    known = {e.own_id.strip() for e in graph.data.entries if isinstance(e, records.Statement)}
    found = []
    for text in texts:
        (entry,) = entries_of([text], "the new entry")
        if isinstance(entry, Event) and not entry.corrects and withdrawal_of(graph.data, entry):
            was = written_id(entry)
            ids = chain([entry.own_id.strip()], (f"{was}-{n}" for n in count(2)))
            own = next(one for one in ids if one and one not in known)
            known.add(own)
            pairs = [(k, records.plain(v)) for k, v in entry.pairs if k != "id"]
            text = writing.entry_text([*pairs, ("id", own), ("corrects", was)])
        found.append(text)
    return found


def undeclared_units(graph: Graph, event: Event) -> list[str]:
    """Of each unit of an event that no entry declares, that it counts for nothing until one does."""
    names = [event.unit] if isinstance(event, records.Taken | records.Inspected) else []
    names += [event.to] if not isinstance(event, records.Inspected) and event.to else []
    data = graph.data
    unknown = [n.text for n in names if data.key("unit", n.key) not in data.things["unit"]]
    return [
        f"unit {text!r} is not declared: the event counts for nothing on it until then" for text in unknown
    ]


def shelf_with(graph: Graph, new: Sequence[records.Entry], folder: Path, target: Path) -> Shelf:
    """The shelf as it will be when these entries stand at the end of a file of the folder."""
    at = _place_of_new(graph, folder, target)
    old = graph.data.entries
    return shelf_now(graphs.build(collection.build([*old[:at], *new, *old[at:]])))


def overtaken(graph: Graph, new: Sequence[records.Entry], after: Shelf) -> bool:
    """Whether events that are read later make of the new ones something else than they would be last."""
    last = _last(graph, new)
    return (after.units, after.stock, after.owed) != (last.units, last.stock, last.owed)


def _last(graph: Graph, new: Sequence[records.Entry]) -> Shelf:
    """The shelf as it would be if the new events were the last."""
    return shelf_now(graphs.build(collection.build([*graph.data.entries, *new])))


def _place_of_new(graph: Graph, folder: Path, target: Path) -> int:
    """Before which entry new ones of a file will stand."""
    files = sorted({*disk.fact_files(folder), target}, key=lambda p: p.parts)
    earlier = {disk.display(p) for p in files[: files.index(target) + 1]}
    return max((i for i, e in enumerate(graph.data.entries, 1) if e.where.file in earlier), default=0)


def new_problems(graph: Graph, after: Shelf) -> list[Problem]:
    """What is wrong with the shelf after new entries that was not wrong before."""
    before = set(shelf_now(graph).problems)
    return [p for p in after.problems if p not in before]


def append(
    folders: Sequence[Path], target: Path, texts: Sequence[str], seen: Mapping[Path, bytes]
) -> list[str]:
    """Append events to the folder as it was read, all or none; FILE:LINE of each."""

    def unchanged() -> None:
        now = bytes_of(folders)
        if {p: b for p, b in now.items() if p != target} != {p: b for p, b in seen.items() if p != target}:
            raise CannotRun("the folder was changed meanwhile; nothing was written; ask again")

    placed = writing.append(folders[0], target, texts, expect=seen.get(target, b""), before_rename=unchanged)
    return [f"{where.file}:{where.line}" for where in placed.places]


def write(
    folders: Sequence[Path],
    graph: Graph,
    texts: Sequence[str],
    seen: Mapping[Path, bytes],
    file_name: str | None = None,
    pictures: Sequence[Picture] = (),
) -> list[str]:
    """Append events that can have happened; raises CannotRun for others. FILE:LINE of each.

    The pictures that they name are kept before, once nothing speaks against the events.
    """
    folder, texts = folders[0], told_anew(graph, texts)
    target = file_for_events(graph, folder, file_name)
    new = entries_of(texts, "the new entry")
    after = shelf_with(graph, new, folder, target)
    wrong = [p for p in new_problems(graph, after) if p.severity == "error"]
    if wrong or overtaken(graph, new, after):
        if set(wrong) & set(_last(graph, new).problems):
            raise CannotRun("nothing was written", *wrong)
        says = OVERTAKEN.format(name=disk.display(target))
        raise CannotRun(f"nothing was written: {says}; name a later file with --file", *wrong)
    photographs.keep(folder, pictures)
    return append(folders, target, texts, seen)
