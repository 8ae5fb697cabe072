"""From the folders named on the command line to a collection and its graph."""

from __future__ import annotations

import sys

from kgraph import records
from kgraph.api import opening
from kgraph.api.leaving import remark
from kgraph.api.loaded import Loaded
from kgraph.api.opening import Entries, Supposed
from kgraph.cli.progress import steps
from kgraph.cli.settings import Settings
from kgraph.folder import schema
from kgraph.problems import Where, WrongUse, shown
from kgraph.render.terminal import visible

SUPPOSE, WITHOUT = "--suppose", "--without"
"""Where an entry stands that is supposed, and the withdrawal of a fact that is left out."""


def entries_of(settings: Settings) -> Entries:
    """All entries that can be read, and all problems of reading them."""
    return opening.entries_of(settings.folders, steps)


def load(settings: Settings) -> Loaded:
    """The collection and graph of the folders; what cannot be read is left out, and told in one line.

    Raises CannotRun for a file that cannot be read at all, and, where it is to be strict, for any fault.
    """
    said = Supposed(settings.suppose, settings.without, Where(WITHOUT))
    loaded = opening.opened(settings.folders, settings.strict, said, steps)
    if told := remark(loaded):
        print(visible(told), file=sys.stderr)
    return loaded


def as_it_is(loaded: Loaded) -> Loaded:
    """The same folder without what was supposed; nothing is read again."""
    kept = [e for e in loaded.data.entries if e.where.file not in (SUPPOSE, WITHOUT)]
    return opening.loaded(Entries(kept, list(loaded.problems), loaded.left_out))


def supposed(text: str) -> list[records.Entry]:
    """The entries of one YAML flow mapping given on the command line; raises WrongUse with every fault."""
    data = f"- {text.strip()}\n".encode("utf-8", "surrogateescape")
    entries, problems = schema.entries_of(data, SUPPOSE)
    errors = [p for p in problems if p.severity == "error"]
    if errors:
        raise WrongUse(*errors)
    if not entries:
        mend = "write it as '{rebadge: [A 1, B 2], how: compared}'"
        raise WrongUse(*problems, f"{shown(text)} is no entry; {mend}")
    return entries


def with_entries(settings: Settings, entries: list[records.Entry]) -> Settings:
    """The same settings with entries supposed beside those of the folders."""
    return settings._replace(suppose=(*settings.suppose, *entries))
