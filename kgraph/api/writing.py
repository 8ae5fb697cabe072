"""One entry from a program, checked as `add` checks it and appended; what is doubtful is a warning."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from kgraph import collection
from kgraph.api import adding, event_log
from kgraph.api.entries import Pairs, checked, with_pictures
from kgraph.checks.newcomers import newcomers
from kgraph.events import Event
from kgraph.facts import Fact
from kgraph.fits.graph import Graph
from kgraph.folder import writing
from kgraph.photographs import Picture, keep
from kgraph.problems import CannotRun
from kgraph.records import Entry


class Doubtful(UserWarning):
    """What was written is doubtful; the message says why, and what may be meant."""


class Added(NamedTuple):
    """An entry that was written: what `show` finds it by, and what is doubtful with it."""

    id: str
    doubts: list[str]


class _New(NamedTuple):
    """An entry that can be read, and is not written yet."""

    entry: Entry
    text: str
    pictures: list[Picture]


def add(
    folders: Sequence[Path],
    read: Callable[[], Graph],
    pairs: Pairs,
    *,
    file: str | None = None,
    sure: bool = False,
    full: bool = False,
) -> Added:
    """Check an entry beside its folder, and append it. Raises WrongUse or CannotRun: nothing is written."""
    named, pictures = with_pictures(pairs, folders[0], full)
    text = writing.entry_text(named)
    entry, problems = checked(text)
    # An event is written to the folder as it was read: what changed since is seen by its bytes.
    seen = event_log.bytes_of(folders) if isinstance(entry, Event) else {}
    graph = read()
    if isinstance(entry, Event):
        (text,) = event_log.told_anew(graph, [text])
        entry, problems = checked(text)
    doubts = [f"{p.says}; {p.mend}" for p in problems]
    new = newcomers(graph.data, [entry])
    doubts += [f"new {n.kind}: {n.name} (did you mean {n.near}?)" for n in new if n.near and not n.declared]
    if not sure:
        adding.refuse_near([n for n in new if n.doubtful])
    one = _New(entry, text, pictures)
    if isinstance(entry, Event):
        doubts += _add_event(folders, graph, one, file, seen)
        return Added(adding.id_of(entry, None), doubts)
    changed, more = _add_other(folders[0], graph, one, file)
    return Added(adding.id_of(entry, changed), [*doubts, *more])


def _add_other(folder: Path, graph: Graph, new: _New, file: str | None) -> tuple[Fact | None, list[str]]:
    doubts = [f"{p.says}; {p.mend}" for p in adding.doubts_beside(graph, [new.entry])]
    after = collection.build([*graph.data.entries, new.entry])
    changed = adding.changed_fact(graph, after, new.entry)
    keep(folder, new.pictures)
    writing.append(folder, folder / (file or event_log.NEW_FILE), [new.text])
    return changed[0] if changed else None, doubts


def _add_event(
    folders: Sequence[Path], graph: Graph, new: _New, file: str | None, seen: Mapping[Path, bytes]
) -> list[str]:
    target = event_log.file_for_events(graph, folders[0], file)
    doubts, wrong = adding.doubts_of_events(graph, [new.entry], folders[0], target)
    if errors := [p for p in wrong if p.severity == "error"]:
        raise CannotRun(*(f"{p.severity}: {p.says}" for p in errors), "nothing was written")
    keep(folders[0], new.pictures)
    event_log.append(folders, target, [new.text], seen)
    return [*doubts, *(p.says for p in wrong)]


def warn(added: Added) -> str:
    """Warn of what is doubtful, as of the line of the program that called; the id."""
    for doubt in added.doubts:
        warnings.warn(doubt, Doubtful, stacklevel=3)
    return added.id
